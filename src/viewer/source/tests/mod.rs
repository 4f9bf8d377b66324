//! The thread behind the window: what it sends, and that the window cannot disturb it.

use std::path::Path;
use std::time::Duration;

use proptest::prelude::*;
use trimproof_harness::run::{Cause, LogicTarget, TargetError, run_scenario};
use trimproof_plant::SwitchName;

use super::*;
use crate::timeline::tests::{NoTelemetry, pushed, pushed_scenario, rig};

fn logic() -> MakeTarget {
    Box::new(|| Box::new(LogicTarget::new()))
}

/// A run that has begun, with its timeline.
fn begin(scenario: Scenario) -> (SourceThread, Timeline) {
    let scenario = Arc::new(scenario);
    let rig = rig("kittiwake");
    let timeline = Timeline::new(
        Arc::clone(&rig),
        Some(Arc::clone(&scenario)),
        SourceState::Running,
    );
    let source = Source::Run {
        scenario,
        target: logic(),
    };
    (SourceThread::start(rig, source), timeline)
}

/// Drains until the run is over.
fn wait(source: &mut SourceThread, timeline: &mut Timeline, pause: Duration) {
    let begun = std::time::Instant::now();
    while begun.elapsed() < Duration::from_secs(300) {
        source.drain(timeline);
        if source.finished.is_some() || matches!(timeline.source_state, SourceState::Failed(_)) {
            return;
        }
        std::thread::sleep(pause);
    }
    panic!("the run does not end");
}

fn hash_without_viewer() -> String {
    let scenario = pushed_scenario();
    run_scenario(
        &rig("kittiwake"),
        &scenario,
        &mut LogicTarget::new(),
        &mut |_| true,
    )
    .trace
    .hash()
}

/// The trace has the same bits whether the window is quicker or far slower than the run.
#[test]
fn a_window_neither_slows_nor_changes_a_run() {
    let expected = hash_without_viewer();
    for pause_ms in [0, 120] {
        let (mut source, mut timeline) = begin(pushed_scenario());
        wait(&mut source, &mut timeline, Duration::from_millis(pause_ms));
        let finished = source.finished.clone().unwrap();
        assert_eq!(finished.hash, expected);
        assert_eq!(timeline.trace.hash(), expected);
        assert_eq!(timeline.source_state, SourceState::Complete);
        assert_eq!(finished.judgements.len(), 2);
        assert_eq!(
            timeline
                .expectations
                .iter()
                .filter(|view| view.judgement.is_some())
                .count(),
            2
        );
    }
}

/// What a controller does not report is no column of the trace that the window gathers either.
#[test]
fn a_run_without_telemetry_is_gathered_bit_for_bit() {
    let scenario = Arc::new(pushed_scenario());
    let rig = rig("kittiwake");
    let mut timeline = Timeline::new(
        Arc::clone(&rig),
        Some(Arc::clone(&scenario)),
        SourceState::Running,
    );
    let target: MakeTarget = Box::new(|| Box::new(NoTelemetry::default()));
    let mut source = SourceThread::start(rig, Source::Run { scenario, target });
    wait(&mut source, &mut timeline, Duration::from_millis(5));
    assert_eq!(timeline.length_s, Some(3.0));
    let finished = source.finished.clone().unwrap();
    assert_eq!(timeline.trace.hash(), finished.hash);
    assert!(timeline.trace.column("state").is_none());
    assert_ne!(finished.hash, hash_without_viewer());
}

/// A window that never looks: the run goes to its end all the same, and nothing is lost.
#[test]
fn a_window_that_does_not_look_misses_nothing() {
    let (mut source, mut timeline) = begin(pushed_scenario());
    let thread = source.thread.take().unwrap();
    thread.join().unwrap();
    source.drain(&mut timeline);
    assert_eq!(timeline.trace.hash(), hash_without_viewer());
}

#[test]
fn a_window_that_closes_stops_the_run() {
    let (mut source, mut timeline) = begin(Scenario {
        length_s: 3000.0,
        ..pushed_scenario()
    });
    source.end(&mut timeline);
    let finished = source.finished.clone().unwrap();
    assert!(matches!(finished.end, RunEnd::Cut(Cut::Stopped { .. })));
    assert!(finished.rows < 1_000_000 && finished.judgements.is_empty());
}

/// Flies by a list of what the pilot does at which time.
fn fly(acts: &[(f64, Act)]) -> (Session, Trace) {
    fly_on(acts, &mut LogicTarget::new())
}

fn fly_on(acts: &[(f64, Act)], target: &mut dyn Target) -> (Session, Trace) {
    let rig = rig("kittiwake");
    let (sender, pilot) = unbounded();
    let flight = Flight::new(&rig, pilot, Pace::Free);
    struct Script<'a> {
        flight: Flight,
        acts: &'a [(f64, Act)],
        sender: Sender<Act>,
    }
    impl Attend for Script<'_> {
        fn go_on(&mut self, now_s: f64) -> bool {
            while let Some(((at_s, act), rest)) = self.acts.split_first()
                && *at_s <= now_s
            {
                self.sender.send(*act).unwrap();
                self.acts = rest;
            }
            self.flight.go_on(now_s)
        }
        fn act(&mut self, now_s: f64) -> Vec<Event> {
            self.flight.act(now_s)
        }
    }
    let mut script = Script {
        flight,
        acts,
        sender,
    };
    let open = flight::open_scenario(&rig);
    let run = run_attended(&rig, &open, target, &mut script);
    let session = script.flight.session(&run, run.trace.hash());
    (session, run.trace)
}

/// A wild hand: it asks twice for the same, for impossible angles, for several things at once.
fn wild() -> Vec<(f64, Act)> {
    let mut acts = vec![
        (0.0, Act::LetGo),
        (0.9, Act::Grip),
        (0.9, Act::Grip),
        (1.5, Act::Switch(SwitchName::Release, true)),
        (1.5, Act::Switch(SwitchName::Release, true)),
        (2.4, Act::Switch(SwitchName::Release, false)),
        (2.401, Act::Switch(SwitchName::Release, true)),
        (2.55, Act::Switch(SwitchName::Release, false)),
        (2.6, Act::LetGo),
        (2.61, Act::Grip),
        (
            2.7,
            Act::Lead {
                pitch_deg: f64::NAN,
                roll_deg: 0.0,
            },
        ),
        (2.8, Act::LetGo),
        (3.0, Act::Switch(SwitchName::HatFore, true)),
        (3.6, Act::Switch(SwitchName::HatFore, false)),
        (3.7, Act::ForceTrim(false)),
        (3.9, Act::ForceTrim(true)),
        (4.0, Act::Supply(false)),
        (4.3, Act::Supply(true)),
        (5.6, Act::Grip),
        (
            5.7,
            Act::Lead {
                pitch_deg: 999.0,
                roll_deg: -3.3,
            },
        ),
    ];
    let lead = (0..120).map(|step| {
        let at_s = 1.0 + 0.0123 * f64::from(step);
        let pitch_deg = 0.07 * f64::from(step);
        (
            at_s,
            Act::Lead {
                pitch_deg,
                roll_deg: -0.5 * pitch_deg,
            },
        )
    });
    acts.extend(lead);
    acts.sort_by(|a, b| a.0.total_cmp(&b.0));
    acts.push((5.71, Act::End));
    acts
}

/// The law of a flight: its scenario, written and read again, gives the same trace bit for bit.
#[test]
fn a_flight_is_a_scenario_that_gives_the_same_trace() {
    let (session, trace) = fly(&wild());
    assert!(session.events.len() > 40, "{}", session.events.len());
    let rig = rig("kittiwake");
    let scenario = read_again(&session);
    let again = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true);
    assert_eq!(again.end, RunEnd::Complete);
    assert_eq!(again.trace.rows(), trace.rows());
    assert_eq!(again.trace.hash(), session.hash);
    let bends = trace
        .numbers("pitch.stick_deg")
        .unwrap()
        .iter()
        .copied()
        .fold(0.0, f64::max);
    assert!(bends > 3.0, "the hand did not lead the stick: {bends}");
}

fn read_again(session: &Session) -> Scenario {
    let rig = rig("kittiwake");
    let text = session_scenario(&rig, "flown", session).to_toml();
    let scenario = Scenario::parse(&text).unwrap_or_else(|error| panic!("{error}\n{text}"));
    trimproof_harness::judge::check_scenario(&rig, &scenario, &text).unwrap();
    scenario
}

/// What a pilot may do, in any order and as quickly as a tick.
fn any_act() -> impl Strategy<Value = Act> {
    let switch = prop::sample::select(SwitchName::ALL.to_vec());
    prop_oneof![
        2 => Just(Act::Grip),
        6 => (-70.0..70.0_f64, -70.0..70.0_f64)
            .prop_map(|(pitch_deg, roll_deg)| Act::Lead { pitch_deg, roll_deg }),
        2 => Just(Act::LetGo),
        3 => (switch, any::<bool>()).prop_map(|(switch, on)| Act::Switch(switch, on)),
        1 => any::<bool>().prop_map(Act::ForceTrim),
        1 => any::<bool>().prop_map(Act::Supply),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// The law of a flight, for any hand and any end.
    #[test]
    fn any_flight_is_a_scenario_that_gives_the_same_trace(
        acts in prop::collection::vec((0.001..0.09_f64, any_act()), 0..40),
        last_s in 0.0..0.1_f64,
    ) {
        let mut at_s = 0.0;
        let mut flown: Vec<(f64, Act)> = Vec::new();
        for (after_s, act) in acts {
            at_s += after_s;
            flown.push((at_s, act));
        }
        flown.push((at_s + last_s, Act::End));
        let (session, _) = fly(&flown);
        let scenario = read_again(&session);
        let again = run_scenario(&rig("kittiwake"), &scenario, &mut LogicTarget::new(), &mut |_| true);
        prop_assert_eq!(again.trace.hash(), session.hash);
    }
}

/// A controller that dies.
struct Mortal {
    logic: LogicTarget,
    ticks: u32,
}

impl Target for Mortal {
    fn identity(&self) -> String {
        self.logic.identity()
    }
    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.logic.begin(rig)
    }
    fn tick(
        &mut self,
        inputs: &trimproof_io::Inputs,
    ) -> Result<trimproof_io::Outputs, TargetError> {
        if inputs.tick >= self.ticks {
            return Err(TargetError::Link {
                cause: Cause::new(std::io::Error::other("the board fell silent")),
                help: None,
            });
        }
        self.logic.tick(inputs)
    }
    fn reset(&mut self) -> Result<(), TargetError> {
        self.logic.reset()
    }
}

/// Whenever the board dies, what was flown is kept in a file that can be read, and says why it
/// ended.
#[test]
fn a_flight_that_the_board_cuts_is_kept_too() {
    for ticks in [0, 1, 455, 500, 503, 1234] {
        let mut target = Mortal {
            logic: LogicTarget::new(),
            ticks,
        };
        let (session, trace) = fly_on(&wild(), &mut target);
        assert_eq!(trace.rows(), ticks as usize);
        assert!(
            session
                .cut
                .as_ref()
                .unwrap()
                .to_string()
                .contains("fell silent")
        );
        let scenario = read_again(&session);
        assert!(scenario.purpose.contains("fell silent"));
    }
}

#[test]
fn a_board_that_dies_is_reported_in_the_timeline() {
    let source = Source::Fly {
        target: Box::new(|| {
            Box::new(Mortal {
                logic: LogicTarget::new(),
                ticks: 30,
            })
        }),
        pace: Pace::Free,
    };
    let mut timeline = Timeline::new(rig("kittiwake"), None, SourceState::Running);
    let mut source = SourceThread::start(rig("kittiwake"), source);
    wait(&mut source, &mut timeline, Duration::from_millis(1));
    let SourceState::Cut(why) = &timeline.source_state else {
        panic!("{:?}", timeline.source_state)
    };
    assert!(why.contains("fell silent"), "{why}");
    assert!(!source.finished.as_ref().unwrap().end.is_stopped());
}

/// The longest flight with the longest numbers still makes a file that is read.
#[test]
fn the_longest_flight_fits_a_scenario_file() {
    let carry = |index: usize| Event::Carry {
        at_s: 100.002 + 0.086 * index as f64,
        pitch_deg: Some(-33.333),
        roll_deg: Some(-44.444),
        over_s: 0.086,
        shape: trimproof_harness::scenario::PathShape::Steady,
    };
    let session = Session {
        events: (0..flight::MOST_EVENTS + 2).map(carry).collect(),
        length_s: 897.334,
        ..Session::default()
    };
    let text = session_scenario(&rig("kittiwake"), "flown", &session).to_toml();
    assert!(
        text.len() < trimproof_harness::scenario::MAX_BYTES,
        "{}",
        text.len()
    );
}

#[test]
fn a_flight_that_ends_at_once_is_a_scenario_too() {
    let (session, _) = fly(&[(0.0, Act::End)]);
    let rig = rig("kittiwake");
    let text = session_scenario(&rig, "flown", &session).to_toml();
    assert!(Scenario::parse(&text).is_ok(), "{text}");
    assert!(session.length_s > 0.0 && session.events.is_empty());
}

#[test]
fn a_flight_at_the_window_goes_in_real_time_and_comes_back() {
    let source = Source::Fly {
        target: logic(),
        pace: Pace::Real { speed: 1.0 },
    };
    let mut timeline = Timeline::new(rig("kittiwake"), None, SourceState::Running);
    let mut source = SourceThread::start(rig("kittiwake"), source);
    assert!(source.is_flown());
    let begun = std::time::Instant::now();
    source.act(Act::Grip);
    std::thread::sleep(Duration::from_millis(300));
    source.drain(&mut timeline);
    // It cannot have gone faster than time; how much slower is the machine's business.
    assert!(timeline.head_s() <= begun.elapsed().as_secs_f64() + 0.01);
    source.act(Act::End);
    wait(&mut source, &mut timeline, Duration::from_millis(5));
    source.drain(&mut timeline);
    let session = source.session().cloned().unwrap();
    assert!(!source.is_flown() && session.events.len() == 1);
    assert_eq!(session.hash, timeline.trace.hash());
}

fn open(path: &Path, scenario: Option<Arc<Scenario>>) -> (SourceThread, Timeline) {
    let mut timeline = Timeline::new(rig("kittiwake"), scenario.clone(), SourceState::Reading);
    let source = Source::File {
        path: path.to_owned(),
        scenario,
    };
    let mut source = SourceThread::start(rig("kittiwake"), source);
    wait(&mut source, &mut timeline, Duration::from_millis(2));
    (source, timeline)
}

#[test]
fn a_trace_is_read_and_judged_and_a_damaged_one_is_reported() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("t.csv");
    let timeline = pushed("kittiwake");
    timeline.trace.write(&file).unwrap();
    let (_, read) = open(&file, Some(Arc::new(pushed_scenario())));
    assert_eq!(read.trace.hash(), timeline.trace.hash());
    assert_eq!(read.expectations, timeline.expectations);
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, &text[..text.len() / 2]).unwrap();
    let (source, read) = open(&file, None);
    assert!(source.finished.is_none());
    let SourceState::Failed(why) = read.source_state else {
        panic!("it was read")
    };
    assert!(why.contains("truncated"), "{why}");
}

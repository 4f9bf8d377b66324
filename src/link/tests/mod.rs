//! What a link's faults come to: repeated within the bound and right, or stopped with the reason.

use crate::*;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};
use trimproof_controller::Settings;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Beside, Ending, LogicTarget, Target, TargetError, Traffic};
use trimproof_io::{Inputs, Outputs, Switches};
use trimproof_wire::Request;

/// Of a line on which no time passes nothing is waited for.
const QUICK: Patience = Patience {
    first: Duration::from_secs(5),
    most: Duration::from_secs(5),
    repeats: 5,
};

/// A rig with these settings.
fn rig(settings: Settings) -> RigFile {
    let text = include_str!("../../../scenarios/rigs/kittiwake.toml");
    RigFile {
        controller: Some(settings),
        ..RigFile::parse(text).unwrap()
    }
}

/// Inputs that change all the time, as a walk with the release pressed now and then.
fn inputs(tick: u32) -> Inputs {
    let swing = |period: u32| {
        let at = tick % period;
        at.min(period - at) as u16
    };
    Inputs {
        tick,
        sensor_counts: [1900 + swing(300), 2100 - swing(222)],
        switches: Switches {
            release: tick % 700 > 550,
            hat_aft: tick % 900 > 820,
            force_trim: true,
            ..Switches::default()
        },
        supply_mv: 24_000 + swing(50),
    }
}

struct Ran {
    ticks: u32,
    outputs: Vec<Outputs>,
    failed: Option<String>,
    traffic: Traffic,
    struck: u64,
}

/// A run of `ticks` over a line with these faults, the link opened with them too.
fn run(faults: LineFaults, ticks: u32) -> Ran {
    let line =
        FaultyLine::new(Box::new(BoardLine::new()), faults).with_fresh(Box::new(BoardLine::new()));
    let struck = line.struck();
    run_on(Box::new(line), &struck, ticks)
}

fn run_on(line: Box<dyn Line>, struck: &Arc<AtomicU64>, ticks: u32) -> Ran {
    run_with(line, QUICK, struck, ticks)
}

fn run_with(line: Box<dyn Line>, patience: Patience, struck: &Arc<AtomicU64>, ticks: u32) -> Ran {
    let mut ran = Ran {
        ticks,
        outputs: Vec::new(),
        failed: None,
        traffic: Traffic::default(),
        struck: 0,
    };
    let go = || -> Result<(), String> {
        let link = Link::open(line, patience, patience, None).map_err(|error| error.to_string())?;
        let mut target = BoardTarget::new(link);
        let said = |error: TargetError| error.to_string();
        let mut result = target.begin(&rig(Settings::example())).map_err(said);
        for tick in 0..ticks {
            if result.is_err() {
                break;
            }
            result = target
                .tick(&inputs(tick))
                .map(|outputs| ran.outputs.push(outputs))
                .map_err(said);
        }
        if result.is_ok() {
            assert_eq!(target.end(Ending::Complete), None);
        }
        ran.traffic = target.traffic().unwrap();
        result
    };
    ran.failed = go().err();
    ran.struck = struck.load(Ordering::Relaxed);
    ran
}

fn expected(ticks: u32) -> Vec<Outputs> {
    let mut logic = LogicTarget::new();
    logic.begin(&rig(Settings::example())).unwrap();
    (0..ticks)
        .map(|tick| logic.tick(&inputs(tick)).unwrap())
        .collect()
}

fn faults(kind: LineFaultKind, direction: Direction, share: f64, after: u64) -> LineFaults {
    LineFaults {
        kind,
        direction,
        share,
        after,
        seed: 7,
    }
}

/// It ran to its end, every answer was right, and the fault did occur.
fn assert_healed(ran: &Ran, what: &str) {
    assert_eq!(ran.failed, None, "{what}");
    assert!(ran.struck > 20, "{what}: only {} struck", ran.struck);
    assert_eq!(ran.outputs, expected(ran.ticks), "{what}");
}

/// It stopped with this reason, and what it had answered till then was right.
fn assert_stopped(ran: &Ran, words: &[&str]) {
    let why = ran.failed.as_deref().expect("it must stop");
    for word in words {
        assert!(why.contains(word), "`{word}` is missing in: {why}");
    }
    assert!(ran.struck > 0, "nothing was struck");
    assert!(ran.outputs.len() < ran.ticks as usize);
    assert_eq!(ran.outputs, expected(ran.outputs.len() as u32));
}

#[test]
fn without_faults_nothing_is_repeated() {
    let line = Box::new(BoardLine::new());
    let ran = run_on(line, &Arc::default(), 3000);
    assert_eq!(ran.failed, None);
    assert_eq!(ran.outputs, expected(3000));
    let Traffic {
        ticks,
        repeats,
        damaged,
        ignored,
        ..
    } = ran.traffic;
    assert_eq!((ticks, repeats, damaged, ignored), (3000, 0, 0, 0));
    assert_eq!(ran.traffic.round_trips.count(), 3000);
    // Bytes a tick: the bar of issue 4 is 64, both ways, framed.
    let bytes = (ran.traffic.bytes_in + ran.traffic.bytes_out) as f64 / 3000.0;
    assert!(bytes <= 64.0, "{bytes}");
}

#[test]
fn what_can_be_healed_is_healed() {
    use LineFaultKind::*;
    for kind in [FlipBit, Lose, Double, Split, Merge, Delay, Garbage] {
        for direction in [Direction::ToBoard, Direction::FromBoard, Direction::Both] {
            let what = format!("{kind:?} {direction:?}");
            let ran = run(faults(kind, direction, 0.05, 0), 2000);
            assert_healed(&ran, &what);
            let (repeats, odd) = (
                ran.traffic.repeats,
                ran.traffic.damaged + ran.traffic.ignored,
            );
            match kind {
                // Nothing but pieces: no repetition.
                Split => assert_eq!((repeats, odd), (0, 0), "{what}"),
                // Each doubled frame gives one answer too many, and no repetition.
                Double => assert!(repeats == 0 && odd > 0, "{what}: {repeats} {odd}"),
                _ => assert!(repeats > 0, "{what}: none repeated"),
            }
        }
    }
}

#[test]
fn a_lost_tick_is_not_run_twice() {
    // One answer in ten is lost, so its tick is asked for twice; the controller must count each
    // once. (Six in a row: 1 in 10^6.)
    let ran = run(
        faults(LineFaultKind::Lose, Direction::FromBoard, 0.1, 2),
        2000,
    );
    assert_healed(&ran, "lost answers");
    assert!(ran.traffic.repeats > 150, "{}", ran.traffic.repeats);
}

#[test]
fn too_many_faults_stop_the_run() {
    let ran = run(
        faults(LineFaultKind::FlipBit, Direction::ToBoard, 1.0, 50),
        100,
    );
    assert_stopped(&ran, &["no answer to sample of tick 47", "6 attempts"]);
}

#[test]
fn silence_stops_the_run_with_the_tick() {
    let ran = run(
        faults(LineFaultKind::Silence, Direction::Both, 1.0, 40),
        100,
    );
    assert_stopped(
        &ran,
        &[
            "no answer to sample of tick",
            "6 attempts",
            "came instead: nothing",
        ],
    );
    let ran = run(faults(LineFaultKind::Silence, Direction::Both, 1.0, 0), 100);
    assert_stopped(&ran, &["no answer to hello"]);
}

#[test]
fn a_board_reset_in_mid_run_stops_it() {
    let ran = run(
        faults(LineFaultKind::Reset, Direction::ToBoard, 1.0, 60),
        100,
    );
    assert_stopped(&ran, &["reset in mid-run"]);
    assert_eq!(
        ran.outputs.len(),
        57,
        "a greeting, a greeting, a begin, then ticks"
    );
}

#[test]
fn another_version_is_refused() {
    let ran = run(
        faults(LineFaultKind::OtherVersion, Direction::FromBoard, 1.0, 0),
        10,
    );
    assert_stopped(&ran, &["version 2", "version 1", "flash"]);
    assert!(ran.outputs.is_empty());
}

#[test]
fn another_settings_hash_is_refused() {
    let ran = run(
        faults(
            LineFaultKind::WrongSettingsHash,
            Direction::FromBoard,
            1.0,
            0,
        ),
        10,
    );
    assert_stopped(&ran, &["settings with hash", "firmware"]);
    assert!(ran.outputs.is_empty());
}

#[test]
fn answers_for_the_wrong_tick_are_never_taken() {
    // Now and then: the repetition brings the right one.
    let ran = run(
        faults(LineFaultKind::WrongTick, Direction::FromBoard, 0.1, 0),
        1000,
    );
    assert_healed(&ran, "wrong ticks");
    assert!(ran.traffic.ignored >= ran.struck);
    // Always.
    let ran = run(
        faults(LineFaultKind::WrongTick, Direction::FromBoard, 1.0, 20),
        100,
    );
    assert_stopped(
        &ran,
        &[
            "no answer to sample",
            "6 other messages",
            "command for tick",
        ],
    );
}

#[test]
fn a_babbling_board_is_given_up() {
    let faults = faults(LineFaultKind::Babble, Direction::Both, 1.0, 30);
    let line = FaultyLine::new(Box::new(BoardLine::new()), faults);
    let (struck, wait) = (line.struck(), Duration::from_millis(10));
    let patience = Patience {
        first: wait,
        most: wait,
        repeats: 5,
    };
    let ran = run_with(Box::new(line), patience, &struck, 100);
    assert_stopped(
        &ran,
        &["no answer to sample", "damaged frames", "6 attempts"],
    );
    // By time, not by bytes: this line gives as many as are read.
    assert!(ran.traffic.bytes_in > 60_000);
    let why = ran.failed.unwrap();
    let (_, rest) = why.split_once("attempts in ").unwrap();
    let waited_ms: u64 = rest.split_once(" ms").unwrap().0.parse().unwrap();
    assert!(waited_ms >= 6 * 10, "{why}");
}

#[test]
fn the_seed_decides() {
    let counts = |seed| {
        let faults = LineFaults {
            seed,
            ..faults(LineFaultKind::FlipBit, Direction::Both, 0.1, 0)
        };
        let ran = run(faults, 500);
        (ran.struck, ran.traffic.repeats, ran.traffic.bytes_in)
    };
    assert_eq!(counts(1), counts(1));
    assert_ne!(counts(1), counts(2));
}

#[test]
fn a_reset_of_the_scenario_begins_the_next_run() {
    let link = Link::open(Box::new(BoardLine::new()), QUICK, QUICK, None).unwrap();
    let mut board = BoardTarget::new(link);
    let mut logic = LogicTarget::new();
    for target in [&mut board as &mut dyn Target, &mut logic] {
        target.begin(&rig(Settings::example())).unwrap();
    }
    for tick in 0..1200 {
        if tick == 600 {
            board.reset().unwrap();
            logic.reset().unwrap();
        }
        assert_eq!(board.tick(&inputs(tick)), logic.tick(&inputs(tick)));
    }
}

#[test]
fn a_target_that_was_not_begun_says_so() {
    let link = Link::open(Box::new(BoardLine::new()), QUICK, QUICK, None).unwrap();
    let mut board = BoardTarget::new(link);
    assert_eq!(board.tick(&inputs(0)), Err(TargetError::NotBegun));
    assert_eq!(board.reset(), Err(TargetError::NotBegun));
    assert!(board.identity().starts_with("trimproof-controller "));
    assert!(board.identity().ends_with(" in-process"));
}

#[test]
fn settings_that_the_controller_refuses_stop_the_run() {
    let link = Link::open(Box::new(BoardLine::new()), QUICK, QUICK, None).unwrap();
    let mut board = BoardTarget::new(link);
    let settings = Settings {
        tick_hz: 0,
        ..Settings::example()
    };
    let error = board.begin(&rig(settings)).unwrap_err().to_string();
    assert!(error.contains("refuses the rig's settings"), "{error}");
}

/// A controller with a bug: at one tick it asks for a step more.
struct Bugged(LogicTarget, u32);

impl Target for Bugged {
    fn identity(&self) -> String {
        "bugged".to_owned()
    }
    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.0.begin(rig)
    }
    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        let mut outputs = self.0.tick(inputs)?;
        if inputs.tick == self.1 {
            outputs.command.axis[1].step_rate += 1;
        }
        Ok(outputs)
    }
    fn reset(&mut self) -> Result<(), TargetError> {
        self.0.reset()
    }
}

#[test]
fn the_first_difference_is_reported_with_inputs_outputs_and_states() {
    let mut both = Beside::new(LogicTarget::new(), Bugged(LogicTarget::new(), 321));
    both.begin(&rig(Settings::example())).unwrap();
    for tick in 0..321 {
        assert!(both.tick(&inputs(tick)).is_ok(), "{tick}");
    }
    let said = both.tick(&inputs(321)).unwrap_err().to_string();
    for part in [
        "first difference at tick 321",
        "inputs     Inputs { tick: 321",
        "reference  state ",
        "other      state ",
        "roll  AxisCommand",
    ] {
        assert!(said.contains(part), "`{part}` is missing in:\n{said}");
    }
    let rates: Vec<&str> = said
        .lines()
        .filter(|line| line.trim_start().starts_with("roll"))
        .collect();
    assert_eq!(rates.len(), 2);
    assert_ne!(rates[0], rates[1]);
}

#[derive(Clone, Default)]
struct Kept(Arc<std::sync::Mutex<Vec<u8>>>);
impl std::io::Write for Kept {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[test]
fn frames_are_written_down() {
    let kept = Kept::default();
    let log = FrameLog::new(Box::new(kept.clone()));
    let line = Box::new(BoardLine::new());
    let mut link = Link::open(line, QUICK, QUICK, Some(&log)).unwrap();
    let checked = check(&mut link, &Settings::example(), 3, &|| true);
    assert_eq!(checked.failed, None);
    assert_eq!(checked.traffic.ticks, 3);
    log.finish().unwrap();
    let text = String::from_utf8(kept.0.lock().unwrap().clone()).unwrap();
    // Two hellos, a begin, three samples, an end, and an answer to each.
    assert_eq!(text.lines().count(), 14, "{text}");
    for part in [
        "> hello (version 1) |",
        "< greeting of trimproof",
        "> sample of tick 2",
        "< ended run 1 |",
    ] {
        assert!(text.contains(part), "`{part}` is missing in:\n{text}");
    }
    assert!(text.lines().all(|line| line.ends_with(" 00")), "{text}");
}

/// What was sent and when.
#[derive(Clone, Default)]
struct Mute(Arc<std::sync::Mutex<Vec<(Request, Instant)>>>);

/// A board that may move and falls mute after so many frames; what is sent is kept.
struct FallsMute {
    board: trimproof_board::Board,
    answers: std::collections::VecDeque<u8>,
    decoder: trimproof_wire::Decoder,
    left: usize,
    sent: Mute,
}

impl FallsMute {
    fn after(left: usize) -> (Box<Self>, Mute) {
        let sent = Mute::default();
        let board = trimproof_board::Board::new(trimproof_board::BoardAbout {
            board: "mute",
            tick_hz: 0,
            has_motors: true,
        });
        let line = Self {
            board,
            answers: Default::default(),
            decoder: trimproof_wire::Decoder::new(),
            left,
            sent: sent.clone(),
        };
        (Box::new(line), sent)
    }
}

impl Line for FallsMute {
    fn write_all(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        for byte in bytes {
            if let Some(Ok(request)) = self.decoder.take::<Request>(*byte) {
                self.sent.0.lock().unwrap().push((request, Instant::now()));
            }
            if let Some(frame) = self.board.take(*byte, 0, &mut NoPins)
                && self.left > 0
            {
                self.left -= 1;
                self.answers.extend(frame);
            }
        }
        Ok(())
    }
    fn read(&mut self, into: &mut [u8], wait: Duration) -> std::io::Result<usize> {
        let count = into.len().min(self.answers.len());
        for place in &mut into[..count] {
            *place = self.answers.pop_front().unwrap();
        }
        if count == 0 {
            std::thread::sleep(wait);
        }
        Ok(count)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
    fn description(&self) -> String {
        "mute".to_owned()
    }
}

#[test]
fn a_board_that_may_move_and_falls_mute_is_tripped_within_its_silence() {
    for answered in [2, 3, 20] {
        let (line, sent) = FallsMute::after(answered);
        let patience = Patience::on_port(1_000_000);
        let link = Link::open(line, patience, patience, None).unwrap();
        let mut board = BoardTarget::of_pool(Ok(link.allowing_motion(true)), None, true);
        let mut failed = board.begin(&rig(Settings::example())).is_err();
        for tick in 0..100 {
            failed = failed || board.tick(&inputs(tick)).is_err();
        }
        assert!(failed);
        let farewell = board.end(Ending::Broken).unwrap();
        assert!(farewell.contains("motor supply off"), "{farewell}");
        let sent = sent.0.lock().unwrap();
        let first_trip = sent
            .iter()
            .find(|(request, _)| *request == Request::Trip)
            .unwrap()
            .1;
        // What was asked first and not answered: after as many answers as there were.
        let unanswered = sent[answered].1;
        let waited = first_trip - unanswered;
        // 100 ms, and what a busy machine takes; it was 1.2 s.
        assert!(
            waited < Duration::from_millis(600),
            "{answered}: {waited:?}"
        );
        let trips = sent.iter().filter(|(request, _)| *request == Request::Trip);
        assert_eq!(trips.count(), 6);
    }
}

#[test]
fn a_wish_to_stop_ends_every_wait_but_that_for_the_trip() {
    static STOP: AtomicBool = AtomicBool::new(false);
    let patience = Patience::on_port(1_000_000);
    let (line, sent) = FallsMute::after(8);
    let link = Link::open_until(line, patience, patience, None, Some(&STOP)).unwrap();
    let mut board = BoardTarget::of_pool(Ok(link), None, true);
    board.begin(&rig(Settings::example())).unwrap();
    for tick in 0..5 {
        board.tick(&inputs(tick)).unwrap();
    }
    STOP.store(true, Ordering::Relaxed);
    assert_eq!(board.tick(&inputs(5)), Err(TargetError::Stopped));
    let samples = sent.0.lock().unwrap().len();
    board.end(Ending::Broken).unwrap();
    assert_eq!(
        sent.0.lock().unwrap().len(),
        samples + 6,
        "the trip was not repeated"
    );
    // Nobody has greeted yet.
    let (line, _) = FallsMute::after(0);
    let begun = Instant::now();
    let error = Link::open_until(line, patience, patience, None, Some(&STOP)).err();
    assert_eq!(error, Some(LinkError::Stopped));
    assert!(begun.elapsed() < Duration::from_millis(600));
}

#[test]
fn a_line_of_the_log_is_a_line_whatever_the_board_says() {
    use trimproof_diagnostics::{hostile_text, is_invisible};
    let kept = Kept::default();
    let log = FrameLog::new(Box::new(kept.clone()));
    for seed in 0..10_000 {
        log.note(seed % 2 == 0, &hostile_text(seed), &[0x41, 0x00], 0);
    }
    log.note(false, &"x".repeat(300_000), &[0x55; 800], 299_200);
    log.finish().unwrap();
    let text = String::from_utf8(kept.0.lock().unwrap().clone()).unwrap();
    assert_eq!(text.lines().count(), 10_001);
    assert!(!text.contains(|c| c != '\n' && is_invisible(c)));
    assert!(text.lines().last().unwrap().len() < 6000);
}

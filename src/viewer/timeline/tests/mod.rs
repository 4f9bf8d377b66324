//! The clock, the thinning of curves, what a row says.

use std::sync::Arc;

use proptest::prelude::*;
use trimproof_harness::judge::{Verdict, judge};
use trimproof_harness::run::{LogicTarget, Target, TargetError, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::trace::{AxisRow, Row};
use trimproof_io::{Inputs, Outputs, State};

use super::*;

pub(crate) fn rig(name: &str) -> Arc<RigFile> {
    let text = match name {
        "kittiwake" => include_str!("../../../../scenarios/rigs/kittiwake.toml"),
        _ => include_str!("../../../../scenarios/rigs/bittern.toml"),
    };
    Arc::new(RigFile::parse(text).unwrap())
}

/// A timeline of a push with one expectation that passes and one that fails.
pub(crate) fn pushed(rig_name: &str) -> Timeline {
    let scenario = Arc::new(pushed_scenario());
    let rig = rig(rig_name);
    let run = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true);
    let judgements = judge(&rig, &scenario, &run.trace);
    Timeline::of_trace(rig, Some(scenario), run.trace, &judgements)
}

/// Our controller as one that reports nothing about itself.
#[derive(Default)]
pub(crate) struct NoTelemetry(LogicTarget);

impl Target for NoTelemetry {
    fn identity(&self) -> String {
        self.0.identity()
    }
    fn reports(&self) -> Reports {
        Reports::NONE
    }
    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.0.begin(rig)
    }
    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        self.0.tick(inputs)
    }
    fn reset(&mut self) -> Result<(), TargetError> {
        self.0.reset()
    }
}

/// As [`pushed`], with a controller that reports nothing about itself.
pub(crate) fn pushed_without_telemetry(rig_name: &str) -> Timeline {
    let scenario = Arc::new(pushed_scenario());
    let rig = rig(rig_name);
    let run = run_scenario(&rig, &scenario, &mut NoTelemetry::default(), &mut |_| true);
    let judgements = judge(&rig, &scenario, &run.trace);
    Timeline::of_trace(rig, Some(scenario), run.trace, &judgements)
}

pub(crate) fn pushed_scenario() -> Scenario {
    let text = r#"
title = "A push aft"
purpose = "for tests"
rigs = ["kittiwake", "bittern"]
length_s = 3.0

[[do]]
at_s = 1.2
what = "push"
pitch_n = 8.0
rise_s = 0.3
for_s = 1.0

[[do]]
at_s = 1.5
what = "hold"
switch = "hat_fore"
for_s = 0.2

[[expect]]
name = "it holds"
formula = "always[1, end](state is holding or state is nudging)"

[[expect]]
name = "it never moves"
formula = "always[1, 2](abs(pitch.stick_deg) < 1)"
"#;
    Scenario {
        name: "pushed".to_owned(),
        ..Scenario::parse(text).unwrap()
    }
}

fn clock() -> Clock {
    let mut clock = Clock::new(1.0, 0.002);
    clock.see(6.0, false);
    clock
}

#[test]
fn the_clock_plays_at_its_speed_and_stops_at_the_end() {
    let mut clock = clock();
    clock.set_speed(0.5);
    clock.advance(1.0);
    assert!((clock.at_s() - 0.5).abs() < 1e-12);
    clock.advance(100.0);
    assert_eq!((clock.at_s(), clock.is_playing()), (6.0, false));
    // Played once more, it begins at the start.
    clock.toggle();
    assert_eq!((clock.at_s(), clock.is_playing()), (0.0, true));
}

#[test]
fn the_clock_waits_at_the_head_of_a_run() {
    let mut clock = Clock::new(1.0, 0.002);
    clock.see(0.1, true);
    clock.advance(1.0);
    assert_eq!((clock.at_s(), clock.is_playing()), (0.1, true));
    clock.see(5.0, true);
    clock.advance(0.5);
    assert!((clock.at_s() - 0.6).abs() < 1e-12);
}

#[test]
fn single_ticks_are_exact_and_pause() {
    let mut clock = clock();
    clock.jump(0.006);
    for _ in 0..1000 {
        clock.step(1);
    }
    assert!((clock.at_s() - 2.006).abs() < 1e-9 && !clock.is_playing());
    clock.step(-2000);
    assert_eq!(clock.at_s(), 0.0);
    clock.step(100_000);
    assert_eq!(clock.at_s(), 6.0);
}

#[test]
fn a_loop_is_played_over_and_over() {
    let mut clock = clock();
    clock.set_loop(Some([3.0, 2.0]));
    assert_eq!((clock.loop_s(), clock.at_s()), (Some([2.0, 3.0]), 2.0));
    clock.advance(2.25);
    assert!((clock.at_s() - 2.25).abs() < 1e-12 && clock.is_playing());
    clock.set_loop(Some([2.0, 2.0005]));
    assert_eq!(clock.loop_s(), None);
}

#[test]
fn speeds_go_from_a_twentieth_to_four() {
    let mut clock = Clock::new(77.0, 0.002);
    assert_eq!(clock.speed(), 4.0);
    for _ in 0..20 {
        clock.change_speed(false);
    }
    assert_eq!(clock.speed(), 0.05);
    clock.set_speed(0.3);
    clock.change_speed(true);
    assert_eq!(clock.speed(), 0.5);
    clock.set_speed(f64::NAN);
    assert_eq!(clock.speed(), 0.5);
}

#[test]
fn a_curve_of_few_rows_is_every_row() {
    let mut series = Series::default();
    series.extend(&[1.0, f64::NAN, 3.0]);
    assert_eq!(series.curve(0.5, 0.0, 9.0, 10), [[0.0, 1.0], [1.0, 3.0]]);
    assert_eq!(series.range(), Some([1.0, 3.0]));
    assert!(Series::default().curve(0.5, 0.0, 9.0, 10).is_empty());
}

proptest! {
    /// The law of a thinned curve: it has no corner that the curve has not, keeps the order of
    /// time, and loses neither the lowest nor the highest value of what is shown, however it came
    /// in.
    #[test]
    fn thinning_loses_no_peak(
        values in prop::collection::vec(-1e3..1e3_f64, 1..3000),
        cut in 0..3000_usize,
        from in 0..3000_usize,
        length in 1..3000_usize,
        pieces in 1..200_usize,
    ) {
        let mut series = Series::default();
        let cut = cut.min(values.len());
        series.extend(&values[..cut]);
        series.extend(&values[cut..]);
        let last = values.len() - 1;
        let (from, to) = (from.min(last), (from + length).min(last));
        let curve = series.curve(1.0, from as f64, to as f64, pieces);
        for [at, value] in &curve {
            prop_assert_eq!(values[*at as usize], *value);
        }
        prop_assert!(curve.windows(2).all(|pair| pair[0][0] < pair[1][0]));
        let shown = &values[from..=to];
        let high = shown.iter().copied().fold(f64::MIN, f64::max);
        let low = shown.iter().copied().fold(f64::MAX, f64::min);
        prop_assert!(curve.iter().any(|corner| corner[1] >= high));
        prop_assert!(curve.iter().any(|corner| corner[1] <= low));
        prop_assert!(curve.len() <= 2 * pieces + 4);
    }
}

#[test]
fn rows_are_found_by_their_time() {
    let timeline = pushed("kittiwake");
    assert_eq!(timeline.trace.rows(), 1501);
    for (at_s, row) in [
        (-1.0, 0),
        (0.0019, 0),
        (0.002, 1),
        (0.006, 3),
        (2.999, 1499),
        (9.0, 1500),
    ] {
        assert_eq!(timeline.row_at(at_s), Some(row), "{at_s}");
    }
    let empty = Timeline::new(rig("kittiwake"), None, SourceState::Running);
    assert_eq!((empty.row_at(0.0), empty.instant(0.0)), (None, None));
}

#[test]
fn an_instant_is_the_row() {
    let timeline = pushed("kittiwake");
    let instant = timeline.instant(1.8).unwrap();
    let row = timeline.row_at(1.8).unwrap();
    let stick = timeline.trace.numbers("pitch.stick_deg").unwrap()[row];
    assert_eq!(instant.axis[0].stick_deg, stick);
    assert!(stick > 3.0, "{stick}");
    assert!((instant.axis[0].grip_force_n - 8.0).abs() < 1e-9);
    assert_eq!(instant.state, timeline.trace.state(row));
    assert!(instant.force_trim && instant.axis[0].enabled && !instant.gripping);
}

/// What a controller does not report is missing, not zero; the rest is as with any other.
#[test]
fn without_telemetry_the_twin_is_still_shown() {
    let full = pushed("kittiwake");
    let mut bare = pushed_without_telemetry("kittiwake");
    let instant = bare.instant(1.8).unwrap();
    assert_eq!((instant.state, instant.reference_deg()), (None, None));
    assert_eq!(instant.axis.map(|axis| axis.in_play), [None; 2]);
    assert!(instant.faults.is_empty());
    let known = full.instant(1.8).unwrap();
    assert!(known.reference_deg().is_some());
    assert_eq!(instant.stick_deg(), known.stick_deg());
    let names: Vec<&str> = bare.lanes.shown(8).map(|lane| &*lane.name).collect();
    assert_eq!(names, ["hat.fore"]);
    assert!(bare.series("pitch.reference_deg").is_none());
    assert!(bare.series("pitch.stick_deg").is_some());
    assert!(bare.bytes() < full.bytes());
    // The one expectation speaks of the state, the other of the stick.
    let verdicts: Vec<Verdict> = bare
        .expectations
        .iter()
        .filter_map(|view| Some(view.judgement.as_ref()?.verdict))
        .collect();
    assert_eq!(verdicts, [Verdict::NotJudged, Verdict::Fail]);
    assert!(bare.expectations[0].worst_s().is_none());
    assert_eq!(bare.failed().count(), 1);
}

/// A rotor that is sent half the play ahead of the shaft sits on the forward flank; an unpowered
/// one is dragged by the shaft: after the shaft went forward by more than the whole play the pinion
/// sits on the backward flank.
#[test]
fn the_pinion_sits_where_the_trace_says_or_the_shaft_drags_it() {
    let rig = rig("kittiwake");
    let half_deg = rig.pitch.drive.backlash_half_rad().to_degrees();
    let mut timeline = Timeline::new(Arc::clone(&rig), None, SourceState::Running);
    let row = |trim_deg: f64, drive_deg: f64, lag_steps: f64, enabled: bool| {
        let axis = AxisRow {
            trim_deg,
            drive_deg,
            lag_steps,
            enabled,
            ..AxisRow::default()
        };
        Row {
            axis: [axis; 2],
            state: State::Holding,
            ..Row::default()
        }
    };
    let lag = 0.5;
    let lag_deg = lag * rig.pitch.full_step_deg();
    timeline.take_rows(&[
        row(1.0, 1.0 + lag_deg + 0.5 * half_deg, lag, true),
        row(1.0 + half_deg, 9.0, 0.0, false),
        row(1.0 + 9.0 * half_deg, 9.0, 0.0, false),
        row(1.0 + 8.0 * half_deg, 9.0, 0.0, false),
    ]);
    let found: Vec<f64> = (0..4)
        .map(|row| {
            Instant::of(&timeline.trace, &rig, row).axis[0]
                .in_play
                .unwrap()
        })
        .collect();
    for (found, expected) in found.iter().zip([0.5, -0.5, -1.0, 0.0]) {
        assert!((found - expected).abs() < 1e-9, "{found} {expected}");
    }
}

#[test]
fn lanes_show_what_was_closed_and_when() {
    let timeline = pushed("kittiwake");
    let lanes: Vec<&TimelineLane> = timeline.lanes.shown(8).collect();
    let names: Vec<&str> = lanes.iter().map(|lane| &*lane.name).collect();
    assert_eq!(names, ["state", "hat.fore"]);
    // Pressed at 1.5 s for 0.2 s, with the bounces of the rig's switches at both ends.
    let stretches = &lanes[1].stretches;
    let first = stretches.iter().find(|(_, code)| *code == 1).unwrap().0;
    assert_eq!(first, 750);
    let last = stretches.last().unwrap();
    assert!(last.1 == 0 && (850..=853).contains(&last.0), "{last:?}");
    assert_eq!(word(lanes[1], 1), "");
    assert!(
        lanes[0]
            .stretches
            .iter()
            .any(|(_, code)| word(lanes[0], *code) == "holding")
    );
}

#[test]
fn expectations_come_with_windows_signals_and_judgements() {
    let timeline = pushed("kittiwake");
    let [passing, failing] = timeline.expectations.as_slice() else {
        panic!("two expectations")
    };
    assert!(passing.judgement.as_ref().unwrap().passes());
    let judgement = failing.judgement.as_ref().unwrap();
    assert!(judgement.fails() && judgement.at_s > 1.4 && judgement.at_s <= 2.0);
    assert_eq!(failing.windows_s, [[1.0, 2.0]]);
    assert_eq!(failing.signals, ["pitch.stick_deg"]);
    let unjudged = Timeline::new(
        rig("kittiwake"),
        Some(Arc::new(pushed_scenario())),
        SourceState::Running,
    );
    assert!(
        unjudged
            .expectations
            .iter()
            .all(|view| view.judgement.is_none())
    );
}

/// A run that ended before its end says so and why, in one bounded line; a trace's own note says it
/// too.
#[test]
fn what_is_missing_is_said_in_one_line() {
    let mut timeline = pushed("kittiwake");
    assert_eq!(timeline.what_is_missing(), None);
    timeline.source_state = SourceState::Aborted("pitch stick at 1.2 s: too far".to_owned());
    let said = timeline.what_is_missing().unwrap();
    assert_eq!(
        said,
        "aborted, nothing is judged: pitch stick at 1.2 s: too far"
    );
    timeline.source_state = SourceState::Cut("x\n1 run: 1 pass\u{1b}[2J".repeat(1000));
    let said = timeline.what_is_missing().unwrap();
    assert!(said.chars().count() < 340 && !said.chars().any(char::is_control));
    assert!(said.starts_with("aborted, nothing is judged: x1 run") && said.ends_with("..."));
    let mut trace = timeline.trace.clone();
    let note = ("cut".to_owned(), "the board fell silent".to_owned());
    trace.about.notes.extend([note]);
    let read = Timeline::of_trace(Arc::clone(&timeline.rig), None, trace, &[]);
    assert_eq!(
        read.source_state,
        SourceState::Cut("the board fell silent".to_owned())
    );
}

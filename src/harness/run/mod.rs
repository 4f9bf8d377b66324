//! Runs: a scenario on a twin against a controller, from the first tick to the last.
//!
//! [`ClosedLoop::step`] is a tick. A row shows the twin at the instant of the tick beside what the
//! controller answered to it.

mod accuracy;
mod attend;
mod beside;
mod closed_loop;
mod difference;
mod end;
mod error;
mod link;
mod pins;
mod script;
mod target;
mod traffic;

pub use accuracy::{Accuracy, BAR_RAD, Sensitivity, StepDifference};
pub(crate) use accuracy::{Recorder, accuracy};
pub use attend::Attend;
pub use beside::Beside;
pub use closed_loop::{ClosedLoop, Seen};
pub use difference::AnswerDifference;
pub use end::{Cut, RunEnd};
pub use error::{Cause, TargetError};
pub use pins::{Drive, InputChange, Level, PinChange, PinEvent, PinInput, PinTarget, SerialLine};
pub use target::{Ending, LogicTarget, Target};
pub use traffic::{RoundTrips, Traffic};

use trimproof_io::CurrentLevel;
use trimproof_plant::Numerics;

use crate::rig::RigFile;
use crate::scenario::Scenario;
use crate::trace::{About, AxisRow, HandRow, Pending, Row, Trace};

/// RowMaker for which a trace has room from the start: ten minutes at 500 Hz.
const ROOM_ROWS: usize = 300_001;

/// A run and how it ended.
pub struct Run {
    /// Everything up to the end, or up to where it was cut.
    pub trace: Trace,
    /// How it ended.
    pub end: RunEnd,
}

/// Runs `scenario` on the twin of `rig` against `target`.
///
/// `watch` is called before every tick with the simulated time, s; `false` stops the run.
pub fn run_scenario(
    rig: &RigFile,
    scenario: &Scenario,
    target: &mut dyn Target,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Run {
    run_attended(rig, scenario, target, &mut attend::ClockWatch(watch))
}

/// Runs `scenario` as [`run_scenario`] does, with `attend` beside it: it gets every row and may act
/// as the pilot.
pub fn run_attended(
    rig: &RigFile,
    scenario: &Scenario,
    target: &mut dyn Target,
    attend: &mut dyn Attend,
) -> Run {
    run_at_steps(rig, scenario, target, attend, Numerics::default())
}

/// Runs `scenario` as [`run_scenario`] does, but keeps no row: each goes to `row` when it is made.
pub(crate) fn run_rows(
    rig: &RigFile,
    scenario: &Scenario,
    target: &mut dyn Target,
    watch: &mut dyn FnMut(f64) -> bool,
    row: &mut dyn FnMut(&Row),
) -> RunEnd {
    run_to_end(
        rig,
        scenario,
        target,
        &mut attend::ClockWatch(watch),
        row,
        Numerics::default(),
    )
}

/// Where the trace of a run comes from.
pub(crate) fn about(rig: &RigFile, scenario: &Scenario, controller: String) -> About {
    let mut about = About {
        rig: rig.name.clone(),
        scenario: scenario.name.clone(),
        controller,
        seed: scenario.seed,
        tick_s: rig.tick_s(),
        ..About::default()
    };
    about
        .versions
        .insert("trimproof".to_owned(), env!("CARGO_PKG_VERSION").to_owned());
    about
}

/// RowMaker of a run that is not cut short.
pub(crate) fn rows_of(rig: &RigFile, scenario: &Scenario) -> usize {
    // One row more than ticks: the last tick's end.
    script::tick_at(scenario.length_s, rig.tick_s()) as usize + 1
}

/// A trace of a run without a row yet, with room for all of them. What may be stopped at any time
/// does not get an hour's room at once.
pub(crate) fn empty_trace(rig: &RigFile, scenario: &Scenario, target: &dyn Target) -> Trace {
    let rows = rows_of(rig, scenario).min(ROOM_ROWS);
    Trace::new(
        about(rig, scenario, target.identity()),
        target.reports(),
        rows,
    )
}

/// [`run_attended`] with other steps of the integrator.
fn run_at_steps(
    rig: &RigFile,
    scenario: &Scenario,
    target: &mut dyn Target,
    attend: &mut dyn Attend,
    numerics: Numerics,
) -> Run {
    let mut trace = empty_trace(rig, scenario, target);
    let mut pending = Pending::new();
    let mut row = |row: &Row| pending.push(row, &mut trace);
    let end = run_to_end(rig, scenario, target, attend, &mut row, numerics);
    pending.settle(&mut trace);
    Run { trace, end }
}

/// Runs from the first tick to the last; each row goes to `row`.
fn run_to_end(
    rig: &RigFile,
    scenario: &Scenario,
    target: &mut dyn Target,
    attend: &mut dyn Attend,
    row: &mut dyn FnMut(&Row),
    numerics: Numerics,
) -> RunEnd {
    let mut closed = ClosedLoop::of_scenario(rig, scenario, numerics);
    let rows = RowMaker::new(rig);
    let last = script::tick_at(scenario.length_s, rig.tick_s());
    let mut run = || {
        target.set_clock(scenario.start.clock_s);
        target.begin(rig).map_err(Cut::Start)?;
        for tick in 0..=last {
            let now_s = closed.now_s();
            if !attend.go_on(now_s) {
                return Err(Cut::Stopped { at_s: now_s });
            }
            for event in attend.act(now_s) {
                closed.add(&event);
            }
            let mut seen = |seen: &Seen<'_>| {
                let made = rows.row(seen);
                row(&made);
                attend.row(&made);
            };
            if tick == last {
                closed.finish(target, &mut seen)?;
            } else {
                closed.step(target, &mut seen)?;
            }
        }
        Ok(())
    };
    run().map_or_else(RunEnd::Cut, |()| RunEnd::Complete)
}

/// Makes rows from what is seen.
struct RowMaker {
    full_scale_rate_deg_per_s: [f64; 2],
}

impl RowMaker {
    fn new(rig: &RigFile) -> Self {
        Self {
            full_scale_rate_deg_per_s: std::array::from_fn(|i| {
                let axis = rig.axis(i);
                f64::from(rig.board.generator_hz) * axis.full_step_deg()
                    / f64::from(axis.driver.microsteps)
            }),
        }
    }

    fn row(&self, seen: &Seen<'_>) -> Row {
        let deg = |mdeg: i32| f64::from(mdeg) / 1000.0;
        let readings = seen.plant.readings();
        let (command, telemetry) = (&seen.outputs.command, &seen.outputs.telemetry);
        let [hand_pitch, hand_roll] = readings.hand_rad;
        Row {
            time_s: seen.plant.now_s(),
            state: telemetry.state,
            axis: std::array::from_fn(|i| {
                let truth = &readings.axis[i];
                let (asked, reported) = (&command.axis[i], &telemetry.axis[i]);
                // The step rate is a share of 2^32 microsteps a period.
                let share = f64::from(asked.step_rate) / 4_294_967_296.0;
                let step_rate_deg_per_s = share * self.full_scale_rate_deg_per_s[i];
                AxisRow {
                    stick_deg: truth.stick_rad.to_degrees(),
                    stick_rate_deg_per_s: truth.stick_rad_per_s.to_degrees(),
                    trim_deg: truth.trim_rad.to_degrees(),
                    deflection_deg: (truth.stick_rad - truth.trim_rad).to_degrees(),
                    reference_deg: deg(reported.reference_mdeg),
                    drive_deg: deg(reported.drive_mdeg),
                    estimated_deg: deg(reported.stick_mdeg),
                    grip_force_n: truth.grip_force_n,
                    cartridge_n_m: truth.cartridge_n_m,
                    stop_force_n: truth.stop_force_n,
                    current_a: truth.current_a,
                    drive_rate_deg_per_s: if asked.enable {
                        step_rate_deg_per_s
                    } else {
                        0.0
                    },
                    step_rate_deg_per_s,
                    lag_steps: truth.lag_steps,
                    command_deg: truth.command_rad.to_degrees(),
                    command_rate_deg_per_s: truth.command_rad_per_s.to_degrees(),
                    // An hour at the fastest step rate stays far below 2^31.
                    steps: truth.steps as i32,
                    pulses_refused: seen.pins.pulses_refused[i] as i32,
                    sensor_v: seen.pins.sensor_v[i],
                    joystick: i32::from(asked.joystick),
                    sensor_counts: i32::from(truth.sensor_counts),
                    rotor_deg: truth.rotor_rad.to_degrees(),
                    // At most 1024.
                    microstep_index: truth.microstep_index as i32,
                    // The same bits with a sign.
                    step_fraction: truth.step_fraction as i32,
                    current_level: match asked.current {
                        CurrentLevel::Off => 0,
                        CurrentLevel::Hold => 1,
                        CurrentLevel::Run => 2,
                    },
                    enabled: truth.driving,
                    drive_on: asked.enable,
                    home: asked.home,
                }
            }),
            hand: HandRow {
                gripping: readings.gripping,
                pitch_deg: hand_pitch.to_degrees(),
                roll_deg: hand_roll.to_degrees(),
            },
            supply_v: readings.supply_v,
            supply_a: readings.supply_a,
            switches: readings.switches,
            faults: telemetry.faults,
            contact: readings.touching,
            tick_lost: seen.is_lost,
            loop_longest_ms: seen.pins.loop_longest_ms,
            loop_shortest_ms: seen.pins.loop_shortest_ms,
            controller_reset: seen.was_reset,
        }
    }
}

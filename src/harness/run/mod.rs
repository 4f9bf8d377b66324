//! The closed loop: scenario, twin and controller, one tick after the other.
//!
//! Order of a tick: cues of the scenario, sensors and switches sampled, controller, row of the trace, command on
//! the drivers' lines, twin advanced to the next tick. A row shows the twin at the instant of the tick beside
//! what the controller answered to it.

mod accuracy;
mod attend;
mod link;
mod script;
mod target;
mod traffic;

pub use accuracy::{Accuracy, BAR_RAD, Difference, Sensitivity};
pub(crate) use accuracy::{Recorder, accuracy};
pub use attend::Attend;
pub use target::{Ending, LogicTarget, Target, TargetError};
pub use traffic::{RoundTrips, Traffic};

use trimproof_controller::{CurrentLevel, Inputs, Outputs};
use trimproof_plant::{FaultKind, Numerics, Plant, Readings, Rig, StartPose, TwinAbort};

use crate::scenario::Scenario;
use crate::trace::{About, AxisRow, HandRow, Pending, Row, Trace};
use link::Loss;
use script::{Cue, Script};

/// Rows for which a trace has room from the start: ten minutes at 500 Hz.
const ROOM_ROWS: usize = 300_001;

/// A run and how it ended.
pub struct Run {
    /// Everything up to the end, or up to where it was cut.
    pub trace: Trace,
    /// Why it was cut short; `None` if it ran its whole length.
    pub cut: Option<String>,
    /// It was cut because whoever watched said so, not because the controller failed.
    pub stopped: bool,
    /// It was cut because the twin could not compute it, not because the controller failed.
    pub aborted: Option<TwinAbort>,
}

/// How a run ended whose rows went elsewhere; the fields are those of [`Run`].
pub(crate) struct Ended {
    pub cut: Option<String>,
    pub stopped: bool,
    pub aborted: Option<TwinAbort>,
}

/// Runs `scenario` on the twin of `rig` against `target`.
///
/// `watch` is called before every tick with the simulated time, s; `false` stops the run.
pub fn run_scenario(
    rig: &Rig,
    scenario: &Scenario,
    target: &mut dyn Target,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Run {
    run_attended(rig, scenario, target, &mut attend::Watch(watch))
}

/// Runs `scenario` as [`run_scenario`] does, with `attend` beside it: it gets every row and may act as the pilot.
pub fn run_attended(
    rig: &Rig,
    scenario: &Scenario,
    target: &mut dyn Target,
    attend: &mut dyn Attend,
) -> Run {
    run_at_steps(rig, scenario, target, attend, Numerics::default())
}

/// Runs `scenario` as [`run_scenario`] does, but keeps no row: each goes to `row` when it is made.
pub(crate) fn run_rows(
    rig: &Rig,
    scenario: &Scenario,
    target: &mut dyn Target,
    watch: &mut dyn FnMut(f64) -> bool,
    row: &mut dyn FnMut(&Row),
) -> Ended {
    let mut session = Loop::new(rig, scenario, Numerics::default());
    session.end(rig, target, &mut attend::Watch(watch), row)
}

/// Where the trace of a run comes from.
pub(crate) fn about(rig: &Rig, scenario: &Scenario, controller: String) -> About {
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

/// Rows of a run that is not cut short.
pub(crate) fn rows_of(rig: &Rig, scenario: &Scenario) -> usize {
    // One row more than ticks: the last tick's end.
    script::tick_at(scenario.length_s, rig.tick_s()) as usize + 1
}

/// A trace of a run without a row yet, with room for all of them. What may be stopped at any time does not get an hour's room
/// at once.
pub(crate) fn empty_trace(rig: &Rig, scenario: &Scenario, controller: String) -> Trace {
    let rows = rows_of(rig, scenario).min(ROOM_ROWS);
    Trace::new(about(rig, scenario, controller), rows)
}

/// [`run_attended`] with other steps of the integrator.
fn run_at_steps(
    rig: &Rig,
    scenario: &Scenario,
    target: &mut dyn Target,
    attend: &mut dyn Attend,
    numerics: Numerics,
) -> Run {
    let mut trace = empty_trace(rig, scenario, target.identity());
    let mut session = Loop::new(rig, scenario, numerics);
    let mut pending = Pending::new();
    let mut row = |row: &Row| pending.push(row, &mut trace);
    let ended = session.end(rig, target, attend, &mut row);
    pending.settle(&mut trace);
    Run {
        trace,
        cut: ended.cut,
        stopped: ended.stopped,
        aborted: ended.aborted,
    }
}

struct Loop {
    plant: Plant,
    script: Script,
    loss: Loss,
    last: Outputs,
    full_scale_rate_deg_per_s: [f64; 2],
    ticks: u32,
    stopped: bool,
    aborted: Option<TwinAbort>,
    /// The controller has started again and not answered since.
    was_reset: bool,
}

impl Loop {
    fn new(rig: &Rig, scenario: &Scenario, numerics: Numerics) -> Self {
        let start = StartPose {
            angle_rad: [
                scenario.start.pitch_deg.to_radians(),
                scenario.start.roll_deg.to_radians(),
            ],
            supply_v: if scenario.start.supply {
                rig.supply.volts
            } else {
                0.0
            },
            force_trim: scenario.start.force_trim,
        };
        let plant = Plant::new(rig, scenario.seed, numerics, start);
        let tick_s = plant.tick_s();
        let ticks = script::tick_at(scenario.length_s, tick_s);
        Self {
            plant,
            script: Script::new(scenario, tick_s),
            loss: Loss::new(scenario.seed),
            last: Outputs::default(),
            full_scale_rate_deg_per_s: std::array::from_fn(|i| {
                let axis = rig.axis(i);
                f64::from(rig.board.generator_hz) * axis.full_step_deg()
                    / f64::from(axis.driver.microsteps)
            }),
            ticks,
            stopped: false,
            aborted: None,
            was_reset: false,
        }
    }

    /// Runs to the end.
    fn end(
        &mut self,
        rig: &Rig,
        target: &mut dyn Target,
        attend: &mut dyn Attend,
        row: &mut dyn FnMut(&Row),
    ) -> Ended {
        let cut = self.run(rig, target, attend, row).err();
        Ended {
            cut,
            stopped: self.stopped,
            aborted: self.aborted.take(),
        }
    }

    fn run(
        &mut self,
        rig: &Rig,
        target: &mut dyn Target,
        attend: &mut dyn Attend,
        made: &mut dyn FnMut(&Row),
    ) -> Result<(), String> {
        target
            .begin(&rig.controller)
            .map_err(|error| self.failed(&error))?;
        for tick in 0..=self.ticks {
            if !attend.go_on(self.plant.now_s()) {
                self.stopped = true;
                return Err(format!("stopped at {} s", self.plant.now_s()));
            }
            for event in attend.act(self.plant.now_s()) {
                self.script.add(&event, self.plant.tick_s());
            }
            for cue in self.script.due(tick) {
                self.play(&cue, target)?;
            }
            let inputs = self.plant.sample();
            let answered = if self.loss.takes() {
                None
            } else {
                Some(self.ask(target, &inputs)?)
            };
            let row = Row {
                tick_lost: answered.is_none(),
                controller_reset: self.was_reset,
                ..self.row(&self.plant.readings(), &self.last)
            };
            self.was_reset &= answered.is_none();
            made(&row);
            attend.row(&row);
            if tick == self.ticks {
                break;
            }
            if let Some(outputs) = answered {
                self.plant.command(&outputs);
            }
            if let Err(abort) = self.plant.advance() {
                let reason = format!("the twin cannot compute the run: {abort}");
                self.aborted = Some(abort);
                return Err(reason);
            }
        }
        Ok(())
    }

    fn ask(&mut self, target: &mut dyn Target, inputs: &Inputs) -> Result<Outputs, String> {
        let outputs = target
            .tick(inputs)
            .map_err(|error| format!("tick {}: {}", inputs.tick, self.failed(&error)))?;
        self.last = outputs;
        Ok(outputs)
    }

    /// Why the controller under test failed, in words; a wish to stop is noted.
    fn failed(&mut self, error: &TargetError) -> String {
        self.stopped |= *error == TargetError::Stopped;
        error.to_string()
    }

    fn play(&mut self, cue: &Cue, target: &mut dyn Target) -> Result<(), String> {
        if let Cue::Fault { fault, on } = cue {
            match fault {
                FaultKind::ControllerReset {} => {
                    target.reset().map_err(|error| self.failed(&error))?;
                    self.was_reset = true;
                }
                FaultKind::LinkLoss {} => self.loss.set_silent(*on),
                FaultKind::LinkCorruption { share } => {
                    self.loss.set_share(if *on { *share } else { 0.0 })
                }
                _ => {}
            }
        }
        self.script.play(cue, &mut self.plant);
        Ok(())
    }

    fn row(&self, readings: &Readings, outputs: &Outputs) -> Row {
        let deg = |mdeg: i32| f64::from(mdeg) / 1000.0;
        let [hand_pitch, hand_roll] = readings.hand_rad;
        Row {
            time_s: self.plant.now_s(),
            state: outputs.state,
            axis: std::array::from_fn(|i| {
                let truth = &readings.axis[i];
                let out = &outputs.axis[i];
                // The step rate is a share of 2^32 microsteps a period.
                let share = f64::from(out.step_rate) / 4_294_967_296.0;
                let step_rate_deg_per_s = share * self.full_scale_rate_deg_per_s[i];
                AxisRow {
                    stick_deg: truth.stick_rad.to_degrees(),
                    stick_rate_deg_per_s: truth.stick_rad_per_s.to_degrees(),
                    trim_deg: truth.trim_rad.to_degrees(),
                    deflection_deg: (truth.stick_rad - truth.trim_rad).to_degrees(),
                    reference_deg: deg(out.reference_mdeg),
                    drive_deg: deg(out.drive_mdeg),
                    believed_deg: deg(out.stick_mdeg),
                    grip_force_n: truth.grip_force_n,
                    cartridge_nm: truth.cartridge_nm,
                    stop_force_n: truth.stop_force_n,
                    current_a: truth.current_a,
                    drive_rate_deg_per_s: if out.enable { step_rate_deg_per_s } else { 0.0 },
                    step_rate_deg_per_s,
                    lag_steps: truth.lag_steps,
                    joystick: i32::from(out.joystick),
                    sensor_counts: i32::from(truth.sensor_counts),
                    rotor_deg: truth.rotor_rad.to_degrees(),
                    // At most 1024.
                    microstep_index: truth.microstep_index as i32,
                    // The same bits with a sign.
                    step_fraction: truth.step_fraction as i32,
                    current_level: match out.current {
                        CurrentLevel::Off => 0,
                        CurrentLevel::Hold => 1,
                        CurrentLevel::Run => 2,
                    },
                    enabled: truth.driving,
                    drive_on: out.enable,
                    home: out.home,
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
            faults: outputs.faults,
            contact: readings.touching,
            ..Row::default()
        }
    }
}

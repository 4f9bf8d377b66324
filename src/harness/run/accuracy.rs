//! How far a run is from the same run at half steps.
//!
//! The commands of the first run are kept and given again: with the controller in the loop, a
//! sensor count may flip at the other steps and change what is commanded, which is no error of the
//! integrator. Halving the steps of a scheme of second order takes three quarters of its error
//! away, so the whole error is about four thirds of the difference.
//!
//! Beyond [`BAR_RAD`] the question is whether the steps are too long or the motion itself is a
//! **bifurcation**: one that turns a change that nobody can measure into more than the bar (a rotor
//! that just passes a peak of its detent, or just does not). So the run at half steps is made again
//! with such changes, one at a time.

use serde::Serialize;
use trimproof_io::{Inputs, Outputs, Reports};
use trimproof_plant::Numerics;

use super::{Target, TargetError, attend, run_at_steps};
use crate::rig::RigFile;
use crate::scenario::Scenario;
use crate::trace::Trace;

/// How many times the steps of the second run are cut.
const HALF: u32 = 2;

/// Difference of a stick angle, rad, up to which a run counts as computed.
pub const BAR_RAD: f64 = 1.0e-4;

/// Change of the stick's start that nobody can measure, rad: 0.1 µm at a grip 1 m up.
const NUDGE_RAD: f64 = 1.0e-7;

/// Change of a rig's figure that nobody can measure, a share of it: data sheets have three digits.
const NUDGE_SHARE: f64 = 1.0e-4;

/// The largest difference of one signal, over both axes.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct StepDifference {
    /// Signal: `pitch.stick_deg`.
    pub signal: &'static str,
    /// Largest difference, in the signal's unit.
    pub largest: f64,
    /// When it was largest, s.
    pub at_s: f64,
}

/// The largest differences between a run and the same run at half steps, with the same commands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Accuracy {
    /// Stick angle, degrees.
    pub stick_deg: StepDifference,
    /// Trim shaft angle, degrees.
    pub shaft_deg: StepDifference,
    /// Hand force at the grip, N.
    pub grip_force_n: StepDifference,
    /// Where the stick differs by more than [`BAR_RAD`]: the change that nobody can measure which
    /// moves it the most.
    pub sensitivity: Option<Sensitivity>,
}

impl Accuracy {
    /// Whether a stick angle differs by more than [`BAR_RAD`].
    pub fn is_beyond(&self) -> bool {
        is_beyond(&self.stick_deg)
    }
}

/// What a change that nobody can measure does to a run at half steps.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sensitivity {
    /// What was changed, and by how much.
    pub change: &'static str,
    /// How far the stick goes elsewhere, degrees.
    pub stick_deg: StepDifference,
    /// Whether that is more than [`BAR_RAD`]: no step is short enough then.
    pub is_bifurcation: bool,
}

/// Keeps what a target answers.
pub(crate) struct Recorder<'a> {
    target: &'a mut dyn Target,
    answers: Vec<Outputs>,
}

impl<'a> Recorder<'a> {
    /// A recorder of `target`.
    pub(crate) fn new(target: &'a mut dyn Target) -> Self {
        Self {
            target,
            answers: Vec::new(),
        }
    }

    /// Every answer, in the order in which they came.
    pub(crate) fn answers(self) -> Vec<Outputs> {
        self.answers
    }
}

impl Target for Recorder<'_> {
    fn identity(&self) -> String {
        self.target.identity()
    }

    fn reports(&self) -> Reports {
        self.target.reports()
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.target.begin(rig)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        let outputs = self.target.tick(inputs)?;
        self.answers.push(outputs);
        Ok(outputs)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.target.reset()
    }
}

/// Answers as it was answered before, whatever it is asked.
struct Player<'a>(std::slice::Iter<'a, Outputs>);

impl Target for Player<'_> {
    fn identity(&self) -> String {
        "commands of a run before".to_owned()
    }

    fn begin(&mut self, _rig: &RigFile) -> Result<(), TargetError> {
        Ok(())
    }

    fn tick(&mut self, _inputs: &Inputs) -> Result<Outputs, TargetError> {
        self.0.next().copied().ok_or(TargetError::NotBegun)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        Ok(())
    }
}

/// Runs `scenario` at half steps with the `answers` of its run, whose trace is given, and compares.
///
/// `watch` is called before every tick with the simulated time, s; `false` stops it.
///
/// # Errors
/// Why it could not be run: the twin cannot compute it at half steps, or `watch` stopped it.
pub(crate) fn accuracy(
    rig: &RigFile,
    scenario: &Scenario,
    trace: &Trace,
    answers: &[Outputs],
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<Accuracy, String> {
    let mut at_half_steps = |rig: &RigFile, scenario: &Scenario| {
        let numerics = Numerics {
            refine: HALF,
            ..Numerics::default()
        };
        let mut player = Player(answers.iter());
        let run = run_at_steps(
            rig,
            scenario,
            &mut player,
            &mut attend::ClockWatch(watch),
            numerics,
        );
        match run.end.cut() {
            Some(cut) => Err(cut.to_string()),
            None => Ok(run.trace),
        }
    };
    let finer = at_half_steps(rig, scenario)?;
    let stick_deg = largest_of_stick(trace, &finer);
    let sensitivity = match is_beyond(&stick_deg) {
        true => Some(sensitivity(rig, scenario, &finer, &mut at_half_steps)?),
        false => None,
    };
    Ok(Accuracy {
        stick_deg,
        shaft_deg: largest(trace, &finer, ["pitch.trim_deg", "roll.trim_deg"]),
        grip_force_n: largest(trace, &finer, ["pitch.grip_force_n", "roll.grip_force_n"]),
        sensitivity,
    })
}

/// What changes that nobody can measure do to a run, `unchanged`.
fn sensitivity(
    rig: &RigFile,
    scenario: &Scenario,
    unchanged: &Trace,
    run: &mut dyn FnMut(&RigFile, &Scenario) -> Result<Trace, String>,
) -> Result<Sensitivity, String> {
    type Change = fn(&mut RigFile, &mut Scenario);
    let changes: [(&'static str, Change); 5] = [
        ("start 1e-7 rad off", |_, scenario| {
            scenario.start.pitch_deg += NUDGE_RAD.to_degrees();
            scenario.start.roll_deg += NUDGE_RAD.to_degrees();
        }),
        ("supply 0.01 % more", |rig, _| {
            rig.supply.volts *= 1.0 + NUDGE_SHARE
        }),
        ("supply 0.01 % less", |rig, _| {
            rig.supply.volts *= 1.0 - NUDGE_SHARE
        }),
        ("holding torque 0.01 % more", |rig, _| {
            hold(rig, 1.0 + NUDGE_SHARE)
        }),
        ("holding torque 0.01 % less", |rig, _| {
            hold(rig, 1.0 - NUDGE_SHARE)
        }),
    ];
    let mut worst = Sensitivity {
        change: "none of the changes",
        stick_deg: StepDifference::default(),
        is_bifurcation: false,
    };
    for (change, apply) in changes {
        let (mut rig, mut scenario) = (rig.clone(), scenario.clone());
        apply(&mut rig, &mut scenario);
        let stick_deg = largest_of_stick(unchanged, &run(&rig, &scenario)?);
        if stick_deg.largest > worst.stick_deg.largest {
            worst = Sensitivity {
                change,
                is_bifurcation: is_beyond(&stick_deg),
                stick_deg,
            };
        }
    }
    Ok(worst)
}

fn hold(rig: &mut RigFile, times: f64) {
    let rig = &mut rig.rig;
    for motor in [&mut rig.pitch.motor, &mut rig.roll.motor] {
        motor.holding_n_m *= times;
    }
}

fn is_beyond(stick_deg: &StepDifference) -> bool {
    stick_deg.largest > BAR_RAD.to_degrees()
}

fn largest_of_stick(a: &Trace, b: &Trace) -> StepDifference {
    largest(a, b, ["pitch.stick_deg", "roll.stick_deg"])
}

fn largest(a: &Trace, b: &Trace, signals: [&'static str; 2]) -> StepDifference {
    let mut found = StepDifference {
        signal: signals[0],
        ..StepDifference::default()
    };
    for signal in signals {
        let (Some(a_values), Some(b_values)) = (a.numbers(signal), b.numbers(signal)) else {
            continue;
        };
        for (row, (x, y)) in a_values.iter().zip(b_values).enumerate() {
            let difference = (x - y).abs();
            if difference > found.largest {
                found = StepDifference {
                    signal,
                    largest: difference,
                    at_s: a.time_s(row).unwrap_or_default(),
                };
            }
        }
    }
    found
}

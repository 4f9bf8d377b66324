//! How far a run is from the same run at half steps.
//!
//! The commands of the first run are kept and given again: with the controller in the loop, a sensor count may flip at the
//! other steps and change what is commanded, which is no error of the integrator. Halving the steps of a scheme of second
//! order takes three quarters of its error away, so the whole error is about four thirds of the difference.

use serde::Serialize;
use trimproof_controller::{Inputs, Outputs, Settings};
use trimproof_plant::{Numerics, Rig};

use super::{Run, Target, TargetError, attend, run_at_steps};
use crate::scenario::Scenario;
use crate::trace::Trace;

/// How many times the steps of the second run are cut.
const HALF: u32 = 2;

/// The largest difference of one signal, over both axes.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Difference {
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
    pub stick_deg: Difference,
    /// Trim shaft angle, degrees.
    pub shaft_deg: Difference,
    /// Hand force at the grip, N.
    pub grip_force_n: Difference,
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

    fn begin(&mut self, settings: &Settings) -> Result<(), TargetError> {
        self.target.begin(settings)
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
struct Player(std::vec::IntoIter<Outputs>);

impl Target for Player {
    fn identity(&self) -> String {
        "commands of a run before".to_owned()
    }

    fn begin(&mut self, _settings: &Settings) -> Result<(), TargetError> {
        Ok(())
    }

    fn tick(&mut self, _inputs: &Inputs) -> Result<Outputs, TargetError> {
        self.0.next().ok_or(TargetError::NotBegun)
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
    rig: &Rig,
    scenario: &Scenario,
    trace: &Trace,
    answers: Vec<Outputs>,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<Accuracy, String> {
    let numerics = Numerics {
        refine: HALF,
        ..Numerics::default()
    };
    let mut player = Player(answers.into_iter());
    let Run {
        trace: finer, cut, ..
    } = run_at_steps(
        rig,
        scenario,
        &mut player,
        &mut attend::Watch(watch),
        numerics,
    );
    match cut {
        Some(reason) => Err(reason),
        None => Ok(Accuracy {
            stick_deg: largest(trace, &finer, ["pitch.stick_deg", "roll.stick_deg"]),
            shaft_deg: largest(trace, &finer, ["pitch.trim_deg", "roll.trim_deg"]),
            grip_force_n: largest(trace, &finer, ["pitch.grip_force_n", "roll.grip_force_n"]),
        }),
    }
}

fn largest(a: &Trace, b: &Trace, signals: [&'static str; 2]) -> Difference {
    let mut found = Difference {
        signal: signals[0],
        ..Difference::default()
    };
    for signal in signals {
        let (Some(a_values), Some(b_values)) = (a.numbers(signal), b.numbers(signal)) else {
            continue;
        };
        for (row, (x, y)) in a_values.iter().zip(b_values).enumerate() {
            let difference = (x - y).abs();
            if difference > found.largest {
                found = Difference {
                    signal,
                    largest: difference,
                    at_s: a.time_s(row).unwrap_or_default(),
                };
            }
        }
    }
    found
}

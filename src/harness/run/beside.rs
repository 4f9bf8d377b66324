//! Two controllers side by side: the first difference between them, in full.

use std::fmt;
use trimproof_io::{Fault, Faults, Inputs, Outputs, Reports};

use super::{Ending, Target, TargetError, Traffic};
use crate::rig::RigFile;

/// The first tick at which two controllers answer differently.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Difference {
    /// What both received, with the tick's number.
    pub inputs: Inputs,
    /// What the reference answered.
    pub reference: Outputs,
    /// What the other one answered.
    pub other: Outputs,
}

impl Difference {
    /// The difference, if there is one.
    pub fn between(inputs: &Inputs, reference: &Outputs, other: &Outputs) -> Option<Self> {
        (reference != other).then_some(Self {
            inputs: *inputs,
            reference: *reference,
            other: *other,
        })
    }
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "first difference at tick {}", self.inputs.tick)?;
        writeln!(f, "  inputs     {:?}", self.inputs)?;
        for (who, outputs) in [("reference", &self.reference), ("other", &self.other)] {
            writeln!(
                f,
                "  {who:10} state {}, faults {}",
                outputs.telemetry.state.name(),
                names(outputs.telemetry.faults)
            )?;
            let axes = outputs.command.axis.iter().zip(&outputs.telemetry.axis);
            for (axis, (asked, reported)) in ["pitch", "roll"].iter().zip(axes) {
                writeln!(f, "    {axis:5} {asked:?}")?;
                writeln!(f, "          {reported:?}")?;
            }
        }
        Ok(())
    }
}

fn names(faults: Faults) -> String {
    let names: Vec<_> = Fault::ALL
        .iter()
        .filter(|fault| faults.has(**fault))
        .map(|fault| fault.name())
        .collect();
    match names.as_slice() {
        [] => "none".to_owned(),
        _ => names.join(" "),
    }
}

/// Runs a reference and another controller on the same inputs; the other one is in the loop. The run fails at the first
/// difference.
pub struct Beside<R, T> {
    reference: R,
    other: T,
}

impl<R: Target, T: Target> Beside<R, T> {
    /// `other` beside `reference`.
    pub fn new(reference: R, other: T) -> Self {
        Self { reference, other }
    }
}

impl<R: Target, T: Target> Target for Beside<R, T> {
    fn identity(&self) -> String {
        self.other.identity()
    }

    fn reports(&self) -> Reports {
        self.other.reports()
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.reference.begin(rig)?;
        self.other.begin(rig)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        let reference = self.reference.tick(inputs)?;
        let other = self.other.tick(inputs)?;
        match Difference::between(inputs, &reference, &other) {
            Some(difference) => Err(TargetError::Differs(Box::new(difference))),
            None => Ok(other),
        }
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.reference.reset()?;
        self.other.reset()
    }

    fn end(&mut self, how: Ending) -> Option<String> {
        self.reference.end(how);
        self.other.end(how)
    }

    fn traffic(&self) -> Option<Traffic> {
        self.other.traffic()
    }
}

//! The first difference between two controllers, in full.

use std::fmt;

use trimproof_io::{Fault, Faults, Inputs, Outputs};

/// The first tick at which two controllers answer differently.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AnswerDifference {
    /// What both received, with the tick's number.
    pub inputs: Inputs,
    /// What the reference answered.
    pub reference: Outputs,
    /// What the other one answered.
    pub other: Outputs,
}

impl AnswerDifference {
    /// The difference, if there is one.
    pub fn between(inputs: &Inputs, reference: &Outputs, other: &Outputs) -> Option<Self> {
        (reference != other).then_some(Self {
            inputs: *inputs,
            reference: *reference,
            other: *other,
        })
    }
}

impl fmt::Display for AnswerDifference {
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

//! Two controllers side by side.

use trimproof_io::{Inputs, Outputs, Reports};

use super::difference::AnswerDifference;
use super::error::TargetError;
use super::target::{Ending, Target};
use super::traffic::Traffic;
use crate::rig::RigFile;

/// Runs a reference and another controller on the same inputs; the other one is in the loop. The
/// run fails at the first difference.
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
        match AnswerDifference::between(inputs, &reference, &other) {
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

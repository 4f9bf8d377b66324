//! What goes wrong in a measurement: the motor slips, or the twin cannot be measured.

use trimproof_harness::run::{Cut, TargetError};
use trimproof_plant::{AxisName, TwinAbort};

use crate::record::Condition;

/// The motor lost its place in a sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slip {
    /// Axis.
    pub axis: AxisName,
    /// What the drives did.
    pub condition: Condition,
    /// Stick angle at which it first fell, degrees.
    pub at_deg: f64,
    /// Full steps between command and rotor when the sweep was over: a multiple of four.
    pub lost_full_steps: i32,
}

/// Why a twin cannot be measured.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeasureError {
    /// The controller did not get into the state in which the stick is measured.
    #[error("the controller is `{state}` and not `{wanted}` {after_s} s after it should{faults}")]
    NotReached {
        /// State that is needed.
        wanted: &'static str,
        /// State it is in.
        state: &'static str,
        /// How long it was waited for, s.
        after_s: f64,
        /// Faults that it reported, as the end of a sentence.
        faults: String,
    },
    /// The controller failed.
    #[error("{0}")]
    Controller(#[from] TargetError),
    /// The twin cannot compute the measurement.
    #[error("the twin cannot compute the measurement: {0}")]
    Twin(#[from] TwinAbort),
    /// The caller wanted no more.
    #[error("stopped")]
    Stopped,
    /// Pieces that do not come from the plan.
    #[error("`{got}` pieces were put together, the plan has `{wanted}`")]
    Pieces {
        /// How many there were.
        got: usize,
        /// How many the plan has.
        wanted: usize,
    },
}

impl From<Cut> for MeasureError {
    fn from(cut: Cut) -> Self {
        match cut {
            Cut::Stopped { .. } => Self::Stopped,
            Cut::Tick { error, .. } | Cut::Start(error) => Self::Controller(error),
            Cut::Aborted(abort) => Self::Twin(abort),
        }
    }
}

//! Why nothing can be identified.

use trimproof_plant::AxisName;

use crate::extract::ExtractError;
use crate::plausible::Implausible;

/// Why a record gives no fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// No sweep and no response with the trim holding.
    #[error(
        "the record holds no sweep and no response with the trim holding (condition `held`): nothing can be identified"
    )]
    NothingHeld,
    /// A measurement that no hand and no stick can have made: a wrong unit, mostly.
    #[error(transparent)]
    Implausible(#[from] Implausible),
    /// A measurement that cannot be used.
    #[error("{kind} of {}: {error}", axis.name())]
    Unusable {
        /// `sweep` or `response 1`...
        kind: String,
        /// Its axis.
        axis: AxisName,
        /// What is wrong.
        error: ExtractError,
    },
    /// Too few readings.
    #[error(
        "{}: `{found}` readings are left for `{unknowns}` unknowns, at least `{needed}` are needed",
        axis.name()
    )]
    TooFew {
        /// Axis.
        axis: AxisName,
        /// How many there are, once those at turns, stops and in rest are left out.
        found: usize,
        /// How many unknowns.
        unknowns: usize,
        /// How many it takes.
        needed: usize,
    },
    /// The search took more work than any stick should.
    #[error(
        "{}: the search was given up after `{steps}` steps of the model: these readings are not those of a stick on a spring that is let go or swept slowly",
        axis.name()
    )]
    TooLong {
        /// Axis.
        axis: AxisName,
        /// Steps that it took.
        steps: u64,
    },
    /// The caller wanted no more.
    #[error("stopped")]
    Stopped,
    /// The search found no minimum.
    #[error("{}: the search for the best values found none: {why}", axis.name())]
    NoMinimum {
        /// Axis.
        axis: AxisName,
        /// What the search says.
        why: &'static str,
    },
}

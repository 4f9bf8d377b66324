//! Why no figures can be had from a record.

use crate::record::Condition;
use trimproof_plant::AxisName;

/// Why no figures can be had from a sweep, a response or a record.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ExtractError {
    /// Too few readings.
    #[error("`{found}` readings are too few, at least `{needed}` are needed")]
    TooFew {
        /// How many there are.
        found: usize,
        /// How many it takes.
        needed: usize,
    },
    /// A reading that is not a finite number.
    #[error("reading `{reading}` (counted from 1) is not a finite number")]
    NotFinite {
        /// Which, from 1.
        reading: usize,
    },
    /// Time stands still or goes back.
    #[error(
        "the time of reading `{reading}` (counted from 1), `{time_s}` s, is not after the one before it, `{before_s}` s"
    )]
    TimeNotRising {
        /// Which, from 1.
        reading: usize,
        /// Its time.
        time_s: f64,
        /// The time before it.
        before_s: f64,
    },
    /// Grip radius is of no use.
    #[error("the grip radius `{0}` m is not a number above 0")]
    GripRadius(f64),
    /// The stick does not move.
    #[error("the stick does not move: all readings are within `{0}` degrees")]
    NoMotion(f64),
    /// A sweep that goes one way and never comes back over the same ground.
    #[error(
        "the sweep goes one way only: it covers `{positive_deg:.2}` degrees going up and `{negative_deg:.2}` going down, of `{range_deg:.2}`"
    )]
    OneWay {
        /// Covered while the position rises, degrees.
        positive_deg: f64,
        /// Covered while it falls, degrees.
        negative_deg: f64,
        /// Of how much, degrees.
        range_deg: f64,
    },
    /// A sweep that does not leave its middle to one of the sides.
    #[error(
        "the sweep starts at `{start_deg:.2}` degrees and goes no further than `{end_deg:.2}` on the {side} side: it must go from the middle to both stops"
    )]
    OneSided {
        /// Where it starts, degrees.
        start_deg: f64,
        /// How far it goes to that side, degrees.
        end_deg: f64,
        /// `negative` or `positive`.
        side: &'static str,
    },
    /// Too few readings in a part of the sweep that a line must be laid through.
    #[error("too few readings {place}: `{found}`, at least `{needed}` are needed")]
    Sparse {
        /// Where.
        place: &'static str,
        /// How many there are.
        found: usize,
        /// How many it takes.
        needed: usize,
    },
    /// The response is not at rest when the record ends.
    #[error(
        "the stick is not at rest when the record ends: it still moves by `{still_deg:.3}` degrees, the residual band is `{band_deg:.3}`"
    )]
    NotAtRest {
        /// By how much it still moves, degrees.
        still_deg: f64,
        /// Residual band, degrees.
        band_deg: f64,
    },
    /// Which measurement of a record the error is about.
    #[error("{kind} of {}, {}: {error}", axis.name(), condition.name())]
    In {
        /// `sweep` or `response`.
        kind: &'static str,
        /// Its axis.
        axis: AxisName,
        /// What the drives did.
        condition: Condition,
        /// What is wrong.
        error: Box<ExtractError>,
    },
}

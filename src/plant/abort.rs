//! Why the twin cannot go on computing a run: the instant, the part and the reason.
//!
//! An abort says nothing about the controller: the twin has left the range in which its equations
//! describe the rig, so nothing that it would compute from there on can be judged.

use std::fmt;

use crate::fault::AxisName;

/// The twin cannot compute the run beyond an instant.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{part} at {at_s:.6} s: {reason}")]
pub struct TwinAbort {
    /// End of the integration step that found it, s of simulated time.
    pub at_s: f64,
    /// The part of the rig that it was found in.
    pub part: TwinPart,
    /// What is wrong there.
    pub reason: AbortReason,
}

/// A part of the rig, as an abort names it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TwinPart {
    /// The stick about one axis: `pitch stick`.
    Stick(AxisName),
    /// Trim shaft, gear, motor and windings of an axis: `pitch drive`.
    Drive(AxisName),
    /// A stop of an axis, the one at positive angles or the other: `upper pitch stop`.
    Stop {
        /// Axis of the stop.
        axis: AxisName,
        /// Whether it is the stop at `max_deg`.
        upper: bool,
    },
    /// An obstacle by its name: ``obstacle `seat` ``.
    Obstacle(String),
    /// The motor supply: `supply`.
    Supply,
    /// The whole rig: `rig`.
    Rig,
}

impl fmt::Display for TwinPart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stick(axis) => write!(f, "{} stick", axis.name()),
            Self::Drive(axis) => write!(f, "{} drive", axis.name()),
            Self::Stop { axis, upper } => {
                let side = if *upper { "upper" } else { "lower" };
                write!(f, "{side} {} stop", axis.name())
            }
            Self::Obstacle(name) => write!(f, "obstacle `{name}`"),
            Self::Supply => f.write_str("supply"),
            Self::Rig => f.write_str("rig"),
        }
    }
}

/// What is wrong with a part.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum AbortReason {
    /// A value is no number or infinite: the integration diverged.
    #[error("its {quantity} is not a finite number")]
    NotFinite {
        /// Which value.
        quantity: Quantity,
    },
    /// A value is beyond what the rig can hold.
    #[error("its {quantity} is `{found:.6}` {unit}, the rig can hold at most `{limit:.6}` {unit}", unit = quantity.unit())]
    Beyond {
        /// Which value.
        quantity: Quantity,
        /// Its size, in the unit of the quantity.
        found: f64,
        /// The largest size that the rig can hold, in the same unit.
        limit: f64,
    },
    /// A stop or an obstacle was pressed with more than it stands.
    #[error("it would have broken: pressed with `{force_n:.1}` N, it stands `{limit_n:.1}` N")]
    Broke {
        /// Force on it, N.
        force_n: f64,
        /// Largest force that it stands, N.
        limit_n: f64,
    },
}

/// A value that an abort is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// An angle, degrees.
    Angle,
    /// A rate, degrees a second.
    Rate,
    /// A winding current, A.
    Current,
    /// A voltage, V.
    Voltage,
    /// Energy, J.
    Energy,
}

impl Quantity {
    /// Unit in which an abort gives it.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Angle => "deg",
            Self::Rate => "deg/s",
            Self::Current => "A",
            Self::Voltage => "V",
            Self::Energy => "J",
        }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Angle => "angle",
            Self::Rate => "rate",
            Self::Current => "current",
            Self::Voltage => "voltage",
            Self::Energy => "energy",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_abort_names_instant_part_and_reason() {
        let say = |part, reason| {
            TwinAbort {
                at_s: 1.2345,
                part,
                reason,
            }
            .to_string()
        };
        assert_eq!(
            say(
                TwinPart::Drive(AxisName::Roll),
                AbortReason::NotFinite {
                    quantity: Quantity::Rate
                }
            ),
            "roll drive at 1.234500 s: its rate is not a finite number"
        );
        assert_eq!(
            say(
                TwinPart::Stick(AxisName::Pitch),
                AbortReason::Beyond {
                    quantity: Quantity::Angle,
                    found: 91.5,
                    limit: 90.0
                }
            ),
            "pitch stick at 1.234500 s: its angle is `91.500000` deg, the rig can hold at most `90.000000` deg"
        );
        let broke = AbortReason::Broke {
            force_n: 5000.04,
            limit_n: 3000.0,
        };
        assert_eq!(
            say(
                TwinPart::Stop {
                    axis: AxisName::Pitch,
                    upper: true
                },
                broke
            ),
            "upper pitch stop at 1.234500 s: it would have broken: pressed with `5000.0` N, it stands `3000.0` N"
        );
        assert_eq!(
            TwinPart::Obstacle("seat".to_owned()).to_string(),
            "obstacle `seat`"
        );
        assert_eq!(TwinPart::Supply.to_string(), "supply");
    }
}

//! How a stick should feel: the targets that a rig file sets itself.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::check::RangeChecker;
use crate::AxisName;

/// What the drives do while a target is looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FeelCondition {
    /// Supply on, trim holding.
    #[default]
    Held,
    /// Supply on, trim release pressed.
    Released,
    /// Supply off.
    Unpowered,
}

/// Part of the travel over which a gradient is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum GradientPart {
    /// The first inch (25.4 mm at the grip) past the breakout.
    FirstInch,
    /// From there to the stop.
    Beyond,
}

/// What the drives do while the ripple of a limp stick is looked at. A held stick is on its spring
/// and does not turn the rotor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RippleCondition {
    /// Supply on, trim release pressed.
    #[default]
    Released,
    /// Supply off.
    Unpowered,
}

/// One target. It is for both axes unless `axis` names one, for both directions, and measured with
/// trim holding unless `condition` says otherwise. Forces are the hand's at the grip, in N, as
/// positive numbers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum FeelTarget {
    /// Force at a deflection from the trimmed position, on the way out.
    Force {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// What the drives do; `held` if left out.
        #[serde(default)]
        condition: FeelCondition,
        /// Deflection to either side, degrees. Valid: 0.1 to 60.
        #[schemars(range(min = 0.1, max = 60.0))]
        at_deg: f64,
        /// Least force, N. Valid: 0 to 500.
        #[schemars(range(min = 0.0, max = 500.0))]
        low_n: f64,
        /// Largest force, N; not below the least. Valid: 0 to 500.
        #[schemars(range(min = 0.0, max = 500.0))]
        high_n: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// Force at which the stick leaves its middle, friction included.
    Breakout {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// Least force, N. Valid: 0 to 500.
        #[schemars(range(min = 0.0, max = 500.0))]
        low_n: f64,
        /// Largest force, N; not below the least. Valid: 0 to 500.
        #[schemars(range(min = 0.0, max = 500.0))]
        high_n: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// Slope of force over angle past the breakout, friction left out.
    Gradient {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// Part of the travel.
        part: GradientPart,
        /// Least slope, N per degree. Valid: 0 to 100.
        #[schemars(range(min = 0.0, max = 100.0))]
        low_n_per_deg: f64,
        /// Largest slope, N per degree; not below the least. Valid: 0 to 100.
        #[schemars(range(min = 0.0, max = 100.0))]
        high_n_per_deg: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// How near to the trimmed position the stick comes back when it is let back slowly.
    Centring {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// Largest distance, degrees. Valid: 0.001 to 20.
        #[schemars(range(min = 0.001, max = 20.0))]
        within_deg: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// Half the mean height of the loop between going out and coming back; of a limp stick
    /// (released, unpowered) the largest force that the hand meets anywhere between the stops, so
    /// that no crest of the detent hides behind a mean.
    Friction {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// What the drives do; `held` if left out.
        #[serde(default)]
        condition: FeelCondition,
        /// Largest friction, N. Valid: 0 to 500.
        #[schemars(range(min = 0.0, max = 500.0))]
        most_n: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// Ripple of a limp stick, peak to peak: the largest rise of the force from a trough to a
    /// crest, an inch apart at the most.
    Ripple {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// What the drives do; `released` if left out.
        #[serde(default)]
        condition: RippleCondition,
        /// Largest ripple, peak to peak, N. Valid: 0 to 500.
        #[schemars(range(min = 0.0, max = 500.0))]
        most_n: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// How fast a held hat carries the trimmed position.
    TrimRate {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// Least rate, degrees per second. Valid: 0 to 100.
        #[schemars(range(min = 0.0, max = 100.0))]
        low_deg_per_s: f64,
        /// Largest rate, degrees per second; not below the least. Valid: 0 to 100.
        #[schemars(range(min = 0.0, max = 100.0))]
        high_deg_per_s: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// Damping ratio of the stick let go, by its overshoots.
    DampingRatio {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// Least ratio. Valid: 0 to 10.
        #[schemars(range(min = 0.0, max = 10.0))]
        low: f64,
        /// Largest ratio; not below the least. Valid: 0 to 10.
        #[schemars(range(min = 0.0, max = 10.0))]
        high: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
    /// Width of the gap without force, from flank to flank, at the grip.
    FreePlay {
        /// Axis; both if left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        axis: Option<AxisName>,
        /// Largest gap, mm. Valid: 0 to 100.
        #[schemars(range(min = 0.0, max = 100.0))]
        most_mm: f64,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        because: Option<String>,
    },
}

impl FeelTarget {
    /// The axis that it names; both if none.
    pub fn axis(&self) -> Option<AxisName> {
        match self {
            Self::Force { axis, .. }
            | Self::Breakout { axis, .. }
            | Self::Gradient { axis, .. }
            | Self::Centring { axis, .. }
            | Self::Friction { axis, .. }
            | Self::Ripple { axis, .. }
            | Self::TrimRate { axis, .. }
            | Self::DampingRatio { axis, .. }
            | Self::FreePlay { axis, .. } => *axis,
        }
    }

    /// Why it was set, as the file says.
    pub fn because(&self) -> Option<&str> {
        match self {
            Self::Force { because, .. }
            | Self::Breakout { because, .. }
            | Self::Gradient { because, .. }
            | Self::Centring { because, .. }
            | Self::Friction { because, .. }
            | Self::Ripple { because, .. }
            | Self::TrimRate { because, .. }
            | Self::DampingRatio { because, .. }
            | Self::FreePlay { because, .. } => because.as_deref(),
        }
    }

    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        let mut band = |keys: [&str; 2], [low, high]: [f64; 2], most: f64| {
            check.number(keys[0], low, 0.0, most);
            check.number(keys[1], high, 0.0, most);
            check.require(keys[1], high >= low, || {
                format!(
                    "is `{high}`, it must not be below `{}`, which is `{low}`",
                    keys[0]
                )
            });
        };
        match *self {
            Self::Force {
                at_deg,
                low_n,
                high_n,
                ..
            } => {
                band(["low_n", "high_n"], [low_n, high_n], 500.0);
                check.number("at_deg", at_deg, 0.1, 60.0);
            }
            Self::Breakout { low_n, high_n, .. } => {
                band(["low_n", "high_n"], [low_n, high_n], 500.0);
            }
            Self::Gradient {
                low_n_per_deg,
                high_n_per_deg,
                ..
            } => band(
                ["low_n_per_deg", "high_n_per_deg"],
                [low_n_per_deg, high_n_per_deg],
                100.0,
            ),
            Self::Centring { within_deg, .. } => {
                check.number("within_deg", within_deg, 0.001, 20.0)
            }
            Self::Friction { most_n, .. } | Self::Ripple { most_n, .. } => {
                check.number("most_n", most_n, 0.0, 500.0)
            }
            Self::TrimRate {
                low_deg_per_s,
                high_deg_per_s,
                ..
            } => band(
                ["low_deg_per_s", "high_deg_per_s"],
                [low_deg_per_s, high_deg_per_s],
                100.0,
            ),
            Self::DampingRatio { low, high, .. } => band(["low", "high"], [low, high], 10.0),
            Self::FreePlay { most_mm, .. } => check.number("most_mm", most_mm, 0.0, 100.0),
        }
    }
}

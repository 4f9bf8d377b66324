//! A rig file as a whole.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trimproof_io::PITCH;

use super::axis::AxisRig;
use super::equipment::{BoardRig, HandRig, ObstacleRig, SupplyRig, SwitchesRig};
use super::feel::FeelTarget;
use super::stick::StickRig;

/// One force-feel stick: lengths in m, masses in kg, angles in degrees, every other unit in the
/// key's name. Body axes after ISO 1151: x forward, y right, z down. Pitch turns the outer frame
/// about y (positive: top goes aft), roll turns the inner yoke about x (positive: top goes right).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rig {
    /// Short name, as scenarios call it: lower-case letters, digits and hyphens, the file's name
    /// without `.toml`.
    pub name: String,
    /// Title for reports.
    pub title: String,
    /// What it is, in a sentence or more.
    #[serde(default)]
    pub about: String,
    /// The stick.
    pub stick: StickRig,
    /// Pitch axis: fore and aft, positive is aft.
    pub pitch: AxisRig,
    /// Roll axis: left and right, positive is right.
    pub roll: AxisRig,
    /// Motor supply.
    pub supply: SupplyRig,
    /// The controller's board.
    pub board: BoardRig,
    /// Things that the stick may run against.
    #[serde(default)]
    pub obstacle: Vec<ObstacleRig>,
    /// Defaults of the pilot's hand.
    pub hand: HandRig,
    /// Defaults of the grip's switches.
    pub switches: SwitchesRig,
    /// How the stick should feel: targets that `feel` judges by.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub feel: Vec<FeelTarget>,
    /// Settings of a controller. The twin has no use for them; whoever runs one reads them from the
    /// same text.
    #[serde(default, skip_serializing)]
    #[schemars(skip)]
    controller: Foreign,
}

/// A table of the file that means nothing here: whatever stands in it is somebody else's to check.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Foreign;

impl<'de> Deserialize<'de> for Foreign {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        serde::de::IgnoredAny::deserialize(deserializer).map(|_| Self)
    }
}

impl Rig {
    /// Length of a control tick, s.
    pub fn tick_s(&self) -> f64 {
        1.0 / f64::from(self.board.tick_hz)
    }

    /// One axis by its index: 0 is pitch, any other is roll.
    pub fn axis(&self, index: usize) -> &AxisRig {
        if index == PITCH {
            &self.pitch
        } else {
            &self.roll
        }
    }
}

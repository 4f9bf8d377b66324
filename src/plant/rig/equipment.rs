//! What surrounds the stick: supply, board, obstacles, the pilot's hand, switches.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::check::{RangeChecker, table};
use crate::fault::check_bounce;
use crate::shapes::SolidForm;

table! {
    /// Motor supply.
    pub struct SupplyRig {
        /// Voltage without load, V.
        volts: f64 = 5.0..=60.0,
        /// Resistance of source and leads, ohm.
        source_ohm: f64 = 0.01..=10.0,
        /// Bulk capacitance at the drivers, F.
        bulk_f: f64 = 1e-5..=0.1,
    }
}

table! {
    /// The controller's board: its clocks belong to it, whatever program runs on it.
    pub struct BoardRig {
        /// Control ticks a second: how often the controller is given its inputs, and a trace a row
        /// (default 500), Hz.
        #[serde(default = "BoardRig::default_tick_hz")]
        tick_hz: u32 = 100..=2000,
        /// Rate of the step generator's timer, Hz.
        generator_hz: u32 = 1000..=50_000,
        /// Silence of the controller after which the board lets the drives go, s.
        silence_s: f64 = 0.002..=1.0,
        /// Command timeout: ticks for which the step generator keeps the last rate without a new
        /// one (default 2).
        #[serde(default = "BoardRig::default_command_timeout_ticks")]
        command_timeout_ticks: u32 = 1..=50,
    }
}

table! {
    /// Defaults of the pilot's hand: an impedance at the grip reference point.
    pub struct HandRig {
        /// Stiffness, N/m.
        stiffness_n_per_m: f64 = 10.0..=20_000.0,
        /// Damping, N·s/m.
        damping_n_s_per_m: f64 = 0.0..=500.0,
        /// Largest force, both axes together, N.
        limit_n: f64 = 1.0..=500.0,
    }
}

/// Defaults of the grip's switches.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SwitchesRig {
    /// Bounce at each change, s: alternating durations, the first at the new level; afterwards the
    /// new level stays. At most 32, each 0 to 1 s; empty is no bounce.
    #[serde(default)]
    pub bounce_s: Vec<f64>,
}

/// Something fixed that the stick may run against.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ObstacleRig {
    /// What it is, for messages.
    pub name: String,
    /// Form and size.
    pub shape: SolidForm,
    /// Its centre in body axes from the pivot, m. Valid: -2 to 2 each.
    pub at_m: [f64; 3],
    /// Its turn, degrees: roll about x, then pitch about y, then yaw about z (default none). Valid:
    /// -360 to 360 each.
    #[serde(default)]
    pub turn_deg: [f64; 3],
    /// Stiffness of the contact, N/m. Valid: 100 to 1e6.
    #[schemars(range(min = 100.0, max = 1e6))]
    pub stiffness_n_per_m: f64,
    /// Rebound speed over impact speed. Valid: 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub restitution: f64,
}

impl SupplyRig {
    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        self.check_numbers(check);
    }
}

impl BoardRig {
    /// 500 Hz.
    pub const fn default_tick_hz() -> u32 {
        500
    }

    /// 2 ticks.
    pub const fn default_command_timeout_ticks() -> u32 {
        2
    }

    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        self.check_numbers(check);
    }
}

impl HandRig {
    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        self.check_numbers(check);
    }
}

impl SwitchesRig {
    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        let found = check_bounce(&self.bounce_s);
        check.require("bounce_s", found.is_ok(), || {
            found.clone().err().unwrap_or_default()
        });
    }
}

impl ObstacleRig {
    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        check.require("name", !self.name.trim().is_empty(), || {
            "is empty".to_owned()
        });
        check.within("shape", |check| {
            for (key, size) in self.shape.sizes() {
                check.number(&key, size, 0.0005, 2.0);
            }
        });
        check.numbers("at_m", &self.at_m, -2.0, 2.0);
        check.numbers("turn_deg", &self.turn_deg, -360.0, 360.0);
        check.number("stiffness_n_per_m", self.stiffness_n_per_m, 100.0, 1e6);
        check.number("restitution", self.restitution, 0.0, 1.0);
    }
}

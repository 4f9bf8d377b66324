//! What a rig file turns into, and the parts that no equation of motion covers, against closed
//! forms.
//!
//! All on a rig in which no number of roll is pitch's (`tests/data/skewed_rig.toml`). What is
//! expected is written out from the numbers of that file, never taken from the code.

mod assembly;
mod constants;
mod driver;
mod energy;
mod hand;
mod motor;
mod sensor;
mod stops;
mod supply;
mod twin;

use crate::Rig;
use crate::scheme::Numerics;
use crate::twin::{Plant, StartPose};

const SKEWED: &str = include_str!("../../../tests/data/skewed_rig.toml");
const KITTIWAKE: &str = include_str!("../../../scenarios/rigs/kittiwake.toml");

fn skewed() -> Rig {
    Rig::parse(SKEWED).expect("the skewed rig is valid")
}

fn kittiwake() -> Rig {
    Rig::parse(KITTIWAKE).expect("kittiwake is valid")
}

/// The twin of `rig`, upright, powered, its noise from `seed`.
fn plant(rig: &Rig, seed: u64) -> Plant {
    let start = StartPose {
        supply_v: rig.supply.volts,
        force_trim: true,
        ..StartPose::default()
    };
    Plant::new(rig, seed, Numerics::default(), start)
}

/// Within rounding: 1e-12 of the size, or 1e-15.
fn near(name: &str, found: f64, expected: f64) {
    assert!(
        (found - expected).abs() <= 1e-12 * expected.abs() + 1e-15,
        "{name}: {found}, not {expected}"
    );
}

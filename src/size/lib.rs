//! The drawing board's questions: springs, forces, holding margin, catch jump, resolution, rates,
//! supply.
//!
//! Everything is in closed form or a search over one; nothing is simulated. docs/model/size.md has
//! each formula with its source, and the tests hold them against the twin.
//!
//! ```
//! use trimproof_harness::rig::RigFile;
//!
//! let rig = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios/rigs/kittiwake.toml"));
//! let sizes = trimproof_size::size(&RigFile::parse(rig).unwrap()).unwrap();
//! assert_eq!(sizes.axes[0].stop_deg, [-20.0, 20.0]);
//! // It holds the cartridge at the stop with a margin: nothing to advise.
//! assert!(sizes.advice.is_empty());
//! ```

mod catch;
mod current;
mod design;
mod force;
mod holding;
mod power;
mod rate;
mod spring;
mod statics;
#[cfg(test)]
mod tests;
mod travel;
mod what_if;

pub use catch::{CatchSizes, Resolution};
pub use current::Current;
pub use design::SizeError;
pub use force::{GripForce, UnpoweredDrag};
pub use holding::{HoldingCurve, HoldingPoint};
pub use power::{COPPER_PER_K, Draw, HOT_RISE_K, Windings};
pub use rate::{LOW_BAND_STEPS_PER_S, RateSizes, Resonance, SetRate, resonance_hz, reversal_s};
pub use spring::{CartridgeSizes, SpringSizes};
pub use what_if::WhatIf;

use serde::Serialize;
use trimproof_harness::rig::RigFile;
use trimproof_plant::{AxisName, Numerics, Scheme};

pub(crate) use design::Design;
pub(crate) use travel::Travel;

/// Everything that is worked out about a rig.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sizes {
    /// Name of the rig.
    pub rig: String,
    /// Title of the rig.
    pub title: String,
    /// Distance of the grip from the pivot, mm.
    pub grip_radius_mm: f64,
    /// Both axes, pitch first.
    pub axes: Vec<AxisSizes>,
    /// What the motors draw from the supply.
    pub supply: Vec<Draw>,
    /// Steps in which the twin computes the rig, and what decides them.
    pub scheme: Scheme,
    /// What looks unintended about the rig ([`RigFile::advice`]).
    pub advice: Vec<String>,
}

/// Everything that is worked out about one axis.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AxisSizes {
    /// Axis.
    pub axis: AxisName,
    /// Stops, degrees.
    pub stop_deg: [f64; 2],
    /// Soft limits of the trimmed position, degrees.
    pub soft_deg: [f64; 2],
    /// Cartridge and springs.
    pub cartridge: CartridgeSizes,
    /// Positions beyond this axis' stops, or at which the drive slips first, have no force.
    pub forces: Vec<PositionForce>,
    /// Holding margin: hold cold, hold hot, run cold, run hot.
    pub holding: Vec<HoldingCurve>,
    /// Catch jump when release is let go.
    pub catch: CatchSizes,
    /// Resolution at the grip.
    pub resolution: Resolution,
    /// Drag of the unpowered drive.
    pub unpowered: UnpoweredDrag,
    /// Step rates and resonances.
    pub rates: RateSizes,
    /// What other choices would change.
    pub what_if: Vec<WhatIf>,
}

/// A position that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PositionForce {
    /// Position, degrees.
    pub position_deg: f64,
    /// Force there; none beyond a stop, or where the drive slips first.
    pub force: Option<GripForce>,
}

/// Sizes of a rig, with forces at the positions that say most: stops, soft limits, halves and
/// quarters of those.
///
/// # Errors
/// The rig has no settings of a controller.
pub fn size(rig: &RigFile) -> Result<Sizes, SizeError> {
    sizes(rig, None)
}

/// Sizes of a rig, with forces at the given positions, degrees.
///
/// # Errors
/// The rig has no settings of a controller.
pub fn size_at(rig: &RigFile, positions_deg: &[f64]) -> Result<Sizes, SizeError> {
    sizes(rig, Some(positions_deg))
}

fn sizes(file: &RigFile, positions_deg: Option<&[f64]>) -> Result<Sizes, SizeError> {
    let rig = &Design::of(file)?;
    let axes: Vec<AxisSizes> = AxisName::ALL
        .into_iter()
        .map(|axis| axis_sizes(rig, axis, positions_deg))
        .collect();
    let load_n_m = [axes[0].rates.load_n_m, axes[1].rates.load_n_m];
    Ok(Sizes {
        rig: rig.name.clone(),
        title: rig.title.clone(),
        grip_radius_mm: rig.stick.grip_radius_m * 1000.0,
        axes,
        supply: power::draws(rig, load_n_m),
        scheme: Scheme::of(rig, Numerics::default()),
        advice: file.advice(),
    })
}

fn axis_sizes(rig: &Design, axis: AxisName, positions_deg: Option<&[f64]>) -> AxisSizes {
    let index = axis.index();
    let travel = Travel::of(rig, index);
    let drive = holding::standing(rig, index, Current::Hold, Windings::Cold);
    let forces = positions_deg
        .map_or_else(|| force::usual_positions(travel), <[f64]>::to_vec)
        .into_iter()
        .map(|position_deg| PositionForce {
            position_deg,
            force: force::grip_force(rig, axis, &drive, position_deg),
        })
        .collect();
    AxisSizes {
        axis,
        stop_deg: [travel.min_deg, travel.max_deg],
        soft_deg: [travel.soft_min_deg, travel.soft_max_deg],
        cartridge: spring::cartridge(rig, index),
        forces,
        holding: holding::curves(rig, index),
        catch: catch::catch(rig, index),
        resolution: catch::resolution(rig, index),
        unpowered: force::unpowered_drag(rig, index),
        rates: rate::rates(rig, index),
        what_if: what_if::choices(rig, index),
    }
}

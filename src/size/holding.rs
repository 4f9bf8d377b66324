//! Holding margin: what the drive holds against what the cartridge asks, over the travel.

use crate::Design;
use serde::Serialize;

use super::current::Current;
use super::power::{Windings, standing_supply_v};
use super::statics::Statics;
use super::travel::Travel;

/// Points of a curve, both ends included.
const POINTS: u32 = 81;

/// Holding margin at one current, windings cold or hot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HoldingCurve {
    /// Which current.
    pub current: Current,
    /// Its peak, A.
    pub current_a: f64,
    /// Cold or hot.
    pub windings: Windings,
    /// Torque at the trim shaft at which a slow pull makes the drive slip, N·m: weakest microstep,
    /// friction helping.
    pub slips_at_n_m: f64,
    /// The same without any friction, N·m.
    pub without_friction_n_m: f64,
    /// Deflection of the stick from the trimmed position at which it slips, degrees.
    pub slips_at_deg: f64,
    /// Voltage that a winding needs at its peak current, V.
    pub needs_v: f64,
    /// What the supply has at the drivers above that while both axes stand at this current, V.
    pub headroom_v: f64,
    /// The curve, from stop to stop.
    pub points: Vec<HoldingPoint>,
    /// Where the margin is least with the trim in the middle.
    pub least: HoldingPoint,
    /// Where it is least with the trim at the soft limit on the other side.
    pub least_far: HoldingPoint,
}

/// The holding margin with the stick at one position.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct HoldingPoint {
    /// Position of the stick, degrees.
    pub position_deg: f64,
    /// Torque of the cartridge, N·m: trimmed in the middle.
    pub cartridge_n_m: f64,
    /// What the drive holds beyond that, N·m.
    pub margin_n_m: f64,
    /// What it holds over what is asked; none where nothing is asked.
    pub factor: Option<f64>,
    /// Torque of the cartridge, N·m: trimmed at the soft limit farther from this position.
    pub far_cartridge_n_m: f64,
    /// What the drive holds beyond that, N·m; negative: it slips.
    pub far_margin_n_m: f64,
    /// What it holds over what is asked there.
    pub far_factor: Option<f64>,
}

/// All four curves of axis `index`: hold and run, cold and hot.
pub(crate) fn curves(rig: &Design, index: usize) -> Vec<HoldingCurve> {
    let mut curves = Vec::new();
    for current in Current::ALL {
        for windings in Windings::ALL {
            curves.push(curve(rig, index, current, windings));
        }
    }
    curves
}

/// The drive of axis `index` at rest, both axes at `current`.
pub(crate) fn standing(
    rig: &Design,
    index: usize,
    current: Current,
    windings: Windings,
) -> Statics {
    let axis = rig.axis(index);
    let supply_v = standing_supply_v(rig, current, windings);
    let most_a = supply_v / windings.ohm(axis);
    Statics::new(axis, current.amps(rig, index), most_a)
}

fn curve(rig: &Design, index: usize, current: Current, windings: Windings) -> HoldingCurve {
    let travel = Travel::of(rig, index);
    let drive = standing(rig, index, current, windings);
    let slip_n_m = drive.slip_n_m();
    let current_a = current.amps(rig, index);
    let needs_v = current_a * windings.ohm(rig.axis(index));
    let span_deg = travel.max_deg - travel.min_deg;
    let points: Vec<HoldingPoint> = (0..POINTS)
        .map(|k| travel.min_deg + span_deg * f64::from(k) / f64::from(POINTS - 1))
        .map(|position_deg| point(rig, index, &drive, slip_n_m, position_deg))
        .collect();
    let ends = [travel.min_deg, travel.max_deg]
        .map(|position_deg| point(rig, index, &drive, slip_n_m, position_deg));
    let least_by = |margin: fn(&HoldingPoint) -> f64| {
        points.iter().fold(ends[0], |least, point| {
            if margin(point) < margin(&least) {
                *point
            } else {
                least
            }
        })
    };
    HoldingCurve {
        current,
        current_a,
        windings,
        slips_at_n_m: slip_n_m,
        without_friction_n_m: drive.slip_without_friction_n_m(),
        slips_at_deg: drive.slip_deflection_rad().to_degrees(),
        needs_v,
        headroom_v: standing_supply_v(rig, current, windings) - needs_v,
        least: least_by(|point| point.margin_n_m),
        least_far: least_by(|point| point.far_margin_n_m),
        points,
    }
}

fn point(
    rig: &Design,
    index: usize,
    drive: &Statics,
    slip_n_m: f64,
    position_deg: f64,
) -> HoldingPoint {
    let travel = Travel::of(rig, index);
    let far_deg = (position_deg - travel.soft_min_deg).max(travel.soft_max_deg - position_deg);
    let asked = |deflection_deg: f64| {
        let deflection_rad = deflection_deg.to_radians();
        // Where the drive slips the spring's own torque is what is asked in vain.
        drive
            .load_n_m(deflection_rad)
            .unwrap_or_else(|| drive.spring_n_m(deflection_rad))
    };
    let factor = |torque_n_m: f64| (torque_n_m > 1e-9).then(|| slip_n_m / torque_n_m);
    let (near_n_m, far_n_m) = (asked(position_deg), asked(far_deg));
    HoldingPoint {
        position_deg,
        cartridge_n_m: near_n_m,
        margin_n_m: slip_n_m - near_n_m,
        factor: factor(near_n_m),
        far_cartridge_n_m: far_n_m,
        far_margin_n_m: slip_n_m - far_n_m,
        far_factor: factor(far_n_m),
    }
}

//! Force of the hand at the grip, trimmed in the middle and without supply.

use crate::Design;
use serde::Serialize;
use trimproof_plant::AxisName;
use trimproof_plant::gimbal_params;

use super::statics::Statics;
use super::travel::Travel;

/// What the hand must do to keep the stick at a position, trimmed in the middle, drive on, the
/// other axis upright.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct GripForce {
    /// Position, degrees.
    pub position_deg: f64,
    /// Force while going outwards, pivot friction against the hand, N; positive pushes the axis
    /// positive.
    pub out_n: f64,
    /// Force while coming back, pivot friction with the hand, N.
    pub back_n: f64,
    /// The middle of both: spring and weight, N.
    pub mean_n: f64,
    /// Share of the weight in that, N.
    pub weight_n: f64,
    /// Torque of the cartridge, N·m, positive number.
    pub cartridge_n_m: f64,
    /// By how much the trim shaft gives, degrees.
    pub drive_gives_deg: f64,
}

/// What the unpowered drive costs the hand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct UnpoweredDrag {
    /// Detent of the motor, seen at the grip, N.
    pub detent_n: f64,
    /// Friction of rotor, teeth and trim shaft, seen at the grip, N.
    pub friction_n: f64,
    /// Friction of the stick's pivot, N.
    pub pivot_n: f64,
    /// All of it: largest force to move the stick slowly, its weight left out, N.
    pub most_n: f64,
    /// Share of the breakout that the drive drags with; from 1 on the cartridge moves before the
    /// trim shaft does.
    pub share_of_breakout: Option<f64>,
}

/// Positions that say most: stops, soft limits, half and a quarter of those to a tenth of a degree.
pub(crate) fn usual_positions(travel: Travel) -> Vec<f64> {
    let (low, high) = (travel.soft_min_deg, travel.soft_max_deg);
    let tenth = |deg: f64| (10.0 * deg).round() / 10.0;
    vec![
        travel.min_deg,
        low,
        tenth(0.5 * low),
        tenth(0.25 * low),
        tenth(0.25 * high),
        tenth(0.5 * high),
        high,
        travel.max_deg,
    ]
}

/// Force at a position of axis `axis`, degrees; none beyond a stop, or where the drive slips first.
pub(crate) fn grip_force(
    rig: &Design,
    axis: AxisName,
    drive: &Statics,
    position_deg: f64,
) -> Option<GripForce> {
    let index = axis.index();
    let travel = Travel::of(rig, index);
    if position_deg < travel.min_deg || position_deg > travel.max_deg {
        return None;
    }
    let load_n_m = drive.load_n_m(position_deg.to_radians())?;
    let mut angle_rad = [0.0; 2];
    angle_rad[index] = position_deg.to_radians();
    let weight_n_m = gimbal_params(rig).gravity(angle_rad)[index];
    let side = if position_deg < 0.0 { -1.0 } else { 1.0 };
    let friction_n_m = side * rig.axis(index).friction.coulomb_n_m;
    let radius_m = rig.stick.grip_radius_m;
    let mean_n_m = side * load_n_m - weight_n_m;
    Some(GripForce {
        position_deg,
        out_n: (mean_n_m + friction_n_m) / radius_m,
        back_n: (mean_n_m - friction_n_m) / radius_m,
        mean_n: mean_n_m / radius_m,
        weight_n: -weight_n_m / radius_m,
        cartridge_n_m: load_n_m,
        // Within the free play the shaft rests anywhere in its backlash.
        drive_gives_deg: if load_n_m > 1e-9 {
            drive.give_rad(load_n_m).to_degrees()
        } else {
            0.0
        },
    })
}

/// Torque that the motor without current, the teeth and the trim shaft put up at most against being
/// turned, N·m.
///
/// `AxisRig::drag_n_m` and what the teeth take of the motor's part.
pub(crate) fn drag_n_m(rig: &Design, index: usize) -> f64 {
    let axis = rig.axis(index);
    let motor_n_m = (axis.motor.detent_n_m + axis.motor.friction_n_m) * axis.drive.ratio();
    axis.drag_n_m() + (1.0 - axis.drive.efficiency) * motor_n_m
}

/// What the unpowered drive of axis `index` costs the hand.
pub(crate) fn unpowered_drag(rig: &Design, index: usize) -> UnpoweredDrag {
    let axis = rig.axis(index);
    let radius_m = rig.stick.grip_radius_m;
    let drag_n_m = drag_n_m(rig, index);
    let detent_n = axis.motor.detent_n_m * axis.drive.ratio() / radius_m;
    let breakout_n_m = axis.cartridge.cartridge().breakout_n_m;
    UnpoweredDrag {
        detent_n,
        friction_n: drag_n_m / radius_m - detent_n,
        pivot_n: axis.friction.coulomb_n_m / radius_m,
        most_n: (drag_n_m + axis.friction.coulomb_n_m) / radius_m,
        share_of_breakout: (breakout_n_m > 0.0).then(|| drag_n_m / breakout_n_m),
    }
}

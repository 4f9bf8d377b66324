//! From a rig's parts to the parameters of the equations of motion.

use crate::contact::{Body, BumperParams, Stop, Surroundings, Tube};
use crate::driver::{DriverKind, DriverParams};
use crate::dynamics::{CartridgeParams, DryFriction, GimbalParams, TrainParams, WindingParams};
use crate::rig::{AxisRig, Cartridge, ObstacleRig, Rig};

/// The gimbal of a rig.
pub fn gimbal_params(rig: &Rig) -> GimbalParams {
    let friction = [&rig.pitch, &rig.roll].map(|axis| DryFriction {
        coulomb_n_m: axis.friction.coulomb_n_m,
        stiction_n_m: axis.friction.stiction_n_m,
        viscous_n_m_s_per_rad: axis.friction.viscous_n_m_s_per_rad,
    });
    GimbalParams::new(rig.stick.mass.properties(), friction)
}

/// The drive train of an axis, with all its springs whole.
pub fn train_params(axis: &AxisRig, substep_s: f64) -> TrainParams {
    let radius_m = axis.drive.trim_pitch_radius_m;
    TrainParams {
        cartridge: cartridge_params(&axis.cartridge.cartridge()),
        shaft_inertia_kg_m2: axis.drive.shaft_inertia_kg_m2,
        shaft_friction_n_m: axis.drive.shaft_friction_n_m,
        ratio: axis.drive.ratio(),
        half_backlash_rad: axis.drive.backlash_half_rad(),
        mesh_n_m_per_rad: axis.drive.mesh_stiffness_n_per_m * radius_m * radius_m,
        mesh_damping_n_m_s_per_rad: axis.drive.mesh_damping_n_s_per_m * radius_m * radius_m,
        mesh_loss: 1.0 - axis.drive.efficiency,
        rotor_inertia_kg_m2: axis.motor.rotor_inertia_kg_m2,
        rotor_teeth: f64::from(axis.motor.rotor_teeth),
        kt_n_m_per_a: axis.motor.torque_constant_n_m_per_a(),
        detent_n_m: axis.motor.detent_n_m,
        rotor_friction_n_m: axis.motor.friction_n_m,
        rotor_viscous_n_m_s_per_rad: axis.motor.viscous_n_m_s_per_rad,
        rotor_zero_rad: axis.motor.zero_deg.to_radians(),
        winding: WindingParams::new(
            axis.motor.resistance_ohm,
            axis.motor.inductance_h,
            0.5 * substep_s,
        ),
        substep_s,
    }
}

pub(crate) fn driver_params(axis: &AxisRig, step_s: f64) -> DriverParams {
    let driver = &axis.driver;
    DriverParams {
        microsteps: axis.driver.microsteps,
        run_a: axis.driver.run_a,
        hold_a: axis.driver.hold_a,
        undervoltage_v: axis.driver.undervoltage_v,
        kind: DriverKind {
            has_reset: driver.reset_line,
            has_current: driver.current_line,
            counts_while_off: driver.counts_while_off,
            standstill_share: driver.standstill_share,
            standstill_after: if driver.standstill_share < 1.0 {
                (driver.standstill_after_s / step_s).round() as u32
            } else {
                0
            },
        },
    }
}

/// The torque law of a cartridge's figures.
pub(crate) fn cartridge_params(cartridge: &Cartridge) -> CartridgeParams {
    CartridgeParams {
        free_play_rad: cartridge.free_play_rad,
        breakout_n_m: cartridge.breakout_n_m,
        rate_n_m_per_rad: cartridge.rate_n_m_per_rad,
        bind_rad: cartridge.bind_rad - cartridge.free_play_rad,
        damping_n_m_s_per_rad: cartridge.damping_n_m_s_per_rad,
    }
}

/// Stops and obstacles of a rig.
pub(crate) fn surroundings(rig: &Rig, contact_steps: u32) -> Surroundings {
    let tube = Tube {
        bottom_m: rig.stick.tube_bottom_m,
        top_m: rig.stick.tube_top_m,
        radius_m: rig.stick.tube_radius_m,
    };
    let mut ends = Vec::new();
    for (i, stops) in [&rig.pitch.stops, &rig.roll.stops].into_iter().enumerate() {
        for (angle_deg, is_upper) in [(stops.min_deg, false), (stops.max_deg, true)] {
            ends.push(Stop::new(
                i,
                is_upper,
                angle_deg.to_radians(),
                stops.height_m,
                tube.radius_m + stops.pin_radius_m,
                stops.bumper(),
                stops.strength_n,
            ));
        }
    }
    let bodies = rig.obstacle.iter().map(obstacle).collect();
    Surroundings::new(tube, ends, bodies, contact_steps)
}

fn obstacle(obstacle: &ObstacleRig) -> Body {
    let params = BumperParams::new(obstacle.stiffness_n_per_m, obstacle.restitution);
    Body::new(&obstacle.shape, obstacle.at_m, obstacle.turn_deg, params)
}

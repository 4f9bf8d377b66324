//! From a rig's parts to the twin that stands ready.

use trimproof_io::{AXES, StepGenerator, Switches};

use crate::contact::{Body, BumperParams, ContactLoad, Stop, Surroundings, Tube};
use crate::driver::{Driver, DriverParams};
use crate::dynamics::{
    CartridgeParams, DryFriction, GimbalParams, GimbalState, PoseAnchor, TrainParams, TrainState,
    WindingParams,
};
use crate::fault::SwitchName;
use crate::guard::Account;
use crate::hand::{Hand, HandFeel};
use crate::rest::Rest;
use crate::rig::{AxisRig, Cartridge, ObstacleRig, Rig};
use crate::scheme::Scheme;
use crate::sensor::AngleSensor;
use crate::supply::Supply;
use crate::switch::Switch;
use crate::twin::{Axis, Numerics, Plant, StartPose};

/// Builds the twin of `rig`.
pub(crate) fn assemble(rig: &Rig, seed: u64, numerics: Numerics, start: StartPose) -> Plant {
    let generator_hz = rig.board.generator_hz;
    let tick_hz = rig.board.tick_hz;
    let periods = generator_hz / tick_hz;
    let scheme = Scheme::of(rig, numerics);
    let (steps, step_s) = (scheme.stick.count, scheme.stick.step_s);
    let substeps = scheme.train.each_ref().map(|train| train.count);
    let tick_s = 1.0 / f64::from(tick_hz);
    let timeout_periods = rig.board.command_timeout_ticks * periods;
    let axes = [&rig.pitch, &rig.roll];
    let axis = std::array::from_fn(|i| {
        let params = train_params(axes[i], scheme.train[i].step_s);
        Axis {
            params,
            reciprocals: params.reciprocals(),
            train: TrainState {
                shaft_rad: start.angle_rad[i],
                rotor_rad: start.angle_rad[i] * params.ratio,
                ..TrainState::default()
            },
            standstill: None,
            driver: Driver::new(driver_params(axes[i])),
            generator: StepGenerator::new(u16::try_from(timeout_periods).unwrap_or(u16::MAX)),
            substeps: substeps[i],
            share: 1.0 / f64::from(substeps[i]),
            // Each axis draws its own noise.
            sensor: AngleSensor::new(
                &axes[i].sensor,
                tick_s,
                seed.wrapping_mul(2).wrapping_add(i as u64),
            ),
            cartridge: axes[i].cartridge.cartridge(),
            broken_springs: 0,
            tooth_rad: std::f64::consts::TAU / f64::from(axes[i].drive.trim_teeth),
            lag_zero_rad: 0.0,
            was_driving: false,
            counts: 0,
        }
    });
    let feel = HandFeel {
        stiffness_n_per_m: rig.hand.stiffness_n_per_m,
        damping_n_s_per_m: rig.hand.damping_n_s_per_m,
        limit_n: rig.hand.limit_n,
    };
    let mut plant = Plant {
        gimbal: gimbal_params(rig),
        stick: GimbalState {
            angle_rad: start.angle_rad,
            ..GimbalState::default()
        },
        accel: [0.0; AXES],
        mid: PoseAnchor::default(),
        axis,
        surroundings: surroundings(rig, numerics.contact_steps),
        obstacle_names: rig
            .obstacle
            .iter()
            .map(|obstacle| obstacle.name.clone())
            .collect(),
        hand: Hand::new(rig.stick.grip_radius_m, feel),
        feel,
        supply_low_v: start.supply_v,
        supply: Supply::new(
            rig.supply.source_ohm,
            rig.supply.bulk_f,
            start.supply_v,
            step_s,
        ),
        switches: SwitchName::ALL.map(|_| Switch::new(false)),
        bounce_s: rig.switches.bounce_s.clone(),
        force_trim: start.force_trim,
        grip_radius_m: rig.stick.grip_radius_m,
        tick: 0,
        tick_s,
        periods,
        steps,
        step_s,
        substeps: substeps[0].max(substeps[1]),
        silence_ticks: (rig.board.silence_s / tick_s).round() as u32,
        silent_for: 0,
        levels: Switches::default(),
        contact: ContactLoad::default(),
        account: Account::default(),
        rest: Rest::default(),
        aborted: None,
    };
    plant.open_account();
    plant
}

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

fn driver_params(axis: &AxisRig) -> DriverParams {
    DriverParams {
        microsteps: axis.driver.microsteps,
        run_a: axis.driver.run_a,
        hold_a: axis.driver.hold_a,
        undervoltage_v: axis.driver.undervoltage_v,
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

//! From a rig's parts to the twin that stands ready.

use trimproof_io::{AXES, StepGenerator, Switches};

use crate::account::Account;
use crate::contact::ContactLoad;
use crate::driver::Driver;
use crate::dynamics::{GimbalState, PoseAnchor, TrainState};
use crate::fault::SwitchName;
use crate::hand::{Hand, HandFeel};
use crate::params::{driver_params, gimbal_params, surroundings, train_params};
use crate::rig::Rig;
use crate::scheme::{Numerics, Scheme};
use crate::sensor::AngleSensor;
use crate::state_bits::Rest;
use crate::supply::Supply;
use crate::switch::Switch;
use crate::twin::{DriveAxis, Plant, StartPose};

impl Plant {
    /// The twin of `rig`, with sensor noise from `seed`, standing as `start` says.
    pub fn new(rig: &Rig, seed: u64, numerics: Numerics, start: StartPose) -> Self {
        let generator_hz = rig.board.generator_hz;
        let tick_hz = rig.board.tick_hz;
        let periods = generator_hz / tick_hz;
        let scheme = Scheme::of(rig, numerics);
        let (steps, step_s) = (scheme.stick.count, scheme.stick.step_s);
        let substeps = scheme.train.each_ref().map(|train| train.count);
        let tick_s = 1.0 / f64::from(tick_hz);
        let timeout_periods = rig.board.command_timeout_ticks * periods;
        let axes = [&rig.pitch, &rig.roll];
        // Each axis draws its own noise.
        let sensor_seed = |i: usize| seed.wrapping_mul(2).wrapping_add(i as u64);
        let axis = std::array::from_fn(|i| {
            let params = train_params(axes[i], scheme.train[i].step_s);
            DriveAxis {
                params,
                reciprocals: params.reciprocals(),
                train: TrainState {
                    shaft_rad: start.angle_rad[i],
                    rotor_rad: start.angle_rad[i] * params.ratio,
                    ..TrainState::default()
                },
                standstill: None,
                driver: Driver::new(driver_params(axes[i], step_s)),
                generator: StepGenerator::new(u16::try_from(timeout_periods).unwrap_or(u16::MAX)),
                substeps: substeps[i],
                share: 1.0 / f64::from(substeps[i]),
                sensor: AngleSensor::new(&axes[i].sensor, tick_s, sensor_seed(i)),
                sensor_rig: axes[i].sensor.clone(),
                sensor_seed: sensor_seed(i),
                cartridge: axes[i].cartridge.cartridge(),
                broken_springs: 0,
                tooth_rad: std::f64::consts::TAU / f64::from(axes[i].drive.trim_teeth),
                lag_zero_rad: 0.0,
                was_driving: false,
                counts: 0,
                counted_before: 0,
            }
        });
        let feel = HandFeel {
            stiffness_n_per_m: rig.hand.stiffness_n_per_m,
            damping_n_s_per_m: rig.hand.damping_n_s_per_m,
            limit_n: rig.hand.limit_n,
        };
        let mut plant = Self {
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
            period: 0,
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
}

//! Every field of every law from its rig key, both axes, on the skewed rig.

use std::f64::consts::{PI, SQRT_2, TAU};

use super::{near, plant, skewed};
use crate::AngleSensor;
use crate::driver::{Driver, DriverParams};
use crate::dynamics::{DryFriction, GimbalParams, WindingParams};
use crate::hand::HandFeel;
use crate::params::{gimbal_params, train_params};
use crate::rig::SensorRig;
use crate::supply::Supply;
use trimproof_io::StepGenerator;

const DEG: f64 = PI / 180.0;
const SUBSTEP_S: f64 = 37.0e-6;

#[test]
fn the_drive_trains_have_their_own_numbers() {
    let rig = skewed();
    // Of the springs: k = G d⁴/(8 n D³), arm 27 mm, three of them; preload 2.5 mm; solid 9.25 · 2.1
    // mm.
    let spring = 78.5e9 * libm::pow(0.0021, 4.0) / (8.0 * 7.5 * libm::pow(0.0153, 3.0));
    let stroke_m = 0.0462 - 9.25 * 0.0021;
    // free play, breakout, rate, bind beyond the free play, damping
    let cartridges = [
        [0.17 * DEG, 0.81, 11.3, (44.0 - 0.17) * DEG, 0.33],
        [
            0.13 * DEG,
            3.0 * spring * (0.0487 - 0.0462) * 0.027,
            3.0 * spring * 0.027 * 0.027,
            stroke_m / 0.027,
            0.27,
        ],
    ];
    // inertia, friction, ratio, half backlash, mesh stiffness and damping at the shaft, loss
    let shafts = [
        [
            1.7e-4,
            0.032,
            7.0,
            55e-6 / 0.041 / 2.0,
            5.5e5 * 0.041 * 0.041,
            65.0 * 0.041 * 0.041,
            1.0 - 0.96,
        ],
        [
            1.4e-4,
            0.027,
            5.5,
            75e-6 / 0.034 / 2.0,
            6.5e5 * 0.034 * 0.034,
            75.0 * 0.034 * 0.034,
            1.0 - 0.93,
        ],
    ];
    // inertia, teeth, torque constant, detent, friction, viscous, electrical zero
    let rotors = [
        [
            3.1e-5,
            50.0,
            1.3 / (SQRT_2 * 2.7),
            0.041,
            0.0031,
            1.1e-3,
            143.0 * DEG,
        ],
        [
            2.8e-5,
            100.0,
            1.15 / (SQRT_2 * 2.9),
            0.037,
            0.0027,
            0.9e-3,
            71.0 * DEG,
        ],
    ];
    let windings = [[0.95, 2.7e-3], [0.85, 2.2e-3]];
    for (i, axis) in [&rig.pitch, &rig.roll].into_iter().enumerate() {
        let params = train_params(axis, SUBSTEP_S);
        let c = params.cartridge;
        let found = [
            c.free_play_rad,
            c.breakout_n_m,
            c.rate_n_m_per_rad,
            c.bind_rad,
            c.damping_n_m_s_per_rad,
        ];
        for (k, (found, expected)) in found.into_iter().zip(cartridges[i]).enumerate() {
            near(&format!("axis {i}, cartridge {k}"), found, expected);
        }
        let found = [
            params.shaft_inertia_kg_m2,
            params.shaft_friction_n_m,
            params.ratio,
            params.half_backlash_rad,
            params.mesh_n_m_per_rad,
            params.mesh_damping_n_m_s_per_rad,
            params.mesh_loss,
        ];
        for (k, (found, expected)) in found.into_iter().zip(shafts[i]).enumerate() {
            near(&format!("axis {i}, shaft {k}"), found, expected);
        }
        let found = [
            params.rotor_inertia_kg_m2,
            params.rotor_teeth,
            params.kt_n_m_per_a,
            params.detent_n_m,
            params.rotor_friction_n_m,
            params.rotor_viscous_n_m_s_per_rad,
            params.rotor_zero_rad,
        ];
        for (k, (found, expected)) in found.into_iter().zip(rotors[i]).enumerate() {
            near(&format!("axis {i}, rotor {k}"), found, expected);
        }
        let [ohm, henry] = windings[i];
        assert_eq!(
            params.winding,
            WindingParams::new(ohm, henry, 0.5 * SUBSTEP_S)
        );
        assert_eq!(params.substep_s, SUBSTEP_S);
    }
}

#[test]
fn the_gimbal_has_its_masses_and_each_pivot_its_friction() {
    let rig = skewed();
    let mass = rig.stick.mass.properties();
    near("frame inertia", mass.frame_inertia_kg_m2, 1.1e-3);
    near("frame mass", mass.frame_mass_kg, 0.41);
    assert_eq!(mass.frame_cg_m, [0.001, 0.002, -0.003]);
    near("inner mass", mass.inner_mass_kg, 0.97);
    assert_eq!(mass.inner_cg_m, [0.0007, -0.0004, -0.005]);
    // Parallel axes: I + m (r² 1 − r rᵀ) with r = (0.7, −0.4, −5) mm.
    let (m, [x, y, z]) = (0.97, [0.0007, -0.0004, -0.005]);
    let expected = [
        [
            0.031 + m * (y * y + z * z),
            1.0e-4 - m * x * y,
            2.0e-4 - m * x * z,
        ],
        [
            1.0e-4 - m * x * y,
            0.0295 + m * (x * x + z * z),
            -3.0e-4 - m * y * z,
        ],
        [
            2.0e-4 - m * x * z,
            -3.0e-4 - m * y * z,
            0.0019 + m * (x * x + y * y),
        ],
    ];
    for (found, expected) in mass
        .inner_inertia_kg_m2
        .iter()
        .flatten()
        .zip(expected.iter().flatten())
    {
        near("inner inertia", *found, *expected);
    }
    let friction = |coulomb_n_m, stiction_n_m, viscous_n_m_s_per_rad| DryFriction {
        coulomb_n_m,
        stiction_n_m,
        viscous_n_m_s_per_rad,
    };
    let expected = GimbalParams::new(
        mass,
        [friction(0.051, 0.067, 0.083), friction(0.043, 0.059, 0.071)],
    );
    // The fields are the law's own: their text shows every one.
    assert_eq!(
        format!("{:?}", gimbal_params(&rig)),
        format!("{expected:?}")
    );
}

#[test]
fn the_parts_around_the_stick_have_their_own_numbers() {
    let rig = skewed();
    let twin = plant(&rig, 7);
    let drivers = [
        DriverParams {
            microsteps: 16,
            run_a: 3.7,
            hold_a: 3.5,
            undervoltage_v: 10.5,
            kind: crate::driver::DriverKind::default(),
        },
        DriverParams {
            microsteps: 8,
            run_a: 3.3,
            hold_a: 3.05,
            undervoltage_v: 9.5,
            kind: crate::driver::DriverKind::default(),
        },
    ];
    let sensors = [
        SensorRig {
            bits: 12,
            min_deg: -31.0,
            max_deg: 29.0,
            offset_deg: 0.35,
            gain_error: 0.002,
            noise_deg: 0.03,
            latency_s: 3.0e-4,
            nonlinearity_deg: 0.08,
        },
        SensorRig {
            bits: 13,
            min_deg: -28.0,
            max_deg: 32.0,
            offset_deg: -0.2,
            gain_error: -0.0015,
            noise_deg: 0.02,
            latency_s: 2.6e-3,
            nonlinearity_deg: 0.06,
        },
    ];
    for (i, axis) in twin.axis.iter().enumerate() {
        assert_eq!(
            format!("{:?}", axis.driver),
            format!("{:?}", Driver::new(drivers[i]))
        );
        // Seeds 2 s and 2 s + 1: each axis has its own noise, and no two runs share one.
        let sensor = AngleSensor::new(&sensors[i], 1.0 / 400.0, [14, 15][i]);
        assert_eq!(format!("{:?}", axis.sensor), format!("{sensor:?}"));
        // 3 ticks of 30 periods.
        assert_eq!(axis.generator, StepGenerator::new(90));
        near("tooth", axis.tooth_rad, TAU / [98.0, 88.0][i]);
        assert_eq!(axis.cartridge.springs, [2, 3][i]);
        assert_eq!((axis.broken_springs, axis.was_driving), (0, false));
    }
    assert_eq!(
        twin.feel,
        HandFeel {
            stiffness_n_per_m: 1900.0,
            damping_n_s_per_m: 41.0,
            limit_n: 170.0
        }
    );
    assert_eq!(twin.grip_radius_m, 0.37);
    assert_eq!(twin.bounce_s, [0.0027, 0.0031]);
    assert_eq!(twin.obstacle_names, ["ball"]);
    // 12 kHz at 400 Hz: 30 periods a tick, one step of 83.3 µs in each, four substeps; 0.05 s are
    // 20 ticks.
    assert_eq!((twin.periods, twin.steps, twin.substeps), (30, 1, 4));
    near("step", twin.step_s, 1.0 / 12_000.0);
    near("tick", twin.tick_s, 1.0 / 400.0);
    assert_eq!(twin.silence_ticks, 20);
    let supply = Supply::new(0.13, 2.3e-3, 25.0, twin.step_s);
    assert_eq!(format!("{:?}", twin.supply), format!("{supply:?}"));
    assert_eq!((twin.supply_low_v, twin.force_trim), (25.0, true));
}

/// A start puts stick, shafts and rotors where they belong: each axis at its own angle, each rotor
/// at its ratio.
#[test]
fn a_start_puts_every_part_in_its_place() {
    let rig = skewed();
    let start = crate::StartPose {
        angle_rad: [0.1, -0.07],
        supply_v: 17.0,
        force_trim: false,
    };
    let twin = crate::Plant::new(&rig, 1, crate::Numerics::default(), start);
    assert_eq!(twin.stick().angle_rad, [0.1, -0.07]);
    assert_eq!(twin.stick().rate_rad_per_s, [0.0; 2]);
    for (i, (shaft, rotor)) in [(0.1, 0.7), (-0.07, -0.385)].into_iter().enumerate() {
        near("shaft", twin.train(i).shaft_rad, shaft);
        near("rotor", twin.train(i).rotor_rad, rotor);
    }
    assert_eq!(twin.readings().supply_v, 17.0);
    assert!(!twin.force_trim);
}

/// A stick step that must be cut gives whole steps no longer than asked for; one that divides is
/// not cut again.
#[test]
fn a_generator_period_is_cut_into_equal_steps() {
    let rig = skewed();
    for (longest_s, steps) in [(1.0e-4, 1), (1.0 / 24_000.0, 2), (4.0e-5, 3), (1.0, 1)] {
        let numerics = crate::Numerics {
            stick_step_s: longest_s,
            ..Default::default()
        };
        let twin = crate::Plant::new(&rig, 1, numerics, crate::StartPose::default());
        assert_eq!(twin.steps, steps, "{longest_s}");
        near("step", twin.step_s * f64::from(steps), 1.0 / 12_000.0);
    }
}

/// Damage to springs goes to the axis of the fault, mends again, and cannot be less than nothing.
#[test]
fn broken_springs_take_their_share_and_come_back() {
    use crate::fault::{AxisName, FaultKind};
    let rig = skewed();
    let mut twin = plant(&rig, 1);
    let whole = [twin.axis[0].params.cartridge, twin.axis[1].params.cartridge];
    let broken = |count| FaultKind::SpringBroken {
        axis: AxisName::Roll,
        count,
    };
    twin.set_fault(&broken(2), true);
    let params = twin.axis[1].params.cartridge;
    near("breakout", params.breakout_n_m, whole[1].breakout_n_m / 3.0);
    near(
        "rate",
        params.rate_n_m_per_rad,
        whole[1].rate_n_m_per_rad / 3.0,
    );
    near("damping", params.damping_n_m_s_per_rad, 0.27);
    assert_eq!(twin.axis[0].params.cartridge, whole[0]);
    twin.set_fault(&broken(2), false);
    assert_eq!(twin.axis[1].params.cartridge, whole[1]);
    twin.set_fault(&broken(5), true);
    assert_eq!(twin.axis[1].params.cartridge.rate_n_m_per_rad, 0.0);
}

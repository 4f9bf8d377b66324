//! Energies against the work of the forces that belong to them: the account that stops a diverging
//! run (`guard.rs`) is made of them, and no trace shows them.

use super::{near, skewed};
use crate::dynamics::{CartridgeParams, DryFriction, GimbalParams, GimbalState, TrainState};
use crate::params::{gimbal_params, train_params};
use crate::rig::MassProperties;

const FREE: [DryFriction; 2] = [DryFriction {
    coulomb_n_m: 0.0,
    stiction_n_m: 0.0,
    viscous_n_m_s_per_rad: 0.0,
}; 2];

/// Energy is the integral of the torque: through the free play, the seat, the straight line and the
/// bound coils. The torque is made of straight pieces, so midpoints are wrong only in the four
/// parts that have a corner in them, by less than the largest change of slope, 40 · rate, times the
/// square of a part over 8 each.
#[test]
fn a_cartridge_stores_the_work_of_its_torque() {
    let rig = skewed();
    for axis in [&rig.pitch, &rig.roll] {
        let params = train_params(axis, 1e-5).cartridge;
        let ends = [
            0.5 * params.free_play_rad,
            params.free_play_rad + 1.0e-3,
            params.free_play_rad + 0.1,
            params.free_play_rad + params.bind_rad + 0.02,
        ];
        for end_rad in ends.into_iter().flat_map(|end| [end, -end]) {
            let part = end_rad / 20_000.0;
            let work: f64 = (0..20_000)
                .map(|k| params.spring_n_m((f64::from(k) + 0.5) * part) * part)
                .sum();
            let wrong =
                4.0 * (40.0 * params.rate_n_m_per_rad + params.breakout_n_m / 2.0e-3) * part * part;
            let found = params.energy_j(end_rad);
            assert!(
                (found - work).abs() <= wrong + 1e-12,
                "{end_rad}: {found} J for {work} J"
            );
        }
        assert!(params.energy_j(ends[0]) == 0.0 && params.energy_j(ends[1]) > 0.0);
    }
}

/// The deflection of a torque is where the spring has that torque: on the seat, on the line, with
/// the coils bound.
#[test]
fn a_cartridge_is_deflected_to_where_its_torque_is() {
    let params = CartridgeParams {
        free_play_rad: 0.003,
        breakout_n_m: 0.8,
        rate_n_m_per_rad: 11.0,
        bind_rad: 0.4,
        damping_n_m_s_per_rad: 0.1,
    };
    // At the bind: 0.8 + 11 (0.4 − 0.002) = 5.178 N·m.
    for torque_n_m in [0.1, 0.79, 0.81, 3.0, 5.1, 5.3, 9.0] {
        for torque_n_m in [torque_n_m, -torque_n_m] {
            let deflection_rad = params.deflection_rad(torque_n_m);
            near("torque", params.spring_n_m(deflection_rad), torque_n_m);
        }
    }
}

/// Gravity's torque is the slope of the energy at rest, wherever both centres of gravity lie. The
/// difference of both sides is off by h²/6 of the third derivative, which is below the weights' 20
/// N·m.
#[test]
fn gravity_is_the_slope_of_the_energy() {
    let params = gimbal_params(&skewed());
    let at = |angle_rad: [f64; 2]| {
        params.energy_j(&GimbalState {
            angle_rad,
            ..GimbalState::default()
        })
    };
    let h = 1e-4;
    for angle in [[0.0, 0.0], [0.3, -0.2], [-0.5, 0.4], [0.1, 0.9]] {
        let found = params.gravity(angle);
        for (axis, found) in found.into_iter().enumerate() {
            let mut ends = [angle; 2];
            ends[0][axis] += h;
            ends[1][axis] -= h;
            let slope = (at(ends[0]) - at(ends[1])) / (2.0 * h);
            assert!(
                (found + slope).abs() < 1e-7,
                "{angle:?}, axis {axis}: {found} N·m for {}",
                -slope
            );
        }
    }
}

/// Kinetic energy is that of two turning bodies: J θ'²/2 of the frame and ω·Iω/2 of the inner one,
/// with ω = (φ', θ' cos φ, −θ' sin φ) in its own axes.
#[test]
fn a_moving_stick_has_the_energy_of_its_two_bodies() {
    let rig = skewed();
    let params = gimbal_params(&rig);
    let mass = rig.stick.mass.properties();
    for (angle_rad, rate) in [
        ([0.1, 0.0], [2.0, 0.0]),
        ([0.1, 0.3], [0.0, -3.0]),
        ([-0.2, 0.4], [1.5, 2.5]),
        ([0.3, -0.5], [-2.0, 1.0]),
    ] {
        let still = GimbalState {
            angle_rad,
            ..GimbalState::default()
        };
        let moving = GimbalState {
            rate_rad_per_s: rate,
            ..still
        };
        let (sin, cos) = libm::sincos(angle_rad[1]);
        let omega = [rate[1], rate[0] * cos, -rate[0] * sin];
        let mut twice = mass.frame_inertia_kg_m2 * rate[0] * rate[0];
        for (a, row) in omega.into_iter().zip(mass.inner_inertia_kg_m2) {
            for (b, entry) in omega.into_iter().zip(row) {
                twice += a * entry * b;
            }
        }
        let found = params.energy_j(&moving) - params.energy_j(&still);
        assert!((found - 0.5 * twice).abs() < 1e-12, "{found} for {twice}/2");
    }
}

/// A body whose centre of gravity is 5 cm from the pivot can fall by 10 cm: from straight above to
/// straight below. Both together fall by no more than the sum.
#[test]
fn the_largest_fall_is_from_above_the_pivot_to_below_it() {
    let mass = |inner_kg, frame_kg| MassProperties {
        frame_inertia_kg_m2: 1e-3,
        frame_mass_kg: frame_kg,
        frame_cg_m: [0.03, 0.0, -0.04],
        inner_mass_kg: inner_kg,
        inner_cg_m: [0.0, 0.04, -0.03],
        inner_inertia_kg_m2: [[0.01, 0.0, 0.0], [0.0, 0.01, 0.0], [0.0, 0.0, 0.01]],
    };
    let fall = |inner_kg, frame_kg| {
        let params = GimbalParams::new(mass(inner_kg, frame_kg), FREE);
        let energies = || {
            (0..360 * 36).map(|k| {
                let angle_rad =
                    [f64::from(k % 360), f64::from(k / 360) * 10.0].map(f64::to_radians);
                params.energy_j(&GimbalState {
                    angle_rad,
                    ..GimbalState::default()
                })
            })
        };
        let found =
            energies().fold(f64::NEG_INFINITY, f64::max) - energies().fold(f64::INFINITY, f64::min);
        (params.largest_fall_j(), found)
    };
    for (inner_kg, frame_kg) in [(1.5, 0.0), (0.0, 1.5)] {
        let (most, found) = fall(inner_kg, frame_kg);
        near("fall", most, 1.5 * 9.80665 * 0.1);
        // The grid comes within 5 degrees of it: 1 − cos 5° is 0.4 %.
        assert!(found <= most && found > 0.99 * most, "{found} of {most} J");
    }
    let (most, found) = fall(1.5, 1.0);
    near("sum", most, 2.5 * 9.80665 * 0.1);
    assert!(found <= most);
}

/// Each store of a drive by itself, on the skewed rig's pitch: shaft, rotor, the mesh beyond its
/// backlash on either side, windings, cartridge; and a gear that has slipped by as much as its
/// shaft stores nothing.
#[test]
fn a_drive_stores_what_its_parts_store() {
    let params = train_params(&skewed().pitch, 1e-5);
    let still = TrainState::default();
    let energy = |state: TrainState| params.energy_j(&state, 0.0);
    near("nothing", energy(still), 0.0);
    let shaft = TrainState {
        shaft_rad_per_s: -3.0,
        ..still
    };
    near("shaft", energy(shaft), 0.5 * 1.7e-4 * 9.0);
    let rotor = TrainState {
        rotor_rad_per_s: 20.0,
        ..still
    };
    near("rotor", energy(rotor), 0.5 * 3.1e-5 * 400.0);
    let windings = TrainState {
        current_a: [2.0, -3.0],
        ..still
    };
    near("windings", energy(windings), 0.5 * 2.7e-3 * 13.0);
    let (half_play, stiffness) = (55e-6 / 0.041 / 2.0, 5.5e5 * 0.041 * 0.041);
    for side in [1.0, -1.0] {
        let in_play = TrainState {
            rotor_rad: side * 7.0 * 0.9 * half_play,
            ..still
        };
        near("play", energy(in_play), 0.0);
        let pressed = TrainState {
            rotor_rad: side * 7.0 * (half_play + 1e-3),
            ..still
        };
        let found = energy(pressed);
        let expected = 0.5 * stiffness * 1e-6;
        assert!((found / expected - 1.0).abs() < 1e-9, "{found}");
    }
    let slipped = TrainState {
        shaft_rad: 0.2,
        slipped_rad: 0.2,
        ..still
    };
    near("slipped", params.energy_j(&slipped, 0.2), 0.0);
    near(
        "cartridge",
        params.energy_j(&still, 0.3),
        params.cartridge.energy_j(0.3),
    );
}

/// A kick of a stick at rest without friction gives it the momentum of the step's torque and
/// weight: M v = h (T + G).
#[test]
fn a_kick_gives_the_momentum_of_its_torque() {
    let mass = skewed().stick.mass.properties();
    let params = GimbalParams::new(mass, FREE);
    let (angle_rad, torque, h) = ([0.2, -0.3], [1.5, -0.7], 1e-5);
    let mut state = GimbalState {
        angle_rad,
        ..GimbalState::default()
    };
    params.kick(angle_rad, &mut state, torque, h);
    let weight = params.gravity(angle_rad);
    let [a, b, c] = params.mass_matrix(&crate::dynamics::Pose::at(angle_rad));
    let [p, r] = state.rate_rad_per_s;
    // The inertial torques are of the second order in the rates, which are below 1e-3 rad/s.
    for (found, expected) in [
        (a * p + b * r, h * (torque[0] + weight[0])),
        (b * p + c * r, h * (torque[1] + weight[1])),
    ] {
        assert!(
            (found / expected - 1.0).abs() < 1e-6,
            "{found} for {expected}"
        );
    }
}

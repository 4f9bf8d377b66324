//! The motor as a machine: what it takes in electrically is what it heats and what it turns, in
//! each winding.
//!
//! With the field at α, i_a = −I sin α and i_b = I cos α give the torque k I at every α. A
//! winding's back-EMF is its torque per ampere times the rate: e_a = −k ω sin α, e_b = k ω cos α,
//! so that e i is the mechanical power.

use std::f64::consts::TAU;

use super::{near, skewed};
use crate::dynamics::{Phase, StickPath, TrainDrive, TrainParams, TrainState};
use crate::params::train_params;

const SUBSTEP_S: f64 = 1.0e-6;
const OHM: f64 = 0.95;

/// The pitch motor of the skewed rig alone, on a flywheel that nothing slows: no gear, detent or
/// friction.
fn flywheel() -> TrainParams {
    TrainParams {
        rotor_inertia_kg_m2: 1.0e6,
        detent_n_m: 0.0,
        rotor_friction_n_m: 0.0,
        rotor_viscous_n_m_s_per_rad: 0.0,
        half_backlash_rad: 1.0e9,
        shaft_friction_n_m: 1.0e9,
        ..train_params(&skewed().pitch, SUBSTEP_S)
    }
}

/// Mean electrical power over whole cycles at `rate` with the currents held in the field, W;
/// `broken` leads carry none.
fn mean_power_w(rate: f64, amps: f64, broken: [bool; 2]) -> f64 {
    let params = flywheel();
    let mut state = TrainState {
        rotor_rad_per_s: rate,
        ..TrainState::default()
    };
    // Two cycles of 50 teeth; the first settles the currents.
    let cycle = (TAU / 50.0 / rate.abs() / SUBSTEP_S).round() as u32;
    let mut sum = 0.0;
    for k in 0..2 * cycle {
        // Where the field will be at mid-step.
        let alpha = params.electrical_rad(&state) + 25.0 * rate * SUBSTEP_S;
        let (sin, cos) = libm::sincos(alpha);
        let held = |target: f64, broken: bool| {
            if broken {
                Phase::Broken
            } else {
                Phase::Chopped(target)
            }
        };
        let drive = TrainDrive {
            phase: [held(-amps * sin, broken[0]), held(amps * cos, broken[1])],
            supply_v: 1.0e3,
        };
        let load = params.run(&mut state, &drive, &StickPath::default(), 1);
        if k >= cycle {
            sum += load.power_w;
        }
    }
    sum / f64::from(cycle)
}

/// P = R I² + k I ω with both windings; with one alone half of each, for sin² and cos² are a half
/// on average.
#[test]
fn electrical_power_is_heat_and_mechanical_power() {
    let kt = 1.3 / (2.0_f64.sqrt() * 2.7);
    for rate in [12.0, -12.0, 40.0] {
        for (broken, windings) in [
            ([false, false], 1.0),
            ([true, false], 0.5),
            ([false, true], 0.5),
        ] {
            let amps = 2.0;
            let expected = windings * (OHM * amps * amps + kt * amps * rate);
            let found = mean_power_w(rate, amps, broken);
            // Currents are steps of a microsecond, and a cycle is a whole number of them to 1e-4.
            assert!(
                (found - expected).abs() < 2e-3 * (OHM * amps * amps + (kt * amps * rate).abs()),
                "{rate} rad/s, {broken:?}: {found} W, not {expected}"
            );
        }
    }
}

/// The torque of each winding goes the way of its back-EMF: k I with both, k I cos² and k I sin²
/// alone.
#[test]
fn each_windings_torque_turns_the_rotor_forward() {
    let params = TrainParams {
        rotor_inertia_kg_m2: 1.0,
        ..flywheel()
    };
    for degrees in [10.0_f64, 100.0, 200.0, 290.0] {
        let alpha = degrees.to_radians();
        let (sin, cos) = libm::sincos(alpha);
        for (broken, share) in [
            ([false, false], 1.0),
            ([true, false], cos * cos),
            ([false, true], sin * sin),
        ] {
            let mut state = TrainState {
                rotor_rad: (alpha - 143.0_f64.to_radians()) / 50.0,
                ..TrainState::default()
            };
            let targets = [-2.0 * sin, 2.0 * cos];
            let phase = std::array::from_fn(|i| {
                if broken[i] {
                    Phase::Broken
                } else {
                    state.current_a[i] = targets[i];
                    Phase::Chopped(targets[i])
                }
            });
            let drive = TrainDrive {
                phase,
                supply_v: 100.0,
            };
            params.run(&mut state, &drive, &StickPath::default(), 1);
            let torque = state.rotor_rad_per_s / SUBSTEP_S;
            let kt = 1.3 / (2.0_f64.sqrt() * 2.7);
            assert!(
                (torque - 2.0 * kt * share).abs() < 1e-6,
                "{degrees}, {broken:?}: {torque}"
            );
        }
    }
}

/// Open windings without current carry none however fast the rotor turns, brake nothing and draw
/// nothing (docs say so: that a motor turned by hand generates is not modelled).
#[test]
fn open_windings_do_not_brake() {
    let params = flywheel();
    let mut state = TrainState {
        rotor_rad_per_s: 300.0,
        ..TrainState::default()
    };
    let drive = TrainDrive {
        phase: [Phase::Open; 2],
        supply_v: 24.0,
    };
    let load = params.run(&mut state, &drive, &StickPath::default(), 1000);
    assert_eq!(state.current_a, [0.0; 2]);
    assert_eq!(load.power_w, 0.0);
    near("rate", state.rotor_rad_per_s, 300.0);
}

//! Dry friction of the pivots: stiction holds for good, and gives way where it must.

use trimproof_plant::dynamics::{DryFriction, GimbalParams, GimbalState};

use super::bodies::{STEP_S, case, step};
use super::simple::{frictionless, wheel};

const COULOMB_NM: f64 = 0.10;
const STICTION_NM: f64 = 0.15;

fn dry() -> DryFriction {
    DryFriction {
        coulomb_n_m: COULOMB_NM,
        stiction_n_m: STICTION_NM,
        viscous_n_m_s_per_rad: 0.0,
    }
}

/// The top-heavy stick of the reference cases, with products of inertia between its axes, on dry
/// pivots.
fn coupled_stick() -> GimbalParams {
    GimbalParams::new(case("top_heavy_on_springs").mass(), [dry(); 2])
}

/// Runs a stick at rest upright under gravity plus a torque that makes the sum `share` of stiction.
fn run(params: &GimbalParams, share: [f64; 2], for_s: f64) -> GimbalState {
    let gravity = params.gravity([0.0; 2]);
    let torque: [f64; 2] = std::array::from_fn(|i| share[i] * STICTION_NM - gravity[i]);
    let mut state = GimbalState {
        stuck: [true; 2],
        ..GimbalState::default()
    };
    let mut accel = [0.0; 2];
    for _ in 0..(for_s / STEP_S).round() as usize {
        step(params, &mut state, &mut accel, STEP_S, |_, _| torque);
    }
    state
}

#[test]
fn nothing_creeps_at_95_percent_of_stiction_in_20_s() {
    for share in [[0.95, 0.95], [-0.95, 0.95], [0.95, 0.0]] {
        let state = run(&coupled_stick(), share, 20.0);
        // 1e-8 rad is what the sweeps of projected Gauss-Seidel leave; a held rate is zero here.
        for angle in state.angle_rad {
            assert!(angle.abs() < 1e-8, "{share:?}: crept {angle:e} rad");
        }
        assert_eq!(state.stuck, [true; 2]);
    }
}

#[test]
fn stick_breaks_away_at_105_percent_of_stiction() {
    let state = run(&coupled_stick(), [1.05, 0.0], 0.1);
    assert!(
        state.angle_rad[0] > 1e-3,
        "pitch stayed at {} rad",
        state.angle_rad[0]
    );
    let state = run(&coupled_stick(), [0.0, -1.05], 0.1);
    assert!(
        state.angle_rad[1] < -1e-3,
        "roll stayed at {} rad",
        state.angle_rad[1]
    );
}

#[test]
fn sliding_needs_only_the_coulomb_torque() {
    // Between coulomb and stiction: a wheel at rest stays, a wheel that turns is sped up by the
    // difference.
    let params = wheel(0.15, dry());
    let torque = 0.12;
    let mut resting = GimbalState {
        stuck: [true; 2],
        ..GimbalState::default()
    };
    let mut turning = GimbalState {
        rate_rad_per_s: [0.5, 0.0],
        ..GimbalState::default()
    };
    let mut accel = [[0.0; 2]; 2];
    for _ in 0..5000 {
        step(&params, &mut resting, &mut accel[0], STEP_S, |_, _| {
            [torque, 0.0]
        });
        step(&params, &mut turning, &mut accel[1], STEP_S, |_, _| {
            [torque, 0.0]
        });
    }
    assert_eq!(resting.angle_rad, [0.0; 2]);
    let expected = 0.5 + (torque - COULOMB_NM) / 0.15 * 0.5;
    assert!(
        (turning.rate_rad_per_s[0] - expected).abs() < 1e-9,
        "{}",
        turning.rate_rad_per_s[0]
    );
}

#[test]
fn sliding_friction_stops_a_wheel_in_the_closed_form_time() {
    // J ω / T and the way ω²J / 2T; a step is the resolution of the stop.
    let (inertia, rate) = (0.15, 2.0);
    let params = wheel(inertia, dry());
    let mut state = GimbalState {
        rate_rad_per_s: [rate, 0.0],
        ..GimbalState::default()
    };
    let mut accel = [0.0; 2];
    let mut steps = 0;
    while state.rate_rad_per_s[0] > 0.0 {
        step(&params, &mut state, &mut accel, STEP_S, |_, _| [0.0; 2]);
        steps += 1;
        assert!(steps < 100_000, "it never stops");
    }
    let time_s = f64::from(steps) * STEP_S;
    assert!(
        (time_s - inertia * rate / COULOMB_NM).abs() < 1.01 * STEP_S,
        "{time_s} s"
    );
    let way = inertia * rate * rate / (2.0 * COULOMB_NM);
    assert!(
        (state.angle_rad[0] - way).abs() < 1e-6,
        "{} rad for {way}",
        state.angle_rad[0]
    );
    assert!(state.stuck[0]);
}

#[test]
fn a_pivot_without_friction_never_sticks() {
    let state = run(&wheel(0.15, frictionless()), [0.001, 0.0], 0.1);
    assert!(!state.stuck[0] && state.angle_rad[0] > 0.0);
}

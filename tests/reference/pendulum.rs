//! Swings: periods at large amplitude and decay by viscous friction, against closed forms.

use trimproof_plant::dynamics::{DryFriction, GimbalParams, GimbalState};

use super::bodies::{GRAVITY_M_PER_S2, STEP_S, step};
use super::simple::{frictionless, pendulum, wheel};

/// T/T0 at an amplitude in degrees. Published table of the pendulum's period, checked against
/// 1/agm(1, cos(θ/2)), the arithmetic-geometric mean form (docs/model/sources.md).
pub const PERIOD_RATIO: [(f64, f64); 7] = [
    (15.0, 1.0043),
    (30.0, 1.01741),
    (45.0, 1.03997),
    (60.0, 1.07318),
    (90.0, 1.18034),
    (120.0, 1.37288),
    (150.0, 1.7622),
];
/// Amplitude at which the period is exactly twice that of small swings, rad: OEIS A256514.
pub const DOUBLING_AMPLITUDE_RAD: f64 = 2.788_231_124_107_20;

/// T/T0 = 1/agm(1, cos(θ/2)).
pub fn period_ratio(amplitude_rad: f64) -> f64 {
    let (mut a, mut b) = (1.0, libm::cos(0.5 * amplitude_rad));
    while (a - b).abs() > 1e-15 * a {
        (a, b) = (0.5 * (a + b), (a * b).sqrt());
    }
    1.0 / a
}

/// Period of a pitch oscillation from rest, s: two half swings, each ended where the rate changes
/// sign, found between steps by a straight line.
fn period_s(params: &GimbalParams, start_rad: f64, torque: impl Fn(f64) -> f64) -> f64 {
    let mut state = GimbalState {
        angle_rad: [start_rad, 0.0],
        ..GimbalState::default()
    };
    let mut accel = [0.0; 2];
    let mut turns = 0;
    let mut count = 0.0;
    loop {
        let before = state.rate_rad_per_s[0];
        step(params, &mut state, &mut accel, STEP_S, |angle, _| {
            [torque(angle[0]), 0.0]
        });
        let after = state.rate_rad_per_s[0];
        count += 1.0;
        if before * after < 0.0 {
            turns += 1;
            if turns == 2 {
                return (count - after / (after - before)) * STEP_S;
            }
        }
        assert!(count < 1e7, "it never swings back");
    }
}

#[test]
fn pendulum_period_follows_the_agm_table() {
    let length_m = 0.25;
    let params = pendulum(0.8, length_m, frictionless());
    let small_s = std::f64::consts::TAU * (length_m / GRAVITY_M_PER_S2).sqrt();
    for (amplitude_deg, printed) in PERIOD_RATIO {
        let amplitude: f64 = f64::to_radians(amplitude_deg);
        let ratio = period_s(&params, amplitude, |_| 0.0) / small_s;
        // Half a unit of the last printed digit: four decimals in two rows, five in the others.
        let half_digit = if amplitude_deg == 15.0 || amplitude_deg == 150.0 {
            5e-5
        } else {
            5e-6
        };
        assert!(
            (period_ratio(amplitude) - printed).abs() <= half_digit,
            "{amplitude_deg}°: table {printed}"
        );
        // The scheme's own error is (ω h)²/24 = 2e-8 of a period.
        assert!(
            (ratio - period_ratio(amplitude)).abs() < 1e-6,
            "{amplitude_deg}°: {ratio}"
        );
    }
    let doubled = period_s(&params, DOUBLING_AMPLITUDE_RAD, |_| 0.0) / small_s;
    assert!((doubled - 2.0).abs() < 1e-6, "{doubled}");
}

#[test]
fn logarithmic_decrement_gives_the_damping_ratio() {
    // δ = ln(x0/xn)/n, ζ = δ/√(4π² + δ²) (textbook form, docs/model/sources.md).
    let (inertia, stiffness) = (0.15, 20.0_f64);
    for zeta in [0.02, 0.1, 0.3] {
        let viscous_n_m_s_per_rad = 2.0 * zeta * (stiffness * inertia).sqrt();
        let params = wheel(
            inertia,
            DryFriction {
                viscous_n_m_s_per_rad,
                ..frictionless()
            },
        );
        let mut state = GimbalState {
            angle_rad: [0.2, 0.0],
            ..GimbalState::default()
        };
        let mut accel = [0.0; 2];
        let mut peaks = vec![0.2];
        let (mut before_last, mut last) = (f64::INFINITY, 0.2);
        while peaks.len() < 4 {
            step(&params, &mut state, &mut accel, STEP_S, |angle, _| {
                [-stiffness * angle[0], 0.0]
            });
            let now = state.angle_rad[0];
            if last > before_last && last >= now {
                // The top of the parabola through three samples.
                let bend = now - 2.0 * last + before_last;
                peaks.push(last - (now - before_last) * (now - before_last) / (8.0 * bend));
            }
            (before_last, last) = (last, now);
        }
        let decrement = libm::log(peaks[0] / peaks[3]) / 3.0;
        let found = decrement / (4.0 * std::f64::consts::PI.powi(2) + decrement * decrement).sqrt();
        // (ω h)² = 1.3e-6 is the order of what the scheme leaves.
        assert!(
            (found - zeta).abs() < 2e-6 * zeta.max(0.1),
            "ζ {zeta}: found {found}"
        );
    }
}

#[test]
fn hanging_stick_swings_at_the_pendulum_rate_in_roll_too() {
    // The other axis of the same law: roll of a hanging mass, small swing, T0 = 2π √(L/g).
    let length_m = 0.25;
    let params = pendulum(0.8, length_m, frictionless());
    let mut state = GimbalState {
        angle_rad: [0.0, 0.01],
        ..GimbalState::default()
    };
    let mut accel = [0.0; 2];
    let period = std::f64::consts::TAU * (length_m / GRAVITY_M_PER_S2).sqrt() * period_ratio(0.01);
    let steps = 4000;
    for _ in 0..steps {
        step(
            &params,
            &mut state,
            &mut accel,
            period / f64::from(steps),
            |_, _| [0.0; 2],
        );
    }
    // Back after a period: at the turning point the angle's error is of second order in the timing
    // error.
    assert!(
        (state.angle_rad[1] - 0.01).abs() < 1e-9,
        "{}",
        state.angle_rad[1]
    );
    assert!(
        state.rate_rad_per_s[1].abs() < 1e-6,
        "{}",
        state.rate_rad_per_s[1]
    );
}

//! Impacts against closed forms: restitution, impulse balance, stop angle.

use trimproof_plant::contact::{Body, BumperParams, Surroundings, Tube, damping_ratio};
use trimproof_plant::dynamics::{GimbalParams, GimbalState, Pose};
use trimproof_plant::{Along, SolidForm};

use super::bodies::{STEP_S, step};
use super::simple::{frictionless, wheel};

const TUBE: Tube = Tube {
    bottom_m: 0.05,
    top_m: 0.5,
    radius_m: 0.01,
};
const INERTIA: f64 = 0.15;
const PIN_RADIUS_M: f64 = 0.006;
const HEIGHT_M: f64 = 0.12;

/// A pin across the path of pitch that an upright tube would meet after `angle_rad` of positive
/// (aft) travel.
fn pin(angle_rad: f64, params: BumperParams) -> Body {
    let (s, c) = libm::sincos(angle_rad);
    let away = TUBE.radius_m + PIN_RADIUS_M;
    let (aft, up) = (HEIGHT_M * s + away * c, HEIGHT_M * c - away * s);
    Body::new(
        &SolidForm::Capsule {
            radius_m: PIN_RADIUS_M,
            length_m: 0.4,
            axis: Along::Y,
        },
        [-aft, 0.0, -up],
        [0.0; 3],
        params,
    )
}

/// Throws a stick against its surroundings until it has come and gone; largest penetration angle
/// aside, returns the state after and the summed impulse of the contacts on each axis.
fn throw(
    params: &GimbalParams,
    around: &mut Surroundings,
    start: GimbalState,
    step_s: f64,
) -> (GimbalState, [f64; 2]) {
    let mut state = start;
    let mut accel = [0.0; 2];
    let mut impulse = [0.0; 2];
    let (mut touched, mut steps) = (false, 0);
    loop {
        let mut touching = false;
        step(params, &mut state, &mut accel, step_s, |angle, rate| {
            let load = around.load(params, rate, &Pose::at(angle), step_s);
            touching = load.touching;
            for i in 0..2 {
                impulse[i] += load.torque_n_m[i] * step_s;
            }
            load.torque_n_m
        });
        touched |= touching;
        steps += 1;
        if touched && !touching && around.gap_m(state.angle_rad).is_some_and(|gap| gap > 1e-3) {
            return (state, impulse);
        }
        assert!(
            f64::from(steps) * step_s < 2.0,
            "it never came back: touched {touched}"
        );
    }
}

#[test]
fn damping_ratio_matches_the_closed_form_of_restitution() {
    // e = exp(−2ζ acos ζ/√(1−ζ²)): derived in docs/model/stops.md; a fine integration of
    // x'' + 2ζω x' + ω² x = 0 that leaves when the force is zero says the same.
    for restitution in [0.01, 0.05, 0.2, 0.5, 0.8, 1.0] {
        let zeta = damping_ratio(restitution);
        let (mut x, mut v) = (0.0, 1.0);
        let h = 1e-5;
        // Fourth-order Runge-Kutta with ω = 1.
        let f = |x: f64, v: f64| (v, -x - 2.0 * zeta * v);
        while x + 2.0 * zeta * v > 0.0 || v > 0.0 {
            let (a1, b1) = f(x, v);
            let (a2, b2) = f(x + 0.5 * h * a1, v + 0.5 * h * b1);
            let (a3, b3) = f(x + 0.5 * h * a2, v + 0.5 * h * b2);
            let (a4, b4) = f(x + h * a3, v + h * b3);
            x += h / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4);
            v += h / 6.0 * (b1 + 2.0 * b2 + 2.0 * b3 + b4);
        }
        assert!(
            (-v - restitution).abs() < 2e-5,
            "e {restitution}: leaves at {v}"
        );
    }
}

#[test]
fn thrown_stick_leaves_a_stop_with_its_restitution() {
    let params = wheel(INERTIA, frictionless());
    for restitution in [0.2, 0.5, 0.9] {
        let bumper = BumperParams::new(2.0e5, restitution);
        let mut around = Surroundings::new(TUBE, vec![], vec![pin(0.2, bumper)], 5);
        let start = GimbalState {
            angle_rad: [0.05, 0.0],
            rate_rad_per_s: [2.0, 0.0],
            ..GimbalState::default()
        };
        let (after, impulse) = throw(&params, &mut around, start, STEP_S);
        let found = -after.rate_rad_per_s[0] / 2.0;
        // The impact lasts about π √(J/(k h²)) = 23 ms here; first contact falls anywhere within a
        // step of 0.1 ms.
        assert!(
            (found - restitution).abs() < 5e-3,
            "e {restitution}: {found}"
        );
        assert!(
            (impulse[0] - INERTIA * (after.rate_rad_per_s[0] - 2.0)).abs() < 1e-12,
            "impulse {impulse:?}"
        );
    }
}

#[test]
fn momentum_balances_at_an_oblique_contact() {
    // A ball beside the path: both axes are hit. With equal inertia about every axis, momentum is J
    // times rate, and the impulse must be the contact's alone; a smooth contact does not turn what
    // lies across its normal.
    let params = wheel(INERTIA, frictionless());
    let ball = Body::new(
        &SolidForm::Sphere { radius_m: 0.03 },
        [-0.075, 0.03, -0.40],
        [0.0; 3],
        BumperParams::new(8.0e4, 1.0),
    );
    let mut around = Surroundings::new(TUBE, vec![], vec![ball], 1);
    let start = GimbalState {
        rate_rad_per_s: [1.5, 0.0],
        ..GimbalState::default()
    };
    let (after, impulse) = throw(&params, &mut around, start, 1.0e-5);
    for i in 0..2 {
        let change = INERTIA * (after.rate_rad_per_s[i] - start.rate_rad_per_s[i]);
        assert!(
            (change - impulse[i]).abs() < 1e-9,
            "axis {i}: {change} for {}",
            impulse[i]
        );
    }
    assert!(
        impulse[0] < -0.05 && impulse[1] < -0.01,
        "both axes are hit: {impulse:?}"
    );
    // Restitution one: the energy comes back. Freezing the normal between queries leaves what the
    // step leaves.
    let energy = after.rate_rad_per_s[0] * after.rate_rad_per_s[0]
        + after.rate_rad_per_s[1] * after.rate_rad_per_s[1];
    assert!((energy / (1.5 * 1.5) - 1.0).abs() < 1e-3, "energy {energy}");
}

#[test]
fn stop_is_met_at_its_angle_and_gives_by_its_stiffness() {
    let params = wheel(INERTIA, frictionless());
    let stiffness = 2.0e5;
    let mut around = Surroundings::new(
        TUBE,
        vec![],
        vec![pin(0.2, BumperParams::new(stiffness, 0.4))],
        1,
    );
    let gap = around.gap_m([0.2, 0.0]).expect("one obstacle");
    assert!(gap.abs() < 1e-9, "gap {gap} at the stop angle");
    // Pushed in by 1 mrad: k h² δ to first order in δ.
    let load = around.load(&params, [0.0; 2], &Pose::at([0.201, 0.0]), STEP_S);
    let expected = -stiffness * HEIGHT_M * HEIGHT_M * 1.0e-3;
    assert!(
        (load.torque_n_m[0] / expected - 1.0).abs() < 0.02,
        "{} N·m for {expected}",
        load.torque_n_m[0]
    );
    assert_eq!(load.torque_n_m[1], 0.0);
}

#[test]
fn impact_is_seen_however_far_the_query_was_put_off() {
    // The travel bound may put queries off, never past a contact: the same throw with a query at
    // every step agrees.
    let params = wheel(INERTIA, frictionless());
    let start = GimbalState {
        angle_rad: [-0.3, 0.1],
        rate_rad_per_s: [6.0, -0.5],
        ..GimbalState::default()
    };
    let ends = [1, 5].map(|refresh| {
        let mut around = Surroundings::new(
            TUBE,
            vec![],
            vec![pin(0.2, BumperParams::new(2.0e5, 0.5))],
            refresh,
        );
        throw(&params, &mut around, start, STEP_S).0
    });
    for i in 0..2 {
        let gap = (ends[0].rate_rad_per_s[i] - ends[1].rate_rad_per_s[i]).abs();
        // 0.02 % of the speed: what a gap frozen for half a millisecond may leave.
        assert!(gap < 1.2e-3, "axis {i}: {gap} rad/s apart");
    }
}

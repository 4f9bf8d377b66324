//! The ripple of a limp stick, on loops of known figures: F (way) + a x + R sin(2π x / pitch), with
//! stops.
//!
//! Its mean way is F; a crest is R above it, crest and trough are 2 R apart, and the largest force
//! between the stops at ±20 degrees is F + R + |a| x there, to the readings' own spacing.

use trimproof_plant::AxisName;

use crate::extract::sweep_figures;
use crate::figures::SweepFigures;
use crate::record::{Condition, Sweep, SweepSample};

const FRICTION_N: f64 = 0.52;
const RIPPLE_N: f64 = 0.45;
const PITCH_DEG: f64 = 0.3;

/// A sweep read every 0.01 degrees; `more` is added between the stops: position, way (1 rising).
fn swept(more: impl Fn(f64, f64) -> f64) -> Sweep {
    let mut samples = Vec::new();
    for [from, to] in [[0.0, 20.5], [20.5, -20.5], [-20.5, 0.0_f64]] {
        let way = (to - from).signum();
        let steps = ((to - from).abs() / 0.01).round() as i32;
        for step in 0..steps {
            let at = from + way * 0.01 * f64::from(step);
            let pressed = (at - 20.0).max(0.0) + (at + 20.0).min(0.0);
            samples.push(SweepSample {
                time_s: samples.len() as f64 * 0.01,
                position_deg: at,
                force_n: way * FRICTION_N + 120.0 * pressed + more(at, way),
            });
        }
    }
    Sweep {
        axis: AxisName::Roll,
        condition: Condition::Released,
        grip_radius_m: 0.33,
        samples,
    }
}

fn detent(at_deg: f64) -> f64 {
    RIPPLE_N * libm::sin(std::f64::consts::TAU * at_deg / PITCH_DEG)
}

fn figures(more: impl Fn(f64, f64) -> f64) -> SweepFigures {
    let found = sweep_figures(&swept(more)).unwrap();
    assert!(found.is_limp());
    found
}

fn near(found: f64, wanted: f64, allowed: f64) {
    assert!((found - wanted).abs() <= allowed, "{found} {wanted}");
}

#[test]
fn a_detent_is_reported_as_it_is() {
    let found = figures(|at, _| detent(at));
    let ripple = found.ripple.unwrap();
    // A reading is at most half of 0.01 degrees off the crest: 1 − cos(2π 0.005/0.3) is half a per
    // cent.
    near(ripple.peak_n, RIPPLE_N, 0.01);
    near(ripple.peak_to_peak_n, 2.0 * RIPPLE_N, 0.01);
    near(found.friction_n, FRICTION_N, 0.01);
    for side in [0, 1] {
        near(found.largest_n[side], FRICTION_N + RIPPLE_N, 0.01);
    }
    let [trough, crest] = ripple.trough_to_crest_deg.map(detent);
    near(crest - trough, 2.0 * RIPPLE_N, 0.01);
    near(detent(ripple.peak_at_deg).abs(), RIPPLE_N, 0.01);
}

/// What the weight adds along the way is no ripple, and the hand meets it all the same.
#[test]
fn a_slope_is_no_ripple() {
    let found = figures(|at, _| detent(at) - 0.01 * at);
    let ripple = found.ripple.unwrap();
    near(ripple.peak_to_peak_n, 2.0 * RIPPLE_N, 0.05);
    // Pulled away from a stop the weight counts against the hand.
    near(found.largest_n[0], FRICTION_N + RIPPLE_N + 0.2, 0.02);
}

/// One crest in a sweep of 82 degrees, on the way back only: no mean and no median knows of it.
#[test]
fn a_single_crest_on_the_way_back_is_the_largest_force() {
    let crest = |at: f64, way: f64| {
        if way > 0.0 && (at + 12.0).abs() < 0.05 {
            1.5
        } else {
            0.0
        }
    };
    let found = figures(crest);
    let ripple = found.ripple.unwrap();
    near(found.largest_n[0], FRICTION_N + 1.5, 1e-6);
    near(found.largest_n[1], FRICTION_N, 1e-6);
    near(ripple.peak_n, 1.5, 0.01);
    near(ripple.peak_to_peak_n, 1.5, 0.01);
    near(ripple.peak_at_deg, -12.0, 0.06);
    near(ripple.trough_to_crest_deg[1], -12.0, 0.06);
}

/// The mirror image has the same ripple at the mirrored place.
#[test]
fn the_mirror_image_ripples_alike() {
    let bump = |at: f64| 0.8 * libm::exp(-(at - 7.0) * (at - 7.0) / 0.02);
    let (one, other) = (figures(|at, _| bump(at)), figures(|at, _| -bump(-at)));
    let [one, other] = [one, other].map(|found| found.ripple.unwrap());
    near(one.peak_n, other.peak_n, 1e-9);
    near(one.peak_at_deg, -other.peak_at_deg, 0.011);
    near(one.peak_to_peak_n, other.peak_to_peak_n, 1e-9);
}

/// A rough place on the spring's way, on the way back: no line through the readings knows of it.
#[test]
fn a_single_crest_of_a_stick_on_its_spring_is_the_largest_force() {
    let spring = |at: f64| 0.5 * at + 2.0 * (at / 0.2).clamp(-1.0, 1.0);
    let smooth = sweep_figures(&swept(|at, _| spring(at))).unwrap();
    let rough = |at: f64, way: f64| {
        let crest = if way < 0.0 && (at - 12.0).abs() < 0.05 {
            9.0
        } else {
            0.0
        };
        spring(at) + crest
    };
    let found = sweep_figures(&swept(rough)).unwrap();
    near(smooth.largest_n[1], 0.5 * 20.0 + 2.0 + FRICTION_N, 0.1);
    near(found.largest_n[1], 0.5 * 12.0 + 2.0 - FRICTION_N + 9.0, 0.1);
    near(found.largest_n[0], smooth.largest_n[0], 0.1);
}

/// A stick on its spring has no ripple: its steps are listed.
#[test]
fn a_spring_has_none() {
    let found =
        sweep_figures(&swept(|at, _| 0.5 * at + 2.0 * (at / 0.2).clamp(-1.0, 1.0))).unwrap();
    assert!(!found.is_limp());
    assert_eq!(found.ripple, None);
}

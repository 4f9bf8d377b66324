//! The gimbal against scipy: tests/data/gimbal_reference.py, a Newton-Euler formulation of its own.

use super::bodies::{STEP_S, case, cases, step};
use trimproof_plant::dynamics::Pose;

/// The bar of issue 2, rad.
const BAR_RAD: f64 = 1.0e-4;
/// Our steps in a sample of the reference.
const STEPS_PER_SAMPLE: usize = 100;

struct Sample {
    case: String,
    time_s: f64,
    angle_rad: [f64; 2],
}

fn samples() -> Vec<Sample> {
    let mut reader =
        csv::Reader::from_reader(include_str!("../data/gimbal_reference.csv").as_bytes());
    reader
        .records()
        .map(|record| {
            let record = record.expect("the committed reference parses");
            let number = |k: usize| record[k].parse::<f64>().expect("a number");
            Sample {
                case: record[0].to_owned(),
                time_s: number(1),
                angle_rad: [number(2), number(3)],
            }
        })
        .collect()
}

#[test]
fn gimbal_follows_the_scipy_reference() {
    let samples = samples();
    for case in cases() {
        let params = case.params();
        let mut state = case.start();
        let mut accel = [0.0; 2];
        let (mut worst, mut seen) = (0.0_f64, 0);
        for (index, sample) in samples
            .iter()
            .filter(|sample| sample.case == case.name)
            .enumerate()
        {
            if index > 0 {
                for _ in 0..STEPS_PER_SAMPLE {
                    step(&params, &mut state, &mut accel, STEP_S, |angle, _| {
                        std::array::from_fn(|i| -case.spring_n_m_per_rad[i] * angle[i])
                    });
                }
            }
            assert!(
                (sample.time_s - (index * STEPS_PER_SAMPLE) as f64 * STEP_S).abs() < 1e-9,
                "samples out of step"
            );
            for i in 0..2 {
                worst = worst.max((state.angle_rad[i] - sample.angle_rad[i]).abs());
            }
            seen += 1;
        }
        assert_eq!(seen, 501, "{}: the reference is 5 s long", case.name);
        println!("{}: {worst:.2e} rad", case.name);
        assert!(worst <= BAR_RAD, "{}: {worst:e} rad", case.name);
    }
}

/// Largest relative departure of the energy over 2 s without losses.
fn energy_departure(name: &str, step_s: f64) -> f64 {
    let case = case(name);
    let params = case.params();
    let mut state = case.start();
    let mut accel = [0.0; 2];
    let spring = |angle: [f64; 2]| -> f64 {
        (0..2)
            .map(|i| 0.5 * case.spring_n_m_per_rad[i] * angle[i] * angle[i])
            .sum()
    };
    // Potential energy has no natural zero: depth of the swing is what the error is measured
    // against.
    let energy = |state: &trimproof_plant::dynamics::GimbalState| {
        params.energy_j(state) + spring(state.angle_rad)
    };
    let start = energy(&state);
    let (mut worst, mut kinetic) = (0.0_f64, 0.0_f64);
    for _ in 0..(2.0 / step_s).round() as usize {
        step(&params, &mut state, &mut accel, step_s, |angle, _| {
            std::array::from_fn(|i| -case.spring_n_m_per_rad[i] * angle[i])
        });
        worst = worst.max((energy(&state) - start).abs());
        let m = params.mass_matrix(&Pose::at(state.angle_rad));
        let [a, b] = state.rate_rad_per_s;
        kinetic = kinetic.max(0.5 * (m[0] * a * a + 2.0 * m[1] * a * b + m[2] * b * b));
    }
    worst / kinetic
}

#[test]
fn energy_is_kept_without_losses_to_the_order_of_the_scheme() {
    // A scheme of second order: a step twice as long leaves four times the error.
    for name in ["top_heavy_on_springs", "hanging_wide"] {
        let errors = [1.0e-4, 2.0e-4, 4.0e-4, 8.0e-4].map(|step_s| energy_departure(name, step_s));
        println!("{name}: energy departs by {errors:?} of the largest kinetic energy");
        for pair in errors.windows(2) {
            let order = libm::log2(pair[1] / pair[0]);
            assert!(
                (order - 2.0).abs() < 0.1,
                "{name}: order {order} between {pair:?}"
            );
        }
        // A leapfrog oscillator's energy swings by (ω h)²/4 of its largest kinetic energy (D: what
        // it keeps is the energy with one of its parts scaled by 1 − (ω h)²/4); ω stays below 13
        // rad/s here.
        assert!(errors[0] < 4.3e-7, "{name}: {:e}", errors[0]);
    }
}

//! Whether the 95 % intervals hold what they promise, on made-up benches.

use super::fit::truth;
use super::synthetic::SyntheticStick;
use crate::extract::Chance;
use crate::fit::{FitQuantity, Origin, fit};

/// In how many of the benches each true value lies inside its interval; and the mean of the errors
/// in standard errors.
fn covered(seed: u64, benches: usize) -> ([usize; 6], [f64; 6]) {
    let mut chance = Chance::new(seed);
    let (mut inside, mut off) = ([0; 6], [0.0; 6]);
    for number in 0..benches {
        let bench = SyntheticStick::random(&mut chance);
        let record = bench.record(&mut chance);
        let found = fit(&bench.rig, &record).unwrap_or_else(|error| panic!("{number}: {error}"));
        let axis = &found.axes[0];
        let mut line = format!("{number}:");
        for (i, quantity) in FitQuantity::ALL.into_iter().enumerate() {
            let estimate = axis.estimate(quantity).unwrap();
            let wanted = truth(&bench, quantity);
            assert_eq!(estimate.origin, Origin::Measured, "{number}: {quantity:?}");
            let [low, high] = estimate.interval.unwrap();
            let error = estimate.standard_error.unwrap();
            inside[i] += usize::from(low <= wanted && wanted <= high);
            let z = (estimate.value - wanted) / error;
            off[i] += z / benches as f64;
            line.push_str(&format!(" {z:.2} ({:.1} %)", 100.0 * error / wanted));
        }
        println!("{line}");
    }
    (inside, off)
}

/// A tenth of the full test: each true value in 8 of 10 or more. At 95 % fewer than 8 of 10 come
/// about once in 87 times (binomial); the seed is one for which they do not, and stays.
#[test]
fn intervals_hold_the_truth_in_most_of_ten() {
    let (inside, _) = covered(1, 10);
    for (quantity, count) in FitQuantity::ALL.into_iter().zip(inside) {
        assert!(count >= 8, "{quantity:?}: {count} of 10");
    }
}

/// The bar of the issue.
#[test]
#[ignore = "minutes in the development profile"]
fn intervals_hold_the_truth_in_90_to_99_of_100() {
    let (inside, off) = covered(2, 100);
    println!("inside: {inside:?}, mean error in standard errors: {off:.2?}");
    for (quantity, count) in FitQuantity::ALL.into_iter().zip(inside) {
        assert!((90..=99).contains(&count), "{quantity:?}: {count} of 100");
    }
}

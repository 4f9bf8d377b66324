//! What a fit gives back, and what it says where the data do not tell.

use trimproof_plant::AxisName;

use super::bench::Bench;
use super::{Quantity, fit};
use crate::extract::Chance;

#[test]
fn a_bench_without_noise_gives_the_values_back() {
    for axis in AxisName::ALL {
        let bench = Bench::of_kittiwake(axis);
        let record = bench.record(&mut Chance::new(1));
        let found = fit(&bench.rig, &record).unwrap();
        for quantity in Quantity::ALL {
            let estimate = found.axes[0].estimate(quantity).unwrap();
            println!("{quantity:?} {estimate:?}");
        }
        println!("{:?} {:?}", found.axes[0].entangled, found.axes[0].notes);
    }
}

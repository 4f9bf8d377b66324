//! Both rigs measured, against the closed form of their numbers.

use super::*;

const KITTIWAKE: &str = include_str!("../../../scenarios/rigs/kittiwake.toml");
const BITTERN: &str = include_str!("../../../scenarios/rigs/bittern.toml");

#[test]
fn look() {
    for text in [KITTIWAKE, BITTERN] {
        let rig = Rig::parse(text).unwrap();
        let m = measure(&rig, &mut |_| true).unwrap();
        println!("{} {} s {:?} {:?} {:?} {:?}", rig.name, m.simulated_s, m.effective_mass_kg, m.damping_n, m.notes, m.record.trim_rate_deg_per_s);
        for s in &m.record.sweeps {
            println!("{:?} {:?} {}", s.axis, s.condition, s.samples.len());
            let mut last = -99.0f64;
            for x in &s.samples {
                if (x.position_deg - last).abs() > 0.97 { last = x.position_deg; println!("   {:.2} {:.3} {:.3}", x.time_s, x.position_deg, x.force_n); }
            }
            let mx = s.samples.iter().map(|x| x.force_n).fold(0.0, f64::max);
            println!("max {mx}");
        }
        for r in &m.record.responses {
            println!("{:?} {} first {:?} last {:?}", r.axis, r.samples.len(), r.samples[0], r.samples.last());
        }
    }
}

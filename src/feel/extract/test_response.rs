//! The extractor on responses of known figures.

use super::response_figures;
use super::synthetic::{Chance, Swinging};

#[test]
fn bar() {
    for noise in [0.0, 0.001, 0.003] {
        let mut worst = std::collections::BTreeMap::new();
        for seed in 0..200 {
            let mut chance = Chance::new(seed + 1000);
            let mut s = Swinging::random(&mut chance);
            s.noise = noise;
            let r = s.response(&mut chance);
            let found = match response_figures(&r) {
                Ok(f) => f,
                Err(e) => {
                    println!("{seed} {e}");
                    continue;
                }
            };
            let mut note = |what: &'static str, value: f64, known: f64, tol: f64| {
                let off = (value - known).abs() / (tol * known.abs());
                let w = worst.entry(what).or_insert((0.0, 0, 0.0, 0.0, 0.0, 0));
                if off > w.0 {
                    *w = (off, seed, value, known, s.damping_ratio, w.5);
                }
                if off > 1.0 {
                    w.5 += 1
                }
            };
            let z = s.damping_ratio;
            note("initial", found.initial_deg, s.initial, 0.01);
            note(
                "steady/initial",
                found.initial_deg + found.steady_deg - s.steady,
                found.initial_deg,
                0.0005,
            );
            note("t90", found.to_90_percent_s, s.to_90_percent(), 0.005);
            let mut n = 0;
            if z < 1.0 {
                while s.overshoot(n + 1) > 0.05 * s.initial.abs() {
                    n += 1;
                }
                if s.overshoot(1) > 0.0101 * s.initial.abs() {
                    note("p0", found.p0_s.unwrap_or(0.0), s.p0().unwrap(), 0.005);
                } else if let Some(p) = found.p0_s {
                    println!("{seed} z {z} p0 {p} {:?}", s.p0());
                }
            } else if found.p0_s.is_some() {
                println!("{seed} z {z} p0");
            }
            if found.overshoots_deg.len() != n as usize {
                println!(
                    "{seed} z {z} count {} {n} {:?}",
                    found.overshoots_deg.len(),
                    s.overshoot(n.max(1)) / s.initial
                );
            }
            for (i, a) in found.overshoots_deg.iter().enumerate() {
                note("amp", *a, s.overshoot(i as u32 + 1), 0.01);
            }
            for p in &found.periods_s {
                note("period", *p, s.period(), 0.005);
            }
            if found.periods_s.len() != n as usize / 2 {
                println!("{seed} periods");
            }
            if let Some(d) = found.damping_ratio {
                note("zeta", d, z, 0.01);
            }
        }
        println!("noise {noise}");
        for (what, w) in worst {
            println!("{what}: {:?}", w);
        }
    }
}

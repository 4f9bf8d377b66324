//! The extractor on loops of known figures.

use super::sweep_figures;
use super::synthetic::{Chance, Loop};

#[test]
fn bar() {
    let mut worst = std::collections::BTreeMap::new();
    for seed in 0..200 {
        let mut chance = Chance::new(seed);
        let stick = Loop::random(&mut chance);
        let sweep = stick.sweep(&mut chance);
        let found = match sweep_figures(&sweep) {
            Ok(f) => f,
            Err(e) => {
                println!("{seed} {e}");
                continue;
            }
        };
        let mut note = |what: &'static str, value: f64, known: f64, floor: f64| {
            let off = (value - known).abs() / (0.02 * known.abs()).max(floor);
            let rel = (value - known).abs();
            let w = worst.entry(what).or_insert((0.0, 0, 0.0, 0.0, 0.0, 0));
            if off > w.0 {
                *w = (off, seed, value, known, w.4, w.5);
            }
            w.4 += off * off / 200.0;
            if off > 1.0 {
                w.5 += 1;
            }
            let _ = rel;
        };
        for side in [0, 1] {
            note(
                "breakout",
                found.breakout_n[side],
                stick.breakout()[side],
                0.05,
            );
            note(
                "first",
                found.first_inch_n_per_deg[side],
                stick.first[side],
                0.05 / stick.inch(),
            );
            note(
                "first2%",
                found.first_inch_n_per_deg[side],
                stick.first[side],
                0.0,
            );
            let span = stick.stop[side].abs() - stick.inch();
            note(
                "beyond",
                found.beyond_n_per_deg[side].unwrap_or(0.0),
                stick.beyond[side],
                0.05 / span,
            );
            note(
                "beyond2%",
                found.beyond_n_per_deg[side].unwrap_or(0.0),
                stick.beyond[side],
                0.0,
            );
            note("stop", found.stop_deg[side], stick.stop[side], 0.05);
            note("stop.05", found.stop_deg[side], stick.stop[side], 0.0);
            note(
                "largest",
                found.largest_n[side],
                stick.largest()[side],
                0.05,
            );
        }
        note("friction", found.friction_n, stick.friction, 0.05);
        note("friction2%", found.friction_n, stick.friction, 0.00);
        note("play2%", found.free_play_deg, stick.free_play, 0.0);
        note(
            "play",
            found.free_play_deg,
            stick.free_play,
            stick.pitch() + stick.noise_n() * stick.ramp / stick.preload[0].min(stick.preload[1]),
        );
        note("steps", found.discontinuities.len() as f64, 0.0, 0.5);
        if found.slipped_at_deg.is_some() {
            println!("{seed} slip {found:?} {stick:?}");
        }
    }
    for (what, w) in worst {
        println!("{what}: {:?}", w);
    }
}

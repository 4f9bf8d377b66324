//! The extractor on loops of known figures. `cargo test -p trimproof-feel extract -- --nocapture`
//! prints what it measured.

use proptest::prelude::*;

use super::synthetic::{Chance, SyntheticLoop};
use crate::extract::branches::branches;
use crate::extract::curve::{Corners, ForceCurve};
use crate::extract::line::RunningSums;
use crate::extract::middle::middle;
use crate::extract::{ExtractError, sweep_figures};
use crate::figures::SweepFigures;
use crate::record::{Condition, Sweep, SweepSample};

/// Largest error of a figure over many cases, in units of what is allowed, and how often it was
/// above.
#[derive(Default)]
struct Worst(Vec<(&'static str, f64, u64, usize, usize)>);

impl Worst {
    fn note(&mut self, what: &'static str, seed: u64, off: f64, allowed: f64) {
        let share = off.abs() / allowed;
        let at = self.0.iter().position(|entry| entry.0 == what);
        let at = at.unwrap_or_else(|| {
            self.0.push((what, 0.0, 0, 0, 0));
            self.0.len() - 1
        });
        let entry = &mut self.0[at];
        if share > entry.1 || share.is_nan() {
            (entry.1, entry.2) = (share, seed);
        }
        entry.3 += usize::from(share > 1.0 || share.is_nan());
        entry.4 += 1;
    }

    fn print(&self) {
        for (what, share, seed, above, of) in &self.0 {
            println!(
                "{what}: {share:.3} of what is allowed at worst (seed {seed}), above it {above} of {of}"
            );
        }
    }

    fn held(&self, what: &str) {
        let entry = self.0.iter().find(|entry| entry.0 == what).unwrap();
        assert!(entry.1 <= 1.0, "{entry:?}");
    }
}

/// The bar of issue 3: within 2 % or 0.05 N. A gradient is taken as the force that it makes over
/// the stretch it belongs to. Free play: 2 %, or how far a single reading's noise moves it along
/// the flank, with the sampling pitch: no single flank is known better from one reading.
#[test]
fn two_hundred_random_loops_are_measured() {
    let mut worst = Worst::default();
    for seed in 0..200 {
        let mut chance = Chance::new(seed);
        let stick = SyntheticLoop::random(&mut chance);
        let found = sweep_figures(&stick.sweep(&mut chance)).unwrap();
        for side in [0, 1] {
            let (known, largest) = (stick.breakout()[side], stick.largest()[side]);
            let (first, beyond) = (stick.first[side], stick.beyond[side]);
            let off = found.breakout_n[side] - known;
            worst.note("breakout", seed, off, (0.02 * known).max(0.05));
            worst.note("breakout, 2 % alone", seed, off, 0.02 * known);
            let off = found.first_inch_n_per_deg[side] - first;
            worst.note(
                "first inch",
                seed,
                off,
                (0.02 * first).max(0.05 / stick.inch()),
            );
            worst.note("first inch, 2 % alone", seed, off, 0.02 * first);
            let off = found.beyond_n_per_deg[side].unwrap() - beyond;
            worst.note("beyond, 2 % alone", seed, off, 0.02 * beyond);
            let off = found.largest_n[side] - largest;
            worst.note("largest, 2 % alone", seed, off, 0.02 * largest);
            let off = found.stop_deg[side] - stick.stop[side];
            worst.note("stop, 0.02 degrees", seed, off, 0.02);
        }
        let off = found.friction_n - stick.friction;
        worst.note("friction", seed, off, (0.02 * stick.friction).max(0.05));
        worst.note("friction, 2 % alone", seed, off, 0.02 * stick.friction);
        let off = found.free_play_deg - stick.free_play;
        let steepest = stick.preload[0].min(stick.preload[1]) / stick.ramp;
        let bound = stick.pitch() + stick.noise_n() / steepest;
        worst.note("free play", seed, off, (0.02 * stick.free_play).max(bound));
        worst.note("free play, 2 % alone", seed, off, 0.02 * stick.free_play);
        worst.note("steps", seed, found.discontinuities.len() as f64, 0.5);
        assert_eq!(found.slipped_at_deg, None, "{seed}");
    }
    worst.print();
    for what in [
        "breakout",
        "first inch",
        "beyond, 2 % alone",
        "largest, 2 % alone",
        "stop, 0.02 degrees",
        "friction",
        "free play",
        "steps",
    ] {
        worst.held(what);
    }
}

/// A search that got stuck would leave more error than the truth does.
#[test]
fn the_corners_found_fit_as_well_as_the_true_ones() {
    for seed in 1000..1040 {
        let mut chance = Chance::new(seed);
        let stick = SyntheticLoop::random(&mut chance);
        let parts = branches(&stick.sweep(&mut chance).samples).unwrap();
        let free = [stick.stop[0] + 0.2, stick.stop[1] - 0.2];
        let found = middle(&parts.moving, free, parts.start, stick.inch()).unwrap();
        let feet = [-0.5, 0.5].map(|side| stick.middle + side * stick.free_play);
        let corners = Corners {
            feet,
            knees: [feet[0] - stick.ramp, feet[1] + stick.ramp],
            flank: [true; 2],
        };
        let running = parts
            .moving
            .each_ref()
            .map(|points| RunningSums::new(points));
        let window = [
            found.corners.knees[0] - stick.inch(),
            found.corners.knees[1] + stick.inch(),
        ];
        let truth = ForceCurve::fit(&running, window, corners);
        let again = ForceCurve::fit(&running, window, found.corners);
        assert!(
            again.error <= 1.001 * truth.error,
            "{seed}: {again:?} {truth:?}"
        );
    }
}

fn measured(stick: &SyntheticLoop, seed: u64) -> SweepFigures {
    sweep_figures(&stick.sweep(&mut Chance::new(seed))).unwrap()
}

#[track_caller]
fn near(value: f64, known: f64, allowed: f64) {
    assert!((value - known).abs() <= allowed, "{value} is not {known}");
}

/// Without noise nothing but the sampling stands between the figures and the truth.
#[test]
fn a_clean_loop_gives_its_figures_back() {
    let stick = SyntheticLoop {
        middle: 0.7,
        preload: [2.0, 3.0],
        first: [0.5, 0.8],
        beyond: [0.4, 0.9],
        level: 0.05,
        ..SyntheticLoop::default()
    };
    for positive_first in [false, true] {
        let found = measured(
            &SyntheticLoop {
                positive_first,
                ..stick.clone()
            },
            1,
        );
        for side in [0, 1] {
            near(found.breakout_n[side], stick.breakout()[side], 1e-3);
            near(found.first_inch_n_per_deg[side], stick.first[side], 1e-3);
            near(
                found.beyond_n_per_deg[side].unwrap(),
                stick.beyond[side],
                1e-6,
            );
            near(found.stop_deg[side], stick.stop[side], 1e-3);
            near(found.largest_n[side], stick.largest()[side], 1e-2);
        }
        near(found.friction_n, 0.3, 1e-6);
        near(found.free_play_deg, 0.3, 1e-4);
        assert_eq!(found.discontinuities, []);
        // On the way back the force is nothing where the flank has fallen to the friction.
        let flank = |preload: f64, level: f64| 0.15 + 0.11 * (0.3 - level) / preload;
        near(found.centring_error_deg[1], flank(3.0, 0.05), 1e-3);
        near(found.centring_error_deg[0], -flank(2.0, -0.05), 1e-3);
    }
}

#[test]
fn sticks_without_preload_or_without_free_play() {
    let none = SyntheticLoop {
        preload: [0.0; 2],
        ramp: 1e-9,
        free_play: 2.0,
        noise: 0.002,
        ..SyntheticLoop::default()
    };
    let found = measured(&none, 2);
    near(found.breakout_n[0], 0.3, 0.03);
    near(found.breakout_n[1], 0.3, 0.03);
    near(found.free_play_deg, 2.0, 0.1);
    near(found.first_inch_n_per_deg[1], 0.6, 0.012);
    // The spring wins over the friction half a degree outside the free play.
    near(found.centring_error_deg[1], 1.5, 0.05);
    let tight = SyntheticLoop {
        free_play: 0.0,
        noise: 0.002,
        ..SyntheticLoop::default()
    };
    let found = measured(&tight, 3);
    near(found.breakout_n[0], 2.7, 0.03);
    near(found.free_play_deg, 0.0, 0.01);
    near(found.first_inch_n_per_deg[0], 0.6, 0.012);
}

#[test]
fn a_limp_stick_has_nothing_but_friction() {
    let limp = SyntheticLoop {
        preload: [0.0; 2],
        first: [-0.01; 2],
        beyond: [-0.01; 2],
        friction: 1.2,
        noise: 0.01,
        ..SyntheticLoop::default()
    };
    let found = measured(&limp, 4);
    near(found.friction_n, 1.2, 0.01);
    near(found.breakout_n[0], 1.2, 0.01);
    near(found.free_play_deg, 38.0, 0.02);
    near(found.centring_error_deg[1], 20.0, 0.02);
    near(found.beyond_n_per_deg[0].unwrap(), -0.01, 1e-3);
}

#[test]
fn noise_on_the_position_widens_the_flanks_and_hardly_more() {
    let stick = SyntheticLoop {
        noise: 0.01,
        position_noise: 0.03,
        ..SyntheticLoop::default()
    };
    let found = measured(&stick, 5);
    for side in [0, 1] {
        near(found.breakout_n[side], stick.breakout()[side], 0.054);
        near(found.first_inch_n_per_deg[side], 0.6, 0.012);
        near(found.stop_deg[side], stick.stop[side], 0.03);
    }
    near(found.friction_n, 0.3, 0.01);
    near(found.free_play_deg, 0.3, 0.06);
}

/// An angle sensor of 10 bits over 60 degrees, its last bit flickering.
#[test]
fn a_position_that_comes_in_steps_will_do() {
    let stick = SyntheticLoop {
        noise: 0.005,
        position_noise: 0.01,
        ..SyntheticLoop::default()
    };
    let mut sweep = stick.sweep(&mut Chance::new(13));
    let bit = 60.0 / 1024.0;
    for sample in &mut sweep.samples {
        sample.position_deg = bit * (sample.position_deg / bit).round();
    }
    let found = sweep_figures(&sweep).unwrap();
    for side in [0, 1] {
        near(found.breakout_n[side], 2.7, 0.054);
        near(found.first_inch_n_per_deg[side], 0.6, 0.012);
        near(found.stop_deg[side], stick.stop[side], bit);
    }
    near(found.friction_n, 0.3, 0.01);
    near(found.free_play_deg, 0.3, 2.0 * bit);
}

/// A gauge read by hand.
#[test]
fn two_hundred_readings_will_do_to_the_sampling_pitch() {
    let stick = SyntheticLoop {
        readings: 200,
        ..SyntheticLoop::default()
    };
    let found = measured(&stick, 6);
    near(found.friction_n, 0.3, 0.03);
    near(found.breakout_n[0], 2.7, 0.1);
    near(found.breakout_n[1], 2.7, 0.1);
    near(found.free_play_deg, 0.3, 2.0 * stick.pitch());
    near(found.stop_deg[1], 20.0, stick.pitch());
    let few = SyntheticLoop {
        readings: 30,
        ..stick
    };
    let error = sweep_figures(&few.sweep(&mut Chance::new(7))).unwrap_err();
    assert!(matches!(error, ExtractError::Sparse { .. }), "{error}");
}

/// A hand that rests on the way, and one that goes back a little.
#[test]
fn rests_and_hesitations_do_not_count() {
    let stick = SyntheticLoop {
        noise: 0.01,
        ..SyntheticLoop::default()
    };
    let mut chance = Chance::new(8);
    let mut sweep = stick.sweep(&mut chance);
    let at = |x: f64| move |s: &SweepSample| s.position_deg > x;
    for (from, rest) in [(3.0, true), (0.2, true), (9.0, false)] {
        let i = sweep.samples.iter().position(at(from)).unwrap();
        let x = sweep.samples[i].position_deg;
        let extra: Vec<SweepSample> = (0..3000)
            .map(|n| {
                let share = f64::from(n) / 3000.0;
                let back = 1.0 - (2.0 * share - 1.0).abs();
                let (position_deg, drag) = if rest {
                    (x, 1.0 - 2.0 * share)
                } else {
                    (x - back, if share < 0.5 { -1.0 } else { 1.0 })
                };
                SweepSample {
                    time_s: 0.0,
                    position_deg,
                    force_n: stick.elastic(position_deg)
                        + drag * stick.friction
                        + stick.noise_n() * chance.normal(),
                }
            })
            .collect();
        sweep.samples.splice(i + 1..i + 1, extra);
    }
    for (i, sample) in sweep.samples.iter_mut().enumerate() {
        sample.time_s = i as f64 * 0.002;
    }
    let found = sweep_figures(&sweep).unwrap();
    for side in [0, 1] {
        near(found.breakout_n[side], 2.7, 0.054);
        near(found.first_inch_n_per_deg[side], 0.6, 0.014);
        near(found.beyond_n_per_deg[side].unwrap(), 0.5, 0.01);
    }
    near(found.friction_n, 0.3, 0.02);
    near(found.free_play_deg, 0.3, 0.02);
    assert_eq!(found.discontinuities, []);
}

#[test]
fn outliers_are_left_out() {
    let stick = SyntheticLoop {
        noise: 0.01,
        ..SyntheticLoop::default()
    };
    let mut sweep = stick.sweep(&mut Chance::new(9));
    for sample in sweep.samples.iter_mut().step_by(501) {
        sample.force_n += 15.0;
    }
    let found = sweep_figures(&sweep).unwrap();
    for side in [0, 1] {
        near(found.breakout_n[side], 2.7, 0.054);
        near(found.beyond_n_per_deg[side].unwrap(), 0.5, 0.01);
        near(found.stop_deg[side], stick.stop[side], 0.02);
        near(found.largest_n[side], stick.largest()[side], 0.3);
    }
    near(found.friction_n, 0.3, 0.01);
}

#[test]
fn a_step_in_the_gradient_is_listed() {
    let stick = SyntheticLoop {
        noise: 0.005,
        ..SyntheticLoop::default()
    };
    let mut sweep = stick.sweep(&mut Chance::new(10));
    for sample in &mut sweep.samples {
        if sample.position_deg < -9.0 {
            sample.force_n -= 1.0;
        }
    }
    let found = sweep_figures(&sweep).unwrap();
    assert_eq!(found.discontinuities.len(), 1, "{found:?}");
    near(found.discontinuities[0].at_deg, -9.0, 0.05);
    near(found.discontinuities[0].step_n, 1.0, 0.1);
    assert_eq!(found.slipped_at_deg, None);
}

/// The drive gives way from 9 degrees on, 1.2 degrees at a time, and keeps what it lost.
fn slipping(condition: Condition) -> Sweep {
    let stick = SyntheticLoop {
        noise: 0.002,
        ..SyntheticLoop::default()
    };
    let mut sweep = stick.sweep(&mut Chance::new(11));
    sweep.condition = condition;
    let mut lost = 0.0_f64;
    for sample in &mut sweep.samples {
        let x = sample.position_deg;
        lost = lost.max(1.2 * ((x - 9.0) / 1.2 + 1.0).floor().max(0.0));
        sample.force_n += stick.spring(x - lost) - stick.spring(x);
    }
    sweep
}

#[test]
fn a_slip_is_reported_where_the_trim_holds() {
    let found = sweep_figures(&slipping(Condition::Held)).unwrap();
    near(found.slipped_at_deg.unwrap(), 9.0, 0.1);
    let found = sweep_figures(&slipping(Condition::Unpowered)).unwrap();
    assert_eq!(found.slipped_at_deg, None);
}

#[test]
fn what_is_no_sweep_is_refused() {
    let good = SyntheticLoop::default().sweep(&mut Chance::new(12));
    let with = |change: &dyn Fn(&mut Sweep)| {
        let mut sweep = good.clone();
        change(&mut sweep);
        sweep_figures(&sweep).unwrap_err()
    };
    let error = with(&|sweep| sweep.samples.truncate(3));
    assert_eq!(
        error,
        ExtractError::TooFew {
            found: 3,
            needed: 24
        }
    );
    let error = with(&|sweep| sweep.samples[7].force_n = f64::NAN);
    assert_eq!(error, ExtractError::NotFinite { reading: 8 });
    let error = with(&|sweep| sweep.samples[7].time_s = sweep.samples[6].time_s);
    assert!(matches!(
        error,
        ExtractError::TimeNotRising { reading: 8, .. }
    ));
    let error = with(&|sweep| sweep.grip_radius_m = 0.0);
    assert_eq!(error, ExtractError::GripRadius(0.0));
    let error = with(&|sweep| sweep.samples.truncate(4000));
    assert!(matches!(error, ExtractError::OneWay { .. }), "{error}");
    let error = with(&|sweep| {
        for sample in &mut sweep.samples {
            sample.position_deg = 1.0;
        }
    });
    assert_eq!(error, ExtractError::NoMotion(0.0));
    // There and back on one side only.
    let error = with(&|sweep| sweep.samples.retain(|s| s.position_deg >= 0.0));
    assert!(
        matches!(
            error,
            ExtractError::OneSided {
                side: "negative",
                ..
            }
        ),
        "{error}"
    );
}

/// Forces may differ by what the search leaves open, positions by a sampling pitch or two.
fn alike(one: &SweepFigures, other: &SweepFigures, force: f64, angle: f64) {
    for side in [0, 1] {
        near(one.breakout_n[side], other.breakout_n[side], force);
        near(
            one.first_inch_n_per_deg[side],
            other.first_inch_n_per_deg[side],
            force,
        );
        near(
            one.beyond_n_per_deg[side].unwrap(),
            other.beyond_n_per_deg[side].unwrap(),
            force,
        );
        near(one.largest_n[side], other.largest_n[side], force);
        near(one.stop_deg[side], other.stop_deg[side], angle);
        near(
            one.centring_error_deg[side],
            other.centring_error_deg[side],
            angle,
        );
    }
    near(one.friction_n, other.friction_n, force);
    near(one.free_play_deg, other.free_play_deg, angle);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    /// Swapping the sign of positions and forces swaps the sides.
    #[test]
    fn the_mirror_image_has_its_sides_swapped(seed in 2000_u64..1_000_000) {
        let mut chance = Chance::new(seed);
        let stick = SyntheticLoop::random(&mut chance);
        let sweep = stick.sweep(&mut chance);
        let mut mirrored = sweep.clone();
        for sample in &mut mirrored.samples {
            sample.position_deg = -sample.position_deg;
            sample.force_n = -sample.force_n;
        }
        let one = sweep_figures(&sweep).unwrap();
        let mut other = sweep_figures(&mirrored).unwrap();
        for pair in [
            &mut other.breakout_n,
            &mut other.first_inch_n_per_deg,
            &mut other.largest_n,
            &mut other.stop_deg,
            &mut other.centring_error_deg,
        ] {
            pair.swap(0, 1);
        }
        other.beyond_n_per_deg.swap(0, 1);
        for pair in [&mut other.stop_deg, &mut other.centring_error_deg] {
            *pair = pair.map(|x| -x);
        }
        alike(&one, &other, 0.2 * stick.noise_n(), 3.0 * stick.pitch());
    }

    /// Scaling the forces scales the forces and no position.
    #[test]
    fn scaled_forces_give_scaled_forces(seed in 2000_u64..1_000_000) {
        let mut chance = Chance::new(seed);
        let mut sweep = SyntheticLoop::random(&mut chance).sweep(&mut chance);
        let mut one = sweep_figures(&sweep).unwrap();
        for sample in &mut sweep.samples {
            sample.force_n *= 4.0;
        }
        let other = sweep_figures(&sweep).unwrap();
        for pair in [&mut one.breakout_n, &mut one.first_inch_n_per_deg, &mut one.largest_n] {
            *pair = pair.map(|force| 4.0 * force);
        }
        one.beyond_n_per_deg = one.beyond_n_per_deg.map(|slope| slope.map(|slope| 4.0 * slope));
        one.friction_n *= 4.0;
        alike(&one, &other, 1e-5, 1e-6);
    }

    /// Slower is the same, and a shifted sensor shifts the stops alone.
    #[test]
    fn time_and_place_do_not_matter(seed in 2000_u64..1_000_000) {
        let mut chance = Chance::new(seed);
        let stick = SyntheticLoop::random(&mut chance);
        let mut sweep = stick.sweep(&mut chance);
        let one = sweep_figures(&sweep).unwrap();
        for sample in &mut sweep.samples {
            sample.time_s = 3.0 * sample.time_s - 7.0;
            sample.position_deg += 4.0;
        }
        let mut other = sweep_figures(&sweep).unwrap();
        other.stop_deg = other.stop_deg.map(|x| x - 4.0);
        alike(&one, &other, 0.05 * stick.noise_n(), stick.pitch());
    }
}

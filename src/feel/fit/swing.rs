//! The stick let go on a held shaft: its motion over time.

use super::law::{Known, Values};

/// A release.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Release {
    /// Trimmed position, rad.
    pub trim: f64,
    /// Where the stick is let go, at rest, rad.
    pub from: f64,
}

/// Positions at the instants `times`, s from the release, rising: where the stick is, rad.
///
/// J x'' = −T(x − trim) − c x' − f sign(x') + weight(x). Drift, kick, drift with a fixed step; viscous friction at the mean of the old and
/// new rate. A step in which the rate would change its sign is parted where it is zero, under the acceleration of that step,
/// so that the motion depends smoothly on every value; there the stick stays if stiction holds it, for good, as nothing moves it then.
pub(super) fn swing(
    values: &Values,
    known: &Known,
    release: Release,
    step: f64,
    times: impl Iterator<Item = f64>,
    mut tell: impl FnMut(f64),
) {
    let (inertia, friction) = (values.inertia, values.friction);
    let half = 0.5 * step;
    let drag = half * values.damping / inertia;
    let pull = |x: f64| (known.weight_torque(x) - values.torque(known, x - release.trim)) / inertia;
    let rubs = friction / inertia;
    let sticks = rubs * known.stiction;
    let (mut x, mut v) = (release.from, 0.0_f64);
    let (mut old_x, mut old_v, mut reached) = (x, v, 0.0);
    let mut stuck = pull(x).abs() <= sticks;
    for time in times {
        while !stuck && reached < time {
            (old_x, old_v) = (x, v);
            reached += step;
            let mid = x + half * v;
            let free = pull(mid);
            let way = if v == 0.0 { free.signum() } else { v.signum() };
            let next = ((1.0 - drag) * v + step * (free - way * rubs)) / (1.0 + drag);
            if v != 0.0 && v * next < 0.0 {
                let until = step * v / (v - next);
                let turn = x + 0.5 * v * until;
                let here = pull(turn);
                if here.abs() <= sticks {
                    (x, v) = (turn, 0.0);
                    stuck = true;
                } else {
                    let rest = step - until;
                    v = (free - free.signum() * rubs) * rest;
                    if v * next < 0.0 {
                        v = 0.0;
                    }
                    x = turn + 0.5 * v * rest;
                }
            } else {
                x = mid + half * next;
                v = next;
            }
        }
        if time >= reached {
            tell(x);
        } else {
            // Cubic through both ends of the step.
            let s = 1.0 - (reached - time) / step;
            let (a, b) = (old_x, x);
            let (da, db) = (old_v * step, v * step);
            let c2 = 3.0 * (b - a) - 2.0 * da - db;
            let c3 = 2.0 * (a - b) + da + db;
            tell(a + s * (da + s * (c2 + s * c3)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOWN: Known = Known {
        play: 0.0,
        give: 0.0,
        lean: 0.0,
        weight: 0.0,
        bind: 10.0,
        stiction: 1.0,
    };

    fn run(values: &Values, from: f64, step: f64, times: &[f64]) -> Vec<f64> {
        let mut found = Vec::new();
        let release = Release { trim: 0.0, from };
        swing(values, &KNOWN, release, step, times.iter().copied(), |x| {
            found.push(x);
        });
        found
    }

    /// Without preload and play beyond 2 mrad it is a linear spring: J x'' + c x' + k x = 0 about the edge of the play, here
    /// shifted by a free play of −2 mrad.
    #[test]
    fn a_linear_spring_swings_in_closed_form() {
        let values = Values {
            rate: 10.0,
            breakout: 0.0,
            friction: 0.0,
            free_play: -2e-3,
            damping: 0.1,
            inertia: 0.04,
        };
        let times: Vec<f64> = (0..200).map(|i| 0.005 * f64::from(i)).collect();
        let (w0, z) = (250.0_f64.sqrt(), 0.1 / (2.0 * (10.0 * 0.04_f64).sqrt()));
        let w = w0 * (1.0 - z * z).sqrt();
        for (found, t) in run(&values, 0.1, 2e-4, &times).iter().zip(&times) {
            let wanted =
                0.1 * libm::exp(-z * w0 * t) * (libm::cos(w * t) + z * w0 / w * libm::sin(w * t));
            assert!((found - wanted).abs() < 2e-6, "{t}: {found} {wanted}");
        }
    }

    /// Coulomb friction takes 2 f/k off each half swing (textbook), and stops the stick at the first turn within f/k.
    #[test]
    fn dry_friction_takes_the_same_off_each_half_swing() {
        let values = Values {
            rate: 10.0,
            breakout: 0.0,
            friction: 0.06,
            free_play: -2e-3,
            damping: 0.0,
            inertia: 0.04,
        };
        let half = std::f64::consts::PI / 250.0_f64.sqrt();
        let times: Vec<f64> = (0..=12).map(|i| half * f64::from(i)).collect();
        let found = run(&values, 0.1, 2e-4, &times);
        for (i, x) in found.iter().enumerate() {
            let turns = i.min(8) as f64;
            let sign = if i.min(8) % 2 == 0 { 1.0 } else { -1.0 };
            let wanted = sign * (0.1 - 2.0 * 0.006 * turns);
            assert!((x - wanted).abs() < 1e-5, "{i}: {x} {wanted}");
        }
    }

    #[test]
    fn half_the_step_gives_the_same_motion() {
        let values = Values {
            rate: 10.6,
            breakout: 0.78,
            friction: 0.05,
            free_play: 2.6e-3,
            damping: 0.4,
            inertia: 0.0415,
        };
        let times: Vec<f64> = (0..300).map(|i| 0.004 * f64::from(i)).collect();
        let coarse = run(&values, 0.1, 2e-4, &times);
        let fine = run(&values, 0.1, 2e-5, &times);
        for (a, b) in coarse.iter().zip(&fine) {
            assert!((a - b).abs() < 2e-5, "{a} {b}");
        }
    }
}

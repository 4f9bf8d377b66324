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

/// Most steps of Newton's method.
const NEWTON: usize = 30;

/// Least damping of a cartridge, N·m·s/rad: below it the pivot has the rest.
const DAMPING_MIN: f64 = 1e-3;

/// Positions at the instants `times`, s from the release, rising: where the stick is, rad.
///
/// J x'' = −M − c_p x' − f sign(x') + weight(x), where M is what cartridge and drive pass on.
/// Spring and damper of the cartridge stand side by side, at the deflection d; backlash and give of
/// the drive follow in series: M = T(d) + c d', x − trim = d + g M + b sign(M).
///
/// Drift, kick, drift with a fixed step; viscous friction at the mean of the old and new rate; d by
/// the trapezium rule from one mid-step to the next. A step in which the rate would change its sign
/// is parted where it is zero, under the acceleration of that step, so that the motion depends
/// smoothly on every value. Gives the number of steps.
pub(super) fn swing(
    values: &Values,
    known: &Known,
    release: Release,
    step: f64,
    times: impl Iterator<Item = f64>,
    mut emit: impl FnMut(f64),
) -> u64 {
    let inertia = values.inertia;
    let mut drive = Drive::at_rest(values, known, release.from - release.trim, step);
    let half = 0.5 * step;
    let drag = half * (values.damping - drive.damping) / inertia;
    let rubs = values.friction / inertia;
    let sticks = rubs * known.stiction;
    let (mut x, mut v) = (release.from, 0.0_f64);
    let (mut old_x, mut old_v, mut reached) = (x, v, 0.0);
    let (mut rests, mut steps) = (false, 0);
    for time in times {
        while !rests && reached < time {
            (old_x, old_v) = (x, v);
            reached += step;
            steps += 1;
            let mid = x + half * v;
            let (passed, moved) = drive.advance(mid - release.trim);
            let free = (known.weight_torque(mid) - passed) / inertia;
            if v == 0.0 && free.abs() <= sticks {
                // Held by friction; for good once the cartridge has settled as well.
                rests = moved < 1e-10;
                continue;
            }
            let way = if v == 0.0 { free.signum() } else { v.signum() };
            let next = ((1.0 - drag) * v + step * (free - way * rubs)) / (1.0 + drag);
            if v * next < 0.0 {
                let until = step * v / (v - next);
                let turn = x + 0.5 * v * until;
                let after = free - free.signum() * rubs;
                v = if free.abs() <= sticks || after * next < 0.0 {
                    0.0
                } else {
                    after * (step - until)
                };
                x = turn + 0.5 * v * (step - until);
            } else {
                x = mid + half * next;
                v = next;
            }
        }
        if time >= reached {
            emit(x);
        } else {
            // Cubic through both ends of the step.
            let s = 1.0 - (reached - time) / step;
            let (a, b) = (old_x, x);
            let (da, db) = (old_v * step, v * step);
            let c2 = 3.0 * (b - a) - 2.0 * da - db;
            let c3 = 2.0 * (a - b) + da + db;
            emit(a + s * (da + s * (c2 + s * c3)));
        }
    }
    steps
}

/// Cartridge and held drive in series.
struct Drive<'a> {
    values: &'a Values,
    known: &'a Known,
    /// Damping of the cartridge, N·m·s/rad.
    damping: f64,
    /// Twice that over the step, N·m/rad.
    stiff: f64,
    /// Deflection of the cartridge, rad.
    deflection: f64,
    /// Torque that the damper passed on at the last mid-step, N·m.
    damped: f64,
}

impl<'a> Drive<'a> {
    /// Settled with the stick turned by `turned` from the trimmed position.
    fn at_rest(values: &'a Values, known: &'a Known, turned: f64, step: f64) -> Self {
        let torque = values.torque(known, turned);
        let taken = known.play.min(turned.abs()).copysign(turned) + known.give * torque;
        let damping = (values.damping - known.viscous).max(DAMPING_MIN);
        Self {
            values,
            known,
            damping,
            stiff: 2.0 * damping / step,
            deflection: turned - taken,
            damped: 0.0,
        }
    }

    /// Torque that the drive bears where the stick is `turned` and the cartridge deflected by
    /// `deflection`, and how steep it falls with that.
    #[inline]
    fn borne(&self, turned: f64, deflection: f64) -> (f64, f64) {
        let rest = turned - deflection;
        let beyond = rest.abs() - self.known.play;
        if beyond <= 0.0 {
            (0.0, 0.0)
        } else {
            let per = 1.0 / self.known.give;
            (per * beyond.copysign(rest), per)
        }
    }

    /// Goes on to the next mid-step, where the stick is `turned`: the torque passed on, and by how
    /// much the deflection changed.
    ///
    /// 2 c (d − d₀)/h = damped₀ + (M − T)(d): what is left of it rises with d and has only a few
    /// kinks, so that Newton's steps, halved where they leave the bracket, end after two or three.
    #[inline]
    fn advance(&mut self, turned: f64) -> (f64, f64) {
        let before = self.deflection;
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let mut at = before;
        let (mut torque, mut spring) = (0.0, 0.0);
        for _ in 0..NEWTON {
            let (borne, yields) = self.borne(turned, at);
            let (pulled, steep) = self.values.cartridge(at);
            (torque, spring) = (borne, pulled);
            let left = self.stiff * (at - before) - self.damped + pulled - borne;
            let slope = self.stiff + steep + yields;
            if left > 0.0 {
                high = at;
            } else {
                low = at;
            }
            let by = left / slope;
            if by.abs() < 1e-14 {
                break;
            }
            let next = at - by;
            at = if next > low && next < high {
                next
            } else {
                0.5 * (low + high)
            };
        }
        self.deflection = at;
        self.damped = torque - spring;
        (torque, (at - before).abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All damping the pivot's, and hardly any give.
    const KNOWN: Known = Known {
        play: 0.0,
        give: 1e-7,
        lean: 0.0,
        weight: 0.0,
        bind: 10.0,
        stiction: 1.0,
        viscous: 0.1,
    };

    fn run(values: &Values, from: f64, step: f64, times: &[f64]) -> Vec<f64> {
        run_on(&KNOWN, values, from, step, times)
    }

    fn run_on(known: &Known, values: &Values, from: f64, step: f64, times: &[f64]) -> Vec<f64> {
        let mut found = Vec::new();
        let release = Release { trim: 0.0, from };
        swing(values, known, release, step, times.iter().copied(), |x| {
            found.push(x);
        });
        found
    }

    /// Without preload and play beyond 2 mrad it is a linear spring: J x'' + c x' + k x = 0 about
    /// the edge of the play, here shifted by a free play of −2 mrad.
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

    /// Coulomb friction takes 2 f/k off each half swing (textbook), and stops the stick at the
    /// first turn within f/k.
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
        let known = Known {
            play: 8e-4,
            give: 1.8e-3,
            viscous: 0.08,
            ..KNOWN
        };
        let coarse = run_on(&known, &values, 0.1, 2e-4, &times);
        let fine = run_on(&known, &values, 0.1, 2e-5, &times);
        for (a, b) in coarse.iter().zip(&fine) {
            assert!((a - b).abs() < 2e-5, "{a} {b}");
        }
    }
}

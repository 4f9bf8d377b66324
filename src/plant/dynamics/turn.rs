//! Sine and cosine of an angle that moves little from step to step.

use crate::state_bits::StateBits;

/// Farthest from its anchor that an angle is reached by the addition theorem, rad.
const REACH_RAD: f64 = 1.0 / 16.0;

/// An angle with its sine and cosine, from which those of angles close by are reached without
/// `libm`.
///
/// With d = x − a, sin x = sin a + (cos a sin d − sin a (1 − cos d)) and cos x = cos a − (sin a sin
/// d + cos a (1 − cos d)); sin d and 1 − cos d are Taylor polynomials to d⁷ and d⁸. The error of
/// either result for
/// |d| ≤ 1/16, in units of 2⁻⁵³ (one ulp of numbers between ½ and 1):
///
/// ```text
/// sin a, cos a by libm                                   1
/// the last addition                                      1/2
/// polynomials cut: d⁹/9! = 4.0e-17 and d¹⁰/10! = 3e-19   0.37
/// rounding of d, sin d, the products and their sum:
///   five numbers below 1/16, half an ulp (2⁻⁵⁸) each     0.16
/// ```
///
/// together 2.03, so 2.3e-16, and half an ulp more where a sum rounds up to 1 or beyond. It is an
/// absolute error: close to a zero of the sine the relative one is larger, which no torque here
/// feels. Anchors are taken anew from `libm`, so errors do not add up over steps. Which anchor an
/// angle finds depends on the angles before it, and on nothing else.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anchor {
    at_rad: f64,
    sin: f64,
    cos: f64,
}

impl Default for Anchor {
    /// The anchor at zero.
    fn default() -> Self {
        Self {
            at_rad: 0.0,
            sin: 0.0,
            cos: 1.0,
        }
    }
}

impl Anchor {
    /// All of it: angle, sine and cosine.
    #[inline]
    pub(crate) fn numbers(&self) -> [f64; 3] {
        [self.at_rad, self.sin, self.cos]
    }

    /// Writes it down.
    pub(crate) fn note(&self, bits: &mut StateBits) {
        bits.numbers(&self.numbers());
    }

    /// Sine and cosine of `angle_rad`; out of reach, a new anchor is dropped there.
    #[inline]
    pub fn follow(&mut self, angle_rad: f64) -> (f64, f64) {
        if let Some(near) = self.reach(angle_rad) {
            return near;
        }
        self.drop_at(angle_rad);
        (self.sin, self.cos)
    }

    /// Out of line: it is rare, and inlined it takes the registers of the steps around it.
    #[cold]
    #[inline(never)]
    fn drop_at(&mut self, angle_rad: f64) {
        let (sin, cos) = libm::sincos(angle_rad);
        *self = Self {
            at_rad: angle_rad,
            sin,
            cos,
        };
    }

    /// Sine and cosine of an angle within reach.
    #[inline]
    fn reach(&self, angle_rad: f64) -> Option<(f64, f64)> {
        let d = angle_rad - self.at_rad;
        // Written so that an angle that is not a number goes to libm.
        if d.abs() <= REACH_RAD {
            let square = d * d;
            // Halves of the polynomials side by side, so that they do not wait for each other.
            let fourth = square * square;
            let sin_d = d
                - (d * square) * ((1.0 / 6.0 - square * (1.0 / 120.0)) + fourth * (1.0 / 5_040.0));
            let less_d = square
                * ((0.5 - square * (1.0 / 24.0))
                    + fourth * (1.0 / 720.0 - square * (1.0 / 40_320.0)));
            Some((
                self.sin + (self.cos * sin_d - self.sin * less_d),
                self.cos - (self.sin * sin_d + self.cos * less_d),
            ))
        } else {
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    use super::*;

    /// The bound of [`Anchor`] with the half ulp at 1, and as much again for libm, against which it
    /// is checked: less than one ulp.
    const MOST: f64 = 3.6 / (1_u64 << 53) as f64;

    fn error(found: (f64, f64), angle_rad: f64) -> f64 {
        let (sin, cos) = libm::sincos(angle_rad);
        (found.0 - sin).abs().max((found.1 - cos).abs())
    }

    /// Uniform between −1 and 1.
    fn signed(draw: &mut Pcg32) -> f64 {
        f64::from(draw.next_u32() as i32) / 2_147_483_648.0
    }

    #[test]
    fn angles_in_reach_have_the_derived_error() {
        let mut draw = Pcg32::new(1, 1);
        let mut worst = 0.0_f64;
        for k in 0..300_000 {
            // Electrical angles go to some hundred turns.
            let at_rad = signed(&mut draw) * if k % 2 == 0 { 3.2 } else { 2_000.0 };
            let mut anchor = Anchor::default();
            anchor.follow(at_rad);
            let angle_rad = at_rad + REACH_RAD * signed(&mut draw);
            worst = worst.max(error(anchor.follow(angle_rad), angle_rad));
        }
        assert!(worst <= MOST, "{worst:e}");
        assert!(worst > 0.2 * MOST, "the bound is far too wide: {worst:e}");
    }

    #[test]
    fn a_walk_keeps_the_error_and_repeats_to_the_bit() {
        let walk = || {
            let mut draw = Pcg32::new(2, 2);
            let mut anchor = Anchor::default();
            let (mut angle_rad, mut rate) = (0.0, 0.0);
            (0..200_000)
                .map(|_| {
                    rate = 0.999 * rate + 1e-3 * signed(&mut draw);
                    angle_rad += rate;
                    let found = anchor.follow(angle_rad);
                    assert!(error(found, angle_rad) <= MOST, "at {angle_rad}");
                    found
                })
                .collect::<Vec<_>>()
        };
        assert_eq!(walk(), walk());
    }

    #[test]
    fn an_anchor_gives_what_libm_gives_where_it_is_dropped() {
        let mut anchor = Anchor::default();
        assert_eq!(anchor.follow(0.0), (0.0, 1.0));
        for angle_rad in [REACH_RAD * 1.001, 1.0, -700.0] {
            assert_eq!(anchor.follow(angle_rad), libm::sincos(angle_rad));
        }
        assert!(anchor.follow(f64::NAN).0.is_nan());
        assert_eq!(anchor.follow(0.5), libm::sincos(0.5));
    }
}

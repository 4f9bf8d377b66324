//! Exact integer conversions between millidegrees at the stick and microsteps of the motor.

use crate::settings::AxisSettings;

/// Millidegrees in a turn.
const TURN_MDEG: u64 = 360_000;

/// Quotient rounded towards zero; 0 where the divisor is 0 (settings exclude it).
pub(crate) fn quotient(dividend: i64, divisor: i64) -> i64 {
    dividend.checked_div(divisor).unwrap_or(0)
}

/// Quotient rounded to the nearest whole number, halves away from zero; the divisor is positive.
pub(crate) fn nearest(dividend: i64, divisor: i64) -> i64 {
    let half = divisor / 2;
    quotient(
        if dividend < 0 {
            dividend.saturating_sub(half)
        } else {
            dividend.saturating_add(half)
        },
        divisor,
    )
}

/// Quotient rounded down; the divisor is positive.
pub(crate) fn floor(dividend: i64, divisor: i64) -> i64 {
    dividend.checked_div_euclid(divisor).unwrap_or(0)
}

/// `value` brought into `low..=high` without the panic of `Ord::clamp`.
pub(crate) fn clamp(value: i32, low: i32, high: i32) -> i32 {
    value.max(low).min(high)
}

/// Narrows to 32 bits, keeping to the end of the range where it does not fit.
pub(crate) fn narrow(value: i64) -> i32 {
    value.max(i64::from(i32::MIN)).min(i64::from(i32::MAX)) as i32
}

/// `numerator * 2^32 / denominator` rounded down; `u64::MAX` where it is 2^63 or more.
///
/// Long division, bit by bit: no 128-bit arithmetic in the flashed code.
/// The denominator is below 2^63.
pub(crate) fn q32_quotient(numerator: u64, denominator: u64) -> u64 {
    let Some(mut result) = numerator.checked_div(denominator) else {
        return u64::MAX;
    };
    if result >= 1 << 31 {
        return u64::MAX;
    }
    let mut rest = numerator.checked_rem(denominator).unwrap_or(0);
    for _ in 0..32 {
        rest <<= 1;
        result <<= 1;
        if rest >= denominator {
            rest = rest.wrapping_sub(denominator);
            result |= 1;
        }
    }
    result
}

/// Whole ticks that last at least `ms` milliseconds, at least 1.
pub(crate) fn ticks(ms: u32, tick_hz: u16) -> u32 {
    let ticks = (u64::from(ms) * u64::from(tick_hz)).div_ceil(1000);
    ticks.clamp(1, u64::from(u32::MAX)) as u32
}

/// Microsteps per millidegree at the stick as an exact fraction in lowest terms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Ratio {
    numerator: u32,
    denominator: u32,
}

impl Ratio {
    /// The ratio of one axis: steps, microsteps and teeth.
    pub(crate) fn new(axis: &AxisSettings) -> Self {
        let numerator = u64::from(axis.full_steps_per_rev)
            * u64::from(axis.microsteps)
            * u64::from(axis.trim_teeth);
        let denominator = TURN_MDEG * u64::from(axis.motor_teeth);
        let divisor = common(numerator, denominator);
        let reduce = |value: u64| {
            value
                .checked_div(divisor)
                .unwrap_or(value)
                .min(u64::from(u32::MAX)) as u32
        };
        Self {
            numerator: reduce(numerator),
            denominator: reduce(denominator),
        }
    }

    /// Nearest microstep.
    pub(crate) fn usteps(self, mdeg: i32) -> i32 {
        narrow(nearest(
            i64::from(mdeg) * i64::from(self.numerator),
            i64::from(self.denominator),
        ))
    }

    /// Last microstep at or below the angle.
    pub(crate) fn usteps_below(self, mdeg: i32) -> i32 {
        narrow(floor(
            i64::from(mdeg) * i64::from(self.numerator),
            i64::from(self.denominator),
        ))
    }

    /// First microstep at or above the angle.
    pub(crate) fn usteps_above(self, mdeg: i32) -> i32 {
        self.usteps_below(mdeg.saturating_neg()).saturating_neg()
    }

    /// Nearest millidegree.
    pub(crate) fn mdeg(self, usteps: i32) -> i32 {
        narrow(nearest(
            i64::from(usteps) * i64::from(self.denominator),
            i64::from(self.numerator),
        ))
    }

    /// Largest whole number of millidegrees that `usteps` microsteps cover.
    pub(crate) fn mdeg_covered(self, usteps: u32) -> i64 {
        quotient(
            i64::from(usteps) * i64::from(self.denominator),
            i64::from(self.numerator),
        )
    }

    /// `mdeg / per` in microsteps times 2^32, rounded down: a rate where `per` is the number of
    /// generator periods a second, a change of rate per tick where it is that times the ticks a
    /// second.
    // Inlined: its arguments do not fit an AVR's registers, and LLVM looks for the rest one byte
    // too low on an ATmega2560's stack.
    #[inline(always)]
    pub(crate) fn q32_rate(self, mdeg: u32, per: u64) -> u64 {
        let denominator = u64::from(self.denominator).saturating_mul(per);
        q32_quotient(u64::from(mdeg) * u64::from(self.numerator), denominator)
    }

    /// Smallest `mdeg` whose [`Ratio::q32_rate`] is at least `units` (up to about 2^20).
    pub(crate) fn mdeg_for(self, units: u32, per: u64) -> i64 {
        let product = u64::from(units)
            .saturating_mul(u64::from(self.denominator))
            .saturating_mul(per)
            >> 32;
        let mdeg = product
            .checked_div(u64::from(self.numerator))
            .unwrap_or(u64::MAX)
            .saturating_add(1);
        i64::try_from(mdeg).unwrap_or(i64::MAX)
    }
}

/// Greatest common divisor.
fn common(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a.checked_rem(b).unwrap_or(0));
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Settings;

    #[test]
    fn long_division_agrees_with_128_bits() {
        for (a, b) in [
            (1, 3),
            (7, 7),
            (12_345_678_901_234, 987_654_321_098),
            (0, 5),
            (3, 1 << 62),
        ] {
            let exact = (u128::from(a) << 32) / u128::from(b);
            assert_eq!(u128::from(q32_quotient(a, b)), exact, "{a} / {b}");
        }
        assert_eq!(q32_quotient(1 << 40, 1), u64::MAX);
        assert_eq!(q32_quotient(1, 0), u64::MAX);
    }

    #[test]
    fn ratio_is_exact_and_inside_at_the_limits() {
        // 200 * 16 * 90 / (360000 * 15) = 4 / 75 microsteps per millidegree: 18.75 mdeg a
        // microstep.
        let ratio = Ratio::new(&Settings::example().pitch);
        assert_eq!(
            ratio,
            Ratio {
                numerator: 4,
                denominator: 75
            }
        );
        assert_eq!(ratio.usteps(18_750), 1000);
        assert_eq!(ratio.mdeg(-1000), -18_750);
        assert_eq!(ratio.usteps_below(20_000), 1066);
        assert_eq!(ratio.usteps_above(-20_000), -1066);
        assert_eq!(ratio.usteps_above(20_000), 1067);
        assert_eq!(ratio.mdeg_covered(30_000), 562_500);
        // 18.75 mdeg/s at 10 kHz is 1e-4 microsteps a period.
        assert_eq!(ratio.q32_rate(75, 10_000), (4u64 << 32) / 10_000);
    }

    /// From there on the scaled value is at least what was asked for, and one millidegree lower it
    /// is not.
    #[test]
    fn the_smallest_angle_of_a_rate_is_found() {
        let ratio = Ratio::new(&Settings::example().pitch);
        for per in [10_000, 10_000 * 500, 50_000 * 2_000] {
            for units in [1, 1_000, 1 << 20] {
                let mdeg = u32::try_from(ratio.mdeg_for(units, per)).unwrap();
                assert!(
                    ratio.q32_rate(mdeg, per) >= u64::from(units),
                    "{units}, {per}"
                );
                assert!(
                    ratio.q32_rate(mdeg - 1, per) < u64::from(units),
                    "{units}, {per}"
                );
            }
        }
    }

    #[test]
    fn rounding() {
        assert_eq!(
            [nearest(-3, 2), nearest(3, 2), nearest(-1, 3), nearest(5, 3)],
            [-2, 2, 0, 2]
        );
        assert_eq!([floor(-1, 3), floor(2, 3), floor(-3, 3)], [-1, 0, -1]);
        assert_eq!(
            [ticks(8, 500), ticks(1, 100), ticks(50, 500), ticks(9, 500)],
            [4, 1, 25, 5]
        );
    }
}

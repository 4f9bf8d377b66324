//! Numbers of a rig file that are counted in ticks or timer periods: each must be a whole number of
//! them.
//!
//! The twin, the board and the controller count; a time that is no whole number of what is counted
//! would be rounded without a word, and the run would show another rig than the file describes.

use super::{Rig, check::RangeChecker};

/// Lowest and highest rate of the step generator's timer, Hz: those of `board.generator_hz`.
pub(super) const GENERATOR_HZ: [u32; 2] = [1000, 50_000];
/// How far from a whole number of ticks a time may be, ticks: the rounding of a decimal fraction.
const SLACK_TICKS: f64 = 1e-3;

impl Rig {
    /// The clocks against each other.
    pub(super) fn check_clocks(&self, check: &mut RangeChecker<'_>) {
        let tick_hz = self.board.tick_hz;
        let timer_hz = self.board.generator_hz;
        check.require("board.generator_hz", timer_hz.is_multiple_of(tick_hz), || {
            format!(
                "is `{timer_hz}`, it must be a whole multiple of `board.tick_hz`, which is `{tick_hz}`: {}",
                nearest_multiples(timer_hz, tick_hz, GENERATOR_HZ)
            )
        });
        let silence_s = self.board.silence_s;
        let ticks = silence_s * f64::from(tick_hz);
        let whole = (ticks - ticks.round()).abs() <= SLACK_TICKS && ticks.round() >= 1.0;
        check.require("board.silence_s", whole, || {
            let at = |count: f64| count / f64::from(tick_hz);
            let below = ticks.floor();
            let choices = if below >= 1.0 {
                format!("`{}` or `{}`", short(at(below)), short(at(below + 1.0)))
            } else {
                format!("at least `{}`", short(at(1.0)))
            };
            format!(
                "is `{silence_s}`, it must be a whole number of ticks of 1/{tick_hz} s: {choices}"
            )
        });
    }
}

/// The multiples of `of` on both sides of `value` that lie within the range, as text.
pub(super) fn nearest_multiples(value: u32, of: u32, [low, high]: [u32; 2]) -> String {
    let of = of.max(1);
    let least = low.div_ceil(of) * of;
    let most = high / of * of;
    let below = (value / of * of).clamp(least, most);
    let above = value.div_ceil(of).saturating_mul(of).clamp(least, most);
    if below == above {
        format!("`{below}`")
    } else {
        format!("`{below}` or `{above}`")
    }
}

/// A time with the digits that matter: a microsecond's thousandth is far below a tick's slack.
fn short(seconds: f64) -> f64 {
    (seconds * 1e9).round() / 1e9
}

#[cfg(test)]
mod tests {
    use super::super::tests::KITTIWAKE;
    use super::*;

    fn message(changes: &[(&str, &str)]) -> String {
        let mut text = KITTIWAKE.to_owned();
        for (old, new) in changes {
            assert!(text.contains(old), "`{old}` is not in the rig");
            text = text.replacen(old, new, 1);
        }
        match Rig::parse(&text) {
            Ok(_) => "accepted".to_owned(),
            Err(error) => {
                let span = error.span.expect("the error has a place");
                format!("{} ({})", error.message, &text[span])
            }
        }
    }

    const BOARD: &str = "generator_hz = 10000\nsilence_s";
    const CLOCKS: &str = "tick_hz = 500\ngenerator_hz = 10000";

    /// Below the tick the twin made no period in a tick and stood still; with 10,200 Hz at 500 Hz
    /// it made 20 of 20.4 periods, so that motors ran 2 % slow.
    #[test]
    fn a_timer_that_is_no_multiple_of_the_tick_is_refused() {
        assert_eq!(
            message(&[(CLOCKS, "tick_hz = 2000\ngenerator_hz = 1000")]),
            "`board.generator_hz` is `1000`, it must be a whole multiple of `board.tick_hz`, which is `2000`: `2000` (1000)"
        );
        assert_eq!(
            message(&[(BOARD, "generator_hz = 10200\nsilence_s")]),
            "`board.generator_hz` is `10200`, it must be a whole multiple of `board.tick_hz`, which is `500`: `10000` or `10500` (10200)"
        );
        assert_eq!(
            message(&[(BOARD, "generator_hz = 20000\nsilence_s")]),
            "accepted"
        );
    }

    /// Half a tick of silence would switch the drives off for ever; 2.4 ticks counted as 2.
    #[test]
    fn a_silence_is_a_whole_number_of_ticks() {
        let with = |silence: &str| message(&[("silence_s = 0.1", silence)]);
        assert_eq!(
            with("silence_s = 0.0048"),
            "`board.silence_s` is `0.0048`, it must be a whole number of ticks of 1/500 s: `0.004` or `0.006` (0.0048)"
        );
        assert_eq!(with("silence_s = 0.002"), "accepted");
        let slow = [
            ("tick_hz = 500", "tick_hz = 100"),
            ("silence_s = 0.1", "silence_s = 0.004"),
        ];
        assert_eq!(
            message(&slow),
            "`board.silence_s` is `0.004`, it must be a whole number of ticks of 1/100 s: at least `0.01` (0.004)"
        );
        // A third of a second has no decimal form: its rounding is no fault.
        let thirds = [
            (CLOCKS, "tick_hz = 300\ngenerator_hz = 9000"),
            ("silence_s = 0.1", "silence_s = 0.0333333"),
        ];
        assert_eq!(message(&thirds), "accepted");
    }

    /// The generator counts the periods of its timeout in 16 bits. The most that any valid rig asks
    /// for fits.
    #[test]
    fn the_longest_timeout_fits_the_generators_counter() {
        let with = |ticks: u32| {
            message(&[(
                "command_timeout_ticks = 2",
                &format!("command_timeout_ticks = {ticks}"),
            )])
        };
        assert!(u16::try_from(50 * (GENERATOR_HZ[1] / 100)).is_ok());
        assert_eq!(with(50), "accepted");
        assert_eq!(
            with(51),
            "`board.command_timeout_ticks` is `51`, it must be `1` to `50` (51)"
        );
        assert_eq!(
            message(&[("tick_hz = 500", "tick_hz = 99")]),
            "`board.tick_hz` is `99`, it must be `100` to `2000` (99)"
        );
    }

    #[test]
    fn multiples_stay_inside_the_range() {
        assert_eq!(nearest_multiples(1000, 700, GENERATOR_HZ), "`1400`");
        assert_eq!(nearest_multiples(49_999, 700, GENERATOR_HZ), "`49700`");
        assert_eq!(
            nearest_multiples(10_001, 500, GENERATOR_HZ),
            "`10000` or `10500`"
        );
    }
}

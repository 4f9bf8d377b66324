//! Commanded movement of one drive: a position in step with the generator, and a profile to a goal.
//!
//! Places are microsteps times 2^32 (whole microsteps above, the generator's fraction below), rates
//! are microsteps per generator period times 2^32. The outputs of tick n act over the interval from
//! tick n to tick n + 1; [`Motion::advance`] at tick n + 1 takes note of what they did.

use crate::units::quotient;
use trimproof_io::steps_over;

/// Goals lie half a microstep into their microstep, so that rounding never drops them into its
/// neighbour.
const HALF: i64 = 1 << 31;
/// A goal counts as reached within a 16th of a microstep: the pulses are out by then.
const REACHED: u64 = 1 << 28;
/// Largest ratio for the square root, so that it and its eightfold fit 32 bits; ramps are far
/// shorter.
const ROOT_MAX: u64 = 1 << 28;

/// Bounds of a movement.
#[derive(Clone, Copy, Debug)]
pub(crate) struct MotionLimits {
    /// Largest rate.
    pub(crate) rate: u32,
    /// Largest change of rate in one tick, at least 1.
    pub(crate) accel: u32,
    /// Generator periods per tick.
    pub(crate) periods: u16,
    /// Ticks that the generator runs on for without a new rate.
    pub(crate) timeout_ticks: u16,
}

/// Where the drive is, how fast it goes, and where to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Motion {
    usteps: i32,
    fraction: u32,
    rate: i32,
    goal: i64,
}

impl Motion {
    /// Takes note of the pulses of the last `elapsed_ticks` ticks; the generator stops after the
    /// command timeout.
    pub(crate) fn advance(&mut self, elapsed_ticks: u32, limits: &MotionLimits) {
        let ran = elapsed_ticks.min(u32::from(limits.timeout_ticks)) as u16;
        let (steps, fraction) =
            steps_over(self.fraction, self.rate, limits.periods.saturating_mul(ran));
        self.usteps = self.usteps.saturating_add(steps);
        self.fraction = fraction;
        if elapsed_ticks > u32::from(limits.timeout_ticks) {
            self.rate = 0;
        }
    }

    /// Chooses the next rate: as fast as allowed, but always able to stop at the goal, even if the
    /// generator repeats a rate for the whole command timeout. `halt` brings it to rest wherever it
    /// is. `elapsed_ticks` is the number of ticks since the last choice: braking may make up for
    /// lost ticks.
    pub(crate) fn plan(&mut self, limits: &MotionLimits, halt: bool, elapsed_ticks: u32) {
        let left = self.goal.saturating_sub(self.position());
        let accel = i64::from(limits.accel);
        let rate = i64::from(self.rate);
        let fastest = if halt || (left.unsigned_abs() <= REACHED && rate.abs() <= accel) {
            0
        } else {
            i64::from(stoppable(left.unsigned_abs(), limits).min(limits.rate))
        };
        let wanted = if left < 0 { -fastest } else { fastest };
        let elapsed_ticks = i64::from(elapsed_ticks.min(u32::from(limits.timeout_ticks)).max(1));
        let brake = accel.saturating_mul(elapsed_ticks);
        let (low, high) = if rate > 0 {
            ((rate - accel).min((rate - brake).max(0)), rate + accel)
        } else {
            (rate - accel, (rate + accel).max((rate + brake).min(0)))
        };
        let next = wanted.max(low).min(high);
        self.rate = next.max(-i64::from(i32::MAX)).min(i64::from(i32::MAX)) as i32;
    }

    /// Makes the nearest microstep where the drive can stop the goal.
    pub(crate) fn stop(&mut self, limits: &MotionLimits) {
        if self.rate == 0 {
            self.goal = self.position();
            return;
        }
        let end = self.position().saturating_add(self.way(limits));
        // Outwards to the middle of a microstep.
        let below = ((end - HALF) >> 32 << 32) + HALF;
        self.goal = if self.rate < 0 || below == end {
            below
        } else {
            below + (1 << 32)
        };
    }

    /// Whole microsteps that the drive still goes when it brakes from now on, signed.
    pub(crate) fn braking_usteps(&self, limits: &MotionLimits) -> i32 {
        (self.way(limits) >> 32) as i32
    }

    /// The braking way as a difference of positions.
    fn way(&self, limits: &MotionLimits) -> i64 {
        let (rate, accel) = (i64::from(self.rate), i64::from(limits.accel));
        let speed = rate.abs();
        let ticks = quotient(speed, accel);
        // (speed - accel) + (speed - 2 accel) + ... down to what is left of the last one.
        let sum = ticks.saturating_mul(speed)
            - quotient(accel.saturating_mul(ticks).saturating_mul(ticks + 1), 2);
        let way = sum.saturating_mul(i64::from(limits.periods));
        if rate < 0 { -way } else { way }
    }

    /// Makes a microstep the goal.
    pub(crate) fn set_goal(&mut self, usteps: i32) {
        self.goal = (i64::from(usteps) << 32) + HALF;
    }

    /// The microstep that is the goal.
    pub(crate) const fn goal(&self) -> i32 {
        (self.goal >> 32) as i32
    }

    /// Whether the drive is at rest at its goal.
    pub(crate) fn reached(&self) -> bool {
        self.rate == 0 && self.goal.saturating_sub(self.position()).unsigned_abs() <= REACHED
    }

    /// Sense of the way to the goal: -1, 0 or 1.
    pub(crate) fn sense(&self) -> i64 {
        self.goal.saturating_sub(self.position()).signum()
    }

    /// The drive is off: the generator stands still.
    pub(crate) fn rest(&mut self) {
        self.rate = 0;
        self.goal = self.position();
    }

    /// The driver's index has gone to its home and the fraction to zero: `usteps` is the position
    /// of that.
    pub(crate) fn home(&mut self, usteps: i32) {
        *self = Self {
            usteps,
            fraction: 0,
            rate: 0,
            goal: 0,
        };
        self.goal = self.position();
    }

    /// While the drive is off: lets the driver's index follow `target`, at the generator's fastest.
    pub(crate) fn follow(&mut self, target: i32, limits: &MotionLimits) {
        self.set_goal(target);
        let left = self.goal.saturating_sub(self.position());
        let rate = quotient(left, i64::from(limits.periods));
        self.rate = rate.max(-i64::from(i32::MAX)).min(i64::from(i32::MAX)) as i32;
    }

    /// Bookkeeping only: the position is `usteps` elsewhere than estimated; nothing moves.
    pub(crate) fn shift(&mut self, usteps: i32) {
        self.usteps = self.usteps.saturating_add(usteps);
        self.goal = self.goal.saturating_add(i64::from(usteps) << 32);
    }

    /// Whole microsteps from the trim shaft's zero.
    pub(crate) const fn usteps(&self) -> i32 {
        self.usteps
    }

    /// The rate for the generator.
    pub(crate) const fn rate(&self) -> i32 {
        self.rate
    }

    /// Whole microsteps and the generator's fraction.
    #[cfg(test)]
    pub(crate) const fn parts(&self) -> (i32, u32) {
        (self.usteps, self.fraction)
    }

    fn position(&self) -> i64 {
        (i64::from(self.usteps) << 32) | i64::from(self.fraction)
    }
}

/// Largest rate that can be kept for one tick (and repeated `timeout_ticks` - 1 times by a
/// generator left alone) and then brought down by `accel` a tick within `left`.
///
/// With n whole ramp ticks, r = n accel + rest, and
/// way / periods = (n + timeout_ticks) r - accel n (n + 1) / 2.
/// At r = n accel that is accel (n^2 / 2 + (timeout_ticks - 1/2) n), which gives n; then r follows.
fn stoppable(left: u64, limits: &MotionLimits) -> u32 {
    let accel = u64::from(limits.accel);
    let timeout_ticks = u64::from(limits.timeout_ticks);
    let way = left.checked_div(u64::from(limits.periods)).unwrap_or(0);
    let ratio = way.checked_div(accel).unwrap_or(0).min(ROOT_MAX) as u32;
    let odd = u32::from(limits.timeout_ticks)
        .saturating_mul(2)
        .saturating_sub(1);
    let root = odd
        .saturating_mul(odd)
        .saturating_add(ratio.saturating_mul(8))
        .isqrt();
    let n = u64::from(root.saturating_sub(odd) / 2);
    let way = way.min(accel.saturating_mul(ROOT_MAX));
    let ramp = accel.saturating_mul(n.saturating_mul(n + 1) / 2);
    let rate = way
        .saturating_add(ramp)
        .checked_div(n.saturating_add(timeout_ticks))
        .unwrap_or(0);
    rate.min(i32::MAX as u64) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn limits() -> MotionLimits {
        // 5 deg/s and 20 deg/s^2 of the example rig at 10 kHz and 500 Hz.
        MotionLimits {
            rate: 114_532_460,
            accel: 916_259,
            periods: 20,
            timeout_ticks: 1,
        }
    }

    /// Runs to the goal; returns the ticks taken, asserting every bound on the way.
    fn run(motion: &mut Motion, limits: &MotionLimits) -> u32 {
        let end = motion.goal();
        let side = motion.sense();
        for ticks in 0..100_000 {
            let before = motion.rate;
            motion.plan(limits, false, 1);
            assert!((i64::from(motion.rate) - i64::from(before)).abs() <= i64::from(limits.accel));
            if motion.reached() {
                assert_eq!(motion.usteps(), end);
                return ticks;
            }
            motion.advance(1, limits);
            assert!(motion.sense() == side || motion.sense() == 0, "overshoot");
        }
        panic!("never arrives");
    }

    #[test]
    fn a_move_takes_the_time_of_its_trapezoidal_profile() {
        // 1000 microsteps (18.75 deg) at 266.67 usteps/s with ramps of 0.25 s: 3.75 s + 0.25 s =
        // 2000 ticks.
        let mut motion = Motion::default();
        motion.set_goal(1000);
        let ticks = run(&mut motion, &limits());
        assert!((2000..2010).contains(&ticks), "{ticks}");
    }

    #[test]
    fn a_reversal_slows_down_first() {
        let mut motion = Motion::default();
        motion.set_goal(1000);
        for _ in 0..500 {
            motion.plan(&limits(), false, 1);
            motion.advance(1, &limits());
        }
        let turned = motion.usteps();
        motion.set_goal(turned - 5);
        let mut furthest = turned;
        while !motion.reached() {
            let before = i64::from(motion.rate);
            motion.plan(&limits(), false, 1);
            assert!((i64::from(motion.rate) - before).abs() <= i64::from(limits().accel));
            motion.advance(1, &limits());
            furthest = furthest.max(motion.usteps());
        }
        // v^2 / 2a = 266.67^2 / (2 * 1066.67) = 33.3 microsteps.
        assert!(
            (33..=34).contains(&(furthest - turned)),
            "{}",
            furthest - turned
        );
        assert_eq!(motion.usteps(), turned - 5);
    }

    #[test]
    fn following_while_off_is_exact_and_bounded() {
        let mut motion = Motion::default();
        motion.home(0);
        motion.follow(7, &limits());
        motion.advance(1, &limits());
        assert_eq!(motion.usteps(), 7);
        motion.follow(-32, &limits());
        motion.advance(1, &limits());
        assert_eq!(motion.usteps(), -3, "half a microstep a period");
    }

    proptest! {
        #[test]
        fn any_goal_is_reached_without_overshoot(
            goal in -30_000i32..30_000, rate in 10_000u32..2_000_000_000, ramp in 1u32..15_000,
            periods in 1u16..500, timeout_ticks in 1u16..=50,
        ) {
            let accel = (rate / ramp).max(100);
            // Keep the runs short: at least 1/200 microstep a tick.
            prop_assume!(u64::from(rate) * u64::from(periods) > 1 << 27 && u64::from(accel) * u64::from(periods) > 1 << 16);
            let limits = MotionLimits { rate, accel, periods, timeout_ticks };
            // At most 8000 ticks of cruising.
            let farthest = ((u64::from(rate) * u64::from(periods) * 8000) >> 32).max(1);
            let goal = goal.signum() * u64::from(goal.unsigned_abs()).min(farthest) as i32;
            let mut motion = Motion::default();
            motion.set_goal(goal);
            let side = motion.sense();
            // Distance over rate and one whole ramp, which a trapezoidal profile takes; then the
            // last approach, which divides what is left by the command timeout each tick: at most
            // 50 times its command timeout from 2^60 down to a 16th of a microstep.
            let distance = u64::from(goal.unsigned_abs()) + 1;
            let most = (distance << 32) / (u64::from(rate) * u64::from(periods))
                + u64::from(rate / accel) + 50 * u64::from(timeout_ticks) + 50;
            let mut arrived = false;
            for _ in 0..most {
                let before = i64::from(motion.rate);
                motion.plan(&limits, false, 1);
                prop_assert!((i64::from(motion.rate) - before).abs() <= i64::from(accel));
                prop_assert!(motion.rate.unsigned_abs() <= rate);
                motion.advance(1, &limits);
                prop_assert!(motion.sense() != -side, "overshoot");
                if motion.reached() {
                    prop_assert_eq!(motion.usteps(), goal);
                    arrived = true;
                    break;
                }
            }
            prop_assert!(arrived, "not there after {} ticks", most);
        }

        #[test]
        fn lost_ticks_never_carry_past_the_goal(
            goal in 1i32..2000, gaps in proptest::collection::vec(1u32..=4, 1..2000), timeout_ticks in 1u16..=4,
        ) {
            let limits = MotionLimits { timeout_ticks, ..limits() };
            let mut motion = Motion::default();
            motion.set_goal(goal);
            let mut elapsed_ticks = 1;
            for next in gaps {
                motion.plan(&limits, false, elapsed_ticks);
                elapsed_ticks = next;
                motion.advance(elapsed_ticks, &limits);
                prop_assert!(motion.usteps() <= goal);
            }
        }

        #[test]
        fn a_stop_comes_as_soon_as_the_ramp_allows(after in 1u32..400, forward: bool) {
            let mut motion = Motion::default();
            motion.set_goal(if forward { 5000 } else { -5000 });
            for _ in 0..after {
                motion.plan(&limits(), false, 1);
                motion.advance(1, &limits());
            }
            let mut halted = motion;
            motion.stop(&limits());
            let end = motion.goal();
            for _ in 0..1000 {
                motion.plan(&limits(), false, 1);
                motion.advance(1, &limits());
                halted.plan(&limits(), true, 1);
                halted.advance(1, &limits());
            }
            prop_assert!(motion.reached());
            prop_assert_eq!(motion.usteps(), end);
            prop_assert!((halted.usteps() - end).abs() <= 1);
        }
    }
}

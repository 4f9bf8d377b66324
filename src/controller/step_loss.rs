//! Step-loss detection: do stick and drive still agree?
//!
//! A motor that loses its hold falls by whole electrical cycles. When the stick has been still for
//! a long while and its deflection is a whole number of cycles (give or take the band of a settled
//! stick), after a strain that could have made the motor slip, the drive is elsewhere than
//! estimated.
//!
//! A pilot who leans on the stick looks the same: more than half of all deflections are within the
//! band of a whole number of cycles. So nothing is booked without such a strain, nor before the
//! stick has come back from it by half of `deflection_max` or more (a drive that slipped leaves
//! enough to spring back), nor before it has been still for longer than a pilot leans. A booking
//! can itself be wrong, so it is suspected in turn. Everything else that stays is reported as a
//! doubt, and the position is taken anew when the drive next engages.

use crate::settings::AxisSettings;
use crate::units::{narrow, nearest, ticks};

/// Limits of the judgement.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StepLossConfig {
    pub(crate) band_mdeg: i32,
    slip_mdeg: i32,
    back_mdeg: i32,
    settle_ticks: u32,
    doubt_ticks: u32,
    /// Ticks in which an extreme of the still stick fades by a millidegree: two bands in the time
    /// of a doubt.
    fade_ticks: u32,
}

impl StepLossConfig {
    pub(crate) fn new(axis: &AxisSettings, tick_hz: u16) -> Self {
        let settle_ticks = ticks(axis.position_settle_ms.into(), tick_hz);
        let doubt_ticks =
            ticks(axis.position_doubt_ms.into(), tick_hz).max(settle_ticks.saturating_add(1));
        Self {
            band_mdeg: axis.position_band_mdeg,
            slip_mdeg: axis.slip_deflection_mdeg,
            back_mdeg: axis.deflection_max_mdeg / 2,
            settle_ticks,
            doubt_ticks,
            fade_ticks: doubt_ticks
                .checked_div(axis.position_band_mdeg.unsigned_abs().saturating_mul(2))
                .unwrap_or(1)
                .max(1),
        }
    }
}

/// The watch over one axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct StepLossWatch {
    low_mdeg: i32,
    high_mdeg: i32,
    still_ticks: u32,
    /// Stick and drive agreed at the last tick.
    agreed: bool,
    /// The last booking has not been borne out yet.
    booked: bool,
    /// Largest deflection since stick and drive last agreed.
    worst_mdeg: i32,
    doubt: bool,
    /// There was a doubt since stick and drive last agreed.
    doubted: bool,
}

impl StepLossWatch {
    /// Takes note of a deflection while the drive is on.
    pub(crate) fn strain(&mut self, deflection_mdeg: i32) {
        self.worst_mdeg = self.worst_mdeg.max(deflection_mdeg.saturating_abs());
    }

    /// The drive has come on: what was before does not matter.
    pub(crate) fn engage(&mut self) {
        *self = Self::default();
    }

    /// The drive is off or moves: nothing can be judged.
    pub(crate) fn unsettle(&mut self) {
        self.still_ticks = 0;
        self.doubt = false;
    }

    /// Judges one tick of a drive at rest; returns the number of cycles that the drive is away from
    /// where it was estimated to be, 0 when there is nothing to correct.
    pub(crate) fn judge(
        &mut self,
        stick_mdeg: i32,
        drive_mdeg: i32,
        cycle_mdeg: i32,
        config: &StepLossConfig,
    ) -> i32 {
        self.low_mdeg = self.low_mdeg.min(stick_mdeg);
        self.high_mdeg = self.high_mdeg.max(stick_mdeg);
        let apart = stick_mdeg.saturating_sub(drive_mdeg);
        let size = apart.saturating_abs();
        let agree = size <= config.band_mdeg;
        // A deflection is no older than the tick in which it left the band, and an agreement no
        // older than its return.
        if self.still_ticks == 0
            || agree != self.agreed
            || self.high_mdeg.saturating_sub(self.low_mdeg) > config.band_mdeg
        {
            self.low_mdeg = stick_mdeg;
            self.high_mdeg = stick_mdeg;
            self.still_ticks = 0;
        }
        self.agreed = agree;
        self.still_ticks = self.still_ticks.saturating_add(1);
        // The end of a swing may all but fill the band: noise must not end the stillness for that
        // seconds later.
        if self.still_ticks.checked_rem(config.fade_ticks) == Some(0) {
            self.low_mdeg = self.low_mdeg.saturating_add(1).min(stick_mdeg);
            self.high_mdeg = self.high_mdeg.saturating_sub(1).max(stick_mdeg);
        }
        if agree {
            self.doubt = false;
            if self.still_ticks >= config.settle_ticks {
                self.booked = false;
                self.doubted = false;
                self.worst_mdeg = 0;
            }
            return 0;
        }
        if self.still_ticks < config.doubt_ticks {
            return 0;
        }
        let came_back = self.worst_mdeg >= config.slip_mdeg
            && self.worst_mdeg.saturating_sub(size) >= config.back_mdeg;
        let cycles = narrow(nearest(apart.into(), cycle_mdeg.into()));
        let rest = i64::from(apart) - i64::from(cycles) * i64::from(cycle_mdeg);
        let explained = cycles != 0 && rest.abs() <= i64::from(config.band_mdeg);
        if explained && (came_back || self.booked) {
            *self = Self {
                booked: true,
                ..Self::default()
            };
            return cycles;
        }
        self.doubt = true;
        self.doubted = true;
        0
    }

    /// Whether the drive may be elsewhere than estimated: strained beyond what it surely holds, or
    /// doubted, and not seen to agree since.
    pub(crate) const fn unsure(&self, config: &StepLossConfig) -> bool {
        self.doubted || self.booked || self.worst_mdeg >= config.slip_mdeg
    }

    /// Whether a deflection has stayed that lost steps cannot explain.
    pub(crate) const fn doubt(&self) -> bool {
        self.doubt
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four full steps of the example rig: 64 microsteps of 18.75 mdeg.
    const CYCLE: i32 = 1200;
    /// 10 s at 500 Hz.
    const DOUBT: u32 = 5_000;

    fn config() -> StepLossConfig {
        StepLossConfig::new(&AxisSettings::example(), 500)
    }

    /// Judges the same stick for so many ticks; returns every correction with its tick.
    fn watched(watch: &mut StepLossWatch, stick_mdeg: i32, ticks: u32) -> Vec<(u32, i32)> {
        let corrections = (1..=ticks).map(|n| (n, watch.judge(stick_mdeg, 0, CYCLE, &config())));
        corrections.filter(|(_, cycles)| *cycles != 0).collect()
    }

    #[test]
    fn whole_cycles_after_a_strain_are_corrected_once_still_for_long() {
        for (stick, cycles) in [(1200i32, 1), (-1200 - 340, -1), (3 * 1200 + 340, 3)] {
            let mut watch = StepLossWatch::default();
            watch.strain(stick.signum() * 15_000);
            assert_eq!(watched(&mut watch, stick, DOUBT), [(DOUBT, cycles)]);
            assert!(!watch.doubt());
        }
    }

    #[test]
    fn a_pilot_who_leans_at_any_deflection_is_never_booked_without_a_strain() {
        for stick in (0..14_900).step_by(100) {
            let mut watch = StepLossWatch::default();
            watch.strain(14_900);
            assert_eq!(watched(&mut watch, stick, DOUBT), [], "{stick}");
        }
    }

    #[test]
    fn a_stick_that_is_still_near_the_strain_is_never_booked() {
        for stick in (13_100..30_000).step_by(100) {
            let mut watch = StepLossWatch::default();
            watch.strain(16_000.max(stick));
            assert_eq!(watched(&mut watch, stick, DOUBT), [], "{stick}");
        }
    }

    #[test]
    fn a_wrong_booking_is_put_right() {
        let mut watch = StepLossWatch::default();
        watch.strain(16_000);
        // After a big pull a pilot held 2.4 deg for longer than pilots do, and then lets go.
        assert_eq!(watched(&mut watch, 2400, DOUBT), [(DOUBT, 2)]);
        assert_eq!(watched(&mut watch, -2400, DOUBT), [(DOUBT, -2)]);
        assert_eq!(watched(&mut watch, 0, DOUBT), []);
        assert_eq!(
            watched(&mut watch, 2400, DOUBT),
            [],
            "borne out: no longer suspected"
        );
    }

    #[test]
    fn a_held_stick_is_reported_as_a_doubt_at_last_and_forgiven_at_once() {
        for stick in [600, 1200] {
            let mut watch = StepLossWatch::default();
            assert_eq!(watched(&mut watch, stick, DOUBT - 1), []);
            assert!(!watch.doubt());
            assert_eq!(watched(&mut watch, stick, 1), []);
            assert!(watch.doubt(), "10 s at 500 Hz");
            assert_eq!(watched(&mut watch, 100, 1), []);
            assert!(!watch.doubt());
        }
    }

    #[test]
    fn a_moving_stick_is_not_judged() {
        let mut watch = StepLossWatch::default();
        watch.strain(16_000);
        for n in 0..20_000 {
            // 20 mdeg a tick, to and fro over 2 degrees about one cycle.
            let stick = 1200 + 20 * ((n % 200) - 100i32).abs() - 1000;
            assert_eq!(watch.judge(stick, 0, CYCLE, &config()), 0);
        }
        assert!(!watch.doubt());
    }

    #[test]
    fn a_swing_that_all_but_fills_the_band_does_not_hold_the_doubt_up() {
        let mut watch = StepLossWatch::default();
        // 340 of 350 mdeg of swing, then rest with 25 mdeg of noise to both sides, at its worst
        // every 3 s.
        assert_eq!(watch.judge(4340, 0, CYCLE, &config()), 0);
        assert_eq!(watch.judge(4000, 0, CYCLE, &config()), 0);
        for n in 1..=DOUBT + 700 {
            let noise = if n % 1500 == 1499 { -25 } else { 0 };
            watch.judge(4020 + noise, 0, CYCLE, &config());
        }
        assert!(
            watch.doubt(),
            "10 s at 500 Hz, and the time in which 35 mdeg fade"
        );
    }

    #[test]
    fn a_slow_movement_is_no_stillness() {
        let mut watch = StepLossWatch::default();
        // 0.2 deg/s, well above the 0.07 deg/s at which extremes fade.
        for n in 0..40_000 {
            watch.judge(2000 + 2 * (n / 5), 0, CYCLE, &config());
            assert!(!watch.doubt(), "{n}");
        }
    }

    #[test]
    fn a_deflection_is_as_old_as_its_way_out_of_the_band() {
        let mut watch = StepLossWatch::default();
        watch.strain(16_000);
        // 100 mdeg from agreement to none: the stick is still throughout, but not the deflection's
        // age.
        assert_eq!(watched(&mut watch, 300, 2 * DOUBT), []);
        assert_eq!(watched(&mut watch, 400, DOUBT - 1), []);
        assert!(!watch.doubt());
        assert_eq!(watched(&mut watch, 400, 1), []);
        assert!(watch.doubt());
        // And back: a moment of agreement does not forgive the strain of before.
        watch.strain(16_000);
        assert_eq!(watched(&mut watch, 300, 10), []);
        assert!(!watch.doubt() && watch.unsure(&config()));
        assert_eq!(watched(&mut watch, 300, 400), []);
        assert!(!watch.unsure(&config()));
    }

    #[test]
    fn agreement_forgets_the_strain() {
        let mut watch = StepLossWatch::default();
        watch.strain(16_000);
        assert_eq!(watched(&mut watch, 50, 400), []);
        assert_eq!(watched(&mut watch, 1200, 2 * DOUBT), []);
    }
}

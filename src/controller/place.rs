//! Place keeping: do stick and drive still agree?
//!
//! A motor that loses its hold falls by whole electrical cycles. When the stick has been still for a
//! while and its deflection is a whole number of cycles (give or take the band of a settled stick), after
//! something that may have cost steps, the drive is elsewhere than believed.
//!
//! A pilot who leans on the stick looks the same: more than half of all deflections are within the band of
//! a whole number of cycles. So a deflection at its largest counts as slipped only after the stick has come
//! back from there by a good part (the drive holds more than that, so a slip leaves enough to spring back), and what
//! a movement may have lost only when the stick has been still for longer than a pilot leans. Every booking
//! can itself be wrong, so it is suspected in turn.

use crate::settings::AxisSettings;
use crate::units::{narrow, nearest, ticks};

/// Limits of the judgement.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PlaceConfig {
    band_mdeg: i32,
    strain_mdeg: i32,
    settle_ticks: u32,
    doubt_ticks: u32,
}

impl PlaceConfig {
    pub(crate) fn new(axis: &AxisSettings, tick_hz: u16) -> Self {
        let settle_ticks = ticks(axis.place_settle_ms.into(), tick_hz);
        let doubt_ticks =
            ticks(axis.place_doubt_ms.into(), tick_hz).max(settle_ticks.saturating_add(1));
        Self {
            band_mdeg: axis.place_band_mdeg,
            strain_mdeg: axis.deflection_max_mdeg,
            settle_ticks,
            doubt_ticks,
        }
    }
}

/// The watch over one axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Place {
    low_mdeg: i32,
    high_mdeg: i32,
    still_ticks: u32,
    suspect: bool,
    /// Largest deflection since stick and drive last agreed.
    worst_mdeg: i32,
    doubt: bool,
}

impl Place {
    /// Something happened that may have cost steps: a movement or an engagement.
    pub(crate) fn suspect(&mut self) {
        self.suspect = true;
    }

    /// Takes note of a deflection while the drive is on.
    pub(crate) fn strain(&mut self, deflection_mdeg: i32) {
        self.worst_mdeg = self.worst_mdeg.max(deflection_mdeg.saturating_abs());
    }

    /// The drive has come on: what was before does not matter.
    pub(crate) fn engage(&mut self) {
        *self = Self::default();
        self.suspect = true;
    }

    /// The drive is off or moves: nothing can be judged.
    pub(crate) fn unsettle(&mut self) {
        self.still_ticks = 0;
        self.doubt = false;
    }

    /// Judges one tick of a drive at rest; returns the number of cycles that the drive is away from where it was
    /// believed to be, 0 when there is nothing to correct.
    pub(crate) fn judge(
        &mut self,
        stick_mdeg: i32,
        drive_mdeg: i32,
        cycle_mdeg: i32,
        config: &PlaceConfig,
    ) -> i32 {
        self.low_mdeg = self.low_mdeg.min(stick_mdeg);
        self.high_mdeg = self.high_mdeg.max(stick_mdeg);
        if self.still_ticks == 0 || self.high_mdeg.saturating_sub(self.low_mdeg) > config.band_mdeg
        {
            self.low_mdeg = stick_mdeg;
            self.high_mdeg = stick_mdeg;
            self.still_ticks = 0;
        }
        self.still_ticks = self.still_ticks.saturating_add(1);
        let apart = stick_mdeg.saturating_sub(drive_mdeg);
        if apart.saturating_abs() <= config.band_mdeg {
            self.doubt = false;
            if self.still_ticks >= config.settle_ticks {
                self.suspect = false;
                self.worst_mdeg = 0;
            }
            return 0;
        }
        if self.still_ticks < config.settle_ticks {
            return 0;
        }
        let size = apart.saturating_abs();
        let back = self.worst_mdeg.saturating_sub(size);
        let came_back = self.worst_mdeg >= config.strain_mdeg && back >= config.strain_mdeg / 2;
        let leaned_on = size >= config.strain_mdeg || self.still_ticks < config.doubt_ticks;
        let cycles = narrow(nearest(apart.into(), cycle_mdeg.into()));
        let rest = i64::from(apart) - i64::from(cycles) * i64::from(cycle_mdeg);
        let explained = cycles != 0 && rest.abs() <= i64::from(config.band_mdeg);
        if explained && (came_back || (self.suspect && !leaned_on)) {
            self.engage();
            return cycles;
        }
        self.doubt = self.still_ticks >= config.doubt_ticks;
        0
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

    fn config() -> PlaceConfig {
        PlaceConfig::new(&AxisSettings::example(), 500)
    }

    /// Judges the same stick for so many ticks; returns every correction with its tick.
    fn watch(place: &mut Place, stick_mdeg: i32, ticks: u32) -> Vec<(u32, i32)> {
        let corrections = (1..=ticks).map(|n| (n, place.judge(stick_mdeg, 0, CYCLE, &config())));
        corrections.filter(|(_, cycles)| *cycles != 0).collect()
    }

    #[test]
    fn whole_cycles_after_an_incident_are_corrected_once_settled() {
        for (stick, cycles) in [(1200, 1), (-1200 - 340, -1), (3 * 1200 + 340, 3)] {
            let mut place = Place::default();
            place.suspect();
            assert_eq!(
                watch(&mut place, stick, 2000),
                [(2000, cycles)],
                "4 s at 500 Hz: less may be a pilot"
            );
            let mut place = Place::default();
            place.strain(stick.signum() * 10_000);
            assert_eq!(
                watch(&mut place, stick, 400),
                [(400, cycles)],
                "0.8 s at 500 Hz: the stick has sprung back"
            );
        }
    }

    #[test]
    fn leaning_on_the_stick_at_any_deflection_is_never_booked() {
        for stick in (6_000..30_000).step_by(100) {
            let mut place = Place::default();
            place.suspect();
            place.strain(stick + 2_900);
            assert_eq!(watch(&mut place, stick, 3000), [], "{stick}");
        }
    }

    #[test]
    fn a_wrong_booking_is_put_right() {
        let mut place = Place::default();
        place.suspect();
        // A pilot held 2.4 deg for longer than pilots do, and then lets go.
        assert_eq!(watch(&mut place, 2400, 2000), [(2000, 2)]);
        assert_eq!(watch(&mut place, -2400, 2000), [(2000, -2)]);
        assert_eq!(watch(&mut place, 0, 2000), []);
    }

    #[test]
    fn a_pilot_who_holds_the_stick_is_not_taken_for_lost_steps() {
        let mut place = Place::default();
        assert_eq!(watch(&mut place, 1200, 1999), []);
        assert!(!place.doubt());
        assert_eq!(watch(&mut place, 1200, 1), []);
        assert!(place.doubt(), "4 s at 500 Hz");
    }

    #[test]
    fn odd_deflections_are_doubted_and_forgiven() {
        let mut place = Place::default();
        place.suspect();
        assert_eq!(watch(&mut place, 600, 2000), []);
        assert!(place.doubt());
        assert_eq!(watch(&mut place, 100, 1), []);
        assert!(!place.doubt());
    }

    #[test]
    fn a_moving_stick_is_not_judged() {
        let mut place = Place::default();
        place.suspect();
        for n in 0..2000 {
            // 20 mdeg a tick, to and fro over 2 degrees about one cycle.
            let stick = 1200 + 20 * ((n % 200) - 100i32).abs() - 1000;
            assert_eq!(place.judge(stick, 0, CYCLE, &config()), 0);
        }
    }

    #[test]
    fn agreement_clears_the_suspicion() {
        let mut place = Place::default();
        place.suspect();
        assert_eq!(watch(&mut place, 50, 400), []);
        assert_eq!(watch(&mut place, 1200, 1000), []);
    }
}

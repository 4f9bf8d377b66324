//! An angle sensor: calibration, plausibility, filter.

use crate::settings::AxisSettings;
use crate::units::{narrow, nearest, ticks};

/// Readings that are missed without harm: a stick's way in this many ticks at its fastest is
/// allowed between two accepted readings, however long the gap of rejected ones.
const WAY_TICKS: u32 = 2;
/// A rejected reading weighs this much, an accepted one takes 1 off: a sensor that is wrong
/// more than one time in three trips in the end.
const BAD_WEIGHT: u32 = 2;

/// What makes a sensor bad.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum SensorFault {
    /// Outside the valid counts.
    Range,
    /// Faster than a stick.
    Rate,
}

/// What the controller thinks of the sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Trust {
    /// Since power-up or an acknowledgement: readings are taken, but not yet relied on.
    Starting,
    /// Good for `sensor_bad_ms` without a break.
    Good,
    /// Bad for `sensor_bad_ms`; the last good value is kept.
    Bad(SensorFault),
}

/// Calibration and limits of one sensor.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SensorConfig {
    zero: u16,
    span_counts: u16,
    span_mdeg: i32,
    min: u16,
    max: u16,
    way_mdeg: i32,
    bad_ticks: u32,
    shift: u8,
}

impl SensorConfig {
    pub(crate) fn new(axis: &AxisSettings, tick_hz: u16) -> Self {
        let way = i64::from(axis.sensor_rate_max_mdeg_per_s)
            .checked_div(i64::from(tick_hz))
            .unwrap_or(0);
        Self {
            zero: axis.sensor_zero_counts,
            span_counts: axis.sensor_span_counts,
            span_mdeg: axis.sensor_span_mdeg,
            min: axis.sensor_min_counts,
            max: axis.sensor_max_counts,
            way_mdeg: narrow(way),
            bad_ticks: ticks(axis.sensor_bad_ms.into(), tick_hz),
            shift: axis.filter_shift.min(6),
        }
    }

    fn mdeg(&self, counts: u16) -> i32 {
        let from_zero = i64::from(counts) - i64::from(self.zero);
        narrow(nearest(
            from_zero * i64::from(self.span_mdeg),
            i64::from(self.span_counts),
        ))
    }
}

/// One sensor's history.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sensing {
    trust: Trust,
    /// The reading before this one, and whether it was in range.
    previous_counts: u16,
    previous_mdeg: i32,
    previous_in_range: bool,
    /// The last accepted angle.
    angle_mdeg: i32,
    /// 256ths of a millidegree.
    filtered: i32,
    since_accepted: u32,
    bad: u32,
    /// Readings in a row that agree with each other.
    agreeing: u32,
    changed: bool,
}

impl Sensing {
    pub(crate) const NEW: Self = Self {
        trust: Trust::Starting,
        previous_counts: 0,
        previous_mdeg: 0,
        previous_in_range: false,
        angle_mdeg: 0,
        filtered: 0,
        since_accepted: 0,
        bad: 0,
        agreeing: 0,
        changed: false,
    };

    /// Takes one reading, `elapsed_ticks` ticks after the last one.
    pub(crate) fn step(&mut self, counts: u16, elapsed_ticks: u32, config: &SensorConfig) {
        let in_range = counts >= config.min && counts <= config.max;
        let mdeg = if in_range {
            config.mdeg(counts)
        } else {
            self.previous_mdeg
        };
        let way = |ticks: u32| i64::from(config.way_mdeg).saturating_mul(i64::from(ticks.max(1)));
        let apart = |other: i32| (i64::from(mdeg) - i64::from(other)).abs();
        let agrees =
            in_range && self.previous_in_range && apart(self.previous_mdeg) <= way(elapsed_ticks);
        self.agreeing = if agrees {
            self.agreeing.saturating_add(1)
        } else {
            0
        };
        self.changed = counts != self.previous_counts;
        self.since_accepted = self.since_accepted.saturating_add(elapsed_ticks);
        match self.trust {
            Trust::Starting => {
                if !in_range {
                    self.reject(SensorFault::Range, config);
                } else if agrees || !self.previous_in_range {
                    if agrees {
                        self.accept(mdeg, config)
                    } else {
                        self.restart(mdeg)
                    }
                    if self.agreeing >= config.bad_ticks {
                        self.trust = Trust::Good;
                    }
                } else {
                    self.restart(mdeg);
                    self.reject(SensorFault::Rate, config);
                }
            }
            Trust::Good => {
                if !in_range {
                    self.reject(SensorFault::Range, config);
                } else if apart(self.angle_mdeg) > way(self.grace(agrees).max(elapsed_ticks)) {
                    self.reject(SensorFault::Rate, config);
                } else {
                    self.accept(mdeg, config);
                }
            }
            Trust::Bad(_) => {}
        }
        self.previous_counts = counts;
        self.previous_mdeg = mdeg;
        self.previous_in_range = in_range;
    }

    /// Ticks whose way is allowed from the last accepted reading. Rejected readings that agree with
    /// each other are a jump that stays, not a glitch on a moving stick, and earn none.
    fn grace(&self, agrees: bool) -> u32 {
        if agrees {
            1
        } else {
            self.since_accepted.min(WAY_TICKS)
        }
    }

    fn accept(&mut self, mdeg: i32, config: &SensorConfig) {
        self.angle_mdeg = mdeg;
        self.since_accepted = 0;
        self.bad = self.bad.saturating_sub(1);
        let error = mdeg.saturating_mul(256).saturating_sub(self.filtered);
        self.filtered = self.filtered.saturating_add(error >> config.shift);
    }

    fn reject(&mut self, fault: SensorFault, config: &SensorConfig) {
        self.bad = self.bad.saturating_add(BAD_WEIGHT);
        if self.bad >= config.bad_ticks.saturating_mul(BAD_WEIGHT) {
            self.trust = Trust::Bad(fault);
            self.agreeing = 0;
        }
    }

    fn restart(&mut self, mdeg: i32) {
        self.angle_mdeg = mdeg;
        self.filtered = mdeg.saturating_mul(256);
        self.since_accepted = 0;
    }

    /// Trusts a sensor that [`Sensing::sound`] says is sound again.
    pub(crate) fn acknowledge(&mut self) {
        if let Trust::Bad(_) = self.trust {
            self.restart(self.previous_mdeg);
            self.trust = Trust::Good;
            self.bad = 0;
        }
    }

    /// Whether the reading may be relied on.
    pub(crate) fn good(&self) -> bool {
        self.trust == Trust::Good
    }

    /// Whether the sensor, good or bad so far, has read plausibly for `sensor_bad_ms`.
    pub(crate) fn sound(&self, config: &SensorConfig) -> bool {
        match self.trust {
            Trust::Good => true,
            Trust::Starting => false,
            Trust::Bad(_) => self.agreeing >= config.bad_ticks,
        }
    }

    /// What is wrong with it, if anything.
    pub(crate) const fn fault(&self) -> Option<SensorFault> {
        match self.trust {
            Trust::Bad(fault) => Some(fault),
            _ => None,
        }
    }

    /// Whether this reading differed from the one before.
    pub(crate) const fn changed(&self) -> bool {
        self.changed
    }

    /// Last accepted angle, unfiltered, millidegrees.
    pub(crate) const fn raw_mdeg(&self) -> i32 {
        self.angle_mdeg
    }

    /// Filtered angle, millidegrees.
    pub(crate) const fn mdeg(&self) -> i32 {
        self.filtered.saturating_add(128) >> 8
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn config() -> SensorConfig {
        SensorConfig::new(&AxisSettings::example(), 500)
    }

    fn good_at(counts: u16) -> Sensing {
        let mut sensing = Sensing::NEW;
        for _ in 0..6 {
            sensing.step(counts, 1, &config());
        }
        assert!(sensing.good());
        sensing
    }

    #[test]
    fn calibration_is_exact_to_half_a_millidegree_in_both_senses() {
        let mut axis = AxisSettings::example();
        for (span, sense) in [(60_000, 1.0), (-60_000, -1.0)] {
            axis.sensor_span_mdeg = span;
            let config = SensorConfig::new(&axis, 500);
            for counts in [100u16, 2047, 2048, 2049, 3995] {
                let exact = (f64::from(counts) - 2048.0) * 60_000.0 / 4095.0 * sense;
                assert!(
                    (f64::from(config.mdeg(counts)) - exact).abs() <= 0.5,
                    "{counts}"
                );
            }
        }
    }

    #[test]
    fn filter_reaches_a_step_and_keeps_a_level() {
        let mut sensing = good_at(2048);
        for _ in 0..40 {
            sensing.step(2090, 1, &config());
        }
        let level = config().mdeg(2090);
        assert!(
            (sensing.mdeg() - level).abs() <= 1,
            "{} {level}",
            sensing.mdeg()
        );
        assert_eq!(sensing.raw_mdeg(), level);
    }

    #[test]
    fn single_wild_readings_are_dropped() {
        let mut sensing = good_at(2048);
        for wild in [0, 4095, 3000, 100] {
            for _ in 0..3 {
                sensing.step(2048, 1, &config());
                assert_eq!(sensing.raw_mdeg(), 0);
            }
            sensing.step(wild, 1, &config());
            assert_eq!((sensing.raw_mdeg(), sensing.good()), (0, true));
        }
    }

    #[test]
    fn open_sensor_is_bad_after_its_time_and_keeps_the_last_value() {
        let mut sensing = good_at(2500);
        for n in 0..5 {
            assert_eq!(sensing.fault(), None, "{n}");
            sensing.step(4095, 1, &config());
        }
        assert_eq!(sensing.fault(), Some(SensorFault::Range), "10 ms at 500 Hz");
        assert_eq!(sensing.raw_mdeg(), config().mdeg(2500));
        assert!(!sensing.sound(&config()));
        for _ in 0..6 {
            sensing.step(1000, 1, &config());
        }
        assert!(sensing.sound(&config()) && !sensing.good());
        assert_eq!(
            sensing.raw_mdeg(),
            config().mdeg(2500),
            "kept until acknowledged"
        );
        sensing.acknowledge();
        assert!(sensing.good());
        assert_eq!(sensing.mdeg(), config().mdeg(1000));
    }

    #[test]
    fn a_jump_that_stays_is_an_impossible_rate() {
        // 5 degrees in one tick is 2500 deg/s, above the 600 deg/s and above two ticks of it (2.4
        // degrees).
        let mut sensing = good_at(2048);
        for _ in 0..5 {
            assert_eq!(sensing.fault(), None);
            sensing.step(2048 + 341, 1, &config());
        }
        assert_eq!(sensing.fault(), Some(SensorFault::Rate));
    }

    #[test]
    fn a_jump_that_a_stick_could_make_in_two_ticks_is_no_glitch_either() {
        // 2 degrees: more than one tick of 600 deg/s (1.2), less than two.
        let mut sensing = good_at(2048);
        for _ in 0..5 {
            assert_eq!((sensing.fault(), sensing.raw_mdeg()), (None, 0));
            sensing.step(2048 + 137, 1, &config());
        }
        assert_eq!(sensing.fault(), Some(SensorFault::Rate));
    }

    #[test]
    fn the_fastest_stick_is_accepted_even_with_a_reading_missing() {
        // 81 counts a tick are 593 deg/s.
        let mut sensing = good_at(1000);
        let mut counts = 1000;
        for n in 0..30 {
            counts += 81;
            sensing.step(if n == 10 { 0 } else { counts }, 1, &config());
        }
        assert!(sensing.good());
        assert_eq!(sensing.raw_mdeg(), config().mdeg(counts));
    }

    #[test]
    fn starting_on_a_wrong_reading_recovers() {
        let mut sensing = Sensing::NEW;
        sensing.step(3900, 1, &config());
        for _ in 0..8 {
            sensing.step(2048, 1, &config());
        }
        assert!(sensing.good());
        assert_eq!(sensing.mdeg(), 0);
    }

    #[test]
    fn wild_noise_is_bad_in_the_end() {
        let mut sensing = good_at(2048);
        for n in 0..40u16 {
            sensing.step(if n % 2 == 0 { 2048 } else { 3000 + n }, 1, &config());
        }
        assert_eq!(sensing.fault(), Some(SensorFault::Rate));
    }

    /// One millidegree a count, so that a stick's way in a tick, 1200 mdeg at 600 deg/s and 500 Hz,
    /// can be met exactly.
    fn fine() -> SensorConfig {
        let mut axis = AxisSettings::example();
        axis.sensor_zero_counts = 30_000;
        axis.sensor_span_counts = 60_000;
        axis.sensor_min_counts = 100;
        axis.sensor_max_counts = 65_000;
        SensorConfig::new(&axis, 500)
    }

    #[test]
    fn a_way_that_a_stick_just_makes_is_accepted() {
        // Counts of one reading after `elapsed_ticks` ticks, then whether it was accepted.
        let accepts = |readings: &[(u16, u32)]| {
            let mut sensing = Sensing::NEW;
            for _ in 0..6 {
                sensing.step(30_000, 1, &fine());
            }
            assert!(sensing.good());
            for (counts, elapsed_ticks) in readings {
                sensing.step(*counts, *elapsed_ticks, &fine());
            }
            let last = readings[readings.len() - 1].0;
            sensing.raw_mdeg() == i32::from(last) - 30_000
        };
        assert!(accepts(&[(31_200, 1)]) && !accepts(&[(31_201, 1)]));
        assert!(accepts(&[(28_800, 1)]) && !accepts(&[(28_799, 1)]));
        // Messages that were lost leave their ticks.
        assert!(accepts(&[(33_600, 3)]) && !accepts(&[(33_601, 3)]));
        // One reading is rejected: two ticks have passed, and never more count.
        assert!(accepts(&[(99, 1), (32_400, 1)]) && !accepts(&[(99, 1), (32_401, 1)]));
        let two = [(99, 1), (99, 1), (32_400, 1)];
        assert!(accepts(&two) && !accepts(&[two[0], two[1], (32_401, 1)]));
        // The ends of the valid readings are valid; beyond a way they are no angle of a stick.
        assert!(!accepts(&[(65_000, 1)]));
    }

    /// Readings that agree are a way apart at most: five of them in a row, 10 ms, make a sensor
    /// good.
    #[test]
    fn readings_agree_up_to_a_way() {
        let good_after = |by: u16| {
            let mut sensing = Sensing::NEW;
            for n in 0..6 {
                sensing.step(20_000 + n * by, 1, &fine());
            }
            (sensing.good(), sensing.fault())
        };
        assert_eq!(good_after(1_200), (true, None));
        assert_eq!(good_after(1_201), (false, Some(SensorFault::Rate)));
    }

    #[test]
    fn the_ends_of_the_valid_counts_are_valid() {
        for (counts, fault) in [
            (100, None),
            (65_000, None),
            (99, Some(SensorFault::Range)),
            (65_001, Some(SensorFault::Range)),
        ] {
            let mut sensing = Sensing::NEW;
            for _ in 0..6 {
                sensing.step(counts, 1, &fine());
            }
            assert_eq!(sensing.fault(), fault, "{counts}");
            assert_eq!(sensing.good(), fault.is_none(), "{counts}");
        }
    }
}

//! The motor supply: steady, or not.

/// Low readings in a row that switch the drives off. A dip shorter than a tick shows in two of
/// them, for a reading is the lowest since the one before.
const LOW_TICKS: u8 = 3;

/// Levels and time of the watch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct PowerLimits {
    /// Three readings in a row below it switch the drives off.
    pub(crate) min_mv: u16,
    /// A single reading below it does: the drivers may have lost their position.
    pub(crate) lost_mv: u16,
    /// How long the supply must be good before it counts as steady, ticks.
    pub(crate) steady_ticks: u32,
}

/// Watches the supply voltage.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Power {
    low: u8,
    good: u32,
    steady: bool,
    flagged: bool,
}

impl Power {
    /// Takes one reading.
    pub(crate) fn step(&mut self, supply_mv: u16, limits: PowerLimits) {
        if supply_mv < limits.min_mv {
            self.low = self.low.saturating_add(1);
            self.good = 0;
            if self.low >= LOW_TICKS || supply_mv < limits.lost_mv {
                self.steady = false;
                self.flagged = true;
            }
            return;
        }
        self.low = 0;
        self.good = self.good.saturating_add(1);
        if self.good >= limits.steady_ticks {
            self.steady = true;
            self.flagged = false;
        }
    }

    /// Whether the drives may be on.
    pub(crate) const fn steady(self) -> bool {
        self.steady
    }

    /// Whether it has been low and is not steady again yet.
    pub(crate) const fn low(self) -> bool {
        self.flagged
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: PowerLimits = PowerLimits {
        min_mv: 20_000,
        lost_mv: 12_000,
        steady_ticks: 5,
    };

    #[test]
    fn steady_after_its_time_and_gone_after_three_low_readings() {
        let mut power = Power::default();
        for n in 0..5 {
            assert!(!power.steady(), "{n}");
            power.step(20_000, LIMITS);
        }
        assert!(power.steady() && !power.low());
        power.step(19_999, LIMITS);
        power.step(19_999, LIMITS);
        assert!(power.steady(), "a dip shorter than a tick");
        power.step(20_000, LIMITS);
        power.step(19_999, LIMITS);
        power.step(19_999, LIMITS);
        assert!(power.steady());
        power.step(12_000, LIMITS);
        assert!(!power.steady() && power.low());
        for _ in 0..4 {
            power.step(24_000, LIMITS);
        }
        assert!(!power.steady() && power.low());
        power.step(24_000, LIMITS);
        assert!(power.steady() && !power.low());
    }

    #[test]
    fn one_reading_at_which_the_drivers_forget_is_enough() {
        let mut power = Power::default();
        for _ in 0..5 {
            power.step(24_000, LIMITS);
        }
        power.step(11_999, LIMITS);
        assert!(!power.steady() && power.low());
    }
}

//! The motor supply: steady, or not.

/// Low readings in a row that switch the drives off.
const LOW_TICKS: u8 = 2;

/// Watches the supply voltage.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Power {
    low: u8,
    good: u32,
    steady: bool,
    flagged: bool,
}

impl Power {
    /// Takes one reading; `steady_ticks` is how long it must be good before it counts as steady.
    pub(crate) fn step(&mut self, supply_mv: u16, min_mv: u16, steady_ticks: u32) {
        if supply_mv < min_mv {
            self.low = self.low.saturating_add(1);
            self.good = 0;
            if self.low >= LOW_TICKS {
                self.steady = false;
                self.flagged = true;
            }
            return;
        }
        self.low = 0;
        self.good = self.good.saturating_add(1);
        if self.good >= steady_ticks {
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

    #[test]
    fn steady_after_its_time_and_gone_after_two_low_readings() {
        let mut power = Power::default();
        for n in 0..5 {
            assert!(!power.steady(), "{n}");
            power.step(20_000, 20_000, 5);
        }
        assert!(power.steady() && !power.low());
        power.step(19_999, 20_000, 5);
        assert!(power.steady(), "one low reading is a glitch");
        power.step(20_000, 20_000, 5);
        power.step(19_999, 20_000, 5);
        assert!(power.steady());
        power.step(0, 20_000, 5);
        assert!(!power.steady() && power.low());
        for _ in 0..4 {
            power.step(24_000, 20_000, 5);
        }
        assert!(!power.steady() && power.low());
        power.step(24_000, 20_000, 5);
        assert!(power.steady() && !power.low());
    }
}

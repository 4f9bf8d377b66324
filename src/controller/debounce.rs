//! A switch contact made clean.

/// A debounced contact: a new level counts once the readings that show it, without a break, span
/// its time.
///
/// n + 1 readings span n ticks, so a closure shorter than the time never counts, however it falls
/// between the ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Debounced {
    closed: bool,
    /// Readings in a row of the other level.
    readings: u16,
}

/// Times for both directions, in ticks of an unbroken new level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct DebounceTicks {
    pub(crate) press: u16,
    pub(crate) let_go: u16,
}

impl Debounced {
    /// A contact that counts as `closed` until proved otherwise.
    pub(crate) const fn new(closed: bool) -> Self {
        Self {
            closed,
            readings: 0,
        }
    }

    /// Takes one raw level; returns whether the contact changed.
    pub(crate) fn step(&mut self, raw: bool, limits: DebounceTicks) -> bool {
        if raw == self.closed {
            self.readings = 0;
            return false;
        }
        let spanned = self.readings;
        self.readings = self.readings.saturating_add(1);
        let needed = if raw { limits.press } else { limits.let_go };
        if spanned < needed {
            return false;
        }
        self.readings = 0;
        self.closed = raw;
        true
    }

    /// Whether the contact counts as closed.
    pub(crate) const fn closed(self) -> bool {
        self.closed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 8 ms and 50 ms at 500 Hz.
    const LIMITS: DebounceTicks = DebounceTicks {
        press: 4,
        let_go: 25,
    };

    /// Plays alternating durations in milliseconds, starting closed; returns the changes as (ms,
    /// level).
    fn replay(durations_ms: &[u32]) -> Vec<(u32, bool)> {
        let mut contact = Debounced::new(false);
        let (mut now, mut level, mut changes) = (0, true, Vec::new());
        for duration in durations_ms {
            for _ in 0..duration / 2 {
                if contact.step(level, LIMITS) {
                    changes.push((now, contact.closed()));
                }
                now += 2;
            }
            level = !level;
        }
        changes
    }

    #[test]
    fn worst_published_switch_gives_one_press() {
        // Ganssle, "A guide to debouncing": 81 ms on, 42 ms off, then on (157 ms in all); the ticks
        // are even.
        assert_eq!(replay(&[82, 42, 400, 200]), [(8, true), (574, false)]);
    }

    #[test]
    fn worst_common_bounce_gives_one_press() {
        // Ganssle: 6.2 ms of bounce at worst on the ordinary switches.
        assert_eq!(replay(&[2, 4, 100, 60]), [(14, true), (156, false)]);
    }

    #[test]
    fn closures_shorter_than_the_time_do_nothing() {
        // 8 ms of readings span 6 ms: the worst bounce of Ganssle's ordinary switches must not
        // count by itself.
        assert_eq!(replay(&[8, 20, 8, 20, 6, 100]), []);
    }
}

//! A switch contact made clean.

/// A debounced contact: a new level counts after it has been read without a break for its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Debounced {
    closed: bool,
    ticks: u16,
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
        Self { closed, ticks: 0 }
    }

    /// Takes one raw level; returns whether the contact changed.
    pub(crate) fn step(&mut self, raw: bool, limits: DebounceTicks) -> bool {
        if raw == self.closed {
            self.ticks = 0;
            return false;
        }
        self.ticks = self.ticks.saturating_add(1);
        let needed = if raw { limits.press } else { limits.let_go };
        if self.ticks < needed {
            return false;
        }
        self.ticks = 0;
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

    /// Plays alternating durations in milliseconds, starting closed; returns the changes as (ms, level).
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
        // Ganssle, "A guide to debouncing": 81 ms on, 42 ms off, then on (157 ms in all); the ticks are even.
        assert_eq!(replay(&[82, 42, 400, 200]), [(6, true), (572, false)]);
    }

    #[test]
    fn worst_common_bounce_gives_one_press() {
        // Ganssle: 6.2 ms of bounce at worst on the ordinary switches.
        assert_eq!(replay(&[2, 4, 100, 60]), [(12, true), (154, false)]);
    }

    #[test]
    fn glitches_do_nothing() {
        assert_eq!(replay(&[6, 20, 6, 20, 6, 100]), []);
    }
}

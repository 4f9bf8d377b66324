//! Link faults of the loop in this process: which ticks never reach the controller.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

/// Loses ticks: all of them, or a seeded share.
pub(super) struct Loss {
    silent: bool,
    share: f64,
    random: Pcg32,
}

impl Loss {
    pub(super) fn new(seed: u64) -> Self {
        // A stream of its own, apart from the sensors'.
        Self {
            silent: false,
            share: 0.0,
            random: Pcg32::new(seed, 0x6c69_6e6b),
        }
    }

    pub(super) fn set_silent(&mut self, on: bool) {
        self.silent = on;
    }

    pub(super) fn set_share(&mut self, share: f64) {
        self.share = share;
    }

    /// Whether this tick is lost. Draws a number only while a share is set.
    pub(super) fn takes(&mut self) -> bool {
        if self.silent {
            return true;
        }
        self.share > 0.0 && f64::from(self.random.next_u32()) < self.share * 4_294_967_296.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_share_is_lost_and_the_seed_decides() {
        let lost = |seed| {
            let mut loss = Loss::new(seed);
            loss.set_share(0.2);
            (0..10_000).map(|_| loss.takes()).collect::<Vec<_>>()
        };
        let one = lost(1);
        assert_eq!(one, lost(1));
        assert_ne!(one, lost(2));
        let count = one.iter().filter(|taken| **taken).count() as f64;
        // Binomial with n = 10 000, p = 0.2: sigma 40; five of them.
        assert!((count - 2_000.0).abs() < 200.0, "{count}");
    }
}

//! Real time for a stick that is flown by hand.

use std::time::{Duration, Instant};

/// How far a flight may fall behind real time before it stops trying to catch up, s.
const LOST_S: f64 = 0.25;

/// How fast a flight goes.
#[derive(Clone, Debug)]
pub enum Pace {
    /// So many times real time.
    Real {
        /// Times real time.
        speed: f64,
    },
    /// As fast as it can: for tests.
    Free,
}

/// The wall clock of a flight.
#[derive(Debug)]
pub(super) struct Wall {
    pace: Pace,
    begun: Option<Instant>,
    /// Simulated time at `begun`, s.
    from_s: f64,
}

impl Wall {
    pub(super) fn new(pace: Pace) -> Self {
        Self {
            pace,
            begun: None,
            from_s: 0.0,
        }
    }

    /// How long to wait until `now_s` is due; zero if it is.
    pub(super) fn until(&mut self, now_s: f64) -> Duration {
        let Pace::Real { speed } = self.pace else {
            return Duration::ZERO;
        };
        let begun = *self.begun.get_or_insert_with(Instant::now);
        let ahead_s = (now_s - self.from_s) / speed - begun.elapsed().as_secs_f64();
        if ahead_s < -LOST_S {
            // The machine is too slow or slept: from here on it goes at its pace, it does not race.
            self.begun = Some(Instant::now());
            self.from_s = now_s;
        }
        Duration::from_secs_f64(ahead_s.max(0.0))
    }
}

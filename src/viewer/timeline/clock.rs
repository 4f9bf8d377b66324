//! The playback clock: which instant is shown. It knows no wall clock; whoever calls says how much
//! time went by.

use bevy::prelude::Resource;

/// Speeds that the keys go through, times real time.
pub const SPEEDS: [f64; 8] = [0.05, 0.1, 0.25, 0.5, 1.0, 1.5, 2.0, 4.0];

/// Which instant is shown, and how it goes on.
#[derive(Clone, Debug, PartialEq, Resource)]
pub struct Clock {
    at_s: f64,
    speed: f64,
    playing: bool,
    loop_s: Option<[f64; 2]>,
    /// What there is to be shown, s.
    head_s: f64,
    tick_s: f64,
    /// More is to come: at the head the clock waits instead of stopping.
    open: bool,
}

impl Clock {
    /// A clock at 0 that plays at `speed` times real time, 0.05 to 4, over ticks of `tick_s`.
    pub fn new(speed: f64, tick_s: f64) -> Self {
        Self {
            at_s: 0.0,
            speed: speed.clamp(SPEEDS[0], SPEEDS[SPEEDS.len() - 1]),
            playing: true,
            loop_s: None,
            head_s: 0.0,
            tick_s,
            open: true,
        }
    }

    /// The instant that is shown, s.
    pub fn at_s(&self) -> f64 {
        self.at_s
    }

    /// Times real time.
    pub fn speed(&self) -> f64 {
        self.speed
    }

    /// Whether it runs.
    pub fn is_playing(&self) -> bool {
        self.playing
    }

    /// The range that is played over and over, s.
    pub fn loop_s(&self) -> Option<[f64; 2]> {
        self.loop_s
    }

    /// How far there is something to be shown, s.
    pub fn head_s(&self) -> f64 {
        self.head_s
    }

    /// Says how far there is something to be shown, s, and whether more is to come.
    pub fn see(&mut self, head_s: f64, open: bool) {
        self.head_s = head_s.max(0.0);
        self.open = open;
        self.at_s = self.at_s.min(self.head_s);
    }

    /// Goes on by `elapsed_s` of real time.
    pub fn advance(&mut self, elapsed_s: f64) {
        if !self.playing || elapsed_s <= 0.0 {
            return;
        }
        let next_s = self.at_s + elapsed_s * self.speed;
        match self.loop_s {
            Some([from_s, to_s]) if next_s >= to_s && to_s > from_s => {
                let over_s = (next_s - from_s) % (to_s - from_s);
                self.at_s = (from_s + over_s).min(self.head_s);
            }
            _ => {
                self.at_s = next_s.min(self.head_s);
                if next_s >= self.head_s && !self.open {
                    self.playing = false;
                }
            }
        }
    }

    /// Plays if it was paused, pauses if it played; at the end it plays from the start.
    pub fn toggle(&mut self) {
        if !self.playing && self.loop_s.is_none() && self.at_s >= self.head_s && !self.open {
            self.at_s = 0.0;
        }
        self.playing = !self.playing;
    }

    /// Pauses.
    pub fn pause(&mut self) {
        self.playing = false;
    }

    /// Shows another instant; whether it plays stays as it is.
    pub fn jump(&mut self, to_s: f64) {
        if to_s.is_finite() {
            self.at_s = to_s.clamp(0.0, self.head_s);
        }
    }

    /// Pauses and goes by whole ticks, back if negative.
    pub fn step(&mut self, ticks: i32) {
        self.pause();
        let tick = ((self.at_s + 1e-9) / self.tick_s).floor() + f64::from(ticks);
        self.jump(tick * self.tick_s);
    }

    /// The next faster or slower of [`SPEEDS`].
    pub fn change_speed(&mut self, faster: bool) {
        let next = if faster {
            SPEEDS.iter().find(|speed| **speed > self.speed + 1e-9)
        } else {
            SPEEDS
                .iter()
                .rev()
                .find(|speed| **speed < self.speed - 1e-9)
        };
        if let Some(next) = next {
            self.speed = *next;
        }
    }

    /// Sets the speed, 0.05 to 4 times real time.
    pub fn set_speed(&mut self, speed: f64) {
        if speed.is_finite() {
            self.speed = speed.clamp(SPEEDS[0], SPEEDS[SPEEDS.len() - 1]);
        }
    }

    /// Plays the range over and over, `None` plays straight on. A range shorter than a tick is
    /// none.
    pub fn set_loop(&mut self, range_s: Option<[f64; 2]>) {
        self.loop_s = range_s
            .map(|[a, b]| [a.min(b).max(0.0), a.max(b)])
            .filter(|[from_s, to_s]| to_s - from_s >= self.tick_s);
        if let Some([from_s, to_s]) = self.loop_s
            && !(from_s..to_s).contains(&self.at_s)
        {
            self.jump(from_s);
        }
    }
}

//! What our own systems cost, and how fast frames come. For people only: nothing of it reaches a
//! trace.

use std::time::{Duration, Instant};

use bevy::prelude::Resource;

/// Measured while the view runs.
#[derive(Clone, Debug, Resource)]
pub struct Timing {
    begun: Instant,
    this_frame: Duration,
    /// Time in our own systems, summed and at worst, over all frames but the first few.
    pub own: Spent,
    /// From one frame to the next.
    pub frame: Spent,
    last: Option<Instant>,
    frames: u32,
    /// From `begun` to the end of the first frame, s.
    pub first_frame_s: Option<f64>,
    /// From `begun` to the end of the first frame that showed the trace, s.
    pub first_trace_s: Option<f64>,
}

/// A sum of durations.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spent {
    /// How many.
    pub count: u32,
    /// Sum, s.
    pub sum_s: f64,
    /// Longest, s.
    pub worst_s: f64,
}

/// Frames at the start that say nothing of the rest: shaders are compiled, fonts are drawn.
const WARM_UP: u32 = 5;

impl Timing {
    /// Counts from `begun`, the start of the program.
    pub fn since(begun: Instant) -> Self {
        Self {
            begun,
            this_frame: Duration::ZERO,
            own: Spent::default(),
            frame: Spent::default(),
            last: None,
            frames: 0,
            first_frame_s: None,
            first_trace_s: None,
        }
    }

    /// Adds time of one of our systems to this frame.
    pub fn spend(&mut self, since: Instant) {
        self.this_frame += since.elapsed();
    }

    /// Ends a frame; `shows` says that the trace was to be seen.
    pub fn end_frame(&mut self, shows: bool) {
        let now = Instant::now();
        let since_s = (now - self.begun).as_secs_f64();
        self.frames += 1;
        self.first_frame_s.get_or_insert(since_s);
        if shows {
            self.first_trace_s.get_or_insert(since_s);
        }
        if self.frames > WARM_UP {
            self.own.add(self.this_frame);
            if let Some(last) = self.last {
                self.frame.add(now - last);
            }
        }
        self.last = Some(now);
        self.this_frame = Duration::ZERO;
    }

    /// Seconds since the start of the program.
    pub fn elapsed_s(&self) -> f64 {
        self.begun.elapsed().as_secs_f64()
    }
}

impl Spent {
    fn add(&mut self, span: Duration) {
        self.count += 1;
        self.sum_s += span.as_secs_f64();
        self.worst_s = self.worst_s.max(span.as_secs_f64());
    }

    /// Mean, s; 0 without any.
    pub fn mean_s(&self) -> f64 {
        self.sum_s / f64::from(self.count.max(1))
    }
}

//! The step generator: a phase accumulator that a timer interrupt runs at a fixed rate.
//!
//! The twin runs this very code, so that twin and board emit the same pulses.

/// What one generator period asks of the driver's step and direction lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pulse {
    /// No step.
    None,
    /// One microstep forward (trim angle increases).
    Forward,
    /// One microstep backward.
    Backward,
}

/// A phase accumulator: each period adds the rate to a 32-bit fraction, a carry is a step.
///
/// A rate that is not refreshed by [`StepGenerator::refresh`] for `timeout_periods` periods falls
/// to zero, so that a controller that hangs cannot leave a motor running.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StepGenerator {
    fraction: u32,
    rate: i32,
    timeout_periods: u16,
    left: u16,
}

impl StepGenerator {
    /// A generator at rest whose rate lasts `timeout_periods` periods from each refresh.
    pub const fn new(timeout_periods: u16) -> Self {
        Self {
            fraction: 0,
            rate: 0,
            timeout_periods,
            left: 0,
        }
    }

    /// Sets the rate (microsteps per period times 2^32) and starts the timeout anew.
    pub fn refresh(&mut self, rate: i32) {
        self.rate = rate;
        self.left = self.timeout_periods;
    }

    /// Clears fraction and rate, as the driver's reset line does with its index.
    pub fn home(&mut self) {
        self.fraction = 0;
        self.rate = 0;
    }

    /// The rate that was set last, microsteps a period times 2^32; it moves nothing once it has run
    /// out.
    pub const fn rate(&self) -> i32 {
        self.rate
    }

    /// The fraction of a microstep that has gathered since the last pulse, times 2^32.
    pub const fn fraction(&self) -> u32 {
        self.fraction
    }

    /// One timer period.
    pub fn period(&mut self) -> Pulse {
        if self.left == 0 {
            return Pulse::None;
        }
        self.left -= 1;
        let (steps, fraction) = steps_over(self.fraction, self.rate, 1);
        self.fraction = fraction;
        match steps {
            0 => Pulse::None,
            s if s > 0 => Pulse::Forward,
            _ => Pulse::Backward,
        }
    }
}

/// Whole microsteps emitted over `periods` periods from `fraction` at `rate`, and the fraction
/// left.
///
/// The controller counts its position with this, in step with the generator.
/// Agrees with `periods` calls of [`StepGenerator::period`] at a constant rate.
pub fn steps_over(fraction: u32, rate: i32, periods: u16) -> (i32, u32) {
    let sum = i64::from(fraction) + i64::from(rate) * i64::from(periods);
    ((sum >> 32) as i32, sum as u32)
}

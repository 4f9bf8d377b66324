//! The seam at a board's pins: levels and voltages over time go in, time-stamped edges come out.
//!
//! [`PinTarget`] is a program that is run at its pins, whatever runs it. [`PinLoop`] lies between it
//! and the twin: it makes voltages of angles and levels of switches, and driver inputs of edges. In
//! each stretch of at most `coupling_us` the program is run first, with the inputs of the stretch's
//! start (switches: of each instant), and then the twin, with the edges at their instants: an input
//! is older than the twin by at most a stretch, an edge acts within half a stick step of its
//! instant.

mod lines;
mod looped;
#[cfg(test)]
mod tests;

use crate::firmware::{FirmwareFile, Pin};

use super::error::TargetError;

pub(super) use looped::PinLoop;
pub use looped::PinSeen;

/// A program that is run at its pins.
pub trait PinTarget {
    /// How the board is wired.
    fn firmware(&self) -> &FirmwareFile;

    /// Runs to `until_ns` after the start of the run, with these changes of the inputs in order of
    /// time; appends what the program does at its pins, in order of time.
    ///
    /// # Errors
    /// The program has ended, or cannot be run.
    fn run(
        &mut self,
        until_ns: u64,
        inputs: &[InputChange],
        events: &mut Vec<PinEvent>,
    ) -> Result<(), TargetError>;

    /// The board has had no supply, or its reset line was pulled: the program starts anew at this
    /// instant, with its EEPROM as it was.
    ///
    /// # Errors
    /// It cannot be started.
    fn restart(&mut self, at_ns: u64) -> Result<(), TargetError>;
}

/// A change of what stands at an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputChange {
    /// When, ns after the start of the run.
    pub at_ns: u64,
    /// What.
    pub input: PinInput,
}

/// What stands at an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PinInput {
    /// A level at a pin.
    Digital(Pin, Level),
    /// A voltage at an analog channel, µV.
    Analog(u8, u32),
}

/// A level from outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// Ground.
    Low,
    /// The chip's supply.
    High,
    /// Nobody drives the pin.
    Floating,
}

/// Something that a program did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PinEvent {
    /// When, ns after the start of the run.
    pub at_ns: u64,
    /// What.
    pub change: PinChange,
}

/// What a program did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PinChange {
    /// It drives a pin otherwise.
    Output(Pin, Drive),
    /// A turn of its loop begins.
    Loop,
    /// The chip has reset itself: its watchdog, or its supply.
    Reset,
}

/// What a chip does to a pin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drive {
    /// It drives it to ground.
    Low,
    /// It drives it to its supply.
    High,
    /// It leaves it alone.
    Floating,
    /// It pulls it up through its own resistor.
    PulledUp,
}

/// A line that a program wrote to a serial port.
#[derive(Clone, Debug, PartialEq)]
pub struct SerialLine {
    /// When it ended, s.
    pub at_s: f64,
    /// The text, without its end.
    pub text: String,
}

//! Names of signals, and those that are usually shown.

use std::borrow::Cow;

/// Name of a signal.
pub type SignalName = Cow<'static, str>;

/// Signals that are plotted unless others are asked for; those that the trace has.
pub const USUAL: [&str; 8] = [
    "pitch.stick_deg",
    "pitch.trim_deg",
    "pitch.reference_deg",
    "roll.stick_deg",
    "roll.trim_deg",
    "roll.reference_deg",
    "pitch.grip_force_n",
    "roll.grip_force_n",
];

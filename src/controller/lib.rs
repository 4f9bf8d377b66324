//! The controller of a force-feel cyclic stick: what is flashed.
//!
//! `no_std`, no heap, no float, no panic path. Time and inputs are arguments;
//! the crate knows neither board nor twin.
#![cfg_attr(not(test), no_std)]

mod io;
mod stepgen;

pub use io::{AXES, AxisOutputs, CurrentLevel, Fault, Faults, Inputs, Outputs, PITCH, ROLL, State, Switches};
pub use stepgen::{Pulse, StepGenerator, steps_over};

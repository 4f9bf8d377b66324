//! The controller of a force-feel cyclic stick: what is flashed.
//!
//! `no_std`, no heap, no float, no panic path. Time and inputs are arguments;
//! the crate knows neither board nor twin.
#![cfg_attr(not(test), no_std)]
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::unreachable
    )
)]

mod axis;
mod controller;
mod debounce;
mod io;
mod motion;
mod panel;
mod place;
mod power;
mod sensing;
mod settings;
mod settings_check;
mod stepgen;
mod units;

#[cfg(test)]
mod check_faults;
#[cfg(test)]
mod check_pilot;
#[cfg(test)]
mod check_properties;
#[cfg(test)]
mod check_start;
#[cfg(test)]
mod fixture;

pub use controller::Controller;
pub use io::{
    AXES, AxisOutputs, CurrentLevel, Fault, Faults, Inputs, Outputs, PITCH, ROLL, State, Switches,
};
pub use settings::{AxisSettings, Settings};
pub use settings_check::SettingsError;
pub use stepgen::{Pulse, StepGenerator, steps_over};

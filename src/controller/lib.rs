//! The controller of a force-feel cyclic stick: what is flashed.
//!
//! `no_std`, no heap, no float, no panic path. Time and inputs are arguments;
//! the crate knows neither board nor twin.
//!
//! ```
//! use trimproof_controller::{Controller, Settings};
//! use trimproof_io::{Inputs, State};
//!
//! let mut controller = Controller::new(Settings::example()).unwrap();
//! // No supply: limp, and the drives are off.
//! let outputs = controller.tick(&Inputs { sensor_counts: [2048; 2], ..Inputs::default() });
//! assert_eq!(outputs.telemetry.state, State::Limp);
//! assert!(!outputs.command.axis[0].enable);
//! ```
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
mod motion;
mod panel;
mod power;
mod sensing;
mod settings;
mod settings_check;
mod step_loss;
mod units;

#[cfg(test)]
mod tests;

pub use controller::Controller;
pub use settings::{AxisSettings, Settings};
pub use settings_check::SettingsError;

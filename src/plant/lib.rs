//! The physics twin of a force-feel stick: rigs, gimbal, cartridges, stepper drives, contacts, pilot hand.
//!
//! No files, no ports, no clock: texts and times are arguments.

mod fault;
mod file_error;
mod locate;
pub mod rig;
mod shapes;
mod spring;

pub use fault::{AxisName, Coil, FaultKind, SwitchName, check_bounce};
pub use file_error::{FileError, nearest};
pub use locate::locate;
pub use rig::Rig;
pub use shapes::{Along, Form, Inertia, Solid};
pub use spring::CoilSpring;

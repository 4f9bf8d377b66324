//! The physics twin of a force-feel stick: rigs, gimbal, cartridges, stepper drives, contacts, pilot hand.
//!
//! No files, no ports, no clock: texts and times are arguments.

mod abort;
mod account;
mod advance;
mod assembly;
#[cfg(test)]
mod checks;
pub mod contact;
pub mod driver;
pub mod dynamics;
mod fault;
mod fault_effect;
mod guard;
pub mod hand;
mod params;
mod rest;
pub mod rig;
mod scheme;
mod sensor;
mod shapes;
mod spring;
mod standstill;
mod state_bits;
pub mod supply;
mod switch;
mod trains;
mod twin;

pub use abort::{AbortReason, Quantity, TwinAbort, TwinPart};
pub use fault::{AxisName, Coil, FaultKind, SwitchName, check_bounce};
pub use hand::{Hand, HandFeel, PathShape};
pub use params::{gimbal_params, train_params};
pub use rig::{Rig, StartConflict};
pub use scheme::{
    Numerics, SHORTEST_STICK_STEP_S, SHORTEST_TRAIN_STEP_S, Scheme, StepBound, StepChoice,
};
pub use sensor::{AngleSensor, SensorFaults};
pub use shapes::{Along, Form, Inertia, Solid};
pub use spring::CoilSpring;
pub use switch::{Switch, SwitchFaults};
pub use twin::{AxisReading, Plant, Readings, StartPose};

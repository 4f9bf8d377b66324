//! The physics twin of a force-feel stick: rigs, gimbal, cartridges, stepper drives, contacts,
//! pilot hand.
//!
//! No files, no ports, no clock: texts and times are arguments.
//!
//! ```
//! use trimproof_plant::{Numerics, Plant, Rig, StartPose};
//!
//! let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios/rigs/kittiwake.toml"));
//! let rig = Rig::parse(text).unwrap();
//! // Five degrees aft, no supply: the limp stick stays where its friction holds it.
//! let start = StartPose { angle_rad: [5_f64.to_radians(), 0.0], ..StartPose::default() };
//! let mut plant = Plant::new(&rig, 1, Numerics::default(), start);
//! for _ in 0..500 {
//!     plant.advance().unwrap();
//! }
//! let stick_deg = plant.readings().axis[0].stick_rad.to_degrees();
//! assert!((stick_deg - 5.0).abs() < 0.5, "{stick_deg}");
//! ```

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
mod lines;
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
pub use lines::{DriverEdge, DriverInput};
pub use params::{gimbal_params, train_params};
pub use rig::{Rig, StartConflict};
pub use scheme::{
    Numerics, SHORTEST_STICK_STEP_S, SHORTEST_TRAIN_STEP_S, Scheme, StepBound, StepChoice,
};
pub use sensor::{AngleSensor, SensorFaults};
pub use shapes::{Along, Inertia, Solid, SolidForm};
pub use spring::CoilSpring;
pub use switch::{Switch, SwitchFaults};
pub use twin::{AxisReading, Plant, Readings, StartPose};

//! The equations of motion, each in a file of its own, in radians, metres, newtons and amperes.
//!
//! Everything here is plain arithmetic on `f64` with `libm` for transcendentals, so that the same
//! inputs give the same bits on any machine.

mod cartridge;
mod friction;
mod gimbal;
mod pose;
mod train;
mod turn;
mod winding;

pub(crate) use cartridge::BIND_STIFFENING;
pub use cartridge::{CartridgeParams, PRELOAD_RAMP_RAD};
pub use friction::{DryFriction, Held};
pub use gimbal::{GimbalParams, GimbalState, GripPull};
pub(crate) use gimbal::{cut_to, invert};
pub use pose::{Pose, PoseAnchor, dot};
pub(crate) use train::{CURVE, Reciprocals, Substep, damper_weight};
pub use train::{StickPath, TrainDrive, TrainLoad, TrainParams, TrainState};
pub use turn::Anchor;
pub use winding::{Phase, WindingParams};

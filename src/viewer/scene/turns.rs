//! Turns of the stick in the scene: pitch is right-handed about +x (top aft, towards the viewer),
//! roll about -z (top right). The drives stand in a frame of their own, whose x axis is the axis
//! that they drive.

use bevy::math::Quat;

/// Turn of the stick at a pitch and a roll, degrees.
pub(super) fn turn(pitch_deg: f64, roll_deg: f64) -> Quat {
    pitch(pitch_deg) * roll(roll_deg)
}

/// Turn about the pitch axis, degrees.
pub(super) fn pitch(deg: f64) -> Quat {
    Quat::from_rotation_x(deg.to_radians() as f32)
}

/// Turn about the roll axis, degrees.
pub(super) fn roll(deg: f64) -> Quat {
    Quat::from_rotation_z(-deg.to_radians() as f32)
}

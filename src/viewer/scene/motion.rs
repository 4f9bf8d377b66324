//! From an instant of the trace to the place of every part, as plain functions.

use bevy::math::{Quat, Vec3};
use bevy::transform::components::Transform;
use trimproof_io::{PITCH, ROLL};
use trimproof_plant::Rig;

use super::turns::{pitch, roll, turn};
use super::{Layout, Part};
use crate::timeline::Instant;

/// Forces below this have no arrow, N.
const LEAST_N: f32 = 0.05;
/// Length of the arrow, m/N, and the shortest and longest in shares of the grip's height.
const ARROW_M_PER_N: f32 = 0.007;
const ARROW_SHARES: [f32; 2] = [0.14, 0.6];
/// So near to the angle at which a pin is met a contact is that pin's: beside obstacles, and where
/// there is nothing else to touch. The thickness of tube and pin is not in that angle.
const STOP_WITHIN_DEG: f64 = 0.15;
const STOP_ALONE_DEG: f64 = 3.0;
/// Contact forces below this are none, N.
const TOUCH_N: f64 = 1e-6;
/// How far a pressed switch goes in, m.
const PRESSED_M: f32 = 0.0025;

/// The force of the hand as an arrow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrow {
    /// Where it begins: the grip.
    pub from: Vec3,
    /// Direction.
    pub way: Vec3,
    /// Length of the whole arrow, m.
    pub length_m: f32,
    /// Size of the force, N.
    pub force_n: f32,
}

impl Arrow {
    /// Where its point is.
    pub fn tip(&self) -> Vec3 {
        self.from + self.length_m * self.way
    }
}

/// Direction from the pivot along the stick at a pitch and a roll, degrees.
pub fn toward([pitch_deg, roll_deg]: [f64; 2]) -> Vec3 {
    turn(pitch_deg, roll_deg) * Vec3::Y
}

/// Place of the grip's reference point at a pitch and a roll, degrees.
pub fn grip_at(layout: &Layout, angles_deg: [f64; 2]) -> Vec3 {
    layout.grip_m * toward(angles_deg)
}

/// The arrow of the hand's force; `None` while there is next to none.
pub fn arrow(instant: &Instant, layout: &Layout) -> Option<Arrow> {
    let [pitch_deg, roll_deg] = instant.stick_deg();
    let along = [
        pitch(pitch_deg) * Vec3::Z,
        turn(pitch_deg, roll_deg) * Vec3::X,
    ];
    let [aft_n, right_n] = [PITCH, ROLL].map(|axis| instant.axis[axis].grip_force_n as f32);
    let force = aft_n * along[0] + right_n * along[1];
    let force_n = force.length();
    (force_n >= LEAST_N).then(|| Arrow {
        // From the skin of the grip, where it can be seen.
        from: grip_at(layout, [pitch_deg, roll_deg]) + layout.grip_radius_m * force / force_n,
        way: force / force_n,
        length_m: (ARROW_M_PER_N * force_n).clamp(
            ARROW_SHARES[0] * layout.grip_m,
            ARROW_SHARES[1] * layout.grip_m,
        ),
        force_n,
    })
}

/// What touches on a rig: see [`lit`].
pub fn touched(instant: &Instant, rig: &Rig) -> ([bool; 4], bool) {
    let stops_deg = [&rig.pitch, &rig.roll].map(|axis| [axis.stops.min_deg, axis.stops.max_deg]);
    lit(instant, stops_deg, !rig.obstacle.is_empty())
}

/// Which pins touch, in the order of [`Layout::pins`], and whether an obstacle does.
///
/// The trace has one force for all contacts of an axis. A pin pushes away from itself and is met at
/// the stop's angle; a contact short of that is an obstacle's, if the rig has any.
pub(super) fn lit(
    instant: &Instant,
    stops_deg: [[f64; 2]; 2],
    has_obstacles: bool,
) -> ([bool; 4], bool) {
    let within_deg = if has_obstacles {
        STOP_WITHIN_DEG
    } else {
        STOP_ALONE_DEG
    };
    let mut pins = [false; 4];
    let [pitch_deg, _] = instant.stick_deg();
    // The pins stand still: with pitch out of the middle the tube is lower where it meets a roll
    // pin, and meets it earlier.
    let lower = libm::cos(pitch_deg.to_radians());
    let met_deg = |stop_deg: f64| libm::atan(libm::tan(stop_deg.to_radians()) * lower).to_degrees();
    for axis in [PITCH, ROLL] {
        let of = &instant.axis[axis];
        let mut ends_deg = stops_deg[axis];
        if axis == ROLL {
            ends_deg = ends_deg.map(met_deg);
        }
        let [low_deg, high_deg] = ends_deg;
        pins[2 * axis] = of.stop_force_n > TOUCH_N && of.stick_deg < low_deg + within_deg;
        pins[2 * axis + 1] = of.stop_force_n < -TOUCH_N && of.stick_deg > high_deg - within_deg;
    }
    (pins, has_obstacles && instant.contact && pins == [false; 4])
}

/// Where a part is, in its parent's frame; `None` while it is not to be seen.
pub fn placed(part: Part, instant: &Instant, layout: &Layout) -> Option<Transform> {
    let about_x =
        |deg: f64| Transform::from_rotation(Quat::from_rotation_x(deg.to_radians() as f32));
    let axis = |index: usize| &instant.axis[index];
    Some(match part {
        Part::Frame => Transform::from_rotation(pitch(axis(PITCH).stick_deg)),
        Part::Yoke => Transform::from_rotation(roll(axis(ROLL).stick_deg)),
        Part::GhostFrame => Transform::from_rotation(pitch(axis(PITCH).reference_deg?)),
        Part::GhostYoke => Transform::from_rotation(roll(axis(ROLL).reference_deg?)),
        Part::Lever(index) => about_x(axis(index).stick_deg),
        Part::TrimShaft(index) => about_x(axis(index).trim_deg),
        Part::Pinion(index) => pinion(index, instant, layout),
        Part::Spring(index) => {
            let cartridge = &layout.axis[index].cartridge;
            let stroke = cartridge.stroke_m(deflection_rad(instant, index));
            Transform::from_xyz(0.0, 0.0, -0.5 * stroke).with_scale(Vec3::new(
                1.0,
                1.0,
                (cartridge.length_m - stroke.abs()) / cartridge.length_m,
            ))
        }
        Part::Washer(index, end) => {
            let cartridge = &layout.axis[index].cartridge;
            let stroke = cartridge.stroke_m(deflection_rad(instant, index));
            let half = 0.5 * cartridge.length_m;
            let z = if end == 0 {
                half - stroke.max(0.0)
            } else {
                -half - stroke.min(0.0)
            };
            Transform::from_xyz(0.0, 0.0, z)
        }
        Part::Ring => {
            if !instant.gripping {
                return None;
            }
            Transform::from_xyz(0.0, layout.grip_m, 0.0)
        }
        Part::ArrowShaft => {
            let arrow = arrow(instant, layout)?;
            Transform::from_translation(arrow.from)
                .with_rotation(Quat::from_rotation_arc(Vec3::Y, arrow.way))
                .with_scale(Vec3::new(1.0, (arrow.length_m - HEAD_M).max(0.001), 1.0))
        }
        Part::ArrowHead => {
            let arrow = arrow(instant, layout)?;
            Transform::from_translation(arrow.tip() - HEAD_M * arrow.way)
                .with_rotation(Quat::from_rotation_arc(Vec3::Y, arrow.way))
        }
        Part::Release => pushed(release_at(layout), Vec3::NEG_Z, instant.release),
        Part::Hat(index) => {
            let (place, inward) = hat_at(layout, index);
            pushed(place, inward, instant.hat[index])
        }
        Part::ForceTrim => {
            let deg = if instant.force_trim { -28.0_f32 } else { 28.0 };
            Transform::from_rotation(Quat::from_rotation_x(deg.to_radians()))
        }
    })
}

/// Length of the arrow's head, m.
pub(super) const HEAD_M: f32 = 0.022;

/// Place of the trim release, in the yoke's frame: under the thumb, on the pilot's side of the
/// grip.
pub(super) fn release_at(layout: &Layout) -> Vec3 {
    Vec3::new(
        -0.45 * layout.grip_radius_m,
        layout.grip_m + 0.30 * layout.grip_length_m,
        0.90 * layout.grip_radius_m,
    )
}

/// Place of a button of the hat and the way in which it goes in: on the head of the grip, towards
/// the pilot.
pub(super) fn hat_at(layout: &Layout, index: usize) -> (Vec3, Vec3) {
    let middle = Vec3::new(
        0.0,
        layout.grip_m + 0.5 * layout.grip_length_m + 0.90 * layout.grip_radius_m,
        0.10 * layout.grip_radius_m,
    );
    let off = 0.42 * layout.grip_radius_m;
    let way = [Vec3::NEG_Z, Vec3::Z, Vec3::NEG_X, Vec3::X][index.min(3)];
    (middle + off * way, Vec3::NEG_Y)
}

fn pushed(place: Vec3, inward: Vec3, closed: bool) -> Transform {
    Transform::from_translation(if closed {
        place + PRESSED_M * inward
    } else {
        place
    })
}

fn deflection_rad(instant: &Instant, index: usize) -> f32 {
    let axis = &instant.axis[index];
    (axis.stick_deg - axis.trim_deg).to_radians() as f32
}

/// The pinion turns against the gear; where it sits in the play shows on its flanks, as wide as the
/// play is drawn.
fn pinion(index: usize, instant: &Instant, layout: &Layout) -> Transform {
    let axis = &layout.axis[index];
    let at = &instant.axis[index];
    let trim_rad = at.trim_deg.to_radians() as f32;
    let in_play_rad = at.in_play.unwrap_or(0.0) as f32 * axis.play_half_m() / axis.motor_radius_m;
    let turned = -(axis.ratio * trim_rad + in_play_rad);
    Transform::from_xyz(0.0, 0.0, axis.apart_m())
        .with_rotation(Quat::from_rotation_x(turned % std::f32::consts::TAU))
}

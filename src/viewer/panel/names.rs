//! Names in the scene: the pilot's directions on the plate, and the motors.

use bevy::math::Vec3;
use bevy_egui::egui::{Align2, Pos2, Rect, Vec2, vec2};
use trimproof_io::{PITCH, ROLL};

use super::labels::Labels;
use super::projection::project;
use crate::camera::Orbit;
use crate::scene::Layout;
use crate::timeline::Instant;

/// From the plate's edge to the middle of a direction's name, m: least, most, and the steps in
/// which it goes out of the way.
const BEYOND_M: f32 = 0.035;
const FARTHEST_M: f32 = 0.30;
const STEP_M: f32 = 0.015;
/// A pair of directions that is seen shorter than this share of the other is looked along: its
/// names would stand on each other.
const LEAST_SHARE: f32 = 0.35;

/// Names the directions as the pilot has them: fore, aft, left, right.
pub(super) fn directions(labels: &mut Labels<'_>, orbit: &Orbit, scene: Rect, layout: &Layout) {
    let plate = layout.plate();
    let down = -layout.pivot_m * Vec3::Y;
    let pairs = [
        [
            ("fore", Vec3::NEG_Z, plate.fore_m),
            ("aft", Vec3::Z, plate.aft_m),
        ],
        [
            ("left", Vec3::NEG_X, plate.left_m),
            ("right", Vec3::X, plate.right_m),
        ],
    ];
    let seen = |point: Vec3| project(orbit, scene, point);
    // How long a metre is along each pair, as it is seen.
    let lengths = [Vec3::Z, Vec3::X].map(|way| {
        let ends = [seen(down - 0.1 * way), seen(down + 0.1 * way)];
        match ends {
            [Some(from), Some(to)] => (to - from).length(),
            _ => 0.0,
        }
    });
    let longest = lengths[0].max(lengths[1]);
    for (pair, length) in pairs.into_iter().zip(lengths) {
        if length < LEAST_SHARE * longest {
            continue;
        }
        for (name, way, edge_m) in pair {
            let at = |beyond_m: f32| seen(down + (edge_m + beyond_m) * way);
            let steps = ((FARTHEST_M - BEYOND_M) / STEP_M) as usize;
            // The first place, going outward, where it hides nothing.
            let free = (0..=steps)
                .filter_map(|step| at(BEYOND_M + STEP_M * step as f32))
                .find(|place| labels.is_free(*place, Align2::CENTER_CENTER, name));
            if let Some(place) = free.or(at(BEYOND_M)) {
                labels.put(place, Align2::CENTER_CENTER, name);
            }
        }
    }
}

/// Names the motors, each on the side of its motor that is away from the stick.
pub(super) fn motors(
    labels: &mut Labels<'_>,
    orbit: &Orbit,
    scene: Rect,
    layout: &Layout,
    instant: &Instant,
) {
    let seen = |point: Vec3| project(orbit, scene, point);
    let Some(middle) = seen(Vec3::ZERO) else {
        return;
    };
    let up = orbit.transform().up().as_vec3();
    let found = [(PITCH, "pitch motor"), (ROLL, "roll motor")].map(|(axis, name)| {
        let [pitch_deg, _] = instant.stick_deg();
        let at = layout.motor_at(axis, pitch_deg);
        let [edge_m, length_m] = layout.axis[axis].motor_m;
        // Half of its diagonal: clear of it from every side.
        let half_m = 0.5 * (2.0 * edge_m * edge_m + length_m * length_m).sqrt();
        let (place, edge) = (seen(at)?, seen(at + half_m * up)?);
        Some((name, place, (edge - place).length()))
    });
    for (_, place, half) in found.iter().flatten() {
        // Most of a motor is within three quarters of that.
        labels.keep_clear(Rect::from_center_size(*place, Vec2::splat(1.5 * half)));
    }
    for (name, place, half) in found.into_iter().flatten() {
        let (anchor, align) = beside(place, middle, half);
        labels.put(anchor, align, name);
    }
}

/// Where a name stands beside something so large at `place`: left or right of it, whichever is away
/// from `middle`.
pub(super) fn beside(place: Pos2, middle: Pos2, half: f32) -> (Pos2, Align2) {
    if place.x <= middle.x {
        (place - vec2(half + 4.0, 0.0), Align2::RIGHT_CENTER)
    } else {
        (place + vec2(half + 4.0, 0.0), Align2::LEFT_CENTER)
    }
}

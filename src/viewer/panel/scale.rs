//! The angle scales over the scene: for each axis that moves an arc above the grip with degrees,
//! its stops and soft limits, where the stick is, where it is trimmed, and how far the stick goes
//! in the whole trace. Nothing is drawn larger than it is.

use bevy::math::Vec3;
use bevy_egui::egui::{Align2, Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, vec2};
use trimproof_harness::card::text;
use trimproof_io::{PITCH, ROLL};

use super::labels::Labels;
use super::projection::project;
use crate::camera::Orbit;
use crate::look::{colour, signal_colour};
use crate::scene::{Layout, toward};
use crate::timeline::{Instant, Timeline};

/// A scale whose plane is turned less than this out of the line of sight is seen too flat to be
/// read: the sine of the angle.
const LEAST_OPEN: f32 = 0.2;
/// Lengths of the marks of 5 degrees, 10 degrees, soft limits, zero and stops, logical px.
const FIVE: f32 = 4.0;
const TEN: f32 = 7.0;
const SOFT: f32 = 9.0;
const ZERO: f32 = 10.0;
const STOP: f32 = 11.0;
/// From the arc to the middle of a number, logical px.
const NUMBER: f32 = 19.0;
/// Height and half width of a pointer, logical px.
const POINTER: [f32; 2] = [10.0, 5.0];

/// The scale of an axis.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct AngleScale {
    axis: usize,
    /// Pitch of the frame, in which the roll scale stands, deg.
    pitch_deg: f64,
    radius_m: f32,
    stops_deg: [f64; 2],
    /// Soft limits of the controller, if the rig has its settings, deg.
    soft_deg: Option<[f64; 2]>,
    /// Least and greatest angle of the stick in the trace, deg.
    reach_deg: [f64; 2],
    stick_deg: f64,
    reference_deg: Option<f64>,
    /// Marks and numbers point away from the grip; else towards it.
    is_outward: bool,
}

/// The scales of the axes that move in the trace, pitch first.
pub(super) fn scales(timeline: &Timeline, layout: &Layout, instant: &Instant) -> Vec<AngleScale> {
    let moves = timeline.travel.moves();
    let is_alone = moves != [true, true];
    let of = |axis: usize| {
        let settings = timeline.rig.axis_settings(axis);
        let stops = &timeline.rig.axis(axis).stops;
        let at = &instant.axis[axis];
        AngleScale {
            axis,
            pitch_deg: instant.axis[PITCH].stick_deg,
            radius_m: layout.scale_m(if is_alone { 0 } else { axis }),
            stops_deg: [stops.min_deg, stops.max_deg],
            soft_deg: settings.map(|settings| {
                [settings.soft_min_mdeg, settings.soft_max_mdeg]
                    .map(|mdeg| f64::from(mdeg) / 1000.0)
            }),
            reach_deg: timeline.travel.stick_deg(axis).unwrap_or([at.stick_deg; 2]),
            stick_deg: at.stick_deg,
            reference_deg: at.reference_deg,
            is_outward: is_alone || axis == ROLL,
        }
    };
    [PITCH, ROLL]
        .into_iter()
        .filter(|axis| moves[*axis])
        .map(of)
        .collect()
}

impl AngleScale {
    /// Name of the axis.
    fn name(&self) -> &'static str {
        ["pitch", "roll"][self.axis]
    }

    /// Where an angle is on the arc, in the scene.
    pub fn at(&self, deg: f64) -> Vec3 {
        let angles_deg = if self.axis == PITCH {
            [deg, 0.0]
        } else {
            [self.pitch_deg, deg]
        };
        self.radius_m * toward(angles_deg)
    }

    /// Sine of the angle between the plane of the scale and the line of sight: 0 is edge on.
    fn openness(&self, orbit: &Orbit) -> f32 {
        let normal = self.at(-45.0).cross(self.at(45.0)).normalize_or_zero();
        let sight = self.at(0.0) - orbit.transform().translation;
        normal.dot(sight.normalize_or_zero()).abs()
    }

    /// What the stick's angle is, in words.
    pub fn reading(&self) -> String {
        format!("{} {}\u{b0}", self.name(), signed(self.stick_deg, 2))
    }

    /// Numbers beside the arc, the most important first: stops, zero, soft limits, tens.
    fn numbers_deg(&self) -> Vec<f64> {
        let [low_deg, high_deg] = self.stops_deg;
        let tens = marks_deg(self.stops_deg, 10.0);
        let mut all = vec![low_deg, high_deg, 0.0];
        all.extend(self.soft_deg.into_iter().flatten());
        all.extend(tens);
        all
    }
}

/// Multiples of `step_deg` between two angles.
fn marks_deg([low_deg, high_deg]: [f64; 2], step_deg: f64) -> Vec<f64> {
    let first = (low_deg / step_deg).ceil();
    // A few dozen at most: stops are within 90 degrees.
    let count = ((high_deg / step_deg).floor() - first).clamp(-1.0, 180.0) + 1.0;
    (0..count as usize)
        .map(|index| (first + index as f64) * step_deg)
        .collect()
}

/// A number with its sign and so many decimals; zero has none.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = text::fixed(value, decimals);
    let is_zero = text
        .bytes()
        .all(|byte| !byte.is_ascii_digit() || byte == b'0');
    if is_zero || text.starts_with('-') {
        text
    } else {
        format!("+{text}")
    }
}

/// Draws a scale, with its reading at the end of the arc that is seen farther left (pitch) or right
/// (roll).
pub(super) fn show(
    scale: &AngleScale,
    painter: &Painter,
    labels: &mut Labels<'_>,
    orbit: &Orbit,
    scene: Rect,
) {
    let place = |deg: f64| project(orbit, scene, scale.at(deg));
    // Of a view that is close to something else the scale is no part.
    let in_sight = |deg: f64| place(deg).is_some_and(|place| scene.contains(place));
    if scale.openness(orbit) < LEAST_OPEN || !in_sight(scale.stick_deg) {
        return;
    }
    let Some(pivot) = project(orbit, scene, Vec3::ZERO) else {
        return;
    };
    let arc = |[from_deg, to_deg]: [f64; 2]| -> Vec<Pos2> {
        (0..=48)
            .filter_map(|step| place(from_deg + (to_deg - from_deg) * f64::from(step) / 48.0))
            .collect()
    };
    let ink = colour::INK;
    let [stick, reference] = ["stick_deg", "reference_deg"]
        .map(|what| signal_colour(&format!("{}.{what}", scale.name())));
    // First how far it goes, then the arc on top.
    let [r, g, b, _] = stick.to_array();
    let faint = Color32::from_rgba_unmultiplied(r, g, b, 90);
    painter.line(arc(scale.reach_deg), Stroke::new(6.0, faint));
    painter.line(arc(scale.stops_deg), Stroke::new(1.5, ink));
    let way = |at: Pos2| -> Vec2 {
        let out = (at - pivot).normalized();
        if scale.is_outward { out } else { -out }
    };
    let mark = |deg: f64, length: f32, stroke: Stroke| {
        if let Some(at) = place(deg) {
            painter.line_segment([at, at + length * way(at)], stroke);
        }
    };
    for deg in marks_deg(scale.stops_deg, 5.0) {
        let length = if deg % 10.0 == 0.0 { TEN } else { FIVE };
        mark(deg, length, Stroke::new(1.0, ink));
    }
    mark(0.0, ZERO, Stroke::new(1.8, ink));
    for deg in scale.soft_deg.into_iter().flatten() {
        // Across the arc.
        for length in [SOFT, -0.6 * SOFT] {
            mark(deg, length, Stroke::new(1.8, ink));
        }
    }
    for deg in scale.stops_deg {
        mark(deg, STOP, Stroke::new(3.0, ink));
    }
    // The pointers stand on the side without marks, their points on the arc.
    let trimmed = scale.reference_deg.and_then(place);
    pointer(painter, trimmed, way, reference, false);
    pointer(painter, place(scale.stick_deg), way, stick, true);
    for deg in scale.numbers_deg() {
        if let Some(at) = place(deg) {
            let decimals = usize::from((deg - deg.round()).abs() > 0.05);
            labels.put_if_free(at + NUMBER * way(at), &signed(deg, decimals));
        }
    }
    let [low, high] = scale.stops_deg.map(place);
    let (Some(low), Some(high)) = (low, high) else {
        return;
    };
    let is_left = scale.axis == PITCH;
    let (end, away, align) = match (low.x < high.x, is_left) {
        (true, true) => (low, -1.0, Align2::RIGHT_CENTER),
        (false, true) => (high, -1.0, Align2::RIGHT_CENTER),
        (true, false) => (high, 1.0, Align2::LEFT_CENTER),
        (false, false) => (low, 1.0, Align2::LEFT_CENTER),
    };
    labels.put(end + vec2(away * 14.0, 14.0), align, &scale.reading());
}

/// A triangle whose point is on the arc.
fn pointer(
    painter: &Painter,
    at: Option<Pos2>,
    way: impl Fn(Pos2) -> Vec2,
    ink: Color32,
    is_full: bool,
) {
    let Some(at) = at else { return };
    let [height, half] = POINTER;
    let out = way(at);
    let across = vec2(-out.y, out.x);
    let foot = at - height * out;
    let corners = vec![at, foot + half * across, foot - half * across];
    let fill = if is_full { ink } else { Color32::TRANSPARENT };
    painter.add(Shape::convex_polygon(corners, fill, Stroke::new(1.6, ink)));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::View;
    use crate::scene::grip_at;
    use crate::timeline::tests::pushed;

    fn timeline_and_layout(rig: &str) -> (Timeline, Layout) {
        let timeline = pushed(rig);
        let layout = Layout::of(&timeline.rig);
        (timeline, layout)
    }

    /// The stick points at its own angle: on the pitch scale as it is seen from the side, on the
    /// roll scale in the scene itself.
    #[test]
    fn the_stick_points_at_its_angle() {
        let (timeline, layout) = timeline_and_layout("kittiwake");
        let mut instant = timeline.instant(1.8).unwrap();
        instant.axis[PITCH].stick_deg = 7.0;
        instant.axis[ROLL].stick_deg = -11.0;
        let mut moved = timeline;
        moved.travel = crate::timeline::travel::tests::path(&[[0.0, 0.0], [7.0, -11.0]]);
        let scales = scales(&moved, &layout, &instant);
        let [pitch, roll] = scales.as_slice() else {
            panic!("{scales:?}")
        };
        let grip = grip_at(&layout, [7.0, -11.0]);
        assert!(roll.at(-11.0).normalize().dot(grip.normalize()) > 1.0 - 1e-6);
        let side = |point: Vec3| libm::atan2f(point.z, point.y).to_degrees();
        assert!((side(pitch.at(7.0)) - 7.0).abs() < 1e-4);
        assert!((side(grip) - 7.0).abs() < 1e-4);
        // Clear of the grip, and of each other.
        assert!(pitch.radius_m > layout.top_m() + 0.04 && roll.radius_m > pitch.radius_m + 0.02);
        assert_eq!(roll.reading(), "roll -11.00\u{b0}");
    }

    /// A push aft: pitch has a scale, roll, which rests, has none.
    #[test]
    fn only_an_axis_that_moves_has_a_scale() {
        let (timeline, layout) = timeline_and_layout("bittern");
        let instant = timeline.instant(1.8).unwrap();
        let scales = scales(&timeline, &layout, &instant);
        assert_eq!(scales.len(), 1);
        let [low_deg, high_deg] = scales[0].reach_deg;
        assert!(scales[0].axis == PITCH && low_deg < instant.axis[PITCH].stick_deg);
        assert!(high_deg >= instant.axis[PITCH].stick_deg);
        let orbit = |view: View| Orbit::of(view, &layout, &timeline.travel);
        assert!(scales[0].openness(&orbit(View::Across)) > 0.99);
        assert!(scales[0].openness(&orbit(View::Behind)) < LEAST_OPEN);
    }

    #[test]
    fn marks_and_numbers_are_round() {
        assert_eq!(marks_deg([-17.0, 17.0], 10.0), [-10.0, 0.0, 10.0]);
        assert_eq!(marks_deg([-20.0, 20.0], 5.0).len(), 9);
        assert_eq!(marks_deg([-3.0, -1.0], 5.0).len(), 0);
        assert_eq!(signed(6.021, 2), "+6.02");
        assert_eq!(signed(-0.001, 2), "0.00");
        assert_eq!(signed(-4.0, 0), "-4");
        assert_eq!(signed(0.0, 0), "0");
    }
}

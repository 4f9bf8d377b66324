//! The camera: orbit, pan, zoom and named views.

use std::f32::consts::FRAC_PI_2;
use std::str::FromStr;

use bevy::prelude::*;

use crate::scene::Layout;
use crate::timeline::ShownTravel;

/// Field of view, rad.
pub const FIELD_RAD: f32 = 0.6;

/// Field of view from top to bottom in a picture so many times as wide as high, rad: a picture that
/// is higher than wide sees as far to the sides as one that is square.
pub fn field_rad(aspect: f32) -> f32 {
    let half = libm::tanf(0.5 * FIELD_RAD);
    2.0 * libm::atanf(half / aspect.clamp(0.2, 1.0))
}

/// How near and how far the camera may go, in shares of the whole rig's distance.
const NEAR_SHARE: f32 = 0.06;
const FAR_SHARE: f32 = 4.0;

/// A place from which the rig is seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum View {
    /// The whole rig from behind, the left and above.
    #[default]
    Whole,
    /// From the left: pitch to and fro.
    Left,
    /// From behind, as the pilot sits: roll to and fro.
    Behind,
    /// From above.
    Above,
    /// The drive and the cartridge of the pitch axis.
    Pitch,
    /// The drive and the cartridge of the roll axis.
    Roll,
    /// The grip and its switches.
    Grip,
    /// The whole rig across what moves in the trace: see [`across`].
    Across,
}

impl View {
    /// Every view, in the order of the number keys.
    pub const ALL: [View; 8] = [
        View::Whole,
        View::Left,
        View::Behind,
        View::Above,
        View::Pitch,
        View::Roll,
        View::Grip,
        View::Across,
    ];

    /// Name as on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            View::Whole => "whole",
            View::Left => "left",
            View::Behind => "behind",
            View::Above => "above",
            View::Pitch => "pitch",
            View::Roll => "roll",
            View::Grip => "grip",
            View::Across => "across",
        }
    }
}

/// Directions of the views of the whole rig: around from behind towards the left, and above the
/// horizon, rad.
const WHOLE: [f32; 2] = [0.62, 0.36];
const LEFT: [f32; 2] = [FRAC_PI_2, 0.10];
const BEHIND: [f32; 2] = [0.0, 0.12];
/// How far above the horizon an oblique view across the motion stands, rad.
const OBLIQUE_ABOVE: f32 = 0.24;

/// The direction from which most of the motion of a trace is seen: around from behind towards the
/// left, and above the horizon, rad.
///
/// Pitch alone is seen from the left, roll alone from behind, both obliquely from the side on which
/// the grip goes farthest across the picture ([`ShownTravel::oblique_deg`]). A stick that rests is seen
/// as in the view `whole`.
pub fn across(travel: &ShownTravel) -> [f32; 2] {
    match travel.moves() {
        [false, false] => WHOLE,
        [true, false] => LEFT,
        [false, true] => BEHIND,
        [true, true] => [travel.oblique_deg().to_radians() as f32, OBLIQUE_ABOVE],
    }
}

impl FromStr for View {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|view| view.name() == text)
            .ok_or_else(|| {
                let names: Vec<&str> = Self::ALL.iter().map(|view| view.name()).collect();
                format!("`{text}` is no view; there are {}", names.join(", "))
            })
    }
}

/// Where the camera is: it goes around a point.
#[derive(Clone, Copy, Debug, PartialEq, Resource)]
pub struct Orbit {
    /// The point that it looks at.
    pub target: Vec3,
    /// From behind the pilot's back towards the left, rad.
    pub around: f32,
    /// Above the horizon, rad.
    pub above: f32,
    /// Distance, m.
    pub distance: f32,
    /// How far what it looks at has moved from the target, m.
    pub follows: Vec3,
    /// Distance from which the whole rig is seen, m.
    whole: f32,
}

impl Orbit {
    /// The camera in a named view of a rig; `travel` is what moves, for the view across it.
    pub fn of(view: View, layout: &Layout, travel: &ShownTravel) -> Self {
        let (middle, whole) = layout.whole();
        let [lever, _, gear] = layout.outward_m(0);
        let pitch_drive = Vec3::new(-0.5 * (lever + gear), -0.012, -0.02);
        let [lever, _, gear] = layout.outward_m(1);
        let roll_drive = Vec3::new(0.02, -0.01, -0.5 * (lever + gear));
        let grip = Vec3::new(0.0, layout.grip_m, 0.0);
        let (target, [around, above], share) = match view {
            View::Whole => (middle, WHOLE, 1.0),
            View::Left => (middle, LEFT, 1.0),
            View::Behind => (middle, BEHIND, 1.0),
            View::Above => (middle, [0.0, 1.45], 1.0),
            View::Pitch => (pitch_drive, [0.62, 0.22], 0.34),
            View::Roll => (roll_drive, [2.08, 0.22], 0.36),
            View::Grip => (grip, [0.45, 0.62], 0.3),
            View::Across => (middle, across(travel), 1.0),
        };
        Self {
            target,
            around,
            above,
            distance: share * whole,
            follows: Vec3::ZERO,
            whole,
        }
    }

    /// Turns around the target by so many px of the pointer.
    pub fn turn(&mut self, pixels: Vec2) {
        self.around -= 0.006 * pixels.x;
        self.above = (self.above + 0.006 * pixels.y).clamp(-0.35, 1.5);
    }

    /// Moves the target across the picture by so many px of the pointer in a picture so high.
    pub fn pan(&mut self, pixels: Vec2, height: f32) {
        let metres = 2.0 * self.distance * libm::tanf(0.5 * FIELD_RAD) / height.max(1.0);
        let placed = self.transform();
        self.target += metres * (placed.up() * pixels.y - placed.right() * pixels.x);
        let reach = 2.0 * self.whole;
        self.target = self.target.clamp(Vec3::splat(-reach), Vec3::splat(reach));
    }

    /// Goes nearer (above 0) or farther by so many notches of the wheel.
    pub fn zoom(&mut self, notches: f32) {
        let factor = libm::powf(0.88, notches.clamp(-20.0, 20.0));
        self.distance =
            (self.distance * factor).clamp(NEAR_SHARE * self.whole, FAR_SHARE * self.whole);
    }

    /// The camera's place and direction.
    pub fn transform(&self) -> Transform {
        let (sin_around, cos_around) = libm::sincosf(self.around);
        let (sin_above, cos_above) = libm::sincosf(self.above);
        let out = Vec3::new(-sin_around * cos_above, sin_above, cos_around * cos_above);
        let target = self.target + self.follows;
        Transform::from_translation(target + self.distance * out).looking_at(target, Vec3::Y)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn views_are_found_by_name() {
        for view in View::ALL {
            assert_eq!(view.name().parse(), Ok(view));
        }
        let error = "side".parse::<View>().unwrap_err();
        assert!(error.contains("whole, left, behind"), "{error}");
    }

    /// Of the motion across the picture that a trace has, the view shows at least half of each axis
    /// that moves, and all of an axis that moves alone. The grip's own places are projected on the
    /// picture's right.
    #[test]
    fn the_view_across_shows_what_moves() {
        use crate::scene::grip_at;
        use crate::timeline::travel::tests::path;
        let rig = trimproof_plant::Rig::parse(include_str!("../../scenarios/rigs/kittiwake.toml"))
            .unwrap();
        let layout = Layout::of(&rig);
        let shown = |to_deg: [f64; 2]| {
            let orbit = Orbit::of(View::Across, &layout, &path(&[[0.0; 2], to_deg]));
            let moved = grip_at(&layout, to_deg) - grip_at(&layout, [0.0; 2]);
            let right = orbit.transform().right().as_vec3();
            let level = Vec3::new(moved.x, 0.0, moved.z);
            (moved.dot(right).abs() / level.length(), orbit)
        };
        let (pitch, from) = shown([7.0, 0.0]);
        assert!(pitch > 0.9999 && from.around == FRAC_PI_2, "{pitch}");
        let (roll, from) = shown([0.0, -5.0]);
        assert!(roll > 0.9999 && from.around == 0.0, "{roll}");
        for to_deg in [
            [6.0, -4.0],
            [6.0, 4.0],
            [-5.0, 9.0],
            [3.0, 12.0],
            [-14.0, -2.0],
        ] {
            let (share, from) = shown(to_deg);
            // The directions are 5 degrees apart, and end 30 degrees from either axis; the worst
            // case is a path along one of them.
            assert!(share > 0.86, "{to_deg:?}: {share}");
            for axis in [[5.0, 0.0], [0.0, 5.0]] {
                let right = from.transform().right().as_vec3();
                let moved = grip_at(&layout, axis) - grip_at(&layout, [0.0; 2]);
                let level = Vec3::new(moved.x, 0.0, moved.z);
                assert!(
                    level.dot(right).abs() > 0.4999 * level.length(),
                    "{to_deg:?}"
                );
            }
        }
        // The usual view looks along the motion of the job that the stick is made for, which is why
        // there is this one.
        let whole = Orbit::of(View::Whole, &layout, &ShownTravel::default());
        let moved = grip_at(&layout, [6.0, -4.0]) - grip_at(&layout, [0.0; 2]);
        assert!(moved.dot(whole.transform().right().as_vec3()).abs() < 0.05 * moved.length());
        let rest = Orbit::of(View::Across, &layout, &ShownTravel::default());
        assert_eq!(rest, whole);
    }

    fn orbit() -> Orbit {
        Orbit {
            target: Vec3::ZERO,
            around: 0.0,
            above: 0.0,
            distance: 1.0,
            follows: Vec3::ZERO,
            whole: 1.0,
        }
    }

    #[test]
    fn the_camera_looks_at_its_target_from_behind() {
        let placed = orbit().transform();
        assert!((placed.translation - Vec3::Z).length() < 1e-6);
        assert!((placed.forward().as_vec3() - Vec3::NEG_Z).length() < 1e-6);
        let from_left = Orbit {
            around: FRAC_PI_2,
            ..orbit()
        };
        assert!((from_left.transform().translation - Vec3::NEG_X).length() < 1e-6);
    }

    /// What fits across a square fits across a picture that is half as wide as high.
    #[test]
    fn a_high_picture_sees_as_much_to_the_sides() {
        assert!((field_rad(1.0) - FIELD_RAD).abs() < 1e-6);
        assert!((field_rad(2.0) - FIELD_RAD).abs() < 1e-6);
        let across = libm::tanf(0.5 * field_rad(0.5)) * 0.5;
        assert!((across - libm::tanf(0.5 * FIELD_RAD)).abs() < 1e-6);
    }

    #[test]
    fn zoom_and_tilt_have_their_ends() {
        let mut camera = orbit();
        camera.zoom(1000.0);
        camera.turn(Vec2::new(0.0, 1e6));
        assert!(camera.distance >= NEAR_SHARE && camera.above <= 1.5);
        camera.zoom(-1000.0);
        camera.zoom(-1000.0);
        assert!(camera.distance <= FAR_SHARE);
    }

    /// A pan by the height of the picture moves by what the field of view holds at the target.
    #[test]
    fn a_pan_follows_the_pointer() {
        let mut camera = orbit();
        camera.pan(Vec2::new(0.0, 720.0), 720.0);
        let height = 2.0 * (0.5 * FIELD_RAD).tan();
        assert!((camera.target.y - height).abs() < 1e-5, "{}", camera.target);
    }
}

//! Stops and obstacles: rapier's geometry finds the gap, a bumper law of ours gives the force.
//!
//! The stick is a tube: a segment on its axis with a radius. Asking for the distance between cores
//! (segment against segment, box, ball or cylinder) and taking the radii off afterwards keeps the
//! query exact also while the surfaces overlap. Between queries a contact is frozen as the linear gap
//! g(q) = n · (p₂ − R(q) p₁); the query is left out while nothing can be within reach.

mod bumper;

pub use bumper::{BumperLaw, damping_ratio};

use rapier3d::math::{Pose as RapierPose, Rotation, Vector};
use rapier3d::parry::query;
use rapier3d::parry::shape::{Segment, Shape, SharedShape};

use crate::dynamics::{GimbalLaw, Pose, dot, invert};
use crate::shapes::Form;

/// Gap below which a contact is followed, m.
const WATCH_M: f64 = 2.0e-3;

/// One stop or obstacle: its core, the radius around it, where it stands and how it gives.
#[derive(Clone)]
pub struct Body {
    core: SharedShape,
    radius_m: f64,
    pose: RapierPose,
    law: BumperLaw,
}

impl Body {
    /// A solid of the given form at `at_m`, turned by `turn_deg` (see [`Form::pose`]).
    pub fn new(form: &Form, at_m: [f64; 3], turn_deg: [f64; 3], law: BumperLaw) -> Self {
        let (core, radius_m) = match *form {
            Form::Capsule {
                radius_m, length_m, ..
            } => {
                let half = Vector::new(0.0, 0.5 * length_m, 0.0);
                (SharedShape::new(Segment::new(-half, half)), radius_m)
            }
            _ => (form.shared_shape(), 0.0),
        };
        Self {
            core,
            radius_m,
            pose: form.pose(at_m, turn_deg),
            law,
        }
    }
}

/// The stick's tube: part of its axis, as heights above the pivot, and its radius.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tube {
    /// Lower end, m above the pivot.
    pub bottom_m: f64,
    /// Upper end, m above the pivot.
    pub top_m: f64,
    /// Radius, m.
    pub radius_m: f64,
}

#[derive(Clone, Copy, Debug)]
struct Near {
    body: usize,
    /// Unit normal from the stick to the obstacle, body axes.
    normal: [f64; 3],
    /// Contact point on the stick, stick's own frame, m.
    on_stick: [f64; 3],
    /// n · p₂ less the radii, m.
    offset_m: f64,
}

/// All stops and obstacles around one stick.
pub struct Surroundings {
    tube: Tube,
    axis: Segment,
    bodies: Vec<Body>,
    near: Vec<Near>,
    /// Travel of the stick's farthest point since the last query, and how much of it is safe, m.
    travelled_m: f64,
    safe_m: f64,
    steps_since: u32,
    refresh_steps: u32,
}

/// Force of all contacts at an instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ContactLoad {
    /// Torque on each axis, N·m.
    pub torque_nm: [f64; 2],
    /// Whether anything touches.
    pub touching: bool,
}

impl Surroundings {
    /// Surroundings of a stick; contacts in reach are looked up anew every `refresh_steps` steps.
    pub fn new(tube: Tube, bodies: Vec<Body>, refresh_steps: u32) -> Self {
        let axis = Segment::new(
            Vector::new(0.0, 0.0, -tube.bottom_m),
            Vector::new(0.0, 0.0, -tube.top_m),
        );
        Self {
            tube,
            axis,
            bodies,
            near: Vec::new(),
            travelled_m: 0.0,
            safe_m: -1.0,
            steps_since: 0,
            refresh_steps: refresh_steps.max(1),
        }
    }

    /// Force on the stick at mid-step: pose and rates of that instant, and the step for the travel bound.
    pub fn load(
        &mut self,
        law: &GimbalLaw,
        rate: [f64; 2],
        pose: &Pose,
        step_s: f64,
    ) -> ContactLoad {
        self.travelled_m += (rate[0].abs() + rate[1].abs()) * self.tube.top_m * step_s;
        if self.travelled_m < self.safe_m {
            return ContactLoad::default();
        }
        self.steps_since += 1;
        if self.safe_m < 0.0 || self.near.is_empty() || self.steps_since >= self.refresh_steps {
            self.look(pose);
            if self.near.is_empty() {
                return ContactLoad::default();
            }
        }
        let mut load = ContactLoad::default();
        for near in &self.near {
            let p = pose.place(near.on_stick);
            let gap = near.offset_m - dot(near.normal, p);
            let levers = pose.levers(p);
            let arm = [dot(near.normal, levers[0]), dot(near.normal, levers[1])];
            let closing = arm[0] * rate[0] + arm[1] * rate[1];
            if gap >= 0.0 && gap >= 0.5 * step_s * closing {
                continue;
            }
            let inv = invert(law.mass_matrix_in(pose));
            let yielding = arm[0] * (inv[0] * arm[0] + inv[1] * arm[1])
                + arm[1] * (inv[1] * arm[0] + inv[2] * arm[1]);
            let force = self.bodies[near.body]
                .law
                .force_n(-gap, closing, yielding, step_s);
            load.torque_nm[0] -= force * arm[0];
            load.torque_nm[1] -= force * arm[1];
            load.touching = true;
        }
        load
    }

    /// Smallest gap to anything at the given angles, m; negative while overlapping. `None` without obstacles.
    pub fn gap_m(&self, angle_rad: [f64; 2]) -> Option<f64> {
        let stick = stick_pose(&Pose::at(angle_rad));
        self.bodies
            .iter()
            .map(|body| self.query(&stick, body).0)
            .reduce(f64::min)
    }

    fn look(&mut self, pose: &Pose) {
        let stick = stick_pose(pose);
        self.near.clear();
        let mut smallest = f64::INFINITY;
        for (index, body) in self.bodies.iter().enumerate() {
            let (gap, normal, on_axis) = self.query(&stick, body);
            smallest = smallest.min(gap);
            if gap < WATCH_M {
                let surface: [f64; 3] =
                    std::array::from_fn(|k| on_axis[k] + normal[k] * self.tube.radius_m);
                self.near.push(Near {
                    body: index,
                    normal,
                    on_stick: pose.unplace(surface),
                    offset_m: gap + dot(normal, surface),
                });
            }
        }
        self.travelled_m = 0.0;
        self.steps_since = 0;
        // Half the gap: the frozen gap must be in force before the surfaces meet.
        self.safe_m = if self.near.is_empty() {
            (smallest - 0.5 * WATCH_M).max(0.0)
        } else {
            0.0
        };
    }

    /// Gap between surfaces, unit normal from stick to obstacle and the point on the stick's axis.
    fn query(&self, stick: &RapierPose, body: &Body) -> (f64, [f64; 3], [f64; 3]) {
        let far = 10.0;
        match query::contact(
            stick,
            &self.axis as &dyn Shape,
            &body.pose,
            body.core.as_ref(),
            far,
        ) {
            Ok(Some(c)) => (
                c.dist - self.tube.radius_m - body.radius_m,
                [c.normal1.x, c.normal1.y, c.normal1.z],
                [c.point1.x, c.point1.y, c.point1.z],
            ),
            // Farther than `far`, or a pair of shapes that rapier cannot measure (none of ours).
            _ => (far, [0.0, 0.0, 1.0], [0.0; 3]),
        }
    }
}

/// Orientation of the stick for rapier: R_y(θ) R_x(φ).
fn stick_pose(pose: &Pose) -> RapierPose {
    let (s, c) = half_angle(pose.pitch);
    let (sr, cr) = half_angle(pose.roll);
    // Quaternion product (0, s, 0, c) · (sr, 0, 0, cr).
    RapierPose::from_parts(
        Vector::new(0.0, 0.0, 0.0),
        Rotation::from_xyzw(c * sr, s * cr, -s * sr, c * cr),
    )
}

/// Sine and cosine of half an angle, or both with the other sign: the same to a quaternion.
///
/// With 2 cos² = 1 + cos and 2 sin² = 1 − cos, whichever root is the larger, and sin = 2 sin cos for the other.
fn half_angle((sin, cos): (f64, f64)) -> (f64, f64) {
    let larger = (0.5 * (1.0 + cos.abs())).sqrt();
    let smaller = 0.5 * sin / larger;
    if cos >= 0.0 {
        (smaller, larger)
    } else {
        (larger, smaller)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_angle_is_that_of_libm_but_for_the_sign_of_both() {
        for k in -180..=180 {
            let angle_rad = f64::from(k).to_radians();
            let (s, c) = half_angle(libm::sincos(angle_rad));
            let (sin, cos) = libm::sincos(0.5 * angle_rad);
            // cos is never negative here, so a turned sign shows in both.
            let sign = if s * sin + c * cos < 0.0 { -1.0 } else { 1.0 };
            assert!(
                (sign * s - sin).abs() < 4e-16 && (sign * c - cos).abs() < 4e-16,
                "{k}°: {s}, {c} for {sin}, {cos}"
            );
        }
    }
}

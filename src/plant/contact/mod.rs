//! Stops and obstacles: rapier's geometry finds the gap, a bumper law of ours gives the force.
//!
//! The stick is a tube: a segment on its axis with a radius. Asking for the distance between cores
//! (segment against segment, box, ball or cylinder) and taking the radii off afterwards keeps the
//! query exact also while the surfaces overlap. Between queries a contact is frozen as the linear gap
//! g(q) = n · (p₂ − R(q) p₁); a body is not asked about while the stick cannot have come within its reach.

mod bumper;

pub use bumper::{BumperLaw, damping_ratio};

use rapier3d::math::{Pose as RapierPose, Rotation, Vector};
use rapier3d::parry::query::{self, details};
use rapier3d::parry::shape::{Segment, Shape, SharedShape};

use crate::dynamics::{GimbalLaw, Pose, dot, invert};
use crate::shapes::Form;

/// Gap below which a contact is followed, m.
const WATCH_M: f64 = 2.0e-3;
/// Distance between two segments below which their closest points give no direction any more, m.
const CROSSED_M: f64 = 1.0e-9;

/// One stop or obstacle: its core, the radius around it, where it stands and how it gives.
#[derive(Clone)]
pub struct Body {
    core: SharedShape,
    /// Ends of a core that is a segment, body axes, m: two segments have a closed form.
    ends: Option<[Vector; 2]>,
    radius_m: f64,
    pose: RapierPose,
    law: BumperLaw,
}

impl Body {
    /// A solid of the given form at `at_m`, turned by `turn_deg` (see [`Form::pose`]).
    pub fn new(form: &Form, at_m: [f64; 3], turn_deg: [f64; 3], law: BumperLaw) -> Self {
        let pose = form.pose(at_m, turn_deg);
        let (core, ends, radius_m) = match *form {
            Form::Capsule {
                radius_m, length_m, ..
            } => {
                let half = Vector::new(0.0, 0.5 * length_m, 0.0);
                let core = SharedShape::new(Segment::new(-half, half));
                (core, Some([pose * -half, pose * half]), radius_m)
            }
            _ => (form.shared_shape(), None, 0.0),
        };
        Self {
            core,
            ends,
            radius_m,
            pose,
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
    /// Unit normal from the stick to the obstacle, body axes.
    normal: [f64; 3],
    /// Contact point on the stick, stick's own frame, m.
    on_stick: [f64; 3],
    /// n · p₂ less the radii, m.
    offset_m: f64,
}

/// A body and what the last look at it found.
struct Watched {
    body: Body,
    /// The contact, frozen, if the body was in reach.
    near: Option<Near>,
    /// Steps since the look.
    age: u32,
    /// Travel up to which it cannot have come into reach, m.
    clear_until_m: f64,
    /// What it did to the rates in the last step, rad/s².
    own_accel: [f64; 2],
}

/// All stops and obstacles around one stick.
pub struct Surroundings {
    tube: Tube,
    watched: Vec<Watched>,
    /// Travel of the stick's farthest point since the start, m.
    travelled_m: f64,
    /// The least of all bodies' `clear_until_m`.
    clear_until_m: f64,
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
        Self {
            tube,
            watched: bodies
                .into_iter()
                .map(|body| Watched {
                    body,
                    near: None,
                    age: 0,
                    clear_until_m: 0.0,
                    own_accel: [0.0; 2],
                })
                .collect(),
            travelled_m: 0.0,
            clear_until_m: 0.0,
            refresh_steps: refresh_steps.max(1),
        }
    }

    /// Force on the stick at mid-step: pose and rates of that instant, and the step, for the travel bound too.
    ///
    /// The dashpots are implicit: each feels the rates that its own force leaves. So what it did in the last step, which
    /// is part of rates that are extrapolated to mid-step, is taken off first.
    pub fn load(
        &mut self,
        law: &GimbalLaw,
        mut rate: [f64; 2],
        pose: &Pose,
        step_s: f64,
    ) -> ContactLoad {
        self.travelled_m += (rate[0].abs() + rate[1].abs()) * self.tube.top_m * step_s;
        let mut load = ContactLoad::default();
        if self.travelled_m < self.clear_until_m {
            return load;
        }
        let half = 0.5 * step_s;
        self.look(pose);
        for watched in &mut self.watched {
            // Its own part in the extrapolated rates goes; what those before it do now has taken the place of theirs.
            let own = std::mem::take(&mut watched.own_accel);
            for i in 0..2 {
                rate[i] -= half * own[i];
            }
            let Some(near) = watched.near else { continue };
            let p = pose.place(near.on_stick);
            let gap = near.offset_m - dot(near.normal, p);
            let levers = pose.levers(p);
            let arm = [dot(near.normal, levers[0]), dot(near.normal, levers[1])];
            let closing = arm[0] * rate[0] + arm[1] * rate[1];
            if gap >= 0.0 && gap >= half * closing {
                continue;
            }
            let inv = invert(law.mass_matrix(pose));
            let yielded = [
                inv[0] * arm[0] + inv[1] * arm[1],
                inv[1] * arm[0] + inv[2] * arm[1],
            ];
            let yielding = arm[0] * yielded[0] + arm[1] * yielded[1];
            let force = watched.body.law.force_n(-gap, closing, yielding, step_s);
            for i in 0..2 {
                load.torque_nm[i] -= force * arm[i];
                watched.own_accel[i] = -force * yielded[i];
                rate[i] += half * watched.own_accel[i];
            }
            load.touching = true;
        }
        load
    }

    /// Smallest gap to anything at the given angles, m; negative while overlapping. `None` without obstacles.
    pub fn gap_m(&self, angle_rad: [f64; 2]) -> Option<f64> {
        let pose = Pose::at(angle_rad);
        self.watched
            .iter()
            .map(|watched| query(&self.tube, &pose, &watched.body).0)
            .reduce(f64::min)
    }

    /// Looks at every body that may be in reach and whose last look is too old.
    fn look(&mut self, pose: &Pose) {
        self.clear_until_m = f64::INFINITY;
        for watched in &mut self.watched {
            watched.age += 1;
            let is_due = if watched.near.is_some() {
                watched.age >= self.refresh_steps
            } else {
                self.travelled_m >= watched.clear_until_m
            };
            if is_due {
                let (gap, normal, on_axis) = query(&self.tube, pose, &watched.body);
                watched.age = 0;
                watched.near = (gap < WATCH_M).then(|| {
                    let surface: [f64; 3] =
                        std::array::from_fn(|k| on_axis[k] + normal[k] * self.tube.radius_m);
                    Near {
                        normal,
                        on_stick: pose.unplace(surface),
                        offset_m: gap + dot(normal, surface),
                    }
                });
                // Half the reach: the frozen gap must be in force before the surfaces meet.
                let clear_m = if watched.near.is_some() {
                    0.0
                } else {
                    gap - 0.5 * WATCH_M
                };
                watched.clear_until_m = self.travelled_m + clear_m;
            }
            self.clear_until_m = self.clear_until_m.min(watched.clear_until_m);
        }
    }
}

/// Gap between surfaces, unit normal from stick to obstacle and the point on the stick's axis.
fn query(tube: &Tube, pose: &Pose, body: &Body) -> (f64, [f64; 3], [f64; 3]) {
    let radii_m = tube.radius_m + body.radius_m;
    if let Some([a, b]) = &body.ends {
        let [bottom, top] =
            [tube.bottom_m, tube.top_m].map(|at| Vector::from_array(pose.place([0.0, 0.0, -at])));
        let (on_tube, on_body) =
            details::closest_points_segment_segment_with_locations_nD((&bottom, &top), (a, b));
        let on_axis = Segment::new(bottom, top).point_at(&on_tube);
        let way = Segment::new(*a, *b).point_at(&on_body) - on_axis;
        let apart = way.length();
        if apart > CROSSED_M {
            let normal = way / apart;
            return (apart - radii_m, normal.to_array(), on_axis.to_array());
        }
    }
    let axis = Segment::new(
        Vector::new(0.0, 0.0, -tube.bottom_m),
        Vector::new(0.0, 0.0, -tube.top_m),
    );
    let far = 10.0;
    match query::contact(
        &stick_pose(pose),
        &axis as &dyn Shape,
        &body.pose,
        body.core.as_ref(),
        far,
    ) {
        Ok(Some(c)) => (c.dist - radii_m, c.normal1.to_array(), c.point1.to_array()),
        // Farther than `far`, or a pair of shapes that rapier cannot measure (none of ours).
        _ => (far, [0.0, 0.0, 1.0], [0.0; 3]),
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
    use crate::shapes::Along;

    #[test]
    fn two_segments_are_measured_as_rapier_measures_any_two_shapes() {
        let tube = Tube {
            bottom_m: 0.05,
            top_m: 0.5,
            radius_m: 0.01,
        };
        let form = Form::Capsule {
            radius_m: 0.006,
            length_m: 0.2,
            axis: Along::Y,
        };
        let law = BumperLaw::new(1.0e5, 0.5);
        // Across the tube, askew beside it, beyond its end: middle against middle, end against middle, end against end.
        for (at_m, turn_deg) in [
            ([-0.06, 0.0, -0.12], [0.0; 3]),
            ([0.05, 0.15, -0.3], [30.0, 10.0, -20.0]),
            ([0.1, 0.2, -0.6], [5.0, 0.0, 40.0]),
        ] {
            let body = Body::new(&form, at_m, turn_deg, law);
            let general = Body {
                ends: None,
                ..body.clone()
            };
            for k in -4..=4 {
                let pose = Pose::at([0.1 * f64::from(k), 0.07 * f64::from(3 - k)]);
                let (gap, normal, on_axis) = query(&tube, &pose, &body);
                let (gap2, normal2, on_axis2) = query(&tube, &pose, &general);
                assert!((gap - gap2).abs() < 1e-9, "{at_m:?} {k}: {gap} {gap2}");
                for i in 0..3 {
                    assert!(
                        (normal[i] - normal2[i]).abs() < 1e-6
                            && (on_axis[i] - on_axis2[i]).abs() < 1e-6,
                        "{at_m:?} {k}: {normal:?} {normal2:?}, {on_axis:?} {on_axis2:?}"
                    );
                }
            }
        }
    }

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

//! Stops and obstacles: where they are met, and the force of their bumpers.
//!
//! A stop has a closed form ([`Stop`]). For an obstacle rapier's geometry finds the gap. The stick
//! is a tube: a segment on its axis with a radius. Asking for the distance between cores (segment
//! against segment, box, ball or cylinder) and taking the radii off afterwards keeps the query
//! exact also while the surfaces overlap. Between queries a contact is frozen as the linear gap
//! g(q) = n · (p₂ − R(q) p₁); a body is not asked about while the stick cannot have come within its
//! reach.

mod bumper;
mod pressed;
mod stop;
#[cfg(test)]
mod tests;

pub use bumper::{BumperParams, SOLID_N_PER_M, damping_ratio};
pub use pressed::{Overload, Pressed};
pub use stop::{Stop, StopGap};

use rapier3d::math::{Pose as RapierPose, Rotation, Vector};
use rapier3d::parry::query::{self, details};
use rapier3d::parry::shape::{Segment, Shape, SharedShape};

use crate::dynamics::{GimbalParams, Pose, dot, invert};
use crate::shapes::SolidForm;
use crate::state_bits::StateBits;

/// Gap below which a contact is followed, m.
const WATCH_M: f64 = 2.0e-3;
/// Distance between two segments below which their closest points give no direction any more, m.
const CROSSED_M: f64 = 1.0e-9;

/// Share of the way to the middle of an obstacle that the tube's axis may be pressed in. Farther
/// in, the way out could be on the other side.
const INTO_OBSTACLE: f64 = 0.9;

/// An obstacle: its core, the radius around it, where it stands and how it gives.
#[derive(Clone)]
pub struct Body {
    core: SharedShape,
    /// Ends of a core that is a segment, body axes, m: two segments have a closed form.
    ends: Option<[Vector; 2]>,
    radius_m: f64,
    /// Distance from its surface to its middle, the shortest way, m.
    inner_m: f64,
    pose: RapierPose,
    params: BumperParams,
}

impl Body {
    /// A solid of the given form at `at_m`, turned by `turn_deg` (see [`SolidForm::pose`]).
    pub fn new(form: &SolidForm, at_m: [f64; 3], turn_deg: [f64; 3], params: BumperParams) -> Self {
        let pose = form.pose(at_m, turn_deg);
        let (core, ends, radius_m) = match *form {
            SolidForm::Capsule {
                radius_m, length_m, ..
            } => {
                let half = Vector::new(0.0, 0.5 * length_m, 0.0);
                let core = SharedShape::new(Segment::new(-half, half));
                (core, Some([pose * -half, pose * half]), radius_m)
            }
            // A ball is a point with a radius: its direction stays exact also when the tube's axis
            // is inside.
            SolidForm::Sphere { radius_m } => {
                let middle = Vector::new(0.0, 0.0, 0.0);
                let core = SharedShape::new(Segment::new(middle, middle));
                (core, Some([pose * middle; 2]), radius_m)
            }
            _ => (form.shared_shape(), None, 0.0),
        };
        Self {
            core,
            ends,
            radius_m,
            inner_m: form.inner_radius_m(),
            pose,
            params,
        }
    }

    /// Depth up to which the contact has one direction, m: to near the middle of the obstacle.
    fn deepest_m(&self, tube: &Tube) -> f64 {
        INTO_OBSTACLE * (tube.radius_m + self.inner_m)
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
#[derive(Clone)]
struct WatchedBody {
    body: Body,
    /// The contact, frozen, if the body was in reach.
    near: Option<Near>,
    /// Gap and normal of the last look, and the travel at that time, m.
    last: Option<(f64, [f64; 3], f64)>,
    /// Steps since the look.
    age: u32,
    /// Travel up to which it cannot have come into reach, m.
    clear_until_m: f64,
    /// What it did to the rates in the last step, rad/s².
    own_accel: [f64; 2],
}

/// All stops and obstacles around one stick.
#[derive(Clone)]
pub struct Surroundings {
    tube: Tube,
    /// Each stop, and what it did to the rates in the last step, rad/s².
    stops: Vec<(Stop, [f64; 2])>,
    watched: Vec<WatchedBody>,
    /// Travel of both angles since the start, rad.
    turned_rad: f64,
    /// Travel up to which no stop can have been met, rad.
    stops_clear_until_rad: f64,
    /// Travel of the stick's farthest point since the start, m.
    travelled_m: f64,
    /// The least of all bodies' `clear_until_m`.
    clear_until_m: f64,
    refresh_steps: u32,
    /// Torque of all but the contacts in the step before and in this one, N·m.
    others_n_m: [[f64; 2]; 2],
}

/// Force of all contacts at an instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ContactLoad {
    /// Torque on each axis, N·m.
    pub torque_n_m: [f64; 2],
    /// By how much the torques move each axis too far in this step, rad: they act from the instant
    /// of meeting on, the step takes them as if they acted all along.
    pub early_rad: [f64; 2],
    /// Whether anything touches.
    pub touching: bool,
    /// What would have broken in this step; the first such contact.
    pub broken: Option<Overload>,
}

impl Surroundings {
    /// Surroundings of a stick; obstacles in reach are looked up anew every `refresh_steps` steps.
    pub fn new(tube: Tube, stops: Vec<Stop>, bodies: Vec<Body>, refresh_steps: u32) -> Self {
        Self {
            tube,
            stops: stops.into_iter().map(|stop| (stop, [0.0; 2])).collect(),
            watched: bodies
                .into_iter()
                .map(|body| WatchedBody {
                    body,
                    near: None,
                    last: None,
                    age: 0,
                    clear_until_m: 0.0,
                    own_accel: [0.0; 2],
                })
                .collect(),
            turned_rad: 0.0,
            stops_clear_until_rad: 0.0,
            travelled_m: 0.0,
            clear_until_m: 0.0,
            refresh_steps: refresh_steps.max(1),
            others_n_m: [[0.0; 2]; 2],
        }
    }

    /// Takes note of what else acts on the stick in the coming step, N·m: where it has changed at
    /// once, so have the rates that the contacts meet.
    #[inline]
    pub fn note_others(&mut self, torque_n_m: [f64; 2]) {
        self.others_n_m = [self.others_n_m[1], torque_n_m];
    }

    /// Force on the stick at mid-step: pose and rates of that instant, and the step, for the travel
    /// bound too.
    ///
    /// The dashpots are implicit: each feels the rates that its own force leaves. So what it did in
    /// the last step, which is part of rates that are extrapolated to mid-step, is taken off first.
    pub fn load(
        &mut self,
        params: &GimbalParams,
        rate: [f64; 2],
        pose: &Pose,
        step_s: f64,
    ) -> ContactLoad {
        let turned_rad = (rate[0].abs() + rate[1].abs()) * step_s;
        self.turned_rad += turned_rad;
        self.travelled_m += turned_rad * self.tube.top_m;
        let mut load = ContactLoad::default();
        // Half a step of closing is looked ahead: what may be met in this step is not clear.
        let meets_stops = self.turned_rad + turned_rad >= self.stops_clear_until_rad;
        let meets_obstacles = self.travelled_m >= self.clear_until_m;
        if !meets_stops && !meets_obstacles {
            return load;
        }
        let inverse = invert(params.mass_matrix(pose));
        let [before, now] = self.others_n_m;
        let change = [now[0] - before[0], now[1] - before[1]];
        let half = 0.5 * step_s;
        let mut meeting = Meeting {
            rate: [
                rate[0] + half * (inverse[0] * change[0] + inverse[1] * change[1]),
                rate[1] + half * (inverse[1] * change[0] + inverse[2] * change[1]),
            ],
            inverse,
            step_s,
            load: &mut load,
        };
        if meets_stops {
            self.press_stops(pose, &mut meeting);
        }
        if meets_obstacles {
            self.press_obstacles(pose, &mut meeting);
        }
        load
    }

    fn press_stops(&mut self, pose: &Pose, meeting: &mut Meeting<'_>) {
        self.stops_clear_until_rad = f64::INFINITY;
        for (stop, own_accel) in &mut self.stops {
            let StopGap { gap_m, arm_m } = stop.gap(pose);
            let clear_rad = stop.clear_rad(pose, gap_m.max(0.0));
            self.stops_clear_until_rad =
                self.stops_clear_until_rad.min(self.turned_rad + clear_rad);
            let Some(force_n) = meeting.force_n(&stop.params, gap_m, arm_m, own_accel) else {
                continue;
            };
            if force_n > stop.strength_n {
                meeting.load.overload(stop.name(), force_n, stop.strength_n);
            }
        }
    }

    fn press_obstacles(&mut self, pose: &Pose, meeting: &mut Meeting<'_>) {
        self.look(pose, meeting.load);
        for (index, watched) in self.watched.iter_mut().enumerate() {
            let body = &watched.body;
            let Some(near) = &watched.near else {
                meeting.forget(&mut watched.own_accel);
                continue;
            };
            let p = pose.place(near.on_stick);
            let gap = near.offset_m - dot(near.normal, p);
            let levers = pose.levers(p);
            let arm = [dot(near.normal, levers[0]), dot(near.normal, levers[1])];
            let deepest_m = body.deepest_m(&self.tube);
            let pressed = meeting.force_n(&body.params, gap, arm, &mut watched.own_accel);
            if pressed.is_some() && -gap > deepest_m {
                let limit_n = body.params.spring_n(deepest_m);
                let force_n = body.params.spring_n(-gap);
                meeting
                    .load
                    .overload(Pressed::Obstacle(index), force_n, limit_n);
            }
        }
    }

    /// Writes down what the last looks found and what each contact did.
    pub(crate) fn note(&self, bits: &mut StateBits) {
        bits.numbers(&[
            self.turned_rad,
            self.stops_clear_until_rad,
            self.travelled_m,
            self.clear_until_m,
        ]);
        for others in &self.others_n_m {
            bits.numbers(others);
        }
        for (_, own_accel) in &self.stops {
            bits.numbers(own_accel);
        }
        for watched in &self.watched {
            bits.count(u64::from(watched.age));
            bits.numbers(&watched.own_accel);
            bits.numbers(&[watched.clear_until_m]);
            if let Some(near) = &watched.near {
                bits.numbers(&near.normal);
                bits.numbers(&near.on_stick);
                bits.numbers(&[near.offset_m]);
            }
            if let Some((gap_m, normal, at_m)) = &watched.last {
                bits.numbers(&[*gap_m, *at_m]);
                bits.numbers(normal);
            }
        }
    }

    /// Smallest gap to anything at the given angles, m; negative while overlapping. `None` if there
    /// is nothing.
    pub fn gap_m(&self, angle_rad: [f64; 2]) -> Option<f64> {
        let pose = Pose::at(angle_rad);
        let stops = self.stops.iter().map(|(stop, _)| stop.gap(&pose).gap_m);
        stops
            .chain(self.obstacle_gaps_m(angle_rad))
            .reduce(f64::min)
    }

    /// Gap to each obstacle at the given angles, m; negative while overlapping.
    pub fn obstacle_gaps_m(&self, angle_rad: [f64; 2]) -> impl Iterator<Item = f64> {
        let pose = Pose::at(angle_rad);
        self.watched
            .iter()
            .map(move |watched| query(&self.tube, &pose, &watched.body).0)
    }

    /// Looks at every body that may be in reach and whose last look is too old.
    fn look(&mut self, pose: &Pose, load: &mut ContactLoad) {
        self.clear_until_m = f64::INFINITY;
        for (index, watched) in self.watched.iter_mut().enumerate() {
            watched.age += 1;
            let is_due = if watched.near.is_some() {
                watched.age >= self.refresh_steps
            } else {
                self.travelled_m >= watched.clear_until_m
            };
            if is_due {
                let (gap, normal, on_axis) = query(&self.tube, pose, &watched.body);
                if let Some((last_gap, last_normal, last_at_m)) = watched.last {
                    // Could it have gone right through since the last look, and is it on the other
                    // side?
                    let deepest_m = watched.body.deepest_m(&self.tube);
                    let way_m = self.travelled_m - last_at_m;
                    if way_m > last_gap + deepest_m && dot(normal, last_normal) < 0.0 {
                        let params = &watched.body.params;
                        let reached_n = params.spring_n((way_m - last_gap).max(deepest_m));
                        load.overload(
                            Pressed::Obstacle(index),
                            reached_n,
                            params.spring_n(deepest_m),
                        );
                    }
                }
                watched.last = Some((gap, normal, self.travelled_m));
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

impl ContactLoad {
    fn overload(&mut self, contact: Pressed, force_n: f64, limit_n: f64) {
        self.broken.get_or_insert(Overload {
            contact,
            force_n,
            limit_n,
        });
    }
}

/// The contacts of one step, taken in turn: each meets what those before it left, so that two in
/// one place do not both take all the speed.
struct Meeting<'a> {
    /// Rates at mid-step, rad/s: with what the contacts so far do now, and those to come did in the
    /// last step.
    rate: [f64; 2],
    /// Inverse of the mass matrix.
    inverse: [f64; 3],
    step_s: f64,
    load: &'a mut ContactLoad,
}

impl Meeting<'_> {
    /// Takes what a contact did in the last step off the rates.
    fn forget(&mut self, own_accel: &mut [f64; 2]) {
        let half = 0.5 * self.step_s;
        for (rate, own) in self.rate.iter_mut().zip(std::mem::take(own_accel)) {
            *rate -= half * own;
        }
    }

    /// Presses at a gap that closes by `arm_m` with the angles; the force, N, or `None` if they do
    /// not meet in this step. `own_accel` is what this contact did to the rates in the last step
    /// and, afterwards, in this one.
    fn force_n(
        &mut self,
        params: &BumperParams,
        gap_m: f64,
        arm_m: [f64; 2],
        own_accel: &mut [f64; 2],
    ) -> Option<f64> {
        self.forget(own_accel);
        let closing = arm_m[0] * self.rate[0] + arm_m[1] * self.rate[1];
        if gap_m >= 0.5 * self.step_s * closing.abs() {
            return None;
        }
        let inv = self.inverse;
        let per_force = [
            inv[0] * arm_m[0] + inv[1] * arm_m[1],
            inv[1] * arm_m[0] + inv[2] * arm_m[1],
        ];
        let yielding = arm_m[0] * per_force[0] + arm_m[1] * per_force[1];
        let (force_n, gone) = params.force_n(-gap_m, closing, yielding, self.step_s);
        if gap_m >= 0.0 && force_n <= 0.0 {
            return None;
        }
        for i in 0..2 {
            self.load.torque_n_m[i] -= force_n * arm_m[i];
            own_accel[i] = -force_n * per_force[i];
            self.rate[i] += 0.5 * self.step_s * own_accel[i];
            self.load.early_rad[i] += 0.5 * self.step_s * self.step_s * gone * own_accel[i];
        }
        self.load.touching = true;
        Some(force_n)
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
/// With 2 cos² = 1 + cos and 2 sin² = 1 − cos, whichever root is the larger, and sin = 2 sin cos
/// for the other.
fn half_angle((sin, cos): (f64, f64)) -> (f64, f64) {
    let larger = (0.5 * (1.0 + cos.abs())).sqrt();
    let smaller = 0.5 * sin / larger;
    if cos >= 0.0 {
        (smaller, larger)
    } else {
        (larger, smaller)
    }
}

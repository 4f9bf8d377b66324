//! The pilot's hand at the grip: an impedance that follows a path, or a plain force.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::dynamics::{GripPull, Pose, PoseAnchor, cut_to, dot};
use crate::state_bits::StateBits;

/// Stiffness, damping and strength of a hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HandFeel {
    /// Stiffness towards the path, N/m.
    pub stiffness_n_per_m: f64,
    /// Damping towards the path, N·s/m.
    pub damping_n_s_per_m: f64,
    /// Largest force, N: the length of the force, both axes together.
    pub limit_n: f64,
}

/// Course of a carried angle over time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PathShape {
    /// Minimum jerk: the angle goes with 10 x³ - 15 x⁴ + 6 x⁵, x being the share of the time that
    /// has gone.
    // Least integral of the squared jerk between rests: the sixth derivative vanishes, so a quintic
    // (derived in docs/model/hand.md; Flash and Hogan 1985 found it in hands).
    #[default]
    Smooth,
    /// At a steady rate.
    Steady,
}

impl PathShape {
    /// Name as it stands in scenario files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Smooth => "smooth",
            Self::Steady => "steady",
        }
    }

    /// Share of the way that is gone after the share `x` of the time; both 0 to 1, `x` is clamped
    /// to it.
    pub fn share(self, x: f64) -> f64 {
        let x = x.clamp(0.0, 1.0);
        match self {
            Self::Smooth => x * x * x * (10.0 + x * (-15.0 + 6.0 * x)),
            Self::Steady => x,
        }
    }

    /// How fast the share grows with the share `x` of the time: the derivative of [`Self::share`].
    fn slope(self, x: f64) -> f64 {
        match self {
            Self::Smooth => 30.0 * x * x * (1.0 + x * (x - 2.0)),
            Self::Steady => 1.0,
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Path {
    from_rad: f64,
    to_rad: f64,
    start_s: f64,
    over_s: f64,
    shape: PathShape,
}

/// A plain force on one axis.
#[derive(Clone, Copy, Debug)]
struct Push {
    force_n: f64,
    start_s: f64,
    rise_s: f64,
    end_s: f64,
}

/// The pilot's hand.
#[derive(Clone, Debug)]
pub struct Hand {
    grip_radius_m: f64,
    feel: HandFeel,
    grip: Option<[Path; 2]>,
    push: [Option<Push>; 2],
    desired: PoseAnchor,
}

impl Hand {
    /// A hand away from the stick; `grip_radius_m` is the reference point's distance from the
    /// pivot.
    pub fn new(grip_radius_m: f64, feel: HandFeel) -> Self {
        Self {
            grip_radius_m,
            feel,
            grip: None,
            push: [None; 2],
            desired: PoseAnchor::default(),
        }
    }

    /// Takes the grip where the stick is.
    pub fn take(&mut self, feel: HandFeel, at_rad: [f64; 2], now_s: f64) {
        self.feel = feel;
        self.grip = Some(at_rad.map(|at_rad| Path {
            from_rad: at_rad,
            to_rad: at_rad,
            start_s: now_s,
            over_s: 0.0,
            shape: PathShape::Steady,
        }));
    }

    /// Carries the grip's target to new angles; an axis given as `None` goes on as it does. No
    /// effect without a grip.
    pub fn carry(&mut self, to_rad: [Option<f64>; 2], over_s: f64, shape: PathShape, now_s: f64) {
        let Some(paths) = &mut self.grip else { return };
        for (path, to_rad) in paths.iter_mut().zip(to_rad) {
            if let Some(to_rad) = to_rad {
                *path = Path {
                    from_rad: path.target(now_s).0,
                    to_rad,
                    start_s: now_s,
                    over_s,
                    shape,
                };
            }
        }
    }

    /// Lets the grip go.
    pub fn let_go(&mut self) {
        self.grip = None;
    }

    /// Pushes with a plain force per axis from now, rising over `rise_s`, for `for_s` in all; on an
    /// axis with 0 what is under way goes on.
    pub fn push(&mut self, force_n: [f64; 2], rise_s: f64, for_s: f64, now_s: f64) {
        for (push, force_n) in self.push.iter_mut().zip(force_n) {
            if force_n != 0.0 {
                *push = Some(Push {
                    force_n,
                    start_s: now_s,
                    rise_s,
                    end_s: now_s + for_s,
                });
            }
        }
    }

    /// Whether target and pushes stay as they are between two instants.
    pub(crate) fn is_steady(&self, begin_s: f64, end_s: f64) -> bool {
        let mut paths = self.grip.iter().flatten();
        paths.all(|path| begin_s - path.start_s >= path.over_s)
            && self
                .push
                .iter()
                .flatten()
                .all(|push| push.is_steady(begin_s, end_s))
    }

    /// Writes down target, pushes and feel, where they are steady.
    pub(crate) fn note(&self, now_s: f64, bits: &mut StateBits) {
        bits.count(u64::from(self.grip.is_some()));
        for path in self.grip.iter().flatten() {
            bits.numbers(&[path.target(now_s).0]);
        }
        for push in &self.push {
            let force_n = push.as_ref().map(|push| push.share(now_s) * push.force_n);
            bits.numbers(&[force_n.unwrap_or(0.0)]);
        }
        let feel = &self.feel;
        bits.numbers(&[feel.stiffness_n_per_m, feel.damping_n_s_per_m, feel.limit_n]);
        self.desired.note(bits);
    }

    /// Whether the hand holds the grip.
    pub fn is_gripping(&self) -> bool {
        self.grip.is_some()
    }

    /// Target angles and rates of the path at an instant, rad and rad/s.
    pub fn target(&self, now_s: f64) -> Option<([f64; 2], [f64; 2])> {
        let [(pitch, pitch_rate), (roll, roll_rate)] = self
            .grip
            .as_ref()?
            .each_ref()
            .map(|path| path.target(now_s));
        Some(([pitch, roll], [pitch_rate, roll_rate]))
    }

    /// Torque of the hand on each axis of a stick at `pose` with the given rates, rad/s: N·m.
    pub fn torque_n_m(&self, pose: &Pose, rate_rad_per_s: [f64; 2], now_s: f64) -> [f64; 2] {
        let desired = self
            .target(now_s)
            .map(|(angle, rate)| (Pose::at(angle), rate));
        self.torque_towards(pose, rate_rad_per_s, desired, now_s)
    }

    /// What the hand does over a step, at the middle of which the stick is at `pose`: the torque of
    /// its pushes, N·m, and its pull at the grip, if it grips. For steps that follow each other
    /// closely.
    #[inline]
    pub fn pull_next(&mut self, pose: &Pose, now_s: f64) -> ([f64; 2], Option<GripPull>) {
        if self.grip.is_none() && self.push.iter().all(Option::is_none) {
            return ([0.0; 2], None);
        }
        let pull = self.target(now_s).map(|(angle, rate)| {
            let desired = self.desired.follow(angle);
            let r = self.grip_radius_m;
            let here = pose.place([0.0, 0.0, -r]);
            let levers_m = pose.levers(here);
            let force_n = self.force_n(&desired, rate, here, [0.0; 3]);
            GripPull {
                force_n,
                damping_n_s_per_m: self.feel.damping_n_s_per_m,
                stiffness_n_per_m: self.feel.stiffness_n_per_m,
                limit_n: self.feel.limit_n,
                levers_m,
                lever_square_m2: levers_m.map(|lever| dot(lever, lever)),
            }
        });
        (self.push_n_m(pose, now_s), pull)
    }

    /// Force of impedance and damping on a grip at `here` that moves with `speed`, body axes, N.
    #[inline]
    fn force_n(&self, desired: &Pose, rate: [f64; 2], here: [f64; 3], speed: [f64; 3]) -> [f64; 3] {
        let there = desired.place([0.0, 0.0, -self.grip_radius_m]);
        let levers = desired.levers(there);
        std::array::from_fn(|k| {
            let wish_speed = levers[0][k] * rate[0] + levers[1][k] * rate[1];
            self.feel.stiffness_n_per_m * (there[k] - here[k])
                + self.feel.damping_n_s_per_m * (wish_speed - speed[k])
        })
    }

    /// Torque of the pushes, N·m.
    #[inline]
    fn push_n_m(&self, pose: &Pose, now_s: f64) -> [f64; 2] {
        let r = self.grip_radius_m;
        let reach = [r * pose.roll.1, r];
        std::array::from_fn(|i| {
            self.push[i]
                .as_ref()
                .map_or(0.0, |push| push.share(now_s) * push.force_n * reach[i])
        })
    }

    /// Torque with the pose that the hand wants and its rates, rad/s, if it grips.
    fn torque_towards(
        &self,
        pose: &Pose,
        rate_rad_per_s: [f64; 2],
        desired: Option<(Pose, [f64; 2])>,
        now_s: f64,
    ) -> [f64; 2] {
        if self.grip.is_none() && self.push.iter().all(Option::is_none) {
            return [0.0; 2];
        }
        let mut torque_n_m = self.push_n_m(pose, now_s);
        if let Some((desired, rate)) = desired {
            let here = pose.place([0.0, 0.0, -self.grip_radius_m]);
            let levers = pose.levers(here);
            let speed = std::array::from_fn(|k| {
                levers[0][k] * rate_rad_per_s[0] + levers[1][k] * rate_rad_per_s[1]
            });
            let force = cut_to(self.feel.limit_n, self.force_n(&desired, rate, here, speed));
            torque_n_m[0] += dot(force, levers[0]);
            torque_n_m[1] += dot(force, levers[1]);
        }
        torque_n_m
    }
}

impl Path {
    /// Angle and rate at an instant, rad and rad/s.
    fn target(&self, now_s: f64) -> (f64, f64) {
        let (share, rate) = self.progress(now_s);
        let span = self.to_rad - self.from_rad;
        (self.from_rad + share * span, rate * span)
    }

    /// Share of the way and its rate, 1/s.
    fn progress(&self, now_s: f64) -> (f64, f64) {
        let gone = now_s - self.start_s;
        if gone >= self.over_s || self.over_s <= 0.0 {
            return (1.0, 0.0);
        }
        let u = (gone / self.over_s).max(0.0);
        (self.shape.share(u), self.shape.slope(u) / self.over_s)
    }
}

impl Push {
    /// Over by `begin_s`, or at its full force up to `end_s`.
    fn is_steady(&self, begin_s: f64, end_s: f64) -> bool {
        begin_s >= self.end_s || (begin_s - self.start_s >= self.rise_s && end_s <= self.end_s)
    }

    fn share(&self, now_s: f64) -> f64 {
        if now_s < self.start_s || now_s >= self.end_s {
            0.0
        } else if now_s - self.start_s < self.rise_s {
            (now_s - self.start_s) / self.rise_s
        } else {
            1.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FEEL: HandFeel = HandFeel {
        stiffness_n_per_m: 1000.0,
        damping_n_s_per_m: 10.0,
        limit_n: 100.0,
    };

    #[test]
    fn what_begins_on_one_axis_leaves_the_other_as_it_is() {
        let mut hand = Hand::new(0.4, FEEL);
        hand.take(FEEL, [0.0; 2], 0.0);
        hand.carry([Some(0.2), None], 2.0, PathShape::Steady, 0.0);
        hand.carry([None, Some(-0.1)], 1.0, PathShape::Steady, 1.0);
        let (angle, rate) = hand.target(1.5).unwrap();
        assert!((angle[0] - 0.15).abs() < 1e-12 && (rate[0] - 0.1).abs() < 1e-12);
        assert!((angle[1] + 0.05).abs() < 1e-12 && (rate[1] + 0.1).abs() < 1e-12);
        hand.let_go();
        hand.push([0.0, 10.0], 0.0, 2.0, 0.0);
        hand.push([5.0, 0.0], 0.0, 2.0, 1.0);
        let upright = Pose::at([0.0; 2]);
        assert_eq!(hand.torque_n_m(&upright, [0.0; 2], 0.5), [0.0, 4.0]);
        assert_eq!(hand.torque_n_m(&upright, [0.0; 2], 1.5), [2.0, 4.0]);
        assert_eq!(hand.torque_n_m(&upright, [0.0; 2], 2.5), [2.0, 0.0]);
        assert_eq!(hand.torque_n_m(&upright, [0.0; 2], 3.5), [0.0; 2]);
    }

    #[test]
    fn a_shape_is_called_as_in_a_file() {
        use serde::de::value::{Error, StrDeserializer};
        for shape in [PathShape::Smooth, PathShape::Steady] {
            let name: StrDeserializer<'_, Error> = StrDeserializer::new(shape.name());
            assert_eq!(PathShape::deserialize(name), Ok(shape));
        }
    }

    /// The course of a carry: its slope is the derivative of its share, and it begins and ends
    /// where it should.
    #[test]
    fn the_slope_is_that_of_the_share() {
        for shape in [PathShape::Smooth, PathShape::Steady] {
            assert_eq!(
                [0.0, 1.0, -3.0, 4.0].map(|x| shape.share(x)),
                [0.0, 1.0, 0.0, 1.0]
            );
            for k in 1..20 {
                let x = f64::from(k) / 20.0;
                let slope = (shape.share(x + 1e-5) - shape.share(x - 1e-5)) / 2e-5;
                assert!((shape.slope(x) - slope).abs() < 1e-8, "{shape:?} at {x}");
            }
        }
    }

    /// A hand is steady when every carry is over and every push is over, or at its full force to
    /// the end.
    #[test]
    fn a_hand_is_steady_when_nothing_is_under_way() {
        let mut hand = Hand::new(0.4, FEEL);
        assert!(hand.is_steady(0.0, 0.1));
        hand.take(FEEL, [0.0; 2], 0.0);
        hand.carry([None, Some(0.1)], 1.0, PathShape::Steady, 2.0);
        assert!(!hand.is_steady(2.9, 3.0) && hand.is_steady(3.0, 3.1));
        hand.push([0.0, 5.0], 0.5, 2.0, 4.0);
        for (begin_s, end_s, is_steady) in [
            (4.0, 4.1, false),
            (4.4, 4.6, false),
            (4.5, 4.6, true),
            (5.9, 6.0, true),
            (5.9, 6.1, false),
            (6.0, 6.1, true),
        ] {
            assert_eq!(hand.is_steady(begin_s, end_s), is_steady, "{begin_s}");
        }
    }
}

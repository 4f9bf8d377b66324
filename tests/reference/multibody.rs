//! The same gimbal on rapier's reduced-coordinate multibody, staggered by half a step.
//!
//! Rapier steps v⁺ = v + h a(q, v), q⁺ = q + h v⁺. Read with v standing for the rate half a step
//! before q, this is the leapfrog scheme; so rates start half a step early and torques of the user
//! that depend on the rate take it extrapolated to the angle's instant.

use rapier3d::prelude::*;

use super::bodies::{Case, GRAVITY_M_PER_S2, tensor};

/// Step in which the acceleration at the start is measured, s.
const PROBE_S: f64 = 1.0e-7;

/// A gimbal in rapier.
pub struct Engine {
    world: PhysicsWorld,
    frame: RigidBodyHandle,
    inner: RigidBodyHandle,
    joint: MultibodyJointHandle,
    angle_rad: [f64; 2],
    /// Rate half a step before the angle.
    rate_rad_per_s: [f64; 2],
    /// Rate one and a half steps before the angle.
    rate_before_rad_per_s: [f64; 2],
}

impl Engine {
    /// The gimbal of `case` at its start, to be stepped by `step_s` under `torque(angle, rate)`.
    pub fn new(case: &Case, step_s: f64, torque: &impl Fn([f64; 2], [f64; 2]) -> [f64; 2]) -> Self {
        let mut probe = Self::at(case, PROBE_S, case.start_rad_per_s);
        probe.rate_before_rad_per_s = probe.rate_rad_per_s;
        probe.step(torque);
        let accel: [f64; 2] =
            std::array::from_fn(|i| (probe.rate_rad_per_s[i] - case.start_rad_per_s[i]) / PROBE_S);
        let early = |steps: f64| {
            std::array::from_fn(|i| case.start_rad_per_s[i] - steps * step_s * accel[i])
        };
        let mut engine = Self::at(case, step_s, early(0.5));
        engine.rate_before_rad_per_s = early(1.5);
        engine
    }

    fn at(case: &Case, step_s: f64, rate_rad_per_s: [f64; 2]) -> Self {
        let mut world = PhysicsWorld::new();
        world.gravity = Vector::new(0.0, 0.0, GRAVITY_M_PER_S2);
        world.integration_parameters.dt = step_s;
        // Rapier's solver iterations are substeps with the user's torque frozen: only one keeps the
        // scheme.
        world.integration_parameters.num_solver_iterations = 1;
        let body = |mass_kg: f64, cg_m: [f64; 3], inertia: [f64; 6]| {
            let [x, y, z] = tensor(inertia).map(Vector::from_array);
            let mass = MassProperties::with_inertia_matrix(
                Vector::from_array(cg_m),
                mass_kg,
                Matrix::from_cols(x, y, z),
            );
            RigidBodyBuilder::dynamic()
                .additional_mass_properties(mass)
                .can_sleep(false)
        };
        let ground = world.insert_body(RigidBodyBuilder::fixed());
        let frame = world.insert_body(body(
            case.frame_mass_kg,
            case.frame_cg_m,
            case.frame_inertia_kg_m2,
        ));
        let inner = world.insert_body(body(
            case.inner_mass_kg,
            case.inner_cg_m,
            case.inner_inertia_kg_m2,
        ));
        world
            .insert_multibody_joint(ground, frame, RevoluteJointBuilder::new(Vector::Y).build())
            .expect("a chain without a loop");
        let joint = world
            .insert_multibody_joint(frame, inner, RevoluteJointBuilder::new(Vector::X).build())
            .expect("a chain without a loop");
        // The first step folds the bodies' masses in and finds the root fixed; it must not move
        // anything.
        world.gravity = Vector::new(0.0, 0.0, 0.0);
        world.step();
        world.gravity = Vector::new(0.0, 0.0, GRAVITY_M_PER_S2);
        let (multibody, _) = world
            .multibody_joints
            .get_mut(joint)
            .expect("the joint just made");
        multibody.forward_kinematics(&world.bodies, true);
        multibody.damping_mut().fill(0.0);
        multibody.apply_displacements(&case.start_rad);
        multibody
            .generalized_velocity_mut()
            .copy_from_slice(&rate_rad_per_s);
        multibody.forward_kinematics(&world.bodies, true);
        multibody.update_rigid_bodies(&mut world.bodies, true);
        Self {
            world,
            frame,
            inner,
            joint,
            angle_rad: case.start_rad,
            rate_rad_per_s,
            rate_before_rad_per_s: rate_rad_per_s,
        }
    }

    /// Angles, rad.
    pub fn angle_rad(&self) -> [f64; 2] {
        self.angle_rad
    }

    /// Rates at the instant of the angles, extrapolated, rad/s.
    pub fn rate_rad_per_s(&self) -> [f64; 2] {
        std::array::from_fn(|i| 1.5 * self.rate_rad_per_s[i] - 0.5 * self.rate_before_rad_per_s[i])
    }

    /// One step under `torque(angle, rate)` about the two axes.
    pub fn step(&mut self, torque: &impl Fn([f64; 2], [f64; 2]) -> [f64; 2]) {
        let [pitch, roll] = torque(self.angle_rad, self.rate_rad_per_s());
        let (s, c) = libm::sincos(self.angle_rad[0]);
        let bodies = &mut self.world.bodies;
        bodies[self.frame].reset_torques(true);
        bodies[self.frame].add_torque(Vector::new(-roll * c, pitch, roll * s), true);
        bodies[self.inner].reset_torques(true);
        bodies[self.inner].add_torque(Vector::new(roll * c, 0.0, -roll * s), true);
        self.world.step();
        let (multibody, _) = self
            .world
            .multibody_joints
            .get(self.joint)
            .expect("the joint lives as long as the world");
        self.rate_before_rad_per_s = self.rate_rad_per_s;
        let rate = multibody.generalized_velocity();
        self.rate_rad_per_s = [rate[0], rate[1]];
        // Links 0, 1, 2 are ground, frame, inner; coordinate 3 is the free turn about the joint's
        // own x.
        self.angle_rad =
            [1, 2].map(|link| multibody.link(link).expect("three links").joint().coords()[3]);
    }
}

//! The stick as a two-degree-of-freedom gimbal in reduced coordinates.
//!
//! Pitch θ turns the outer frame about +y, roll φ turns the inner yoke about the x axis that the
//! frame carries (ISO 1151 body axes: x forward, y right, z down). With ω = (φ', θ' cos φ, −θ' sin
//! φ) in the inner frame and `I` the inner body's inertia about the pivot,
//!
//! ```text
//! M_θθ = J + I_yy cos²φ + I_zz sin²φ − 2 I_yz sin φ cos φ
//! M_θφ = I_xy cos φ − I_xz sin φ,   M_φφ = I_xx
//! ```
//!
//! and, as M depends on φ only, Lagrange's equations give the velocity terms used in `bias`.
//! docs/model/stick.md has the derivation.

use super::friction::{DryFriction, Held, Slide};
use super::pose::{Pose, dot};
use super::train::damper_weight;
use crate::rig::{GRAVITY_M_PER_S2, MassProperties};

/// Gauss-Seidel sweeps for the dry friction of both axes; holds to 1e-8 rad in 20 s
/// (tests/reference/pivot.rs).
const FRICTION_SWEEPS: usize = 8;
/// Share of an axis's largest friction impulse below which a sweep's change ends the sweeps:
/// rounding, not motion.
const FRICTION_SETTLED: f64 = 1.0e-13;

/// Everything constant about the gimbal.
#[derive(Clone, Debug)]
pub struct GimbalParams {
    mass: MassProperties,
    friction: [DryFriction; 2],
}

/// Angles and rates, `[pitch, roll]`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GimbalState {
    /// Angles, rad.
    pub angle_rad: [f64; 2],
    /// Rates, rad/s.
    pub rate_rad_per_s: [f64; 2],
    /// Whether each pivot's dry friction holds it at rest.
    pub stuck: [bool; 2],
    /// What holds the pivots that are stuck.
    pub held: [Held; 2],
}

/// What a kick leads to.
struct Kicked {
    rate_rad_per_s: [f64; 2],
    stuck: [bool; 2],
    held: [Held; 2],
    /// The `damper_weight` of each axis.
    weight: [f64; 2],
}

impl Kicked {
    #[inline]
    fn put(self, state: &mut GimbalState) {
        state.rate_rad_per_s = self.rate_rad_per_s;
        state.stuck = self.stuck;
        state.held = self.held;
    }
}

/// What gives way on an axis beside its pivot's friction.
#[derive(Clone, Copy, Debug, Default)]
struct Give {
    damping_n_m_s_per_rad: f64,
    stiffness_n_m_per_rad: f64,
}

/// A hand at the grip over one step: F = force − D L v − K L Δq, with L the grip's levers, cut to a
/// limit.
#[derive(Clone, Copy, Debug)]
pub struct GripPull {
    /// Force at the mid-step angles on a stick without rates, body axes, N.
    pub force_n: [f64; 3],
    /// Damping towards the path, N·s/m.
    pub damping_n_s_per_m: f64,
    /// Stiffness towards the path, N/m.
    pub stiffness_n_per_m: f64,
    /// Largest force, N.
    pub limit_n: f64,
    /// Way of the grip with each angle, body axes, m/rad; at a right angle to each other.
    pub levers_m: [[f64; 3]; 2],
    /// Squares of their lengths, m².
    pub lever_square_m2: [f64; 2],
}

/// A force, N, or what a hand that gives no more than `limit_n` has of it.
#[inline]
pub(crate) fn cut_to(limit_n: f64, force_n: [f64; 3]) -> [f64; 3] {
    let square = dot(force_n, force_n);
    if square > limit_n * limit_n {
        let share = limit_n / square.sqrt();
        force_n.map(|force| force * share)
    } else {
        force_n
    }
}

impl GripPull {
    /// Torque on a stick without rates, N·m.
    pub(crate) fn firm_n_m(&self) -> [f64; 2] {
        self.torque_n_m(&cut_to(self.limit_n, self.force_n))
    }

    fn torque_n_m(&self, force_n: &[f64; 3]) -> [f64; 2] {
        [
            dot(*force_n, self.levers_m[0]),
            dot(*force_n, self.levers_m[1]),
        ]
    }
}

impl GimbalParams {
    /// A gimbal of the given masses and pivot friction.
    pub fn new(mass: MassProperties, friction: [DryFriction; 2]) -> Self {
        Self { mass, friction }
    }

    /// Mass matrix `[M_θθ, M_θφ, M_φφ]` in a pose, kg·m².
    pub fn mass_matrix(&self, pose: &Pose) -> [f64; 3] {
        let (s, c) = pose.roll;
        self.mass_matrix_at(s, c).0
    }

    /// The matrix and its derivative with respect to φ, `([M_θθ, M_θφ, M_φφ], [M_θθ', M_θφ'])`.
    fn mass_matrix_at(&self, s: f64, c: f64) -> ([f64; 3], [f64; 2]) {
        let i = &self.mass.inner_inertia_kg_m2;
        let m = [
            self.mass.frame_inertia_kg_m2 + i[1][1] * c * c + i[2][2] * s * s
                - 2.0 * i[1][2] * s * c,
            i[0][1] * c - i[0][2] * s,
            i[0][0],
        ];
        let dm = [
            2.0 * (i[2][2] - i[1][1]) * s * c - 2.0 * i[1][2] * (c * c - s * s),
            -i[0][1] * s - i[0][2] * c,
        ];
        (m, dm)
    }

    /// Torque of gravity about each axis at the given angles, N·m.
    pub fn gravity(&self, angle_rad: [f64; 2]) -> [f64; 2] {
        let (st, ct) = libm::sincos(angle_rad[0]);
        let (sp, cp) = libm::sincos(angle_rad[1]);
        self.gravity_at(st, ct, sp, cp)
    }

    fn gravity_at(&self, st: f64, ct: f64, sp: f64, cp: f64) -> [f64; 2] {
        let inner = self.mass.inner_mass_kg * GRAVITY_M_PER_S2;
        let frame = self.mass.frame_mass_kg * GRAVITY_M_PER_S2;
        let [cx, cy, cz] = self.mass.inner_cg_m;
        let [fx, _, fz] = self.mass.frame_cg_m;
        [
            inner * (-ct * cx - st * (cy * sp + cz * cp)) + frame * (-ct * fx - st * fz),
            inner * ct * (cy * cp - cz * sp),
        ]
    }

    /// Smallest moment of inertia that each axis can show while the other is free, for roll angles
    /// of at most `roll_rad`, kg·m²: 1/(M⁻¹)ᵢᵢ, looked for at 65 angles.
    pub(crate) fn least_inertia_kg_m2(&self, roll_rad: [f64; 2]) -> [f64; 2] {
        let [from, to] = roll_rad;
        let mut least = [f64::INFINITY; 2];
        for k in 0..=64 {
            let (s, c) = libm::sincos(from + (to - from) * f64::from(k) / 64.0);
            let (m, _) = self.mass_matrix_at(s, c);
            least[0] = least[0].min(m[0] - m[1] * m[1] / m[2]);
            least[1] = least[1].min(m[2] - m[1] * m[1] / m[0]);
        }
        least
    }

    /// Largest change of potential energy that turning the stick can bring, J: twice weight times
    /// the distance of the centre of gravity, of both bodies.
    pub(crate) fn largest_fall_j(&self) -> f64 {
        let far = |cg: [f64; 3]| dot(cg, cg).sqrt();
        2.0 * GRAVITY_M_PER_S2
            * (self.mass.inner_mass_kg * far(self.mass.inner_cg_m)
                + self.mass.frame_mass_kg * far(self.mass.frame_cg_m))
    }

    /// Kinetic plus potential energy, J; zero potential with the centre of gravity at the pivot
    /// height.
    pub fn energy_j(&self, state: &GimbalState) -> f64 {
        self.energy_at(&Pose::at(state.angle_rad), state)
    }

    /// [`Self::energy_j`] with the sines and cosines of the angles at hand.
    pub(crate) fn energy_at(&self, pose: &Pose, state: &GimbalState) -> f64 {
        let (st, ct) = pose.pitch;
        let (sp, cp) = pose.roll;
        let (m, _) = self.mass_matrix_at(sp, cp);
        let [a, b] = state.rate_rad_per_s;
        let [cx, cy, cz] = self.mass.inner_cg_m;
        let [fx, _, fz] = self.mass.frame_cg_m;
        let drop_inner = -st * cx + ct * (cy * sp + cz * cp);
        let drop_frame = -st * fx + ct * fz;
        0.5 * (m[0] * a * a + 2.0 * m[1] * a * b + m[2] * b * b)
            - GRAVITY_M_PER_S2
                * (self.mass.inner_mass_kg * drop_inner + self.mass.frame_mass_kg * drop_frame)
    }

    /// The kick of one drift-kick-drift step: rates after `step_s` under `torque_n_m` plus gravity,
    /// inertial torques, viscous and dry friction, all taken at the mid-step angles.
    ///
    /// Viscous friction is taken at a mean of the old and new rate (`damper_weight`); inertial
    /// torques at the mean of both.
    pub fn kick(
        &self,
        mid_angle_rad: [f64; 2],
        state: &mut GimbalState,
        torque_n_m: [f64; 2],
        step_s: f64,
    ) {
        self.kick_at(&Pose::at(mid_angle_rad), state, torque_n_m, step_s);
    }

    /// [`Self::kick`] with the sines and cosines of the mid-step angles at hand.
    pub fn kick_at(&self, mid: &Pose, state: &mut GimbalState, torque_n_m: [f64; 2], step_s: f64) {
        self.kicked(mid, state, torque_n_m, [Give::default(); 2], step_s)
            .put(state);
    }

    /// [`Self::kick_at`] with a hand at the grip; gives the hand's torque on each axis, N·m.
    ///
    /// Stiffness and damping of the hand are implicit, so a stiff hand on a light stick cannot
    /// chatter. A force beyond the hand's limit is cut to it in the direction that it would have
    /// had.
    pub fn kick_gripped(
        &self,
        mid: &Pose,
        state: &mut GimbalState,
        torque_n_m: [f64; 2],
        grip: &GripPull,
        step_s: f64,
    ) -> [f64; 2] {
        let before = state.rate_rad_per_s;
        let give: [Give; 2] = std::array::from_fn(|i| Give {
            damping_n_m_s_per_rad: grip.damping_n_s_per_m * grip.lever_square_m2[i],
            stiffness_n_m_per_rad: grip.stiffness_n_per_m * grip.lever_square_m2[i],
        });
        let firm = grip.torque_n_m(&grip.force_n);
        let with = |pull: [f64; 2]| [torque_n_m[0] + pull[0], torque_n_m[1] + pull[1]];
        let kicked = self.kicked(mid, state, with(firm), give, step_s);
        let (next, weight) = (kicked.rate_rad_per_s, kicked.weight);
        // What the hand then pulled with.
        let slack: [f64; 2] = std::array::from_fn(|i| {
            let change = next[i] - before[i];
            grip.damping_n_s_per_m * (before[i] + weight[i] * change)
                + 0.25 * step_s * grip.stiffness_n_per_m * change
        });
        let levers = &grip.levers_m;
        let force: [f64; 3] = std::array::from_fn(|k| {
            grip.force_n[k] - levers[0][k] * slack[0] - levers[1][k] * slack[1]
        });
        if dot(force, force) <= grip.limit_n * grip.limit_n {
            kicked.put(state);
            return grip.torque_n_m(&force);
        }
        let pull = grip.torque_n_m(&cut_to(grip.limit_n, force));
        self.kicked(mid, state, with(pull), [Give::default(); 2], step_s)
            .put(state);
        pull
    }

    /// A kick from `state`, which is left as it is.
    #[inline]
    fn kicked(
        &self,
        mid: &Pose,
        state: &GimbalState,
        torque_n_m: [f64; 2],
        give: [Give; 2],
        step_s: f64,
    ) -> Kicked {
        let (st, ct) = mid.pitch;
        let (sp, cp) = mid.roll;
        let (m, dm) = self.mass_matrix_at(sp, cp);
        let g = self.gravity_at(st, ct, sp, cp);
        let force = [torque_n_m[0] + g[0], torque_n_m[1] + g[1]];
        let v = state.rate_rad_per_s;
        // (M + h w C + h² K/4) v⁺ = (M − h (1 − w) C + h² K/4) v + h (f − bias(v_mid)); two passes
        // settle v_mid.
        let mut new = [m[0], m[2]];
        let mut old = [m[0], m[2]];
        let mut weights = [0.5; 2];
        for i in 0..2 {
            let drag =
                step_s * (self.friction[i].viscous_n_m_s_per_rad + give[i].damping_n_m_s_per_rad);
            let weight = damper_weight(drag, m[2 * i]);
            let spring = 0.25 * step_s * step_s * give[i].stiffness_n_m_per_rad;
            weights[i] = weight;
            new[i] += weight * drag + spring;
            old[i] += spring - (1.0 - weight) * drag;
        }
        let inv = invert([new[0], m[1], new[1]]);
        let momentum = [old[0] * v[0] + m[1] * v[1], m[1] * v[0] + old[1] * v[1]];
        let mut free = v;
        let mut p = momentum;
        for _ in 0..2 {
            let mid = [0.5 * (v[0] + free[0]), 0.5 * (v[1] + free[1])];
            let bias = [
                dm[0] * mid[0] * mid[1] + dm[1] * mid[1] * mid[1],
                -0.5 * dm[0] * mid[0] * mid[0],
            ];
            p = [
                momentum[0] + step_s * (force[0] - bias[0]),
                momentum[1] + step_s * (force[1] - bias[1]),
            ];
            free = [inv[0] * p[0] + inv[1] * p[1], inv[1] * p[0] + inv[2] * p[1]];
        }
        // What is at rest is held by stiction.
        let rested = [state.stuck[0] || v[0] == 0.0, state.stuck[1] || v[1] == 0.0];
        let mut stuck = rested;
        let mut held = state.held;
        let mut next = self.apply_friction(free, p, inv, step_s, &mut stuck, &mut held);
        let is_cut = (0..2).any(|i| {
            let friction = &self.friction[i];
            if rested[i] {
                !stuck[i] && friction.stiction_n_m > friction.coulomb_n_m
            } else {
                next[i] * v[i] <= 0.0 && friction.stiction_n_m > 0.0
            }
        });
        if is_cut {
            let slide = Slide {
                friction: &self.friction,
                rate: v,
                change: [free[0] - v[0], free[1] - v[1]],
                inverse: inv,
                step_s,
                held: state.held,
            };
            (next, stuck, held) = slide.cut(rested);
        }
        Kicked {
            rate_rad_per_s: next,
            stuck,
            held,
            weight: weights,
        }
    }

    /// Dry friction as a projection of the rates `v`, whose momentum is `p`: impulses within ±T h
    /// that bring a rate to zero where they can, found by projected Gauss-Seidel: right for a step
    /// in which no pivot changes between sliding and resting. `held` goes on for those that are
    /// held.
    #[inline]
    fn apply_friction(
        &self,
        mut v: [f64; 2],
        p: [f64; 2],
        inv: [f64; 3],
        step_s: f64,
        stuck: &mut [bool; 2],
        held: &mut [Held; 2],
    ) -> [f64; 2] {
        let bound: [f64; 2] = std::array::from_fn(|i| {
            let f = &self.friction[i];
            step_s
                * if stuck[i] {
                    f.stiction_n_m
                } else {
                    f.coulomb_n_m
                }
        });
        if p[0].abs() < bound[0] && p[1].abs() < bound[1] {
            // Friction can take all the momentum: both axes rest, and nothing is left to search.
            *stuck = [true; 2];
            *held = [held[0].and_then(-p[0]), held[1].and_then(-p[1])];
            return [0.0; 2];
        }
        let held_by = [1.0 / inv[0], 1.0 / inv[2]];
        let mut impulse = [0.0_f64; 2];
        for _ in 0..FRICTION_SWEEPS {
            let mut moved = false;
            for i in 0..2 {
                let wanted = (impulse[i] - v[i] * held_by[i]).clamp(-bound[i], bound[i]);
                let change = wanted - impulse[i];
                impulse[i] = wanted;
                v[0] += if i == 0 { inv[0] } else { inv[1] } * change;
                v[1] += if i == 0 { inv[1] } else { inv[2] } * change;
                moved |= change.abs() > FRICTION_SETTLED * bound[i];
            }
            if !moved || inv[1] == 0.0 {
                break;
            }
        }
        for i in 0..2 {
            stuck[i] = bound[i] > 0.0 && impulse[i].abs() < bound[i];
            if stuck[i] {
                // What the sweeps leave is rounding, not motion.
                v[i] = 0.0;
                held[i] = held[i].and_then(impulse[i]);
            }
        }
        v
    }
}

/// Inverse of a symmetric 2×2 matrix `[a, b, c]` = [[a, b], [b, c]].
pub(crate) fn invert(m: [f64; 3]) -> [f64; 3] {
    let per_det = 1.0 / (m[0] * m[2] - m[1] * m[1]);
    [m[2] * per_det, -m[1] * per_det, m[0] * per_det]
}

//! The trim drive of one axis: trim shaft, spur pair with backlash, stepper and its windings.
//!
//! One drift-kick-drift substep: half drift, cartridge and mesh torque, half a current update,
//! electromagnetic torque, kick with dry friction as a projection of the rate, half a current
//! update, half drift. Motor angles are counted positive in the sense that turns the trim shaft
//! positive, so the reversal of a spur pair does not appear.
//!
//! The own dampers of shaft and rotor are implicit (`damper_weight`): they cannot blow up, whatever
//! the substep. Springs and the mesh's damping are explicit; `scheme.rs` bounds the substep for
//! them.

use super::cartridge::CartridgeParams;
use super::turn::Anchor;
use super::winding::{Phase, WindingParams};
use crate::state_bits::StateBits;

/// Share of the squared step with which an acceleration shifts the angles at which forces are
/// taken.
///
/// Drift, kick, drift turns an oscillation of a spring too fast by the share (ω h)²/24. With the
/// forces taken at x + h² a/12 instead of x, this error is gone (Rowlands 1991, derived in
/// docs/model/stick.md); `a` is that of the last step.
pub(crate) const CURVE: f64 = 1.0 / 12.0;

/// Constants of one trim drive.
#[derive(Clone, Copy, Debug)]
pub struct TrainParams {
    /// Cartridge between stick and shaft.
    pub cartridge: CartridgeParams,
    /// Inertia of the trim shaft with its gear, kg·m².
    pub shaft_inertia_kg_m2: f64,
    /// Dry friction of the trim shaft, N·m.
    pub shaft_friction_n_m: f64,
    /// Motor turns per shaft turn.
    pub ratio: f64,
    /// Half of the angular backlash, at the shaft, rad.
    pub half_backlash_rad: f64,
    /// Mesh stiffness at the shaft, N·m/rad.
    pub mesh_n_m_per_rad: f64,
    /// Mesh damping at the shaft, N·m·s/rad.
    pub mesh_damping_n_m_s_per_rad: f64,
    /// Share of the mesh torque lost to friction of the teeth: 1 − efficiency.
    pub mesh_loss: f64,
    /// Rotor inertia, kg·m².
    pub rotor_inertia_kg_m2: f64,
    /// Rotor teeth: electrical cycles per turn.
    pub rotor_teeth: f64,
    /// Torque constant of one phase, N·m/A.
    pub kt_n_m_per_a: f64,
    /// Detent torque, N·m.
    pub detent_n_m: f64,
    /// Dry friction of the rotor, N·m.
    pub rotor_friction_n_m: f64,
    /// Viscous friction of the rotor, N·m·s/rad.
    pub rotor_viscous_n_m_s_per_rad: f64,
    /// Electrical angle of the rotor when the trim shaft is at zero, rad.
    pub rotor_zero_rad: f64,
    /// Winding, for half a substep.
    pub winding: WindingParams,
    /// Substep, s.
    pub substep_s: f64,
}

/// State of one trim drive.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TrainState {
    /// Trim shaft angle, rad.
    pub shaft_rad: f64,
    /// Trim shaft rate, rad/s.
    pub shaft_rad_per_s: f64,
    /// Rotor angle at the motor shaft, rad; `shaft · ratio` in the middle of the backlash.
    pub rotor_rad: f64,
    /// Rotor rate, rad/s.
    pub rotor_rad_per_s: f64,
    /// Winding currents, A.
    pub current_a: [f64; 2],
    /// By how much the gear has slipped over its teeth, at the shaft, rad.
    pub slipped_rad: f64,
    pub(crate) shaft_accel: f64,
    pub(crate) rotor_accel: f64,
    /// For the electrical angle.
    pub(crate) turn: Anchor,
}

impl TrainState {
    /// Whether nothing of it moves.
    #[inline]
    pub(crate) fn is_still(&self) -> bool {
        self.shaft_rad_per_s == 0.0
            && self.rotor_rad_per_s == 0.0
            && self.shaft_accel == 0.0
            && self.rotor_accel == 0.0
    }

    /// All of it, bit for bit.
    #[inline]
    pub(crate) fn bits(&self) -> [u64; 12] {
        let [anchor_rad, sin, cos] = self.turn.numbers();
        [
            self.shaft_rad,
            self.shaft_rad_per_s,
            self.rotor_rad,
            self.rotor_rad_per_s,
            self.slipped_rad,
            self.shaft_accel,
            self.rotor_accel,
            self.current_a[0],
            self.current_a[1],
            anchor_rad,
            sin,
            cos,
        ]
        .map(f64::to_bits)
    }

    /// Writes it down.
    pub(crate) fn note(&self, bits: &mut StateBits) {
        for number in self.bits() {
            bits.count(number);
        }
    }
}

/// What the driver does during a step.
#[derive(Clone, Copy, Debug)]
pub struct TrainDrive {
    /// Both windings.
    pub phase: [Phase; 2],
    /// Motor supply, V.
    pub supply_v: f64,
}

/// The stick's angle as a function of time within a stick step.
#[derive(Clone, Copy, Debug, Default)]
pub struct StickPath {
    /// Angle at the start, rad.
    pub angle_rad: f64,
    /// Rate at the start, rad/s.
    pub rate_rad_per_s: f64,
    /// Acceleration carried over from the step before, rad/s².
    pub accel_rad_per_s2: f64,
}

impl StickPath {
    /// Angle and rate `gone_s` after the start.
    #[inline]
    fn at(&self, gone_s: f64) -> (f64, f64) {
        let Self {
            angle_rad,
            rate_rad_per_s: rate,
            accel_rad_per_s2: accel,
        } = self;
        (
            angle_rad + gone_s * (rate + 0.5 * accel * gone_s),
            rate + accel * gone_s,
        )
    }
}

/// Sums over the substeps of a stick step.
#[derive(Clone, Copy, Debug, Default)]
pub struct TrainLoad {
    /// Cartridge torque on the trim shaft, N·m, summed over substeps.
    pub cartridge_n_m: f64,
    /// Electrical power drawn, W, summed over substeps.
    pub power_w: f64,
}

impl TrainLoad {
    /// Adds a substep.
    #[inline]
    pub(crate) fn add(&mut self, work: &Substep) {
        self.cartridge_n_m += work.cartridge_n_m;
        self.power_w += work.power_w;
    }
}

/// What a substep did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Substep {
    /// Cartridge torque on the trim shaft, N·m.
    pub cartridge_n_m: f64,
    /// Electrical power drawn, W.
    pub power_w: f64,
    /// Mesh torque on the trim shaft, N·m.
    pub mesh_n_m: f64,
    /// Voltages of both windings in either half, V.
    pub volts: [[f64; 2]; 2],
}

/// Divisions done once instead of in every substep.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reciprocals {
    ratio: f64,
    substep_s: f64,
    shaft: Damped,
    rotor: Damped,
}

/// A body with its own implicit damper: v' = keep · v + gain · F, F without the damper's part on
/// the body's own rate.
#[derive(Clone, Copy, Debug)]
struct Damped {
    keep: f64,
    /// Substep over inertia and damper, s/(kg·m²).
    gain: f64,
    /// Share of the new rate in the rate that the damper feels.
    weight: f64,
}

impl Damped {
    /// A body of `inertia_kg_m2` with a damper of `damping_n_m_s_per_rad`, for substeps of
    /// `step_s`: J (v' − v) = h (F − c ((1 − w) v + w v')).
    fn new(inertia_kg_m2: f64, damping_n_m_s_per_rad: f64, step_s: f64) -> Self {
        let drag = step_s * damping_n_m_s_per_rad;
        let weight = damper_weight(drag, inertia_kg_m2);
        let reciprocal = 1.0 / (inertia_kg_m2 + weight * drag);
        Self {
            keep: (inertia_kg_m2 - (1.0 - weight) * drag) * reciprocal,
            gain: step_s * reciprocal,
            weight,
        }
    }

    /// Rate that the damper feels.
    #[inline]
    fn felt(&self, before: f64, after: f64) -> f64 {
        before + self.weight * (after - before)
    }
}

/// Share w of the new rate in the rate that an implicit damper feels, from step times damping and
/// the inertia in the same unit: J (v' − v) = −hc ((1 − w) v + w v').
///
/// One half, of second order, up to hc = 2 J; beyond it 1 − J/hc, with which the damper alone
/// brings its rate to zero within the step. One half there too would turn the rate's sign in every
/// step, and let a stiff damper ring.
#[inline]
pub(crate) fn damper_weight(drag: f64, inertia: f64) -> f64 {
    if drag <= 2.0 * inertia {
        0.5
    } else {
        1.0 - inertia / drag
    }
}

impl TrainParams {
    /// Electrical angle of the rotor, rad.
    pub fn electrical_rad(&self, state: &TrainState) -> f64 {
        self.electrical_at(state.rotor_rad)
    }

    #[inline]
    fn electrical_at(&self, rotor_rad: f64) -> f64 {
        self.rotor_teeth * rotor_rad + self.rotor_zero_rad
    }

    /// Runs `substeps` substeps along `path`.
    #[inline]
    pub fn run(
        &self,
        state: &mut TrainState,
        drive: &TrainDrive,
        path: &StickPath,
        substeps: u32,
    ) -> TrainLoad {
        let mut load = TrainLoad::default();
        let reciprocals = self.reciprocals();
        for k in 0..substeps {
            load.add(&self.substep(&reciprocals, state, drive, path, k));
        }
        load
    }

    /// Reciprocals of this law; to be made anew when its cartridge changes.
    pub(crate) fn reciprocals(&self) -> Reciprocals {
        Reciprocals {
            ratio: 1.0 / self.ratio,
            substep_s: 1.0 / self.substep_s,
            shaft: Damped::new(
                self.shaft_inertia_kg_m2,
                self.cartridge.damping_n_m_s_per_rad,
                self.substep_s,
            ),
            rotor: Damped::new(
                self.rotor_inertia_kg_m2,
                self.rotor_viscous_n_m_s_per_rad,
                self.substep_s,
            ),
        }
    }

    /// Kinetic energy of shaft and rotor and what cartridge, mesh and windings store, J, with the
    /// stick at `stick_rad`.
    pub(crate) fn energy_j(&self, s: &TrainState, stick_rad: f64) -> f64 {
        let deep = ((s.rotor_rad / self.ratio - s.shaft_rad + s.slipped_rad).abs()
            - self.half_backlash_rad)
            .max(0.0);
        let [a, b] = s.current_a;
        self.cartridge.energy_j(stick_rad - s.shaft_rad)
            + 0.5
                * (self.shaft_inertia_kg_m2 * s.shaft_rad_per_s * s.shaft_rad_per_s
                    + self.rotor_inertia_kg_m2 * s.rotor_rad_per_s * s.rotor_rad_per_s
                    + self.mesh_n_m_per_rad * deep * deep
                    + self.winding.inductance_h() * (a * a + b * b))
    }

    /// Substep number `k` along `path`.
    #[inline]
    pub(crate) fn substep(
        &self,
        reciprocals: &Reciprocals,
        s: &mut TrainState,
        drive: &TrainDrive,
        path: &StickPath,
        k: u32,
    ) -> Substep {
        let h = self.substep_s;
        let half = 0.5 * h;
        let (stick_rad, stick_rate) = self.stick_at(path, k);
        s.shaft_rad += half * s.shaft_rad_per_s;
        s.rotor_rad += half * s.rotor_rad_per_s;
        // Rates extrapolated to mid-step, for the mesh's damping.
        let shaft_rate = s.shaft_rad_per_s + half * s.shaft_accel;
        let rotor_rate = s.rotor_rad_per_s + half * s.rotor_accel;

        // Forces are taken where the angles' curvature has them (`CURVE`).
        let bend = CURVE * h * h;
        let shaft_rad = s.shaft_rad + bend * s.shaft_accel;
        let rotor_rad = s.rotor_rad + bend * s.rotor_accel;

        let damping = self.cartridge.damping_n_m_s_per_rad;
        let cartridge = self.cartridge.spring_n_m(stick_rad - shaft_rad) + damping * stick_rate;
        let ahead = rotor_rad * reciprocals.ratio - shaft_rad + s.slipped_rad;
        let (mesh, late_s) = self.mesh_n_m(ahead, rotor_rate * reciprocals.ratio - shaft_rate);

        let (sin, cos) = s.turn.follow(self.electrical_at(rotor_rad));
        let emf = self.kt_n_m_per_a * s.rotor_rad_per_s;
        let (ia, va) =
            self.winding
                .update(s.current_a[0], drive.phase[0], -emf * sin, drive.supply_v);
        let (ib, vb) =
            self.winding
                .update(s.current_a[1], drive.phase[1], emf * cos, drive.supply_v);
        let sin4 = 4.0 * sin * cos * (1.0 - 2.0 * sin * sin);
        let motor = self.kt_n_m_per_a * (ib * cos - ia * sin) - self.detent_n_m * sin4;

        let shaft_next = self.shaft_next(reciprocals, s.shaft_rad_per_s, mesh, cartridge);
        let cartridge = cartridge - damping * reciprocals.shaft.felt(s.shaft_rad_per_s, shaft_next);
        let rotor_limit = self.rotor_friction_n_m * reciprocals.rotor.gain;
        let rotor_free = reciprocals.rotor.keep * s.rotor_rad_per_s
            + reciprocals.rotor.gain * (motor - mesh * reciprocals.ratio);
        let rotor_next = with_friction(
            reciprocals.rotor.keep,
            s.rotor_rad_per_s,
            rotor_free,
            rotor_limit,
        );
        s.shaft_accel = (shaft_next - s.shaft_rad_per_s) * reciprocals.substep_s;
        s.rotor_accel = (rotor_next - s.rotor_rad_per_s) * reciprocals.substep_s;
        s.shaft_rad_per_s = shaft_next;
        s.rotor_rad_per_s = rotor_next;

        let emf = self.kt_n_m_per_a * rotor_next;
        let (ia2, va2) = self
            .winding
            .update(ia, drive.phase[0], -emf * sin, drive.supply_v);
        let (ib2, vb2) = self
            .winding
            .update(ib, drive.phase[1], emf * cos, drive.supply_v);
        // Of the mean currents: what a winding draws while its current rises is what it then
        // stores.
        let power_w = 0.25
            * ((s.current_a[0] + ia) * va
                + (s.current_a[1] + ib) * vb
                + (ia + ia2) * va2
                + (ib + ib2) * vb2);
        s.current_a = [ia2, ib2];
        s.shaft_rad += half * shaft_next;
        s.rotor_rad += half * rotor_next;
        if late_s > 0.0 {
            self.put_back(reciprocals, s, mesh, late_s);
        }

        Substep {
            cartridge_n_m: cartridge,
            power_w,
            mesh_n_m: mesh,
            volts: [[va, va2], [vb, vb2]],
        }
    }

    /// Cartridge torque of substep `k` on a shaft that stands at `shaft_rad` under the torque
    /// `mesh_n_m` of its gear; `None` if friction does not hold it there. The very arithmetic of
    /// [`Self::substep`].
    #[inline]
    pub(crate) fn held_n_m(
        &self,
        reciprocals: &Reciprocals,
        shaft_rad: f64,
        mesh_n_m: f64,
        path: &StickPath,
        k: u32,
    ) -> Option<f64> {
        let (stick_rad, stick_rate) = self.stick_at(path, k);
        let damping = self.cartridge.damping_n_m_s_per_rad;
        let cartridge = self.cartridge.spring_n_m(stick_rad - shaft_rad) + damping * stick_rate;
        (self.shaft_next(reciprocals, 0.0, mesh_n_m, cartridge) == 0.0).then_some(cartridge)
    }

    /// Angle and rate of the stick in the middle of substep `k`.
    #[inline]
    fn stick_at(&self, path: &StickPath, k: u32) -> (f64, f64) {
        path.at((f64::from(k) + 0.5) * self.substep_s)
    }

    /// Rate of the shaft at the end of a substep.
    #[inline]
    fn shaft_next(
        &self,
        reciprocals: &Reciprocals,
        before: f64,
        mesh_n_m: f64,
        cartridge_n_m: f64,
    ) -> f64 {
        let limit =
            (self.shaft_friction_n_m + self.mesh_loss * mesh_n_m.abs()) * reciprocals.shaft.gain;
        let free =
            reciprocals.shaft.keep * before + reciprocals.shaft.gain * (mesh_n_m + cartridge_n_m);
        with_friction(reciprocals.shaft.keep, before, free, limit)
    }

    /// Torque of the mesh on the trim shaft, N·m, with the rotor `ahead_rad` of it at
    /// `rate_rad_per_s`, both at the shaft: one-sided springs at either side of the backlash. With
    /// it, by how much later than the middle of the substep it acts, s: more than 0 where the
    /// flanks meet in it.
    #[inline]
    fn mesh_n_m(&self, ahead_rad: f64, rate_rad_per_s: f64) -> (f64, f64) {
        let side = 1.0_f64.copysign(ahead_rad);
        let deep = side * ahead_rad - self.half_backlash_rad;
        let closing = side * rate_rad_per_s;
        let way = 0.5 * self.substep_s * closing;
        if way > deep.abs() {
            // The flanks meet within this substep: the torque, which jumps with the damping, counts
            // from then on.
            let end = deep + way;
            let share = 0.5 * end / way;
            let mean =
                0.5 * self.mesh_n_m_per_rad * end + self.mesh_damping_n_m_s_per_rad * closing;
            return (side * share * mean, 0.5 * self.substep_s * (1.0 - share));
        }
        let reach = way.abs();
        if deep <= -reach {
            return (0.0, 0.0);
        }
        let mid = self.mesh_n_m_per_rad * deep + self.mesh_damping_n_m_s_per_rad * closing;
        let swing = self.mesh_n_m_per_rad * reach;
        if mid >= swing {
            return (side * mid, 0.0);
        }
        // They part within this substep: they press until they would pull.
        let most = (mid + swing).max(0.0);
        (side * most * most / (4.0 * swing), 0.0)
    }

    /// Takes back by how much the flanks' torque moved shaft and rotor before they met.
    #[cold]
    fn put_back(&self, reciprocals: &Reciprocals, s: &mut TrainState, mesh_n_m: f64, late_s: f64) {
        if s.shaft_rad_per_s != 0.0 {
            s.shaft_rad -= late_s * reciprocals.shaft.gain * mesh_n_m;
        }
        if s.rotor_rad_per_s != 0.0 {
            s.rotor_rad += late_s * reciprocals.rotor.gain * mesh_n_m * reciprocals.ratio;
        }
    }
}

/// A rate after dry friction, which can change it by `limit`. `before` is the rate at the
/// beginning, of which a viscous damper keeps `keep`, and `free` what the rate would be without dry
/// friction.
#[inline]
fn with_friction(keep: f64, before: f64, free: f64, limit: f64) -> f64 {
    let end = free - limit.copysign(if before == 0.0 { free } else { before });
    if before * end > 0.0 {
        return end;
    }
    if before == 0.0 {
        return if free * end > 0.0 { end } else { 0.0 };
    }
    turned(keep, before, free, end, limit)
}

/// [`rubbed`] of a body that comes to rest on the way: from then on friction holds it, or pushes
/// the other way.
#[cold]
#[inline(never)]
fn turned(keep: f64, before: f64, free: f64, end: f64, limit: f64) -> f64 {
    let pushed = free - keep * before;
    let left = pushed.abs() - limit;
    if left <= 0.0 {
        return 0.0;
    }
    let gone = before / (before - end);
    ((1.0 - gone) * left).copysign(pushed)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// v = 1, slowed by 4 a substep till it stops after a quarter, then sped up by 2: 1.5 the other
    /// way.
    #[test]
    fn a_body_that_turns_has_friction_on_either_side_of_its_stop() {
        assert_eq!(with_friction(1.0, 1.0, -2.0, 1.0), -1.5);
        assert_eq!(with_friction(1.0, -1.0, 2.0, 1.0), 1.5);
        // Friction that is stronger than the push holds it; weaker friction only slows it.
        assert_eq!(with_friction(1.0, 1.0, -2.0, 3.0), 0.0);
        assert_eq!(with_friction(1.0, 1.0, 0.5, 0.25), 0.25);
        // From rest.
        assert_eq!(with_friction(1.0, 0.0, 0.5, 0.2), 0.3);
        assert_eq!(with_friction(1.0, 0.0, 0.5, 0.5), 0.0);
    }
}

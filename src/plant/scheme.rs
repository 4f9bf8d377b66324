//! How long the integrator's steps may be on a rig, and which value of its file decides.
//!
//! Every stiff part of a rig has a time of its own, and a step must stay well below it.
//! docs/model/stick.md and docs/model/drive.md derive the bounds. A rig with shorter times gets
//! more steps; one that would need steps below [`SHORTEST_STICK_STEP_S`] or
//! [`SHORTEST_TRAIN_STEP_S`] is refused.

use serde::Serialize;
use trimproof_io::AXES;

use crate::contact::damping_ratio;
use crate::dynamics::{BIND_STIFFENING, PRELOAD_RAMP_RAD};
use crate::fault::AxisName;
use crate::params;
use crate::rig::{AxisRig, CartridgeRig, Rig};

/// Shortest step of the stick, s: ten times the work of the usual one.
pub const SHORTEST_STICK_STEP_S: f64 = 1.0e-5;
/// Shortest substep of a drive train, s: 25 times the work of the usual one.
pub const SHORTEST_TRAIN_STEP_S: f64 = 2.0e-6;
/// Largest angular step of an oscillation of a drive train, rad: the scheme is stable below 2.
const TRAIN_PHASE_RAD: f64 = 0.45;
/// Largest angular step of an oscillation of the stick, rad.
const STICK_PHASE_RAD: f64 = 0.075;
/// The same for the solid end of a buffer that a hand presses through: it is met at speed and
/// often, not only by a blow.
const SOLID_PHASE_RAD: f64 = 0.5 * STICK_PHASE_RAD;
/// What a strong hand presses with at a stop, N (from memory: two-handed maximal pushes are about
/// this).
const HAND_N: f64 = 500.0;
/// Largest step in units of the supply's own time, its source's resistance times its capacitor.
const SUPPLY_SHARE: f64 = 0.4;
/// Share of its voltage that a supply may sag under both drives without its own time mattering to
/// them.
const SAG_SHARE: f64 = 0.1;
/// Largest share of its rate that an explicit damper may take in a step: stable below 1.
const EXPLICIT_DAMPING: f64 = 0.2;
/// Largest share of its rate that an implicit damper takes in a step where steps can be made
/// shorter: it is of second order up to 2.
const IMPLICIT_DAMPING: f64 = 1.0;

/// Step sizes of the integrator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numerics {
    /// Longest stick step, s; a generator period is cut into equal steps no longer than this.
    pub stick_step_s: f64,
    /// Least drive-train substeps in a stick step; a stiff rig gets more ([`crate::Scheme`]).
    pub train_substeps: u32,
    /// Stick steps between two looks at a contact in reach.
    pub contact_steps: u32,
    /// Cuts every step that a rig gets into so many equal ones: 2 is the run at half steps.
    pub refine: u32,
}

impl Default for Numerics {
    /// 100 µs for the stick, 25 µs for the drive trains, contacts in reach looked up each step:
    /// measured in docs/model/accuracy.md.
    fn default() -> Self {
        Self {
            stick_step_s: 1.0e-4,
            train_substeps: 4,
            contact_steps: 1,
            refine: 1,
        }
    }
}

/// What bounds a step: one value of the rig's file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StepBound {
    /// Key in the rig's file: `pitch.drive.shaft_inertia_kg_m2`.
    pub key: String,
    /// Its value, or that of the figure named by `figure`, in the unit of the key.
    pub value: f64,
    /// Longest step that it allows with the rest of the rig, s.
    pub longest_step_s: f64,
    /// The farthest that the value may go before the rig is refused: at least this, or at most.
    pub limit: f64,
    /// Whether the limit is the least value that is computed; else it is the largest.
    pub is_least: bool,
}

/// The steps of one part on a rig.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StepChoice {
    /// Step, s.
    pub step_s: f64,
    /// Steps in the longer one that they cut: stick steps in a generator period, substeps in a
    /// stick step.
    pub count: u32,
    /// The usual count, from which a rig departs only where it must.
    pub usual_count: u32,
    /// What allows the shortest step of all.
    pub tightest: StepBound,
}

/// The integrator's steps on a rig.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Scheme {
    /// Stick.
    pub stick: StepChoice,
    /// Drive trains, pitch and roll.
    pub train: [StepChoice; AXES],
}

impl Scheme {
    /// The steps of `rig`.
    pub fn of(rig: &Rig, numerics: Numerics) -> Self {
        let period_s = 1.0 / f64::from(rig.board.generator_hz);
        let refine = f64::from(numerics.refine.max(1));
        let choose = |whole_s: f64, usual_s: f64, tightest: StepBound, refine: f64| {
            // The small share keeps a step that divides the whole from being cut once more by
            // rounding.
            let count = |step_s: f64| (whole_s / step_s - 1e-6).ceil().max(1.0);
            let cut = count(usual_s.min(tightest.longest_step_s)) * refine;
            StepChoice {
                step_s: whole_s / cut,
                count: cut as u32,
                usual_count: (count(usual_s) * refine) as u32,
                tightest,
            }
        };
        let stick = choose(
            period_s,
            numerics.stick_step_s,
            tightest(stick_bounds(rig)),
            refine,
        );
        // A finer stick step cuts the substeps with it.
        let coarse_s = stick.step_s * refine;
        let usual_s = coarse_s / f64::from(numerics.train_substeps.max(1));
        let train = AxisName::ALL.map(|axis| {
            let mut choice = choose(coarse_s, usual_s, tightest(train_bounds(rig, axis)), 1.0);
            choice.step_s /= refine;
            choice
        });
        Self { stick, train }
    }

    /// The first value of `rig` for which the twin would need shorter steps than it makes.
    pub(crate) fn refused(rig: &Rig) -> Option<(StepBound, f64)> {
        let stick = stick_bounds(rig)
            .into_iter()
            .map(|bound| (bound, SHORTEST_STICK_STEP_S));
        let trains = AxisName::ALL.into_iter().flat_map(|axis| {
            train_bounds(rig, axis)
                .into_iter()
                .map(|bound| (bound, SHORTEST_TRAIN_STEP_S))
        });
        stick
            .chain(trains)
            .filter(|(bound, shortest_s)| bound.longest_step_s < *shortest_s)
            .filter(|(bound, _)| bound.limit.is_finite())
            .min_by(|(a, s), (b, t)| (a.longest_step_s / s).total_cmp(&(b.longest_step_s / t)))
    }
}

fn tightest(bounds: Vec<StepBound>) -> StepBound {
    let mut bounds = bounds.into_iter();
    let first = bounds.next().unwrap_or(StepBound {
        key: String::new(),
        value: 0.0,
        longest_step_s: f64::INFINITY,
        limit: 0.0,
        is_least: false,
    });
    bounds.fold(first, |a, b| {
        if b.longest_step_s < a.longest_step_s {
            b
        } else {
            a
        }
    })
}

/// `value` may be at most as many times itself as the step is shorter, to the power `order`.
fn at_most(key: String, value: f64, longest_step_s: f64, order: i32) -> StepBound {
    let times = longest_step_s / SHORTEST_STICK_STEP_S;
    let factor = if order == 2 { times * times } else { times };
    StepBound {
        key,
        value,
        longest_step_s,
        limit: value * factor,
        is_least: false,
    }
}

/// The longest step is in proportion to `value`, which may be so many times less as the step may be
/// shorter.
fn at_least(key: String, value: f64, longest_step_s: f64) -> StepBound {
    StepBound {
        key,
        value,
        longest_step_s,
        limit: value * SHORTEST_STICK_STEP_S / longest_step_s,
        is_least: true,
    }
}

fn stick_bounds(rig: &Rig) -> Vec<StepBound> {
    let roll = [rig.roll.stops.min_deg, rig.roll.stops.max_deg].map(f64::to_radians);
    let inertia = params::gimbal_params(rig).least_inertia_kg_m2(roll);
    let mut bounds = Vec::new();
    for name in AxisName::ALL {
        let (axis, inertia) = (rig.axis(name.index()), inertia[name.index()]);
        let key = |tail: &str| format!("{}.{tail}", name.name());
        let cartridge = axis.cartridge.cartridge();
        let damping = cartridge.damping_n_m_s_per_rad;
        bounds.push(at_most(
            key("cartridge.damping_n_m_s_per_rad"),
            damping,
            EXPLICIT_DAMPING * inertia / damping,
            1,
        ));
        let is_measured = matches!(axis.cartridge, CartridgeRig::Measured(_));
        let bound_rate = (1.0 + BIND_STIFFENING) * cartridge.rate_n_m_per_rad;
        for (measured, springs, value, slope) in [
            (
                "cartridge.breakout_n_m",
                "cartridge.free_length_m",
                cartridge.breakout_n_m,
                cartridge.breakout_n_m / PRELOAD_RAMP_RAD,
            ),
            (
                "cartridge.rate_n_m_per_rad",
                "cartridge.arm_m",
                cartridge.rate_n_m_per_rad,
                bound_rate,
            ),
        ] {
            let tail = if is_measured { measured } else { springs };
            let longest_s = STICK_PHASE_RAD / (slope / inertia).sqrt();
            bounds.push(at_most(key(tail), value, longest_s, 2));
        }
        let stops = &axis.stops;
        let yielding = stops.height_m * stops.height_m / inertia;
        bounds.push(at_most(
            key("stops.stiffness_n_per_m"),
            stops.stiffness_n_per_m,
            bumper_step_s(stops.stiffness_n_per_m, stops.restitution, yielding),
            2,
        ));
        // A buffer that is pressed solid before its stop breaks: the height decides, for nothing
        // else can be softer.
        let stiffest = stops.bumper().stiffest_n_per_m(stops.strength_n);
        let phase = if stops.bumper().stiffest_n_per_m(HAND_N) > stops.stiffness_n_per_m {
            SOLID_PHASE_RAD
        } else {
            STICK_PHASE_RAD
        };
        bounds.push(at_most(
            key("stops.height_m"),
            stops.height_m,
            phase / (stiffest * yielding).sqrt(),
            1,
        ));
    }
    let supply = &rig.supply;
    let sag_v = supply.source_ohm * (rig.pitch.driver.run_a + rig.roll.driver.run_a);
    if sag_v > SAG_SHARE * supply.volts {
        bounds.push(at_least(
            "supply.bulk_f".to_owned(),
            supply.bulk_f,
            SUPPLY_SHARE * supply.source_ohm * supply.bulk_f,
        ));
    }
    let lightest = inertia[0].min(inertia[1]);
    for (index, obstacle) in rig.obstacle.iter().enumerate() {
        let top = rig.stick.tube_top_m;
        bounds.push(at_most(
            format!("obstacle[{index}].stiffness_n_per_m"),
            obstacle.stiffness_n_per_m,
            bumper_step_s(
                obstacle.stiffness_n_per_m,
                obstacle.restitution,
                top * top / lightest,
            ),
            2,
        ));
    }
    bounds
}

/// Longest step for a bumper on a body that yields with `yielding`, 1/kg: of its oscillation, and
/// of its dashpot, whose force takes the share 2 ζ ω h of the speed in a step.
fn bumper_step_s(stiffness_n_per_m: f64, restitution: f64, yielding: f64) -> f64 {
    let omega = (stiffness_n_per_m * yielding).sqrt();
    let zeta = damping_ratio(restitution);
    (STICK_PHASE_RAD / omega).min(IMPLICIT_DAMPING / (2.0 * zeta * omega))
}

fn train_bounds(rig: &Rig, name: AxisName) -> Vec<StepBound> {
    let axis: &AxisRig = rig.axis(name.index());
    let key = |tail: &str| format!("{}.{tail}", name.name());
    let params = params::train_params(axis, SHORTEST_TRAIN_STEP_S);
    let (shaft, rotor) = (params.shaft_inertia_kg_m2, params.rotor_inertia_kg_m2);
    let ratio2 = params.ratio * params.ratio;
    let cartridge = params.cartridge;
    // Torque for an angle on either body, N·m/rad: mesh and cartridge; mesh, field, detent, and a
    // winding whose current the back-EMF turns.
    let on_shaft = params.mesh_n_m_per_rad
        + (cartridge.breakout_n_m / PRELOAD_RAMP_RAD)
            .max((1.0 + BIND_STIFFENING) * cartridge.rate_n_m_per_rad);
    let on_rotor = params.mesh_n_m_per_rad / ratio2
        + params.rotor_teeth * (params.kt_n_m_per_a * axis.driver.run_a + 4.0 * params.detent_n_m)
        + params.kt_n_m_per_a * params.kt_n_m_per_a / params.winding.inductance_h();
    let squares = [on_shaft / shaft, on_rotor / rotor];
    let most = TRAIN_PHASE_RAD / SHORTEST_TRAIN_STEP_S;
    let oscillation_s = TRAIN_PHASE_RAD / (squares[0] + squares[1]).sqrt();
    // The larger of both is named; what the other leaves is its limit, or all of it if the other is
    // too much by itself.
    let left = |other: f64| {
        let left = most * most - other;
        if left > 0.0 { left } else { most * most }
    };
    let oscillation = if squares[0] >= squares[1] {
        StepBound {
            key: key("drive.shaft_inertia_kg_m2"),
            value: shaft,
            longest_step_s: oscillation_s,
            limit: on_shaft / left(squares[1]),
            is_least: true,
        }
    } else {
        StepBound {
            key: key("motor.rotor_inertia_kg_m2"),
            value: rotor,
            longest_step_s: oscillation_s,
            limit: on_rotor / left(squares[0]),
            is_least: true,
        }
    };
    let yielding = 1.0 / shaft + 1.0 / (rotor * ratio2);
    let mesh = EXPLICIT_DAMPING / (params.mesh_damping_n_m_s_per_rad * yielding);
    let given = axis.drive.mesh_damping_n_s_per_m;
    let damper = IMPLICIT_DAMPING * shaft / cartridge.damping_n_m_s_per_rad;
    vec![
        oscillation,
        StepBound {
            key: key("drive.mesh_damping_n_s_per_m"),
            value: given,
            longest_step_s: mesh,
            limit: given * mesh / SHORTEST_TRAIN_STEP_S,
            is_least: false,
        },
        StepBound {
            key: key("cartridge.damping_n_m_s_per_rad"),
            value: cartridge.damping_n_m_s_per_rad,
            // Implicit: stable at any step, so that the shortest one is enough.
            longest_step_s: damper.max(SHORTEST_TRAIN_STEP_S),
            limit: f64::INFINITY,
            is_least: false,
        },
    ]
}

#[cfg(test)]
mod tests;

//! How long the integrator's steps may be on a rig, and which value of its file decides.
//!
//! Every stiff part of a rig has a time of its own, and a step must stay well below it. docs/model/stick.md and
//! docs/model/drive.md derive the bounds. A rig with shorter times gets more steps; one that would need steps below
//! [`SHORTEST_STICK_STEP_S`] or [`SHORTEST_TRAIN_STEP_S`] is refused.

use serde::Serialize;
use trimproof_controller::AXES;

use crate::assembly;
use crate::contact::damping_ratio;
use crate::dynamics::{BIND_STIFFENING, PRELOAD_RAMP_RAD};
use crate::fault::AxisName;
use crate::rig::{AxisRig, CartridgeRig, Rig};
use crate::twin::Numerics;

/// Shortest step of the stick, s: ten times the work of the usual one.
pub const SHORTEST_STICK_STEP_S: f64 = 1.0e-5;
/// Shortest substep of a drive train, s: 25 times the work of the usual one.
pub const SHORTEST_TRAIN_STEP_S: f64 = 2.0e-6;
/// Largest angular step of an oscillation of a drive train, rad: the scheme is stable below 2.
const TRAIN_PHASE_RAD: f64 = 0.45;
/// Largest angular step of an oscillation of the stick, rad.
const STICK_PHASE_RAD: f64 = 0.075;
/// The same for the solid end of a buffer that a hand presses through: it is met at speed and often, not only by a blow.
const SOLID_PHASE_RAD: f64 = 0.5 * STICK_PHASE_RAD;
/// What a strong hand presses with at a stop, N (from memory: two-handed maximal pushes are about this).
const HAND_N: f64 = 500.0;
/// Largest step in units of the supply's own time, its source's resistance times its capacitor.
const SUPPLY_SHARE: f64 = 0.4;
/// Share of its voltage that a supply may sag under both drives without its own time mattering to them.
const SAG_SHARE: f64 = 0.1;
/// Largest share of its rate that an explicit damper may take in a step: stable below 1.
const EXPLICIT_DAMPING: f64 = 0.2;
/// Largest share of its rate that an implicit damper takes in a step where steps can be made shorter: it is of second
/// order up to 2.
const IMPLICIT_DAMPING: f64 = 1.0;

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
    /// Steps in the longer one that they cut: stick steps in a generator period, substeps in a stick step.
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
            // The small share keeps a step that divides the whole from being cut once more by rounding.
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

/// `value` must be at least as many times less as the step may be shorter.
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
    let inertia = assembly::gimbal_law(rig).least_inertia_kg_m2(roll);
    let mut bounds = Vec::new();
    for name in AxisName::ALL {
        let (axis, inertia) = (rig.axis(name.index()), inertia[name.index()]);
        let key = |tail: &str| format!("{}.{tail}", name.name());
        let cartridge = axis.cartridge.cartridge();
        let damping = cartridge.damping_nm_s_per_rad;
        bounds.push(at_most(
            key("cartridge.damping_nm_s_per_rad"),
            damping,
            EXPLICIT_DAMPING * inertia / damping,
            1,
        ));
        let is_measured = matches!(axis.cartridge, CartridgeRig::Measured(_));
        let bound_rate = (1.0 + BIND_STIFFENING) * cartridge.rate_nm_per_rad;
        for (measured, springs, value, slope) in [
            (
                "cartridge.breakout_nm",
                "cartridge.free_length_m",
                cartridge.breakout_nm,
                cartridge.breakout_nm / PRELOAD_RAMP_RAD,
            ),
            (
                "cartridge.rate_nm_per_rad",
                "cartridge.arm_m",
                cartridge.rate_nm_per_rad,
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
        // A buffer that is pressed solid before its stop breaks: the height decides, for nothing else can be softer.
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

/// Longest step for a bumper on a body that yields with `yielding`, 1/kg: of its oscillation, and of its dashpot, whose
/// force takes the share 2 ζ ω h of the speed in a step.
fn bumper_step_s(stiffness_n_per_m: f64, restitution: f64, yielding: f64) -> f64 {
    let omega = (stiffness_n_per_m * yielding).sqrt();
    let zeta = damping_ratio(restitution);
    (STICK_PHASE_RAD / omega).min(IMPLICIT_DAMPING / (2.0 * zeta * omega))
}

fn train_bounds(rig: &Rig, name: AxisName) -> Vec<StepBound> {
    let axis: &AxisRig = rig.axis(name.index());
    let key = |tail: &str| format!("{}.{tail}", name.name());
    let law = assembly::train_law(axis, SHORTEST_TRAIN_STEP_S);
    let (shaft, rotor) = (law.shaft_inertia_kg_m2, law.rotor_inertia_kg_m2);
    let ratio2 = law.ratio * law.ratio;
    let cartridge = law.cartridge;
    // Torque for an angle on either body, N·m/rad: mesh and cartridge; mesh, field, detent, and a winding whose current
    // the back-EMF turns.
    let on_shaft = law.mesh_nm_per_rad
        + (cartridge.breakout_nm / PRELOAD_RAMP_RAD)
            .max((1.0 + BIND_STIFFENING) * cartridge.rate_nm_per_rad);
    let on_rotor = law.mesh_nm_per_rad / ratio2
        + law.rotor_teeth * (law.kt_nm_per_a * axis.driver.run_a + 4.0 * law.detent_nm)
        + law.kt_nm_per_a * law.kt_nm_per_a / law.winding.inductance_h();
    let squares = [on_shaft / shaft, on_rotor / rotor];
    let most = TRAIN_PHASE_RAD / SHORTEST_TRAIN_STEP_S;
    let oscillation_s = TRAIN_PHASE_RAD / (squares[0] + squares[1]).sqrt();
    // The larger of both is named; what the other leaves is its limit, or all of it if the other is too much by itself.
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
    let mesh = EXPLICIT_DAMPING / (law.mesh_damping_nm_s_per_rad * yielding);
    let given = axis.drive.mesh_damping_n_s_per_m;
    let damper = IMPLICIT_DAMPING * shaft / cartridge.damping_nm_s_per_rad;
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
            key: key("cartridge.damping_nm_s_per_rad"),
            value: cartridge.damping_nm_s_per_rad,
            // Implicit: stable at any step, so that the shortest one is enough.
            longest_step_s: damper.max(SHORTEST_TRAIN_STEP_S),
            limit: f64::INFINITY,
            is_least: false,
        },
    ]
}

#[cfg(test)]
mod tests {
    use std::f64::consts::SQRT_2;

    use super::*;
    use crate::contact::BumperLaw;
    use crate::dynamics::Pose;

    fn skewed() -> Rig {
        Rig::parse(include_str!("../../tests/data/skewed_rig.toml")).unwrap()
    }

    fn bound(bounds: &[StepBound], key: &str) -> StepBound {
        let found = bounds.iter().find(|bound| bound.key == key);
        found.unwrap_or_else(|| panic!("{key}")).clone()
    }

    #[track_caller]
    fn near(found: f64, expected: f64, share: f64) {
        assert!(
            (found / expected - 1.0).abs() < share,
            "{found} for {expected}"
        );
    }

    /// The least that each axis shows over the roll between the stops, by a finer search in the inverse of the mass matrix.
    fn least_inertia(rig: &Rig) -> [f64; 2] {
        let law = assembly::gimbal_law(rig);
        let mut least = [f64::INFINITY; 2];
        for k in 0..=3500 {
            let roll_rad = (-17.0 + 0.01 * f64::from(k)).to_radians();
            let [a, b, c] = law.mass_matrix(&Pose::at([0.0, roll_rad]));
            // 1/(M⁻¹)ᵢᵢ is the determinant over the other diagonal entry.
            least[0] = least[0].min((a * c - b * b) / c);
            least[1] = least[1].min((a * c - b * b) / a);
        }
        least
    }

    /// The least inertia of a stick whose axes are coupled strongly: 0.012 of 0.03 kg·m².
    #[test]
    fn the_least_inertia_is_that_with_the_other_axis_free() {
        let mut rig = skewed();
        if let crate::rig::MassRig::Measured(mass) = &mut rig.stick.mass {
            mass.inner_inertia_kg_m2 = [0.031, 0.0295, 0.019, 0.012, -0.004, 0.003];
        }
        let roll = [-17.0_f64, 18.0].map(f64::to_radians);
        let found = assembly::gimbal_law(&rig).least_inertia_kg_m2(roll);
        for (found, expected) in found.into_iter().zip(least_inertia(&rig)) {
            near(found, expected, 1e-3);
        }
    }

    /// Each bound of the stick from the numbers of the file, and how far its value may go: 10 µs are the shortest step.
    /// Angular steps of springs are at most 0.075 rad, a damper of its own takes a fifth of the rate, a bumper's all of it.
    #[test]
    fn the_sticks_bounds_are_those_of_its_parts() {
        let rig = skewed();
        let bounds = stick_bounds(&rig);
        let [pitch, roll] = least_inertia(&rig);
        // The coarse search of the least inertia is close enough for 1e-4 of it.
        let check = |key: &str, value: f64, longest_s: f64, order: i32| {
            let found = bound(&bounds, key);
            assert!(!found.is_least);
            near(found.value, value, 1e-9);
            near(found.longest_step_s, longest_s, 1e-4);
            let times = libm::pow(found.longest_step_s / 10e-6, f64::from(order));
            near(found.limit, value * times, 1e-9);
        };
        let oscillation = |nm_per_rad: f64, inertia: f64| 0.075 / libm::sqrt(nm_per_rad / inertia);
        check(
            "pitch.cartridge.damping_nm_s_per_rad",
            0.33,
            0.2 * pitch / 0.33,
            1,
        );
        check(
            "roll.cartridge.damping_nm_s_per_rad",
            0.27,
            0.2 * roll / 0.27,
            1,
        );
        check(
            "pitch.cartridge.breakout_nm",
            0.81,
            oscillation(0.81 / 2e-3, pitch),
            2,
        );
        // Bound coils are 41 times as stiff.
        check(
            "pitch.cartridge.rate_nm_per_rad",
            11.3,
            oscillation(41.0 * 11.3, pitch),
            2,
        );
        let spring = rig.roll.cartridge.cartridge();
        check(
            "roll.cartridge.free_length_m",
            spring.breakout_nm,
            oscillation(spring.breakout_nm / 2e-3, roll),
            2,
        );
        check(
            "roll.cartridge.arm_m",
            spring.rate_nm_per_rad,
            oscillation(41.0 * spring.rate_nm_per_rad, roll),
            2,
        );
        // A stop at a height h is k h² against the angle; its dashpot takes 2 ζ ω of the speed in a second.
        let bumper = |n_per_m: f64, restitution: f64, height_m: f64, inertia: f64| {
            let omega = libm::sqrt(n_per_m * height_m * height_m / inertia);
            (0.075 / omega).min(1.0 / (2.0 * damping_ratio(restitution) * omega))
        };
        check(
            "pitch.stops.stiffness_n_per_m",
            3.3e5,
            bumper(3.3e5, 0.42, 0.085, pitch),
            2,
        );
        check(
            "roll.stops.stiffness_n_per_m",
            2.9e5,
            bumper(2.9e5, 0.37, 0.078, roll),
            2,
        );
        // 9000 N press 3.3e5 N/m solid after 5 mm: then 2e6 N/m.
        check(
            "pitch.stops.height_m",
            0.085,
            oscillation(2e6 * 0.085 * 0.085, pitch),
            1,
        );
        // An obstacle may be met by the tube's top, 0.31 m up, and by the lighter axis.
        check(
            "obstacle[0].stiffness_n_per_m",
            2.1e4,
            bumper(2.1e4, 0.3, 0.31, pitch.min(roll)),
            2,
        );
        // One that gives nothing back is bound by its dashpot.
        let mut dead = rig.clone();
        dead.obstacle[0].restitution = 0.004;
        let omega = libm::sqrt(2.1e4 * 0.31 * 0.31 / pitch.min(roll));
        let zeta = damping_ratio(0.004);
        assert!(zeta > 7.0);
        let found = bound(&stick_bounds(&dead), "obstacle[0].stiffness_n_per_m");
        near(found.longest_step_s, 1.0 / (2.0 * zeta * omega), 1e-4);
    }

    /// A buffer whose stop breaks before it is pressed solid is as soft as it is given.
    #[test]
    fn a_stop_that_breaks_early_is_never_solid() {
        let mut rig = skewed();
        rig.pitch.stops.strength_n = 1600.0;
        let inertia = least_inertia(&rig)[0];
        let found = bound(&stick_bounds(&rig), "pitch.stops.height_m");
        let expected = 0.075 / libm::sqrt(3.3e5 * 0.085 * 0.085 / inertia);
        near(found.longest_step_s, expected, 1e-4);
        assert_eq!(BumperLaw::new(3.3e5, 0.4).stiffest_n_per_m(1e9), 3.3e5);
    }

    /// Each bound of a drive from the numbers of the file: mesh and cartridge turn the shaft back, mesh, field, detent and
    /// the winding the rotor; together they may turn by 0.45 rad in a substep, and the shortest is 2 µs.
    #[test]
    fn a_drives_bounds_are_those_of_its_parts() {
        let rig = skewed();
        let bounds = train_bounds(&rig, AxisName::Pitch);
        let mesh = 5.5e5 * 0.041 * 0.041;
        let kt = 1.3 / (SQRT_2 * 2.7);
        let on_shaft = mesh + 41.0 * 11.3;
        let on_rotor = mesh / 49.0 + 50.0 * (kt * 3.7 + 4.0 * 0.041) + kt * kt / 2.7e-3;
        let squares = [on_shaft / 1.7e-4, on_rotor / 3.1e-5];
        let longest_s = 0.45 / libm::sqrt(squares[0] + squares[1]);
        let most = 0.45 / 2e-6;
        // The shaft is the faster one, so it is named, with what the rotor leaves.
        assert!(squares[0] > squares[1]);
        let found = bound(&bounds, "pitch.drive.shaft_inertia_kg_m2");
        assert!(found.is_least);
        near(found.value, 1.7e-4, 1e-12);
        near(found.longest_step_s, longest_s, 1e-9);
        near(found.limit, on_shaft / (most * most - squares[1]), 1e-9);
        let damping = 65.0 * 0.041 * 0.041;
        let mesh_s = 0.2 / (damping * (1.0 / 1.7e-4 + 1.0 / (3.1e-5 * 49.0)));
        let found = bound(&bounds, "pitch.drive.mesh_damping_n_s_per_m");
        near(found.value, 65.0, 1e-12);
        near(found.longest_step_s, mesh_s, 1e-9);
        near(found.limit, 65.0 * mesh_s / 2e-6, 1e-9);
        let found = bound(&bounds, "pitch.cartridge.damping_nm_s_per_rad");
        near(found.value, 0.33, 1e-12);
        near(found.longest_step_s, 1.7e-4 / 0.33, 1e-9);
        assert!(found.limit.is_infinite() && !found.is_least);
        // However strong it is, the shortest substep will do.
        let mut stiff = rig.clone();
        if let CartridgeRig::Measured(cartridge) = &mut stiff.pitch.cartridge {
            cartridge.damping_nm_s_per_rad = 1e4;
        }
        let found = bound(
            &train_bounds(&stiff, AxisName::Pitch),
            "pitch.cartridge.damping_nm_s_per_rad",
        );
        assert_eq!(found.longest_step_s, SHORTEST_TRAIN_STEP_S);
        // A heavy shaft leaves the rotor to be named; the seat of a strong preload counts where it is the stiffer.
        let mut heavy = rig.clone();
        heavy.pitch.drive.shaft_inertia_kg_m2 = 1e-2;
        if let CartridgeRig::Measured(cartridge) = &mut heavy.pitch.cartridge {
            cartridge.breakout_nm = 4.0;
        }
        let on_shaft = mesh + 4.0 / 2e-3;
        let found = bound(
            &train_bounds(&heavy, AxisName::Pitch),
            "pitch.motor.rotor_inertia_kg_m2",
        );
        let longest_s = 0.45 / libm::sqrt(on_shaft / 1e-2 + squares[1]);
        assert!(found.is_least);
        near(found.value, 3.1e-5, 1e-12);
        near(found.longest_step_s, longest_s, 1e-9);
        near(
            found.limit,
            on_rotor / (most * most - on_shaft / 1e-2),
            1e-9,
        );
        // Where the other body is too fast by itself, the whole of the square is the limit.
        let mut both = rig.clone();
        both.pitch.drive.shaft_inertia_kg_m2 = 1e-8;
        both.pitch.motor.rotor_inertia_kg_m2 = 9e-10;
        let squares = [(mesh + 41.0 * 11.3) / 1e-8, on_rotor / 9e-10];
        assert!(squares[0] > most * most && squares[1] > squares[0]);
        let found = bound(
            &train_bounds(&both, AxisName::Pitch),
            "pitch.motor.rotor_inertia_kg_m2",
        );
        near(found.limit, on_rotor / (most * most), 1e-9);
    }

    /// Of several values that are too much, the one that is farthest beyond its own shortest step is named; the first of
    /// equals.
    #[test]
    fn the_worst_value_is_refused() {
        let mut rig = skewed();
        assert!(Scheme::refused(&rig).is_none());
        let inertia = least_inertia(&rig)[0];
        if let CartridgeRig::Measured(cartridge) = &mut rig.pitch.cartridge {
            // Half of the stick's shortest step.
            cartridge.damping_nm_s_per_rad = 0.2 * inertia / 5e-6;
        }
        let (stick, shortest_s) = Scheme::refused(&rig).expect("its step is too short");
        assert_eq!(stick.key, "pitch.cartridge.damping_nm_s_per_rad");
        assert_eq!(shortest_s, SHORTEST_STICK_STEP_S);
        // A third of a substep is worse, though it is also shorter by itself; 0.7 of one is not.
        let given = rig.roll.drive.mesh_damping_n_s_per_m;
        let bounds = train_bounds(&rig, AxisName::Roll);
        let longest_s = bound(&bounds, "roll.drive.mesh_damping_n_s_per_m").longest_step_s;
        for (share, key) in [
            (0.3, "roll.drive.mesh_damping_n_s_per_m"),
            (0.7, "pitch.cartridge.damping_nm_s_per_rad"),
        ] {
            rig.roll.drive.mesh_damping_n_s_per_m = given * longest_s / (share * 2e-6);
            let (found, _) = Scheme::refused(&rig).expect("two steps are too short");
            assert_eq!(found.key, key);
        }
    }

    #[test]
    fn the_tightest_bound_allows_the_shortest_step() {
        let bound = |key: &str, longest_step_s: f64| StepBound {
            key: key.to_owned(),
            value: 1.0,
            longest_step_s,
            limit: 1.0,
            is_least: false,
        };
        let found = tightest(vec![
            bound("a", 3.0),
            bound("b", 1.0),
            bound("c", 2.0),
            bound("d", 1.0),
        ]);
        assert_eq!(found.key, "b");
        assert!(tightest(Vec::new()).longest_step_s.is_infinite());
    }

    /// A period of 83.3 µs, a stick that takes 30 µs, drives that take 7 µs: three steps of 27.8 µs with four substeps each;
    /// at half of both, twice as many steps with as many substeps.
    #[test]
    fn steps_are_cut_evenly() {
        let mut rig = skewed();
        let inertia = least_inertia(&rig)[0];
        if let CartridgeRig::Measured(cartridge) = &mut rig.pitch.cartridge {
            cartridge.damping_nm_s_per_rad = 0.2 * inertia / 30e-6;
        }
        let given = rig.roll.drive.mesh_damping_n_s_per_m;
        let bounds = train_bounds(&rig, AxisName::Roll);
        let longest_s = bound(&bounds, "roll.drive.mesh_damping_n_s_per_m").longest_step_s;
        rig.roll.drive.mesh_damping_n_s_per_m = given * longest_s / 7e-6;
        let period_s = 1.0 / 12_000.0;
        for refine in [1, 2] {
            let numerics = Numerics {
                refine,
                ..Numerics::default()
            };
            let scheme = Scheme::of(&rig, numerics);
            let times = f64::from(refine);
            assert_eq!(scheme.stick.count, 3 * refine);
            assert_eq!(scheme.stick.usual_count, refine);
            assert_eq!(
                scheme.stick.tightest.key,
                "pitch.cartridge.damping_nm_s_per_rad"
            );
            near(scheme.stick.step_s, period_s / 3.0 / times, 1e-12);
            let roll = &scheme.train[1];
            assert_eq!((roll.count, roll.usual_count), (4, 2));
            near(roll.step_s, period_s / 12.0 / times, 1e-12);
        }
    }
}

//! The bounds of the steps, from the numbers of the skewed rig.

use std::f64::consts::SQRT_2;

use super::*;
use crate::contact::BumperParams;
use crate::dynamics::Pose;

fn skewed() -> Rig {
    Rig::parse(include_str!("../../../../tests/data/skewed_rig.toml")).unwrap()
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

/// The least that each axis shows over the roll between the stops, by a finer search in the inverse
/// of the mass matrix.
fn least_inertia(rig: &Rig) -> [f64; 2] {
    let params = params::gimbal_params(rig);
    let mut least = [f64::INFINITY; 2];
    for k in 0..=3500 {
        let roll_rad = (-17.0 + 0.01 * f64::from(k)).to_radians();
        let [a, b, c] = params.mass_matrix(&Pose::at([0.0, roll_rad]));
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
    let found = params::gimbal_params(&rig).least_inertia_kg_m2(roll);
    for (found, expected) in found.into_iter().zip(least_inertia(&rig)) {
        near(found, expected, 1e-3);
    }
}

/// Each bound of the stick from the numbers of the file, and how far its value may go: 10 µs are
/// the shortest step. Angular steps of springs are at most 0.075 rad, a damper of its own takes a
/// fifth of the rate, a bumper's all of it.
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
        "pitch.cartridge.damping_n_m_s_per_rad",
        0.33,
        0.2 * pitch / 0.33,
        1,
    );
    check(
        "roll.cartridge.damping_n_m_s_per_rad",
        0.27,
        0.2 * roll / 0.27,
        1,
    );
    check(
        "pitch.cartridge.breakout_n_m",
        0.81,
        oscillation(0.81 / 2e-3, pitch),
        2,
    );
    // Bound coils are 41 times as stiff.
    check(
        "pitch.cartridge.rate_n_m_per_rad",
        11.3,
        oscillation(41.0 * 11.3, pitch),
        2,
    );
    let spring = rig.roll.cartridge.cartridge();
    check(
        "roll.cartridge.free_length_m",
        spring.breakout_n_m,
        oscillation(spring.breakout_n_m / 2e-3, roll),
        2,
    );
    check(
        "roll.cartridge.arm_m",
        spring.rate_n_m_per_rad,
        oscillation(41.0 * spring.rate_n_m_per_rad, roll),
        2,
    );
    // A stop at a height h is k h² against the angle; its dashpot takes 2 ζ ω of the speed in a
    // second.
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
    assert_eq!(BumperParams::new(3.3e5, 0.4).stiffest_n_per_m(1e9), 3.3e5);
}

/// Each bound of a drive from the numbers of the file: mesh and cartridge turn the shaft back,
/// mesh, field, detent and the winding the rotor; together they may turn by 0.45 rad in a substep,
/// and the shortest is 2 µs.
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
    let found = bound(&bounds, "pitch.cartridge.damping_n_m_s_per_rad");
    near(found.value, 0.33, 1e-12);
    near(found.longest_step_s, 1.7e-4 / 0.33, 1e-9);
    assert!(found.limit.is_infinite() && !found.is_least);
    // However strong it is, the shortest substep will do.
    let mut stiff = rig.clone();
    if let CartridgeRig::Measured(cartridge) = &mut stiff.pitch.cartridge {
        cartridge.damping_n_m_s_per_rad = 1e4;
    }
    let found = bound(
        &train_bounds(&stiff, AxisName::Pitch),
        "pitch.cartridge.damping_n_m_s_per_rad",
    );
    assert_eq!(found.longest_step_s, SHORTEST_TRAIN_STEP_S);
    // A heavy shaft leaves the rotor to be named; the seat of a strong preload counts where it is
    // the stiffer.
    let mut heavy = rig.clone();
    heavy.pitch.drive.shaft_inertia_kg_m2 = 1e-2;
    if let CartridgeRig::Measured(cartridge) = &mut heavy.pitch.cartridge {
        cartridge.breakout_n_m = 4.0;
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

/// Of several values that are too much, the one that is farthest beyond its own shortest step is
/// named; the first of equals.
#[test]
fn the_worst_value_is_refused() {
    let mut rig = skewed();
    assert!(Scheme::refused(&rig).is_none());
    let inertia = least_inertia(&rig)[0];
    if let CartridgeRig::Measured(cartridge) = &mut rig.pitch.cartridge {
        // Half of the stick's shortest step.
        cartridge.damping_n_m_s_per_rad = 0.2 * inertia / 5e-6;
    }
    let (stick, shortest_s) = Scheme::refused(&rig).expect("its step is too short");
    assert_eq!(stick.key, "pitch.cartridge.damping_n_m_s_per_rad");
    assert_eq!(shortest_s, SHORTEST_STICK_STEP_S);
    // A third of a substep is worse, though it is also shorter by itself; 0.7 of one is not.
    let given = rig.roll.drive.mesh_damping_n_s_per_m;
    let bounds = train_bounds(&rig, AxisName::Roll);
    let longest_s = bound(&bounds, "roll.drive.mesh_damping_n_s_per_m").longest_step_s;
    for (share, key) in [
        (0.3, "roll.drive.mesh_damping_n_s_per_m"),
        (0.7, "pitch.cartridge.damping_n_m_s_per_rad"),
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

/// A period of 83.3 µs, a stick that takes 30 µs, drives that take 7 µs: three steps of 27.8 µs
/// with four substeps each; at half of both, twice as many steps with as many substeps.
#[test]
fn steps_are_cut_evenly() {
    let mut rig = skewed();
    let inertia = least_inertia(&rig)[0];
    if let CartridgeRig::Measured(cartridge) = &mut rig.pitch.cartridge {
        cartridge.damping_n_m_s_per_rad = 0.2 * inertia / 30e-6;
    }
    let given = rig.roll.drive.mesh_damping_n_s_per_m;
    let bounds = train_bounds(&rig, AxisName::Roll);
    let longest_s = bound(&bounds, "roll.drive.mesh_damping_n_s_per_m").longest_step_s;
    rig.roll.drive.mesh_damping_n_s_per_m = given * longest_s / 7e-6;
    let period_s = 1.0 / 12_000.0;
    for refine in [1, 2] {
        let numerics = Numerics {
            refine,
            train_substeps: 2,
            ..Numerics::default()
        };
        let scheme = Scheme::of(&rig, numerics);
        let times = f64::from(refine);
        assert_eq!(scheme.stick.count, 3 * refine);
        assert_eq!(scheme.stick.usual_count, refine);
        assert_eq!(
            scheme.stick.tightest.key,
            "pitch.cartridge.damping_n_m_s_per_rad"
        );
        near(scheme.stick.step_s, period_s / 3.0 / times, 1e-12);
        let roll = &scheme.train[1];
        assert_eq!((roll.count, roll.usual_count), (4, 2));
        near(roll.step_s, period_s / 12.0 / times, 1e-12);
    }
}

/// A stop of 1700 N/m with 6 mm of travel is solid after 10 N: its solid end gets half of the
/// angular step.
#[test]
fn a_stop_that_a_hand_presses_solid_gets_shorter_steps() {
    let mut rig = skewed();
    rig.pitch.stops.stiffness_n_per_m = 1700.0;
    let travel_m = rig.pitch.stops.travel_m;
    let inertia = least_inertia(&rig)[0];
    let longest = |rig: &Rig| bound(&stick_bounds(rig), "pitch.stops.height_m").longest_step_s;
    let solid_s = 0.075 / libm::sqrt(2e6 * 0.085 * 0.085 / inertia);
    near(longest(&rig), 0.5 * solid_s, 1e-4);
    // Just beyond the 500 N of a strong hand.
    rig.pitch.stops.stiffness_n_per_m = 501.0 / travel_m;
    near(longest(&rig), solid_s, 1e-4);
}

/// A supply of 24 V that both drives (3.7 A and 3.3 A) sag by more than 2.4 V bounds the step by
/// its own time, 0.4 R C.
#[test]
fn a_supply_that_sags_bounds_the_step_by_its_own_time() {
    let mut rig = skewed();
    let run_a = rig.pitch.driver.run_a + rig.roll.driver.run_a;
    let find = |rig: &Rig| {
        let bounds = stick_bounds(rig);
        bounds
            .into_iter()
            .find(|bound| bound.key == "supply.bulk_f")
    };
    rig.supply.source_ohm = 0.11 * rig.supply.volts / run_a;
    rig.supply.bulk_f = 5e-5;
    let found = find(&rig).expect("it sags by 11 %");
    let own_s = rig.supply.source_ohm * 5e-5;
    near(found.longest_step_s, 0.4 * own_s, 1e-9);
    assert!(found.is_least);
    near(found.limit, 1e-5 / (0.4 * rig.supply.source_ohm), 1e-9);
    rig.supply.source_ohm = 0.09 * rig.supply.volts / run_a;
    assert!(find(&rig).is_none());
}

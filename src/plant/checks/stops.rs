//! Whatever pushes the stick: it stays within the stop's documented depth, or the run is aborted.
//!
//! The depth is worked out here from the stick's angles alone: seen along the pin, the tube is a
//! line at the angle ψ (pitch; for roll tan ψ = tan φ / cos θ), and at δ beyond the stop angle a
//! pin h up, met by radii that are a together, is pressed in by h sin δ + a (1 − cos δ).

use super::{kittiwake, plant, skewed};
use crate::abort::{AbortReason, TwinPart};
use crate::fault::AxisName;
use crate::rig::{ObstacleRig, Rig, StartConflict};
use crate::shapes::{Along, SolidForm};
use crate::{Plant, TwinAbort};

/// What the turning point may lie beyond the steps around it, m: a h²/8 with 20 kN on 0.8 kg at 100
/// µs.
const STEP_M: f64 = 3.2e-5;
/// What half a step may add before a run is aborted in the next one, m: 20 m/s for 50 µs.
const ABORT_M: f64 = 1.0e-3;

/// A number of a sequence that looks random and is the same everywhere (a linear congruence of
/// Knuth's MMIX).
struct Dice(u64);

impl Dice {
    /// Evenly over [0, 1).
    fn roll(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.roll()
    }

    /// Evenly over the decades.
    fn decades(&mut self, low: f64, high: f64) -> f64 {
        libm::exp(self.between(libm::log(low), libm::log(high)))
    }

    fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.roll() * of.len() as f64) as usize]
    }
}

/// How deep the buffers of an axis are pressed in at most, m (0: not at all).
fn depth_m(rig: &Rig, axis: usize, angle_rad: [f64; 2]) -> f64 {
    let stops = &rig.axis(axis).stops;
    let psi = if axis == 0 {
        angle_rad[0]
    } else {
        libm::atan2(
            libm::sin(angle_rad[1]),
            libm::cos(angle_rad[0]) * libm::cos(angle_rad[1]),
        )
    };
    let beyond = (psi - stops.max_deg.to_radians()).max(stops.min_deg.to_radians() - psi);
    let radii_m = rig.stick.tube_radius_m + stops.pin_radius_m;
    if beyond <= 0.0 {
        return 0.0;
    }
    stops.height_m * libm::sin(beyond) + radii_m * (1.0 - libm::cos(beyond))
}

/// Runs the twin without drives; the deepest that each axis's buffers were pressed in at a tick,
/// and how it ended.
fn run(rig: &Rig, plant: &mut Plant, for_s: f64) -> ([f64; 2], Result<(), TwinAbort>) {
    let mut deepest = [0.0_f64; 2];
    for _ in 0..(for_s * f64::from(rig.board.tick_hz)) as u32 {
        if let Err(abort) = plant.advance() {
            return (deepest, Err(abort));
        }
        for (axis, deepest) in deepest.iter_mut().enumerate() {
            *deepest = deepest.max(depth_m(rig, axis, plant.stick().angle_rad));
        }
    }
    (deepest, Ok(()))
}

fn aborted_by_stop(abort: &TwinAbort, axis: AxisName, upper: bool) -> bool {
    abort.part == TwinPart::Stop { axis, upper }
        && matches!(abort.reason, AbortReason::Broke { force_n, limit_n } if force_n > limit_n)
}

/// The pushes that went through the pins: 800 N at once bring 90 J to the stop, which breaks; 2,000
/// N with a rise of 0.3 s press it with 8.3 kN (by 0.33 m / 0.08 m), which it stands, 3,000 N with
/// 12.4 kN, which it does not. The limit pilot force of 100 lb (14 CFR 27.397) on the same stick
/// holds.
#[test]
fn kittiwakes_stops_hold_or_the_run_is_aborted() {
    for side in [1.0, -1.0] {
        for (force_n, rise_s, breaks) in [
            (800.0, 0.0, true),
            (2000.0, 0.3, false),
            (3000.0, 0.3, true),
        ] {
            let rig = kittiwake();
            let mut twin = plant(&rig, 1);
            twin.push([side * force_n, 0.0], rise_s, 2.0);
            let (deepest, end) = run(&rig, &mut twin, 2.0);
            assert_eq!(end.is_err(), breaks, "{force_n} N: {end:?}");
            let slack_m = if breaks { ABORT_M } else { STEP_M };
            assert!(
                deepest[0] <= rig.pitch.stops.depth_m() + slack_m,
                "{force_n} N: {deepest:?}"
            );
            if let Err(abort) = end {
                assert!(
                    aborted_by_stop(&abort, AxisName::Pitch, side > 0.0),
                    "{abort}"
                );
                // The abort is kept: nothing goes on after it.
                assert_eq!(twin.advance(), Err(abort));
            }
        }
        let rig = kittiwake();
        let mut twin = plant(&rig, 1);
        twin.push([side * 445.0, 0.0], 0.3, 1.0);
        let (deepest, end) = run(&rig, &mut twin, 1.0);
        assert_eq!(end, Ok(()));
        // 1.8 kN sink 3.5e5 N/m by 5.1 mm, see the scenario abuse-force; the throw goes deeper.
        assert!(
            deepest[0] > 0.005 && deepest[0] <= rig.pitch.stops.depth_m(),
            "{deepest:?}"
        );
    }
}

/// A buffer of 1e4 N/m let 60 N through. At rest 60 N · 0.33 m / 0.08 m are 248 N, less the
/// cartridge's: 60 N press it solid at 6 mm, the rest gives 0.1 mm more.
#[test]
fn a_soft_buffer_holds() {
    for axis in [0, 1] {
        let mut rig = kittiwake();
        rig.pitch.stops.stiffness_n_per_m = 1.0e4;
        rig.roll.stops.stiffness_n_per_m = 1.0e4;
        let mut twin = plant(&rig, 1);
        let mut force_n = [0.0; 2];
        force_n[axis] = 60.0;
        twin.push(force_n, 0.0, 3.0);
        let (deepest, end) = run(&rig, &mut twin, 3.0);
        assert_eq!(end, Ok(()));
        assert!(deepest[axis] <= rig.axis(axis).stops.depth_m());
        let resting = depth_m(&rig, axis, twin.stick().angle_rad);
        assert!((resting - 0.0061).abs() < 1e-4, "{resting}");
    }
}

/// Every kind of push on stops of every kind, both axes at once, either direction, any rise, from
/// anywhere the stick can stand: within the documented depth of its stops, or aborted by the stop
/// that it was pushed at.
#[test]
fn no_push_gets_the_stick_past_its_stops() {
    let mut dice = Dice(1);
    let (mut held, mut broke, mut touched) = (0, 0, 0);
    for case in 0..400 {
        let mut rig = if case % 2 == 0 { kittiwake() } else { skewed() };
        rig.obstacle.clear();
        for stops in [&mut rig.pitch.stops, &mut rig.roll.stops] {
            stops.height_m = dice.between(0.05, 0.2);
            stops.pin_radius_m = dice.decades(0.001, 0.02);
            stops.stiffness_n_per_m = dice.decades(1e3, 1e6);
            stops.restitution = dice.between(0.1, 1.0);
            stops.travel_m = dice.decades(0.0005, 0.01);
            stops.strength_n = dice.decades(300.0, 2e4);
            stops.min_deg = -dice.between(5.0, 30.0);
            stops.max_deg = dice.between(5.0, 30.0);
        }
        let far = [&rig.pitch.stops, &rig.roll.stops].map(|stops| [stops.min_deg, stops.max_deg]);
        let pitch_deg = dice.between(far[0][0], far[0][1]);
        let [low, high] = rig.roll_range_deg(pitch_deg);
        let start_deg = [pitch_deg, dice.between(low, high)];
        assert_eq!(rig.start_conflict(start_deg), None);
        let start = crate::StartPose {
            angle_rad: start_deg.map(f64::to_radians),
            ..Default::default()
        };
        let mut twin = Plant::new(&rig, 1, Default::default(), start);
        let mut push = || dice.one_of(&[-1.0, 1.0]) * dice.decades(2.0, 1500.0);
        let force_n = [push(), push()];
        let rise_s = dice.one_of(&[0.0, 0.0, 0.02, 0.1, 0.4]);
        twin.push(force_n, rise_s, 0.6);
        let (deepest, end) = run(&rig, &mut twin, 0.7);
        for axis in 0..2 {
            let slack_m = if end.is_ok() { STEP_M } else { ABORT_M };
            let most = rig.axis(axis).stops.depth_m() + slack_m;
            assert!(deepest[axis] <= most, "{case}: {deepest:?}, {most}");
        }
        touched += usize::from(deepest[0] > 0.0 && deepest[1] > 0.0);
        match end {
            Ok(()) => held += 1,
            Err(abort) => {
                let of_stop = matches!(abort.part, TwinPart::Stop { .. });
                assert!(
                    of_stop && matches!(abort.reason, AbortReason::Broke { .. }),
                    "{abort}"
                );
                broke += 1;
            }
        }
    }
    // All three kinds of case are among them, or the test would show nothing.
    assert!(
        held > 60 && broke > 60 && touched > 40,
        "{held}, {broke}, {touched}"
    );
}

/// A hand may want to go far beyond: it is carried to 60 degrees in both axes and stays within the
/// stops' depth.
#[test]
fn a_hand_that_wants_beyond_a_corner_is_held() {
    for (pitch, roll) in [
        (60.0_f64, 60.0_f64),
        (-60.0, 60.0),
        (-60.0, -60.0),
        (60.0, -60.0),
    ] {
        let rig = kittiwake();
        let mut twin = plant(&rig, 1);
        twin.grip(None);
        let to = [Some(pitch.to_radians()), Some(roll.to_radians())];
        twin.carry(to, 0.2, crate::PathShape::Smooth);
        let (deepest, end) = run(&rig, &mut twin, 1.0);
        assert_eq!(end, Ok(()));
        for axis in 0..2 {
            let most = rig.axis(axis).stops.depth_m();
            assert!(deepest[axis] > 1e-4 && deepest[axis] < most, "{deepest:?}");
        }
    }
}

fn obstacle(shape: SolidForm, at_m: [f64; 3], stiffness_n_per_m: f64) -> ObstacleRig {
    ObstacleRig {
        name: "block".to_owned(),
        shape,
        at_m,
        turn_deg: [0.0; 3],
        stiffness_n_per_m,
        restitution: 0.3,
    }
}

/// An obstacle across the way of the pitch axis, 0.2 m up, its middle met by the tube's axis at 10
/// degrees, down to the thinnest that a file may hold. The axis of the stick never gets through its
/// middle: it stays before it, slips past beside it, or the run is aborted and names it.
#[test]
fn no_push_gets_the_stick_through_an_obstacle() {
    let shapes = [
        SolidForm::Sphere { radius_m: 0.02 },
        SolidForm::Sphere { radius_m: 0.0005 },
        SolidForm::Capsule {
            radius_m: 0.01,
            length_m: 0.2,
            axis: Along::Y,
        },
        SolidForm::Capsule {
            radius_m: 0.0005,
            length_m: 0.1,
            axis: Along::Y,
        },
        SolidForm::Cuboid {
            size_m: [0.03, 0.1, 0.03],
        },
        SolidForm::Cuboid {
            size_m: [0.0005, 0.2, 0.2],
        },
        SolidForm::Cylinder {
            radius_m: 0.02,
            length_m: 0.2,
            axis: Along::Y,
        },
        SolidForm::Cylinder {
            radius_m: 0.0005,
            length_m: 0.1,
            axis: Along::Y,
        },
    ];
    let middle_rad = 10.0_f64.to_radians();
    let (mut held, mut through) = (0, 0);
    for shape in shapes {
        for (tube_m, stiffness) in [(0.011, 1e5), (0.002, 1e6), (0.011, 1e3)] {
            for force_n in [5.0, 40.0, 400.0, 4000.0] {
                let (sin, cos) = libm::sincos(middle_rad);
                let mut rig = kittiwake();
                rig.stick.tube_radius_m = tube_m;
                rig.obstacle = vec![obstacle(
                    shape.clone(),
                    [-0.2 * sin, 0.0, -0.2 * cos],
                    stiffness,
                )];
                assert_eq!(rig.start_conflict([0.0; 2]), None);
                let mut twin = plant(&rig, 1);
                twin.push([force_n, 0.0], 0.0, 0.5);
                let mut end = Ok(());
                for _ in 0..250 {
                    end = twin.advance();
                    if end.is_err() {
                        break;
                    }
                    // A ball may be slipped round, the ends of the others too: the axis then passes
                    // beside them.
                    let [pitch, roll] = twin.stick().angle_rad;
                    let aside_m = 0.2 * libm::sin(roll).abs();
                    let least_m = match shape {
                        SolidForm::Sphere { radius_m } => 0.1 * (tube_m + radius_m),
                        _ => 0.04,
                    };
                    assert!(
                        pitch < middle_rad || aside_m > least_m,
                        "{shape:?} {tube_m} {force_n}: {pitch} {roll}"
                    );
                    if pitch >= middle_rad {
                        break;
                    }
                }
                match end {
                    Ok(()) => held += 1,
                    Err(abort) => {
                        assert_eq!(
                            abort.part,
                            TwinPart::Obstacle("block".to_owned()),
                            "{abort}"
                        );
                        through += 1;
                    }
                }
            }
        }
    }
    assert!(held > 15 && through > 15, "{held}, {through}");
}

/// What a start is refused for is what the contacts would press at: random places against the
/// smallest gap.
#[test]
fn a_start_is_refused_where_something_overlaps() {
    let rig = skewed();
    let around = crate::params::surroundings(&rig, 1);
    let mut dice = Dice(5);
    let (mut stops, mut ball, mut clear) = (0, 0, 0);
    for _ in 0..3000 {
        let deg = [dice.between(-28.0, 28.0), dice.between(-25.0, 25.0)];
        let gap_m = around.gap_m(deg.map(f64::to_radians)).unwrap();
        match rig.start_conflict(deg) {
            None => {
                assert!(gap_m >= -1e-5, "{deg:?}: {gap_m}");
                clear += 1;
            }
            Some(StartConflict::BeyondStop { axis, range_deg }) => {
                assert!(gap_m < 0.0, "{deg:?}: {gap_m}");
                // What is offered is right: at either end, with the other axis where it is, that
                // axis is at its stop.
                for end in range_deg {
                    let mut there = deg;
                    there[axis.index()] = end;
                    assert!(depth_m(&rig, axis.index(), there.map(f64::to_radians)) < 1e-9);
                    there[axis.index()] = end * 1.001;
                    assert!(depth_m(&rig, axis.index(), there.map(f64::to_radians)) > 1e-6);
                }
                stops += 1;
            }
            Some(StartConflict::InsideObstacle { name, clear_deg }) => {
                assert!(gap_m < 0.0 && name == "ball");
                let there = clear_deg.expect("the upright stick is clear");
                assert_eq!(rig.start_conflict(there), None);
                ball += 1;
            }
        }
    }
    assert!(
        stops > 300 && ball > 30 && clear > 300,
        "{stops}, {ball}, {clear}"
    );
    assert!(rig.start_conflict([f64::NAN, 0.0]).is_some());
}

fn refusal(old: &str, new: &str) -> String {
    assert!(super::KITTIWAKE.contains(old));
    match Rig::parse(&super::KITTIWAKE.replacen(old, new, 1)) {
        Ok(_) => "accepted".to_owned(),
        Err(error) => error.message,
    }
}

/// A pin 0.9 m up would end beside the stick with the other axis tilted; one at 5 mm would be met
/// on the way; a stop that is stronger than its height allows would let the stick lie down.
#[test]
fn stops_that_cannot_be_met_are_refused() {
    let height = "height_m = 0.08";
    // 0.28 m · cos 18°.
    assert_eq!(
        refusal(height, "height_m = 0.27"),
        "`pitch.stops.height_m` is `0.27`, it must be `0.0300` to `0.2662`: on the tube with the other axis at its stop, and out of the tube's way up to the opposite stop"
    );
    assert_eq!(refusal(height, "height_m = 0.2662"), "accepted");
    // Stops 90 degrees apart and radii of 61 mm: 61 mm · tan 45°.
    let message = refusal(
        "min_deg = -20.0\nmax_deg = 20.0\nstiffness_n_per_m = 3.5e5\nrestitution = 0.4\nheight_m = 0.08\npin_radius_m = 0.006",
        "min_deg = -40.0\nmax_deg = 50.0\nstiffness_n_per_m = 3.5e5\nrestitution = 0.4\nheight_m = 0.06\npin_radius_m = 0.05",
    );
    assert!(
        message.starts_with("`pitch.stops.height_m` is `0.06`, it must be `0.061"),
        "{message}"
    );
    // 0.08 sin 30° + 0.017 (1 − cos 30°) = 42.3 mm: 2.1 kN at 6 mm and 2e6 N/m beyond it.
    let message = refusal(
        "pin_radius_m = 0.006",
        "pin_radius_m = 0.006\nstrength_n = 80000.0",
    );
    assert!(
        message.starts_with("`pitch.stops.strength_n` is `80000`, it must be at most `74655`"),
        "{message}"
    );
    assert_eq!(
        refusal(
            "pin_radius_m = 0.006",
            "pin_radius_m = 0.006\nstrength_n = 74000.0"
        ),
        "accepted"
    );
    assert!(
        refusal(
            "pin_radius_m = 0.006",
            "pin_radius_m = 0.006\ntravel_m = 0.0"
        )
        .contains("travel_m")
    );
}

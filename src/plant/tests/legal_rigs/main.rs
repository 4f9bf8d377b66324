//! Random legal rigs: each is refused with key and bound, or runs as its run at quarter steps does.
//!
//! The law: whatever numbers a rig file holds within their ranges, the twin either says which value
//! it cannot compute, or its angles are those of the same run at a quarter of every step within
//! 1e-4 rad. One class is apart and named: a **bifurcation**, where the motion itself, computed at
//! quarter steps, turns a change that nobody can measure into more than the bar: the stick's start
//! by 1e-7 rad, or the supply's voltage, the motors' holding torque or the pivots' dry friction by
//! one part in 10,000 (a rotor that just passes a peak of its torque, that just comes to rest, a
//! driver whose supply just reaches its undervoltage). No step size helps there.
//!
//! Commands are a fixed sequence, made by hand: with the controller in the loop a sensor count may
//! flip and change what is commanded, which is no error of the integrator.

mod draw;

use draw::{RIGS, random_rig};
use trimproof_io::{AxisCommand, Command, CurrentLevel};
use trimproof_plant::rig::MassRig;
use trimproof_plant::{HandFeel, Numerics, PathShape, Plant, Rig, StartPose, TwinAbort};

/// Largest difference to the run at quarter steps, rad.
const BAR_RAD: f64 = 1.0e-4;
/// Change of the start that separates a bifurcation from an error, rad.
const NUDGE_RAD: f64 = 1.0e-7;
/// Change of a rig's figure that separates a bifurcation from an error, a share of it: data sheets
/// have three digits.
const NUDGE_SHARE: f64 = 1.0e-4;
/// Rigs in an ordinary test run; `TRIMPROOF_RIGS=2000` looks at more.
const USUAL_RIGS: usize = 30;

/// The five short scenarios.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Move {
    PowerUp,
    Release,
    PushOnAStop,
    Nudge,
    LetGo,
}

const MOVES: [Move; 5] = [
    Move::PowerUp,
    Move::Release,
    Move::PushOnAStop,
    Move::Nudge,
    Move::LetGo,
];

/// Length of a scenario, s.
const LENGTH_S: f64 = 0.3;

/// Runs a move from a stick that stands `off_rad` beside its start; stick angles at every tick.
fn track(
    rig: &Rig,
    numerics: Numerics,
    what: Move,
    off_rad: f64,
) -> Result<Vec<[f64; 2]>, TwinAbort> {
    let far = |share: f64| {
        [&rig.pitch.stops, &rig.roll.stops].map(|stops| (share * stops.max_deg).to_radians())
    };
    let [pitch, roll] = far(0.25);
    let start = StartPose {
        angle_rad: if what == Move::PowerUp {
            [pitch + off_rad, off_rad - roll]
        } else {
            [off_rad; 2]
        },
        supply_v: if what == Move::PowerUp {
            0.0
        } else {
            rig.supply.volts
        },
        force_trim: true,
    };
    let mut plant = Plant::new(rig, 1, numerics, start);
    let ticks = (LENGTH_S / plant.tick_s()).round() as usize;
    let mut track = Vec::with_capacity(ticks);
    let is_at = |now: f64, at_s: f64| (now - at_s).abs() < 0.25 * rig.tick_s();
    // Sixty full steps a second, against each other.
    let rate = |axis: usize| {
        let driver = &rig.axis(axis).driver;
        let usteps = 60.0 * f64::from(driver.microsteps) / f64::from(rig.board.generator_hz);
        (usteps * 4_294_967_296.0).min(f64::from(i32::MAX)) as i32
    };
    for _ in 0..ticks {
        let now = plant.now_s();
        match what {
            Move::PowerUp if is_at(now, 0.05) => plant.set_supply(rig.supply.volts, 0.02),
            Move::Release | Move::LetGo if is_at(now, 0.0) => {
                let [pitch, roll] = far(0.35);
                plant.grip(None);
                plant.carry([Some(pitch), Some(-roll)], 0.14, PathShape::Smooth);
            }
            Move::LetGo if is_at(now, 0.18) => plant.let_go(),
            Move::PushOnAStop if is_at(now, 0.0) => plant.push([60.0, -40.0], 0.05, 0.22),
            _ => {}
        }
        let on = match what {
            Move::PowerUp => now > 0.1,
            Move::Release => now < 0.17,
            Move::PushOnAStop | Move::Nudge => true,
            Move::LetGo => false,
        };
        let axis = |index: usize| AxisCommand {
            enable: on,
            current: if on {
                CurrentLevel::Run
            } else {
                CurrentLevel::Off
            },
            step_rate: match (what, index) {
                (Move::Nudge, 0) if now > 0.02 => rate(0),
                (Move::Nudge, 1) if now > 0.02 => -rate(1),
                _ => 0,
            },
            ..AxisCommand::default()
        };
        plant.sample();
        plant.command(&Command {
            axis: [axis(0), axis(1)],
        });
        plant.advance()?;
        track.push(plant.stick().angle_rad);
    }
    Ok(track)
}

/// Largest difference of two tracks and its instant, s.
fn gap(rig: &Rig, a: &[[f64; 2]], b: &[[f64; 2]]) -> (f64, f64) {
    let mut worst = (0.0_f64, 0.0);
    for (k, (a, b)) in a.iter().zip(b).enumerate() {
        for i in 0..2 {
            let found = (a[i] - b[i]).abs();
            // What is no number must not pass as small.
            if found > worst.0 || found.is_nan() {
                worst = (found, (k + 1) as f64 * rig.tick_s());
            }
        }
    }
    worst
}

/// Steps cut into `by`.
fn cut(by: u32) -> Numerics {
    Numerics {
        refine: by,
        ..Numerics::default()
    }
}

/// How a rig's run compares with the one at quarter steps.
#[derive(Debug)]
#[allow(dead_code, reason = "the figures are printed")]
enum Found {
    Agrees(f64),
    Bifurcation {
        gap_rad: f64,
        nudged_rad: f64,
    },
    Aborted(TwinAbort),
    Wrong {
        gap_rad: f64,
        at_s: f64,
        nudged_rad: f64,
    },
}

fn compare(rig: &Rig, what: Move) -> Found {
    let (coarse, fine) = match (track(rig, cut(1), what, 0.0), track(rig, cut(4), what, 0.0)) {
        (Ok(coarse), Ok(fine)) => (coarse, fine),
        (Err(abort), _) | (_, Err(abort)) => return Found::Aborted(abort),
    };
    let (gap_rad, at_s) = gap(rig, &coarse, &fine);
    if gap_rad <= BAR_RAD {
        return Found::Agrees(gap_rad);
    }
    let nudged_rad = nudged_rad(rig, what, &fine);
    if nudged_rad > BAR_RAD {
        Found::Bifurcation {
            gap_rad,
            nudged_rad,
        }
    } else {
        Found::Wrong {
            gap_rad,
            at_s,
            nudged_rad,
        }
    }
}

/// How far the run at quarter steps, `fine`, goes elsewhere with a change that nobody can measure,
/// rad.
fn nudged_rad(rig: &Rig, what: Move, fine: &[[f64; 2]]) -> f64 {
    let apart = |rig: &Rig, off_rad: f64| {
        track(rig, cut(4), what, off_rad).map_or(f64::INFINITY, |nudged| gap(rig, &nudged, fine).0)
    };
    let mut largest = apart(rig, NUDGE_RAD);
    for share in [NUDGE_SHARE, -NUDGE_SHARE] {
        let mut other = rig.clone();
        other.supply.volts *= 1.0 + share;
        largest = largest.max(apart(&other, 0.0));
        let mut other = rig.clone();
        for motor in [&mut other.pitch.motor, &mut other.roll.motor] {
            motor.holding_n_m *= 1.0 + share;
        }
        largest = largest.max(apart(&other, 0.0));
        let mut other = rig.clone();
        for axis in [&mut other.pitch, &mut other.roll] {
            axis.friction.stiction_n_m *= 1.0 + share;
            axis.friction.coulomb_n_m *= 1.0 + share;
        }
        largest = largest.max(apart(&other, 0.0));
    }
    largest
}

/// Every legal rig is refused with its key, aborted with its part, or agrees with its run at
/// quarter steps.
#[test]
fn random_legal_rigs_agree_with_their_run_at_quarter_steps() {
    let wrong = fly_random_rigs();
    let lines: Vec<String> = wrong
        .iter()
        .map(|(seed, what, found)| format!("seed {seed} {what:?}: {found:?}"))
        .collect();
    assert!(lines.is_empty(), "{}", lines.join("\n"));
}

/// Runs random rigs through all moves; those that differ from their quarter-step run by more than
/// the bar.
fn fly_random_rigs() -> Vec<(u64, Move, Found)> {
    let count = std::env::var("TRIMPROOF_RIGS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(USUAL_RIGS);
    let (mut refused, mut agree, mut aborted, mut forks) = (0, 0, 0, 0);
    let mut wrong = Vec::new();
    let mut worst = 0.0_f64;
    for seed in 0..count as u64 {
        let rig = match random_rig(seed) {
            Ok(rig) => rig,
            Err(error) => {
                refused += 1;
                assert!(
                    error.span.is_some() && error.message.starts_with('`'),
                    "{error:?}"
                );
                continue;
            }
        };
        for what in MOVES {
            let found = compare(&rig, what);
            match found {
                Found::Agrees(gap_rad) => {
                    agree += 1;
                    worst = worst.max(gap_rad);
                }
                Found::Bifurcation { .. } => {
                    forks += 1;
                    println!("seed {seed} {what:?}: {found:?}");
                }
                Found::Aborted(abort) => {
                    aborted += 1;
                    println!("seed {seed} {what:?}: {abort}");
                }
                Found::Wrong { .. } => {
                    println!("seed {seed} {what:?}: {found:?}");
                    wrong.push((seed, what, found));
                }
            }
        }
    }
    println!(
        "{count} rigs: {refused} refused; runs: {agree} agree (largest {worst:.1e} rad), {forks} bifurcations, {aborted} aborted, {} wrong",
        wrong.len()
    );
    wrong
}

/// One number each, found by an outside look: every one of them ran to no numbers, or chattered.
#[test]
fn single_numbers_that_once_diverged_run_and_agree() {
    type Change = fn(&mut Rig);
    let cases: [(&str, usize, Change); 11] = [
        ("kittiwake, cartridge damping 3", 0, |rig| {
            set_damping(rig, 3.0)
        }),
        ("kittiwake, cartridge damping 3.1", 0, |rig| {
            set_damping(rig, 3.1)
        }),
        ("kittiwake, cartridge damping 30", 0, |rig| {
            set_damping(rig, 30.0)
        }),
        ("bittern, shaft inertia 2.7e-5", 1, |rig| {
            rig.roll.drive.shaft_inertia_kg_m2 = 2.7e-5
        }),
        ("kittiwake, pitch radius 0.347", 0, |rig| {
            rig.roll.drive.trim_pitch_radius_m = 0.347
        }),
        ("bittern, pitch radius 0.347", 1, |rig| {
            rig.roll.drive.trim_pitch_radius_m = 0.347
        }),
        ("kittiwake, rotor inertia 1.5e-7", 0, |rig| {
            rig.roll.motor.rotor_inertia_kg_m2 = 1.5e-7
        }),
        ("bittern, rotor inertia 1.5e-7", 1, |rig| {
            rig.roll.motor.rotor_inertia_kg_m2 = 1.5e-7
        }),
        ("kittiwake, rated current 0.071", 0, |rig| {
            rig.roll.motor.rated_a = 0.071
        }),
        ("kittiwake, shaft inertia 4e-5 with damping 0.8", 0, |rig| {
            rig.roll.drive.shaft_inertia_kg_m2 = 4e-5;
            set_damping(rig, 0.8);
        }),
        ("kittiwake, hand damping 1e4", 0, |rig| {
            rig.hand.damping_n_s_per_m = 1e4
        }),
    ];
    let mut wrong = Vec::new();
    for (name, base, change) in cases {
        let mut rig = Rig::parse(RIGS[base]).expect("the shipped rigs parse");
        change(&mut rig);
        // Through its text, so that it is checked as a file is; the hand's damping is one that an
        // event may give.
        let text = toml::to_string(&rig).expect("a rig is TOML");
        match Rig::parse(&text) {
            Ok(_) => {}
            Err(_) if rig.hand.damping_n_s_per_m > 500.0 => {}
            Err(error) => {
                println!("{name}: refused, {}", error.message);
                assert!(error.message.contains("the twin would need steps of"));
                continue;
            }
        }
        for what in MOVES {
            let found = compare(&rig, what);
            println!("{name}, {what:?}: {found:?}");
            if !matches!(found, Found::Agrees(_)) {
                wrong.push(format!("{name}, {what:?}: {found:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A stop of 1e6 N/m, 0.2 m up, that gives nothing back: 9.5e-2 rad off before the dashpot was
/// implicit, 2.3e-4 while its force was wrong in the step in which a push ends.
#[test]
fn a_stiff_tall_stop_without_rebound_agrees() {
    let mut rig = Rig::parse(RIGS[0]).expect("the shipped rigs parse");
    for stops in [&mut rig.pitch.stops, &mut rig.roll.stops] {
        stops.stiffness_n_per_m = 1e6;
        stops.restitution = 0.0;
        stops.height_m = 0.2;
        // It stands up to the blow.
        stops.strength_n = 1e5;
    }
    for what in MOVES {
        let found = compare(&rig, what);
        assert!(matches!(found, Found::Agrees(_)), "{what:?}: {found:?}");
    }
}

fn set_damping(rig: &mut Rig, damping: f64) {
    if let trimproof_plant::rig::CartridgeRig::Measured(cartridge) = &mut rig.roll.cartridge {
        cartridge.damping_n_m_s_per_rad = damping;
    }
}

/// A hand that an event may give: at rest nothing but its path moves it, so it presses with
/// nothing.
#[test]
fn the_strongest_hand_of_an_event_does_not_chatter_at_rest() {
    for text in RIGS {
        let rig = Rig::parse(text).expect("the shipped rigs parse");
        for (stiffness_n_per_m, damping_n_s_per_m) in [
            (1e6, 1e5),
            (1e6, 0.0),
            (1.0, 1e5),
            (800.0, 1e4),
            (800.0, 3.7e3),
        ] {
            let mut plant = Plant::new(&rig, 1, Numerics::default(), StartPose::default());
            plant.grip(Some(HandFeel {
                stiffness_n_per_m,
                damping_n_s_per_m,
                limit_n: 300.0,
            }));
            let mut largest_n = 0.0_f64;
            for tick in 0..250 {
                plant.advance().expect("a hand at rest is computed");
                let forces = plant.readings().axis.map(|axis| axis.grip_force_n.abs());
                if tick > 50 {
                    largest_n = largest_n.max(forces[0]).max(forces[1]);
                }
            }
            // It holds the stick's weight beside the pivots, far below a newton, and chattered at
            // its limit.
            assert!(
                largest_n < 1.0,
                "{} with {stiffness_n_per_m} and {damping_n_s_per_m}: {largest_n} N",
                rig.name
            );
        }
    }
}

/// Each refusal names its key, and the value that it prints is computed.
#[test]
fn a_refusal_names_a_value_that_is_computed() {
    type Change = fn(&mut Rig, f64);
    let cases: [(&str, f64, Change, Change); 3] = [
        (
            "pitch.drive.mesh_damping_n_s_per_m",
            1000.0,
            |rig, _| rig.pitch.drive.trim_pitch_radius_m = 0.3,
            |rig, value| rig.pitch.drive.mesh_damping_n_s_per_m = value,
        ),
        (
            "roll.motor.rotor_inertia_kg_m2",
            1e-7,
            |rig, _| {
                rig.roll.drive.motor_teeth = 90;
                rig.roll.drive.trim_teeth = 15;
                rig.roll.drive.trim_pitch_radius_m = 0.1;
                rig.roll.drive.mesh_damping_n_s_per_m = 0.0;
            },
            |rig, value| rig.roll.motor.rotor_inertia_kg_m2 = value,
        ),
        (
            "roll.cartridge.damping_n_m_s_per_rad",
            50.0,
            |rig, _| {
                if let MassRig::Measured(mass) = &mut rig.stick.mass {
                    mass.inner_mass_kg = 0.05;
                    mass.inner_inertia_kg_m2 = [3e-4, 3e-4, 1e-5, 0.0, 0.0, 0.0];
                }
            },
            |rig, value| set_damping(rig, value),
        ),
    ];
    for (key, given, prepare, set) in cases {
        let mut rig = Rig::parse(RIGS[0]).expect("the shipped rigs parse");
        prepare(&mut rig, 0.0);
        set(&mut rig, given);
        let text = |rig: &Rig| toml::to_string(rig).expect("a rig is TOML");
        let error = Rig::parse(&text(&rig)).expect_err(key);
        println!("{}", error.message);
        assert!(
            error.message.starts_with(&format!("`{key}` is `")) && error.span.is_some(),
            "{error:?}"
        );
        let bound = error
            .message
            .split('`')
            .nth(5)
            .and_then(|text| text.parse().ok())
            .expect("a bound");
        set(&mut rig, bound);
        let again = Rig::parse(&text(&rig));
        assert!(again.is_ok(), "{key} at its bound: {again:?}");
    }
}

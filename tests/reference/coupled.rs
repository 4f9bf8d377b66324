//! The whole twin at its default steps against itself at 0.5 µs, on both shipped rigs.
//!
//! Three cases as in the physics notes: the hand lets a deflected stick go, pulls the drives over
//! their holding torque, throws the stick against a stop. Commands are made by hand: drives on at
//! run current, no steps.

use trimproof_harness::rig::RigFile;
use trimproof_io::{AxisCommand, Command, CurrentLevel};
use trimproof_plant::{Numerics, PathShape, Plant, StartPose};

/// The bar of issue 2 at the stick, rad.
const BAR_RAD: f64 = 1.0e-4;

const RIGS: [&str; 2] = [
    include_str!("../../scenarios/rigs/kittiwake.toml"),
    include_str!("../../scenarios/rigs/bittern.toml"),
];

/// The reference: everything at 0.5 µs, contacts looked up every 2 µs.
fn fine() -> Numerics {
    Numerics {
        stick_step_s: 0.5e-6,
        train_substeps: 1,
        contact_steps: 4,
        refine: 1,
    }
}

fn powered() -> Command {
    let axis = AxisCommand {
        enable: true,
        current: CurrentLevel::Run,
        ..AxisCommand::default()
    };
    Command { axis: [axis; 2] }
}

/// Stick and trim angles at every tick.
type Track = Vec<([f64; 2], [f64; 2])>;

/// Runs `for_s` with `act` called before each tick with its time.
fn run(
    rig: &RigFile,
    numerics: Numerics,
    drives: bool,
    for_s: f64,
    act: &dyn Fn(&mut Plant, f64),
) -> Track {
    let start = StartPose {
        supply_v: rig.supply.volts,
        force_trim: true,
        ..StartPose::default()
    };
    let mut plant = Plant::new(rig, 1, numerics, start);
    let ticks = (for_s / plant.tick_s()).round() as usize;
    (0..ticks)
        .map(|_| {
            let now = plant.now_s();
            act(&mut plant, now);
            plant.sample();
            plant.command(&if drives {
                powered()
            } else {
                Command::default()
            });
            plant.advance().expect("the twin computes it");
            (
                plant.stick().angle_rad,
                [plant.train(0).shaft_rad, plant.train(1).shaft_rad],
            )
        })
        .collect()
}

/// Whether `now` is the tick at `at_s`; ticks are 2 ms.
fn is_at(now: f64, at_s: f64) -> bool {
    (now - at_s).abs() < 1e-6
}

fn degrees(pitch: f64, roll: f64) -> [Option<f64>; 2] {
    [Some(pitch.to_radians()), Some(roll.to_radians())]
}

/// Compares default with fine numerics; returns the largest stick error and the default track.
fn check(
    case: &str,
    change: impl Fn(&mut RigFile),
    drives: bool,
    for_s: f64,
    act: &(dyn Fn(&mut Plant, f64) + Sync),
    seen: impl Fn(&RigFile, &Track),
) {
    for text in RIGS {
        let mut rig = RigFile::parse(text).expect("the shipped rigs parse");
        change(&mut rig);
        let track = run(&rig, Numerics::default(), drives, for_s, act);
        let reference = run(&rig, fine(), drives, for_s, act);
        let mut worst = (0.0_f64, 0, 0);
        for (k, (a, b)) in track.iter().zip(&reference).enumerate() {
            for i in 0..2 {
                let gap = (a.0[i] - b.0[i]).abs();
                if gap > worst.0 {
                    worst = (gap, i, k);
                }
            }
        }
        println!(
            "{case} on {}: {:.2e} rad at the stick, axis {}, tick {}",
            rig.name, worst.0, worst.1, worst.2
        );
        seen(&rig, &track);
        assert!(
            worst.0 <= BAR_RAD,
            "{case} on {}: {:e} rad in axis {} at tick {}",
            rig.name,
            worst.0,
            worst.1,
            worst.2
        );
    }
}

#[test]
fn released_stick_agrees_with_the_fine_run() {
    let act = |plant: &mut Plant, now: f64| {
        if is_at(now, 0.0) {
            plant.grip(None);
            plant.carry(degrees(6.0, -4.0), 0.3, PathShape::Smooth);
        }
        if is_at(now, 0.36) {
            plant.let_go();
        }
    };
    check(
        "release",
        |_| {},
        true,
        0.9,
        &act,
        |rig, track| {
            let held = track[175].0;
            assert!(
                held[0].to_degrees() > 4.0 && held[1].to_degrees() < -2.5,
                "{}: held at {held:?}",
                rig.name
            );
            let settled = track[track.len() - 1].0;
            assert!(
                settled[0].abs() < 0.5 * held[0],
                "{}: it must come back",
                rig.name
            );
        },
    );
}

#[test]
fn slipping_drive_agrees_with_the_fine_run() {
    let act = |plant: &mut Plant, now: f64| {
        if is_at(now, 0.0) {
            plant.grip(None);
            plant.carry(degrees(17.0, 0.0), 0.6, PathShape::Smooth);
        }
        if is_at(now, 0.7) {
            plant.carry(degrees(6.0, 0.0), 0.2, PathShape::Smooth);
        }
    };
    // Within the stops a healthy drive holds anything; this one has its current turned down to a
    // quarter.
    let weaken = |rig: &mut RigFile| rig.pitch.driver.run_a *= 0.25;
    check("slip", weaken, true, 1.0, &act, |rig, track| {
        let cycle = 4.0 * rig.pitch.full_step_deg().to_radians();
        let slipped = (track[track.len() - 1].1[0] - track[0].1[0]) / cycle;
        println!(
            "  {}: the pitch drive slipped {slipped:.3} cycles",
            rig.name
        );
        assert!(
            slipped.round() >= 2.0,
            "{}: slipped {slipped} cycles",
            rig.name
        );
    });
}

#[test]
fn stick_thrown_at_a_stop_agrees_with_the_fine_run() {
    throw_at_a_stop("stop", true);
}

#[test]
fn limp_stick_thrown_at_a_stop_agrees_with_the_fine_run() {
    // Drives off: the trim shafts follow with their gears rattling in the play; only dry friction
    // makes that converge.
    throw_at_a_stop("limp stop", false);
}

fn throw_at_a_stop(name: &str, driven: bool) {
    let act = |plant: &mut Plant, now: f64| {
        if is_at(now, 0.0) {
            plant.push([60.0, 20.0], 0.05, 0.35);
        }
    };
    check(
        name,
        |_| {},
        driven,
        0.7,
        &act,
        |rig, track| {
            let farthest = track.iter().map(|(stick, _)| stick[0]).fold(0.0, f64::max);
            let stop = rig.pitch.stops.max_deg.to_radians();
            assert!(
                farthest > stop - 1e-4,
                "{}: reached {farthest} of {stop} rad",
                rig.name
            );
        },
    );
}

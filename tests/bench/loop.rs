//! Speed: the whole closed loop on one core, and rapier's multibody as a peer in the same run.
//!
//! `cargo bench --bench loop`. Throughput is simulated seconds a second ("elem/s"). The figures
//! stand in docs/model/accuracy.md. Before timing, both integrators are compared with a 5 µs run of
//! ours, so that the peer is timed at the step at which it is as exact as we are, and at coarser
//! ones.

#[allow(dead_code, reason = "the tests use all of it")]
#[path = "../reference/bodies.rs"]
mod bodies;
#[path = "../reference/multibody.rs"]
mod multibody;

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, SamplingMode, Throughput, criterion_group, criterion_main};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_io::{AxisCommand, Command, CurrentLevel};
use trimproof_plant::dynamics::{CartridgeParams, GimbalState};
use trimproof_plant::{Numerics, PathShape, Plant, StartPose};

use bodies::{Case, STEP_S, case, step};
use multibody::Engine;

const RIG: &str = include_str!("../../scenarios/rigs/kittiwake.toml");

/// A working day of a stick in ten seconds: power-up, a reposition under trim release, a nudge, a
/// stop.
const DAY: &str = r#"
title = "ten busy seconds"
purpose = "what the speed is measured on"
rigs = ["kittiwake"]
length_s = 10.0

[start]
pitch_deg = 4.0

[[do]]
at_s = 2.5
what = "grip"

[[do]]
at_s = 2.6
what = "hold"
switch = "release"
for_s = 1.5

[[do]]
at_s = 2.8
what = "carry"
pitch_deg = 8.0
roll_deg = -5.0
over_s = 1.0

[[do]]
at_s = 5.0
what = "let_go_stick"

[[do]]
at_s = 6.0
what = "hold"
switch = "hat_fore"
for_s = 1.0

[[do]]
at_s = 8.0
what = "push"
pitch_n = 60.0
for_s = 0.6

[[expect]]
name = "runs"
formula = "true"
"#;

const DAY_S: u64 = 10;

fn cartridge() -> CartridgeParams {
    CartridgeParams {
        free_play_rad: 2.6e-3,
        breakout_n_m: 0.78,
        rate_n_m_per_rad: 10.0,
        bind_rad: 0.78,
        damping_n_m_s_per_rad: 0.05,
    }
}

/// The stick that both integrators move: the top-heavy reference case on preloaded cartridges.
fn stick() -> (Case, impl Fn([f64; 2], [f64; 2]) -> [f64; 2]) {
    let mut stick = case("top_heavy_on_springs");
    stick.start_rad = [0.30, -0.22];
    let cartridge = cartridge();
    (stick, move |angle: [f64; 2], rate: [f64; 2]| {
        std::array::from_fn(|i| {
            -cartridge.spring_n_m(angle[i]) - cartridge.damping_n_m_s_per_rad * rate[i]
        })
    })
}

/// Angles of our integrator every millisecond for `for_s`.
fn ours(step_s: f64, for_s: f64) -> Vec<[f64; 2]> {
    let (case, torque) = stick();
    let (params, mut state, mut accel) = (case.params(), case.start(), [0.0; 2]);
    let per_ms = (1e-3 / step_s).round() as usize;
    every_ms(for_s, || {
        for _ in 0..per_ms {
            step(&params, &mut state, &mut accel, step_s, &torque);
        }
        let GimbalState { angle_rad, .. } = state;
        angle_rad
    })
}

/// The same from rapier's multibody.
fn rapier(step_s: f64, for_s: f64) -> Vec<[f64; 2]> {
    let (case, torque) = stick();
    let mut engine = Engine::new(&case, step_s, &torque);
    let per_ms = (1e-3 / step_s).round() as usize;
    every_ms(for_s, || {
        for _ in 0..per_ms {
            engine.step(&torque);
        }
        engine.angle_rad()
    })
}

fn every_ms(for_s: f64, mut next: impl FnMut() -> [f64; 2]) -> Vec<[f64; 2]> {
    (0..(for_s * 1e3).round() as usize)
        .map(|_| next())
        .collect()
}

fn largest_gap(a: &[[f64; 2]], b: &[[f64; 2]]) -> f64 {
    a.iter()
        .zip(b)
        .flat_map(|(a, b)| [(a[0] - b[0]).abs(), (a[1] - b[1]).abs()])
        .fold(0.0, f64::max)
}

/// The twin alone: no controller, no trace.
fn plant(rig: &RigFile, for_s: f64) -> f64 {
    let start = StartPose {
        supply_v: rig.supply.volts,
        force_trim: true,
        ..StartPose::default()
    };
    let mut plant = Plant::new(rig, 1, Numerics::default(), start);
    let on = AxisCommand {
        enable: true,
        current: CurrentLevel::Run,
        ..AxisCommand::default()
    };
    let outputs = Command { axis: [on; 2] };
    plant.grip(None);
    plant.carry([Some(0.10), Some(-0.07)], 0.5, PathShape::Smooth);
    for _ in 0..(for_s / plant.tick_s()).round() as usize {
        black_box(plant.sample());
        plant.command(&outputs);
        plant.advance().expect("the twin computes it");
    }
    plant.stick().angle_rad[0]
}

fn speed(criterion: &mut Criterion) {
    let fine = ours(5e-6, 5.0);
    println!("largest error over 5 s against 5 µs, rad:");
    println!(
        "  ours, 100 µs          {:.2e}",
        largest_gap(&ours(STEP_S, 5.0), &fine)
    );
    for step_s in [1e-3, 2.5e-4, 6.25e-5, 6.25e-6] {
        println!(
            "  rapier, {:7.2} µs    {:.2e}",
            step_s * 1e6,
            largest_gap(&rapier(step_s, 5.0), &fine)
        );
    }

    let mut group = criterion.benchmark_group("simulated seconds a second");
    group
        .sample_size(10)
        .warm_up_time(Duration::from_secs(1))
        .measurement_time(Duration::from_secs(4));

    let rig = RigFile::parse(RIG).expect("the shipped rig parses");
    let scenario = Scenario::parse(DAY).expect("the bench's scenario parses");
    group.throughput(Throughput::Elements(DAY_S));
    group.bench_function("whole loop", |bencher| {
        bencher.iter(|| {
            let mut target = LogicTarget::default();
            let run = run_scenario(&rig, &scenario, &mut target, &mut |_| true);
            assert!(run.end.is_complete(), "{:?}", run.end);
            run.trace
        });
    });
    group.bench_function("twin alone", |bencher| {
        bencher.iter(|| plant(&rig, DAY_S as f64))
    });
    group.bench_function("stick on cartridges, ours at 100 µs", |bencher| {
        bencher.iter(|| ours(STEP_S, DAY_S as f64));
    });
    group.throughput(Throughput::Elements(1));
    // The finest takes about a second an iteration: one iteration a sample.
    group.sampling_mode(SamplingMode::Flat);
    for (name, step_s) in [
        ("1 ms", 1e-3),
        ("250 µs", 2.5e-4),
        ("62.5 µs", 6.25e-5),
        ("6.25 µs", 6.25e-6),
    ] {
        group.bench_function(
            format!("stick on cartridges, rapier multibody at {name}"),
            |bencher| {
                bencher.iter(|| rapier(step_s, 1.0));
            },
        );
    }
    group.finish();
}

criterion_group!(benches, speed);
criterion_main!(benches);

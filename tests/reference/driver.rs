//! The driver's microstep table against published figures.

use trimproof_io::{CurrentLevel, Pulse};
use trimproof_plant::driver::{Driver, DriverKind, DriverParams};
use trimproof_plant::dynamics::Phase;

const RUN_A: f64 = 1.5;

fn driver(microsteps: u32) -> Driver {
    let mut driver = Driver::new(DriverParams {
        microsteps,
        run_a: RUN_A,
        hold_a: 0.5 * RUN_A,
        undervoltage_v: 8.0,
        kind: DriverKind::default(),
    });
    driver.watch_supply(24.0);
    driver.set_lines(true, CurrentLevel::Run);
    driver
}

fn amps(driver: &Driver) -> [f64; 2] {
    driver.phases().map(|phase| match phase {
        Phase::Chopped(amps) => amps,
        other => panic!("not driven: {other:?}"),
    })
}

#[test]
fn first_microstep_takes_the_published_share_of_full_current() {
    // sin(90°/n) of full current in the second winding, from one winding alone: n = 2 70.71 %, ...
    // 256 0.61 % (published table of microstep torque, docs/model/sources.md).
    for (n, percent) in [
        (2, 70.71),
        (4, 38.27),
        (8, 19.51),
        (16, 9.80),
        (32, 4.91),
        (64, 2.45),
        (128, 1.23),
        (256, 0.61),
    ] {
        let mut driver = driver(n);
        // Home is half a full step from the position of one winding alone.
        for _ in 0..n / 2 {
            driver.step(Pulse::Backward);
        }
        let [a, b] = amps(&driver);
        assert!(
            (a - RUN_A).abs() < 1e-12 && b.abs() < 1e-12,
            "1/{n}: one winding alone, not {a} A and {b} A"
        );
        driver.step(Pulse::Forward);
        let [a, b] = amps(&driver);
        assert!(
            (100.0 * b / RUN_A - percent).abs() <= 0.005 + 1e-9,
            "1/{n}: {} %",
            100.0 * b / RUN_A
        );
        // The current vector keeps its length: torque does not ripple.
        assert!((a * a + b * b - RUN_A * RUN_A).abs() < 1e-12);
    }
}

#[test]
fn four_full_steps_are_one_electrical_cycle() {
    let mut driver = driver(16);
    let home = amps(&driver);
    assert!((home[0] - home[1]).abs() < 1e-12 && (home[0] / RUN_A - 0.5_f64.sqrt()).abs() < 1e-12);
    for _ in 0..64 {
        driver.step(Pulse::Forward);
    }
    assert_eq!(amps(&driver), home);
    assert_eq!(driver.total(), 64);
    let cycle = driver.electrical_rad() - trimproof_plant::driver::HOME_RAD;
    assert!((cycle - std::f64::consts::TAU).abs() < 1e-12);
}

/// As the guide says of the fault: both windings open, the microstep index counts on. Without a
/// supply nothing counts.
#[test]
fn a_dead_output_stage_counts_on_and_a_dropped_out_driver_does_not() {
    let mut driver = driver(16);
    driver.set_dead(true);
    for _ in 0..5 {
        driver.step(Pulse::Forward);
    }
    assert_eq!(driver.phases(), [Phase::Open; 2]);
    assert_eq!(driver.total(), 5);
    driver.set_dead(false);
    let revived = amps(&driver);
    driver.watch_supply(7.9);
    driver.step(Pulse::Forward);
    assert_eq!(driver.total(), 0);
    driver.watch_supply(24.0);
    for _ in 0..5 {
        driver.step(Pulse::Forward);
    }
    assert_eq!(amps(&driver), revived);
}

//! The supply against the closed forms of a source behind a resistance with a capacitor.

use crate::supply::Supply;

const OHM: f64 = 0.4;
const FARAD: f64 = 3.0e-3;
const STEP_S: f64 = 5.0e-5;

fn supply(volts: f64) -> Supply {
    Supply::new(OHM, FARAD, volts, STEP_S)
}

/// Advances with a load of `power_w` and gives the voltage after each step.
fn run(supply: &mut Supply, power_w: f64, from_s: f64, steps: u32) -> Vec<f64> {
    (0..steps)
        .map(|k| {
            supply.advance(power_w, from_s + f64::from(k) * STEP_S);
            supply.volts()
        })
        .collect()
}

/// Unloaded: V = V_s + (V_0 − V_s) exp(−t/(R C)), exact at every step size.
#[test]
fn the_capacitor_is_charged_through_the_source() {
    let mut supply = supply(6.0);
    supply.set(24.0, 0.0, 0.0);
    for (k, volts) in run(&mut supply, 0.0, 0.0, 100).into_iter().enumerate() {
        let t = (k as f64 + 1.0) * STEP_S;
        let expected = 24.0 - 18.0 * libm::exp(-t / (OHM * FARAD));
        assert!((volts - expected).abs() < 1e-12 * 24.0, "{t}: {volts}");
    }
    assert_eq!(supply.current_a(), 0.0);
}

/// Constant power P: V = V_s − R P/V at rest, so V = V_s/2 + √(V_s²/4 − R P), and the current is
/// P/V.
#[test]
fn a_load_sags_the_supply_to_the_closed_form() {
    let mut supply = supply(24.0);
    let power_w = 90.0;
    run(&mut supply, power_w, 0.0, 1000);
    let expected = 12.0 + (144.0_f64 - OHM * power_w).sqrt();
    assert!(
        (supply.volts() - expected).abs() < 1e-9,
        "{}",
        supply.volts()
    );
    assert!((supply.current_a() - power_w / expected).abs() < 1e-9);
    // Power that comes back lifts it above the source.
    run(&mut supply, -50.0, 0.0, 1000);
    let expected = 12.0 + (144.0_f64 + OHM * 50.0).sqrt();
    assert!(
        (supply.volts() - expected).abs() < 1e-9,
        "{}",
        supply.volts()
    );
}

/// Disconnected: V = V_0 exp(−t/(R_b C)) through the bleed of 4.7 kΩ; with a load P, ½ C V² falls
/// by P + V²/R_b, so that V² = (V_0² + P R_b) exp(−2 t/(R_b C)) − P R_b.
#[test]
fn a_disconnected_supply_falls_by_bleed_and_load() {
    let mut idle = supply(24.0);
    idle.set(0.0, 0.0, 0.0);
    run(&mut idle, 0.0, 0.0, 2000);
    let expected = 24.0 * libm::exp(-0.1 / (4700.0 * FARAD));
    assert!((idle.volts() - expected).abs() < 1e-9, "{}", idle.volts());
    let mut loaded = supply(24.0);
    loaded.set(0.0, 0.0, 0.0);
    run(&mut loaded, 20.0, 0.0, 600);
    // The current of each step is that at its start: half a step late, dI/dt of at most 60 A/s · 25
    // µs · 30 ms / C.
    let expected = ((24.0_f64 * 24.0 + 20.0 * 4700.0) * libm::exp(-2.0 * 0.03 / (4700.0 * FARAD))
        - 20.0 * 4700.0)
        .sqrt();
    assert!(
        (loaded.volts() - expected).abs() < 0.015,
        "{}",
        loaded.volts()
    );
    // Below a volt nothing is drawn, and nothing falls below zero.
    run(&mut loaded, 20.0, 0.0, 40_000);
    assert!(loaded.volts() >= 0.0 && loaded.volts() <= 1.0);
    assert_eq!(loaded.current_a(), 0.0);
}

/// A ramp goes linearly from where the source is; a new one begins where the old one has come to.
#[test]
fn the_source_follows_its_ramp() {
    let mut supply = supply(10.0);
    supply.set(20.0, 2.0, 1.0);
    for (now_s, volts) in [
        (1.0, 10.0),
        (1.5, 12.5),
        (2.5, 17.5),
        (3.0, 20.0),
        (9.0, 20.0),
    ] {
        assert!((supply.source_v(now_s) - volts).abs() < 1e-12, "{now_s}");
    }
    supply.set(0.0, 1.0, 1.5);
    for (now_s, volts) in [(1.5, 12.5), (2.0, 6.25), (2.5, 0.0), (3.0, 0.0)] {
        assert!((supply.source_v(now_s) - volts).abs() < 1e-12, "{now_s}");
    }
    // The voltage follows the ramp behind the time constant R C = 1.2 ms: by slope times that.
    let mut slow = self::supply(10.0);
    slow.set(20.0, 1.0, 0.0);
    run(&mut slow, 0.0, 0.0, 10_000);
    let behind_v = slow.source_v(0.5 - STEP_S) - slow.volts();
    assert!((behind_v - 10.0 * OHM * FARAD).abs() < 1e-3, "{behind_v}");
}

/// A load that falls on an unloaded supply: the trial gives the middle of the step, which the slope
/// before cannot know.
#[test]
fn a_trial_foresees_what_a_new_load_does() {
    let mut supply = supply(24.0);
    run(&mut supply, 0.0, 0.0, 10);
    assert_eq!(supply.ahead_v(), 24.0);
    let foreseen_v = supply.foresee_v(90.0, 0.0);
    run(&mut supply, 90.0, 0.0, 1);
    assert!((foreseen_v - 0.5 * (24.0 + supply.volts())).abs() < 1e-12);
    // 90 W at 24 V are 3.75 A, 31 mV off the capacitor in half a step.
    assert!((24.0 - foreseen_v - 3.75 * 0.5 * STEP_S / FARAD).abs() < 1e-3);
}

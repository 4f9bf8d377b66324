//! A motor winding against the closed forms of an RL circuit.

use trimproof_plant::dynamics::{Phase, WindingParams};

const OHM: f64 = 1.1;
const HENRY: f64 = 3.2e-3;
const INTERVAL_S: f64 = 2.5e-5;

#[test]
fn current_rises_as_an_rl_step_response() {
    // i = V/R (1 − exp(−R t/L)): the textbook step response, as long as the driver gives all it
    // has.
    let (params, volts) = (WindingParams::new(OHM, HENRY, INTERVAL_S), 12.0);
    let mut current = 0.0;
    for k in 1..=400 {
        let (next, applied) = params.update(current, Phase::Chopped(1e3), 0.0, volts);
        current = next;
        let expected = volts / OHM * (1.0 - libm::exp(-OHM * f64::from(k) * INTERVAL_S / HENRY));
        assert!(
            (current - expected).abs() < 1e-12 * volts / OHM,
            "after {k}: {current} for {expected}"
        );
        assert_eq!(applied, volts);
    }
}

#[test]
fn current_decays_against_the_supply_when_the_windings_open() {
    // From I: i = −V/R + (I + V/R) exp(−R t/L), zero at t = L/R ln(1 + R I/V), and never beyond
    // zero.
    let (params, volts, start) = (WindingParams::new(OHM, HENRY, 1.0e-6), 24.0, 1.7);
    for side in [1.0, -1.0] {
        let mut current = side * start;
        let mut intervals = 0;
        while current != 0.0 {
            let (next, applied) = params.update(current, Phase::Open, 0.0, volts);
            assert!(
                applied * current < 0.0,
                "the diodes feed back into the supply"
            );
            assert!(next * side >= 0.0, "the current turned round");
            current = next;
            intervals += 1;
            assert!(intervals < 10_000);
        }
        let expected = HENRY / OHM * libm::log(1.0 + OHM * start / volts);
        assert!(
            (f64::from(intervals) * 1.0e-6 - expected).abs() <= 1.0e-6,
            "{intervals} µs for {expected} s"
        );
    }
}

#[test]
fn chopped_voltage_is_what_the_circuit_needs() {
    // L di/dt + R i = v − e with the applied v must lead from the old current to the new one.
    let params = WindingParams::new(OHM, HENRY, INTERVAL_S);
    let share = libm::exp(-OHM * INTERVAL_S / HENRY);
    for (current, target, emf) in [
        (0.0, 0.1, 0.0),
        (1.0, 1.05, 3.0),
        (-0.4, -0.45, -6.0),
        (1.2, -1.2, 0.0),
        (0.3, 0.3, 30.0),
    ] {
        let (next, volts) = params.update(current, Phase::Chopped(target), emf, 24.0);
        let circuit = current * share + (volts - emf) / OHM * (1.0 - share);
        assert!(
            (next - circuit).abs() < 1e-12,
            "{current} to {target}: {next}, the circuit says {circuit}"
        );
        assert!(volts.abs() <= 24.0);
    }
}

#[test]
fn fastest_step_takes_the_time_to_reverse_the_current() {
    // Time per step = L · I_max · 2 / V (Jones, "Stepping motors", University of Iowa): 10 mH, 10
    // mA, 12 V give 16.67 µs. The form leaves the resistance out; so does this winding, nearly.
    let (henry, amps, volts, interval_s) = (10e-3, 10e-3, 12.0, 1.0e-8);
    let params = WindingParams::new(1.0e-6, henry, interval_s);
    let mut current = -amps;
    let mut intervals = 0;
    while current < amps {
        current = params.update(current, Phase::Chopped(amps), 0.0, volts).0;
        intervals += 1;
        assert!(intervals < 100_000);
    }
    let time_us = f64::from(intervals) * interval_s * 1e6;
    assert!(
        (time_us - 16.67).abs() < 0.005 + interval_s * 1e6,
        "{time_us} µs"
    );
}

#[test]
fn broken_lead_carries_nothing() {
    let params = WindingParams::new(OHM, HENRY, INTERVAL_S);
    assert_eq!(params.update(0.7, Phase::Broken, 5.0, 24.0), (0.0, 0.0));
}

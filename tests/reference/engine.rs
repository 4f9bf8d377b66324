//! Our integrator at its default step against one run of rapier's multibody, an engine that shares
//! no code with it.
//!
//! Rapier takes its velocity torques half implicitly, which leaves an error of first order in its
//! step: up to 3.1e-5 rad per µs in these cases, 3.8e-3 rad at 125 µs. So each case has a step fine
//! enough that one plain run, without extrapolation, stays within the bar. The cases are tests of
//! their own, to run side by side.

use trimproof_plant::dynamics::CartridgeParams;

use super::bodies::{Case, STEP_S, case, step};
use super::multibody::Engine;

/// The bar of issue 2, rad.
const BAR_RAD: f64 = 1.0e-4;
/// Length of a comparison, s.
const LENGTH_S: f64 = 5.0;
/// Instants at which the engines are compared, s.
const SAMPLE_S: f64 = 1.0e-3;

/// Steps of `step_s` between two samples.
fn steps(step_s: f64) -> usize {
    (SAMPLE_S / step_s).round() as usize
}

/// Moves `case` for [`LENGTH_S`] by our scheme at [`STEP_S`] and by rapier at `engine_s` under the
/// same torques, and fails where they part by more than the bar.
fn compare(
    name: &str,
    case: &Case,
    engine_s: f64,
    torque: impl Fn([f64; 2], [f64; 2]) -> [f64; 2],
) {
    let mut engine = Engine::new(case, engine_s, &torque);
    let params = case.params();
    let mut state = case.start();
    let mut accel = [0.0; 2];
    let (mut worst, mut swing) = (0.0_f64, 0.0_f64);
    for _ in 0..(LENGTH_S / SAMPLE_S).round() as usize {
        for _ in 0..steps(STEP_S) {
            step(&params, &mut state, &mut accel, STEP_S, |angle, rate| {
                // Our law has the viscous pivots itself.
                let all = torque(angle, rate);
                std::array::from_fn(|i| all[i] + case.viscous_n_m_s_per_rad[i] * rate[i])
            });
        }
        for _ in 0..steps(engine_s) {
            engine.step(&torque);
        }
        for i in 0..2 {
            worst = worst.max((state.angle_rad[i] - engine.angle_rad()[i]).abs());
            swing = swing.max(state.angle_rad[i].abs());
        }
    }
    println!(
        "{name}, rapier at {:.3} µs: {worst:.2e} rad of {swing:.2} rad",
        engine_s * 1e6
    );
    assert!(swing > 0.2, "{name} hardly moved");
    assert!(worst <= BAR_RAD, "{name}: {worst:e} rad");
}

/// A gimbal of tests/data/gimbal_cases.toml on its linear springs and viscous pivots.
fn bare(name: &str, engine_s: f64) {
    let case = case(name);
    compare(name, &case, engine_s, |angle, rate| {
        std::array::from_fn(|i| {
            -case.spring_n_m_per_rad[i] * angle[i] - case.viscous_n_m_s_per_rad[i] * rate[i]
        })
    });
}

/// The stick on preloaded cartridges, both trims fixed at zero, with less damping than a shipped
/// one has, so that it rings through the preload's kinks for seconds.
fn on_cartridges(name: &str, nm: [f64; 3], engine_s: f64) {
    let [breakout_n_m, rate_n_m_per_rad, damping_n_m_s_per_rad] = nm;
    let cartridge = CartridgeParams {
        free_play_rad: 2.0e-3,
        breakout_n_m,
        rate_n_m_per_rad,
        bind_rad: 0.7,
        damping_n_m_s_per_rad,
    };
    let mut case = case("top_heavy_on_springs");
    case.viscous_n_m_s_per_rad = [0.05, 0.04];
    case.start_rad = [0.30, -0.22];
    compare(name, &case, engine_s, |angle, rate| {
        std::array::from_fn(|i| {
            -cartridge.spring_n_m(angle[i])
                - (cartridge.damping_n_m_s_per_rad + case.viscous_n_m_s_per_rad[i]) * rate[i]
        })
    });
}

#[test]
fn rapier_multibody_moves_the_top_heavy_gimbal_alike() {
    bare("top_heavy_on_springs", 2.5e-6);
}

#[test]
fn rapier_multibody_moves_the_wide_swinging_gimbal_alike() {
    bare("hanging_wide", 4.0e-6);
}

#[test]
fn rapier_multibody_moves_the_whirling_gimbal_alike() {
    bare("whirl_with_losses", 3.125e-6);
}

#[test]
fn rapier_multibody_moves_the_stick_on_a_light_cartridge_alike() {
    on_cartridges("light cartridge", [1.2, 14.0, 0.05], 2.5e-5);
}

#[test]
fn rapier_multibody_moves_the_stick_on_a_stiff_cartridge_alike() {
    on_cartridges("stiff cartridge", [2.5, 40.0, 0.3], 2.5e-5);
}

#[test]
fn rapier_multibody_moves_the_stick_on_a_stiff_nearly_undamped_cartridge_alike() {
    // A fiftieth of the damping of the stiffest shipped cartridge.
    on_cartridges("stiff undamped cartridge", [2.5, 40.0, 0.02], 2.5e-6);
}

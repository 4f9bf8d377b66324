//! Our integrator against rapier's multibody, an engine that shares no code with it.

use trimproof_plant::dynamics::CartridgeLaw;

use super::bodies::{Case, STEP_S, case, step};
use super::multibody::Engine;

/// The bar of issue 2, rad.
const BAR_RAD: f64 = 1.0e-4;
/// Length of a comparison, s.
const LENGTH_S: f64 = 5.0;
/// Rapier's coarser step, s, and half of it. Its velocity torques are half implicit, which leaves an error of first
/// order (3.8e-3 rad at 125 µs on these wide swings); so two runs are taken to the limit of a vanishing step,
/// 2 x(h/2) − x(h) (Richardson), where it is of second order: 8e-6 rad.
const ENGINE_STEPS_S: [f64; 2] = [1.25e-4, 6.25e-5];
/// Instants at which the engines are compared, s.
const SAMPLE_S: f64 = 1.0e-3;

/// Largest difference over [`LENGTH_S`] between the two engines under the same torques, and the largest angle, rad.
fn largest_difference(case: &Case, torque: impl Fn([f64; 2], [f64; 2]) -> [f64; 2]) -> (f64, f64) {
    let mut engines = ENGINE_STEPS_S.map(|step_s| (step_s, Engine::new(case, step_s, &torque)));
    let law = case.law();
    let mut state = case.start();
    let mut accel = [0.0; 2];
    let (mut worst, mut swing) = (0.0_f64, 0.0_f64);
    for _ in 0..(LENGTH_S / SAMPLE_S).round() as usize {
        for _ in 0..(SAMPLE_S / STEP_S).round() as usize {
            step(&law, &mut state, &mut accel, STEP_S, |angle, rate| {
                // Our law has the viscous pivots itself.
                let all = torque(angle, rate);
                std::array::from_fn(|i| all[i] + case.viscous_nm_s_per_rad[i] * rate[i])
            });
        }
        let [coarse, fine] = engines.each_mut().map(|(step_s, engine)| {
            for _ in 0..(SAMPLE_S / *step_s).round() as usize {
                engine.step(&torque);
            }
            engine.angle_rad()
        });
        for i in 0..2 {
            worst = worst.max((state.angle_rad[i] - (2.0 * fine[i] - coarse[i])).abs());
            swing = swing.max(state.angle_rad[i].abs());
        }
    }
    (worst, swing)
}

#[test]
fn rapier_multibody_moves_the_bare_gimbal_alike() {
    for name in ["top_heavy_on_springs", "hanging_wide", "whirl_with_losses"] {
        let case = case(name);
        let (worst, swing) = largest_difference(&case, |angle, rate| {
            std::array::from_fn(|i| {
                -case.spring_nm_per_rad[i] * angle[i] - case.viscous_nm_s_per_rad[i] * rate[i]
            })
        });
        println!("{name}: {worst:.2e} rad of {swing:.2} rad");
        assert!(swing > 0.3, "{name} hardly moved");
        assert!(worst <= BAR_RAD, "{name}: {worst:e} rad");
    }
}

#[test]
fn rapier_multibody_moves_the_stick_on_preloaded_cartridges_alike() {
    // Both trims fixed at zero; a light and a stiff cartridge, each with less damping than a shipped one has, so that
    // the stick rings through the preload's kinks for seconds.
    for (breakout_nm, rate_nm_per_rad, damping_nm_s_per_rad) in
        [(1.2, 14.0, 0.05), (2.5, 40.0, 0.3)]
    {
        let cartridge = CartridgeLaw {
            free_play_rad: 2.0e-3,
            breakout_nm,
            rate_nm_per_rad,
            bind_rad: 0.7,
            damping_nm_s_per_rad,
        };
        let mut case = case("top_heavy_on_springs");
        case.viscous_nm_s_per_rad = [0.05, 0.04];
        case.start_rad = [0.30, -0.22];
        let (worst, swing) = largest_difference(&case, |angle, rate| {
            std::array::from_fn(|i| {
                -cartridge.spring_nm(angle[i])
                    - (cartridge.damping_nm_s_per_rad + case.viscous_nm_s_per_rad[i]) * rate[i]
            })
        });
        println!(
            "cartridge {breakout_nm} N·m, {rate_nm_per_rad} N·m/rad: {worst:.2e} rad of {swing:.2} rad"
        );
        assert!(swing > 0.2, "the stick hardly moved");
        assert!(
            worst <= BAR_RAD,
            "{breakout_nm} N·m, {rate_nm_per_rad} N·m/rad: {worst:e} rad"
        );
    }
}

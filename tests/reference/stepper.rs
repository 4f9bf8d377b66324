//! The stepper and its drive against published values of stepping motors.

use trimproof_plant::dynamics::{
    CartridgeParams, Phase, StickPath, TrainDrive, TrainParams, TrainState, WindingParams,
};

use super::pendulum::{DOUBLING_AMPLITUDE_RAD, PERIOD_RATIO, period_ratio};

const TEETH: f64 = 50.0;
/// Current that makes kt the holding torque.
const AMPS: f64 = 1.0;

fn no_cartridge() -> CartridgeParams {
    CartridgeParams {
        free_play_rad: 1e3,
        breakout_n_m: 0.0,
        rate_n_m_per_rad: 0.0,
        bind_rad: 1e3,
        damping_n_m_s_per_rad: 0.0,
    }
}

/// A motor on its own: the mesh never touches. `holding_n_m` at [`AMPS`].
fn bare_motor(holding_n_m: f64, inertia_kg_m2: f64, substep_s: f64) -> TrainParams {
    TrainParams {
        cartridge: no_cartridge(),
        shaft_inertia_kg_m2: 1e-4,
        shaft_friction_n_m: 0.0,
        ratio: 1.0,
        half_backlash_rad: 1e3,
        mesh_n_m_per_rad: 0.0,
        mesh_damping_n_m_s_per_rad: 0.0,
        mesh_loss: 0.0,
        rotor_inertia_kg_m2: inertia_kg_m2,
        rotor_teeth: TEETH,
        kt_n_m_per_a: holding_n_m / AMPS,
        detent_n_m: 0.0,
        rotor_friction_n_m: 0.0,
        rotor_viscous_n_m_s_per_rad: 0.0,
        rotor_zero_rad: 0.0,
        winding: WindingParams::new(1.0, 1e-3, 0.5 * substep_s),
        substep_s,
    }
}

/// A rotor at rest at an electrical angle.
fn at(electrical_rad: f64) -> TrainState {
    let mut state = TrainState::default();
    state.rotor_rad = electrical_rad / TEETH;
    state
}

/// Both windings held at electrical angle `alpha`, with a supply that always suffices.
fn held_at(alpha: f64) -> TrainDrive {
    let (s, c) = libm::sincos(alpha);
    TrainDrive {
        phase: [Phase::Chopped(AMPS * c), Phase::Chopped(AMPS * s)],
        supply_v: 1e6,
    }
}

/// Frequency of the rotor's swing about a held phase from rest at an electrical amplitude, Hz.
fn swing_hz(params: &TrainParams, amplitude_rad: f64) -> f64 {
    let drive = held_at(0.0);
    let mut state = at(amplitude_rad);
    state.current_a = [AMPS, 0.0];
    let (mut turns, mut count) = (0, 0.0);
    loop {
        let before = state.rotor_rad_per_s;
        params.run(&mut state, &drive, &StickPath::default(), 1);
        let after = state.rotor_rad_per_s;
        count += 1.0;
        if before * after < 0.0 {
            turns += 1;
            // Ten periods, so that where between two samples the rotor turns does not matter.
            if turns == 20 {
                return 10.0 / ((count - after / (after - before)) * params.substep_s);
            }
        }
        assert!(count < 1e7, "it never swings back");
    }
}

#[test]
fn worked_example_rings_at_the_published_resonance() {
    // f = sqrt(k/J)/2π (Jones, "Stepping motors", University of Iowa). Worked example: 0.32 N·cm at
    // 0.3°, rotor 48 g·cm². Taken as a straight line k = 0.611 N·m/rad and 56.790 Hz; taken as the
    // sinusoid through that point T_h = 12.364 mN·m, k = 0.6182 N·m/rad and 57.116 Hz.
    let (load, angle, inertia) = (3.2e-3, 0.3_f64.to_radians(), 48e-7);
    let line = load / angle;
    let holding = load / libm::sin(TEETH * angle);
    assert!((line - 0.611).abs() < 5e-4, "{line}");
    assert!((holding - 12.364e-3).abs() < 5e-7, "{holding}");
    for (holding, published) in [(line / TEETH, 56.790), (holding, 57.116)] {
        let found = swing_hz(&bare_motor(holding, inertia, 5.0e-5), 1e-3);
        // Half a printed digit and the scheme's (ω h)²/24 = 1.3e-5.
        assert!(
            (found - published).abs() < 5e-4 + 1.4e-5 * published,
            "{found} Hz for {published}"
        );
    }
}

#[test]
fn ideal_stepper_swings_as_a_pendulum_in_electrical_angle() {
    // T sin(α − x): the pendulum's equation; so its period table holds (derived; table as in
    // pendulum.rs).
    let params = bare_motor(0.02, 60e-7, 5.0e-6);
    let small_hz = (TEETH * 0.02 / 60e-7_f64).sqrt() / std::f64::consts::TAU;
    for (amplitude_deg, _) in PERIOD_RATIO {
        let amplitude: f64 = f64::to_radians(amplitude_deg);
        let ratio = small_hz / swing_hz(&params, amplitude);
        assert!(
            (ratio / period_ratio(amplitude) - 1.0).abs() < 2e-6,
            "{amplitude_deg}°: {ratio}"
        );
    }
    let doubled = small_hz / swing_hz(&params, DOUBLING_AMPLITUDE_RAD);
    assert!((doubled - 2.0).abs() < 4e-6, "{doubled}");
}

/// A motor that carries the cartridge's torque one to one: rigid mesh, no losses but some damping
/// to settle.
fn loaded_motor(holding_n_m: f64) -> TrainParams {
    TrainParams {
        cartridge: CartridgeParams {
            free_play_rad: 0.0,
            rate_n_m_per_rad: 0.1,
            bind_rad: 1e3,
            ..no_cartridge()
        },
        shaft_inertia_kg_m2: 2e-5,
        half_backlash_rad: 0.0,
        mesh_n_m_per_rad: 2e3,
        mesh_damping_n_m_s_per_rad: 0.2,
        rotor_viscous_n_m_s_per_rad: 5e-3,
        ..bare_motor(holding_n_m, 3e-5, 2.5e-5)
    }
}

/// Rotor angle after settling under a torque that rises over a second (at once, it would
/// overshoot), degrees.
fn settled_deg(params: &TrainParams, torque_n_m: f64) -> f64 {
    let mut state = TrainState::default();
    let drive = held_at(0.0);
    for k in 0..80_000 {
        let torque_n_m = torque_n_m * (f64::from(k) / 40_000.0).min(1.0);
        // A cartridge stretched by as much wherever the shaft is gives the same torque.
        let path = StickPath {
            angle_rad: state.shaft_rad + params.cartridge.deflection_rad(torque_n_m),
            ..StickPath::default()
        };
        params.run(&mut state, &drive, &path, 1);
    }
    assert!(
        state.rotor_rad_per_s.abs() < 1e-6 || state.rotor_rad.abs() > 1.0,
        "it has not settled"
    );
    state.rotor_rad.to_degrees()
}

#[test]
fn rotor_gives_under_load_by_the_asin_law() {
    // θ = (2 θ_M/π) asin(T_L/T_M), θ_M the full step (textbook form): at 1.8°, half load 0.6°, full
    // load 1.8°.
    let published = |share: f64| 2.0 * 1.8 / std::f64::consts::PI * libm::asin(share);
    assert!((published(0.5) - 0.6).abs() < 1e-12 && (published(1.0) - 1.8).abs() < 1e-12);
    let params = loaded_motor(0.4);
    for share in [0.1, 0.5, 0.9, 0.99, -0.5] {
        let found = settled_deg(&params, share * 0.4);
        assert!(
            (found - published(share)).abs() < 1e-4,
            "{share}: {found}° for {}°",
            published(share)
        );
    }
    // Torque peaks at one full step: beyond it nothing holds.
    assert!(
        settled_deg(&params, 1.02 * 0.4) > 7.2,
        "an overload must carry the rotor away"
    );
}

/// The drive of the physics notes: 1:6 gear with play, stepper of 0.43 N·m at 1 A, detent, winding
/// and supply.
fn geared_drive() -> TrainParams {
    TrainParams {
        cartridge: CartridgeParams {
            free_play_rad: 2e-3,
            breakout_n_m: 1.2,
            rate_n_m_per_rad: 14.0,
            bind_rad: 1.0,
            damping_n_m_s_per_rad: 0.02,
        },
        shaft_inertia_kg_m2: 2e-4,
        shaft_friction_n_m: 0.05,
        ratio: 6.0,
        half_backlash_rad: 1.5e-3,
        mesh_n_m_per_rad: 2e3,
        mesh_damping_n_m_s_per_rad: 0.2,
        mesh_loss: 0.04,
        rotor_inertia_kg_m2: 3e-5,
        kt_n_m_per_a: 0.43,
        detent_n_m: 0.02,
        rotor_friction_n_m: 6e-3,
        rotor_viscous_n_m_s_per_rad: 1e-3,
        winding: WindingParams::new(1.1, 3.2e-3, 0.5 * 5e-5),
        substep_s: 5e-5,
        ..bare_motor(0.43, 3e-5, 5e-5)
    }
}

#[test]
fn overpulled_drive_slips_in_multiples_of_four_full_steps() {
    // Static torque is sinusoidal with a period of four full steps (Jones), so slips land on
    // multiples of four (D).
    let params = geared_drive();
    let drive = TrainDrive {
        supply_v: 24.0,
        ..held_at(0.0)
    };
    for pull_rad in [0.22, 0.30, 0.42, -0.35] {
        let mut state = TrainState::default();
        let mut turns = 0.0;
        // Out in half a second, back to where the shaft is (no load), wait.
        for k in 0..60_000 {
            let out = (f64::from(k) * 5e-5 / 0.5).min(1.0);
            let angle_rad = if k < 20_000 {
                out * pull_rad
            } else {
                state.shaft_rad
            };
            params.run(
                &mut state,
                &drive,
                &StickPath {
                    angle_rad,
                    ..StickPath::default()
                },
                1,
            );
            turns = params.electrical_rad(&state) / std::f64::consts::TAU;
        }
        let whole = turns.round();
        // Friction and detent of rotor and shaft may hold it off by asin of their share of the
        // holding torque.
        let held_off =
            libm::asin((0.006 + 0.05 / 6.0) / (0.43 - 4.0 * 0.02)) / std::f64::consts::TAU;
        assert!(
            (turns - whole).abs() < held_off,
            "{pull_rad} rad: stands {turns} cycles off"
        );
        // 2.58 N·m at the shaft is overcome at 0.10 rad past breakout; each cycle gives the shaft
        // 21 mrad.
        assert!(
            whole.abs() >= 3.0 && whole * pull_rad > 0.0,
            "{pull_rad} rad: {whole} cycles"
        );
    }
    // Within its strength it does not slip at all.
    let mut state = TrainState::default();
    for k in 0..40_000 {
        let angle_rad = if k < 20_000 {
            (f64::from(k) * 1e-4).min(1.0) * 0.08
        } else {
            state.shaft_rad
        };
        params.run(
            &mut state,
            &drive,
            &StickPath {
                angle_rad,
                ..StickPath::default()
            },
            1,
        );
    }
    assert!(
        params.electrical_rad(&state).abs() < 0.05,
        "{}",
        params.electrical_rad(&state)
    );
}

#[test]
fn detent_is_the_fourth_harmonic_of_the_torque_period() {
    // Two-phase detent: fourth harmonic of the torque period (textbook form,
    // docs/model/sources.md).
    let detent = 0.05;
    let params = TrainParams {
        detent_n_m: detent,
        ..bare_motor(0.4, 3e-5, 5e-5)
    };
    let idle = TrainDrive {
        phase: [Phase::Open; 2],
        supply_v: 24.0,
    };
    let points = 64_usize;
    let torque: Vec<f64> = (0..points)
        .map(|k| {
            let electrical = std::f64::consts::TAU * k as f64 / points as f64;
            let mut state = at(electrical);
            params.run(&mut state, &idle, &StickPath::default(), 1);
            state.rotor_rad_per_s * params.rotor_inertia_kg_m2 / params.substep_s
        })
        .collect();
    for harmonic in 0..=16 {
        let (mut re, mut im) = (0.0, 0.0);
        for (k, t) in torque.iter().enumerate() {
            let (s, c) =
                libm::sincos(std::f64::consts::TAU * (harmonic * k) as f64 / points as f64);
            re += t * c * 2.0 / points as f64;
            im += t * s * 2.0 / points as f64;
        }
        // Restoring towards every full step: −T_d sin 4x.
        let expected = if harmonic == 4 { -detent } else { 0.0 };
        assert!(
            (im - expected).abs() < 1e-12 && re.abs() < 1e-12,
            "harmonic {harmonic}: {re}, {im}"
        );
    }
}

#[test]
fn half_the_current_holds_half_the_torque() {
    // Torque is linear in current while the iron is not saturated (Jones).
    let params = bare_motor(0.4, 3e-5, 5e-5);
    let push = |share: f64| {
        let mut state = at(-std::f64::consts::FRAC_PI_2);
        let drive = TrainDrive {
            phase: [Phase::Chopped(share * AMPS), Phase::Chopped(0.0)],
            supply_v: 1e6,
        };
        params.run(&mut state, &drive, &StickPath::default(), 1);
        state.rotor_rad_per_s * params.rotor_inertia_kg_m2 / params.substep_s
    };
    assert!((push(1.0) - 0.4).abs() < 1e-12 && (push(0.5) - 0.2).abs() < 1e-12);
}

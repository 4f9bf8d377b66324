//! The gradient cartridge's torque against the closed form, and its energy.

use trimproof_plant::dynamics::{CartridgeParams, PRELOAD_RAMP_RAD};

fn cartridge() -> CartridgeParams {
    CartridgeParams {
        free_play_rad: 4.0e-3,
        breakout_n_m: 1.2,
        rate_n_m_per_rad: 14.0,
        bind_rad: 0.35,
        damping_n_m_s_per_rad: 0.0,
    }
}

#[test]
fn torque_follows_the_closed_form() {
    let c = cartridge();
    // Free play, the middle of the seats' give, its end, the line, at the bind.
    let end = c.free_play_rad + PRELOAD_RAMP_RAD;
    for (deflection, torque) in [
        (0.0, 0.0),
        (c.free_play_rad, 0.0),
        (c.free_play_rad + 0.5 * PRELOAD_RAMP_RAD, 0.6),
        (end, 1.2),
        (end + 0.1, 1.2 + 1.4),
        (
            c.free_play_rad + c.bind_rad,
            1.2 + 14.0 * (0.35 - PRELOAD_RAMP_RAD),
        ),
    ] {
        for side in [1.0, -1.0] {
            let found = c.spring_n_m(side * deflection);
            assert!(
                (found - side * torque).abs() < 1e-12,
                "{deflection} rad: {found} N·m, not {torque}"
            );
        }
    }
}

#[test]
fn coil_bind_stiffens_without_a_step() {
    let c = cartridge();
    let bind = c.free_play_rad + c.bind_rad;
    let slope = |at: f64| (c.spring_n_m(at + 1e-6) - c.spring_n_m(at - 1e-6)) / 2e-6;
    assert!(
        (c.spring_n_m(bind + 1e-9) - c.spring_n_m(bind - 1e-9)).abs() < 1e-5,
        "a step at the bind"
    );
    assert!((slope(bind - 0.01) - c.rate_n_m_per_rad).abs() < 1e-6);
    assert!(
        slope(bind + 0.01) > 10.0 * c.rate_n_m_per_rad,
        "coils that touch are a stop"
    );
    // A degree into the bind holds more than any hand gives there: limit_n of a rig is at most a
    // few hundred newtons.
    assert!(c.spring_n_m(bind + 0.0175) - c.spring_n_m(bind) > 9.0);
}

#[test]
fn energy_is_the_integral_of_the_torque() {
    let c = cartridge();
    for k in -450..=450 {
        let at = f64::from(k) * 1.0e-3 + 3.3e-4;
        let h = 1.0e-6;
        let slope = (c.energy_j(at + h) - c.energy_j(at - h)) / (2.0 * h);
        // The torque's kinks are kept off by the 0.33 mrad; what is left is rounding of the
        // energies.
        assert!(
            (slope - c.spring_n_m(at)).abs() < 1e-7,
            "{at} rad: {slope} against {}",
            c.spring_n_m(at)
        );
    }
}

#[test]
fn deflection_is_the_inverse_of_the_torque() {
    let c = cartridge();
    for torque in [-12.0, -6.5, -1.2, -0.3, 0.3, 1.19, 1.21, 3.0, 6.0, 9.0] {
        let found = c.spring_n_m(c.deflection_rad(torque));
        assert!((found - torque).abs() < 1e-9, "{torque}: {found}");
    }
}

#[test]
fn springs_in_parallel_add_and_a_torn_one_takes_its_share() {
    // Parallel springs: k = k1 + k2 (textbook), preloads add too; so one of two leaves half the
    // torque.
    let one = CartridgeParams {
        breakout_n_m: 0.6,
        rate_n_m_per_rad: 7.0,
        ..cartridge()
    };
    for deflection in [-0.3, -0.005, 0.1, 0.36] {
        assert!(
            (2.0 * one.spring_n_m(deflection) - cartridge().spring_n_m(deflection)).abs() < 1e-12
        );
    }
}

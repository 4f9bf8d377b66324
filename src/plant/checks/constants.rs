//! The constants of formulas (`rig.*`), each from the numbers of the skewed rig, and figures that
//! follow from them.

use std::collections::BTreeMap;
use std::f64::consts::{PI, SQRT_2};

use super::{near, skewed};

const DEG: f64 = PI / 180.0;

/// The constants of geometry, springs and rates. Those of parts that came later are not held here.
#[test]
fn constants_follow_from_their_keys() {
    let rig = skewed();
    let spring = 78.5e9 * libm::pow(0.0021, 4.0) / (8.0 * 7.5 * libm::pow(0.0153, 3.0));
    let r = 0.37;
    let mut expected: BTreeMap<String, f64> = [
        ("rig.grip_radius_m", r),
        ("rig.tick_s", 0.0025),
        ("rig.supply_v", 25.0),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .into();
    let pitch = [0.17, 0.81, 11.3 * DEG];
    let roll = [
        0.13,
        3.0 * spring * 0.0025 * 0.027,
        3.0 * spring * 0.027 * 0.027 * DEG,
    ];
    // Full step at the stick, microsteps, ± backlash in deg, friction, stops, sensor.
    let others = [
        [
            1.8 / 7.0,
            16.0,
            55e-6 / 0.041 / 2.0 / DEG,
            0.051,
            -21.0,
            19.0,
            60.0 / 4095.0,
            0.03,
        ],
        [
            0.9 / 5.5,
            8.0,
            75e-6 / 0.034 / 2.0 / DEG,
            0.043,
            -17.0,
            18.0,
            60.0 / 8191.0,
            0.02,
        ],
    ];
    // Constant, ratio, efficiency; running and holding current.
    let drives = [
        (1.3 / (SQRT_2 * 2.7) * 7.0 * 0.96, [3.7, 3.5]),
        (1.15 / (SQRT_2 * 2.9) * 5.5 * 0.93, [3.3, 3.05]),
    ];
    for (name, [play, breakout, rate], of, (per_a, amps)) in [
        ("pitch", pitch, others[0], drives[0]),
        ("roll", roll, others[1], drives[1]),
    ] {
        let [run_n_m, hold_n_m] = amps.map(|amps| per_a * amps);
        // The deflection at which breakout and rate reach a torque.
        let slip = |torque_n_m: f64| play + (torque_n_m - breakout) / rate;
        for (key, value) in [
            ("free_play_deg", play),
            ("breakout_n", breakout / r),
            ("breakout_n_m", breakout),
            ("rate_n_m_per_deg", rate),
            ("gradient_n_per_deg", rate / r),
            ("full_step_deg", of[0]),
            ("microstep_deg", of[0] / of[1]),
            ("backlash_deg", of[2]),
            ("friction_n_m", of[3]),
            ("friction_n", of[3] / r),
            ("stop_min_deg", of[4]),
            ("stop_max_deg", of[5]),
            ("sensor_step_deg", of[6]),
            ("sensor_noise_deg", of[7]),
            ("holding_n_m", run_n_m),
            ("slip_deflection_deg", slip(run_n_m)),
            ("parked_holding_n_m", hold_n_m),
            ("parked_slip_deflection_deg", slip(hold_n_m)),
        ] {
            expected.insert(format!("rig.{name}.{key}"), value);
        }
    }
    let found: BTreeMap<String, f64> = rig.constants().into_iter().collect();
    for (name, value) in &expected {
        near(name, found[name], *value);
    }
}

#[test]
fn figures_of_the_drives_follow_from_their_keys() {
    let rig = skewed();
    for (axis, steps, detent, friction, ratio, shaft) in [
        (&rig.pitch, 200.0, 0.041, 0.0031, 7.0, 0.032),
        (&rig.roll, 400.0, 0.037, 0.0027, 5.5, 0.027),
    ] {
        near("steps", axis.motor.full_steps(), steps);
        near("step", axis.motor.full_step_rad(), 2.0 * PI / steps);
        near("drag", axis.drag_n_m(), (detent + friction) * ratio + shaft);
    }
    // 64 and 32 microsteps a cycle; home is 45 degrees, a microstep 5.625 and 11.25; the index goes
    // round.
    assert_eq!(rig.pitch.driver.cycle_usteps(), 64);
    assert_eq!(rig.roll.driver.cycle_usteps(), 32);
    near("home", rig.pitch.driver.electrical_rad(64), 45.0 * DEG);
    near("one", rig.pitch.driver.electrical_rad(65), 50.625 * DEG);
    near("back", rig.roll.driver.electrical_rad(-1), 393.75 * DEG);
}

/// Bind is counted from the middle in a file, and coil bind comes first where the torque would need
/// more.
#[test]
fn slip_deflection_ends_at_the_bind() {
    let rig = skewed();
    for (axis, bind_rad) in [
        (&rig.pitch, 44.0 * DEG),
        (&rig.roll, 0.13 * DEG + (0.0462 - 9.25 * 0.0021) / 0.027),
    ] {
        let cartridge = axis.cartridge.cartridge();
        near("bind", cartridge.bind_rad, bind_rad);
        near("limit", cartridge.deflection_rad(1e6), bind_rad);
    }
}

/// How deep a stop gives at its strength: soft up to its travel, 2e6 N/m beyond.
#[test]
fn a_stop_gives_up_to_its_documented_depth() {
    let rig = skewed();
    let soft_n = 3.3e5 * 0.005;
    near(
        "pitch",
        rig.pitch.stops.depth_m(),
        0.005 + (9000.0 - soft_n) / 2.0e6,
    );
    let soft_n = 2.9e5 * 0.0045;
    near(
        "roll",
        rig.roll.stops.depth_m(),
        0.0045 + (8000.0 - soft_n) / 2.0e6,
    );
    let mut stops = rig.pitch.stops.clone();
    stops.strength_n = 1000.0;
    near("soft", stops.depth_m(), 1000.0 / 3.3e5);
    for depth_m in [0.0, 0.003, 0.005, 0.007, 0.02] {
        let bumper = rig.roll.stops.bumper();
        near("inverse", bumper.depth_m(bumper.spring_n(depth_m)), depth_m);
    }
}

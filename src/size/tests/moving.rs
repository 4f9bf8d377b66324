//! Catch jump and step rates.

use std::f64::consts::{FRAC_PI_2, PI};

use crate::Design;
use trimproof_controller::Controller;
use trimproof_io::CurrentLevel;
use trimproof_plant::dynamics::{Phase, StickPath, TrainDrive, TrainState};
use trimproof_plant::rig::SensorRig;
use trimproof_plant::{AxisName, Numerics, PathShape, Plant, StartPose, SwitchName, train_params};

use super::{DrivenTwin, axis_of, rigs};
use crate::catch::catch;
use crate::rate::{AtSpeed, motor_asked_n_m};

/// Bar of issue 3: catch jump within 3 %. The stick is dragged up limp to a place, the driver is as
/// far ahead as the controller allows, and it is switched on: the rotor's fall, the largest over a
/// full step of places.
#[test]
fn catch_jump_is_the_twins() {
    for rig in rigs() {
        for axis in AxisName::ALL {
            let index = axis.index();
            let mut clean = rig.clone();
            let zero_deg = {
                let parts = rig.axis(index);
                let zero = rig.axis_settings(index).phase_zero_usteps;
                parts.driver.electrical_rad(i64::from(zero)).to_degrees()
            };
            let parts = axis_of(&mut clean, index);
            parts.motor.zero_deg = zero_deg;
            parts.sensor = SensorRig {
                bits: 16,
                min_deg: -60.0,
                max_deg: 60.0,
                offset_deg: 0.0,
                gain_error: 0.0,
                noise_deg: 0.0,
                latency_s: 0.0,
                nonlinearity_deg: 0.0,
            };
            let settings = if index == 0 {
                &mut clean.controller.pitch
            } else {
                &mut clean.controller.roll
            };
            settings.sensor_zero_counts = 32_768;
            settings.sensor_span_counts = 65_535;
            settings.sensor_span_mdeg = 120_000;
            let sized = catch(&clean, index);
            let mut largest = 0.0_f64;
            for usteps in 0..rig.axis(index).driver.microsteps {
                largest = largest.max(caught_deg(&clean, axis, usteps as i32));
            }
            let off = sized.worst_deg / largest - 1.0;
            println!(
                "{} {}: catch jump {:.4}° for {largest:.4}° in the twin, {:+.2} %; {:.2} mm at the grip",
                rig.name,
                axis.name(),
                sized.worst_deg,
                100.0 * off,
                sized.worst_mm
            );
            assert!(off.abs() < 0.03);
        }
    }
}

/// The rotor's fall, degrees at the stick: the stick is dragged up limp, the driver stands `usteps`
/// from its home and as far ahead of the stick as the controller allows.
fn caught_deg(rig: &Design, axis: AxisName, usteps: i32) -> f64 {
    let mut rig = rig.clone();
    let index = axis.index();
    let parts = rig.axis(index).clone();
    let microsteps = parts.driver.microsteps;
    let ustep_deg = parts.full_step_deg() / f64::from(microsteps);
    let place_deg = 1.5;
    // The motor's zero is set so that the driver's phase stands for the wanted place.
    let ahead_deg = (f64::from((microsteps / 8).max(1)) + 0.5) * ustep_deg;
    let wanted_deg = place_deg + ahead_deg;
    let electrical_deg = wanted_deg * parts.drive.ratio() * f64::from(parts.motor.rotor_teeth);
    let phase_deg = parts.driver.electrical_rad(i64::from(usteps)).to_degrees();
    axis_of(&mut rig, index).motor.zero_deg = (phase_deg - electrical_deg).rem_euclid(360.0);
    let periods = rig.board.generator_hz / u32::from(rig.controller.tick_hz);
    let mut twin = DrivenTwin::new(&rig, axis, CurrentLevel::Off);
    twin.step(usteps, periods);
    twin.plant.grip(None);
    twin.carry(place_deg, 1.0);
    twin.wait(1.5);
    // The hand is a spring: bring the stick up to the place.
    for _ in 0..3 {
        let here = twin.reading().stick_rad.to_degrees();
        let aim = twin.plant.readings().hand_rad[index].to_degrees();
        twin.carry(aim + (place_deg - here).max(0.0), 0.2);
        twin.wait(0.3);
    }
    let stick_deg = twin.reading().stick_rad.to_degrees();
    let before = twin.plant.train(index).rotor_rad;
    twin.set(CurrentLevel::Run);
    twin.wait(0.5);
    let after = twin.plant.train(index).rotor_rad;
    // What the stick stands beyond the place the driver is less ahead.
    (after - before).to_degrees() / parts.drive.ratio() + stick_deg - place_deg
}

/// The controller itself, with the sensor's noise and errors: it never catches harder than sized,
/// and not far below either.
#[test]
fn the_controller_catches_within_the_worst_case() {
    for rig in rigs() {
        for axis in AxisName::ALL {
            let index = axis.index();
            let sized = catch(&rig, index);
            let start = StartPose {
                supply_v: rig.supply.volts,
                force_trim: true,
                ..StartPose::default()
            };
            let mut plant = Plant::new(&rig, 7, Numerics::default(), start);
            let mut controller = Controller::new(rig.controller).unwrap();
            let mut run = |plant: &mut Plant, for_s: f64| {
                let mut fell_rad = None;
                for _ in 0..(for_s / plant.tick_s()).round() as u32 {
                    let drove = plant.readings().axis[index].driving;
                    let before = plant.train(index).rotor_rad;
                    let inputs = plant.sample();
                    plant.command(&controller.tick(&inputs).command);
                    plant.advance().expect("the twin computes it");
                    if plant.readings().axis[index].driving && !drove {
                        fell_rad = Some(before);
                    }
                }
                fell_rad
            };
            run(&mut plant, 2.0);
            plant.grip(None);
            let mut largest = 0.0_f64;
            for k in 0..14 {
                let to_deg = [-1.0, 1.0][k % 2] * (2.0 + 0.83 * k as f64);
                plant.set_switch(SwitchName::Release, true, &[]);
                run(&mut plant, 0.2);
                let mut to = [None; 2];
                to[index] = Some(to_deg.to_radians());
                plant.carry(to, 1.0, PathShape::Smooth);
                run(&mut plant, 1.5);
                plant.set_switch(SwitchName::Release, false, &[]);
                let before = run(&mut plant, 0.5).expect("the drive comes on again");
                let fell = plant.train(index).rotor_rad - before;
                let fell_deg = fell.to_degrees().abs() / rig.axis(index).drive.ratio();
                largest = largest.max(fell_deg);
                assert!(
                    fell_deg <= sized.worst_deg,
                    "{}: {fell_deg} {sized:?}",
                    rig.name
                );
            }
            println!(
                "{} {}: {largest:.3}° of {:.3}° sized",
                rig.name,
                axis.name(),
                sized.worst_deg
            );
            assert!(largest > 0.5 * sized.worst_deg, "{largest} {sized:?}");
        }
    }
}

/// Rotor rate at which the twin's drive loses step, its rate rising slowly, rad/s. The stick trails
/// the trim by `deflection` at an even rate, as a hand that lets it run against a held-back grip.
fn loses_step(rig: &Design, index: usize, deflection: f64) -> f64 {
    let axis = rig.axis(index);
    let substep_s = 1.0e-5;
    let params = train_params(axis, substep_s);
    let turns = params.rotor_teeth * params.ratio;
    let ustep = FRAC_PI_2 / f64::from(axis.driver.microsteps);
    let mut state = TrainState::default();
    let (mut wanted, mut rate) = (0.0, 0.0);
    for k in 0..1_000_000 {
        let time_s = f64::from(k) * substep_s;
        if time_s > 0.2 {
            // Ten rad/s of the rotor in a quarter of a second.
            rate += 2000.0 * substep_s;
        }
        wanted += rate * substep_s;
        let alpha = params.rotor_zero_rad + (wanted / ustep).floor() * ustep;
        let (s, c) = libm::sincos(alpha);
        let drive = TrainDrive {
            phase: [c, s].map(|share| Phase::Chopped(axis.driver.run_a * share)),
            supply_v: rig.supply.volts,
        };
        let path = StickPath {
            angle_rad: wanted / turns - deflection * (time_s / 0.1).min(1.0),
            rate_rad_per_s: rate / turns,
            accel_rad_per_s2: 0.0,
        };
        params.run(&mut state, &drive, &path, 1);
        if (alpha - params.electrical_rad(&state)).abs() > 6.0 {
            return rate / params.rotor_teeth;
        }
    }
    panic!("{}: it never loses step", rig.name);
}

/// The first harmonic is all that is sized. A cut sine has between V and 4V/π of it, so the twin,
/// whose driver has a hand in the waveform, may go as much faster: up to 4/π, and never slower.
#[test]
fn rate_limit_is_on_the_safe_side_of_the_twins() {
    for rig in rigs() {
        for index in [0, 1] {
            let axis = rig.axis(index);
            let params = train_params(axis, 1e-4);
            let holding =
                params.kt_n_m_per_a * axis.driver.run_a * params.ratio * axis.drive.efficiency;
            let at = AtSpeed::new(
                &axis.motor,
                axis.driver.run_a,
                axis.motor.resistance_ohm,
                rig.supply.volts,
            );
            for share in [0.25, 0.4, 0.6, 0.8, 0.9] {
                let deflection = params.cartridge.deflection_rad(share * holding);
                let load_n_m = share * holding + params.shaft_friction_n_m;
                let sized = at.limit_rate(&|rate| motor_asked_n_m(axis, load_n_m, rate));
                let found = loses_step(&rig, index, deflection);
                println!(
                    "{} axis {index}, {share} of holding: {sized:.1} for {found:.1} rad/s, twin {:+.1} %",
                    rig.name,
                    100.0 * (found / sized - 1.0)
                );
                assert!(found >= sized && found <= 4.0 / PI * sized);
            }
        }
    }
}

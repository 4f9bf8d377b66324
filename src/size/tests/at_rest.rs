//! Holding torque, forces, drag, supply.

use crate::Design;
use trimproof_io::CurrentLevel;
use trimproof_plant::AxisName;

use super::{DrivenTwin, axis_of, rigs};
use crate::force::{drag_n_m, grip_force};
use crate::holding::standing;
use crate::statics::Statics;
use crate::{Current, Travel, Windings, size};

/// Torque of the cartridge at which the twin's drive slips when the stick is pulled away at 3
/// degrees a second, with the driver `usteps` from its home, N·m, and the deflection there,
/// degrees.
fn pulled(
    rig: &Design,
    axis: AxisName,
    level: CurrentLevel,
    usteps: i32,
    sense: f64,
) -> (f64, f64) {
    let mut rig = rig.clone();
    let index = axis.index();
    // Nothing but the drive may stop the stick; the motor's zero is where the driver is at home.
    rig.obstacle.clear();
    rig.hand.limit_n = 400.0;
    let parts = axis_of(&mut rig, index);
    (parts.stops.min_deg, parts.stops.max_deg) = (-60.0, 60.0);
    parts.motor.zero_deg = 45.0;
    let full_step = parts.full_step_deg().to_radians();
    let ustep_rad = full_step / f64::from(parts.driver.microsteps);
    let damping = parts.cartridge.cartridge().damping_n_m_s_per_rad;
    let periods = rig.board.generator_hz / u32::from(rig.controller.tick_hz);
    let mut twin = DrivenTwin::new(&rig, axis, level);
    twin.wait(0.2);
    twin.step(usteps, periods);
    let trimmed = f64::from(usteps) * ustep_rad;
    twin.plant.grip(None);
    let rate: f64 = 3.0;
    twin.carry(sense * 58.0, 58.0 / rate);
    let mut most = (0.0_f64, 0.0);
    for _ in 0..15_000 {
        twin.tick();
        let now = twin.reading();
        // The damper pulls beside the spring.
        let pull = now.cartridge_n_m.abs() + damping * rate.to_radians();
        if pull > most.0 {
            most = (pull, (now.stick_rad - trimmed).to_degrees().abs());
        }
        if (now.trim_rad - trimmed).abs() > 3.0 * full_step {
            return most;
        }
    }
    panic!("{}: it never slips, {most:?}", rig.name);
}

/// Bar of issue 3: holding margin within 3 %.
#[test]
fn holding_torque_is_where_the_twin_slips() {
    for rig in rigs() {
        for axis in AxisName::ALL {
            for (level, current) in [
                (CurrentLevel::Hold, Current::Hold),
                (CurrentLevel::Run, Current::Run),
            ] {
                let index = axis.index();
                let drive = standing(&rig, index, current, Windings::Cold);
                let microsteps = rig.axis(index).driver.microsteps as i32;
                let mut weakest = (f64::INFINITY, 0.0);
                for (quarter, sense) in [(0, 1.0), (1, 1.0), (2, -1.0), (3, 1.0), (3, -1.0)] {
                    let usteps = quarter * microsteps / 4;
                    let (found, at_deg) = pulled(&rig, axis, level, usteps, sense);
                    if found < weakest.0 {
                        weakest = (found, at_deg);
                    }
                }
                let off = drive.slip_n_m() / weakest.0 - 1.0;
                let off_deg = drive.slip_deflection_rad().to_degrees() / weakest.1 - 1.0;
                println!(
                    "{} {} {}: slips at {:.3} N·m for {:.3} in the twin, {:+.2} %; {:+.2} % of the deflection",
                    rig.name,
                    axis.name(),
                    current.name(),
                    drive.slip_n_m(),
                    weakest.0,
                    100.0 * off,
                    100.0 * off_deg
                );
                assert!(off.abs() < 0.03 && off_deg.abs() < 0.03);
            }
        }
    }
}

/// Bar of issue 3: forces within 1 %. Out and back at 0.4 degrees a second with the drive at
/// holding current.
#[test]
fn grip_forces_are_those_of_the_twin() {
    for mut rig in rigs() {
        // The seat's edge would push too; the motor's zero is where the driver is at home.
        rig.obstacle.clear();
        rig.pitch.motor.zero_deg = 45.0;
        rig.roll.motor.zero_deg = 45.0;
        for axis in AxisName::ALL {
            let index = axis.index();
            let travel = Travel::of(&rig, index);
            for (stop_deg, sense) in [(travel.max_deg, 1.0), (travel.min_deg, -1.0)] {
                let mut twin = DrivenTwin::new(&rig, axis, CurrentLevel::Hold);
                twin.wait(0.3);
                twin.plant.grip(None);
                let places: Vec<f64> = [0.2, 0.5, 0.9, 0.99].map(|share| share * stop_deg).into();
                let (mut out, mut back) = (vec![None; 4], vec![None; 4]);
                // The hand is a spring: it must aim beyond the stop to bring the stick there.
                for (to_deg, seen) in [(stop_deg + 2.0 * sense, &mut out), (0.0, &mut back)] {
                    let way = (to_deg - twin.reading().stick_rad.to_degrees()).abs();
                    twin.carry(to_deg, way / 0.4);
                    let mut last = twin.reading();
                    for _ in 0..(500.0 * (way / 0.4 + 1.0)) as u32 {
                        twin.tick();
                        let now = twin.reading();
                        for (place, seen) in places.iter().zip(seen.iter_mut()) {
                            let [a, b] = [last, now].map(|r| r.stick_rad.to_degrees() - place);
                            if a * b <= 0.0 && a != b && seen.is_none() {
                                *seen = Some(now.grip_force_n);
                            }
                        }
                        last = now;
                    }
                }
                let drive = standing(&rig, index, Current::Hold, Windings::Cold);
                for (k, place) in places.iter().enumerate() {
                    let sized = grip_force(&rig, axis, &drive, *place).unwrap();
                    let (out, back) = (out[k].unwrap(), back[k].unwrap());
                    println!(
                        "{} {} {place:.2}: out {:.3} for {out:.3} ({:+.2} %), back {:.3} for {back:.3} ({:+.2} %)",
                        rig.name,
                        axis.name(),
                        sized.out_n,
                        100.0 * (sized.out_n / out - 1.0),
                        sized.back_n,
                        100.0 * (sized.back_n / back - 1.0)
                    );
                    assert!((sized.out_n / out - 1.0).abs() < 0.01);
                    assert!((sized.back_n / back - 1.0).abs() < 0.01);
                }
            }
        }
    }
}

/// The unpowered drive drags as sized: largest torque of the cartridge while the stick is moved
/// slowly.
#[test]
fn drag_is_the_twins() {
    for rig in rigs() {
        for axis in AxisName::ALL {
            let index = axis.index();
            let mut twin = DrivenTwin::new(&rig, axis, CurrentLevel::Off);
            twin.plant.grip(None);
            twin.carry(8.0, 16.0);
            let mut most = 0.0_f64;
            for _ in 0..8_000 {
                twin.tick();
                most = most.max(twin.reading().cartridge_n_m.abs());
            }
            let off = drag_n_m(&rig, index) / most - 1.0;
            println!(
                "{} {}: drag {:.4} for {most:.4} N·m, {:+.2} %",
                rig.name,
                axis.name(),
                drag_n_m(&rig, index),
                100.0 * off
            );
            assert!(off.abs() < 0.03);
        }
    }
}

/// Supply while both axes hold.
#[test]
fn supply_is_the_twins() {
    for rig in rigs() {
        for (level, row) in [(CurrentLevel::Hold, 0), (CurrentLevel::Run, 1)] {
            let mut twin = DrivenTwin::new(&rig, AxisName::Pitch, level);
            twin.wait(1.0);
            let found = twin.plant.readings();
            let sized = &size(&rig.file()).unwrap().supply[row];
            println!(
                "{}: {sized:?} for {} A at {} V",
                rig.name, found.supply_a, found.supply_v
            );
            assert!((sized.supply_a.unwrap() / found.supply_a - 1.0).abs() < 1e-3);
            assert!((sized.supply_v.unwrap() - found.supply_v).abs() < 0.01);
        }
    }
}

/// Warm windings in the twin: where the supply suffices the drive holds as much, where it does not
/// it holds less, as sized.
#[test]
fn hot_windings_hold_as_the_twin_says() {
    let mut rig = rigs()[0].clone();
    for (volts, starved) in [(24.0, false), (4.2, true)] {
        rig.supply.volts = volts;
        rig.pitch.driver.undervoltage_v = 3.0;
        rig.roll.driver.undervoltage_v = 3.0;
        let sized = standing(&rig, 0, Current::Hold, Windings::Hot);
        let mut hot = rig.clone();
        let parts: &mut trimproof_plant::Rig = &mut hot;
        for axis in [&mut parts.pitch, &mut parts.roll] {
            axis.motor.resistance_ohm = Windings::Hot.ohm(axis);
        }
        let cold_n_m = Statics::new(&rig.pitch, rig.pitch.driver.hold_a, 1e3).slip_n_m();
        assert_eq!(sized.slip_n_m() < 0.97 * cold_n_m, starved);
        let weakest = [0, 4, 8, 12]
            .map(|usteps| pulled(&hot, AxisName::Pitch, CurrentLevel::Hold, usteps, 1.0).0)
            .into_iter()
            .fold(f64::INFINITY, f64::min);
        let off = sized.slip_n_m() / weakest - 1.0;
        println!(
            "{volts} V: {:.3} for {weakest:.3}, {:+.2} %",
            sized.slip_n_m(),
            100.0 * off
        );
        assert!(off.abs() < 0.03);
    }
}

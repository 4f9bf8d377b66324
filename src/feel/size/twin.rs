//! Every figure against the twin, simulated on both shipped rigs.

use std::f64::consts::FRAC_PI_2;

use trimproof_controller::{AxisOutputs, Controller, CurrentLevel, Outputs};
use trimproof_plant::dynamics::{Phase, StickPath, TrainDrive, TrainState};
use trimproof_plant::{
    AxisName, Numerics, PathShape, Plant, Rig, StartPose, SwitchName, train_law,
};

use super::force::drag_nm;
use super::holding::standing;
use super::rate::AtSpeed;
use super::statics::Statics;
use super::*;

const RIGS: [&str; 2] = [
    include_str!("../../../scenarios/rigs/kittiwake.toml"),
    include_str!("../../../scenarios/rigs/bittern.toml"),
];

fn rigs() -> [Rig; 2] {
    RIGS.map(|text| Rig::parse(text).expect("the shipped rigs parse"))
}

fn axis_of(rig: &mut Rig, index: usize) -> &mut trimproof_plant::rig::AxisRig {
    if index == 0 {
        &mut rig.pitch
    } else {
        &mut rig.roll
    }
}

/// The twin with its supply on and its drives at a level.
struct Bench {
    plant: Plant,
    outputs: Outputs,
    axis: usize,
}

impl Bench {
    fn new(rig: &Rig, axis: AxisName, level: CurrentLevel) -> Self {
        let start = StartPose {
            supply_v: rig.supply.volts,
            force_trim: true,
            ..StartPose::default()
        };
        let mut bench = Self {
            plant: Plant::new(rig, 1, Numerics::default(), start),
            outputs: Outputs::default(),
            axis: axis.index(),
        };
        bench.set(level);
        bench
    }

    fn set(&mut self, level: CurrentLevel) {
        let axis = AxisOutputs {
            enable: level != CurrentLevel::Off,
            current: level,
            ..AxisOutputs::default()
        };
        self.outputs.axis = [axis; 2];
    }

    fn tick(&mut self) {
        self.plant.sample();
        self.plant.command(&self.outputs);
        self.plant.advance();
    }

    fn wait(&mut self, for_s: f64) {
        for _ in 0..(for_s / self.plant.tick_s()).round() as u32 {
            self.tick();
        }
    }

    /// Steps the axis by whole microsteps, a few a tick, and waits.
    fn step(&mut self, usteps: i32, periods: u32) {
        let mut left = usteps;
        while left != 0 {
            let now = left.clamp(-2, 2);
            // The generator adds this share of 2^32 microsteps in each of its periods.
            let rate = (i64::from(now) << 32) / i64::from(periods) + i64::from(now.signum());
            self.outputs.axis[self.axis].step_rate = rate as i32;
            self.tick();
            self.outputs.axis[self.axis].step_rate = 0;
            self.wait(0.01);
            left -= now;
        }
        self.wait(0.3);
    }

    fn carry(&mut self, to_deg: f64, over_s: f64) {
        let mut to = [None; 2];
        to[self.axis] = Some(to_deg.to_radians());
        self.plant.carry(to, over_s, PathShape::Steady);
    }

    fn reading(&self) -> trimproof_plant::AxisReading {
        self.plant.readings().axis[self.axis]
    }
}

/// Torque of the cartridge at which the twin's drive slips when the stick is pulled away at 3 degrees a second, with the
/// driver `usteps` from its home, N·m, and the deflection there, degrees.
fn pulled(rig: &Rig, axis: AxisName, level: CurrentLevel, usteps: i32, sense: f64) -> (f64, f64) {
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
    let damping = parts.cartridge.cartridge().damping_nm_s_per_rad;
    let periods = rig.board.generator_hz / u32::from(rig.controller.tick_hz);
    let mut bench = Bench::new(&rig, axis, level);
    bench.wait(0.2);
    bench.step(usteps, periods);
    let trimmed = f64::from(usteps) * ustep_rad;
    bench.plant.grip(None);
    let rate: f64 = 3.0;
    bench.carry(sense * 58.0, 58.0 / rate);
    let mut most = (0.0_f64, 0.0);
    for _ in 0..15_000 {
        bench.tick();
        let now = bench.reading();
        // The damper pulls beside the spring.
        let pull = now.cartridge_nm.abs() + damping * rate.to_radians();
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
                let off = drive.slip_nm() / weakest.0 - 1.0;
                let off_deg = drive.slip_deflection_rad().to_degrees() / weakest.1 - 1.0;
                println!(
                    "{} {} {}: slips at {:.3} N·m for {:.3} in the twin, {:+.2} %; {:+.2} % of the deflection",
                    rig.name,
                    axis.name(),
                    current.name(),
                    drive.slip_nm(),
                    weakest.0,
                    100.0 * off,
                    100.0 * off_deg
                );
                assert!(off.abs() < 0.03 && off_deg.abs() < 0.03);
            }
        }
    }
}

/// Bar of issue 3: forces within 1 %. Out and back at 0.4 degrees a second with the drive at holding current.
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
                let mut bench = Bench::new(&rig, axis, CurrentLevel::Hold);
                bench.wait(0.3);
                bench.plant.grip(None);
                let places: Vec<f64> = [0.2, 0.5, 0.9, 0.99].map(|share| share * stop_deg).into();
                let (mut out, mut back) = (vec![None; 4], vec![None; 4]);
                // The hand is a spring: it must aim beyond the stop to bring the stick there.
                for (to_deg, seen) in [(stop_deg + 2.0 * sense, &mut out), (0.0, &mut back)] {
                    let way = (to_deg - bench.reading().stick_rad.to_degrees()).abs();
                    bench.carry(to_deg, way / 0.4);
                    let mut last = bench.reading();
                    for _ in 0..(500.0 * (way / 0.4 + 1.0)) as u32 {
                        bench.tick();
                        let now = bench.reading();
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
                    let sized = force::grip_force(&rig, axis, &drive, *place).unwrap();
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

/// Bar of issue 3: catch jump within 3 %. The stick is dragged up limp to a place, the driver is as far ahead as the
/// controller allows, and it is switched on: the rotor's fall, the largest over a full step of places.
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
            parts.sensor = trimproof_plant::rig::SensorRig {
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
            let sized = catch::catch(&clean, index);
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

/// The rotor's fall, degrees at the stick: the stick is dragged up limp, the driver stands `usteps` from its home and as far
/// ahead of the stick as the controller allows.
fn caught_deg(rig: &Rig, axis: AxisName, usteps: i32) -> f64 {
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
    let mut bench = Bench::new(&rig, axis, CurrentLevel::Off);
    bench.step(usteps, periods);
    bench.plant.grip(None);
    bench.carry(place_deg, 1.0);
    bench.wait(1.5);
    // The hand is a spring: bring the stick up to the place.
    for _ in 0..3 {
        let here = bench.reading().stick_rad.to_degrees();
        let aim = bench.plant.readings().hand_rad[index].to_degrees();
        bench.carry(aim + (place_deg - here).max(0.0), 0.2);
        bench.wait(0.3);
    }
    let stick_deg = bench.reading().stick_rad.to_degrees();
    let before = bench.plant.train(index).rotor_rad;
    bench.set(CurrentLevel::Run);
    bench.wait(0.5);
    let after = bench.plant.train(index).rotor_rad;
    // What the stick stands beyond the place the driver is less ahead.
    (after - before).to_degrees() / parts.drive.ratio() + stick_deg - place_deg
}

/// The controller itself, with the sensor's noise and errors: it never catches harder than sized, and not far below either.
#[test]
fn the_controller_catches_within_the_worst_case() {
    for rig in rigs() {
        for axis in AxisName::ALL {
            let index = axis.index();
            let sized = catch::catch(&rig, index);
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
                    plant.command(&controller.tick(&inputs));
                    plant.advance();
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

/// The unpowered drive drags as sized: largest torque of the cartridge while the stick is moved slowly.
#[test]
fn drag_is_the_twins() {
    for rig in rigs() {
        for axis in AxisName::ALL {
            let index = axis.index();
            let mut bench = Bench::new(&rig, axis, CurrentLevel::Off);
            bench.plant.grip(None);
            bench.carry(8.0, 16.0);
            let mut most = 0.0_f64;
            for _ in 0..8_000 {
                bench.tick();
                most = most.max(bench.reading().cartridge_nm.abs());
            }
            let off = drag_nm(&rig, index) / most - 1.0;
            println!(
                "{} {}: drag {:.4} for {most:.4} N·m, {:+.2} %",
                rig.name,
                axis.name(),
                drag_nm(&rig, index),
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
            let mut bench = Bench::new(&rig, AxisName::Pitch, level);
            bench.wait(1.0);
            let found = bench.plant.readings();
            let sized = &size(&rig).supply[row];
            println!(
                "{}: {sized:?} for {} A at {} V",
                rig.name, found.supply_a, found.supply_v
            );
            assert!((sized.supply_a.unwrap() / found.supply_a - 1.0).abs() < 1e-3);
            assert!((sized.supply_v.unwrap() - found.supply_v).abs() < 0.01);
        }
    }
}

/// Rotor rate at which the twin's drive loses step, its rate rising slowly, rad/s. The stick trails the trim by `deflection`
/// at an even rate, as a hand that lets it run against a held-back grip.
fn loses_step(rig: &Rig, index: usize, deflection: f64) -> f64 {
    let axis = rig.axis(index);
    let substep_s = 1.0e-5;
    let law = train_law(axis, substep_s);
    let per = law.rotor_teeth * law.ratio;
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
        let alpha = law.rotor_zero_rad + (wanted / ustep).floor() * ustep;
        let (s, c) = libm::sincos(alpha);
        let drive = TrainDrive {
            phase: [c, s].map(|share| Phase::Chopped(axis.driver.run_a * share)),
            supply_v: rig.supply.volts,
        };
        let path = StickPath {
            angle_rad: wanted / per - deflection * (time_s / 0.1).min(1.0),
            rate_rad_per_s: rate / per,
            accel_rad_per_s2: 0.0,
        };
        law.run(&mut state, &drive, &path, 1);
        if (alpha - law.electrical_rad(&state)).abs() > 6.0 {
            return rate / law.rotor_teeth;
        }
    }
    panic!("{}: it never loses step", rig.name);
}

/// The first harmonic is all that is sized. A cut sine has between V and 4V/π of it, so the twin, whose driver has a hand in
/// the waveform, may go as much faster: up to 4/π, and never slower.
#[test]
fn rate_limit_is_on_the_safe_side_of_the_twins() {
    for rig in rigs() {
        for index in [0, 1] {
            let axis = rig.axis(index);
            let law = train_law(axis, 1e-4);
            let holding = law.kt_nm_per_a * axis.driver.run_a * law.ratio * axis.drive.efficiency;
            let at = AtSpeed::new(
                &axis.motor,
                axis.driver.run_a,
                axis.motor.resistance_ohm,
                rig.supply.volts,
            );
            for share in [0.25, 0.4, 0.6, 0.8, 0.9] {
                let deflection = law.cartridge.deflection_rad(share * holding);
                let load_nm = share * holding + law.shaft_friction_nm;
                let sized = at.limit_rate(&|rate| rate::motor_asked_nm(axis, load_nm, rate));
                let found = loses_step(&rig, index, deflection);
                println!(
                    "{} axis {index}, {share} of holding: {sized:.1} for {found:.1} rad/s, twin {:+.1} %",
                    rig.name,
                    100.0 * (found / sized - 1.0)
                );
                assert!(found >= sized && found <= 4.0 / std::f64::consts::PI * sized);
            }
        }
    }
}

/// Warm windings in the twin: where the supply suffices the drive holds as much, where it does not it holds less, as sized.
#[test]
fn hot_windings_hold_as_the_twin_says() {
    let mut rig = rigs()[0].clone();
    for (volts, starved) in [(24.0, false), (4.2, true)] {
        rig.supply.volts = volts;
        rig.pitch.driver.undervoltage_v = 3.0;
        rig.roll.driver.undervoltage_v = 3.0;
        let sized = standing(&rig, 0, Current::Hold, Windings::Hot);
        let mut hot = rig.clone();
        for axis in [&mut hot.pitch, &mut hot.roll] {
            axis.motor.resistance_ohm = Windings::Hot.ohm(axis);
        }
        let cold_nm = Statics::new(&rig.pitch, rig.pitch.driver.hold_a, 1e3).slip_nm();
        assert_eq!(sized.slip_nm() < 0.97 * cold_nm, starved);
        let weakest = [0, 4, 8, 12]
            .map(|usteps| pulled(&hot, AxisName::Pitch, CurrentLevel::Hold, usteps, 1.0).0)
            .into_iter()
            .fold(f64::INFINITY, f64::min);
        let off = sized.slip_nm() / weakest - 1.0;
        println!(
            "{volts} V: {:.3} for {weakest:.3}, {:+.2} %",
            sized.slip_nm(),
            100.0 * off
        );
        assert!(off.abs() < 0.03);
    }
}

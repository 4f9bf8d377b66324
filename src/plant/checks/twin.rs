//! The twin's own wiring: what a sample, a command and a fault reach, and the units of readings.

use trimproof_io::{AxisCommand, Command, CurrentLevel};

use super::{near, plant, skewed};
use crate::fault::{AxisName, Coil, FaultKind, SwitchName};

fn outputs(pitch: AxisCommand, roll: AxisCommand) -> Command {
    Command {
        axis: [pitch, roll],
    }
}

fn on(level: CurrentLevel) -> AxisCommand {
    AxisCommand {
        enable: true,
        current: level,
        ..AxisCommand::default()
    }
}

/// After the rig's silence of 20 ticks without a command the drives are off, one tick earlier they
/// are not.
#[test]
fn silence_switches_the_drives_off_at_its_tick() {
    let mut twin = plant(&skewed(), 1);
    twin.command(&outputs(on(CurrentLevel::Run), on(CurrentLevel::Hold)));
    for tick in 1..=20 {
        twin.advance().unwrap();
        let driving = twin.readings().axis.map(|axis| axis.driving);
        assert_eq!(driving, [true; 2], "after {tick} ticks");
    }
    twin.advance().unwrap();
    assert_eq!(twin.readings().axis.map(|axis| axis.driving), [false; 2]);
}

/// Each axis's command goes to its own driver: 3.7 A running in pitch, 3.05 A holding in roll.
#[test]
fn a_command_reaches_its_own_axis() {
    let mut twin = plant(&skewed(), 1);
    for _ in 0..20 {
        twin.command(&outputs(on(CurrentLevel::Run), on(CurrentLevel::Hold)));
        twin.advance().unwrap();
    }
    let [pitch, roll] = twin.readings().axis;
    assert!((pitch.current_a - 3.7).abs() < 1e-6, "{}", pitch.current_a);
    assert!((roll.current_a - 3.05).abs() < 1e-6, "{}", roll.current_a);
}

/// A fault is on its axis, its coil and its switch, and goes when it is mended.
#[test]
fn a_fault_reaches_its_own_part() {
    let mut twin = plant(&skewed(), 1);
    let faults = [
        FaultKind::SensorOpen {
            axis: AxisName::Roll,
        },
        FaultKind::SwitchStuck {
            switch: SwitchName::HatLeft,
            closed: true,
        },
    ];
    for fault in &faults {
        twin.set_fault(fault, true);
    }
    let inputs = twin.sample();
    assert_eq!(inputs.sensor_counts[1], 8191);
    assert!(inputs.sensor_counts[0] > 2000 && inputs.sensor_counts[0] < 2300);
    assert!(inputs.switches.hat_left && !inputs.switches.hat_right && inputs.switches.force_trim);
    for fault in &faults {
        twin.set_fault(fault, false);
    }
    let inputs = twin.sample();
    assert!(inputs.sensor_counts[1] < 4000 && !inputs.switches.hat_left);
    for (coil, index) in [(Coil::A, 0), (Coil::B, 1)] {
        let mut twin = plant(&skewed(), 1);
        let axis = AxisName::Pitch;
        twin.set_fault(&FaultKind::LeadBroken { axis, coil }, true);
        for _ in 0..20 {
            twin.command(&outputs(on(CurrentLevel::Run), on(CurrentLevel::Run)));
            twin.advance().unwrap();
        }
        assert_eq!(twin.train(0).current_a[index], 0.0);
        assert!(twin.train(0).current_a[1 - index].abs() > 2.0);
        assert!(twin.train(1).current_a.iter().all(|amps| amps.abs() > 2.0));
    }
}

/// The gear of an axis slips by its own teeth: 3 of 88 are 12.27 degrees.
#[test]
fn a_gear_slips_by_its_teeth() {
    let mut twin = plant(&skewed(), 1);
    twin.set_fault(
        &FaultKind::GearSlip {
            axis: AxisName::Roll,
            teeth: 3,
        },
        true,
    );
    near(
        "slip",
        twin.train(1).shaft_rad,
        3.0 / 88.0 * std::f64::consts::TAU,
    );
    near(
        "slipped",
        twin.train(1).slipped_rad,
        twin.train(1).shaft_rad,
    );
    assert_eq!(twin.train(0).shaft_rad, 0.0);
}

/// The supply that the controller receives is the lowest since the last sample, in millivolts.
#[test]
fn the_lowest_supply_is_sampled_once() {
    let mut twin = plant(&skewed(), 1);
    assert_eq!(twin.sample().supply_mv, 25_000);
    // R C is 0.299 ms: within a tick of 2.5 ms the supply is down and, back on, it is up in the
    // next.
    twin.set_supply(15.0, 0.0);
    twin.advance().unwrap();
    twin.set_supply(25.0, 0.0);
    twin.advance().unwrap();
    let low = twin.sample().supply_mv;
    assert!(low < 15_010, "{low}");
    twin.advance().unwrap();
    assert!(twin.sample().supply_mv > 24_990);
}

/// The rig's bounce pattern is used where an event has none of its own: 2.7 ms closed, 3.1 ms open,
/// at 2.5 ms ticks.
#[test]
fn the_rigs_bounce_is_the_default() {
    let mut twin = plant(&skewed(), 1);
    twin.set_switch(SwitchName::Release, true, &[]);
    let mut levels = Vec::new();
    for _ in 0..4 {
        levels.push(twin.sample().switches.release);
        twin.advance().unwrap();
    }
    assert_eq!(levels, [true, true, false, true]);
    let mut twin = plant(&skewed(), 1);
    twin.set_switch(SwitchName::Release, true, &[0.001, 0.005]);
    let mut levels = Vec::new();
    for _ in 0..4 {
        levels.push(twin.sample().switches.release);
        twin.advance().unwrap();
    }
    assert_eq!(levels, [true, false, false, true]);
}

/// A force of the hand is shown as it was asked for: torque over the point's lever, r cos φ in
/// pitch and r in roll.
#[test]
fn a_push_reads_as_its_force() {
    let rig = skewed();
    let start = crate::StartPose {
        angle_rad: [0.1, 0.2],
        ..Default::default()
    };
    let mut twin = crate::Plant::new(&rig, 1, crate::Numerics::default(), start);
    twin.push([12.0, -7.0], 0.0, 1.0);
    let [pitch, roll] = twin.readings().axis;
    near("pitch", pitch.grip_force_n, 12.0);
    near("roll", roll.grip_force_n, -7.0);
}

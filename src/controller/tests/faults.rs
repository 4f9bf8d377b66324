//! Closed-loop checks: faults, trips and their acknowledgement, lost steps.

use super::fixture::{ControllerFixture, settings};
use crate::Controller;
use trimproof_io::{Fault, PITCH, ROLL, State};

/// An electrical cycle of the example rig, microsteps and millidegrees.
const CYCLE: i32 = 64;
const CYCLE_MDEG: i32 = 1200;

fn ms(ms: u32) -> u32 {
    ms / 2
}

/// Force trim off and on again.
fn acknowledge(fixture: &mut ControllerFixture) {
    fixture.switches.force_trim = false;
    fixture.run(ms(100));
    fixture.switches.force_trim = true;
    fixture.run(ms(100));
}

/// Force trim off and on again while the cause of the trip is still there.
fn refuse(fixture: &mut ControllerFixture) {
    for force_trim in [false, true] {
        fixture.switches.force_trim = force_trim;
        for _ in 0..ms(100) {
            fixture.step();
            assert_eq!(fixture.out.telemetry.state, State::Tripped);
        }
    }
}

#[test]
fn open_sensor_trips_in_its_time_and_is_kept_until_acknowledged() {
    for (axis, counts) in [(PITCH, 4095), (ROLL, 0)] {
        let mut fixture = ControllerFixture::holding();
        fixture.drives[axis].held_mdeg = Some(5_000);
        fixture.run(50);
        let joystick = fixture.out.command.axis[axis].joystick;
        fixture.drives[axis].counts = Some(counts);
        assert_eq!(fixture.run_until(State::Tripped, 10), 5, "10 ms");
        assert!(fixture.out.telemetry.faults.has(Fault::SensorRange));
        fixture.run(ms(1000));
        assert!((fixture.out.command.axis[axis].joystick - joystick).abs() <= 20);
        refuse(&mut fixture);
        fixture.drives[axis].counts = None;
        fixture.run(ms(1000));
        assert_eq!(fixture.out.telemetry.state, State::Tripped, "kept");
        assert!(fixture.out.telemetry.faults.has(Fault::SensorRange));
        fixture.drives[axis].held_mdeg = None;
        acknowledge(&mut fixture);
        assert_eq!(
            (
                fixture.out.telemetry.state,
                fixture.out.telemetry.faults.bits()
            ),
            (State::Holding, 0)
        );
        fixture.run(ms(1000));
        assert!(
            (fixture.drives[axis].stick_mdeg - 5_000).abs() <= 150,
            "holds where the stick is"
        );
    }
}

#[test]
fn sensor_jump_trips_as_an_impossible_rate() {
    let mut fixture = ControllerFixture::holding();
    fixture.drives[ROLL].counts = Some(2_048 + 400);
    assert_eq!(fixture.run_until(State::Tripped, 10), 5);
    assert!(fixture.out.telemetry.faults.has(Fault::SensorRate));
    assert!(
        fixture.out.telemetry.axis[ROLL].stick_mdeg.abs() < 20,
        "the jump does not enter the estimate"
    );
}

#[test]
fn single_wild_readings_do_nothing() {
    let mut fixture = ControllerFixture::holding();
    for counts in [0, 4095, 3000] {
        fixture.drives[PITCH].counts = Some(counts);
        fixture.run(2);
        fixture.drives[PITCH].counts = None;
        fixture.run(20);
        assert_eq!(fixture.out.telemetry.state, State::Holding);
        assert!(fixture.out.telemetry.axis[PITCH].stick_mdeg.abs() < 20);
    }
}

#[test]
fn stuck_sensor_trips_while_its_drive_moves() {
    let mut fixture = ControllerFixture::new(settings(), [8_000, 0]);
    fixture.run_until(State::Centring, 200);
    fixture.drives[PITCH].counts = Some(2_048 + 546);
    fixture.run_until(State::Tripped, ms(1000));
    assert!(fixture.out.telemetry.faults.has(Fault::SensorStuck));
    // 300 ms of waiting for the pilot, then 1 deg of travel.
    assert!(
        (6_800..=7_100).contains(&(fixture.drives[PITCH].shaft * 75 / 4)),
        "{}",
        fixture.drives[PITCH].shaft
    );
    refuse(&mut fixture);
    fixture.drives[PITCH].counts = None;
    acknowledge(&mut fixture);
    assert_eq!(fixture.out.telemetry.state, State::Holding);
}

#[test]
fn a_hand_that_holds_still_is_no_stuck_sensor() {
    let mut fixture = ControllerFixture::holding();
    fixture.drives[PITCH].held_mdeg = Some(0);
    fixture.switches.hat_aft = true;
    fixture.run(ms(5000));
    assert_eq!(fixture.out.telemetry.faults.bits(), 0);
}

#[test]
fn few_lost_ticks_are_made_good_and_many_trip() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.hat_aft = true;
    fixture.run(ms(1000));
    for gap in [2, 3, 5, 1, 4] {
        // The fixture checks that generator, driver and controller stay in step.
        fixture.next_gap = gap;
        fixture.run(2);
        assert_eq!(fixture.out.telemetry.state, State::Nudging, "{gap}");
        fixture.run(30);
    }
    fixture.next_gap = 6;
    fixture.run(2);
    assert_eq!(fixture.out.telemetry.state, State::Tripped);
    assert!(fixture.out.telemetry.faults.has(Fault::TicksLost));
    fixture.switches.hat_aft = false;
    fixture.switches.force_trim = false;
    fixture.run(ms(100));
    fixture.switches.force_trim = true;
    // The driver's place is not relied on: it is homed anew.
    let homed = (0..50).filter(|_| {
        fixture.step();
        fixture.out.command.axis.iter().all(|axis| axis.home)
    });
    assert_eq!(homed.count(), 1);
    assert_eq!(
        (
            fixture.out.telemetry.state,
            fixture.out.telemetry.faults.bits()
        ),
        (State::Holding, 0)
    );
}

#[test]
fn a_tick_number_that_stands_still_trips() {
    let mut fixture = ControllerFixture::holding();
    fixture.next_gap = 0;
    fixture.run(2);
    assert!(fixture.out.telemetry.faults.has(Fault::TicksLost));
}

#[test]
fn the_tick_number_may_wrap() {
    let mut fixture = ControllerFixture::new(settings(), [0, 0]);
    fixture.tick = u32::MAX - 400;
    fixture.run(1500);
    assert_eq!(fixture.out.telemetry.state, State::Holding);
}

#[test]
fn supply_loss_does_not_wipe_a_trip() {
    let mut fixture = ControllerFixture::holding();
    fixture.drives[PITCH].counts = Some(4095);
    fixture.run_until(State::Tripped, 10);
    fixture.supply_mv = 0;
    fixture.run(ms(500));
    assert_eq!(fixture.out.telemetry.state, State::Tripped);
    assert!(
        fixture.out.telemetry.faults.has(Fault::SensorRange)
            && fixture.out.telemetry.faults.has(Fault::SupplyLow)
    );
    fixture.supply_mv = 24_000;
    fixture.drives[PITCH].counts = None;
    fixture.run(ms(500));
    assert_eq!(fixture.out.telemetry.state, State::Tripped);
    acknowledge(&mut fixture);
    fixture.run(ms(500));
    assert_eq!(
        (
            fixture.out.telemetry.state,
            fixture.out.telemetry.faults.bits()
        ),
        (State::Holding, 0)
    );
}

#[test]
fn slipped_steps_are_booked_without_a_movement() {
    for cycles in [-2i32, 1, 3] {
        let mut fixture = ControllerFixture::holding();
        // Pushed beyond what the drive holds, the shaft falls by whole cycles.
        fixture.drives[PITCH].held_mdeg = Some(16_000 * cycles.signum());
        fixture.run(ms(500));
        fixture.drives[PITCH].shaft += cycles * CYCLE;
        fixture.drives[PITCH].held_mdeg = None;
        let shaft = fixture.drives[PITCH].shaft;
        fixture.run(ms(9900));
        assert!(!fixture.out.telemetry.faults.has(Fault::StepsSlipped));
        fixture.run(ms(300));
        assert!(fixture.out.telemetry.faults.has(Fault::StepsSlipped));
        assert_eq!(
            fixture.out.telemetry.axis[PITCH].reference_mdeg,
            cycles * CYCLE_MDEG
        );
        fixture.run(ms(1000));
        assert_eq!(
            (fixture.drives[PITCH].shaft, fixture.out.telemetry.state),
            (shaft, State::Holding)
        );
        fixture.switches.hat_aft = true;
        fixture.run(ms(100));
        assert!(
            !fixture.out.telemetry.faults.has(Fault::StepsSlipped),
            "reported until the next nudge"
        );
    }
}

#[test]
fn steps_slipped_past_a_limit_glide_in() {
    let mut settings = settings();
    settings.pitch.slip_deflection_mdeg = 7_000;
    let mut fixture = ControllerFixture::new(settings, [0, 0]);
    fixture.run_until(State::Holding, 1000);
    fixture.switches.hat_aft = true;
    fixture.run(ms(6000));
    fixture.switches.hat_aft = false;
    fixture.run(ms(500));
    fixture.drives[PITCH].held_mdeg = Some(28_000);
    fixture.run(ms(500));
    fixture.drives[PITCH].shaft += CYCLE;
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run(ms(12_000));
    assert_eq!(
        (
            fixture.drives[PITCH].shaft,
            fixture.out.telemetry.axis[PITCH].drive_mdeg
        ),
        (1066, 19_988)
    );
}

#[test]
fn a_pilot_who_holds_a_deflection_is_believed() {
    let mut fixture = ControllerFixture::holding();
    fixture.run(ms(2000));
    fixture.drives[PITCH].held_mdeg = Some(2 * CYCLE_MDEG);
    fixture.run(ms(9900));
    assert_eq!(
        (
            fixture.out.telemetry.axis[PITCH].reference_mdeg,
            fixture.out.telemetry.faults.bits()
        ),
        (0, 0)
    );
    fixture.run(ms(200));
    assert!(
        fixture.out.telemetry.faults.has(Fault::PositionDoubt),
        "10 s"
    );
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run(ms(200));
    assert_eq!(fixture.out.telemetry.faults.bits(), 0);
}

#[test]
fn a_pilot_who_leans_on_the_stick_after_a_nudge_is_believed() {
    for held in [CYCLE_MDEG, 3 * CYCLE_MDEG, 15 * CYCLE_MDEG] {
        let mut fixture = ControllerFixture::holding();
        fixture.switches.hat_aft = true;
        fixture.run(ms(100));
        fixture.switches.hat_aft = false;
        fixture.run(ms(300));
        fixture.drives[PITCH].held_mdeg = Some(300 + held);
        fixture.run(ms(9500));
        fixture.drives[PITCH].held_mdeg = None;
        fixture.run(ms(2000));
        let reference = fixture.out.telemetry.axis[PITCH].reference_mdeg;
        assert_eq!(
            (reference, fixture.out.telemetry.faults.bits()),
            (300, 0),
            "{held}"
        );
    }
}

#[test]
fn a_place_that_lost_steps_cannot_explain_is_doubted() {
    let mut fixture = ControllerFixture::holding();
    // A gear tooth: 4 deg, three cycles and a third.
    fixture.drives[ROLL].shaft += 213;
    fixture.run(ms(10_200));
    assert!(
        fixture.out.telemetry.faults.has(Fault::PositionDoubt)
            && !fixture.out.telemetry.faults.has(Fault::StepsSlipped)
    );
    assert_eq!(
        (
            fixture.out.telemetry.state,
            fixture.out.telemetry.axis[ROLL].reference_mdeg
        ),
        (State::Holding, 0)
    );
    // Trimming the other axis changes nothing about it.
    fixture.switches.hat_aft = true;
    fixture.run(ms(100));
    fixture.switches.hat_aft = false;
    fixture.run(ms(900));
    assert!(fixture.out.telemetry.faults.has(Fault::PositionDoubt));
}

#[test]
fn a_drive_that_is_elsewhere_in_the_glide_is_reported() {
    let mut fixture = ControllerFixture::new(settings(), [8_000, 0]);
    fixture.run_until(State::Centring, 200);
    fixture.run(ms(600));
    // A gear tooth: 4 deg, more than the deflection that the controller takes for a hand.
    fixture.drives[PITCH].shaft += 213;
    fixture.run(ms(10_000));
    assert_eq!(
        (
            fixture.out.telemetry.state,
            fixture.out.telemetry.faults.bits()
        ),
        (State::Centring, 0)
    );
    // Its ramp, and then the time of a pilot who leans.
    fixture.run(ms(500));
    assert_eq!(fixture.out.telemetry.state, State::Centring);
    assert!(fixture.out.telemetry.faults.has(Fault::PositionDoubt));
}

#[test]
fn steps_slipped_in_the_glide_are_booked_and_it_goes_on() {
    let mut fixture = ControllerFixture::new(settings(), [-2_000, 0]);
    fixture.run_until(State::Centring, 200);
    fixture.drives[PITCH].held_mdeg = Some(14_000);
    fixture.run(ms(500));
    fixture.drives[PITCH].shaft += 3 * CYCLE;
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run(ms(9_900));
    assert_eq!(
        (
            fixture.out.telemetry.state,
            fixture.out.telemetry.faults.bits()
        ),
        (State::Centring, 0)
    );
    fixture.run(ms(2_000));
    assert!(fixture.out.telemetry.faults.has(Fault::StepsSlipped));
    assert_eq!(
        (fixture.drives[PITCH].shaft, fixture.out.telemetry.state),
        (0, State::Holding)
    );
}

#[test]
fn a_drive_that_is_elsewhere_never_runs_the_stick_out_past_its_soft_limit() {
    let mut fixture = ControllerFixture::holding();
    // A gear tooth: the shaft is 4 deg further aft than estimated.
    fixture.drives[PITCH].shaft += 213;
    fixture.run(ms(10_500));
    assert!(fixture.out.telemetry.faults.has(Fault::PositionDoubt));
    fixture.switches.hat_aft = true;
    fixture.run(ms(8000));
    let limit = fixture.axis_settings(PITCH).soft_max_mdeg
        + fixture.axis_settings(PITCH).position_band_mdeg;
    assert!(
        fixture.drives[PITCH].stick_mdeg <= limit + 60,
        "{} of {limit}",
        fixture.drives[PITCH].stick_mdeg
    );
    assert!(
        fixture.out.telemetry.axis[PITCH].drive_mdeg < 17_000,
        "stopped short of the estimated limit"
    );
    // Back is free.
    fixture.switches.hat_aft = false;
    fixture.run(ms(200));
    fixture.switches.hat_fore = true;
    fixture.run(ms(2000));
    assert!(fixture.drives[PITCH].stick_mdeg < 16_000);
}

#[test]
fn a_slip_in_one_axis_is_reported_until_that_axis_is_trimmed() {
    let mut fixture = ControllerFixture::holding();
    fixture.drives[PITCH].held_mdeg = Some(16_000);
    fixture.run(ms(500));
    fixture.drives[PITCH].shaft += CYCLE;
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run(ms(11_000));
    assert!(fixture.out.telemetry.faults.has(Fault::StepsSlipped));
    fixture.switches.hat_right = true;
    fixture.run(ms(100));
    fixture.switches.hat_right = false;
    fixture.run(ms(500));
    assert!(fixture.out.telemetry.faults.has(Fault::StepsSlipped));
    fixture.switches.hat_fore = true;
    fixture.run(ms(100));
    assert!(!fixture.out.telemetry.faults.has(Fault::StepsSlipped));
}

#[test]
fn stuck_switches_are_reported() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.hat_left = true;
    fixture.run(ms(20_100));
    assert!(fixture.out.telemetry.faults.has(Fault::HatStuck));
    assert_eq!(fixture.out.telemetry.state, State::Holding);
    fixture.switches.hat_left = false;
    fixture.switches.release = true;
    fixture.run(ms(60_100));
    assert!(
        fixture.out.telemetry.faults.has(Fault::ReleaseStuck)
            && !fixture.out.telemetry.faults.has(Fault::HatStuck)
    );
    assert_eq!(fixture.out.telemetry.state, State::Released);
}

#[test]
fn identity_names_the_crate_and_its_version() {
    assert_eq!(
        Controller::identity(),
        concat!("trimproof-controller ", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn a_dip_that_is_forgiven_costs_no_place() {
    for supply_mv in [12_000, 19_999] {
        let mut fixture = ControllerFixture::holding();
        fixture.switches.hat_aft = true;
        fixture.run(ms(1000));
        for _ in 0..3 {
            // The fixture compares place and driver's index in every tick.
            fixture.supply_mv = supply_mv;
            fixture.run(2);
            fixture.supply_mv = 24_000;
            fixture.run(1);
        }
        assert_eq!(fixture.out.telemetry.state, State::Nudging, "{supply_mv}");
        fixture.supply_mv = supply_mv;
        fixture.run(3);
        assert_eq!(fixture.out.telemetry.state, State::Limp, "{supply_mv}");
    }
}

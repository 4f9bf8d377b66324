//! Closed-loop checks: switching on, centring, force trim, supply.

use super::fixture::{ControllerFixture, settings};
use trimproof_io::{CurrentLevel, Fault, PITCH, ROLL, State, Switches};

/// Half a full step of the example rig, microsteps.
const HALF_STEP: i32 = 8;

/// Ticks of `ms` milliseconds at 500 Hz.
fn ms(ms: u32) -> u32 {
    ms / 2
}

#[test]
fn power_up_takes_the_stick_where_it_is_and_glides_to_centre() {
    let mut fixture = ControllerFixture::new(settings(), [10_000, -7_300]);
    let wait = fixture.run_until(State::Centring, 200);
    // 200 ms of steady supply, a tick to home, at most 4 ticks to bring the phase round.
    assert!((100..=106).contains(&wait), "{wait}");
    for (index, drive) in fixture.drives.iter().enumerate() {
        let command = fixture.out.command.axis[index];
        let report = fixture.out.telemetry.axis[index];
        assert!(
            drive.catch_usteps.abs() <= HALF_STEP,
            "{}",
            drive.catch_usteps
        );
        assert!((drive.stick_mdeg - report.reference_mdeg).abs() <= 170);
        assert_eq!(command.current, CurrentLevel::Run);
    }
    // Not before the pilot had his time, then 10 deg at 8 deg/s with two ramps of 0.4 s: 1.65 s.
    fixture.run(ms(298));
    assert_eq!(fixture.out.command.axis[PITCH].step_rate, 0);
    let ticks = fixture.run_until(State::Holding, 1000);
    assert!((ms(1640)..=ms(1720)).contains(&ticks), "{ticks}");
    for (drive, out) in fixture.drives.iter().zip(fixture.out.telemetry.axis) {
        assert_eq!((drive.shaft, drive.stick_mdeg), (0, 0));
        assert_eq!((out.reference_mdeg, out.drive_mdeg), (0, 0));
    }
    fixture.run(ms(400));
    assert_eq!(fixture.out.command.axis[ROLL].current, CurrentLevel::Hold);
    assert_eq!(fixture.out.telemetry.faults.bits(), 0);
}

#[test]
fn power_up_outside_a_soft_limit_glides_in() {
    let mut fixture = ControllerFixture::new(settings(), [24_000, 0]);
    fixture.run_until(State::Centring, 200);
    assert_eq!(fixture.out.telemetry.axis[PITCH].reference_mdeg, 20_000);
    assert!((fixture.out.telemetry.axis[PITCH].drive_mdeg - 24_000).abs() <= 170);
    fixture.run_until(State::Holding, 3000);
    assert_eq!(fixture.drives[PITCH].shaft, 0);
}

#[test]
fn power_up_waits_for_a_steady_supply() {
    let mut fixture = ControllerFixture::new(settings(), [0, 0]);
    for n in 0..20 {
        fixture.supply_mv = if n % 2 == 0 { 24_000 } else { 12_000 };
        fixture.run(ms(190));
        assert_eq!(fixture.out.telemetry.state, State::Limp);
    }
    assert!(fixture.out.telemetry.faults.has(Fault::SupplyLow));
    fixture.supply_mv = 24_000;
    fixture.run_until(State::Centring, ms(230));
    assert!(!fixture.out.telemetry.faults.has(Fault::SupplyLow));
}

#[test]
fn centring_stops_for_a_hand_and_goes_on_after_it() {
    let mut fixture = ControllerFixture::new(settings(), [12_000, 0]);
    fixture.run_until(State::Centring, 200);
    fixture.drives[PITCH].held_mdeg = Some(12_000);
    fixture.run(ms(2000));
    let waiting = fixture.out.telemetry.axis[PITCH];
    let step_rate = fixture.out.command.axis[PITCH].step_rate;
    // 1.5 deg of deflection, then v^2 / 2a = 64 / 40 = 1.6 deg at most to stop.
    assert_eq!(
        (fixture.out.telemetry.state, step_rate),
        (State::Centring, 0)
    );
    assert!(
        (8_800..=10_500).contains(&waiting.drive_mdeg),
        "{}",
        waiting.drive_mdeg
    );
    fixture.run(ms(5000));
    assert_eq!(
        fixture.out.telemetry.axis[PITCH].drive_mdeg,
        waiting.drive_mdeg
    );
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run(ms(290));
    assert_eq!(fixture.out.command.axis[PITCH].step_rate, 0, "300 ms first");
    fixture.run_until(State::Holding, ms(3000));
    assert_eq!(fixture.drives[PITCH].shaft, 0);
}

#[test]
fn release_during_centring_ends_it() {
    let mut fixture = ControllerFixture::new(settings(), [12_000, 0]);
    fixture.run_until(State::Centring, 200);
    fixture.run(ms(800));
    fixture.switches.release = true;
    assert_eq!(fixture.run_until(State::Released, 10), 5);
    let place = fixture.drives[PITCH].stick_mdeg;
    fixture.switches.release = false;
    fixture.run_until(State::Holding, 60);
    fixture.run(ms(1000));
    assert_eq!(fixture.out.telemetry.state, State::Holding);
    assert!((fixture.drives[PITCH].stick_mdeg - place).abs() <= 150);
}

#[test]
fn hat_during_centring_takes_over() {
    let mut fixture = ControllerFixture::new(settings(), [12_000, 0]);
    fixture.run_until(State::Centring, 200);
    fixture.run(ms(1000));
    fixture.switches.hat_aft = true;
    fixture.run(ms(100));
    assert_eq!(fixture.out.telemetry.state, State::Nudging);
    fixture.switches.hat_aft = false;
    fixture.run_until(State::Holding, ms(2000));
    assert!(
        fixture.out.telemetry.axis[PITCH].drive_mdeg > 3_000,
        "{}",
        fixture.out.telemetry.axis[PITCH].drive_mdeg
    );
}

#[test]
fn force_trim_off_is_limp_and_on_again_holds_where_the_stick_is() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.force_trim = false;
    assert_eq!(fixture.run_until(State::Limp, 30), 26);
    fixture.drives[PITCH].held_mdeg = Some(5_000);
    fixture.run(ms(500));
    assert_eq!(
        fixture.out.telemetry.axis[PITCH].reference_mdeg,
        fixture.out.telemetry.axis[PITCH].stick_mdeg
    );
    fixture.drives[PITCH].held_mdeg = None;
    fixture.switches.force_trim = true;
    assert!(fixture.run_until(State::Holding, 10) <= 5);
    fixture.run(ms(3000));
    assert!((fixture.drives[PITCH].stick_mdeg - 5_000).abs() <= 150);
}

#[test]
fn force_trim_switched_on_later_owes_no_glide() {
    let mut fixture = ControllerFixture::new(settings(), [6_000, 0]);
    fixture.switches.force_trim = false;
    fixture.run(ms(1000));
    assert_eq!(fixture.out.telemetry.state, State::Limp);
    fixture.switches.force_trim = true;
    fixture.run_until(State::Holding, 10);
    fixture.run(ms(2000));
    assert!((fixture.drives[PITCH].stick_mdeg - 6_000).abs() <= 150);
}

#[test]
fn supply_dip_goes_limp_in_three_ticks_and_then_powers_up_in_full() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.release = true;
    fixture.drives[PITCH].held_mdeg = Some(8_000);
    fixture.run(ms(100));
    fixture.switches.release = false;
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run_until(State::Holding, 40);
    fixture.supply_mv = 19_999;
    fixture.run(2);
    assert_eq!(
        fixture.out.telemetry.state,
        State::Holding,
        "two readings may be one short dip"
    );
    assert_eq!(fixture.run_until(State::Limp, 3), 1);
    assert!(fixture.out.telemetry.faults.has(Fault::SupplyLow));
    fixture.run(ms(50));
    fixture.supply_mv = 24_000;
    assert!(fixture.run_until(State::Centring, ms(230)) >= ms(200));
    assert!(fixture.drives[PITCH].catch_usteps.abs() <= HALF_STEP);
    fixture.run_until(State::Holding, ms(3000));
    assert_eq!(fixture.drives[PITCH].shaft, 0);
}

#[test]
fn switches_closed_at_power_up_do_nothing_dangerous() {
    let mut fixture = ControllerFixture::new(settings(), [3_000, 0]);
    fixture.switches = Switches {
        hat_aft: true,
        hat_left: true,
        ..fixture.switches
    };
    fixture.run_until(State::Holding, 1500);
    fixture.run(ms(2000));
    assert_eq!(
        (fixture.out.telemetry.state, fixture.drives[PITCH].shaft),
        (State::Holding, 0)
    );
    let mut fixture = ControllerFixture::new(settings(), [3_000, 0]);
    fixture.switches.release = true;
    fixture.run(ms(1000));
    assert_eq!(fixture.out.telemetry.state, State::Released);
}

#[test]
fn drives_that_went_off_come_on_again_after_120_ms_at_the_earliest() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.force_trim = false;
    fixture.run_until(State::Limp, 30);
    fixture.switches.force_trim = true;
    // 8 ms of a closed contact would be 5 ticks.
    assert_eq!(fixture.run_until(State::Holding, 80), 60);
}

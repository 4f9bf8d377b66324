//! Closed-loop checks: faults, trips and their acknowledgement, lost steps.

use crate::bench::{Bench, settings};
use crate::{Controller, Fault, PITCH, ROLL, State};

/// An electrical cycle of the example rig, microsteps and millidegrees.
const CYCLE: i32 = 64;
const CYCLE_MDEG: i32 = 1200;

fn ms(ms: u32) -> u32 {
    ms / 2
}

/// Force trim off and on again.
fn acknowledge(bench: &mut Bench) {
    bench.switches.force_trim = false;
    bench.run(ms(100));
    bench.switches.force_trim = true;
    bench.run(ms(100));
}

/// Force trim off and on again while the cause of the trip is still there.
fn refuse(bench: &mut Bench) {
    for force_trim in [false, true] {
        bench.switches.force_trim = force_trim;
        for _ in 0..ms(100) {
            bench.step();
            assert_eq!(bench.out.state, State::Tripped);
        }
    }
}

#[test]
fn open_sensor_trips_in_its_time_and_is_kept_until_acknowledged() {
    for (axis, counts) in [(PITCH, 4095), (ROLL, 0)] {
        let mut bench = Bench::holding();
        bench.drives[axis].held_mdeg = Some(5_000);
        bench.run(50);
        let joystick = bench.out.axis[axis].joystick;
        bench.drives[axis].counts = Some(counts);
        assert_eq!(bench.run_until(State::Tripped, 10), 5, "10 ms");
        assert!(bench.out.faults.has(Fault::SensorRange));
        bench.run(ms(1000));
        assert!((bench.out.axis[axis].joystick - joystick).abs() <= 20);
        refuse(&mut bench);
        bench.drives[axis].counts = None;
        bench.run(ms(1000));
        assert_eq!(bench.out.state, State::Tripped, "kept");
        assert!(bench.out.faults.has(Fault::SensorRange));
        bench.drives[axis].held_mdeg = None;
        acknowledge(&mut bench);
        assert_eq!(
            (bench.out.state, bench.out.faults.bits()),
            (State::Holding, 0)
        );
        bench.run(ms(1000));
        assert!(
            (bench.drives[axis].stick_mdeg - 5_000).abs() <= 150,
            "holds where the stick is"
        );
    }
}

#[test]
fn sensor_jump_trips_as_an_impossible_rate() {
    let mut bench = Bench::holding();
    bench.drives[ROLL].counts = Some(2_048 + 400);
    assert_eq!(bench.run_until(State::Tripped, 10), 5);
    assert!(bench.out.faults.has(Fault::SensorRate));
    assert!(
        bench.out.axis[ROLL].stick_mdeg.abs() < 20,
        "the jump is not believed"
    );
}

#[test]
fn single_wild_readings_do_nothing() {
    let mut bench = Bench::holding();
    for counts in [0, 4095, 3000] {
        bench.drives[PITCH].counts = Some(counts);
        bench.run(2);
        bench.drives[PITCH].counts = None;
        bench.run(20);
        assert_eq!(bench.out.state, State::Holding);
        assert!(bench.out.axis[PITCH].stick_mdeg.abs() < 20);
    }
}

#[test]
fn stuck_sensor_trips_while_its_drive_moves() {
    let mut bench = Bench::new(settings(), [8_000, 0]);
    bench.run_until(State::Centring, 200);
    bench.drives[PITCH].counts = Some(2_048 + 546);
    bench.run_until(State::Tripped, ms(1000));
    assert!(bench.out.faults.has(Fault::SensorStuck));
    // 300 ms of waiting for the pilot, then 1 deg of travel.
    assert!(
        (6_800..=7_100).contains(&(bench.drives[PITCH].shaft * 75 / 4)),
        "{}",
        bench.drives[PITCH].shaft
    );
    refuse(&mut bench);
    bench.drives[PITCH].counts = None;
    acknowledge(&mut bench);
    assert_eq!(bench.out.state, State::Holding);
}

#[test]
fn a_hand_that_holds_still_is_no_stuck_sensor() {
    let mut bench = Bench::holding();
    bench.drives[PITCH].held_mdeg = Some(0);
    bench.switches.hat_aft = true;
    bench.run(ms(5000));
    assert_eq!(bench.out.faults.bits(), 0);
}

#[test]
fn few_lost_ticks_are_made_good_and_many_trip() {
    let mut bench = Bench::holding();
    bench.switches.hat_aft = true;
    bench.run(ms(1000));
    for gap in [2, 3, 5, 1, 4] {
        // The bench checks that generator, driver and controller stay in step.
        bench.next_gap = gap;
        bench.run(2);
        assert_eq!(bench.out.state, State::Nudging, "{gap}");
        bench.run(30);
    }
    bench.next_gap = 6;
    bench.run(2);
    assert_eq!(bench.out.state, State::Tripped);
    assert!(bench.out.faults.has(Fault::TicksLost));
    bench.switches.hat_aft = false;
    bench.switches.force_trim = false;
    bench.run(ms(100));
    bench.switches.force_trim = true;
    // The driver's place is not relied on: it is homed anew.
    let homed = (0..50).filter(|_| {
        bench.step();
        bench.out.axis.iter().all(|axis| axis.home)
    });
    assert_eq!(homed.count(), 1);
    assert_eq!(
        (bench.out.state, bench.out.faults.bits()),
        (State::Holding, 0)
    );
}

#[test]
fn a_tick_number_that_stands_still_trips() {
    let mut bench = Bench::holding();
    bench.next_gap = 0;
    bench.run(2);
    assert!(bench.out.faults.has(Fault::TicksLost));
}

#[test]
fn the_tick_number_may_wrap() {
    let mut bench = Bench::new(settings(), [0, 0]);
    bench.tick = u32::MAX - 400;
    bench.run(1500);
    assert_eq!(bench.out.state, State::Holding);
}

#[test]
fn supply_loss_does_not_wipe_a_trip() {
    let mut bench = Bench::holding();
    bench.drives[PITCH].counts = Some(4095);
    bench.run_until(State::Tripped, 10);
    bench.supply_mv = 0;
    bench.run(ms(500));
    assert_eq!(bench.out.state, State::Tripped);
    assert!(bench.out.faults.has(Fault::SensorRange) && bench.out.faults.has(Fault::SupplyLow));
    bench.supply_mv = 24_000;
    bench.drives[PITCH].counts = None;
    bench.run(ms(500));
    assert_eq!(bench.out.state, State::Tripped);
    acknowledge(&mut bench);
    bench.run(ms(500));
    assert_eq!(
        (bench.out.state, bench.out.faults.bits()),
        (State::Holding, 0)
    );
}

#[test]
fn slipped_steps_are_booked_without_a_movement() {
    for cycles in [-2i32, 1, 3] {
        let mut bench = Bench::holding();
        // Pushed beyond what the drive holds, the shaft falls by whole cycles.
        bench.drives[PITCH].held_mdeg = Some(16_000 * cycles.signum());
        bench.run(ms(500));
        bench.drives[PITCH].shaft += cycles * CYCLE;
        bench.drives[PITCH].held_mdeg = None;
        let shaft = bench.drives[PITCH].shaft;
        bench.run(ms(9900));
        assert!(!bench.out.faults.has(Fault::StepsSlipped));
        bench.run(ms(300));
        assert!(bench.out.faults.has(Fault::StepsSlipped));
        assert_eq!(bench.out.axis[PITCH].reference_mdeg, cycles * CYCLE_MDEG);
        bench.run(ms(1000));
        assert_eq!(
            (bench.drives[PITCH].shaft, bench.out.state),
            (shaft, State::Holding)
        );
        bench.switches.hat_aft = true;
        bench.run(ms(100));
        assert!(
            !bench.out.faults.has(Fault::StepsSlipped),
            "reported until the next nudge"
        );
    }
}

#[test]
fn steps_slipped_past_a_limit_glide_in() {
    let mut settings = settings();
    settings.pitch.slip_deflection_mdeg = 7_000;
    let mut bench = Bench::new(settings, [0, 0]);
    bench.run_until(State::Holding, 1000);
    bench.switches.hat_aft = true;
    bench.run(ms(6000));
    bench.switches.hat_aft = false;
    bench.run(ms(500));
    bench.drives[PITCH].held_mdeg = Some(28_000);
    bench.run(ms(500));
    bench.drives[PITCH].shaft += CYCLE;
    bench.drives[PITCH].held_mdeg = None;
    bench.run(ms(12_000));
    assert_eq!(
        (bench.drives[PITCH].shaft, bench.out.axis[PITCH].drive_mdeg),
        (1066, 19_988)
    );
}

#[test]
fn a_pilot_who_holds_a_deflection_is_believed() {
    let mut bench = Bench::holding();
    bench.run(ms(2000));
    bench.drives[PITCH].held_mdeg = Some(2 * CYCLE_MDEG);
    bench.run(ms(9900));
    assert_eq!(
        (
            bench.out.axis[PITCH].reference_mdeg,
            bench.out.faults.bits()
        ),
        (0, 0)
    );
    bench.run(ms(200));
    assert!(bench.out.faults.has(Fault::PlaceDoubt), "10 s");
    bench.drives[PITCH].held_mdeg = None;
    bench.run(ms(200));
    assert_eq!(bench.out.faults.bits(), 0);
}

#[test]
fn a_pilot_who_leans_on_the_stick_after_a_nudge_is_believed() {
    for held in [CYCLE_MDEG, 3 * CYCLE_MDEG, 15 * CYCLE_MDEG] {
        let mut bench = Bench::holding();
        bench.switches.hat_aft = true;
        bench.run(ms(100));
        bench.switches.hat_aft = false;
        bench.run(ms(300));
        bench.drives[PITCH].held_mdeg = Some(300 + held);
        bench.run(ms(9500));
        bench.drives[PITCH].held_mdeg = None;
        bench.run(ms(2000));
        let reference = bench.out.axis[PITCH].reference_mdeg;
        assert_eq!((reference, bench.out.faults.bits()), (300, 0), "{held}");
    }
}

#[test]
fn a_place_that_lost_steps_cannot_explain_is_doubted() {
    let mut bench = Bench::holding();
    // A gear tooth: 4 deg, three cycles and a third.
    bench.drives[ROLL].shaft += 213;
    bench.run(ms(10_200));
    assert!(bench.out.faults.has(Fault::PlaceDoubt) && !bench.out.faults.has(Fault::StepsSlipped));
    assert_eq!(
        (bench.out.state, bench.out.axis[ROLL].reference_mdeg),
        (State::Holding, 0)
    );
    // Trimming the other axis changes nothing about it.
    bench.switches.hat_aft = true;
    bench.run(ms(100));
    bench.switches.hat_aft = false;
    bench.run(ms(900));
    assert!(bench.out.faults.has(Fault::PlaceDoubt));
}

#[test]
fn a_drive_that_is_elsewhere_in_the_glide_is_reported() {
    let mut bench = Bench::new(settings(), [8_000, 0]);
    bench.run_until(State::Centring, 200);
    bench.run(ms(600));
    // A gear tooth: 4 deg, more than the deflection that the controller takes for a hand.
    bench.drives[PITCH].shaft += 213;
    bench.run(ms(10_000));
    assert_eq!(
        (bench.out.state, bench.out.faults.bits()),
        (State::Centring, 0)
    );
    // Its ramp, and then the time of a pilot who leans.
    bench.run(ms(500));
    assert_eq!(bench.out.state, State::Centring);
    assert!(bench.out.faults.has(Fault::PlaceDoubt));
}

#[test]
fn steps_slipped_in_the_glide_are_booked_and_it_goes_on() {
    let mut bench = Bench::new(settings(), [-2_000, 0]);
    bench.run_until(State::Centring, 200);
    bench.drives[PITCH].held_mdeg = Some(14_000);
    bench.run(ms(500));
    bench.drives[PITCH].shaft += 3 * CYCLE;
    bench.drives[PITCH].held_mdeg = None;
    bench.run(ms(9_900));
    assert_eq!(
        (bench.out.state, bench.out.faults.bits()),
        (State::Centring, 0)
    );
    bench.run(ms(2_000));
    assert!(bench.out.faults.has(Fault::StepsSlipped));
    assert_eq!(
        (bench.drives[PITCH].shaft, bench.out.state),
        (0, State::Holding)
    );
}

#[test]
fn a_drive_that_is_elsewhere_never_runs_the_stick_out_past_its_soft_limit() {
    let mut bench = Bench::holding();
    // A gear tooth: the shaft is 4 deg further aft than believed.
    bench.drives[PITCH].shaft += 213;
    bench.run(ms(10_500));
    assert!(bench.out.faults.has(Fault::PlaceDoubt));
    bench.switches.hat_aft = true;
    bench.run(ms(8000));
    let limit =
        bench.axis_settings(PITCH).soft_max_mdeg + bench.axis_settings(PITCH).place_band_mdeg;
    assert!(
        bench.drives[PITCH].stick_mdeg <= limit + 60,
        "{} of {limit}",
        bench.drives[PITCH].stick_mdeg
    );
    assert!(
        bench.out.axis[PITCH].drive_mdeg < 17_000,
        "stopped short of the believed limit"
    );
    // Back is free.
    bench.switches.hat_aft = false;
    bench.run(ms(200));
    bench.switches.hat_fore = true;
    bench.run(ms(2000));
    assert!(bench.drives[PITCH].stick_mdeg < 16_000);
}

#[test]
fn a_slip_in_one_axis_is_reported_until_that_axis_is_trimmed() {
    let mut bench = Bench::holding();
    bench.drives[PITCH].held_mdeg = Some(16_000);
    bench.run(ms(500));
    bench.drives[PITCH].shaft += CYCLE;
    bench.drives[PITCH].held_mdeg = None;
    bench.run(ms(11_000));
    assert!(bench.out.faults.has(Fault::StepsSlipped));
    bench.switches.hat_right = true;
    bench.run(ms(100));
    bench.switches.hat_right = false;
    bench.run(ms(500));
    assert!(bench.out.faults.has(Fault::StepsSlipped));
    bench.switches.hat_fore = true;
    bench.run(ms(100));
    assert!(!bench.out.faults.has(Fault::StepsSlipped));
}

#[test]
fn stuck_switches_are_reported() {
    let mut bench = Bench::holding();
    bench.switches.hat_left = true;
    bench.run(ms(20_100));
    assert!(bench.out.faults.has(Fault::HatStuck));
    assert_eq!(bench.out.state, State::Holding);
    bench.switches.hat_left = false;
    bench.switches.release = true;
    bench.run(ms(60_100));
    assert!(bench.out.faults.has(Fault::ReleaseStuck) && !bench.out.faults.has(Fault::HatStuck));
    assert_eq!(bench.out.state, State::Released);
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
        let mut bench = Bench::holding();
        bench.switches.hat_aft = true;
        bench.run(ms(1000));
        for _ in 0..3 {
            // The bench compares place and driver's index in every tick.
            bench.supply_mv = supply_mv;
            bench.run(2);
            bench.supply_mv = 24_000;
            bench.run(1);
        }
        assert_eq!(bench.out.state, State::Nudging, "{supply_mv}");
        bench.supply_mv = supply_mv;
        bench.run(3);
        assert_eq!(bench.out.state, State::Limp, "{supply_mv}");
    }
}

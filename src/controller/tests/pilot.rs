//! Closed-loop checks: trim release, nudging, leaning, stops.

use super::fixture::ControllerFixture;
use trimproof_io::{Fault, PITCH, ROLL, State, Switches};

/// 20 degrees of the example rig, rounded inwards: 1066 microsteps of 18.75 mdeg.
const LIMIT_USTEPS: i32 = 1066;

fn ms(ms: u32) -> u32 {
    ms / 2
}

/// Presses the switches for a time, then lets them go and runs on.
fn press(fixture: &mut ControllerFixture, switches: Switches, press_ms: u32, after_ms: u32) {
    let free = fixture.switches;
    fixture.switches = Switches {
        force_trim: true,
        ..switches
    };
    fixture.run(ms(press_ms));
    fixture.switches = free;
    fixture.run(ms(after_ms));
}

fn aft() -> Switches {
    Switches {
        hat_aft: true,
        ..Switches::default()
    }
}

#[test]
fn release_is_limp_at_once_and_re_engages_at_the_stick() {
    for (target, sweep) in [(7_430, 40), (-3_210, 10), (19_900, 2000), (1, 1)] {
        let mut fixture = ControllerFixture::holding();
        fixture.switches.release = true;
        fixture.run(4);
        assert!(fixture.out.command.axis[PITCH].enable);
        fixture.step();
        assert_eq!(
            (
                fixture.out.telemetry.state,
                fixture.out.command.axis[PITCH].enable
            ),
            (State::Released, false)
        );
        for n in 1..=sweep {
            fixture.drives[PITCH].held_mdeg = Some(target * n / sweep);
            fixture.step();
        }
        fixture.run(ms(200));
        assert!((fixture.out.telemetry.axis[PITCH].reference_mdeg - target).abs() <= 15);
        fixture.switches.release = false;
        let ticks = fixture.run_until(State::Holding, 100);
        assert!((26..=27).contains(&ticks), "50 ms of open contact, {ticks}");
        // The catch is below half a full step: 150 mdeg at the stick.
        assert!(fixture.drives[PITCH].catch_usteps.abs() <= 8);
        fixture.drives[PITCH].held_mdeg = None;
        fixture.run(ms(2000));
        assert!((fixture.drives[PITCH].stick_mdeg - target).abs() <= 150);
        assert_eq!(fixture.out.telemetry.faults.bits(), 0);
    }
}

#[test]
fn release_of_a_moving_stick_catches_within_a_step() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.release = true;
    fixture.run(60);
    fixture.switches.release = false;
    let mut ticks = 0;
    // 60 deg/s all through the re-engagement.
    while fixture.out.telemetry.state != State::Holding {
        ticks += 1;
        fixture.drives[PITCH].held_mdeg = Some(-10_000 + 120 * ticks);
        fixture.step();
        assert!(ticks < 50);
    }
    assert!(
        fixture.drives[PITCH].catch_usteps.abs() <= 16,
        "{}",
        fixture.drives[PITCH].catch_usteps
    );
}

#[test]
fn a_stick_too_fast_to_follow_does_not_keep_the_drives_off() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.release = true;
    fixture.drives[PITCH].held_mdeg = Some(-27_000);
    fixture.run(100);
    fixture.switches.release = false;
    fixture.run(20);
    // 300 deg/s: half an electrical cycle a tick, three times what the driver's phase can follow.
    fixture.drives[PITCH].held_mdeg = Some(27_000);
    let ticks = fixture.run_until(State::Holding, 40);
    // 50 ms of open contact less the 20 ticks before, and 20 ms of waiting.
    assert!((14..=16).contains(&ticks), "{ticks}");
}

#[test]
fn release_beyond_the_soft_limit_clamps_the_reference_and_glides_in() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.release = true;
    fixture.drives[ROLL].held_mdeg = Some(-23_000);
    fixture.run(ms(300));
    assert_eq!(fixture.out.telemetry.axis[ROLL].reference_mdeg, -20_000);
    fixture.switches.release = false;
    fixture.drives[ROLL].held_mdeg = None;
    fixture.run_until(State::Holding, 100);
    assert_eq!(fixture.out.telemetry.axis[ROLL].reference_mdeg, -20_000);
    assert!((fixture.out.telemetry.axis[ROLL].drive_mdeg + 23_000).abs() <= 170);
    fixture.run(ms(1500));
    assert_eq!(
        (fixture.drives[ROLL].shaft, fixture.out.telemetry.state),
        (-LIMIT_USTEPS, State::Holding)
    );
}

#[test]
fn a_tap_moves_one_increment() {
    let mut fixture = ControllerFixture::holding();
    for (switches, pitch, roll) in [
        (aft(), 16, 0),
        (
            Switches {
                hat_fore: true,
                ..Switches::default()
            },
            0,
            0,
        ),
        (
            Switches {
                hat_fore: true,
                ..Switches::default()
            },
            -16,
            0,
        ),
        (
            Switches {
                hat_right: true,
                ..Switches::default()
            },
            -16,
            16,
        ),
        (
            Switches {
                hat_left: true,
                hat_aft: true,
                ..Switches::default()
            },
            0,
            0,
        ),
    ] {
        press(&mut fixture, switches, 100, 500);
        assert_eq!(
            [fixture.drives[PITCH].shaft, fixture.drives[ROLL].shaft],
            [pitch, roll]
        );
        assert_eq!(fixture.out.telemetry.state, State::Holding);
    }
}

#[test]
fn quick_taps_add_up() {
    let mut fixture = ControllerFixture::holding();
    for _ in 0..5 {
        press(&mut fixture, aft(), 20, 60);
    }
    fixture.run(ms(1500));
    assert_eq!(
        (fixture.drives[PITCH].shaft, fixture.out.telemetry.state),
        (80, State::Holding)
    );
}

#[test]
fn a_bouncing_tap_is_one_tap() {
    let mut fixture = ControllerFixture::holding();
    for closed in [true, false, true, false, false, true] {
        press(
            &mut fixture,
            Switches {
                hat_aft: closed,
                ..Switches::default()
            },
            2,
            0,
        );
    }
    press(&mut fixture, aft(), 60, 42);
    press(&mut fixture, aft(), 30, 1000);
    assert_eq!(fixture.drives[PITCH].shaft, 16);
}

#[test]
fn a_held_hat_runs_at_its_rate_and_stops_by_its_ramp() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.hat_aft = true;
    fixture.run(ms(1500));
    assert_eq!(fixture.out.telemetry.state, State::Nudging);
    let before = fixture.drives[PITCH].shaft;
    fixture.run(ms(1000));
    // 5 deg/s are 266.7 microsteps a second.
    assert!((266..=267).contains(&(fixture.drives[PITCH].shaft - before)));
    fixture.switches.hat_aft = false;
    fixture.run(24);
    let before = fixture.drives[PITCH].shaft;
    let mut most = before;
    while fixture.out.telemetry.state == State::Nudging {
        fixture.step();
        most = most.max(fixture.drives[PITCH].shaft);
    }
    // v^2 / 2a = 33.3 microsteps, and the ticks of the contact's last moment.
    assert!((33..=36).contains(&(most - before)), "{}", most - before);
    assert_eq!(fixture.drives[PITCH].shaft, most, "no overshoot");
    fixture.run(ms(1000));
    assert_eq!(fixture.drives[PITCH].shaft, most);
}

#[test]
fn both_axes_run_together_into_their_limits_and_not_past() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches = Switches {
        hat_fore: true,
        hat_right: true,
        ..fixture.switches
    };
    fixture.run(ms(6000));
    assert_eq!(
        [fixture.drives[PITCH].shaft, fixture.drives[ROLL].shaft],
        [-LIMIT_USTEPS, LIMIT_USTEPS]
    );
    assert_eq!(fixture.out.telemetry.axis[PITCH].reference_mdeg, -19_988);
    press(&mut fixture, Switches::default(), 300, 0);
    press(
        &mut fixture,
        Switches {
            hat_fore: true,
            ..Switches::default()
        },
        100,
        500,
    );
    assert_eq!(fixture.drives[PITCH].shaft, -LIMIT_USTEPS);
}

#[test]
fn opposite_hats_cancel() {
    let mut fixture = ControllerFixture::holding();
    let both = Switches {
        hat_aft: true,
        hat_fore: true,
        force_trim: true,
        ..Switches::default()
    };
    fixture.switches = both;
    fixture.run(ms(1000));
    assert_eq!(
        (fixture.drives[PITCH].shaft, fixture.out.telemetry.state),
        (0, State::Holding)
    );
    assert!(fixture.out.telemetry.faults.has(Fault::HatConflict));
    press(&mut fixture, Switches::default(), 100, 0);
    assert_eq!(fixture.drives[PITCH].shaft, 0);
    // A run is stopped by the opposite direction.
    fixture.switches = Switches {
        hat_aft: true,
        ..Switches {
            force_trim: true,
            ..Switches::default()
        }
    };
    fixture.run(ms(1500));
    fixture.switches = both;
    fixture.run(ms(1000));
    let stopped = fixture.drives[PITCH].shaft;
    fixture.run(ms(1000));
    assert_eq!(
        (
            fixture.drives[PITCH].shaft,
            fixture.out.command.axis[PITCH].step_rate
        ),
        (stopped, 0)
    );
}

#[test]
fn nudging_against_a_held_stick_keeps_torque_in_hand_and_goes_on_after() {
    let mut fixture = ControllerFixture::holding();
    fixture.drives[PITCH].held_mdeg = Some(0);
    fixture.switches.hat_aft = true;
    fixture.run(ms(4000));
    let waiting = fixture.out.telemetry.axis[PITCH].drive_mdeg;
    // 6 deg of deflection and the ramp's 0.625 deg, and the filter's delay.
    assert!((5_900..=6_800).contains(&waiting), "{waiting}");
    assert_eq!(fixture.out.command.axis[PITCH].step_rate, 0);
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run(ms(1000));
    assert!(fixture.out.telemetry.axis[PITCH].drive_mdeg > waiting + 3_000);
    // Towards the stick it moves even then.
    fixture.switches.hat_aft = false;
    fixture.run(ms(1000));
    fixture.drives[PITCH].held_mdeg = Some(0);
    fixture.switches.hat_fore = true;
    fixture.run(ms(1000));
    assert!(fixture.out.command.axis[PITCH].step_rate < 0);
}

#[test]
fn taps_against_the_largest_deflection_are_not_saved_up() {
    let mut fixture = ControllerFixture::holding();
    fixture.drives[PITCH].held_mdeg = Some(-6_500);
    fixture.run(ms(200));
    for _ in 0..10 {
        press(&mut fixture, aft(), 100, 100);
    }
    assert_eq!(fixture.drives[PITCH].shaft, 0);
    fixture.drives[PITCH].held_mdeg = None;
    fixture.run(ms(1000));
    assert_eq!(
        (fixture.drives[PITCH].shaft, fixture.out.telemetry.state),
        (0, State::Holding)
    );
}

#[test]
fn release_while_nudging_wins() {
    let mut fixture = ControllerFixture::holding();
    fixture.switches.hat_aft = true;
    fixture.run(ms(1500));
    fixture.switches.release = true;
    assert_eq!(fixture.run_until(State::Released, 10), 5);
    fixture.switches.release = false;
    fixture.run_until(State::Holding, 60);
    fixture.run(ms(1000));
    assert_eq!(
        fixture.out.telemetry.state,
        State::Holding,
        "the hat must open first"
    );
    fixture.switches.hat_aft = false;
    fixture.run(ms(100));
    fixture.switches.hat_aft = true;
    fixture.run_until(State::Nudging, 10);
}

#[test]
fn joystick_follows_the_stick_in_every_state() {
    let mut fixture = ControllerFixture::holding();
    fixture.drives[PITCH].held_mdeg = Some(12_500);
    fixture.drives[ROLL].held_mdeg = Some(-27_000);
    fixture.run(50);
    // 12.5 of 25 deg; the sensor resolves 15 mdeg, which is 20 of 32767.
    assert!((i32::from(fixture.out.command.axis[PITCH].joystick) - 16_383).abs() <= 25);
    assert_eq!(fixture.out.command.axis[ROLL].joystick, -32_767);
}

//! Closed-loop checks: trim release, nudging, leaning, stops.

use crate::bench::Bench;
use crate::{Fault, PITCH, ROLL, State, Switches};

/// 20 degrees of the example rig, rounded inwards: 1066 microsteps of 18.75 mdeg.
const LIMIT_USTEPS: i32 = 1066;

fn ms(ms: u32) -> u32 {
    ms / 2
}

/// Presses the switches for a time, then lets them go and runs on.
fn press(bench: &mut Bench, switches: Switches, press_ms: u32, after_ms: u32) {
    let free = bench.switches;
    bench.switches = Switches {
        force_trim: true,
        ..switches
    };
    bench.run(ms(press_ms));
    bench.switches = free;
    bench.run(ms(after_ms));
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
        let mut bench = Bench::holding();
        bench.switches.release = true;
        bench.run(4);
        assert!(bench.out.axis[PITCH].enable);
        bench.step();
        assert_eq!(
            (bench.out.state, bench.out.axis[PITCH].enable),
            (State::Released, false)
        );
        for n in 1..=sweep {
            bench.drives[PITCH].held_mdeg = Some(target * n / sweep);
            bench.step();
        }
        bench.run(ms(200));
        assert!((bench.out.axis[PITCH].reference_mdeg - target).abs() <= 15);
        bench.switches.release = false;
        let ticks = bench.run_until(State::Holding, 100);
        assert!((26..=27).contains(&ticks), "50 ms of open contact, {ticks}");
        // The catch is below half a full step: 150 mdeg at the stick.
        assert!(bench.drives[PITCH].catch_usteps.abs() <= 8);
        bench.drives[PITCH].held_mdeg = None;
        bench.run(ms(2000));
        assert!((bench.drives[PITCH].stick_mdeg - target).abs() <= 150);
        assert_eq!(bench.out.faults.bits(), 0);
    }
}

#[test]
fn release_of_a_moving_stick_catches_within_a_step() {
    let mut bench = Bench::holding();
    bench.switches.release = true;
    bench.run(60);
    bench.switches.release = false;
    let mut ticks = 0;
    // 60 deg/s all through the re-engagement.
    while bench.out.state != State::Holding {
        ticks += 1;
        bench.drives[PITCH].held_mdeg = Some(-10_000 + 120 * ticks);
        bench.step();
        assert!(ticks < 50);
    }
    assert!(
        bench.drives[PITCH].catch_usteps.abs() <= 16,
        "{}",
        bench.drives[PITCH].catch_usteps
    );
}

#[test]
fn a_stick_too_fast_to_follow_does_not_keep_the_drives_off() {
    let mut bench = Bench::holding();
    bench.switches.release = true;
    bench.drives[PITCH].held_mdeg = Some(-27_000);
    bench.run(100);
    bench.switches.release = false;
    bench.run(20);
    // 300 deg/s: half an electrical cycle a tick, three times what the driver's phase can follow.
    bench.drives[PITCH].held_mdeg = Some(27_000);
    let ticks = bench.run_until(State::Holding, 40);
    // 50 ms of open contact less the 20 ticks before, and 20 ms of waiting.
    assert!((14..=16).contains(&ticks), "{ticks}");
}

#[test]
fn release_beyond_the_soft_limit_clamps_the_reference_and_glides_in() {
    let mut bench = Bench::holding();
    bench.switches.release = true;
    bench.drives[ROLL].held_mdeg = Some(-23_000);
    bench.run(ms(300));
    assert_eq!(bench.out.axis[ROLL].reference_mdeg, -20_000);
    bench.switches.release = false;
    bench.drives[ROLL].held_mdeg = None;
    bench.run_until(State::Holding, 100);
    assert_eq!(bench.out.axis[ROLL].reference_mdeg, -20_000);
    assert!((bench.out.axis[ROLL].drive_mdeg + 23_000).abs() <= 170);
    bench.run(ms(1500));
    assert_eq!(
        (bench.drives[ROLL].shaft, bench.out.state),
        (-LIMIT_USTEPS, State::Holding)
    );
}

#[test]
fn a_tap_moves_one_increment() {
    let mut bench = Bench::holding();
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
        press(&mut bench, switches, 100, 500);
        assert_eq!(
            [bench.drives[PITCH].shaft, bench.drives[ROLL].shaft],
            [pitch, roll]
        );
        assert_eq!(bench.out.state, State::Holding);
    }
}

#[test]
fn quick_taps_add_up() {
    let mut bench = Bench::holding();
    for _ in 0..5 {
        press(&mut bench, aft(), 20, 60);
    }
    bench.run(ms(1500));
    assert_eq!(
        (bench.drives[PITCH].shaft, bench.out.state),
        (80, State::Holding)
    );
}

#[test]
fn a_bouncing_tap_is_one_tap() {
    let mut bench = Bench::holding();
    for closed in [true, false, true, false, false, true] {
        press(
            &mut bench,
            Switches {
                hat_aft: closed,
                ..Switches::default()
            },
            2,
            0,
        );
    }
    press(&mut bench, aft(), 60, 42);
    press(&mut bench, aft(), 30, 1000);
    assert_eq!(bench.drives[PITCH].shaft, 16);
}

#[test]
fn a_held_hat_runs_at_its_rate_and_stops_by_its_ramp() {
    let mut bench = Bench::holding();
    bench.switches.hat_aft = true;
    bench.run(ms(1500));
    assert_eq!(bench.out.state, State::Nudging);
    let before = bench.drives[PITCH].shaft;
    bench.run(ms(1000));
    // 5 deg/s are 266.7 microsteps a second.
    assert!((266..=267).contains(&(bench.drives[PITCH].shaft - before)));
    bench.switches.hat_aft = false;
    bench.run(24);
    let before = bench.drives[PITCH].shaft;
    let mut most = before;
    while bench.out.state == State::Nudging {
        bench.step();
        most = most.max(bench.drives[PITCH].shaft);
    }
    // v^2 / 2a = 33.3 microsteps, and the ticks of the contact's last moment.
    assert!((33..=36).contains(&(most - before)), "{}", most - before);
    assert_eq!(bench.drives[PITCH].shaft, most, "no overshoot");
    bench.run(ms(1000));
    assert_eq!(bench.drives[PITCH].shaft, most);
}

#[test]
fn both_axes_run_together_into_their_limits_and_not_past() {
    let mut bench = Bench::holding();
    bench.switches = Switches {
        hat_fore: true,
        hat_right: true,
        ..bench.switches
    };
    bench.run(ms(6000));
    assert_eq!(
        [bench.drives[PITCH].shaft, bench.drives[ROLL].shaft],
        [-LIMIT_USTEPS, LIMIT_USTEPS]
    );
    assert_eq!(bench.out.axis[PITCH].reference_mdeg, -19_988);
    press(&mut bench, Switches::default(), 300, 0);
    press(
        &mut bench,
        Switches {
            hat_fore: true,
            ..Switches::default()
        },
        100,
        500,
    );
    assert_eq!(bench.drives[PITCH].shaft, -LIMIT_USTEPS);
}

#[test]
fn opposite_hats_cancel() {
    let mut bench = Bench::holding();
    let both = Switches {
        hat_aft: true,
        hat_fore: true,
        force_trim: true,
        ..Switches::default()
    };
    bench.switches = both;
    bench.run(ms(1000));
    assert_eq!(
        (bench.drives[PITCH].shaft, bench.out.state),
        (0, State::Holding)
    );
    assert!(bench.out.faults.has(Fault::HatConflict));
    press(&mut bench, Switches::default(), 100, 0);
    assert_eq!(bench.drives[PITCH].shaft, 0);
    // A run is stopped by the opposite direction.
    bench.switches = Switches {
        hat_aft: true,
        ..Switches {
            force_trim: true,
            ..Switches::default()
        }
    };
    bench.run(ms(1500));
    bench.switches = both;
    bench.run(ms(1000));
    let stopped = bench.drives[PITCH].shaft;
    bench.run(ms(1000));
    assert_eq!(
        (bench.drives[PITCH].shaft, bench.out.axis[PITCH].step_rate),
        (stopped, 0)
    );
}

#[test]
fn nudging_against_a_held_stick_keeps_torque_in_hand_and_goes_on_after() {
    let mut bench = Bench::holding();
    bench.drives[PITCH].held_mdeg = Some(0);
    bench.switches.hat_aft = true;
    bench.run(ms(4000));
    let waiting = bench.out.axis[PITCH].drive_mdeg;
    // 6 deg of deflection and the ramp's 0.625 deg, and the filter's delay.
    assert!((5_900..=6_800).contains(&waiting), "{waiting}");
    assert_eq!(bench.out.axis[PITCH].step_rate, 0);
    bench.drives[PITCH].held_mdeg = None;
    bench.run(ms(1000));
    assert!(bench.out.axis[PITCH].drive_mdeg > waiting + 3_000);
    // Towards the stick it moves even then.
    bench.switches.hat_aft = false;
    bench.run(ms(1000));
    bench.drives[PITCH].held_mdeg = Some(0);
    bench.switches.hat_fore = true;
    bench.run(ms(1000));
    assert!(bench.out.axis[PITCH].step_rate < 0);
}

#[test]
fn taps_against_the_largest_deflection_are_not_saved_up() {
    let mut bench = Bench::holding();
    bench.drives[PITCH].held_mdeg = Some(-6_500);
    bench.run(ms(200));
    for _ in 0..10 {
        press(&mut bench, aft(), 100, 100);
    }
    assert_eq!(bench.drives[PITCH].shaft, 0);
    bench.drives[PITCH].held_mdeg = None;
    bench.run(ms(1000));
    assert_eq!(
        (bench.drives[PITCH].shaft, bench.out.state),
        (0, State::Holding)
    );
}

#[test]
fn release_while_nudging_wins() {
    let mut bench = Bench::holding();
    bench.switches.hat_aft = true;
    bench.run(ms(1500));
    bench.switches.release = true;
    assert_eq!(bench.run_until(State::Released, 10), 5);
    bench.switches.release = false;
    bench.run_until(State::Holding, 60);
    bench.run(ms(1000));
    assert_eq!(bench.out.state, State::Holding, "the hat must open first");
    bench.switches.hat_aft = false;
    bench.run(ms(100));
    bench.switches.hat_aft = true;
    bench.run_until(State::Nudging, 10);
}

#[test]
fn joystick_follows_the_stick_in_every_state() {
    let mut bench = Bench::holding();
    bench.drives[PITCH].held_mdeg = Some(12_500);
    bench.drives[ROLL].held_mdeg = Some(-27_000);
    bench.run(50);
    // 12.5 of 25 deg; the sensor resolves 15 mdeg, which is 20 of 32767.
    assert!((i32::from(bench.out.axis[PITCH].joystick) - 16_383).abs() <= 25);
    assert_eq!(bench.out.axis[ROLL].joystick, -32_767);
}

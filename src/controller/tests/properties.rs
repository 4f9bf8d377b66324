//! Properties: whatever the inputs and the settings, what must hold always does.

use super::fixture::ControllerFixture;
use crate::{AxisSettings, Controller, Settings};
use proptest::prelude::*;
use trimproof_io::{Inputs, State, Switches};

fn axis() -> impl Strategy<Value = AxisSettings> {
    let sensor = (
        any::<bool>(),
        1usize..=6,
        0u8..=6,
        10_000i32..5_000_000,
        2u16..50,
        0i32..1500,
    );
    let gear = (
        prop::sample::select(vec![1u16, 2, 4, 8, 16, 32, 256]),
        5u16..60,
        5u16..200,
        any::<u16>(),
    );
    let limits = (-28_000i32..-1000, 1000i32..28_000);
    let motion = (
        100i32..60_000,
        100i32..60_000,
        100i32..1_000_000,
        1i32..10_000,
    );
    let pilot = (
        100i32..10_000,
        1u16..1000,
        0i32..20_000,
        10i32..5_000,
        50u16..1000,
        50u16..2000,
    );
    (sensor, gear, limits, motion, pilot).prop_map(|(sensor, gear, limits, motion, pilot)| {
        AxisSettings {
            sensor_span_mdeg: if sensor.0 { 60_000 } else { -60_000 },
            filter_shift: sensor.2,
            sensor_rate_max_mdeg_per_s: sensor.3,
            sensor_bad_ms: sensor.4,
            sensor_stuck_travel_mdeg: if sensor.1 == 1 {
                0
            } else {
                sensor.5.min(pilot.0 - 1)
            },
            microsteps: gear.0,
            motor_teeth: gear.1,
            trim_teeth: gear.2,
            phase_zero_usteps: gear.3 % (4 * gear.0),
            soft_min_mdeg: limits.0,
            soft_max_mdeg: limits.1,
            glide_rate_mdeg_per_s: motion.0,
            nudge_rate_mdeg_per_s: motion.1,
            accel_mdeg_per_s2: motion.2,
            nudge_increment_mdeg: motion.3,
            hold_on_mdeg: pilot.0,
            hold_off_ms: pilot.1,
            deflection_max_mdeg: pilot.0 + pilot.2,
            slip_deflection_mdeg: pilot.0 + pilot.2 + 5_000,
            position_band_mdeg: pilot.3.min(pilot.0 + pilot.2 - 1),
            position_settle_ms: pilot.4,
            position_doubt_ms: pilot.5,
            ..AxisSettings::example()
        }
    })
}

fn settings() -> impl Strategy<Value = Settings> {
    let rates = prop::sample::select(vec![
        (500u16, 10_000u16),
        (1000, 20_000),
        (100, 1000),
        (2000, 50_000),
    ]);
    (
        rates,
        1u16..5,
        1u16..8,
        10u16..400,
        50u16..600,
        0u16..200,
        axis(),
        axis(),
    )
        .prop_filter_map(
            "out of range",
            |(
                rates,
                command_timeout_ticks,
                ticks_lost_max,
                supply_steady_ms,
                hat_hold_delay_ms,
                hat_conflict_ms,
                pitch,
                roll,
            )| {
                let settings = Settings {
                    tick_hz: rates.0,
                    generator_hz: rates.1,
                    command_timeout_ticks,
                    ticks_lost_max,
                    supply_steady_ms,
                    hat_hold_delay_ms,
                    hat_conflict_ms,
                    hat_stuck_ms: 1000,
                    release_stuck_ms: 1000,
                    pitch,
                    roll,
                    ..Settings::example()
                };
                settings.check().ok().map(|()| settings)
            },
        )
}

fn switches() -> impl Strategy<Value = Switches> {
    let often = |share| prop::bool::weighted(share);
    (
        often(0.15),
        often(0.25),
        often(0.25),
        often(0.25),
        often(0.25),
        often(0.9),
    )
        .prop_map(
            |(release, hat_fore, hat_aft, hat_left, hat_right, force_trim)| Switches {
                release,
                hat_fore,
                hat_aft,
                hat_left,
                hat_right,
                force_trim,
            },
        )
}

/// A stretch of a flight: how long, and what happens in it.
#[derive(Clone, Debug)]
struct Stretch {
    ticks: u32,
    switches: Switches,
    supply_mv: u16,
    held_mdeg: [Option<i32>; 2],
    /// Microsteps that the shafts slip by.
    slip: [i32; 2],
    counts: [Option<u16>; 2],
    /// Ticks lost in it.
    lost: u32,
    lossy: bool,
}

fn stretch() -> impl Strategy<Value = Stretch> {
    let held = || prop_oneof![2 => Just(None), 1 => (-28_000i32..28_000).prop_map(Some)];
    let slip = || prop_oneof![6 => Just(0), 1 => -300i32..300];
    let counts = || prop_oneof![12 => Just(None), 1 => any::<u16>().prop_map(Some)];
    let supply = prop_oneof![8 => Just(24_000u16), 1 => any::<u16>()];
    let lost = prop_oneof![8 => Just(0u32), 1 => 0u32..10];
    let parts = (
        1u32..400,
        switches(),
        supply,
        [held(), held()],
        [slip(), slip()],
        [counts(), counts()],
        lost,
    );
    (parts, prop::bool::weighted(0.2)).prop_map(
        |((ticks, switches, supply_mv, held_mdeg, slip, counts, lost), lossy)| Stretch {
            ticks,
            switches,
            supply_mv,
            held_mdeg,
            slip,
            counts,
            lost,
            lossy,
        },
    )
}

/// One tick, and so many lost after it; the fixture runs its generators on for as long.
fn lose(fixture: &mut ControllerFixture, ticks: u32) {
    fixture.next_gap = 1 + ticks;
    fixture.step();
}

fn fly(fixture: &mut ControllerFixture, flight: &[Stretch]) {
    for part in flight {
        fixture.switches = part.switches;
        fixture.supply_mv = part.supply_mv;
        for (drive, (held, (slip, counts))) in fixture.drives.iter_mut().zip(
            part.held_mdeg
                .into_iter()
                .zip(part.slip.into_iter().zip(part.counts)),
        ) {
            drive.held_mdeg = held;
            drive.shaft += slip;
            drive.counts = counts;
        }
        lose(fixture, part.lost);
        for n in 0..part.ticks {
            if part.lossy && n % 7 == 3 {
                lose(fixture, n % 3);
            } else {
                fixture.step();
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 192, ..ProptestConfig::default() })]

    /// The fixture asserts the invariants in every tick.
    #[test]
    fn any_flight_keeps_the_invariants(settings in settings(), flight in prop::collection::vec(stretch(), 1..16)) {
        let mut fixture = ControllerFixture::new(settings, [0, 0]);
        fixture.run(u32::from(settings.tick_hz));
        fly(&mut fixture, &flight);
    }

    /// Flights with the example's settings reach deeper.
    #[test]
    fn long_flights_keep_the_invariants(flight in prop::collection::vec(stretch(), 1..40)) {
        let mut fixture = ControllerFixture::new(super::fixture::settings(), [5_000, -12_000]);
        fly(&mut fixture, &flight);
    }

    /// However a flight went, with supply, sensors, stick and switches in order it ends holding.
    #[test]
    fn every_flight_ends_holding_once_all_is_well(flight in prop::collection::vec(stretch(), 1..12)) {
        let mut fixture = ControllerFixture::new(super::fixture::settings(), [0, 0]);
        fly(&mut fixture, &flight);
        let calm = Stretch {
            ticks: 200,
            switches: Switches::default(),
            supply_mv: 24_000,
            held_mdeg: [Some(0); 2],
            slip: [0; 2],
            counts: [None; 2],
            lost: 0,
            lossy: false,
        };
        let on = Switches { force_trim: true, ..Switches::default() };
        let end = [calm.clone(), Stretch { switches: on, held_mdeg: [None; 2], ticks: 3000, ..calm }];
        fly(&mut fixture, &end);
        prop_assert_eq!(fixture.out.telemetry.state, State::Holding);
    }

    /// No input at all makes it overflow, panic or switch on without supply.
    #[test]
    fn any_inputs_are_survived(
        settings in settings(),
        inputs in prop::collection::vec((any::<u32>(), 0u32..4, any::<[u16; 2]>(), switches(), any::<u16>()), 1..400),
    ) {
        let mut controller = Controller::new(settings).unwrap();
        let (mut tick, mut lows) = (0u32, 0u32);
        for (wild, step, sensor_counts, switches, supply_mv) in inputs {
            tick = if wild % 50 == 0 { wild } else { tick.wrapping_add(step) };
            let out = controller.tick(&Inputs { tick, sensor_counts, switches, supply_mv });
            let low = supply_mv < settings.supply_min_mv;
            let on = matches!(out.telemetry.state, State::Centring | State::Holding | State::Nudging);
            prop_assert!(out.command.axis.iter().all(|axis| axis.enable == on));
            prop_assert!(!(on && low && lows >= 2));
            prop_assert!(!(on && supply_mv < settings.supply_lost_mv));
            for (axis, limits) in out.telemetry.axis.iter().zip([settings.pitch, settings.roll]) {
                prop_assert!((limits.soft_min_mdeg..=limits.soft_max_mdeg).contains(&axis.reference_mdeg));
            }
            lows = if low { lows + 1 } else { 0 };
        }
    }

    /// Settings of any value are refused or work; checking them never panics.
    #[test]
    fn any_settings_are_refused_or_work(
        base in settings(), numbers in any::<[i32; 13]>(), shorts in any::<[u16; 14]>(), field in 0usize..27,
        inputs in prop::collection::vec(any::<[u16; 2]>(), 1..20),
    ) {
        let mut settings = base;
        let roll = &mut settings.roll;
        let whole: [&mut i32; 13] = [
            &mut roll.sensor_span_mdeg, &mut roll.sensor_rate_max_mdeg_per_s, &mut roll.soft_min_mdeg,
            &mut roll.soft_max_mdeg, &mut roll.glide_rate_mdeg_per_s, &mut roll.nudge_rate_mdeg_per_s,
            &mut roll.accel_mdeg_per_s2, &mut roll.nudge_increment_mdeg, &mut roll.hold_on_mdeg,
            &mut roll.deflection_max_mdeg, &mut roll.position_band_mdeg, &mut roll.joystick_full_mdeg,
            &mut roll.slip_deflection_mdeg,
        ];
        for (n, (to, value)) in whole.into_iter().zip(numbers).enumerate() {
            if n == field {
                *to = value;
            }
        }
        let short: [&mut u16; 14] = [
            &mut roll.sensor_zero_counts, &mut roll.sensor_span_counts, &mut roll.sensor_min_counts,
            &mut roll.sensor_max_counts, &mut roll.full_steps_per_rev, &mut roll.microsteps, &mut roll.motor_teeth,
            &mut roll.trim_teeth, &mut roll.phase_zero_usteps, &mut settings.tick_hz, &mut settings.generator_hz,
            &mut settings.command_timeout_ticks, &mut settings.supply_min_mv, &mut settings.supply_lost_mv,
        ];
        for (n, (to, value)) in short.into_iter().zip(shorts).enumerate() {
            if n + 13 == field {
                *to = value;
            }
        }
        match Controller::new(settings) {
            Err(error) => prop_assert!(error.to_string().contains(error.path())),
            Ok(mut controller) => {
                for (tick, sensor_counts) in inputs.into_iter().enumerate() {
                    let switches = Switches { force_trim: true, ..Switches::default() };
                    controller.tick(&Inputs { tick: tick as u32, sensor_counts, switches, supply_mv: 60_000 });
                }
            }
        }
    }
}

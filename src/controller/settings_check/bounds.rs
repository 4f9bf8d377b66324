//! Ranges that follow from other fields, on both sides of their bounds.

use super::tests::refused;
use crate::settings::Settings;

/// A field that has one range for itself: both ends belong to it, and an error knows its path.
#[test]
fn an_error_knows_the_path_of_its_field() {
    let path = |change: &dyn Fn(&mut Settings)| {
        let mut settings = Settings::example();
        change(&mut settings);
        settings.check().err().map(|error| error.path())
    };
    assert_eq!(path(&|s| s.command_timeout_ticks = 1), None);
    assert_eq!(path(&|s| s.command_timeout_ticks = 50), None);
    assert_eq!(
        path(&|s| s.command_timeout_ticks = 0),
        Some("command_timeout_ticks")
    );
    assert_eq!(
        path(&|s| s.command_timeout_ticks = 51),
        Some("command_timeout_ticks")
    );
    assert_eq!(path(&|s| s.generator_hz = 10_100), Some("generator_hz"));
    let field = Some("pitch.position_settle_ms");
    assert_eq!(path(&|s| s.pitch.position_settle_ms = 49), field);
    let field = Some("roll.position_settle_ms");
    assert_eq!(path(&|s| s.roll.position_settle_ms = 49), field);
}

/// A range that another field bounds: the last value inside it, and the message for the next one.
#[test]
fn a_range_that_follows_from_another_field_is_sharp() {
    type Set = fn(&mut Settings, i32);
    let cases: [(Set, i32, i32, &str); 15] = [
        (
            |s, v| s.supply_lost_mv = v as u16,
            20_000,
            20_001,
            "`supply_lost_mv` is `20001`, must be `500` to `20000`",
        ),
        (
            |s, v| {
                s.debounce_press_ms = 20;
                s.supply_steady_ms = v as u16;
            },
            21,
            20,
            "`supply_steady_ms` is `20`, must be `21` to `10000`",
        ),
        (
            |s, v| s.supply_steady_ms = v as u16,
            10,
            9,
            "`supply_steady_ms` is `9`, must be `10` to `10000`",
        ),
        (
            |s, v| s.roll.deflection_max_mdeg = v,
            1_500,
            1_499,
            "`roll.deflection_max_mdeg` is `1499`, must be `1500` to `60000`",
        ),
        (
            |s, v| s.roll.sensor_stuck_travel_mdeg = v,
            1_499,
            1_500,
            "`roll.sensor_stuck_travel_mdeg` is `1500`, must be `0` to `1499`",
        ),
        (
            |s, v| s.pitch.slip_deflection_mdeg = v,
            6_000,
            5_999,
            "`pitch.slip_deflection_mdeg` is `5999`, must be `6000` to `180000`",
        ),
        (
            |s, v| s.pitch.position_band_mdeg = v,
            5_999,
            6_000,
            "`pitch.position_band_mdeg` is `6000`, must be `10` to `5999`",
        ),
        (
            |s, v| s.pitch.phase_zero_usteps = v as u16,
            63,
            64,
            "`pitch.phase_zero_usteps` is `64`, must be `0` to `63`",
        ),
        // The lower end of the readings must leave zero between both ends.
        (
            |s, v| s.pitch.sensor_min_counts = v as u16,
            600,
            2_049,
            "`pitch.sensor_min_counts` is `2049`, must be `0` to `2048`",
        ),
        // 100 counts of 2048 below zero: 1948 · 60000/4095 = 28542 mdeg.
        (
            |s, v| s.pitch.soft_min_mdeg = v,
            -28_542,
            -28_543,
            "`pitch.soft_min_mdeg` is `-28543`, must be `-28542` to `-1000`",
        ),
        // 3995 counts are 1947 above zero: 28527 mdeg.
        (
            |s, v| s.pitch.soft_max_mdeg = v,
            28_527,
            28_528,
            "`pitch.soft_max_mdeg` is `28528`, must be `1000` to `28527`",
        ),
        // Turned round, the two ends change positions.
        (
            |s, v| {
                s.roll.sensor_span_mdeg = -60_000;
                s.roll.soft_min_mdeg = v;
            },
            -28_527,
            -28_528,
            "`roll.soft_min_mdeg` is `-28528`, must be `-28527` to `-1000`",
        ),
        // A microstep is 18.75 mdeg; 5000 of them a second less a hair.
        (
            |s, v| s.roll.nudge_rate_mdeg_per_s = v,
            8_000,
            93_750,
            "`roll.nudge_rate_mdeg_per_s` is `93750`, must be `100` to `93749`",
        ),
        // 8 deg/s in 18000 ticks of 2 ms: 222 mdeg/s².
        (
            |s, v| s.pitch.accel_mdeg_per_s2 = v,
            222,
            221,
            "`pitch.accel_mdeg_per_s2` is `221`, must be `222` to `5000000`",
        ),
        (
            |s, v| s.pitch.nudge_increment_mdeg = v,
            19,
            18,
            "`pitch.nudge_increment_mdeg` is `18`, must be `19` to `10000`",
        ),
    ];
    for (set, inside, outside, message) in cases {
        assert_eq!(refused(|s| set(s, inside)), "accepted", "{message}");
        assert_eq!(refused(|s| set(s, outside)), message);
    }
}

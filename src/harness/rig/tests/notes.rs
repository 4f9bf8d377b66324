//! Notes on a rig at their bounds, and the range that every number has.

use super::{KITTIWAKE, RigFile};

/// Every note on both sides of its bound, with its numbers; kittiwake's pitch, by hand:
///
/// - index 20 stands for 45° + 20 · 90°/16 = 157.5°, half a microstep is 2.8125°;
/// - the sensor's errors at 18.5° and −18.5° are 0.0934° and −0.0788°, a count is 60°/4095, half
///   the band is 0.175°;
/// - the sensor reads 700 and 3443 at the stops;
/// - the cartridge asks 0.78 + 10.6 · 19.85° = 4.452 N·m at a stop; the drive holds
///   1.26/(√2 · 2.8) · 6 · 0.97 = 1.85191 N·m/A: 1.5 times as much at 3.606 A;
/// - √2 · 2.8 A is 3.960 A;
/// - the weight's torque at 18.5° is 9.80665 · (0.35 · 0.002 + 1.23 · 0.006) sin 18.5° = 0.02514
///   N·m, with the lean of 9.80665 · 1.23 · 0.0005 = 0.00603 it is 0.03117 N·m; 1.5 times the first
///   and 0.05 make 0.08771 N·m;
/// - hung 6 mm below the pivot it is −0.02079 N·m: 0.08118 N·m;
/// - the drive drags with 6 (detent + 0.003) + 0.03 N·m, half the breakout is 0.39 N·m;
/// - backlash is 30 µm/36 mm = 0.04775°; a full step is 0.3°;
/// - at 14° the cartridge asks 0.78 + 10.6 · 13.85° = 3.342 N·m.
#[test]
fn a_note_comes_at_its_bound() {
    let advice = |changes: &[(&str, &str)]| {
        let mut text = KITTIWAKE.to_owned();
        for (old, new) in changes {
            assert!(text.contains(old), "{old}");
            text = text.replacen(old, new, 1);
        }
        RigFile::parse(&text)
            .unwrap_or_else(|error| panic!("{changes:?}: {}", error.message))
            .advice()
    };
    type Changes<'a> = &'a [(&'a str, &'a str)];
    let cases: [(Changes<'_>, Changes<'_>, &str); 22] = [
        (
            &[],
            &[("full_steps_per_rev = 200", "full_steps_per_rev = 400")],
            "the controller's `full_steps_per_rev` is `400`, the rig's is `200`",
        ),
        (
            &[("zero_deg = 159.0", "zero_deg = 160.3")],
            &[("zero_deg = 159.0", "zero_deg = 160.4")],
            "the controller's `phase_zero_usteps` stands for `157.50` electrical degrees, the motor's `zero_deg` is `160.4`",
        ),
        (
            &[("zero_deg = 159.0", "zero_deg = 154.7")],
            &[("zero_deg = 159.0", "zero_deg = 154.6")],
            "the controller's `phase_zero_usteps` stands for `157.50` electrical degrees, the motor's `zero_deg` is `154.6`",
        ),
        (
            // 45° + 63 · 5.625° is a turn and 39.375°.
            &[
                ("zero_deg = 159.0", "zero_deg = 39.0"),
                ("phase_zero_usteps = 20", "phase_zero_usteps = 63"),
            ],
            &[
                ("zero_deg = 159.0", "zero_deg = 219.0"),
                ("phase_zero_usteps = 20", "phase_zero_usteps = 63"),
            ],
            "the controller's `phase_zero_usteps` stands for `399.38` electrical degrees, the motor's `zero_deg` is `219`",
        ),
        (
            &[("zero_counts = 2071", "zero_counts = 2066")],
            &[("zero_counts = 2071", "zero_counts = 2065")],
            "the controller takes a stick at `18.5` degrees to be off by `0.181` degrees, more than half the position band",
        ),
        (
            &[("zero_counts = 2071", "zero_counts = 2077")],
            &[("zero_counts = 2071", "zero_counts = 2078")],
            "the controller takes a stick at `-18.5` degrees to be off by `-0.181` degrees, more than half the position band",
        ),
        (
            &[("min_deg = -20.0", "min_deg = -18.6")],
            &[("min_deg = -20.0", "min_deg = -18.5")],
            "the soft limits `-18.5` to `18.5` degrees are not inside the stops `-18.5` to `20`",
        ),
        (
            &[("max_deg = 20.0", "max_deg = 18.6")],
            &[("max_deg = 20.0", "max_deg = 18.5")],
            "the soft limits `-18.5` to `18.5` degrees are not inside the stops `-20` to `18.5`",
        ),
        (
            &[("sensor_min_counts = 200", "sensor_min_counts = 700")],
            &[("sensor_min_counts = 200", "sensor_min_counts = 701")],
            "the sensor reads `700` at the stop `-20` degrees, outside the valid readings",
        ),
        (
            &[("sensor_max_counts = 3900", "sensor_max_counts = 3443")],
            &[("sensor_max_counts = 3900", "sensor_max_counts = 3442")],
            "the sensor reads `3443` at the stop `20` degrees, outside the valid readings",
        ),
        (
            &[("undervoltage_v = 10.0", "undervoltage_v = 11.9")],
            &[("undervoltage_v = 10.0", "undervoltage_v = 12.0")],
            "the controller takes the position for lost below `12` V, the driver forgets it already at `12` V",
        ),
        (
            &[("hold_a = 3.65", "hold_a = 3.61")],
            &[("hold_a = 3.65", "hold_a = 3.60")],
            "at holding current the drive holds `6.67` N·m, the cartridge at a stop asks `4.45`; a factor of 1.5 is wanted",
        ),
        (
            &[("run_a = 3.75\nhold_a = 3.65", "run_a = 3.61\nhold_a = 3.61")],
            &[("run_a = 3.75\nhold_a = 3.65", "run_a = 3.60\nhold_a = 3.60")],
            "at running current the drive holds `6.67` N·m, the cartridge at a stop asks `4.45`; a factor of 1.5 is wanted",
        ),
        (
            // The farther stop counts, whichever it is.
            &[
                ("hold_a = 3.65", "hold_a = 3.61"),
                ("max_deg = 20.0", "max_deg = 19.0"),
            ],
            &[
                ("hold_a = 3.65", "hold_a = 3.60"),
                ("max_deg = 20.0", "max_deg = 19.0"),
            ],
            "at holding current the drive holds `6.67` N·m, the cartridge at a stop asks `4.45`; a factor of 1.5 is wanted",
        ),
        (
            &[("run_a = 3.75", "run_a = 3.95")],
            &[("run_a = 3.75", "run_a = 3.97")],
            "running current `3.97` A peak is above √2 times the rated `2.8` A",
        ),
        (
            &[("breakout_n_m = 0.78", "breakout_n_m = 0.088")],
            &[("breakout_n_m = 0.78", "breakout_n_m = 0.087")],
            "the breakout `0.087` N·m is below `0.088`, 1.5 times the weight's torque at a soft limit plus friction: hands off, the stick may sag",
        ),
        (
            &[
                ("5, 0.0, -0.006]", "5, 0.0, 0.006]"),
                ("breakout_n_m = 0.78", "breakout_n_m = 0.082"),
            ],
            &[
                ("5, 0.0, -0.006]", "5, 0.0, 0.006]"),
                ("breakout_n_m = 0.78", "breakout_n_m = 0.080"),
            ],
            "the breakout `0.080` N·m is below `0.081`, 1.5 times the weight's torque at a soft limit plus friction: hands off, the stick may sag",
        ),
        (
            &[("coulomb_n_m = 0.05", "coulomb_n_m = 0.0312")],
            &[("coulomb_n_m = 0.05", "coulomb_n_m = 0.0311")],
            "the weight's torque at a soft limit, `0.031` N·m with the lean, is above the pivot's sliding friction `0.0311`: let go limp there, the stick may creep away",
        ),
        (
            &[("detent_n_m = 0.04", "detent_n_m = 0.0565")],
            &[("detent_n_m = 0.04", "detent_n_m = 0.0575")],
            "the unpowered drive drags with `0.393` N·m, more than half the breakout `0.780`",
        ),
        (
            &[("free_play_deg = 0.15", "free_play_deg = 0.252")],
            &[("free_play_deg = 0.15", "free_play_deg = 0.255")],
            "free play and backlash, `0.303` degrees, are more than one full step, `0.300` degrees",
        ),
        (
            &[("nudge_increment_mdeg = 450", "nudge_increment_mdeg = 396")],
            &[("nudge_increment_mdeg = 450", "nudge_increment_mdeg = 395")],
            "`nudge_increment_mdeg` is `0.395` degrees, free play and backlash there and back are `0.395`: a tap back moves nothing",
        ),
        (
            &[
                ("deflection_max_mdeg = 6000", "deflection_max_mdeg = 14000"),
                ("run_a = 3.75\nhold_a = 3.65", "run_a = 1.81\nhold_a = 1.81"),
            ],
            &[
                ("deflection_max_mdeg = 6000", "deflection_max_mdeg = 14000"),
                ("run_a = 3.75\nhold_a = 3.65", "run_a = 1.80\nhold_a = 1.80"),
            ],
            "`deflection_max_mdeg` allows `3.34` N·m on a drive that holds `3.33`",
        ),
    ];
    for (within, beyond, note) in cases {
        let found = advice(beyond);
        let note = format!("pitch: {note}");
        assert!(found.contains(&note), "{note}\nis not in {found:#?}");
        // Its words up to the first number.
        let words = note.split_inclusive('`').take(2).collect::<String>();
        let words = if note.contains("current the drive holds") {
            note.split('`').next().unwrap_or_default()
        } else {
            words.as_str()
        };
        let quiet = advice(within);
        assert!(
            !quiet.iter().any(|found| found.starts_with(words)),
            "{words} of {quiet:#?}"
        );
    }
}

#[test]
fn misfits_of_controller_and_parts_are_advised() {
    let advice = |old: &str, new: &str| {
        assert!(KITTIWAKE.contains(old));
        RigFile::parse(&KITTIWAKE.replacen(old, new, 1))
            .expect("valid, if unwise")
            .advice()
            .join("\n")
    };
    for (old, new, word) in [
        (
            "microsteps = 16\nrun_a",
            "microsteps = 32\nrun_a",
            "`microsteps`",
        ),
        ("trim_teeth = 90", "trim_teeth = 91", "`trim_teeth`"),
        (
            "zero_deg = 159.0",
            "zero_deg = 165.0",
            "`phase_zero_usteps`",
        ),
        ("offset_deg = 0.35", "offset_deg = -0.35", "position band"),
        ("min_deg = -20.0", "min_deg = -18.5", "soft limits"),
        (
            "undervoltage_v = 10.0",
            "undervoltage_v = 22.0",
            "forgets it already",
        ),
        ("hold_a = 3.65", "hold_a = 2.0", "holding current"),
        ("run_a = 3.75", "run_a = 4.6", "rated"),
        ("5, 0.0, -0.006]", "5, 0.0, -0.165]", "sag"),
        ("5, 0.0, -0.006]", "5, 0.0, -0.05]", "creep away"),
        (
            "nudge_increment_mdeg = 450",
            "nudge_increment_mdeg = 375",
            "moves nothing",
        ),
        ("detent_n_m = 0.04", "detent_n_m = 0.09", "drags"),
        (
            "free_play_deg = 0.15",
            "free_play_deg = 0.35",
            "one full step",
        ),
        (
            "sensor_max_counts = 3900",
            "sensor_max_counts = 3400",
            "outside the valid readings",
        ),
    ] {
        assert!(
            advice(old, new).contains(word),
            "{new}: {}",
            advice(old, new)
        );
    }
}

//! `[controller]`: with it, without it, and against the board's clocks.

use super::*;

fn message(old: &str, new: &str) -> String {
    assert!(KITTIWAKE.contains(old), "`{old}` is not in the rig");
    let text = KITTIWAKE.replacen(old, new, 1);
    match RigFile::parse(&text) {
        Ok(_) => "accepted".to_owned(),
        Err(error) => {
            let span = error.span.expect("the error has a place");
            format!("{} ({})", error.message, &text[span])
        }
    }
}

/// A rig's mechanics without `[controller]` are whole: same parts, same constants but those of
/// settings.
#[test]
fn a_rig_needs_no_settings() {
    let bare = KITTIWAKE.split("[controller]").next().unwrap_or_default();
    let without = RigFile::parse(bare).expect("its mechanics are whole");
    let with = RigFile::parse(KITTIWAKE).expect("it is shipped");
    assert_eq!(without.controller, None);
    assert_eq!(without.axis_settings(0), None);
    assert_eq!(without.rig, with.rig);
    assert_eq!(without.constants(), with.rig.constants());
    assert!(with.constants().len() > without.constants().len() + 40);
    assert_eq!(without.advice(), Vec::<String>::new());
}

/// Constants that follow from settings, each from the numbers of the skewed rig; times are whole
/// ticks of 2.5 ms.
#[test]
fn constants_follow_from_the_settings() {
    let text = include_str!("../../../../tests/data/skewed_rig.toml");
    let rig = RigFile::parse(text).expect("the skewed rig is valid");
    let found: std::collections::BTreeMap<String, f64> = rig.constants().into_iter().collect();
    for (name, value) in [
        // 9 ms are 3.6 ticks: four.
        ("debounce_press_s", 0.010),
        ("debounce_let_go_s", 0.055),
        ("supply_min_v", 20.5),
        ("supply_lost_v", 12.5),
        ("pitch.soft_min_deg", -19.0),
        ("pitch.soft_max_deg", 17.5),
        ("pitch.nudge_rate_deg_per_s", 5.5),
        ("pitch.nudge_increment_deg", 0.46),
        ("pitch.glide_rate_deg_per_s", 9.5),
        ("pitch.accel_deg_per_s2", 29.0),
        ("roll.soft_min_deg", -15.5),
        ("roll.soft_max_deg", 16.0),
        ("roll.nudge_rate_deg_per_s", 4.5),
        ("roll.nudge_increment_deg", 0.43),
        ("roll.glide_rate_deg_per_s", 8.5),
        ("roll.accel_deg_per_s2", 27.0),
    ] {
        let found = found[&format!("rig.{name}")];
        assert!((found - value).abs() < 1e-12, "{name}: {found}");
    }
}

#[test]
fn the_boards_clocks_are_the_controllers() {
    let settings = RigFile::parse(SANDERLING)
        .expect("it is shipped")
        .controller;
    let settings = settings.expect("it has settings");
    assert_eq!(
        (
            settings.tick_hz,
            settings.generator_hz,
            settings.command_timeout_ticks
        ),
        (400, 12_000, 3)
    );
    for (given, expected) in [
        ("tick_hz = 500", "accepted"),
        (
            "tick_hz = 400",
            "`controller.tick_hz` is `400`, the board's is `500` (400)",
        ),
        (
            "generator_hz = 20000",
            "`controller.generator_hz` is `20000`, the board's is `10000` (20000)",
        ),
        (
            "command_timeout_ticks = 3",
            "`controller.command_timeout_ticks` is `3`, the board's is `2` (3)",
        ),
    ] {
        let found = message("[controller]\n", &format!("[controller]\n{given}\n"));
        assert_eq!(found, expected);
    }
}

#[test]
fn bad_settings_are_refused_in_their_place() {
    assert_eq!(
        message("soft_min_mdeg = -18500", "soft_min_mdeg = 18500"),
        "`controller.pitch.soft_min_mdeg` is `18500`, must be `-90000` to `-1000` (18500)"
    );
    let unknown = message("supply_min_mv", "supply_min_volts");
    assert!(unknown.contains("supply_min_volts"), "{unknown}");
}

#[test]
fn the_schema_has_the_settings() {
    let schema = schema();
    assert_eq!(
        schema.pointer("/properties/controller/$ref"),
        Some(&"#/$defs/Settings".into())
    );
    assert!(schema.pointer("/$defs/AxisSettings/properties").is_some());
    let required = schema["required"].as_array().expect("keys are required");
    assert!(!required.contains(&"controller".into()));
}

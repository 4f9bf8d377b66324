//! Bad rig files: every message is a reviewed snapshot.

use proptest::prelude::*;

use super::*;

/// The error of a rig text with `old` replaced by `new`, with the line and the text that it points
/// at.
fn report(text: &str, old: &str, new: &str) -> String {
    assert!(text.contains(old), "`{old}` is not in the rig");
    let text = text.replacen(old, new, 1);
    let error = Rig::parse(&text).expect_err("the rig should be refused");
    let place = match error.span {
        Some(span) => {
            let line = text[..span.start].matches('\n').count();
            let changed = text.lines().nth(line).unwrap_or_default();
            format!("points at: `{}` in line `{changed}`", &text[span])
        }
        None => "points at: nothing".to_owned(),
    };
    format!(
        "{}\nhelp: {}\n{place}\n",
        error.message,
        error.help.unwrap_or_else(|| "none".to_owned())
    )
}

fn check(name: &str, text: &str, old: &str, new: &str) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../../../../snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.set_description(format!("a rig file with `{old}` replaced by `{new}`"));
    settings.bind(|| insta::assert_snapshot!(format!("rig__{name}"), report(text, old, new)));
}

#[test]
fn misspelt_keys() {
    check(
        "unknown_key",
        KITTIWAKE,
        "stiction_n_m = 0.065",
        "stictoin_n_m = 0.065",
    );
    check(
        "unknown_key_in_cartridge",
        KITTIWAKE,
        "breakout_n_m = 0.78",
        "breakout = 0.78",
    );
    check("unknown_table", KITTIWAKE, "[hand]", "[hands]");
    check(
        "unknown_shape",
        BITTERN,
        "kind = \"capsule\"",
        "kind = \"pill\"",
    );
    check(
        "missing_table",
        KITTIWAKE,
        "[supply]\nvolts = 24.0\nsource_ohm = 0.12\nbulk_f = 2.2e-3\n",
        "",
    );
    check(
        "unknown_feel",
        KITTIWAKE,
        "kind = \"breakout\"",
        "kind = \"break_out\"",
    );
    check(
        "unknown_feel_key",
        KITTIWAKE,
        "within_deg = 0.5",
        "within = 0.5",
    );
    check(
        "feel_ripple_of_a_held_stick",
        KITTIWAKE,
        "kind = \"ripple\"\ncondition = \"released\"",
        "kind = \"ripple\"\ncondition = \"held\"",
    );
    check("misplaced_table", KITTIWAKE, "[roll.motor]", "[roll.motr]");
    check("missing_key", KITTIWAKE, "bits = 12\n", "");
}

#[test]
fn wrong_numbers() {
    check(
        "negative_mass",
        KITTIWAKE,
        "inner_mass_kg = 1.23",
        "inner_mass_kg = -1.23",
    );
    check("nan", KITTIWAKE, "holding_n_m = 1.26", "holding_n_m = nan");
    check(
        "infinite",
        KITTIWAKE,
        "backlash_m = 60e-6",
        "backlash_m = inf",
    );
    check("zero_ratio", KITTIWAKE, "trim_teeth = 90", "trim_teeth = 0");
    check("bits_0", KITTIWAKE, "bits = 12", "bits = 0");
    check("bits_40", KITTIWAKE, "bits = 12", "bits = 40");
    check(
        "sensor_without_range",
        KITTIWAKE,
        "min_deg = -30.0",
        "min_deg = 29.5",
    );
    check(
        "stops_reversed",
        KITTIWAKE,
        "min_deg = -20.0\nmax_deg = 20.0",
        "min_deg = 20.0\nmax_deg = -20.0",
    );
    check(
        "microsteps_3",
        KITTIWAKE,
        "microsteps = 16\nrun_a",
        "microsteps = 3\nrun_a",
    );
    check(
        "negative_teeth",
        KITTIWAKE,
        "motor_teeth = 15",
        "motor_teeth = -15",
    );
    check(
        "text_for_number",
        KITTIWAKE,
        "volts = 24.0",
        "volts = \"24 V\"",
    );
    check(
        "bounce_negative",
        KITTIWAKE,
        "bounce_s = [0.0006",
        "bounce_s = [-0.0006",
    );
    check(
        "bad_name",
        KITTIWAKE,
        "name = \"kittiwake\"",
        "name = \"Kitti wake\"",
    );
}

#[test]
fn numbers_that_do_not_fit_each_other() {
    check(
        "inertia_of_no_body",
        KITTIWAKE,
        "[0.0396, 0.0395, 0.0016,",
        "[0.0396, 0.0024, 0.0016,",
    );
    check(
        "solid_density",
        BITTERN,
        "density_kg_per_m3 = 7850.0",
        "density_kg_per_m3 = -7850.0",
    );
    check(
        "solid_size",
        BITTERN,
        "size_m = [0.10, 0.008, 0.06]",
        "size_m = [0.10, 0.0, 0.06]",
    );
    check(
        "spring_too_long",
        BITTERN,
        "installed_length_m = 0.0484",
        "installed_length_m = 0.0584",
    );
    check(
        "stop_off_the_tube",
        KITTIWAKE,
        "height_m = 0.08",
        "height_m = 0.5",
    );
    check(
        "obstacle_restitution",
        BITTERN,
        "restitution = 0.2",
        "restitution = 1.2",
    );
    check(
        "feel_band_reversed",
        KITTIWAKE,
        "high_n_per_deg = 0.6",
        "high_n_per_deg = 0.06",
    );
    check(
        "feel_out_of_range",
        KITTIWAKE,
        "at_deg = 10.0",
        "at_deg = -10.0",
    );
    check("no_toml", KITTIWAKE, "[stick]", "[stick");
}

proptest! {
    /// Whatever is cut out of a rig or put into it: no panic, and an error's span lies in the text.
    #[test]
    fn damaged_files_are_refused_calmly(
        from in 0..KITTIWAKE.len(), length in 0..40_usize,
        put in prop::sample::select(vec!["", "\"", "[", "]", "=", "-1", "nan", "1e400", "µ", "\0", "{ kind = 3 }", "[[pitch]]\n"]),
    ) {
        let (head, tail) = (KITTIWAKE.get(..from), KITTIWAKE.get(from + length..));
        let text = format!("{}{put}{}", head.unwrap_or_default(), tail.unwrap_or_default());
        if let Err(error) = Rig::parse(&text) {
            prop_assert!(!error.message.is_empty());
            if let Some(span) = error.span {
                prop_assert!(text.get(span.clone()).is_some(), "{span:?}");
            }
        }
    }
}

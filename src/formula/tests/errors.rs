//! Every message for a bad formula, with its caret, as a reviewed snapshot.

use std::fmt::Write;

use super::{Formula, names};

/// The formula, carets under the span, the message and the help.
fn card(texts: &[&str]) -> String {
    let names = names(6.0, 0.002);
    let mut card = String::new();
    for text in texts {
        let error = Formula::parse(text, &names)
            .err()
            .unwrap_or_else(|| panic!("`{text}` was read"));
        let span = error.span.unwrap_or(0..0);
        let before = text[..span.start].chars().count();
        let width = text[span].chars().count();
        let (shown, carets) = match text.chars().count() {
            0..=100 => (
                (*text).to_owned(),
                format!("{}{}", " ".repeat(before), "^".repeat(width)),
            ),
            long => (
                format!("({long} characters)"),
                format!("(from {before}, {width} long)"),
            ),
        };
        writeln!(card, "  {shown}\n  {carets}\n  {}", error.message).unwrap();
        writeln!(
            card,
            "  help: {}\n",
            error.help.unwrap_or_else(|| "none".to_owned())
        )
        .unwrap();
    }
    card
}

fn check(name: &str, texts: &[&str]) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("../../../snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(format!("formula__{name}"), card(texts)));
}

#[test]
fn names_that_are_unknown() {
    check(
        "errors_names",
        &[
            "always(pitch.stik_deg < 5)",
            "always(stick_deg < 5)",
            "always(grip_force < rig.pitch.brakeout_n)",
            "abs(pitch.grip_force_n) < rig.pitch.brakeout_n",
            "zebra > 3",
            "pitch._deg < 3",
            "Always(p)",
            "state is holdin",
            "state is asleep",
            "state",
            "always(state == holding)",
            "p is holding",
            "state is 3",
            "nan < 3",
            "a < inf",
        ],
    );
}

#[test]
fn text_that_cannot_be_read() {
    check(
        "errors_text",
        &[
            "",
            "   ",
            "always(a < 3",
            "always((a < 3) and (b < 2)",
            "always(a < 3))",
            "a < 3)",
            "always[0, 1(a < 3)",
            "always[0, 1",
            "always a < 3",
            "rises p",
            "min(a) < 3",
            "min a < 3",
            "a < 3 b < 2",
            "a < 3 always",
            "p [0, 1]",
            "a <",
            "a + ",
            "and p",
            "p and and q",
            "0 < a < 3",
            "p until q until p",
            "a < 20ms",
            "a < 1e999",
            "a < .5",
            "a < 5.",
            "p && q",
            "p || q",
            "!p",
            "p -> q",
            "p => q",
            "a = 3",
            "a ≤ 3",
            "a < 3 and (b < 2 p)",
            "a < 3 § b",
            "always(a < 3) # comment",
        ],
    );
}

#[test]
fn types_and_units_that_do_not_fit() {
    check(
        "errors_types",
        &[
            "always(pitch.stick_deg)",
            "a and b < 3",
            "not a",
            "rises(pitch.stick_deg)",
            "release > 0.5",
            "release + 1 < 2",
            "(a < 3) + 1 < 2",
            "abs(p) < 1",
            "abs(a < 3)",
            "a == 3",
            "pitch.joystick != b + 1",
            "release == true",
            "(a < 3) == (b < 3)",
            "release == a",
            "a == release",
            "(a < 3) != p",
            "not a + p < 3",
            "pitch.stick_deg < pitch.grip_force_n",
            "max(pitch.stick_deg, x) < 3",
            "a < 1 / 0",
            "a < 1e308 * 10",
        ],
    );
}

#[test]
fn windows_that_look_at_nothing() {
    let deep = format!("{}p{}", "(".repeat(80), ")".repeat(80));
    let chain = vec!["p"; 200].join(" and ");
    let signs = format!("a < {}1", "-".repeat(5000));
    check(
        "errors_windows",
        &[
            "always[](p)",
            "always[2, 1](p)",
            "always[1](p)",
            "always[-1, 2](p)",
            "always[0.0005, 0.0015](p)",
            "always[0, 6.5](p)",
            "always[6.5, end](p)",
            "always[6, end](p)",
            "once[0, 7](p)",
            "once[0, end](p)",
            "always[0, 4](eventually[0, 3](p))",
            "p implies always[1, 5](q or (p until[1, 2] q))",
            "always[0, a](p)",
            "always[0, p](p)",
            "always[end, 3](p)",
            "always[end, end, end](p)",
            "once[end, end](p)",
            "always[0, 1,](p)",
            "rises(falls(rises(falls(p))))",
            &deep,
            &chain,
            &signs,
        ],
    );
}

//! Formulas at fault with their places, margins and their scales.

mod shipped;

use super::*;

#[test]
fn spans_point_into_the_file() {
    let text = "[[expect]]\nformula = \"a < b\"\n";
    let value = locate(text, "expect[0].formula").unwrap();
    let place = place_in(text, value.clone(), "a < b", Some(4..5));
    assert_eq!(&text[place], "b");
    assert_eq!(place_in(text, value.clone(), "a < c", Some(4..5)), value);
}

const HEAD: &str = "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 0.1\n";

fn rig() -> RigFile {
    RigFile::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap()
}

#[test]
fn every_formula_at_fault_is_named_with_its_place() {
    let text = format!(
        "{HEAD}[[expect]]\nname = \"a\"\nformula = \"always(pitch.stik_deg < 5)\"\n\
         [[expect]]\nname = \"b\"\nformula = \"always(release)\"\n\
         [[expect]]\nname = \"c\"\nformula = \"always[0, 9](release)\"\n\
         [[expect]]\nname = \"d\"\nformula = \"always(pitch.stick_deg < 5)\"\nscale = {{ value = 1, unit = \"N\" }}\n"
    );
    let scenario = Scenario::parse(&text).unwrap();
    let faults = check_scenario(&rig(), &scenario, &text).unwrap_err();
    let places: Vec<&str> = faults
        .iter()
        .map(|fault| &text[fault.span.clone().unwrap()])
        .collect();
    assert_eq!(places, ["pitch.stik_deg", "[0, 9]", "\"N\""]);
    assert_eq!(faults[2].message, "no comparison of the formula is in `N`");
    assert_eq!(
        faults[2].help.as_deref(),
        Some("its comparisons are in: `deg`")
    );
}

#[test]
fn a_formula_without_a_word_of_time_is_warned_of() {
    let text = format!(
        "{HEAD}[[expect]]\nname = \"a\"\nformula = \"pitch.stick_deg < 5\"\n\
         [[expect]]\nname = \"b\"\nformula = \"always(pitch.stick_deg < 5) and not release\"\n"
    );
    let scenario = Scenario::parse(&text).unwrap();
    let found = warnings(&rig(), &scenario, &text);
    let messages: Vec<&str> = found.iter().map(|one| one.message.as_str()).collect();
    assert_eq!(
        messages,
        [
            "`pitch.stick_deg < 5` is judged in the first row only",
            "`not release` is judged in the first row only"
        ]
    );
    assert!(
        found[0]
            .help
            .as_ref()
            .unwrap()
            .starts_with("write `always(pitch.stick_deg < 5)`")
    );
}

#[test]
fn a_margin_is_measured_against_the_scale_in_its_unit_else_against_the_limit() {
    let judged = |scale: &str| {
        let text = format!(
            "{HEAD}[[expect]]\nname = \"a\"\nformula = \"always(pitch.stick_deg < 5 and pitch.grip_force_n < 1000)\"\n{scale}"
        );
        let rig = rig();
        let scenario = Scenario::parse(&text).unwrap();
        check_scenario(&rig, &scenario, &text).unwrap();
        let trace = crate::run::run_scenario(
            &rig,
            &scenario,
            &mut crate::run::LogicTarget::new(),
            &mut |_| true,
        )
        .trace;
        judge(&rig, &scenario, &trace).remove(0)
    };
    let plain = judged("");
    assert_eq!(plain.share, Some(plain.margin / 5.0));
    let scaled = judged("scale = { value = 0.5, unit = \"deg\" }\n");
    assert_eq!(scaled.share, Some(plain.margin / 0.5));
    // The comparison that decides is in another unit.
    let other = judged("scale = { value = 0.5, unit = \"N\" }\n");
    assert_eq!(other.share, plain.share);
    assert_eq!(other.margin, plain.margin);
}

#[test]
fn a_scale_of_a_formula_that_compares_no_numbers_is_left_out() {
    let text = format!(
        "{HEAD}[[expect]]\nname = \"a\"\nformula = \"always(release)\"\nscale = {{ value = 1, unit = \"N\" }}\n"
    );
    let scenario = Scenario::parse(&text).unwrap();
    let faults = check_scenario(&rig(), &scenario, &text).unwrap_err();
    assert_eq!(
        faults[0].help.as_deref(),
        Some("the formula compares no numbers: leave `scale` out")
    );
}

/// A trace that cannot be judged breaks every expectation, and each says why.
#[test]
fn what_cannot_be_judged_is_broken() {
    let text = format!(
        "{HEAD}[[expect]]\nname = \"a\"\nformula = \"always(release)\"\n[[expect]]\nname = \"b\"\nformula = \"always(time_s >= 0)\"\nbecause = \"c\"\n"
    );
    let scenario = Scenario::parse(&text).unwrap();
    let judgements =
        Expectations::read(&scenario, &Given::by_rig(&rig())).unjudged("the disk is full");
    let names: Vec<_> = judgements.iter().map(|one| one.name.as_str()).collect();
    assert_eq!(names, ["a", "b"]);
    for one in &judgements {
        assert!(one.fails() && one.margin == f64::NEG_INFINITY);
        assert_eq!(one.decided_by, "it could not be judged: the disk is full");
    }
}

/// What decided, in words: the comparison, and where it has no value, that and when.
#[test]
fn what_decided_is_said() {
    let text = format!("{HEAD}[[expect]]\nname = \"a\"\nformula = \"always(release)\"\n");
    let scenario = Scenario::parse(&text).unwrap();
    let mut judgement = Expectations::read(&scenario, &Given::by_rig(&rig()))
        .unjudged("no rows")
        .remove(0);
    judgement.decided_by = "a < 3".to_owned();
    judgement.margin = -1.5;
    judgement.unit = "deg".to_owned();
    judgement.at_s = 0.25;
    assert_eq!(judgement.decided_text(), "a < 3");
    assert!(judgement.margin_text().contains("1.5"));
    judgement.undefined = true;
    assert_eq!(
        judgement.decided_text(),
        "a < 3: it has no value at 0.250 s (0/0, or a signal that the trace lacks)"
    );
    assert_eq!(judgement.margin_text(), "undefined");
}

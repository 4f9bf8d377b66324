//! Laws: the file, its place, its verdicts.

use super::*;
use crate::run::{LogicTarget, run_scenario};
use crate::scenario::Scenario;

const LAWS: &str = r#"
[[law]]
name = "inside"
formula = "axis.reference_deg <= rig.axis.soft_max_deg"
because = "soft limits"

[[law]]
name = "never holding"
formula = "state is not holding"
because = "made to be broken"

[[law]]
name = "for another rig"
formula = "axis.stick_deg < 1000"
because = "b"
rigs = ["bittern"]
"#;

fn rig() -> RigFile {
    RigFile::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap()
}

fn set(text: &str) -> Result<LawSet, FileError> {
    LawFile::parse(text)?.read_for(&rig(), text)
}

fn scenario(end: &str) -> Scenario {
    let text = format!(
        "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 1.0\n\
         [[expect]]\nname = \"e\"\nformula = \"always(time_s >= 0)\"\n{end}"
    );
    Scenario::parse(&text).unwrap()
}

fn verdicts(scenario: &Scenario) -> Vec<LawJudgement> {
    let run = run_scenario(&rig(), scenario, &mut LogicTarget::new(), &mut |_| true);
    judge_laws(&set(LAWS).unwrap(), scenario, &rig(), &run.trace)
}

#[test]
fn a_law_of_an_axis_is_two_and_others_are_one() {
    let set = set(LAWS).unwrap();
    let names: Vec<_> = set.names().collect();
    assert_eq!(names, ["inside: pitch", "inside: roll", "never holding"]);
    assert_eq!(
        set.laws[1].formula.text(),
        "roll.reference_deg <= rig.roll.soft_max_deg"
    );
    assert_eq!(
        for_axis("xaxis.a or b.axis.c", AxisName::Roll),
        "xaxis.a or b.axis.c"
    );
}

#[test]
fn the_first_row_that_breaks_a_law_is_named() {
    let verdicts = verdicts(&scenario(""));
    assert!(verdicts[0].passes() && verdicts[1].passes() && !verdicts[2].passes());
    let broken = verdicts[2].broken.as_ref().unwrap();
    // From the middle: 200 ms of supply, the index, 300 ms without a hand.
    assert!(broken.at_s > 0.2 && broken.at_s < 0.8, "{broken:?}");
    assert_eq!(broken.decided_by, "state is not holding");
    assert!(verdicts[0].broken.is_none());
}

#[test]
fn an_exception_holds_and_an_idle_one_shows() {
    let except = |law: &str| {
        verdicts(&scenario(&format!(
            "[[except]]\nlaw = \"{law}\"\nbecause = \"it is broken on purpose\"\n"
        )))
    };
    let broken = except("never holding");
    assert!(
        broken.iter().all(LawJudgement::passes)
            && !broken.iter().any(LawJudgement::is_idle_exception)
    );
    assert_eq!(
        broken[2].excepted.as_deref(),
        Some("it is broken on purpose")
    );
    let idle = except("inside: roll");
    assert!(idle[1].is_idle_exception() && !idle[2].passes());
}

#[test]
fn what_is_wrong_is_shown_in_its_place() {
    let at = |text: &str| {
        let error = set(text).unwrap_err();
        let shown = error.span.clone().map(|span| text[span].to_owned());
        (error.message, shown.unwrap_or_default())
    };
    let law = |formula: &str| {
        format!("[[law]]\nname = \"n\"\nformula = \"{formula}\"\nbecause = \"b\"\n")
    };
    assert_eq!(at(&law("axis.stick_dge < 1")).1, "axis.stick_dge");
    assert_eq!(
        at(&law("always(axis.stick_deg < 1)")).0,
        "a law looks ahead"
    );
    assert_eq!(at(&law("eventually[0, 1](release)")).0, "a law looks ahead");
    assert_eq!(
        at(&format!("{0}{0}", law("release"))),
        ("two laws are called `n`".to_owned(), "\"n\"".to_owned())
    );
    assert_eq!(
        at("[[law]]\nname = \"n\"\n").0,
        "missing key `formula` in `law[0]`"
    );
    assert_eq!(
        at(&law("release").replace("because", "why")).0,
        "unknown key `why` in `law[0]`"
    );
}

#[test]
fn laws_are_counted_and_described() {
    let set = set(LAWS).unwrap();
    assert_eq!((set.len(), set.is_empty()), (3, false));
    let none = LawSet { laws: Vec::new() };
    assert_eq!((none.len(), none.is_empty()), (0, true));
    let schema = schema();
    let of_file = schema.pointer("/properties/law").unwrap();
    assert_eq!(of_file["type"], "array");
}

#[test]
fn a_law_names_its_rigs_as_files_are_named() {
    let text = "[[law]]\nname = \"n\"\nformula = \"release\"\nbecause = \"b\"\nrigs = [\"bittern\", \"Bittern\"]\n";
    let error = LawFile::parse(text).unwrap_err();
    assert_eq!(error.message, "`Bittern` is no name of a rig");
    assert_eq!(&text[error.span.unwrap()], "\"Bittern\"");
}

/// The size of a file has its bound: one byte more is refused before it is read.
#[test]
fn a_file_of_laws_has_a_largest_size() {
    let mut text = LAWS.to_owned();
    text.push_str(&"#".repeat(MAX_BYTES - text.len()));
    assert_eq!(LawFile::parse(&text).map(|file| file.laws.len()), Ok(3));
    text.push('#');
    assert_eq!(
        LawFile::parse(&text).unwrap_err().message,
        "the file has `1048577` bytes, it may have at most 1048576"
    );
}

/// What reports show of a verdict is what stands in the file, and of the break what the formula
/// measured.
#[test]
fn a_verdict_has_the_words_of_its_law() {
    let set = set(&LAWS.replace("is not holding", "is not holding and supply_v < 1")).unwrap();
    assert_eq!(set.formulas().count(), 3);
    let scenario = scenario("");
    let run = run_scenario(&rig(), &scenario, &mut LogicTarget::new(), &mut |_| true);
    let verdicts = judge_laws(&set, &scenario, &rig(), &run.trace);
    assert_eq!(
        verdicts[1].formula,
        "roll.reference_deg <= rig.roll.soft_max_deg"
    );
    assert_eq!(verdicts[1].because, "soft limits");
    assert!(
        verdicts
            .iter()
            .all(|one| one.excepted.is_none() && !one.sometimes)
    );
    // 24 V in the first row.
    let broken = verdicts[2].broken.as_ref().unwrap();
    assert_eq!((broken.at_s, broken.unit.as_str()), (0.0, "V"));
    assert!((broken.margin + 23.0).abs() < 0.1, "{broken:?}");
}

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

fn rig() -> Rig {
    Rig::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap()
}

fn set(text: &str) -> Result<LawSet, FileError> {
    LawFile::parse(text)?.read_for(&rig(), text)
}

fn scenario(end: &str) -> Scenario {
    let text = format!(
        "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 1.0\n\
         [[expect]]\nname = \"e\"\nthat = \"always(time_s >= 0)\"\n{end}"
    );
    Scenario::parse(&text).unwrap()
}

fn verdicts(scenario: &Scenario) -> Vec<Verdict> {
    let run = run_scenario(&rig(), scenario, &mut LogicTarget::new(), &mut |_| true);
    judge_laws(&set(LAWS).unwrap(), scenario, "kittiwake", &run.trace)
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
    assert!(verdicts[0].held() && verdicts[1].held() && !verdicts[2].held());
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
    assert!(broken.iter().all(Verdict::held) && !broken.iter().any(Verdict::is_idle_exception));
    assert_eq!(
        broken[2].excepted.as_deref(),
        Some("it is broken on purpose")
    );
    let idle = except("inside: roll");
    assert!(idle[1].is_idle_exception() && !idle[2].held());
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

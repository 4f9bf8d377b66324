//! From expectations and a trace to judgements with margins.

mod expectations;
mod given;
mod judgement;
mod names;

use std::ops::Range;

use trimproof_diagnostics::{FileError, locate};

use crate::rig::RigFile;
use crate::scenario::{Draft, Scenario, in_order, on_rig};
use crate::trace::Trace;
pub(crate) use expectations::Expectations;
pub(crate) use given::Given;
pub use given::missing_text;
pub use judgement::{Judgement, Verdict};
pub use names::names_for;
use trimproof_formula::{Formula, evaluate_all};

/// Checks everything about a scenario that needs the rig: its start, its events against the rig's ticks, every
/// formula that is for `rig`.
///
/// # Errors
/// Everything at fault, with its place in `text`, the scenario file's text; of each formula, and of
/// what the rig does not take, the first fault.
pub fn check_scenario(
    rig: &RigFile,
    scenario: &Scenario,
    text: &str,
) -> Result<(), Vec<FileError>> {
    let mut faults = check_formulas(rig, &Draft::of(scenario), text);
    faults.extend(on_rig::check(rig, scenario, text).err());
    if faults.is_empty() {
        Ok(())
    } else {
        Err(in_order(faults))
    }
}

/// As [`check_scenario`], for what could be read of a file: every fault of its formulas.
pub fn check_formulas(rig: &RigFile, draft: &Draft, text: &str) -> Vec<FileError> {
    let names = names_for(rig, draft.length_s);
    let mut faults = Vec::new();
    let given = Given::by_rig(rig);
    for one in draft.formulas_for(&rig.name) {
        if !given.missing_in(&one.formula).is_empty() {
            continue;
        }
        match Formula::parse(&one.formula, &names) {
            Ok(formula) => faults.extend(wrong_scale(&formula, one.scale_unit.as_deref()).map(
                |fault| FileError {
                    span: locate(text, &format!("expect[{}].scale.unit", one.index)),
                    ..fault
                },
            )),
            Err(mut error) => {
                error.span = place_of(text, one.index, &one.formula, error.span.take());
                faults.push(error);
            }
        }
    }
    faults
}

/// What is allowed but hardly meant: parts of formulas that are judged in the first row only, for
/// want of a word that looks ahead. With their places in `text`.
pub fn warnings(rig: &RigFile, scenario: &Scenario, text: &str) -> Vec<FileError> {
    let names = names_for(rig, scenario.length_s);
    let mut found = Vec::new();
    for (index, expectation) in scenario.expectations_for(&rig.name) {
        let formula_text = &expectation.formula;
        let Ok(formula) = Formula::parse(formula_text, &names) else {
            continue;
        };
        for span in formula.first_row_only() {
            let part = formula_text.get(span.clone()).unwrap_or_default();
            let error = FileError::new(format!("`{part}` is judged in the first row only"))
                .with_help(format!(
                    "write `always({part})` for the whole run, or `always[0, 0]({part})` if the first row is meant"
                ));
            found.push(FileError {
                span: place_of(text, index, formula_text, Some(span)),
                ..error
            });
        }
    }
    in_order(found)
}

/// A scale whose unit is that of no comparison.
fn wrong_scale(formula: &Formula, unit: Option<&str>) -> Option<FileError> {
    let unit = unit?;
    let units = formula.units();
    if units.contains(&unit) {
        return None;
    }
    let error = FileError::new(format!("no comparison of the formula is in `{unit}`"));
    let listed: Vec<String> = units.iter().map(|unit| format!("`{unit}`")).collect();
    Some(error.with_help(match listed.as_slice() {
        [] => "the formula compares no numbers: leave `scale` out".to_owned(),
        _ => format!("its comparisons are in: {}", listed.join(", ")),
    }))
}

/// Judges every expectation that is for `rig`, in the order of the file.
///
/// A formula that does not read on this rig counts as broken, with its message in `decided_by`;
/// [`check_scenario`] finds those before anything is run.
pub fn judge(rig: &RigFile, scenario: &Scenario, trace: &Trace) -> Vec<Judgement> {
    let given = Given::by_trace(rig, trace);
    let expectations = Expectations::read(scenario, &given);
    let formulas: Vec<&Formula> = expectations.formulas().collect();
    expectations.judgements(evaluate_all(&formulas, trace))
}

/// Place of a span of the formula of expectation `index`; see [`place_in`].
fn place_of(
    text: &str,
    index: usize,
    formula: &str,
    inside: Option<Range<usize>>,
) -> Option<Range<usize>> {
    let value = locate(text, &format!("expect[{index}].formula"))?;
    Some(place_in(text, value, formula, inside))
}

/// Place of a span of the formula inside the file: exact where the string stands there as it is,
/// else the whole value (strings with escapes).
pub(crate) fn place_in(
    text: &str,
    value: Range<usize>,
    formula: &str,
    inside: Option<Range<usize>>,
) -> Range<usize> {
    let raw = text.get(value.clone()).unwrap_or_default();
    match (raw.find(formula), inside) {
        (Some(offset), Some(inside)) => {
            value.start + offset + inside.start..value.start + offset + inside.end
        }
        _ => value,
    }
}

#[cfg(test)]
mod test_shipped;
#[cfg(test)]
mod tests {
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
        RigFile::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap()
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
}

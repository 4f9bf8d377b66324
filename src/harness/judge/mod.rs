//! From expectations and a trace to judgements with margins.

mod expectations;
mod given;
mod judgement;
mod names;
#[cfg(test)]
mod tests;

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

/// Checks everything about a scenario that needs the rig: its start, its events against the rig's
/// ticks, every formula that is for `rig`.
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

//! From expectations and a trace to judgements with margins.

use std::ops::Range;

use trimproof_controller::State;
use trimproof_plant::{FileError, Rig, locate};

use crate::formula::{Formula, Names, SignalKind, SignalName};
use crate::scenario::{Scenario, on_rig};
use crate::trace::{ColumnKind, Trace, columns};

/// Whether one expectation held, and by how much.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Name of the expectation.
    pub name: String,
    /// Its formula.
    pub that: String,
    /// Why its limit is what it is.
    pub because: Option<String>,
    /// Whether it held.
    pub held: bool,
    /// How far it held (positive) or failed (negative), in `unit`; infinite where a switch or a state decided.
    pub margin: f64,
    /// Unit of the deciding comparison.
    pub unit: String,
    /// The worst instant, simulated s.
    pub at_s: f64,
    /// The deciding comparison.
    pub decided_by: String,
}

/// What the formulas of a scenario of `length_s` may speak of on `rig`.
pub fn names_for(rig: &Rig, length_s: f64) -> Names {
    let signals = columns()
        .iter()
        .map(|column| SignalName {
            name: column.name.to_owned(),
            unit: column.unit.to_owned(),
            kind: match column.kind {
                ColumnKind::Number | ColumnKind::Integer => SignalKind::Number,
                ColumnKind::Switch => SignalKind::Switch,
                ColumnKind::State => SignalKind::State,
            },
        })
        .collect();
    Names {
        signals,
        constants: rig.constants(),
        states: State::ALL
            .iter()
            .map(|state| state.name().to_owned())
            .collect(),
        length_s,
        tick_s: rig.tick_s(),
    }
}

/// Checks everything about a scenario that needs the rig: its start, its events against the rig's ticks, every
/// formula that is for `rig`.
///
/// # Errors
/// The first thing at fault, with its place in `text`, the scenario file's text.
pub fn check_scenario(rig: &Rig, scenario: &Scenario, text: &str) -> Result<(), FileError> {
    on_rig::check(rig, scenario, text)?;
    let names = names_for(rig, scenario.length_s);
    for (index, expectation) in scenario.expectations_for(&rig.name) {
        Formula::parse(&expectation.that, &names).map_err(|mut error| {
            let value = locate(text, &format!("expect[{index}].that"));
            error.span =
                value.map(|value| place_in(text, value, &expectation.that, error.span.take()));
            error
        })?;
    }
    Ok(())
}

/// Judges every expectation that is for `rig`, in the order of the file.
///
/// A formula that does not read on this rig counts as broken, with its message in `decided_by`;
/// [`check_scenario`] finds those before anything is run.
pub fn judge(rig: &Rig, scenario: &Scenario, trace: &Trace) -> Vec<Judgement> {
    let names = names_for(rig, scenario.length_s);
    scenario
        .expectations_for(&rig.name)
        .map(|(_, expectation)| {
            let blank = Judgement {
                name: expectation.name.clone(),
                that: expectation.that.clone(),
                because: expectation.because.clone(),
                held: false,
                margin: f64::NEG_INFINITY,
                unit: String::new(),
                at_s: 0.0,
                decided_by: String::new(),
            };
            match Formula::parse(&expectation.that, &names) {
                Ok(formula) => {
                    let margin = formula.evaluate(trace);
                    Judgement {
                        held: margin.held,
                        margin: margin.value,
                        unit: margin.unit,
                        at_s: margin.at_s,
                        decided_by: margin.decided_by,
                        ..blank
                    }
                }
                Err(error) => Judgement {
                    decided_by: error.message,
                    ..blank
                },
            }
        })
        .collect()
}

/// Place of a span of the formula inside the file: exact where the string stands there as it is,
/// else the whole value (strings with escapes).
fn place_in(
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
mod tests {
    use super::*;

    #[test]
    fn spans_point_into_the_file() {
        let text = "[[expect]]\nthat = \"a < b\"\n";
        let value = locate(text, "expect[0].that").unwrap();
        let place = place_in(text, value.clone(), "a < b", Some(4..5));
        assert_eq!(&text[place], "b");
        assert_eq!(place_in(text, value.clone(), "a < c", Some(4..5)), value);
    }
}

//! From laws and a trace to verdicts.

use super::LawSet;
use crate::scenario::Scenario;
use crate::trace::Trace;
use trimproof_formula::{Formula, Margin, first_breaks};

/// What became of one law in one run.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Name of the law, with the axis where it has one.
    pub name: String,
    /// Its formula, of this axis.
    pub formula: String,
    /// Why it holds in every run.
    pub because: String,
    /// Where it first failed; `None` if it held in every row.
    pub broken: Option<Break>,
    /// Why the scenario breaks it on purpose, if it says so.
    pub excepted: Option<String>,
    /// Whether the scenario says that only some seeds break it.
    pub sometimes: bool,
}

/// Where a law first failed.
#[derive(Clone, Debug, PartialEq)]
pub struct Break {
    /// The first row in which it is false, simulated s.
    pub at_s: f64,
    /// By how much it fails there, in `unit`; infinite where a switch or a state decided.
    pub margin: f64,
    /// Unit of the deciding comparison.
    pub unit: String,
    /// The deciding comparison.
    pub decided_by: String,
}

impl Verdict {
    /// Whether the run keeps the law, or breaks it with a stated reason.
    pub fn held(&self) -> bool {
        self.broken.is_none() || self.excepted.is_some()
    }

    /// Whether the scenario makes an exception of a law that the run keeps, and does not say that some seeds do.
    pub fn is_idle_exception(&self) -> bool {
        self.broken.is_none() && self.excepted.is_some() && !self.sometimes
    }
}

/// Judges every law on the trace of a complete run of `scenario` on the rig called `rig`.
pub fn judge_laws(laws: &LawSet, scenario: &Scenario, rig: &str, trace: &Trace) -> Vec<Verdict> {
    let formulas: Vec<&Formula> = laws.formulas().collect();
    verdicts(laws, scenario, rig, first_breaks(&formulas, trace))
}

/// The verdicts on a complete run, from the margin of each law in the first row in which it is false.
pub(crate) fn verdicts(
    laws: &LawSet,
    scenario: &Scenario,
    rig: &str,
    breaks: Vec<Option<Margin>>,
) -> Vec<Verdict> {
    let verdict = |(law, broken): (&super::ReadLaw, Option<Margin>)| {
        let exception = scenario.exception_for(&law.name, rig);
        Verdict {
            name: law.name.clone(),
            formula: law.formula.text().to_owned(),
            because: law.because.clone(),
            broken: broken.map(|margin| Break {
                at_s: margin.at_s,
                margin: margin.value,
                unit: margin.unit,
                decided_by: margin.decided_by,
            }),
            excepted: exception.map(|exception| exception.because.clone()),
            sometimes: exception.is_some_and(|exception| exception.sometimes),
        }
    };
    laws.laws.iter().zip(breaks).map(verdict).collect()
}

//! From laws and a trace to verdicts.

use super::LawSet;
use crate::judge::{Given, Verdict};
use crate::rig::RigFile;
use crate::scenario::Scenario;
use crate::trace::Trace;
use trimproof_formula::{Formula, Margin, first_breaks};

/// What became of one law in one run.
#[derive(Clone, Debug, PartialEq)]
pub struct LawJudgement {
    /// Name of the law, with the axis where it has one.
    pub name: String,
    /// Its formula, of this axis.
    pub formula: String,
    /// Why it holds in every run.
    pub because: String,
    /// Where it first failed; `None` if it is true in every row.
    pub broken: Option<Break>,
    /// Signals and constants of the formula that this run does not have; it is not judged then.
    pub missing: Vec<String>,
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

impl LawJudgement {
    /// The verdict: a law that is broken with a stated reason passes.
    pub fn verdict(&self) -> Verdict {
        if !self.missing.is_empty() {
            Verdict::NotJudged
        } else if self.broken.is_none() || self.excepted.is_some() {
            Verdict::Pass
        } else {
            Verdict::Fail
        }
    }

    /// Whether the run keeps the law, or breaks it with a stated reason.
    pub fn passes(&self) -> bool {
        self.verdict() == Verdict::Pass
    }

    /// Whether the run breaks the law without a stated reason.
    pub fn fails(&self) -> bool {
        self.verdict() == Verdict::Fail
    }

    /// Whether the scenario makes an exception of a law that the run keeps, and does not say that
    /// some seeds do.
    pub fn is_idle_exception(&self) -> bool {
        self.missing.is_empty()
            && self.broken.is_none()
            && self.excepted.is_some()
            && !self.sometimes
    }
}

/// Judges every law on the trace of a complete run of `scenario` on `rig`.
pub fn judge_laws(
    laws: &LawSet,
    scenario: &Scenario,
    rig: &RigFile,
    trace: &Trace,
) -> Vec<LawJudgement> {
    let given = Given::by_trace(rig, trace);
    let formulas: Vec<&Formula> = laws.formulas_given(&given).collect();
    let breaks = first_breaks(&formulas, trace);
    verdicts(laws, scenario, &given, breaks)
}

/// The verdicts on a complete run, from the margin of each law that can be judged in the first row
/// in which it is false.
pub(crate) fn verdicts(
    laws: &LawSet,
    scenario: &Scenario,
    given: &Given<'_>,
    breaks: Vec<Option<Margin>>,
) -> Vec<LawJudgement> {
    let mut breaks = breaks.into_iter();
    let verdict = |law: &super::ReadLaw| {
        let exception = scenario.exception_for(&law.name, &given.rig.name);
        let missing = given.missing_in(law.formula.text());
        let broken = if missing.is_empty() {
            breaks.next().flatten()
        } else {
            None
        };
        LawJudgement {
            name: law.name.clone(),
            formula: law.formula.text().to_owned(),
            because: law.because.clone(),
            broken: broken.map(|margin| Break {
                at_s: margin.at_s,
                margin: margin.value,
                unit: margin.unit,
                decided_by: margin.decided_by,
            }),
            missing,
            excepted: exception.map(|exception| exception.because.clone()),
            sometimes: exception.is_some_and(|exception| exception.sometimes),
        }
    };
    laws.laws.iter().map(verdict).collect()
}

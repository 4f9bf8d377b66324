//! The expectations of a scenario for one run, read, and what margins make of them.

use super::given::{Given, missing_text};
use super::judgement::{Judgement, Verdict};
use super::names::names_for;
use crate::scenario::{Expectation, Scenario};
use trimproof_formula::{Formula, Margin, Tested};

/// The expectations for one run, in the order of the file.
pub(crate) struct Expectations<'a> {
    read: Vec<(&'a Expectation, Read)>,
}

/// An expectation's formula.
enum Read {
    /// It can be judged.
    Formula(Box<Formula>),
    /// It speaks of what the run does not have.
    Missing(Vec<String>),
    /// It does not read on this rig.
    Unreadable(String),
}

impl<'a> Expectations<'a> {
    /// Reads those that are for the rig of a run that has what is `given`.
    pub(crate) fn read(scenario: &'a Scenario, given: &'a Given<'_>) -> Self {
        let names = names_for(given.rig, scenario.length_s);
        let read = |expectation: &'a Expectation| {
            let missing = given.missing_in(&expectation.formula);
            let read = if missing.is_empty() {
                match Formula::parse(&expectation.formula, &names) {
                    Ok(formula) => Read::Formula(Box::new(formula)),
                    Err(error) => Read::Unreadable(error.message),
                }
            } else {
                Read::Missing(missing)
            };
            (expectation, read)
        };
        Self {
            read: scenario
                .expectations_for(&given.rig.name)
                .map(|(_, expectation)| read(expectation))
                .collect(),
        }
    }

    /// The formulas that can be judged.
    pub(crate) fn formulas(&self) -> impl Iterator<Item = &Formula> {
        self.read.iter().filter_map(|(_, read)| match read {
            Read::Formula(formula) => Some(&**formula),
            Read::Missing(_) | Read::Unreadable(_) => None,
        })
    }

    /// A judgement for each, from the margins of the formulas that can be judged.
    pub(crate) fn judgements(&self, margins: Vec<Margin>) -> Vec<Judgement> {
        let mut margins = margins.into_iter();
        let judgement = |(expectation, read): &(&Expectation, Read)| match read {
            Read::Formula(_) => match margins.next() {
                Some(margin) => judged(expectation, margin),
                None => failed(expectation, "it was not judged"),
            },
            Read::Missing(missing) => Judgement {
                verdict: Verdict::NotJudged,
                missing: missing.clone(),
                ..failed(expectation, &missing_text(missing))
            },
            Read::Unreadable(message) => failed(expectation, message),
        };
        self.read.iter().map(judgement).collect()
    }

    /// All of them as failed, because they could not be judged.
    pub(crate) fn unjudged(&self, why: &str) -> Vec<Judgement> {
        let why = format!("it could not be judged: {why}");
        let all = self.read.iter();
        all.map(|(expectation, _)| failed(expectation, &why))
            .collect()
    }
}

fn judged(expectation: &Expectation, margin: Margin) -> Judgement {
    let scale = expectation
        .scale
        .as_ref()
        .filter(|scale| scale.unit == margin.unit)
        .map(|scale| scale.value)
        .or(margin.limit)
        .filter(|_| margin.value.is_finite());
    Judgement {
        name: expectation.name.clone(),
        formula: expectation.formula.clone(),
        because: expectation.because.clone(),
        verdict: if margin.held {
            Verdict::Pass
        } else {
            Verdict::Fail
        },
        missing: Vec::new(),
        margin: margin.value,
        unit: margin.unit,
        at_s: margin.at_s,
        decided_by: margin.decided_by,
        undefined: margin.undefined,
        share: scale.map(|scale| margin.value / scale),
        equality: margin.equality,
        tested: margin.tested,
    }
}

fn failed(expectation: &Expectation, why: &str) -> Judgement {
    Judgement {
        name: expectation.name.clone(),
        formula: expectation.formula.clone(),
        because: expectation.because.clone(),
        verdict: Verdict::Fail,
        missing: Vec::new(),
        margin: f64::NEG_INFINITY,
        unit: String::new(),
        at_s: 0.0,
        decided_by: why.to_owned(),
        undefined: false,
        share: None,
        equality: false,
        tested: Tested::Yes,
    }
}

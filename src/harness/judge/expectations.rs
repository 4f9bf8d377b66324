//! The expectations of a scenario for one rig, read, and what margins make of them.

use trimproof_plant::Rig;

use super::{Judgement, names_for};
use crate::scenario::{Expectation, Scenario};
use trimproof_formula::{Formula, Margin, Tested};

/// The expectations for one rig, in the order of the file.
pub(crate) struct Expectations<'a> {
    /// Each with its formula, or why it does not read on this rig.
    read: Vec<(&'a Expectation, Result<Formula, String>)>,
}

impl<'a> Expectations<'a> {
    /// Reads those that are for `rig`.
    pub(crate) fn read(rig: &'a Rig, scenario: &'a Scenario) -> Self {
        let names = names_for(rig, scenario.length_s);
        let read = scenario
            .expectations_for(&rig.name)
            .map(|(_, expectation)| {
                let formula = Formula::parse(&expectation.that, &names);
                (expectation, formula.map_err(|error| error.message))
            });
        Self {
            read: read.collect(),
        }
    }

    /// The formulas that read.
    pub(crate) fn formulas(&self) -> impl Iterator<Item = &Formula> {
        self.read.iter().filter_map(|(_, read)| read.as_ref().ok())
    }

    /// A judgement for each, from the margins of the formulas that read.
    pub(crate) fn judgements(&self, margins: Vec<Margin>) -> Vec<Judgement> {
        let mut margins = margins.into_iter();
        let judgement = |(expectation, read): &(&Expectation, Result<Formula, String>)| match read {
            Ok(_) => match margins.next() {
                Some(margin) => judged(expectation, margin),
                None => broken(expectation, "it was not judged"),
            },
            Err(message) => broken(expectation, message),
        };
        self.read.iter().map(judgement).collect()
    }

    /// All of them as broken, because they could not be judged.
    pub(crate) fn unjudged(&self, why: &str) -> Vec<Judgement> {
        let why = format!("it could not be judged: {why}");
        let all = self.read.iter();
        all.map(|(expectation, _)| broken(expectation, &why))
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
        that: expectation.that.clone(),
        because: expectation.because.clone(),
        held: margin.held,
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

fn broken(expectation: &Expectation, why: &str) -> Judgement {
    Judgement {
        name: expectation.name.clone(),
        that: expectation.that.clone(),
        because: expectation.because.clone(),
        held: false,
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

//! Expectations with what became of them, and where in time they look.

use trimproof_formula::Formula;
use trimproof_harness::judge::{Judgement, Verdict, judge, names_for};
use trimproof_harness::rig::RigFile;
use trimproof_harness::scenario::Scenario;
use trimproof_harness::trace::Trace;

/// One expectation.
#[derive(Clone, Debug, PartialEq)]
pub struct ExpectationView {
    /// Its name.
    pub name: String,
    /// Its formula.
    pub formula: String,
    /// Why its limit is what it is.
    pub because: Option<String>,
    /// Stretches of time that it looks at, s.
    pub windows_s: Vec<[f64; 2]>,
    /// Numbers and whole numbers that it speaks of.
    pub signals: Vec<String>,
    /// What became of it; `None` until the run is complete.
    pub judgement: Option<Judgement>,
}

impl ExpectationView {
    /// Whether it is judged and fails.
    pub fn fails(&self) -> bool {
        self.judgement.as_ref().is_some_and(Judgement::fails)
    }

    /// The worst instant, s; `None` unless it is judged.
    pub fn worst_s(&self) -> Option<f64> {
        self.judgement
            .as_ref()
            .filter(|judgement| judgement.verdict != Verdict::NotJudged)
            .map(|judgement| judgement.at_s)
    }
}

/// Judges a trace by its scenario, if there is one; a trace that was cut short has shown nothing,
/// and is not judged.
pub fn judge_whole(rig: &RigFile, scenario: Option<&Scenario>, trace: &Trace) -> Vec<Judgement> {
    let cut = trace.about.notes.contains_key("cut");
    scenario
        .filter(|_| !cut)
        .map(|scenario| judge(rig, scenario, trace))
        .unwrap_or_default()
}

/// The scenario's expectations for `rig`, not judged yet.
pub fn expectation_views(rig: &RigFile, scenario: &Scenario) -> Vec<ExpectationView> {
    let names = names_for(rig, scenario.length_s);
    scenario
        .expectations_for(&rig.name)
        .map(|(_, expectation)| {
            let formula = Formula::parse(&expectation.formula, &names).ok();
            let windows_s = formula
                .as_ref()
                .map(|formula| formula.windows_s(scenario.length_s))
                .unwrap_or_default();
            let signals = formula
                .as_ref()
                .map(|formula| formula.signals().iter().map(ToString::to_string).collect())
                .unwrap_or_default();
            ExpectationView {
                name: expectation.name.clone(),
                formula: expectation.formula.clone(),
                because: expectation.because.clone(),
                windows_s,
                signals,
                judgement: None,
            }
        })
        .collect()
}

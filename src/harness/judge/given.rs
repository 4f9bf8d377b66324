//! What a run has for its formulas to speak of: signals of its trace, constants of its rig.

use trimproof_formula::words_in;
use trimproof_io::Reports;

use crate::firmware::PROMISE_PREFIX;
use crate::rig::RigFile;
use crate::trace::{Trace, is_given, signals};

/// What a run has.
pub(crate) struct Given<'a> {
    /// The rig that it runs on.
    pub(crate) rig: &'a RigFile,
    has_signal: Box<dyn Fn(&str) -> bool + 'a>,
}

impl<'a> Given<'a> {
    /// Whatever a controller on `rig` may report.
    pub(crate) fn by_rig(rig: &'a RigFile) -> Self {
        Self::by_reports(rig, Reports::ANY)
    }

    /// What a controller with these reports gives on `rig`.
    pub(crate) fn by_reports(rig: &'a RigFile, reports: Reports) -> Self {
        Self {
            rig,
            has_signal: Box::new(move |name| is_given(name, reports)),
        }
    }

    /// What a trace has.
    pub(crate) fn by_trace(rig: &'a RigFile, trace: &'a Trace) -> Self {
        Self {
            rig,
            has_signal: Box::new(|name| trace.column(name).is_some()),
        }
    }

    /// The signals and constants of a formula that are known and not there, each once, in the
    /// formula's order.
    pub(crate) fn missing_in(&self, formula: &str) -> Vec<String> {
        let mut missing: Vec<String> = Vec::new();
        for word in words_in(formula) {
            let is_known = signals().iter().any(|info| info.name == word);
            let is_missing = if is_known {
                !(self.has_signal)(word)
            } else {
                (word.starts_with("rig.") || word.starts_with(PROMISE_PREFIX))
                    && self.rig.lacks_constant(word)
            };
            if is_missing && !missing.iter().any(|one| one == word) {
                missing.push(word.to_owned());
            }
        }
        missing
    }
}

/// Why something that speaks of these signals and constants is not judged, for people.
pub fn missing_text(missing: &[String]) -> String {
    let names: Vec<String> = missing.iter().map(|name| format!("`{name}`")).collect();
    format!("this run does not have {}", names.join(", "))
}

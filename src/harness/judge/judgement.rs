//! The verdict on one expectation.

use trimproof_formula::Tested;

use super::given::missing_text;
use crate::card::text;

/// What became of one expectation or law.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// It is true.
    Pass,
    /// It is false.
    Fail,
    /// It speaks of something that this run does not have: the controller does not report it, or
    /// has no such setting.
    NotJudged,
}

impl Verdict {
    /// The word for it on screens and in reports.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "FAIL",
            Self::NotJudged => "not judged",
        }
    }
}

/// The verdict on one expectation, and by how much it passes or fails.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Name of the expectation.
    pub name: String,
    /// Its formula.
    pub formula: String,
    /// Why its limit is what it is.
    pub because: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// Signals and constants of the formula that this run does not have; it is not judged then.
    pub missing: Vec<String>,
    /// How far it passes (positive) or fails (negative), in `unit`; infinite where a switch or a
    /// state decided.
    pub margin: f64,
    /// Unit of the deciding comparison.
    pub unit: String,
    /// The worst instant, simulated s.
    pub at_s: f64,
    /// The deciding comparison.
    pub decided_by: String,
    /// Whether the deciding comparison had no value there; it is broken then.
    pub undefined: bool,
    /// The margin as a share of the expectation's scale or, if it has none in this unit, of the
    /// limit in the deciding comparison; negative where it failed, `None` where there is neither.
    pub share: Option<f64>,
    /// Whether the deciding comparison stands for an equality, so that its margin is a tolerance.
    pub equality: bool,
    /// Whether it was put to the test. What to make of it is the caller's.
    pub tested: Tested,
}

impl Judgement {
    /// Whether it is true.
    pub fn passes(&self) -> bool {
        self.verdict == Verdict::Pass
    }

    /// Whether it is false.
    pub fn fails(&self) -> bool {
        self.verdict == Verdict::Fail
    }

    /// Why it is not judged, for people; `None` if it is.
    pub fn missing_text(&self) -> Option<String> {
        (self.verdict == Verdict::NotJudged).then(|| missing_text(&self.missing))
    }

    /// The margin for people, with its unit.
    pub fn margin_text(&self) -> String {
        match (self.verdict, self.undefined) {
            (Verdict::NotJudged, _) => String::new(),
            (_, true) => "undefined".to_owned(),
            (_, false) => text::margin(self.margin, &self.unit),
        }
    }

    /// The deciding comparison for people; empty if none decided.
    pub fn decided_text(&self) -> String {
        match self.undefined {
            true => format!(
                "{}: it has no value at {} s (0/0, or a signal that the trace lacks)",
                self.decided_by,
                text::fixed(self.at_s, 3)
            ),
            false => self.decided_by.clone(),
        }
    }

    /// Why it was never put to the test; `None` if it was.
    pub fn never_tested(&self) -> Option<&str> {
        self.tested.never()
    }
}

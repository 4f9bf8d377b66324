//! Formulas judged on whole traces.

use crate::formula::{Formula, Margin};
use crate::monitor;
use crate::signals::Signals;

/// [`Formula::evaluate`] of each, in one pass over the rows.
pub fn evaluate_all(formulas: &[&Formula], signals: &dyn Signals) -> Vec<Margin> {
    match monitor::judge_whole(formulas.iter().copied(), [], signals) {
        Ok(findings) if signals.rows() > 0 => findings.margins,
        // With all its room in memory a monitor does not fail.
        _ => formulas.iter().map(|_| Margin::of_nothing()).collect(),
    }
}

/// [`Formula::first_broken`] of each, in one pass over the rows.
pub fn first_breaks(laws: &[&Formula], signals: &dyn Signals) -> Vec<Option<Margin>> {
    match monitor::judge_whole([], laws.iter().copied(), signals) {
        Ok(findings) => findings.breaks,
        // What is not judged does not hold.
        Err(_) => laws.iter().map(|_| Some(Margin::of_nothing())).collect(),
    }
}

impl Formula {
    /// The first row in which it is false, with its margin there; `None` if it is true in every
    /// row. For a law: what looks ahead is not judged so.
    pub fn first_broken(&self, signals: &dyn Signals) -> Option<Margin> {
        first_breaks(&[self], signals).pop().flatten()
    }

    /// The margin at the first row.
    ///
    /// A comparison that is undefined (0/0, or a column that `signals` does not have) counts
    /// against the formula, on whichever side of a `not` it stands. A trace without rows holds
    /// nothing.
    pub fn evaluate(&self, signals: &dyn Signals) -> Margin {
        let margin = evaluate_all(&[self], signals).pop();
        margin.unwrap_or_else(Margin::of_nothing)
    }
}

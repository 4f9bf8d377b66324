//! Truth without margins: what a law needs in a run that keeps it, several times cheaper than margins.
//!
//! Gives in every row exactly the truth of [`super::evaluate::rows`]; a property test holds it to that.

use super::node::{Quantifier, Truth, Window};
use super::{Signals, column, evaluate};

/// Whether the formula is true, row by row.
///
/// `positive` says whether the node stands under an even number of negations: what is undefined counts against the whole.
pub(super) fn rows(node: &Truth, signals: &dyn Signals, positive: bool) -> Vec<bool> {
    match node {
        Truth::Constant(truth) => vec![*truth; signals.rows()],
        Truth::Switch { signal, .. } => {
            let values = column::signal(signals, signal);
            each(signals, |row| {
                decided(values.at(row), positive, |value| value != 0.0)
            })
        }
        Truth::SameSwitch {
            left, right, same, ..
        } => {
            let (left, right) = (
                column::signal(signals, left),
                column::signal(signals, right),
            );
            each(signals, |row| {
                let (left, right) = (left.at(row), right.at(row));
                if left.is_nan() || right.is_nan() {
                    return !positive;
                }
                ((left != 0.0) == (right != 0.0)) == *same
            })
        }
        Truth::State {
            signal, code, same, ..
        } => {
            let values = column::signal(signals, signal);
            let code = *code as f64;
            each(signals, |row| {
                decided(values.at(row), positive, |value| (value == code) == *same)
            })
        }
        Truth::Ordered {
            low,
            high,
            or_equal,
            ..
        } => {
            let (low, high) = (column::number(low, signals), column::number(high, signals));
            each(signals, |row| {
                decided(high.at(row) - low.at(row), positive, |value| {
                    value > 0.0 || (*or_equal && value == 0.0)
                })
            })
        }
        Truth::Not { child, .. } => {
            let mut truths = rows(child, signals, !positive);
            truths.iter_mut().for_each(|truth| *truth = !*truth);
            truths
        }
        // Most laws speak of rare events: where the left side settles every row, the right side is not looked at.
        Truth::And(left, right) => {
            let left = rows(left, signals, positive);
            if !left.contains(&true) {
                return left;
            }
            join(left, &rows(right, signals, positive), |l, r| l & r)
        }
        Truth::Or(left, right) => {
            let left = rows(left, signals, positive);
            if !left.contains(&false) {
                return left;
            }
            join(left, &rows(right, signals, positive), |l, r| l | r)
        }
        Truth::Implies { left, right, .. } => {
            let mut left = rows(left, signals, !positive);
            left.iter_mut().for_each(|truth| *truth = !*truth);
            if !left.contains(&false) {
                return left;
            }
            join(left, &rows(right, signals, positive), |l, r| l | r)
        }
        Truth::Behind {
            quantifier,
            window,
            child,
            ..
        } => behind(&rows(child, signals, positive), *window, *quantifier),
        Truth::Edge { rises, child, .. } => {
            let after = rows(child, signals, positive == *rises);
            let before = rows(child, signals, positive != *rises);
            (0..after.len())
                .map(|row| {
                    let was = row.checked_sub(1).map(|earlier| before[earlier]);
                    (after[row] == *rises) && was.is_none_or(|was| was != *rises)
                })
                .collect()
        }
        Truth::Ahead { .. } | Truth::Until { .. } => evaluate::rows_within(node, signals, positive)
            .into_iter()
            .map(|point| point.truth())
            .collect(),
    }
}

fn each(signals: &dyn Signals, truth: impl Fn(usize) -> bool) -> Vec<bool> {
    (0..signals.rows()).map(truth).collect()
}

fn decided(value: f64, positive: bool, truth: impl Fn(f64) -> bool) -> bool {
    if value.is_nan() {
        !positive
    } else {
        truth(value)
    }
}

fn join(mut left: Vec<bool>, right: &[bool], op: impl Fn(bool, bool) -> bool) -> Vec<bool> {
    for (left, right) in left.iter_mut().zip(right) {
        *left = op(*left, *right);
    }
    left
}

/// The rows `t - to ..= t - from` that are not before the first: all of them true, or any.
fn behind(truths: &[bool], window: Window, quantifier: Quantifier) -> Vec<bool> {
    let all = quantifier == Quantifier::All;
    // The last row that decides: a false one for "all", a true one for "any".
    let mut last: Option<usize> = None;
    (0..truths.len())
        .map(|row| {
            if let Some(entering) = row.checked_sub(window.from)
                && truths[entering] != all
            {
                last = Some(entering);
            }
            let inside =
                last.is_some_and(|last| window.to.is_none_or(|to| last.saturating_add(to) >= row));
            inside != all
        })
        .collect()
}

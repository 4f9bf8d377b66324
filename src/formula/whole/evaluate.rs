//! Margins of a formula in every row.
//!
//! Each node gives one point a row from the points of its children; the deeper child goes first, so
//! that a long chain holds two columns and not one a link.

use super::window;
use crate::Signals;
use crate::column;
use crate::node::{Quantifier, Truth, Window};
use crate::point::{RowPoint, infinite};

/// The margin in every row.
pub(crate) fn rows(root: &Truth, signals: &dyn Signals) -> Vec<RowPoint> {
    rows_within(root, signals, true)
}

/// The same of a part that stands under an even (`positive`) or odd number of negations: what is
/// undefined counts against the whole.
pub(crate) fn rows_within(node: &Truth, signals: &dyn Signals, positive: bool) -> Vec<RowPoint> {
    Evaluation { signals }.truth(node, positive)
}

/// The last row from which windows that reach `reach` rows ahead are whole; `None` if there is
/// none.
pub(crate) fn last_whole(rows: usize, reach: usize) -> Option<usize> {
    rows.checked_sub(reach.saturating_add(1))
}

struct Evaluation<'a> {
    signals: &'a dyn Signals,
}

impl Evaluation<'_> {
    /// `positive` says whether this node stands under an even number of negations: an undefined
    /// comparison is put on the side that counts against the whole.
    fn truth(&self, node: &Truth, positive: bool) -> Vec<RowPoint> {
        match node {
            Truth::Constant(truth) => self.each(|row| RowPoint::plain(*truth, row)),
            Truth::Switch { signal, atom } => {
                let values = column::signal(self.signals, signal);
                self.decide(*atom, positive, |row| {
                    let value = values.at(row);
                    (!value.is_nan()).then_some(value != 0.0)
                })
            }
            Truth::SameSwitch {
                left,
                right,
                same,
                atom,
            } => {
                let left = column::signal(self.signals, left);
                let right = column::signal(self.signals, right);
                self.decide(*atom, positive, |row| {
                    let (left, right) = (left.at(row), right.at(row));
                    let defined = !left.is_nan() && !right.is_nan();
                    defined.then_some(((left != 0.0) == (right != 0.0)) == *same)
                })
            }
            Truth::State {
                signal,
                code,
                same,
                atom,
            } => {
                let values = column::signal(self.signals, signal);
                let code = *code as f64;
                self.decide(*atom, positive, |row| {
                    let value = values.at(row);
                    (!value.is_nan()).then_some((value == code) == *same)
                })
            }
            Truth::Ordered {
                low,
                high,
                or_equal,
                atom,
            } => {
                let low = column::number(low, self.signals);
                let high = column::number(high, self.signals);
                self.each(|row| {
                    let value = high.at(row) - low.at(row);
                    if value.is_nan() {
                        RowPoint::undefined(!positive, row, *atom)
                    } else {
                        let truth = value > 0.0 || (*or_equal && value == 0.0);
                        RowPoint::new(value, truth, row, *atom)
                    }
                })
            }
            Truth::Not { child, .. } => negated(self.truth(child, !positive)),
            Truth::And(left, right) => {
                self.pair((left, positive), (right, positive), |l, r| l.and(r))
            }
            Truth::Or(left, right) => {
                self.pair((left, positive), (right, positive), |l, r| l.or(r))
            }
            Truth::Implies { left, right, .. } => {
                self.pair((left, !positive), (right, positive), |l, r| {
                    r.or(l.negated())
                })
            }
            Truth::Ahead {
                quantifier,
                window,
                reach,
                child,
                ..
            } => {
                let points = self.truth(child, positive);
                window::ahead(&points, *window, self.last(*reach), *quantifier)
            }
            Truth::Behind {
                quantifier,
                window,
                child,
                ..
            } => window::behind(&self.truth(child, positive), *window, *quantifier),
            Truth::Until {
                window,
                reach,
                left,
                right,
                ..
            } => {
                let (left, right) = self.both((left, positive), (right, positive));
                until(&left, &right, *window, self.last(*reach))
            }
            Truth::Edge { rises, child, .. } => {
                // Before the first row the child counts as the opposite of what the edge leads to.
                let mut after = self.truth(child, positive == *rises);
                let mut before = self.truth(child, positive != *rises);
                match rises {
                    true => before = negated(before),
                    false => after = negated(after),
                }
                (0..after.len())
                    .map(|row| match row.checked_sub(1) {
                        Some(earlier) => after[row].edge(before[earlier]),
                        None => after[row],
                    })
                    .collect()
            }
        }
    }

    /// The last instant at which windows that reach `reach` rows ahead are whole.
    fn last(&self, reach: usize) -> Option<usize> {
        last_whole(self.signals.rows(), reach)
    }

    fn each(&self, point: impl Fn(usize) -> RowPoint) -> Vec<RowPoint> {
        (0..self.signals.rows()).map(point).collect()
    }

    /// Points of something that is true, false or (`None`) undefined.
    fn decide(
        &self,
        atom: usize,
        positive: bool,
        truth: impl Fn(usize) -> Option<bool>,
    ) -> Vec<RowPoint> {
        self.each(|row| match truth(row) {
            Some(truth) => RowPoint::new(infinite(truth), truth, row, atom),
            None => RowPoint::undefined(!positive, row, atom),
        })
    }

    fn both(&self, left: (&Truth, bool), right: (&Truth, bool)) -> (Vec<RowPoint>, Vec<RowPoint>) {
        if depth(right.0) > depth(left.0) {
            let right = self.truth(right.0, right.1);
            (self.truth(left.0, left.1), right)
        } else {
            let left = self.truth(left.0, left.1);
            (left, self.truth(right.0, right.1))
        }
    }

    fn pair(
        &self,
        left: (&Truth, bool),
        right: (&Truth, bool),
        join: impl Fn(RowPoint, RowPoint) -> RowPoint,
    ) -> Vec<RowPoint> {
        let (mut left, right) = self.both(left, right);
        for (left, right) in left.iter_mut().zip(right) {
            *left = join(*left, right);
        }
        left
    }
}

/// `left until right` over `window`: `right` at some row of it, `left` in every row before that
/// one.
///
/// Linear by the identity of Donzé, Ferrère and Maler (CAV 2013), here for the half-open reading:
/// `l U[a,b] r` = `all[0,a) l` and `(l U r)` at `a` and `any[a,b] r`. No less: if the three are at
/// least `m`, then `r >= m` at some `t1` in the window and at some `t2` not before `a`, with `l >=
/// m` on all rows before `t2`. The earlier of the two lies in the window, and `l >= m` before it.
/// No more: plain.
fn until(
    left: &[RowPoint],
    right: &[RowPoint],
    window: Window,
    last: Option<usize>,
) -> Vec<RowPoint> {
    let rows = left.len();
    let mut unbounded: Vec<RowPoint> = (0..rows).map(|row| RowPoint::plain(false, row)).collect();
    let Some(last) = last else {
        return unbounded;
    };
    if window.at_end {
        let mut kept = right[last];
        unbounded[last] = kept;
        for row in (0..last).rev() {
            kept = left[row].and(kept);
            unbounded[row] = kept;
        }
        return unbounded;
    }
    let mut later: Option<RowPoint> = None;
    for row in (0..=last).rev() {
        let here = match later {
            Some(later) => right[row].or(left[row].and(later)),
            None => right[row],
        };
        unbounded[row] = here;
        later = Some(here);
    }
    if window.from > 0 {
        let before = Window {
            from: 0,
            to: Some(window.from - 1),
            at_end: false,
        };
        let kept = window::ahead(left, before, Some(last), Quantifier::All);
        // Forward: the row that is read lies ahead of the one that is written.
        for row in 0..rows {
            unbounded[row] = match row.checked_add(window.from).filter(|start| *start <= last) {
                Some(start) => unbounded[start].and(kept[row]),
                None => RowPoint::plain(false, row),
            };
        }
    }
    if window.to.is_some() {
        let met = window::ahead(right, window, Some(last), Quantifier::Any);
        for (point, met) in unbounded.iter_mut().zip(met) {
            *point = point.and(met);
        }
    }
    unbounded
}

fn negated(mut points: Vec<RowPoint>) -> Vec<RowPoint> {
    for point in &mut points {
        *point = point.negated();
    }
    points
}

/// Levels of the tree; bounded by the grammar.
fn depth(node: &Truth) -> usize {
    match node {
        Truth::Constant(_)
        | Truth::Switch { .. }
        | Truth::SameSwitch { .. }
        | Truth::State { .. }
        | Truth::Ordered { .. } => 1,
        Truth::Not { child, .. }
        | Truth::Ahead { child, .. }
        | Truth::Behind { child, .. }
        | Truth::Edge { child, .. } => 1 + depth(child),
        Truth::And(left, right)
        | Truth::Or(left, right)
        | Truth::Implies { left, right, .. }
        | Truth::Until { left, right, .. } => 1 + depth(left).max(depth(right)),
    }
}

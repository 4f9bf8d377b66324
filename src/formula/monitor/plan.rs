//! From checked formulas to the graph.

use super::graph::Graph;
use super::numbers::Operand;
use super::points::{PointAtom, PointOp};
use super::truths::TruthOp;
use crate::node::{Number, Quantifier, Truth, UnaryOp};
use crate::point::RowPoint;

/// The last row from which windows that reach `reach` rows ahead are whole; `None` if there is
/// none.
pub(super) fn last_whole(rows: usize, reach: usize) -> Option<usize> {
    rows.checked_sub(reach.saturating_add(1))
}

/// How the point in the first row is put together.
#[derive(Clone, Debug)]
pub(super) enum RowStart {
    Plain(bool),
    /// The decisive point over some rows: index in the graph, and what an empty window gives.
    Fold(usize, bool),
    Not(Box<RowStart>),
    And(Box<RowStart>, Box<RowStart>),
    Or(Box<RowStart>, Box<RowStart>),
    Implies(Box<RowStart>, Box<RowStart>),
}

impl RowStart {
    /// The point, once all passes are over.
    pub fn point(&self, graph: &Graph) -> RowPoint {
        match self {
            Self::Plain(truth) => RowPoint::plain(*truth, 0),
            Self::Fold(fold, empty) => graph
                .folded(*fold)
                .unwrap_or_else(|| RowPoint::plain(*empty, 0)),
            Self::Not(child) => child.point(graph).negated(),
            Self::And(left, right) => left.point(graph).and(right.point(graph)),
            Self::Or(left, right) => left.point(graph).or(right.point(graph)),
            Self::Implies(left, right) => right.point(graph).or(left.point(graph).negated()),
        }
    }
}

impl Graph {
    /// Adds what the point in the first row needs. What stands outermost in windows is needed in no
    /// other row, so that most formulas are judged in the first pass.
    pub fn start_of(&mut self, node: &Truth, positive: bool) -> RowStart {
        match node {
            Truth::Constant(truth) => RowStart::Plain(*truth),
            Truth::Not { child, .. } => RowStart::Not(Box::new(self.start_of(child, !positive))),
            Truth::And(left, right) => {
                let left = self.start_of(left, positive);
                RowStart::And(Box::new(left), Box::new(self.start_of(right, positive)))
            }
            Truth::Or(left, right) => {
                let left = self.start_of(left, positive);
                RowStart::Or(Box::new(left), Box::new(self.start_of(right, positive)))
            }
            Truth::Implies { left, right, .. } => {
                let left = self.start_of(left, !positive);
                RowStart::Implies(Box::new(left), Box::new(self.start_of(right, positive)))
            }
            Truth::Ahead {
                quantifier,
                window,
                reach,
                child,
                ..
            } => {
                let child = self.point_of(child, positive);
                let rows = match last_whole(self.rows, *reach) {
                    None => 0..0,
                    Some(last) if window.at_end => last..last + 1,
                    Some(last) => window.from..window.to.map_or(last, |to| to.min(last)) + 1,
                };
                let fold = self.fold(child, rows, *quantifier);
                RowStart::Fold(fold, *quantifier == Quantifier::All)
            }
            Truth::Behind {
                quantifier,
                window,
                child,
                ..
            } => match window.from {
                0 => self.start_of(child, positive),
                _ => RowStart::Plain(*quantifier == Quantifier::All),
            },
            Truth::Edge { rises, child, .. } => {
                let child = self.start_of(child, positive == *rises);
                match rises {
                    true => child,
                    false => RowStart::Not(Box::new(child)),
                }
            }
            Truth::Switch { .. }
            | Truth::SameSwitch { .. }
            | Truth::State { .. }
            | Truth::Ordered { .. }
            | Truth::Until { .. } => {
                let point = self.point_of(node, positive);
                RowStart::Fold(self.fold(point, 0..1, Quantifier::All), true)
            }
        }
    }

    /// Adds the points of a part in every row. `positive` says whether it stands under an even
    /// number of negations: an undefined comparison is put on the side that counts against the
    /// whole.
    pub fn point_of(&mut self, node: &Truth, positive: bool) -> usize {
        let atom = |index: &usize| PointAtom {
            index: *index,
            positive,
        };
        let op = match node {
            Truth::Constant(truth) => PointOp::Constant(*truth),
            Truth::Switch {
                signal,
                atom: index,
            } => PointOp::Switch {
                value: self.numbers.signal(signal),
                atom: atom(index),
            },
            Truth::SameSwitch {
                left,
                right,
                same,
                atom: index,
            } => PointOp::SameSwitch {
                left: self.numbers.signal(left),
                right: self.numbers.signal(right),
                same: *same,
                atom: atom(index),
            },
            Truth::State {
                signal,
                code,
                same,
                atom: index,
            } => PointOp::State {
                value: self.numbers.signal(signal),
                code: *code,
                same: *same,
                atom: atom(index),
            },
            Truth::Ordered {
                low,
                high,
                or_equal,
                atom: index,
            } => PointOp::Ordered {
                low: self.numbers.add(low),
                high: self.numbers.add(high),
                or_equal: *or_equal,
                atom: atom(index),
            },
            Truth::Not { child, .. } => PointOp::Not(self.point_of(child, !positive)),
            Truth::And(left, right) => PointOp::And(
                self.point_of(left, positive),
                self.point_of(right, positive),
            ),
            Truth::Or(left, right) => PointOp::Or(
                self.point_of(left, positive),
                self.point_of(right, positive),
            ),
            Truth::Implies { left, right, .. } => PointOp::Implies(
                self.point_of(left, !positive),
                self.point_of(right, positive),
            ),
            Truth::Ahead {
                quantifier,
                window,
                reach,
                child,
                ..
            } => PointOp::Ahead {
                child: self.point_of(child, positive),
                window: *window,
                quantifier: *quantifier,
                last: last_whole(self.rows, *reach),
            },
            Truth::Behind {
                quantifier,
                window,
                child,
                ..
            } => PointOp::Behind {
                child: self.point_of(child, positive),
                window: *window,
                quantifier: *quantifier,
            },
            Truth::Until {
                window,
                reach,
                left,
                right,
                ..
            } => PointOp::Until {
                left: self.point_of(left, positive),
                right: self.point_of(right, positive),
                window: *window,
                last: last_whole(self.rows, *reach),
            },
            Truth::Edge { rises, child, .. } => PointOp::Edge {
                after: self.point_of(child, positive == *rises),
                before: self.point_of(child, positive != *rises),
                rises: *rises,
            },
        };
        self.point(op)
    }

    /// Adds the truth of a part in every row; `positive` as for [`Self::point_of`].
    pub fn truth_of(&mut self, node: &Truth, positive: bool) -> usize {
        let op = match node {
            Truth::Constant(truth) => TruthOp::Constant(*truth),
            Truth::Switch { signal, .. } => TruthOp::Switch {
                value: self.numbers.signal(signal),
                positive,
            },
            Truth::SameSwitch {
                left, right, same, ..
            } => TruthOp::SameSwitch {
                left: self.numbers.signal(left),
                right: self.numbers.signal(right),
                same: *same,
                positive,
            },
            Truth::State {
                signal, code, same, ..
            } => TruthOp::State {
                value: self.numbers.signal(signal),
                code: *code,
                same: *same,
                positive,
            },
            Truth::Ordered {
                low,
                high,
                or_equal,
                ..
            } => {
                let (low, high) = (self.numbers.add(low), self.numbers.add(high));
                let or_equal = *or_equal;
                match (low, high) {
                    // Without a signal it has a value everywhere, or nowhere.
                    (Operand::Fixed(low), Operand::Fixed(high)) => {
                        let value = f64::from_bits(high) - f64::from_bits(low);
                        let truth = value > 0.0 || (or_equal && value == 0.0);
                        TruthOp::Constant(truth || (value.is_nan() && !positive))
                    }
                    _ => TruthOp::Ordered {
                        low,
                        high,
                        or_equal,
                        positive,
                    },
                }
            }
            Truth::Not { child, .. } => TruthOp::Not(self.truth_of(child, !positive)),
            Truth::And(left, right) => TruthOp::And(
                self.truth_of(left, positive),
                self.truth_of(right, positive),
            ),
            Truth::Or(left, right) => TruthOp::Or(
                self.truth_of(left, positive),
                self.truth_of(right, positive),
            ),
            Truth::Implies { left, right, .. } => TruthOp::Implies(
                self.truth_of(left, !positive),
                self.truth_of(right, positive),
            ),
            Truth::Behind {
                quantifier,
                window,
                child,
                ..
            } => TruthOp::Behind {
                child: self.truth_of(child, positive),
                window: *window,
                quantifier: *quantifier,
            },
            Truth::Edge { rises, child, .. } => TruthOp::Edge {
                after: self.truth_of(child, positive == *rises),
                before: self.truth_of(child, positive != *rises),
                rises: *rises,
            },
            // Conditions that look ahead are rare: they take their truth from their points.
            Truth::Ahead { .. } | Truth::Until { .. } => {
                TruthOp::OfPoint(self.point_of(node, positive))
            }
        };
        self.truth(op)
    }
}

/// Rows back from a row that decide what a part that only looks back is there; `None` if all do.
pub(super) fn rows_back(node: &Truth) -> Option<usize> {
    match node {
        Truth::Ordered { low, high, .. } => Some(number_back(low).max(number_back(high))),
        Truth::Behind { window, child, .. } => window.to?.checked_add(rows_back(child)?),
        Truth::Edge { child, .. } => rows_back(child)?.checked_add(1),
        _ => node
            .children()
            .into_iter()
            .try_fold(0, |most, child| Some(rows_back(child)?.max(most))),
    }
}

fn number_back(number: &Number) -> usize {
    match number {
        Number::Constant(_) | Number::Signal(_) => 0,
        Number::Unary(UnaryOp::Negate | UnaryOp::Abs, child) => number_back(child),
        Number::Unary(UnaryOp::Previous | UnaryOp::Change | UnaryOp::Rate, child) => {
            1 + number_back(child)
        }
        Number::Binary(_, left, right) => number_back(left).max(number_back(right)),
    }
}

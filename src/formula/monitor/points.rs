//! Points of a block: margin, truth, row and comparison that decided, for what may decide a
//! verdict.

use std::collections::VecDeque;
use std::ops::Range;

use super::block::{RowBlock, TimeDirection};
use super::numbers::{Numbers, Operand, OperandSide};
use crate::node::{Quantifier, Window};
use crate::point::{RowPoint, infinite};

/// How the point of a row is found; `atom` is an index in the formula's own list.
#[derive(Clone, Debug)]
pub(super) enum PointOp {
    Constant(bool),
    Switch {
        value: Operand,
        atom: PointAtom,
    },
    SameSwitch {
        left: Operand,
        right: Operand,
        same: bool,
        atom: PointAtom,
    },
    State {
        value: Operand,
        code: usize,
        same: bool,
        atom: PointAtom,
    },
    Ordered {
        low: Operand,
        high: Operand,
        or_equal: bool,
        atom: PointAtom,
    },
    Not(usize),
    And(usize, usize),
    Or(usize, usize),
    Implies(usize, usize),
    /// `last` is the last row that is looked at, here and below.
    Ahead {
        child: usize,
        window: Window,
        quantifier: Quantifier,
        last: Option<usize>,
    },
    Behind {
        child: usize,
        window: Window,
        quantifier: Quantifier,
    },
    Until {
        left: usize,
        right: usize,
        window: Window,
        last: Option<usize>,
    },
    Edge {
        after: usize,
        before: usize,
        rises: bool,
    },
}

/// What decides, and on which side it counts where it is undefined.
#[derive(Clone, Copy, Debug)]
pub(super) struct PointAtom {
    pub index: usize,
    /// Whether it stands under an even number of negations.
    pub positive: bool,
}

impl PointOp {
    /// Points that it is made of.
    pub fn inputs(&self) -> impl Iterator<Item = usize> + use<> {
        let inputs = match self {
            Self::Constant(_)
            | Self::Switch { .. }
            | Self::SameSwitch { .. }
            | Self::State { .. }
            | Self::Ordered { .. } => [None, None],
            Self::Not(one) | Self::Ahead { child: one, .. } | Self::Behind { child: one, .. } => {
                [Some(*one), None]
            }
            Self::And(one, two)
            | Self::Or(one, two)
            | Self::Implies(one, two)
            | Self::Until {
                left: one,
                right: two,
                ..
            }
            | Self::Edge {
                after: one,
                before: two,
                ..
            } => [Some(*one), Some(*two)],
        };
        inputs.into_iter().flatten()
    }

    /// In which direction its rows must come.
    pub fn direction(&self) -> TimeDirection {
        match self {
            Self::Ahead { .. } | Self::Until { .. } => TimeDirection::Backward,
            Self::Behind { .. } | Self::Edge { .. } => TimeDirection::Forward,
            _ => TimeDirection::Either,
        }
    }

    fn state(&self) -> PointState {
        match self {
            Self::Ahead {
                window, quantifier, ..
            }
            | Self::Behind {
                window, quantifier, ..
            } => PointState::Window(Sliding::new(*window, *quantifier)),
            Self::Until { window, .. } => PointState::Until(Box::new(Until::new(*window))),
            Self::Edge { .. } => PointState::Edge(None),
            _ => PointState::None,
        }
    }
}

#[derive(Clone, Debug)]
enum PointState {
    None,
    Window(Sliding),
    Until(Box<Until>),
    /// The child in the last row of the block before.
    Edge(Option<RowPoint>),
}

/// All points.
#[derive(Debug, Default)]
pub(super) struct Points {
    ops: Vec<PointOp>,
    states: Vec<PointState>,
    values: Vec<Vec<RowPoint>>,
}

impl Points {
    /// Adds one and gives its index. What it is made of is there.
    pub fn add(&mut self, op: PointOp) -> usize {
        self.states.push(op.state());
        self.values.push(Vec::new());
        self.ops.push(op);
        self.ops.len() - 1
    }

    /// How it is found.
    pub fn op(&self, index: usize) -> &PointOp {
        &self.ops[index]
    }

    /// Its values in the present block.
    pub fn of(&self, index: usize) -> &[RowPoint] {
        &self.values[index]
    }

    /// Its values in the present block, to be replaced by what was stored.
    pub fn of_mut(&mut self, index: usize) -> &mut Vec<RowPoint> {
        &mut self.values[index]
    }

    /// Finds the values of one in the present block. What it is made of has its values.
    pub fn find(&mut self, index: usize, block: RowBlock, numbers: &Numbers) {
        let mut out = std::mem::take(&mut self.values[index]);
        out.clear();
        let rows = block.start..block.start + block.rows;
        let of = |index: usize| self.values[index].iter().copied();
        match (&self.ops[index], &mut self.states[index]) {
            (PointOp::Constant(truth), _) => {
                out.extend(rows.map(|row| RowPoint::plain(*truth, row)))
            }
            (PointOp::Switch { value, atom }, _) => {
                let atom = *atom;
                each(rows, numbers.side(*value), &mut out, |row, value| {
                    atom.decide(row, (!value.is_nan()).then_some(value != 0.0))
                });
            }
            (
                PointOp::SameSwitch {
                    left,
                    right,
                    same,
                    atom,
                },
                _,
            ) => {
                let (left, right) = (numbers.side(*left), numbers.side(*right));
                let (same, atom) = (*same, *atom);
                pairs(rows, left, right, &mut out, |row, left, right| {
                    let defined = !left.is_nan() && !right.is_nan();
                    let truth = ((left != 0.0) == (right != 0.0)) == same;
                    atom.decide(row, defined.then_some(truth))
                });
            }
            (
                PointOp::State {
                    value,
                    code,
                    same,
                    atom,
                },
                _,
            ) => {
                let (code, same, atom) = (*code as f64, *same, *atom);
                each(rows, numbers.side(*value), &mut out, |row, value| {
                    atom.decide(row, (!value.is_nan()).then_some((value == code) == same))
                });
            }
            (
                PointOp::Ordered {
                    low,
                    high,
                    or_equal,
                    atom,
                },
                _,
            ) => {
                let (low, high) = (numbers.side(*low), numbers.side(*high));
                let (or_equal, atom) = (*or_equal, *atom);
                pairs(rows, low, high, &mut out, |row, low, high| {
                    let value = high - low;
                    if value.is_nan() {
                        return atom.decide(row, None);
                    }
                    let truth = (value > 0.0) | (or_equal & (value == 0.0));
                    RowPoint::new(value, truth, row, atom.index)
                });
            }
            (PointOp::Not(child), _) => out.extend(of(*child).map(RowPoint::negated)),
            (PointOp::And(left, right), _) => {
                let pairs = self.values[*left].iter().zip(&self.values[*right]);
                out.extend(pairs.map(|(left, right)| *left.lesser(right)));
            }
            (PointOp::Or(left, right), _) => {
                let pairs = self.values[*left].iter().zip(&self.values[*right]);
                out.extend(pairs.map(|(left, right)| *left.greater(right)));
            }
            (PointOp::Implies(left, right), _) => {
                let pairs = of(*left).zip(of(*right));
                out.extend(pairs.map(|(left, right)| right.or(left.negated())));
            }
            (PointOp::Ahead { child, last, .. }, PointState::Window(window)) => {
                let points = rows.zip(of(*child)).rev();
                out.extend(points.map(|(row, point)| window.ahead(row, point, *last)));
                out.reverse();
            }
            (PointOp::Behind { child, .. }, PointState::Window(window)) => {
                out.extend(
                    rows.zip(of(*child))
                        .map(|(row, point)| window.behind(row, point)),
                );
            }
            (
                PointOp::Until {
                    left, right, last, ..
                },
                PointState::Until(until),
            ) => {
                let points = rows.zip(of(*left).zip(of(*right))).rev();
                out.extend(points.map(|(row, sides)| until.next(row, sides, *last)));
                out.reverse();
            }
            (
                PointOp::Edge {
                    after,
                    before,
                    rises,
                },
                PointState::Edge(carry),
            ) => {
                for (after, before) in of(*after).zip(of(*before)) {
                    let (after, before) = match rises {
                        true => (after, before.negated()),
                        false => (after.negated(), before),
                    };
                    let earlier = carry.replace(before);
                    out.push(earlier.map_or(after, |earlier| after.edge(earlier)));
                }
            }
            // Every operation is made with its own state.
            _ => {}
        }
        self.values[index] = out;
    }
}

impl PointAtom {
    /// A point of something that is true, false or (`None`) undefined.
    fn decide(self, row: usize, truth: Option<bool>) -> RowPoint {
        match truth {
            Some(truth) => RowPoint::new(infinite(truth), truth, row, self.index),
            None => RowPoint::undefined(!self.positive, row, self.index),
        }
    }
}

/// Appends what `point` makes of each row and its number.
fn each(
    rows: Range<usize>,
    side: OperandSide<'_>,
    out: &mut Vec<RowPoint>,
    point: impl Fn(usize, f64) -> RowPoint,
) {
    match side {
        OperandSide::Fixed(value) => out.extend(rows.map(|row| point(row, value))),
        OperandSide::Each(values) => {
            out.extend(rows.zip(values).map(|(row, value)| point(row, *value)))
        }
    }
}

/// Appends what `point` makes of each row and its two numbers.
fn pairs(
    rows: Range<usize>,
    left: OperandSide<'_>,
    right: OperandSide<'_>,
    out: &mut Vec<RowPoint>,
    point: impl Fn(usize, f64, f64) -> RowPoint,
) {
    match (left, right) {
        (OperandSide::Fixed(left), right) => {
            each(rows, right, out, |row, right| point(row, left, right))
        }
        (left, OperandSide::Fixed(right)) => {
            each(rows, left, out, |row, left| point(row, left, right))
        }
        (OperandSide::Each(left), OperandSide::Each(right)) => {
            let rows = rows.zip(left.iter().zip(right));
            out.extend(rows.map(|(row, (left, right))| point(row, *left, *right)));
        }
    }
}

/// The decisive point of every sliding window, in linear time: the least for "all", the greatest
/// for "any", of equals the earliest; of an empty window true for "all", false for "any".
///
/// Memory: at most one candidate a row of the window, mostly a few, and the rows between a window
/// and its instant.
#[derive(Clone, Debug)]
struct Sliding {
    window: Window,
    quantifier: Quantifier,
    /// Points that the window has not come to yet, from the next on.
    waiting: VecDeque<RowPoint>,
    /// From the one that leaves first to the one that came last, each weaker than those before it.
    candidates: VecDeque<(usize, RowPoint)>,
    /// The decisive point, for a window that no row leaves; the last row, for a window that is
    /// there.
    kept: Option<RowPoint>,
}

impl Sliding {
    fn new(window: Window, quantifier: Quantifier) -> Self {
        Self {
            window,
            quantifier,
            waiting: VecDeque::new(),
            candidates: VecDeque::new(),
            kept: None,
        }
    }

    /// The decisive point of the rows `row + from ..= row + to` that are not past `last`; rows come
    /// from the last to the first.
    fn ahead(&mut self, row: usize, point: RowPoint, last: Option<usize>) -> RowPoint {
        let empty = RowPoint::plain(self.quantifier == Quantifier::All, row);
        if last.is_none_or(|last| row > last) {
            return empty;
        }
        if self.window.at_end {
            return *self.kept.get_or_insert(point);
        }
        let entering = self.entering(point);
        if self.window.to.is_none() {
            let quantifier = self.quantifier;
            let stays = |kept, entering| beats(quantifier, kept, entering);
            return self.keep(entering, stays).unwrap_or(empty);
        }
        if let Some(entering) = entering {
            let weaker = |back: RowPoint| !beats(self.quantifier, back, entering);
            while self
                .candidates
                .pop_back_if(|(_, back)| weaker(*back))
                .is_some()
            {}
            self.candidates
                .push_back((row + self.window.from, entering));
        }
        let to = self.window.to;
        self.candidates
            .pop_front_if(|(front, _)| to.is_some_and(|to| *front - row > to));
        self.candidates.front().map_or(empty, |(_, point)| *point)
    }

    /// The decisive point of the rows `row - to ..= row - from` that are not before the first; rows
    /// come in order.
    fn behind(&mut self, row: usize, point: RowPoint) -> RowPoint {
        let empty = RowPoint::plain(self.quantifier == Quantifier::All, row);
        let entering = self.entering(point);
        if self.window.to.is_none() {
            let quantifier = self.quantifier;
            let stays = |kept, entering| !beats(quantifier, entering, kept);
            return self.keep(entering, stays).unwrap_or(empty);
        }
        if let Some(entering) = entering {
            let weaker = |back: RowPoint| beats(self.quantifier, entering, back);
            while self
                .candidates
                .pop_back_if(|(_, back)| weaker(*back))
                .is_some()
            {}
            self.candidates
                .push_back((row - self.window.from, entering));
        }
        let to = self.window.to;
        self.candidates
            .pop_front_if(|(front, _)| to.is_some_and(|to| row - *front > to));
        self.candidates.front().map_or(empty, |(_, point)| *point)
    }

    /// Takes what comes into a window that no row leaves; gives the decisive point of all that
    /// came.
    fn keep(
        &mut self,
        entering: Option<RowPoint>,
        stays: impl Fn(RowPoint, RowPoint) -> bool,
    ) -> Option<RowPoint> {
        self.kept = match (self.kept, entering) {
            (Some(kept), Some(entering)) if !stays(kept, entering) => Some(entering),
            (None, entering) => entering,
            (kept, _) => kept,
        };
        self.kept
    }

    /// The point that comes into the window as `point` comes up; none as long as the window has not
    /// come to the first.
    fn entering(&mut self, point: RowPoint) -> Option<RowPoint> {
        if self.window.from == 0 {
            return Some(point);
        }
        self.waiting.push_back(point);
        if self.waiting.len() > self.window.from {
            self.waiting.pop_front()
        } else {
            None
        }
    }
}

/// `left until right` over a window: `right` at some row of it, `left` in every row before that
/// one. Rows come from the last to the first.
///
/// Linear by the identity of Donzé, Ferrère and Maler (CAV 2013), here for the half-open reading:
/// `l U[a,b] r` = `all[0,a) l` and `(l U r)` at `a` and `any[a,b] r`. No less: if the three are at
/// least `m`, then `r >= m` at some `t1` in the window and at some `t2` not before `a`, with `l >=
/// m` on all rows before `t2`. The earlier of the two lies in the window, and `l >= m` before it.
/// No more: plain.
#[derive(Clone, Debug)]
struct Until {
    window: Window,
    /// Without bounds, in the row after.
    later: Option<RowPoint>,
    /// The same in the rows up to the beginning of the window.
    waiting: VecDeque<RowPoint>,
    /// `all[0,a) left`.
    kept: Sliding,
    /// `any[a,b] right`.
    met: Sliding,
}

impl Until {
    fn new(window: Window) -> Self {
        let before = Window {
            from: 0,
            to: window.from.checked_sub(1),
            at_end: false,
        };
        Self {
            window,
            later: None,
            waiting: VecDeque::new(),
            kept: Sliding::new(before, Quantifier::All),
            met: Sliding::new(window, Quantifier::Any),
        }
    }

    fn next(
        &mut self,
        row: usize,
        (left, right): (RowPoint, RowPoint),
        last: Option<usize>,
    ) -> RowPoint {
        if last.is_none_or(|last| row > last) {
            return RowPoint::plain(false, row);
        }
        let here = match (self.later, self.window.at_end) {
            (None, _) => right,
            (Some(later), true) => left.and(later),
            (Some(later), false) => right.or(left.and(later)),
        };
        self.later = Some(here);
        if self.window.at_end {
            return here;
        }
        let mut point = here;
        if self.window.from > 0 {
            let kept = self.kept.ahead(row, left, last);
            self.waiting.push_back(here);
            point = if self.waiting.len() > self.window.from {
                let start = self.waiting.pop_front();
                start.map_or(RowPoint::plain(false, row), |start| start.and(kept))
            } else {
                RowPoint::plain(false, row)
            };
        }
        if self.window.to.is_some() {
            point = point.and(self.met.ahead(row, right, last));
        }
        point
    }
}

/// Whether `one` decides a window against `other`, strictly.
pub(super) fn beats(quantifier: Quantifier, one: RowPoint, other: RowPoint) -> bool {
    match quantifier {
        Quantifier::All => one.is_less(&other),
        Quantifier::Any => other.is_less(&one),
    }
}

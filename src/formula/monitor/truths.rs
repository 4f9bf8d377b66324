//! Truth without margins, one bit a row: what laws need, and the rows in which a part is looked at.
//!
//! An operation says what it is made of, a state carries what it needs from block to block. Equal
//! parts of different formulas are worked out once.

use std::collections::BTreeMap;

use super::bits::{Bits, Dilation};
use super::block::{RowBlock, TimeDirection};
use super::numbers::{Numbers, Operand, OperandSide};
use super::points::Points;
use crate::node::{Quantifier, Window};

/// How the truth of a row is found. `positive` says whether it stands under an even number of
/// negations: what is undefined counts against the whole.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum TruthOp {
    Constant(bool),
    Switch {
        value: Operand,
        positive: bool,
    },
    SameSwitch {
        left: Operand,
        right: Operand,
        same: bool,
        positive: bool,
    },
    State {
        value: Operand,
        code: usize,
        same: bool,
        positive: bool,
    },
    Ordered {
        low: Operand,
        high: Operand,
        or_equal: bool,
        positive: bool,
    },
    Not(usize),
    And(usize, usize),
    AndNot(usize, usize),
    Or(usize, usize),
    Implies(usize, usize),
    Behind {
        child: usize,
        window: Window,
        quantifier: Quantifier,
    },
    Edge {
        after: usize,
        before: usize,
        rises: bool,
    },
    /// Of the point with this index.
    OfPoint(usize),
    /// These rows and no others: the first of each range, and the one after its last.
    Rows(Vec<(usize, usize)>),
    /// Rows that a window ahead looks at from the rows of a set, none after `last`.
    LookedAhead {
        set: usize,
        window: Window,
        last: usize,
    },
    /// Rows that a window back looks at from the rows of a set.
    LookedBehind {
        set: usize,
        window: Window,
    },
    /// Rows in which `until` needs its left side: from each row of a set up to the first row of the
    /// window in which the right side holds.
    Before {
        set: usize,
        right: usize,
        window: Window,
        last: usize,
    },
}

impl TruthOp {
    /// Truths that it is made of.
    pub fn inputs(&self) -> impl Iterator<Item = usize> + use<> {
        let inputs = match self {
            Self::Not(one)
            | Self::Behind { child: one, .. }
            | Self::LookedAhead { set: one, .. }
            | Self::LookedBehind { set: one, .. } => [Some(*one), None],
            Self::And(one, two)
            | Self::AndNot(one, two)
            | Self::Or(one, two)
            | Self::Implies(one, two)
            | Self::Edge {
                after: one,
                before: two,
                ..
            }
            | Self::Before {
                set: one,
                right: two,
                ..
            } => [Some(*one), Some(*two)],
            _ => [None, None],
        };
        inputs.into_iter().flatten()
    }

    /// In which direction its rows must come.
    pub fn direction(&self) -> TimeDirection {
        match self {
            Self::Behind { .. }
            | Self::Edge { .. }
            | Self::LookedAhead { .. }
            | Self::Before { .. } => TimeDirection::Forward,
            Self::LookedBehind { .. } => TimeDirection::Backward,
            _ => TimeDirection::Either,
        }
    }

    fn state(&self) -> TruthState {
        match self {
            Self::Behind { window, .. }
            | Self::LookedAhead { window, .. }
            | Self::LookedBehind { window, .. } => {
                TruthState::Window(Dilation::new(window.from, window.to))
            }
            // Before the first row the child counts as the opposite of what the edge leads to.
            Self::Edge { rises, .. } => TruthState::Edge(!rises),
            Self::Before { .. } => TruthState::Before(WindowSearch::default()),
            _ => TruthState::None,
        }
    }
}

#[derive(Clone, Debug)]
enum TruthState {
    None,
    Window(Dilation),
    /// Truth of the child in the last row of the block before.
    Edge(bool),
    Before(WindowSearch),
}

/// The search for the rows that come before the right side of an `until`.
#[derive(Clone, Copy, Debug, Default)]
struct WindowSearch {
    /// The last row of the set: of all those before a row it needs its left side the longest.
    row: Option<usize>,
    /// The last row in which the right side held.
    met: Option<usize>,
}

/// All truths, each once.
#[derive(Debug, Default)]
pub(super) struct Truths {
    ops: Vec<TruthOp>,
    known: BTreeMap<TruthOp, usize>,
    states: Vec<TruthState>,
    values: Vec<Bits>,
    /// Room for what an operation needs in between.
    spare: Bits,
}

impl Truths {
    /// Adds one, unless it is there, and gives its index. What it is made of is there.
    pub fn add(&mut self, op: TruthOp) -> usize {
        if let Some(index) = self.known.get(&op) {
            return *index;
        }
        let index = self.ops.len();
        self.states.push(op.state());
        self.values.push(Bits::default());
        self.known.insert(op.clone(), index);
        self.ops.push(op);
        index
    }

    /// How it is found.
    pub fn op(&self, index: usize) -> &TruthOp {
        &self.ops[index]
    }

    /// Its values in the present block.
    pub fn of(&self, index: usize) -> &Bits {
        &self.values[index]
    }

    /// Its values in the present block, to be replaced by what was stored.
    pub fn of_mut(&mut self, index: usize) -> &mut Bits {
        &mut self.values[index]
    }

    /// Finds the values of one in the present block. What it is made of has its values.
    pub fn find(&mut self, index: usize, block: RowBlock, numbers: &Numbers, points: &Points) {
        let mut out = std::mem::take(&mut self.values[index]);
        let mut state = std::mem::replace(&mut self.states[index], TruthState::None);
        let mut spare = std::mem::take(&mut self.spare);
        let of = |index: usize| &self.values[index];
        let rows = block.rows;
        match (&self.ops[index], &mut state) {
            (TruthOp::Constant(truth), _) => out.fill(rows, *truth),
            (TruthOp::Switch { value, positive }, _) => {
                let nan = !positive;
                decide(&mut out, rows, numbers.side(*value), |value| {
                    if value.is_nan() { nan } else { value != 0.0 }
                });
            }
            (
                TruthOp::State {
                    value,
                    code,
                    same,
                    positive,
                },
                _,
            ) => {
                let (code, same, nan) = (*code as f64, *same, !positive);
                decide(&mut out, rows, numbers.side(*value), |value| {
                    if value.is_nan() {
                        nan
                    } else {
                        (value == code) == same
                    }
                });
            }
            (
                TruthOp::SameSwitch {
                    left,
                    right,
                    same,
                    positive,
                },
                _,
            ) => {
                let (same, nan) = (*same, !positive);
                compare(
                    &mut out,
                    rows,
                    numbers.side(*left),
                    numbers.side(*right),
                    |left, right| {
                        if left.is_nan() || right.is_nan() {
                            nan
                        } else {
                            ((left != 0.0) == (right != 0.0)) == same
                        }
                    },
                );
            }
            (
                TruthOp::Ordered {
                    low,
                    high,
                    or_equal,
                    positive,
                },
                _,
            ) => {
                let (low, high) = (numbers.side(*low), numbers.side(*high));
                let nan = !positive;
                match or_equal {
                    true => compare(&mut out, rows, low, high, |low, high| {
                        let value = high - low;
                        value >= 0.0 || (nan & value.is_nan())
                    }),
                    false => compare(&mut out, rows, low, high, |low, high| {
                        let value = high - low;
                        value > 0.0 || (nan & value.is_nan())
                    }),
                }
            }
            (TruthOp::Not(one), _) => out.of_one(of(*one), |one| !one),
            (TruthOp::And(one, two), _) => out.of_two(of(*one), of(*two), |one, two| one & two),
            (TruthOp::AndNot(one, two), _) => {
                out.of_two(of(*one), of(*two), |one, two| one & !two);
            }
            (TruthOp::Or(one, two), _) => out.of_two(of(*one), of(*two), |one, two| one | two),
            (TruthOp::Implies(one, two), _) => {
                out.of_two(of(*one), of(*two), |one, two| !one | two);
            }
            (
                TruthOp::Behind {
                    child, quantifier, ..
                },
                TruthState::Window(window),
            ) => match quantifier {
                Quantifier::Any => window.next(block.start, of(*child), &mut out),
                Quantifier::All => {
                    out.of_one(of(*child), |child| !child);
                    window.next(block.start, &out, &mut spare);
                    out.of_one(&spare, |any_false| !any_false);
                }
            },
            (
                TruthOp::Edge {
                    after,
                    before,
                    rises,
                },
                TruthState::Edge(carry),
            ) => {
                spare.of_row_before(of(*before), carry);
                match rises {
                    true => out.of_two(of(*after), &spare, |after, before| after & !before),
                    false => out.of_two(of(*after), &spare, |after, before| !after & before),
                }
            }
            (TruthOp::OfPoint(point), _) => {
                let points = points.of(*point);
                out.each(rows, |row| points[row].truth());
            }
            (TruthOp::Rows(set), _) => {
                out.clear(rows);
                for (from, to) in set {
                    let within = |row: &usize| row.saturating_sub(block.start).min(rows);
                    out.paint(within(from)..within(to));
                }
            }
            (TruthOp::LookedAhead { set, window, last }, TruthState::Window(dilation)) => {
                let end = (last + 1).saturating_sub(block.start);
                spare.of_one(of(*set), |set| set);
                spare.cut(end);
                if window.at_end {
                    if spare.any() {
                        dilation.add(*last..last + 1);
                    }
                    dilation.paint(block.start, rows, &mut out);
                } else {
                    dilation.next(block.start, &spare, &mut out);
                }
                out.cut(end);
            }
            (TruthOp::LookedBehind { set, .. }, TruthState::Window(dilation)) => {
                // Seen from the end it is a window ahead.
                let start = block.all - block.start - rows;
                dilation.next(start, &of(*set).reversed(), &mut spare);
                out = spare.reversed();
            }
            (
                TruthOp::Before {
                    set,
                    right,
                    window,
                    last,
                },
                TruthState::Before(search),
            ) => {
                let (set, right) = (of(*set), of(*right));
                out.clear(rows);
                for row in 0..rows.min((last + 1).saturating_sub(block.start)) {
                    if search.needs(
                        block.start + row,
                        set.at(row),
                        right.at(row),
                        *window,
                        *last,
                    ) {
                        out.paint(row..row + 1);
                    }
                }
            }
            // Every operation is made with its own state.
            _ => out.clear(rows),
        }
        self.values[index] = out;
        self.states[index] = state;
        self.spare = spare;
    }
}

impl WindowSearch {
    /// Whether the left side is needed in this row, not after `last`; rows come one after the
    /// other.
    fn needs(
        &mut self,
        row: usize,
        in_set: bool,
        right: bool,
        window: Window,
        last: usize,
    ) -> bool {
        let start = |row: usize| match window.at_end {
            true => last,
            false => row.saturating_add(window.from),
        };
        if in_set && start(row) <= last {
            self.row = Some(row);
        }
        if right {
            self.met = Some(row);
        }
        self.row.is_some_and(|from| {
            let end = window
                .to
                .map_or(last, |to| last.min(from.saturating_add(to)));
            row < end && self.met.is_none_or(|met| met < start(from))
        })
    }
}

fn decide(out: &mut Bits, rows: usize, value: OperandSide<'_>, truth: impl Fn(f64) -> bool) {
    match value {
        OperandSide::Fixed(value) => out.fill(rows, truth(value)),
        OperandSide::Each(values) => out.of_each(values, truth),
    }
}

fn compare(
    out: &mut Bits,
    rows: usize,
    left: OperandSide<'_>,
    right: OperandSide<'_>,
    truth: impl Fn(f64, f64) -> bool,
) {
    match (left, right) {
        (OperandSide::Fixed(left), OperandSide::Fixed(right)) => out.fill(rows, truth(left, right)),
        (OperandSide::Each(left), OperandSide::Fixed(right)) => {
            out.of_each(left, |left| truth(left, right))
        }
        (OperandSide::Fixed(left), OperandSide::Each(right)) => {
            out.of_each(right, |right| truth(left, right))
        }
        (OperandSide::Each(left), OperandSide::Each(right)) => out.of_pairs(left, right, truth),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// The definition, row by row: `until` needs its left side in a row if some row of the set
        /// begins a window that goes on after this row, and its right side has not held in that
        /// window so far.
        #[test]
        fn until_needs_its_left_side_where_the_definition_looks_at_it(
            rows in prop::collection::vec((any::<bool>(), prop::bool::weighted(0.3)), 1..24),
            from in 0_usize..4,
            length in prop::option::of(0_usize..6),
            at_end in any::<bool>(),
        ) {
            let last = rows.len() - 1;
            let window = if at_end {
                Window { from: 0, to: None, at_end }
            } else {
                Window { from, to: length.map(|length| from + length), at_end }
            };
            let mut search = WindowSearch::default();
            for row in 0..rows.len() {
                let (in_set, right) = rows[row];
                let found = search.needs(row, in_set, right, window, last);
                let needed = (0..=row).any(|begin| {
                    let first = if at_end { last } else { begin + window.from };
                    let end = window.to.map_or(last, |to| last.min(begin + to));
                    let met = (first..=row).any(|met| rows[met].1);
                    rows[begin].0 && first <= last && row < end && !met
                });
                prop_assert_eq!(found, needed, "row {} of {:?}", row, rows);
            }
        }
    }
}

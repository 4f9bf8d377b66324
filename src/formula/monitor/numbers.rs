//! Numbers of a block: signals and arithmetic on them.

use std::collections::{BTreeMap, VecDeque};

use crate::Signals;
use crate::column::apply;
use crate::node::{BinaryOp, Number, UnaryOp};

/// A number in every row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Operand {
    /// The same everywhere, as its bits.
    Fixed(u64),
    /// Index of its values.
    Each(usize),
}

/// The values of an operand in a block.
#[derive(Clone, Copy, Debug)]
pub(super) enum OperandSide<'a> {
    Fixed(f64),
    Each(&'a [f64]),
}

impl OperandSide<'_> {
    fn first(self) -> Option<f64> {
        match self {
            Self::Fixed(value) => Some(value),
            Self::Each(values) => values.first().copied(),
        }
    }

    fn last(self) -> Option<f64> {
        match self {
            Self::Fixed(value) => Some(value),
            Self::Each(values) => values.last().copied(),
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum NumberOp {
    /// Index of the signal.
    Signal(usize),
    Unary(UnaryOp, usize),
    Binary(BinaryOp, Operand, Operand),
}

/// All numbers that formulas speak of, each once.
#[derive(Debug, Default)]
pub(super) struct Numbers {
    tick_s: f64,
    /// Names of the signals.
    signals: Vec<String>,
    ops: Vec<NumberOp>,
    known: BTreeMap<NumberOp, usize>,
    /// Values of the block; of no use for a signal.
    values: Vec<NumberColumn>,
    /// The child's value in the last row of the block before.
    before: Vec<Option<f64>>,
    /// Values of each signal in the block.
    present: Vec<NumberColumn>,
    /// Of each signal the blocks before the present one that are kept, the last one last.
    past: Vec<VecDeque<NumberColumn>>,
    /// Of each signal, how many.
    kept: Vec<usize>,
    /// Rows of every block but the last.
    block_rows: usize,
}

/// The values of a number in a block. In most blocks most numbers never change: then one value
/// stands for all rows.
#[derive(Clone, Debug)]
enum NumberColumn {
    Same(f64),
    Each(Vec<f64>),
}

impl Default for NumberColumn {
    fn default() -> Self {
        Self::Each(Vec::new())
    }
}

impl NumberColumn {
    /// Of these values, as many as a block has rows, or one for all of them.
    fn of(values: Vec<f64>) -> Self {
        match values.split_first() {
            // 0 and −0 differ.
            Some((first, rest)) if rest.iter().all(|value| value.to_bits() == first.to_bits()) => {
                Self::Same(*first)
            }
            _ => Self::Each(values),
        }
    }

    /// Its room, without what stood in it.
    fn into_room(self) -> Vec<f64> {
        match self {
            Self::Same(_) => Vec::new(),
            Self::Each(mut values) => {
                values.clear();
                values
            }
        }
    }

    fn side(&self) -> OperandSide<'_> {
        match self {
            Self::Same(value) => OperandSide::Fixed(*value),
            Self::Each(values) => OperandSide::Each(values),
        }
    }
}

impl Numbers {
    /// No number yet, of rows this far apart.
    pub fn new(tick_s: f64) -> Self {
        Self {
            tick_s,
            ..Self::default()
        }
    }

    /// Names of the signals that are read.
    pub fn signals(&self) -> &[String] {
        &self.signals
    }

    /// Keeps at least so many rows of a signal before the present block of so many.
    pub fn keep(&mut self, name: &str, rows: usize, block_rows: usize) {
        let signal = self.index_of(name);
        self.kept[signal] = self.kept[signal].max(rows.div_ceil(block_rows));
    }

    /// Adds the signal of this name.
    pub fn signal(&mut self, name: &str) -> Operand {
        let signal = self.index_of(name);
        self.op(NumberOp::Signal(signal))
    }

    /// Index of the signal of this name, which is added unless it is there.
    fn index_of(&mut self, name: &str) -> usize {
        if let Some(index) = self.signals.iter().position(|known| known == name) {
            return index;
        }
        self.signals.push(name.to_owned());
        self.present.push(NumberColumn::default());
        self.past.push(VecDeque::new());
        self.kept.push(0);
        self.signals.len() - 1
    }

    /// Adds an expression.
    pub fn add(&mut self, node: &Number) -> Operand {
        match node {
            Number::Constant(value) => fixed(*value),
            Number::Signal(name) => self.signal(name),
            Number::Unary(op, child) => match self.add(child) {
                Operand::Fixed(bits) => {
                    let value = f64::from_bits(bits);
                    fixed(match op {
                        UnaryOp::Negate => -value,
                        UnaryOp::Abs => value.abs(),
                        UnaryOp::Previous => value,
                        // Not-a-number stays so.
                        UnaryOp::Change | UnaryOp::Rate => value * 0.0,
                    })
                }
                Operand::Each(child) => self.op(NumberOp::Unary(*op, child)),
            },
            Number::Binary(op, left, right) => match (self.add(left), self.add(right)) {
                (Operand::Fixed(left), Operand::Fixed(right)) => {
                    fixed(apply(*op, f64::from_bits(left), f64::from_bits(right)))
                }
                (left, right) => self.op(NumberOp::Binary(*op, left, right)),
            },
        }
    }

    /// The values of an operand in the present block.
    pub fn side(&self, operand: Operand) -> OperandSide<'_> {
        match operand {
            Operand::Fixed(bits) => OperandSide::Fixed(f64::from_bits(bits)),
            Operand::Each(index) => self.of(index),
        }
    }

    /// Takes the next block.
    pub fn next(&mut self, block: &dyn Signals) {
        self.block_rows = self.block_rows.max(block.rows());
        for signal in 0..self.signals.len() {
            self.next_of(signal, block);
        }
        for index in 0..self.ops.len() {
            let mut out = std::mem::take(&mut self.values[index]);
            match self.ops[index] {
                NumberOp::Signal(_) => {}
                NumberOp::Unary(op, child) => {
                    let child = self.of(child);
                    let before = self.before[index].or(child.first());
                    let unary = UnaryOf {
                        op,
                        before: before.unwrap_or_default(),
                        tick_s: self.tick_s,
                    };
                    out = unary.of(child, block.rows(), out);
                    self.before[index] = child.last().or(before);
                }
                NumberOp::Binary(op, left, right) => {
                    out = binary(op, self.side(left), self.side(right), out);
                }
            }
            self.values[index] = out;
        }
    }

    /// Takes the next block of a signal.
    fn next_of(&mut self, signal: usize, block: &dyn Signals) {
        let (past, kept) = (&mut self.past[signal], self.kept[signal]);
        let mut gone = std::mem::take(&mut self.present[signal]);
        if kept > 0 {
            past.push_back(gone);
            gone = match past.len() > kept {
                true => past.pop_front().unwrap_or_default(),
                false => NumberColumn::default(),
            };
        }
        let mut values = gone.into_room();
        // What is not there is undefined.
        if !block.append_signal(&self.signals[signal], &mut values) || values.len() != block.rows()
        {
            values.clear();
            values.push(f64::NAN);
        }
        self.present[signal] = NumberColumn::of(values);
    }

    /// The values of a signal in the last `rows` rows up to the row `row` of the present block, as
    /// far as they are kept; `None` if no formula speaks of it.
    pub fn last(&self, name: &str, row: usize, rows: usize) -> Option<Vec<f64>> {
        let index = self.signals.iter().position(|known| known == name)?;
        let mut values = Vec::new();
        let mut add = |column: &NumberColumn, rows: usize| match column {
            NumberColumn::Same(value) => values.extend(std::iter::repeat_n(*value, rows)),
            NumberColumn::Each(each) => values.extend(each.iter().take(rows)),
        };
        for column in &self.past[index] {
            add(column, self.block_rows);
        }
        add(&self.present[index], row + 1);
        let first = values.len().saturating_sub(rows);
        Some(values.split_off(first))
    }

    fn of(&self, index: usize) -> OperandSide<'_> {
        match self.ops[index] {
            NumberOp::Signal(signal) => self.present[signal].side(),
            _ => self.values[index].side(),
        }
    }

    fn op(&mut self, op: NumberOp) -> Operand {
        if let Some(index) = self.known.get(&op) {
            return Operand::Each(*index);
        }
        let index = self.ops.len();
        self.ops.push(op);
        self.values.push(NumberColumn::default());
        self.before.push(None);
        self.known.insert(op, index);
        Operand::Each(index)
    }
}

fn fixed(value: f64) -> Operand {
    Operand::Fixed(value.to_bits())
}

/// An operation on one number.
struct UnaryOf {
    op: UnaryOp,
    /// The child's value in the row before the first.
    before: f64,
    tick_s: f64,
}

impl UnaryOf {
    /// Its values in a block of so many rows; `out` gives the room.
    fn of(&self, child: OperandSide<'_>, rows: usize, out: NumberColumn) -> NumberColumn {
        let child = match child {
            OperandSide::Each(values) => values,
            OperandSide::Fixed(value) => {
                let (first, rest) = (self.at(value, self.before), self.at(value, value));
                if first.to_bits() == rest.to_bits() {
                    return NumberColumn::Same(rest);
                }
                let mut out = out.into_room();
                out.resize(rows, rest);
                out[..1].fill(first);
                return NumberColumn::Each(out);
            }
        };
        let mut out = out.into_room();
        let earlier = std::iter::once(&self.before).chain(child);
        let pairs = child.iter().zip(earlier);
        match self.op {
            UnaryOp::Negate => out.extend(child.iter().map(|value| -value)),
            UnaryOp::Abs => out.extend(child.iter().map(|value| value.abs())),
            UnaryOp::Previous => out.extend(pairs.map(|(_, earlier)| earlier)),
            UnaryOp::Change => out.extend(pairs.map(|(value, earlier)| value - earlier)),
            UnaryOp::Rate => {
                out.extend(pairs.map(|(value, earlier)| (value - earlier) / self.tick_s));
            }
        }
        NumberColumn::Each(out)
    }

    fn at(&self, value: f64, earlier: f64) -> f64 {
        match self.op {
            UnaryOp::Negate => -value,
            UnaryOp::Abs => value.abs(),
            UnaryOp::Previous => earlier,
            UnaryOp::Change => value - earlier,
            UnaryOp::Rate => (value - earlier) / self.tick_s,
        }
    }
}

fn binary(
    op: BinaryOp,
    left: OperandSide<'_>,
    right: OperandSide<'_>,
    out: NumberColumn,
) -> NumberColumn {
    match op {
        BinaryOp::Add => each(left, right, out, |left, right| left + right),
        BinaryOp::Subtract => each(left, right, out, |left, right| left - right),
        BinaryOp::Multiply => each(left, right, out, |left, right| left * right),
        BinaryOp::Divide => each(left, right, out, |left, right| left / right),
        BinaryOp::Min => each(left, right, out, |left, right| {
            apply(BinaryOp::Min, left, right)
        }),
        BinaryOp::Max => each(left, right, out, |left, right| {
            apply(BinaryOp::Max, left, right)
        }),
    }
}

fn each(
    left: OperandSide<'_>,
    right: OperandSide<'_>,
    out: NumberColumn,
    op: impl Fn(f64, f64) -> f64,
) -> NumberColumn {
    let mut out = out.into_room();
    match (left, right) {
        (OperandSide::Fixed(left), OperandSide::Fixed(right)) => {
            return NumberColumn::Same(op(left, right));
        }
        (OperandSide::Each(left), OperandSide::Each(right)) => {
            out.extend(
                left.iter()
                    .zip(right)
                    .map(|(left, right)| op(*left, *right)),
            );
        }
        (OperandSide::Each(left), OperandSide::Fixed(right)) => {
            out.extend(left.iter().map(|left| op(*left, right)));
        }
        (OperandSide::Fixed(left), OperandSide::Each(right)) => {
            out.extend(right.iter().map(|right| op(left, *right)));
        }
    }
    NumberColumn::Each(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0 and −0 are different numbers to a division; what has no value is the same in every row.
    #[test]
    fn one_number_stands_for_a_block_only_if_all_are_it_to_the_bit() {
        let is_same =
            |values: &[f64]| matches!(NumberColumn::of(values.to_vec()), NumberColumn::Same(_));
        assert!(is_same(&[2.0, 2.0, 2.0]) && is_same(&[f64::NAN, f64::NAN]));
        assert!(!is_same(&[0.0, -0.0]) && !is_same(&[2.0, 2.0, 3.0]) && !is_same(&[]));
    }
}

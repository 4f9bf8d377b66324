//! Numbers of a block: signals and arithmetic on them.

use std::collections::{BTreeMap, VecDeque};

use crate::formula::Signals;
use crate::formula::column::apply;
use crate::formula::node::{BinaryOp, Number, UnaryOp};

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
pub(super) enum Side<'a> {
    Fixed(f64),
    Each(&'a [f64]),
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
    /// Values of the block; empty for a signal.
    values: Vec<Vec<f64>>,
    /// The child's value in the last row of the block before.
    before: Vec<Option<f64>>,
    /// Values of the signals in the last blocks, the present one last.
    blocks: VecDeque<Vec<Vec<f64>>>,
    /// Blocks that are kept beside the present one.
    kept: usize,
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

    /// Keeps at least so many rows before the present block.
    pub fn keep(&mut self, rows: usize, block_rows: usize) {
        self.kept = self.kept.max(rows.div_ceil(block_rows));
    }

    /// Adds the signal of this name.
    pub fn signal(&mut self, name: &str) -> Operand {
        let index = match self.signals.iter().position(|known| known == name) {
            Some(index) => index,
            None => {
                self.signals.push(name.to_owned());
                self.signals.len() - 1
            }
        };
        self.op(NumberOp::Signal(index))
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
    pub fn side(&self, operand: Operand) -> Side<'_> {
        match operand {
            Operand::Fixed(bits) => Side::Fixed(f64::from_bits(bits)),
            Operand::Each(index) => Side::Each(self.of(index)),
        }
    }

    /// Takes the next block.
    pub fn next(&mut self, block: &dyn Signals) {
        let rows = block.rows();
        let mut values = if self.blocks.len() > self.kept {
            self.blocks.pop_front().unwrap_or_default()
        } else {
            Vec::new()
        };
        values.resize_with(self.signals.len(), Vec::new);
        for (name, values) in self.signals.iter().zip(&mut values) {
            values.clear();
            // What is not there is undefined.
            if !block.append_signal(name, values) || values.len() != rows {
                values.clear();
                values.resize(rows, f64::NAN);
            }
        }
        self.blocks.push_back(values);
        for index in 0..self.ops.len() {
            let mut out = std::mem::take(&mut self.values[index]);
            match self.ops[index] {
                NumberOp::Signal(_) => {}
                NumberOp::Unary(op, child) => {
                    let child = self.of(child);
                    let before = self.before[index].or(child.first().copied());
                    unary(op, child, before.unwrap_or_default(), self.tick_s, &mut out);
                    self.before[index] = child.last().copied().or(before);
                }
                NumberOp::Binary(op, left, right) => {
                    binary(op, self.side(left), self.side(right), &mut out);
                }
            }
            self.values[index] = out;
        }
    }

    /// The values of a signal in the last `rows` rows up to the row `row` of the present block, as far as they are kept;
    /// `None` if no formula speaks of it.
    pub fn last(&self, name: &str, row: usize, rows: usize) -> Option<Vec<f64>> {
        let index = self.signals.iter().position(|known| known == name)?;
        let earlier = self.blocks.len().saturating_sub(1);
        let mut values: Vec<f64> = self
            .blocks
            .iter()
            .take(earlier)
            .flat_map(|block| block[index].iter().copied())
            .collect();
        values.extend_from_slice(self.blocks.back()?[index].get(..=row)?);
        let first = values.len().saturating_sub(rows);
        Some(values.split_off(first))
    }

    fn of(&self, index: usize) -> &[f64] {
        match self.ops[index] {
            NumberOp::Signal(signal) => self.blocks.back().map_or(&[], |block| &block[signal]),
            _ => &self.values[index],
        }
    }

    fn op(&mut self, op: NumberOp) -> Operand {
        if let Some(index) = self.known.get(&op) {
            return Operand::Each(*index);
        }
        let index = self.ops.len();
        self.ops.push(op);
        self.values.push(Vec::new());
        self.before.push(None);
        self.known.insert(op, index);
        Operand::Each(index)
    }
}

fn fixed(value: f64) -> Operand {
    Operand::Fixed(value.to_bits())
}

/// `before` is the child's value in the row before the first.
fn unary(op: UnaryOp, child: &[f64], before: f64, tick_s: f64, out: &mut Vec<f64>) {
    out.clear();
    let earlier = std::iter::once(&before).chain(child);
    let pairs = child.iter().zip(earlier);
    match op {
        UnaryOp::Negate => out.extend(child.iter().map(|value| -value)),
        UnaryOp::Abs => out.extend(child.iter().map(|value| value.abs())),
        UnaryOp::Previous => out.extend(pairs.map(|(_, earlier)| earlier)),
        UnaryOp::Change => out.extend(pairs.map(|(value, earlier)| value - earlier)),
        UnaryOp::Rate => out.extend(pairs.map(|(value, earlier)| (value - earlier) / tick_s)),
    }
}

fn binary(op: BinaryOp, left: Side<'_>, right: Side<'_>, out: &mut Vec<f64>) {
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

fn each(left: Side<'_>, right: Side<'_>, out: &mut Vec<f64>, op: impl Fn(f64, f64) -> f64) {
    out.clear();
    match (left, right) {
        (Side::Each(left), Side::Each(right)) => {
            out.extend(
                left.iter()
                    .zip(right)
                    .map(|(left, right)| op(*left, *right)),
            );
        }
        (Side::Each(left), Side::Fixed(right)) => {
            out.extend(left.iter().map(|left| op(*left, right)));
        }
        (Side::Fixed(left), Side::Each(right)) => {
            out.extend(right.iter().map(|right| op(left, *right)));
        }
        // Folded when it was added.
        (Side::Fixed(_), Side::Fixed(_)) => {}
    }
}

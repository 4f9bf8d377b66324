//! Arithmetic over whole columns.

use std::borrow::Cow;

use super::Signals;
use super::node::{BinaryOp, Number, UnaryOp};

/// The values of a number in every row.
#[derive(Debug)]
pub(super) enum ValueColumn<'a> {
    /// The same in every row.
    Constant(f64),
    /// One a row.
    Rows(Cow<'a, [f64]>),
}

impl ValueColumn<'_> {
    /// The value in a row.
    pub fn at(&self, row: usize) -> f64 {
        match self {
            Self::Constant(value) => *value,
            Self::Rows(values) => values[row],
        }
    }
}

/// Values of a named column; not-a-number in every row if there is no such column of the right
/// length.
pub(super) fn signal<'a>(signals: &'a dyn Signals, name: &str) -> ValueColumn<'a> {
    match signals.signal(name) {
        Some(values) if values.len() == signals.rows() => ValueColumn::Rows(values),
        _ => ValueColumn::Constant(f64::NAN),
    }
}

/// Values of an expression.
pub(super) fn number<'a>(node: &Number, signals: &'a dyn Signals) -> ValueColumn<'a> {
    match node {
        Number::Constant(value) => ValueColumn::Constant(*value),
        Number::Signal(name) => signal(signals, name),
        Number::Unary(op, child) => unary(*op, number(child, signals), signals.tick_s()),
        Number::Binary(op, left, right) => {
            let op = *op;
            match (number(left, signals), number(right, signals)) {
                (ValueColumn::Constant(left), ValueColumn::Constant(right)) => {
                    ValueColumn::Constant(apply(op, left, right))
                }
                (ValueColumn::Rows(left), ValueColumn::Constant(right)) => {
                    each(left, |_, value| apply(op, value, right))
                }
                (ValueColumn::Constant(left), ValueColumn::Rows(right)) => {
                    each(right, |_, value| apply(op, left, value))
                }
                (ValueColumn::Rows(left), ValueColumn::Rows(right)) => {
                    each(left, |row, value| apply(op, value, right[row]))
                }
            }
        }
    }
}

/// One operation on two numbers; undefined if either is.
pub(super) fn apply(op: BinaryOp, left: f64, right: f64) -> f64 {
    match op {
        BinaryOp::Add => left + right,
        BinaryOp::Subtract => left - right,
        BinaryOp::Multiply => left * right,
        BinaryOp::Divide => left / right,
        // The standard ones would drop a NaN.
        BinaryOp::Min | BinaryOp::Max if left.is_nan() || right.is_nan() => f64::NAN,
        BinaryOp::Min => left.min(right),
        BinaryOp::Max => left.max(right),
    }
}

fn unary<'a>(op: UnaryOp, child: ValueColumn<'a>, tick_s: f64) -> ValueColumn<'a> {
    let values = match child {
        ValueColumn::Constant(value) => {
            return ValueColumn::Constant(match op {
                UnaryOp::Negate => -value,
                UnaryOp::Abs => value.abs(),
                UnaryOp::Previous => value,
                // Not-a-number stays so.
                UnaryOp::Change | UnaryOp::Rate => value * 0.0,
            });
        }
        ValueColumn::Rows(values) => values,
    };
    // Carried along, because the column may be changed in place.
    let mut before = values.first().copied().unwrap_or_default();
    each(values, |_, value| {
        let earlier = std::mem::replace(&mut before, value);
        match op {
            UnaryOp::Negate => -value,
            UnaryOp::Abs => value.abs(),
            UnaryOp::Previous => earlier,
            UnaryOp::Change => value - earlier,
            UnaryOp::Rate => (value - earlier) / tick_s,
        }
    })
}

/// Replaces every value, in place if the column is ours already.
fn each<'a>(values: Cow<'a, [f64]>, mut new: impl FnMut(usize, f64) -> f64) -> ValueColumn<'a> {
    let mut values = values.into_owned();
    for (row, value) in values.iter_mut().enumerate() {
        *value = new(row, *value);
    }
    ValueColumn::Rows(Cow::Owned(values))
}

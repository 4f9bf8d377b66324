//! What a comparison is measured against: how large its limit is, and whether it stands for an
//! equality.

use super::node::{BinaryOp, Number, Truth, UnaryOp};
use super::parts::numbers_of;

/// Largest tolerance, in the unit of the comparison, with which `abs(a - b) <= tolerance` stands
/// for `a == b`.
pub const EQUALITY_TOLERANCE: f64 = 0.001;

/// What a comparison is measured against.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Limit {
    /// Magnitude of the limit: of what does not change when everything that does stands on the
    /// other side; `None` if nothing is left.
    pub size: Option<f64>,
    /// Whether it stands for an equality.
    pub equality: bool,
}

/// The limit of the comparison with the index `atom`; nothing if a switch or a state has it.
pub(super) fn of(root: &Truth, atom: usize) -> Limit {
    if let Truth::Ordered {
        low,
        high,
        atom: found,
        ..
    } = root
        && *found == atom
    {
        return between(low, high);
    }
    root.children()
        .into_iter()
        .map(|child| of(child, atom))
        .find(|limit| *limit != Limit::default())
        .unwrap_or_default()
}

/// `low <= high`, put as "what changes <= what does not".
fn between(low: &Number, high: &Number) -> Limit {
    let size = (fixed_part(high) - fixed_part(low)).abs();
    let changes = changes(low) || changes(high);
    let tolerance = matches!(low, Number::Unary(UnaryOp::Abs, _)) && !self::changes(high);
    Limit {
        size: (changes && size > 0.0 && size.is_finite()).then_some(size),
        equality: tolerance && changes && size <= EQUALITY_TOLERANCE,
    }
}

/// Whether a number may differ from row to row.
fn changes(number: &Number) -> bool {
    let mut signals = Vec::new();
    numbers_of(number, &mut signals);
    !signals.is_empty()
}

/// The sum of the terms that do not change. A product or a quotient by what does not change is
/// taken term by term; inside any other function nothing is taken apart.
fn fixed_part(number: &Number) -> f64 {
    match number {
        Number::Constant(value) => *value,
        Number::Signal(_) => 0.0,
        Number::Unary(UnaryOp::Negate, child) => -fixed_part(child),
        Number::Unary(UnaryOp::Previous, child) => fixed_part(child),
        Number::Unary(..) => 0.0,
        Number::Binary(BinaryOp::Add, left, right) => fixed_part(left) + fixed_part(right),
        Number::Binary(BinaryOp::Subtract, left, right) => fixed_part(left) - fixed_part(right),
        Number::Binary(BinaryOp::Multiply, left, right) => match (changes(left), changes(right)) {
            (true, true) => 0.0,
            _ => fixed_part(left) * fixed_part(right),
        },
        Number::Binary(BinaryOp::Divide, left, right) if !changes(right) => {
            fixed_part(left) / fixed_part(right)
        }
        Number::Binary(..) => 0.0,
    }
}

//! The semantics written down a second time, row by row as in the papers: slow, for comparison only.

use std::ops::Range;

use crate::formula::column;
use crate::formula::node::{Quantifier, Truth, Window};

use super::{Columns, Signals};

/// Truth of a node in a row, by logic alone.
pub(super) fn holds(node: &Truth, columns: &Columns, row: usize) -> bool {
    let on = |name: &str| column::signal(columns, name).at(row) != 0.0;
    match node {
        Truth::Constant(truth) => *truth,
        Truth::Switch { signal, .. } => on(signal),
        Truth::SameSwitch {
            left, right, same, ..
        } => (on(left) == on(right)) == *same,
        Truth::State {
            signal, code, same, ..
        } => (column::signal(columns, signal).at(row) == *code as f64) == *same,
        Truth::Ordered {
            low,
            high,
            or_equal,
            ..
        } => {
            let low = column::number(low, columns).at(row);
            let high = column::number(high, columns).at(row);
            low < high || (*or_equal && low == high)
        }
        Truth::Not(child) => !holds(child, columns, row),
        Truth::And(left, right) => holds(left, columns, row) && holds(right, columns, row),
        Truth::Or(left, right) => holds(left, columns, row) || holds(right, columns, row),
        Truth::Implies(left, right) => !holds(left, columns, row) || holds(right, columns, row),
        Truth::Ahead {
            quantifier,
            window,
            reach,
            child,
        } => {
            let mut rows = ahead(*window, *reach, columns, row);
            match quantifier {
                Quantifier::All => rows.all(|row| holds(child, columns, row)),
                Quantifier::Any => rows.any(|row| holds(child, columns, row)),
            }
        }
        Truth::Behind {
            quantifier,
            window,
            child,
        } => {
            let mut rows = behind(*window, row);
            match quantifier {
                Quantifier::All => rows.all(|row| holds(child, columns, row)),
                Quantifier::Any => rows.any(|row| holds(child, columns, row)),
            }
        }
        Truth::Until {
            window,
            reach,
            left,
            right,
        } => ahead(*window, *reach, columns, row).any(|met| {
            holds(right, columns, met) && (row..met).all(|row| holds(left, columns, row))
        }),
        Truth::Edge { rises, child } => {
            let now = holds(child, columns, row) == *rises;
            now && (row == 0 || holds(child, columns, row - 1) != *rises)
        }
    }
}

/// Value of a node in a row, by the quantitative semantics.
pub(super) fn value(node: &Truth, columns: &Columns, row: usize) -> f64 {
    let plain = |truth: bool| {
        if truth {
            f64::INFINITY
        } else {
            f64::NEG_INFINITY
        }
    };
    let at = |node: &Truth, row: usize| value(node, columns, row);
    let least = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::INFINITY, f64::min);
    let greatest = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::NEG_INFINITY, f64::max);
    match node {
        Truth::Constant(_)
        | Truth::Switch { .. }
        | Truth::SameSwitch { .. }
        | Truth::State { .. } => plain(holds(node, columns, row)),
        Truth::Ordered { low, high, .. } => {
            column::number(high, columns).at(row) - column::number(low, columns).at(row)
        }
        Truth::Not(child) => -at(child, row),
        Truth::And(left, right) => at(left, row).min(at(right, row)),
        Truth::Or(left, right) => at(left, row).max(at(right, row)),
        Truth::Implies(left, right) => (-at(left, row)).max(at(right, row)),
        Truth::Ahead {
            quantifier,
            window,
            reach,
            child,
        } => {
            let mut values = ahead(*window, *reach, columns, row).map(|row| at(child, row));
            match quantifier {
                Quantifier::All => least(&mut values),
                Quantifier::Any => greatest(&mut values),
            }
        }
        Truth::Behind {
            quantifier,
            window,
            child,
        } => {
            let mut values = behind(*window, row).map(|row| at(child, row));
            match quantifier {
                Quantifier::All => least(&mut values),
                Quantifier::Any => greatest(&mut values),
            }
        }
        Truth::Until {
            window,
            reach,
            left,
            right,
        } => greatest(
            &mut ahead(*window, *reach, columns, row)
                .map(|met| least(&mut (row..met).map(|row| at(left, row))).min(at(right, met))),
        ),
        Truth::Edge { rises, child } => {
            let sign = if *rises { 1.0 } else { -1.0 };
            let now = sign * at(child, row);
            match row.checked_sub(1) {
                Some(before) => now.min(-sign * at(child, before)),
                None => now,
            }
        }
    }
}

/// Rows of a window to come, no further than where windows inside are whole.
fn ahead(window: Window, reach: usize, columns: &Columns, row: usize) -> Range<usize> {
    let end = columns.rows().saturating_sub(reach);
    let from = row + window.from;
    let past = window.to.map_or(end, |to| end.min(row + to + 1));
    from..past
}

/// Rows of a window gone by.
fn behind(window: Window, row: usize) -> Range<usize> {
    match row.checked_sub(window.from) {
        Some(last) => window.to.map_or(0, |to| row.saturating_sub(to))..last + 1,
        None => 0..0,
    }
}

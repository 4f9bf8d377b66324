//! The semantics written down a second time, row by row as in the papers: slow, for comparison
//! only.

use std::collections::BTreeSet;
use std::ops::Range;

use crate::column;
use crate::node::{Quantifier, Truth, Window};

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
        Truth::Not { child, .. } => !holds(child, columns, row),
        Truth::And(left, right) => holds(left, columns, row) && holds(right, columns, row),
        Truth::Or(left, right) => holds(left, columns, row) || holds(right, columns, row),
        Truth::Implies { left, right, .. } => {
            !holds(left, columns, row) || holds(right, columns, row)
        }
        Truth::Ahead {
            quantifier,
            window,
            reach,
            child,
            ..
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
            ..
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
            ..
        } => ahead(*window, *reach, columns, row).any(|met| {
            holds(right, columns, met) && (row..met).all(|row| holds(left, columns, row))
        }),
        Truth::Edge { rises, child, .. } => {
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
        Truth::Not { child, .. } => -at(child, row),
        Truth::And(left, right) => at(left, row).min(at(right, row)),
        Truth::Or(left, right) => at(left, row).max(at(right, row)),
        Truth::Implies { left, right, .. } => (-at(left, row)).max(at(right, row)),
        Truth::Ahead {
            quantifier,
            window,
            reach,
            child,
            ..
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
            ..
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
            ..
        } => greatest(
            &mut ahead(*window, *reach, columns, row)
                .map(|met| least(&mut (row..met).map(|row| at(left, row))).min(at(right, met))),
        ),
        Truth::Edge { rises, child, .. } => {
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
    if window.at_end {
        return if row < end { end - 1..end } else { 0..0 };
    }
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

/// Whether a formula that holds had a part with nothing to judge: the rows of every part one by
/// one, as sets.
///
/// `wanted` says whether the part must hold or must not.
pub(super) fn never_tested(
    node: &Truth,
    wanted: bool,
    columns: &Columns,
    rows: &BTreeSet<usize>,
) -> bool {
    if rows.is_empty() {
        return false;
    }
    let is = |node: &Truth, truth: bool, rows: &BTreeSet<usize>| -> BTreeSet<usize> {
        let so = |row: &usize| holds(node, columns, *row) == truth;
        rows.iter().copied().filter(so).collect()
    };
    let again = |node: &Truth, wanted: bool, rows: &BTreeSet<usize>| {
        never_tested(node, wanted, columns, rows)
    };
    let within = |rows_of: &dyn Fn(usize) -> Range<usize>| -> BTreeSet<usize> {
        rows.iter().flat_map(|row| rows_of(*row)).collect()
    };
    let parts = alternatives(node, wanted);
    if parts.len() > 1 {
        let denies = |(node, wanted): &(&Truth, bool)| match node {
            Truth::State { same, .. } => wanted != same,
            _ => !wanted,
        };
        let claims = parts.iter().filter(|part| !denies(part)).count();
        if claims == 0 {
            let met = |(node, wanted): &(&Truth, bool)| !is(node, !wanted, rows).is_empty();
            return !parts.iter().any(met)
                || parts
                    .iter()
                    .any(|(node, wanted)| again(node, *wanted, rows));
        }
        // Rows in which every denial fails.
        let mut met = rows.clone();
        for (node, wanted) in parts.iter().filter(|part| denies(part)) {
            met = is(node, !wanted, &met);
        }
        return met.is_empty()
            || parts.iter().any(|part| {
                let rows = if denies(part) { rows } else { &met };
                again(part.0, part.1, rows)
            });
    }
    match node {
        Truth::Not { child, .. } => again(child, !wanted, rows),
        Truth::And(left, right) | Truth::Or(left, right) => {
            again(left, wanted, rows) || again(right, wanted, rows)
        }
        Truth::Implies { left, right, .. } if wanted => {
            let met = is(left, true, rows);
            met.is_empty() || again(left, false, rows) || again(right, true, &met)
        }
        Truth::Implies { left, right, .. } => again(left, true, rows) || again(right, false, rows),
        Truth::Ahead {
            window,
            reach,
            child,
            ..
        } => {
            let inside = within(&|row| ahead(*window, *reach, columns, row));
            inside.is_empty() || again(child, wanted, &inside)
        }
        Truth::Behind { window, child, .. } => {
            let inside = within(&|row| behind(*window, row));
            inside.is_empty() || again(child, wanted, &inside)
        }
        Truth::Until {
            window,
            reach,
            left,
            right,
            ..
        } => {
            let inside = within(&|row| ahead(*window, *reach, columns, row));
            let needed = within(&|row| {
                let mut window = ahead(*window, *reach, columns, row);
                let last = window.clone().last();
                let met = window.find(|met| holds(right, columns, *met)).or(last);
                met.map_or(0..0, |met| row..met)
            });
            inside.is_empty()
                || (needed.is_empty() && wanted)
                || again(left, wanted, &needed)
                || again(right, wanted, &inside)
        }
        _ => false,
    }
}

/// Parts of which one is enough, each with whether it must hold.
fn alternatives(node: &Truth, wanted: bool) -> Vec<(&Truth, bool)> {
    match node {
        Truth::Not { child, .. } => alternatives(child, !wanted),
        Truth::Or(left, right) if wanted => {
            [alternatives(left, true), alternatives(right, true)].concat()
        }
        Truth::And(left, right) if !wanted => {
            [alternatives(left, false), alternatives(right, false)].concat()
        }
        _ => vec![(node, wanted)],
    }
}

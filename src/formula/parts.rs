//! What the nodes of a formula are made of: signals, windows, comparisons, and the text of each
//! part.

use std::ops::Range;

use super::node::{Atom, Number, Truth};

pub(super) fn signals_of<'a>(node: &'a Truth, found: &mut Vec<&'a str>) {
    match node {
        Truth::Switch { signal, .. } | Truth::State { signal, .. } => note(signal, found),
        Truth::SameSwitch { left, right, .. } => {
            note(left, found);
            note(right, found);
        }
        Truth::Ordered { low, high, .. } => {
            numbers_of(low, found);
            numbers_of(high, found);
        }
        _ => {}
    }
    for child in node.children() {
        signals_of(child, found);
    }
}

pub(super) fn numbers_of<'a>(node: &'a Number, found: &mut Vec<&'a str>) {
    match node {
        Number::Constant(_) => {}
        Number::Signal(name) => note(name, found),
        Number::Unary(_, child) => numbers_of(child, found),
        Number::Binary(_, left, right) => {
            numbers_of(left, found);
            numbers_of(right, found);
        }
    }
}

fn note<'a>(name: &'a str, found: &mut Vec<&'a str>) {
    if !found.contains(&name) {
        found.push(name);
    }
}

/// Indices of the comparisons of numbers.
pub(super) fn comparisons(node: &Truth) -> Vec<usize> {
    match node {
        Truth::Ordered { atom, .. } => vec![*atom],
        _ => node.children().into_iter().flat_map(comparisons).collect(),
    }
}

/// Conjuncts without a window that looks ahead, as far as they speak of signals; `whole` is the
/// text of `node`.
pub(super) fn first_row_only(
    node: &Truth,
    atoms: &[Atom],
    text: &str,
    whole: Range<usize>,
    found: &mut Vec<Range<usize>>,
) {
    if !looks_ahead(node) {
        let mut signals = Vec::new();
        signals_of(node, &mut signals);
        if !signals.is_empty() {
            found.push(whole);
        }
    } else if let Truth::And(left, right) = node {
        for side in [left, right] {
            let span = span_of(side, atoms, text).unwrap_or_else(|| whole.clone());
            first_row_only(side, atoms, text, span, found);
        }
    }
}

fn looks_ahead(node: &Truth) -> bool {
    matches!(node, Truth::Ahead { .. } | Truth::Until { .. })
        || node.children().into_iter().any(looks_ahead)
}

/// The text of a part, without brackets round the whole of it.
fn span_of(node: &Truth, atoms: &[Atom], text: &str) -> Option<Range<usize>> {
    match node {
        Truth::Switch { atom, .. }
        | Truth::SameSwitch { atom, .. }
        | Truth::State { atom, .. }
        | Truth::Ordered { atom, .. } => atoms.get(*atom).map(|atom| atom.span.clone()),
        Truth::Constant(_) => None,
        Truth::Not { span, .. }
        | Truth::Ahead { span, .. }
        | Truth::Behind { span, .. }
        | Truth::Edge { span, .. }
        | Truth::Until { span, .. } => Some(span.clone()),
        Truth::And(left, right) | Truth::Or(left, right) | Truth::Implies { left, right, .. } => {
            let (left, right) = (span_of(left, atoms, text)?, span_of(right, atoms, text)?);
            Some(balanced(text, left.start..right.end))
        }
    }
}

/// The span made wider until every bracket in it has its partner.
fn balanced(text: &str, mut span: Range<usize>) -> Range<usize> {
    loop {
        let (mut open, mut missing) = (0_usize, 0_usize);
        for byte in text.get(span.clone()).unwrap_or_default().bytes() {
            match byte {
                b'(' => open += 1,
                b')' if open > 0 => open -= 1,
                b')' => missing += 1,
                _ => {}
            }
        }
        let before = text.get(..span.start).and_then(|text| text.rfind('('));
        let after = text.get(span.end..).and_then(|text| text.find(')'));
        match (missing, open, before, after) {
            (1.., _, Some(start), _) => span.start = start,
            (_, 1.., _, Some(end)) => span.end += end + 1,
            _ => return span,
        }
    }
}

pub(super) fn windows_of(node: &Truth, tick_s: f64, length_s: f64, found: &mut Vec<[f64; 2]>) {
    if let Truth::Ahead { window, .. } | Truth::Until { window, .. } = node {
        let span = match window.at_end {
            true => [length_s; 2],
            false => [
                window.from as f64 * tick_s,
                window.to.map_or(length_s, |to| to as f64 * tick_s),
            ],
        };
        if !found.contains(&span) {
            found.push(span);
        }
        return;
    }
    for child in node.children() {
        windows_of(child, tick_s, length_s, found);
    }
}

/// A comparison: its lower and higher side, its index, and whether it must hold; `None` below an
/// edge.
pub(super) type Found<'a> = (&'a Number, &'a Number, usize, Option<bool>);

/// Every comparison of numbers that is wanted; `holds` says whether the part of the formula must
/// hold.
pub(super) fn ordered<'a>(
    node: &'a Truth,
    holds: Option<bool>,
    wanted: &dyn Fn(usize) -> bool,
    found: &mut Vec<Found<'a>>,
) {
    let denied = holds.map(|holds| !holds);
    match node {
        Truth::Ordered {
            low, high, atom, ..
        } if wanted(*atom) => found.push((low, high, *atom, holds)),
        Truth::Not { child, .. } => ordered(child, denied, wanted, found),
        Truth::Implies { left, right, .. } => {
            ordered(left, denied, wanted, found);
            ordered(right, holds, wanted, found);
        }
        Truth::Edge { child, .. } => ordered(child, None, wanted, found),
        _ => {
            for child in node.children() {
                ordered(child, holds, wanted, found);
            }
        }
    }
}

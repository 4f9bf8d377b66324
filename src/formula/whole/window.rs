//! The decisive point of every sliding window over a whole column.

use std::cmp::Ordering;
use std::collections::VecDeque;

use crate::node::{Quantifier, Window};
use crate::point::RowPoint;

/// For every row `t`, the decisive point of the rows `t + from ..= t + to` that are not past
/// `last`.
///
/// "All" takes the least, "any" the greatest, of equals the earliest; an empty window gives what it
/// must give: true for "all", false for "any".
pub(crate) fn ahead(
    points: &[RowPoint],
    window: Window,
    last: Option<usize>,
    quantifier: Quantifier,
) -> Vec<RowPoint> {
    let rows = points.len();
    let mut found: Vec<RowPoint> = (0..rows)
        .map(|row| RowPoint::plain(quantifier == Quantifier::All, row))
        .collect();
    let Some(last) = last.filter(|last| *last < rows) else {
        return found;
    };
    if window.at_end {
        found[..=last].fill(points[last]);
        return found;
    }
    // Candidates from the farthest (front) to the nearest (back), each weaker than those before it.
    let mut candidates: VecDeque<u32> = VecDeque::new();
    for row in (0..rows).rev() {
        let Some(entering) = row.checked_add(window.from).filter(|row| *row <= last) else {
            continue;
        };
        while candidates
            .back()
            .is_some_and(|back| !beats(quantifier, points[*back as usize], points[entering]))
        {
            candidates.pop_back();
        }
        candidates.push_back(entering as u32);
        if let Some(to) = window.to {
            while candidates
                .front()
                .is_some_and(|front| *front as usize - row > to)
            {
                candidates.pop_front();
            }
        }
        if let Some(front) = candidates.front() {
            found[row] = points[*front as usize];
        }
    }
    found
}

/// For every row `t`, the decisive point of the rows `t - to ..= t - from` that are not before the
/// first.
pub(crate) fn behind(points: &[RowPoint], window: Window, quantifier: Quantifier) -> Vec<RowPoint> {
    let mut candidates: VecDeque<u32> = VecDeque::new();
    let mut found = Vec::with_capacity(points.len());
    for row in 0..points.len() {
        if let Some(entering) = row.checked_sub(window.from) {
            while candidates
                .back()
                .is_some_and(|back| beats(quantifier, points[entering], points[*back as usize]))
            {
                candidates.pop_back();
            }
            candidates.push_back(entering as u32);
        }
        if let Some(to) = window.to {
            while candidates
                .front()
                .is_some_and(|front| row - *front as usize > to)
            {
                candidates.pop_front();
            }
        }
        found.push(match candidates.front() {
            Some(front) => points[*front as usize],
            None => RowPoint::plain(quantifier == Quantifier::All, row),
        });
    }
    found
}

/// Whether `one` decides a window against `other`, strictly.
fn beats(quantifier: Quantifier, one: RowPoint, other: RowPoint) -> bool {
    match quantifier {
        Quantifier::All => rank(one, other).is_lt(),
        Quantifier::Any => rank(one, other).is_gt(),
    }
}

/// The order of margins: by value and, at equal values, false before true.
fn rank(one: RowPoint, other: RowPoint) -> Ordering {
    let values = one.value.partial_cmp(&other.value);
    values
        .expect("no margin is a NaN")
        .then(one.truth().cmp(&other.truth()))
}

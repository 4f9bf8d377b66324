//! Windows: seconds to ticks, and the least or greatest point of every sliding window in linear time.

use std::collections::VecDeque;
use std::ops::Range;

use trimproof_plant::FileError;

use super::Names;
use super::node::{Quantifier, Window};
use super::point::Point;

/// Part of a tick by which a window bound may miss a row and still include it: absorbs the rounding of
/// decimal seconds, far below anything that means another row.
const TICK_SLACK: f64 = 1e-6;

/// Rows of a whole scenario.
///
/// # Errors
/// A tick or a length that is not a positive number.
pub(super) fn length_ticks(names: &Names) -> Result<usize, FileError> {
    let ticks = names.length_s / names.tick_s;
    if names.tick_s > 0.0 && ticks.is_finite() && ticks >= 1.0 {
        Ok((ticks + TICK_SLACK).floor() as usize)
    } else {
        Err(FileError::new(format!(
            "a scenario of `{}` s has no whole tick of `{}` s to judge",
            names.length_s, names.tick_s
        )))
    }
}

/// A window in seconds as it stands in the text; a time is `None` for `end`, `from_s` only if both
/// are.
#[derive(Clone, Debug)]
pub(super) struct Stated {
    pub from_s: Option<f64>,
    pub to_s: Option<f64>,
    pub span: Range<usize>,
}

impl Stated {
    /// The rows that lie inside: never one outside of what was written.
    ///
    /// # Errors
    /// Negative times, a reversed window, one past the end of the scenario, one without a row.
    pub fn in_ticks(&self, names: &Names) -> Result<Window, FileError> {
        let fault = |message: String, help: String| {
            Err(FileError::new(message)
                .with_help(help)
                .with_span(self.span.clone()))
        };
        let Some(from_s) = self.from_s else {
            return Ok(Window {
                at_end: true,
                ..Window::WHOLE
            });
        };
        let (tick_s, length_s) = (names.tick_s, names.length_s);
        let last_s = self.to_s.unwrap_or(from_s);
        if from_s < 0.0 || last_s < 0.0 {
            return fault(
                format!("window starts at `{}` s", from_s.min(last_s)),
                "times in a window are 0 or more: look back with `once` or `historically`"
                    .to_owned(),
            );
        }
        if last_s < from_s {
            return fault(
                format!("window `[{from_s}, {last_s}]` is reversed"),
                format!("write `[{last_s}, {from_s}]`"),
            );
        }
        if last_s / tick_s > length_s / tick_s + TICK_SLACK {
            return fault(
                format!("window reaches `{last_s}` s, the scenario ends at `{length_s}` s"),
                format!("keep it within `{length_s}` s, or write `end` as its second time"),
            );
        }
        let from = (from_s / tick_s - TICK_SLACK).ceil().max(0.0) as usize;
        let to = self
            .to_s
            .map(|to_s| (to_s / tick_s + TICK_SLACK).floor() as usize);
        if to.is_some_and(|to| to < from) {
            return fault(
                format!("window `[{from_s}, {last_s}]` is empty: no tick falls into it"),
                format!("there is a row every `{tick_s}` s"),
            );
        }
        Ok(Window {
            from,
            to,
            at_end: false,
        })
    }
}

/// For every row `t`, the decisive point of the rows `t + from ..= t + to` that are not past `last`.
///
/// "All" takes the least, "any" the greatest, of equals the earliest; an empty window gives what it must give:
/// true for "all", false for "any".
pub(super) fn ahead(
    points: &[Point],
    window: Window,
    last: Option<usize>,
    quantifier: Quantifier,
) -> Vec<Point> {
    let rows = points.len();
    let mut found: Vec<Point> = (0..rows)
        .map(|row| Point::plain(quantifier == Quantifier::All, row))
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

/// For every row `t`, the decisive point of the rows `t - to ..= t - from` that are not before the first.
pub(super) fn behind(points: &[Point], window: Window, quantifier: Quantifier) -> Vec<Point> {
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
            None => Point::plain(quantifier == Quantifier::All, row),
        });
    }
    found
}

/// Whether `one` decides a window against `other`, strictly.
fn beats(quantifier: Quantifier, one: Point, other: Point) -> bool {
    match quantifier {
        Quantifier::All => one.rank(other).is_lt(),
        Quantifier::Any => one.rank(other).is_gt(),
    }
}

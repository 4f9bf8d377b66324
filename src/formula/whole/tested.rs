//! Whether an expectation that holds was put to the test, by a walk over a whole trace.

use std::ops::Range;

use super::evaluate::{self, last_whole};
use crate::Signals;
use crate::node::{Truth, Window};
use crate::tested::{Choice, Rows, Tested, ahead, behind, disjuncts, push, without_brackets};

/// Finds the first part of `root` that had nothing to judge, in the order of the text.
pub(crate) fn tested(root: &Truth, text: &str, signals: &dyn Signals) -> Tested {
    let mut walk = WholeWalk {
        text,
        signals,
        found: None,
    };
    let first_row = std::iter::once(0..1).collect();
    walk.part(root, true, first_row, &(0..text.len()));
    walk.found.map_or(Tested::Yes, Tested::Never)
}

struct WholeWalk<'a> {
    text: &'a str,
    signals: &'a dyn Signals,
    found: Option<String>,
}

impl WholeWalk<'_> {
    /// `wanted` says whether the part must hold or must not; `around` is the nearest text that the
    /// part stands in.
    fn part(&mut self, node: &Truth, wanted: bool, rows: Rows, around: &Range<usize>) {
        if self.found.is_some() || rows.is_empty() {
            return;
        }
        let mut choices = Vec::new();
        disjuncts(node, wanted, around, &mut choices);
        if choices.len() > 1 {
            let around = match node {
                Truth::Not { inner, .. } => inner,
                _ => around,
            };
            return self.choices(&choices, &rows, around);
        }
        match node {
            Truth::Not { child, inner, .. } => self.part(child, !wanted, rows, inner),
            Truth::And(left, right) | Truth::Or(left, right) => {
                self.part(left, wanted, rows.clone(), around);
                self.part(right, wanted, rows, around);
            }
            Truth::Implies { left, right, span } if wanted => {
                let met = self.where_it_is(left, true, &rows);
                if met.is_empty() {
                    let part = self.quoted(span);
                    return self.never(format!("{part} was never true where it was looked at"));
                }
                self.part(left, false, rows, span);
                self.part(right, true, met, around);
            }
            Truth::Implies { left, right, span } => {
                self.part(left, true, rows.clone(), span);
                self.part(right, false, rows, around);
            }
            Truth::Ahead {
                window,
                reach,
                child,
                span,
                ..
            } => {
                let inside = ahead(&rows, *window, last_whole(self.signals.rows(), *reach));
                self.inside(child, wanted, inside, span);
            }
            Truth::Behind {
                window,
                child,
                span,
                ..
            } => self.inside(child, wanted, behind(&rows, *window), span),
            Truth::Until {
                window,
                reach,
                left,
                right,
                span,
            } => {
                let last = last_whole(self.signals.rows(), *reach);
                let met = ahead(&rows, *window, last);
                let before = self.before(right, &rows, *window, last);
                if before.is_empty() && !met.is_empty() && wanted {
                    let part = self.quoted(span);
                    return self.never(format!("the left side of {part} was never needed"));
                }
                self.part(left, wanted, before, span);
                self.inside(right, wanted, met, span);
            }
            // An edge is true once and false once by itself: what stands in it was both.
            Truth::Edge { .. }
            | Truth::Constant(_)
            | Truth::Switch { .. }
            | Truth::SameSwitch { .. }
            | Truth::State { .. }
            | Truth::Ordered { .. } => {}
        }
    }

    /// Alternatives, of which one is enough. If some are denials and some are not it is an
    /// implication in other words: where none of the denials holds, one of the others must.
    fn choices(&mut self, choices: &[Choice<'_>], rows: &Rows, around: &Range<usize>) {
        let (denials, claims): (Vec<_>, Vec<_>) =
            choices.iter().partition(|choice| choice.is_denial());
        let mut met = rows.clone();
        if claims.is_empty() {
            // Either may be read as the condition of the others: only if none was ever met is
            // nothing shown.
            let never = denials
                .iter()
                .all(|one| self.where_it_is(one.node, !one.wanted, rows).is_empty());
            if never {
                let part = self.quoted(around);
                return self.never(format!("no part of {part} was ever true"));
            }
        } else {
            for one in &denials {
                met = self.where_it_is(one.node, !one.wanted, &met);
            }
            if met.is_empty() {
                let part = self.quoted(around);
                return self.never(format!("the condition in {part} was never true"));
            }
        }
        for one in denials {
            self.leaf(one, rows.clone());
        }
        for one in claims {
            self.leaf(one, met.clone());
        }
    }

    fn leaf(&mut self, choice: &Choice<'_>, rows: Rows) {
        self.part(choice.node, choice.wanted, rows, &choice.around);
    }

    /// What stands in a window, in the rows that the window looks at.
    fn inside(&mut self, child: &Truth, wanted: bool, rows: Rows, span: &Range<usize>) {
        if rows.is_empty() {
            let part = self.quoted(span);
            return self.never(format!("{part} looked at nothing"));
        }
        self.part(child, wanted, rows, span);
    }

    /// The rows among `rows` in which the part is true, or not.
    fn where_it_is(&self, node: &Truth, truth: bool, rows: &Rows) -> Rows {
        // What is undefined is neither: it meets no condition.
        let points = evaluate::rows_within(node, self.signals, truth);
        let mut found = Rows::new();
        for row in rows.iter().flat_map(Clone::clone) {
            if points.get(row).is_some_and(|point| point.truth() == truth) {
                push(&mut found, row..row + 1);
            }
        }
        found
    }

    /// The rows in which `until` needs its left side: from each instant up to the first row of the
    /// window in which the right side holds.
    fn before(&self, right: &Truth, rows: &Rows, window: Window, last: Option<usize>) -> Rows {
        let mut found = Rows::new();
        let Some(last) = last else { return found };
        let points = evaluate::rows_within(right, self.signals, true);
        // For every row the first one from there on in which the right side holds.
        let mut next = vec![usize::MAX; last + 2];
        for row in (0..=last).rev() {
            next[row] = if points.get(row).is_some_and(|point| point.truth()) {
                row
            } else {
                next[row + 1]
            };
        }
        for row in rows.iter().flat_map(Clone::clone) {
            let start = match window.at_end {
                true => last,
                false => row.saturating_add(window.from),
            };
            if start > last || row > last {
                continue;
            }
            let end = window
                .to
                .map_or(last, |to| last.min(row.saturating_add(to)));
            push(&mut found, row..next[start].min(end));
        }
        found
    }

    fn never(&mut self, why: String) {
        self.found.get_or_insert(why);
    }

    fn quoted(&self, span: &Range<usize>) -> String {
        let text = self.text.get(span.clone()).unwrap_or_default().trim();
        format!("`{}`", without_brackets(text))
    }
}

//! Whether an expectation that holds was put to the test, asked of the graph.
//!
//! The formula is walked from the root with the set of rows that each part is looked at in: the
//! root in the first row, what stands in a window in all rows of the window, the right side of an
//! implication only where its left side is true. An implication whose left side is true in none of
//! its rows, and a window without a row, could not have failed there. The definition stands in
//! `docs/model/formulas.md`.

use std::ops::Range;

use super::graph::Graph;
use super::plan::last_whole;
use super::truths::TruthOp;
use crate::node::{Truth, Window};
use crate::tested::{Choice, Rows, Tested, ahead, behind, disjuncts, without_brackets};

/// What must be so for an expectation to have been put to the test, in the order of the text.
#[derive(Debug)]
pub(super) struct Checks(Vec<Check>);

/// Never put to the test if there is a row in each of `given`, and none in any of `missing`.
#[derive(Debug)]
struct Check {
    given: Vec<GuardFlag>,
    missing: Vec<GuardFlag>,
    why: Why,
}

/// Whether a set has a row.
#[derive(Clone, Copy, Debug)]
enum GuardFlag {
    Known(bool),
    /// Index in the graph.
    Asked(usize),
}

/// What is said of the part with this place in the text.
#[derive(Debug)]
enum Why {
    NeverTrue(Range<usize>),
    NoConditionTrue(Range<usize>),
    NoPartTrue(Range<usize>),
    NothingLookedAt(Range<usize>),
    NeverNeeded(Range<usize>),
}

/// Rows in which a part is looked at.
#[derive(Clone, Debug)]
enum GuardSet {
    /// The same in every run.
    Fixed(Rows),
    /// Index of a truth.
    Found(usize),
}

impl Checks {
    /// Adds to the graph what must be known of a formula.
    pub fn of(root: &Truth, text: &str, graph: &mut Graph) -> Self {
        let mut walk = Walk {
            graph,
            found: Vec::new(),
        };
        let first_row = GuardSet::Fixed(std::iter::once(0..1).collect());
        walk.part(root, true, &first_row, &(0..text.len()));
        Self(walk.found)
    }

    /// The first that is not so, once all passes are over.
    pub fn tested(&self, text: &str, graph: &Graph) -> Tested {
        let is = |flag: &GuardFlag| match flag {
            GuardFlag::Known(is) => *is,
            GuardFlag::Asked(any) => graph.found(*any),
        };
        self.0
            .iter()
            .find(|check| check.given.iter().all(is) && !check.missing.iter().any(is))
            .map_or(Tested::Yes, |check| Tested::Never(check.why.text(text)))
    }
}

impl Why {
    fn text(&self, text: &str) -> String {
        let quoted = |span: &Range<usize>| {
            let part = text.get(span.clone()).unwrap_or_default().trim();
            format!("`{}`", without_brackets(part))
        };
        match self {
            Self::NeverTrue(span) => {
                format!("{} was never true where it was looked at", quoted(span))
            }
            Self::NoConditionTrue(span) => {
                format!("the condition in {} was never true", quoted(span))
            }
            Self::NoPartTrue(span) => format!("no part of {} was ever true", quoted(span)),
            Self::NothingLookedAt(span) => format!("{} looked at nothing", quoted(span)),
            Self::NeverNeeded(span) => {
                format!("the left side of {} was never needed", quoted(span))
            }
        }
    }
}

struct Walk<'a> {
    graph: &'a mut Graph,
    found: Vec<Check>,
}

impl Walk<'_> {
    /// `wanted` says whether the part must hold or must not; `around` is the nearest text that the
    /// part stands in.
    fn part(&mut self, node: &Truth, wanted: bool, rows: &GuardSet, around: &Range<usize>) {
        if matches!(rows, GuardSet::Fixed(rows) if rows.is_empty()) {
            return;
        }
        let mut choices = Vec::new();
        disjuncts(node, wanted, around, &mut choices);
        if choices.len() > 1 {
            let around = match node {
                Truth::Not { inner, .. } => inner,
                _ => around,
            };
            return self.choices(&choices, rows, around);
        }
        match node {
            Truth::Not { child, inner, .. } => self.part(child, !wanted, rows, inner),
            Truth::And(left, right) | Truth::Or(left, right) => {
                self.part(left, wanted, rows, around);
                self.part(right, wanted, rows, around);
            }
            Truth::Implies { left, right, span } if wanted => {
                let met = self.where_it_is(left, true, rows);
                self.check(&[rows], &[&met], Why::NeverTrue(span.clone()));
                self.part(left, false, rows, span);
                self.part(right, true, &met, around);
            }
            Truth::Implies { left, right, span } => {
                self.part(left, true, rows, span);
                self.part(right, false, rows, around);
            }
            Truth::Ahead {
                window,
                reach,
                child,
                span,
                ..
            } => {
                let inside = self.ahead(rows, *window, last_whole(self.graph.rows, *reach));
                self.inside(child, wanted, rows, &inside, span);
            }
            Truth::Behind {
                window,
                child,
                span,
                ..
            } => {
                let inside = match rows {
                    GuardSet::Fixed(rows) => GuardSet::Fixed(behind(rows, *window)),
                    GuardSet::Found(set) => {
                        GuardSet::Found(self.graph.truth(TruthOp::LookedBehind {
                            set: *set,
                            window: *window,
                        }))
                    }
                };
                self.inside(child, wanted, rows, &inside, span);
            }
            Truth::Until {
                window,
                reach,
                left,
                right,
                span,
            } => {
                let last = last_whole(self.graph.rows, *reach);
                let met = self.ahead(rows, *window, last);
                let before = match last {
                    None => GuardSet::Fixed(Rows::new()),
                    Some(last) => {
                        let op = TruthOp::Before {
                            set: self.index(rows),
                            right: self.graph.truth_of(right, true),
                            window: *window,
                            last,
                        };
                        GuardSet::Found(self.graph.truth(op))
                    }
                };
                if wanted {
                    self.check(&[rows, &met], &[&before], Why::NeverNeeded(span.clone()));
                }
                self.part(left, wanted, &before, span);
                self.inside(right, wanted, rows, &met, span);
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
    fn choices(&mut self, choices: &[Choice<'_>], rows: &GuardSet, around: &Range<usize>) {
        let (denials, claims): (Vec<_>, Vec<_>) =
            choices.iter().partition(|choice| choice.is_denial());
        let mut met = rows.clone();
        if claims.is_empty() {
            // Either may be read as the condition of the others: only if none was ever met is
            // nothing shown.
            let ever: Vec<GuardSet> = denials
                .iter()
                .map(|one| self.where_it_is(one.node, !one.wanted, rows))
                .collect();
            let ever: Vec<&GuardSet> = ever.iter().collect();
            self.check(&[rows], &ever, Why::NoPartTrue(around.clone()));
        } else {
            for one in &denials {
                met = self.where_it_is(one.node, !one.wanted, &met);
            }
            self.check(&[rows], &[&met], Why::NoConditionTrue(around.clone()));
        }
        for one in denials {
            self.part(one.node, one.wanted, rows, &one.around);
        }
        for one in claims {
            self.part(one.node, one.wanted, &met, &one.around);
        }
    }

    /// What stands in a window, in the rows that the window looks at from `rows`.
    fn inside(
        &mut self,
        child: &Truth,
        wanted: bool,
        rows: &GuardSet,
        inside: &GuardSet,
        span: &Range<usize>,
    ) {
        self.check(&[rows], &[inside], Why::NothingLookedAt(span.clone()));
        self.part(child, wanted, inside, span);
    }

    fn ahead(&mut self, rows: &GuardSet, window: Window, last: Option<usize>) -> GuardSet {
        match (rows, last) {
            (_, None) => GuardSet::Fixed(Rows::new()),
            (GuardSet::Fixed(rows), _) => GuardSet::Fixed(ahead(rows, window, last)),
            (GuardSet::Found(set), Some(last)) => {
                GuardSet::Found(self.graph.truth(TruthOp::LookedAhead {
                    set: *set,
                    window,
                    last,
                }))
            }
        }
    }

    /// The rows among `rows` in which the part is true, or not.
    fn where_it_is(&mut self, node: &Truth, truth: bool, rows: &GuardSet) -> GuardSet {
        if matches!(rows, GuardSet::Fixed(rows) if rows.is_empty()) {
            return rows.clone();
        }
        let set = self.index(rows);
        // What is undefined is neither: it meets no condition.
        let part = self.graph.truth_of(node, truth);
        GuardSet::Found(self.graph.truth(match truth {
            true => TruthOp::And(set, part),
            false => TruthOp::AndNot(set, part),
        }))
    }

    fn index(&mut self, rows: &GuardSet) -> usize {
        match rows {
            GuardSet::Fixed(rows) => {
                let ranges = rows.iter().map(|range| (range.start, range.end));
                self.graph.truth(TruthOp::Rows(ranges.collect()))
            }
            GuardSet::Found(set) => *set,
        }
    }

    fn check(&mut self, given: &[&GuardSet], missing: &[&GuardSet], why: Why) {
        let given = given.iter().map(|set| self.flag(set)).collect();
        let missing = missing.iter().map(|set| self.flag(set)).collect();
        self.found.push(Check {
            given,
            missing,
            why,
        });
    }

    fn flag(&mut self, set: &GuardSet) -> GuardFlag {
        match set {
            GuardSet::Fixed(rows) => GuardFlag::Known(!rows.is_empty()),
            GuardSet::Found(set) => GuardFlag::Asked(self.graph.any(*set)),
        }
    }
}

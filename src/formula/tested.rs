//! Whether an expectation that holds was put to the test: the answer, and sets of rows in which
//! parts of a formula are looked at. `monitor/checks.rs` asks the question.

use std::ops::Range;

use super::node::{Truth, Window};

/// Whether an expectation was put to the test: whether it could have failed where it looked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Tested {
    /// Every part that has a condition met its condition at least once. A broken expectation was
    /// always put to the test.
    Yes,
    /// It holds, but some part of it had nothing to judge; the text says which.
    Never(String),
}

impl Tested {
    /// Whether it was put to the test.
    pub fn is_yes(&self) -> bool {
        *self == Self::Yes
    }

    /// Why it was not; `None` if it was.
    pub fn never(&self) -> Option<&str> {
        match self {
            Self::Yes => None,
            Self::Never(why) => Some(why),
        }
    }
}

/// Rows in which a part is looked at: ranges in order, with gaps between them.
pub(super) type Rows = Vec<Range<usize>>;

/// One of several alternatives.
pub(super) struct Choice<'a> {
    pub node: &'a Truth,
    pub wanted: bool,
    /// The nearest text that it stands in.
    pub around: Range<usize>,
}

impl Choice<'_> {
    /// Whether it says that something is not so.
    pub fn is_denial(&self) -> bool {
        let is_not = matches!(self.node, Truth::State { same: false, .. });
        self.wanted == is_not
    }
}

/// The alternatives of which one is enough for `node` to be as it is `wanted`.
pub(super) fn disjuncts<'a>(
    node: &'a Truth,
    wanted: bool,
    around: &Range<usize>,
    found: &mut Vec<Choice<'a>>,
) {
    match (node, wanted) {
        (Truth::Or(left, right), true) | (Truth::And(left, right), false) => {
            disjuncts(left, wanted, around, found);
            disjuncts(right, wanted, around, found);
        }
        (Truth::Not { child, inner, .. }, _) => disjuncts(child, !wanted, inner, found),
        _ => found.push(Choice {
            node,
            wanted,
            around: around.clone(),
        }),
    }
}

/// Rows that a window ahead looks at from `rows`, none after `last`.
pub(super) fn ahead(rows: &Rows, window: Window, last: Option<usize>) -> Rows {
    let mut found = Rows::new();
    let Some(last) = last else { return found };
    for range in rows {
        let (from, to) = match window.at_end {
            true if range.start > last => continue,
            true => (last, last),
            false => (
                range.start.saturating_add(window.from),
                window
                    .to
                    .map_or(last, |to| last.min((range.end - 1).saturating_add(to))),
            ),
        };
        push(&mut found, from..to + 1);
    }
    found
}

/// Rows that a window back looks at from `rows`.
pub(super) fn behind(rows: &Rows, window: Window) -> Rows {
    let mut found = Rows::new();
    for range in rows {
        let first = range.start.max(window.from);
        if first < range.end {
            let from = window.to.map_or(0, |to| first.saturating_sub(to));
            push(&mut found, from..range.end - window.from);
        }
    }
    found
}

/// Adds a range that starts no earlier than the last one.
pub(super) fn push(rows: &mut Rows, range: Range<usize>) {
    if range.is_empty() {
        return;
    }
    match rows.last_mut() {
        Some(last) if range.start <= last.end => {
            last.start = last.start.min(range.start);
            last.end = last.end.max(range.end);
        }
        _ => rows.push(range),
    }
}

/// A text without the brackets that stand round the whole of it.
pub(super) fn without_brackets(text: &str) -> &str {
    let Some(inner) = text
        .strip_prefix('(')
        .and_then(|rest| rest.strip_suffix(')'))
    else {
        return text;
    };
    let mut depth = 0_i32;
    for byte in inner.bytes() {
        depth += i32::from(byte == b'(') - i32::from(byte == b')');
        if depth < 0 {
            return text;
        }
    }
    without_brackets(inner.trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ranges that touch or overlap become one, empty ones are none: between two there is always a
    /// gap.
    #[test]
    fn ranges_are_joined_where_they_meet() {
        let mut rows = Rows::new();
        for range in [0..0, 1..3, 3..4, 3..3, 3..6, 4..5, 7..9] {
            push(&mut rows, range);
        }
        assert_eq!(rows, [1..6, 7..9]);
    }

    #[test]
    fn only_brackets_round_the_whole_are_taken_off() {
        for (text, bare) in [
            ("((a < 3))", "a < 3"),
            ("( a )", "a"),
            ("(a) or (b)", "(a) or (b)"),
            ("(a or (b))", "a or (b)"),
            ("a", "a"),
        ] {
            assert_eq!(without_brackets(text), bare);
        }
    }
}

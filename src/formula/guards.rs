//! Where an expectation is put to the test: the left sides of its implications, for those who draw
//! it.

use std::ops::Range;

use super::node::Truth;
use super::{Formula, Signals, monitor};

/// The left side of an implication: where it holds, the right side is put to the test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Guard {
    /// Its text.
    pub text: String,
    /// Whether it holds, one a row.
    pub holds: Vec<bool>,
}

impl Formula {
    /// The left sides of its outermost implications, in the order of the text. Of `a implies (b
    /// implies c)` it is where both hold.
    pub fn guards(&self, signals: &dyn Signals) -> Vec<Guard> {
        let mut found = Vec::new();
        guards_of(&self.root, &mut found);
        found
            .into_iter()
            .map(|lefts| {
                let mut holds = vec![true; signals.rows()];
                for (left, _) in &lefts {
                    let truths = monitor::truth_in_every_row(left, signals);
                    for (holds, truth) in holds.iter_mut().zip(truths) {
                        *holds = *holds && truth;
                    }
                }
                let texts: Vec<&str> = lefts
                    .iter()
                    .filter_map(|(_, span)| self.text.get((*span).clone()))
                    .map(str::trim)
                    .collect();
                Guard {
                    text: texts.join(" and "),
                    holds,
                }
            })
            .collect()
    }
}

/// The left sides of an implication and of those that follow in its right side, each with its place
/// in the text.
type Lefts<'a> = Vec<(&'a Truth, &'a Range<usize>)>;

fn guards_of<'a>(node: &'a Truth, found: &mut Vec<Lefts<'a>>) {
    let mut lefts = Lefts::new();
    let mut node = node;
    while let Truth::Implies { left, right, span } = node {
        lefts.push((left.as_ref(), span));
        node = right;
    }
    if !lefts.is_empty() {
        found.push(lefts);
        return;
    }
    for child in node.children() {
        guards_of(child, found);
    }
}

#[cfg(test)]
mod tests {
    use crate::sides::tests::{Ramp, formula};

    #[test]
    fn guards_say_where_the_right_side_is_put_to_the_test() {
        let of = |text: &str| -> Vec<(String, Vec<bool>)> {
            let guards = formula(text).guards(&Ramp);
            guards
                .into_iter()
                .map(|guard| (guard.text, guard.holds))
                .collect()
        };
        let rows = |on: [u8; 5]| on.map(|on| on == 1).to_vec();
        let one = |text: &str, on| vec![(text.to_owned(), rows(on))];
        assert_eq!(
            of("always(a >= 2 implies b < 3)"),
            one("a >= 2", [0, 0, 1, 1, 1])
        );
        assert_eq!(
            of("always[0.5, 1]((rises(a > 1) or a > (b + 1)) implies eventually[0, 0.5](b < 3))"),
            one("(rises(a > 1) or a > (b + 1))", [0, 0, 1, 0, 1])
        );
        assert_eq!(
            of("always(a > 0 implies (a < 3 implies b < 3))"),
            one("a > 0 and a < 3", [0, 1, 1, 0, 0])
        );
        assert_eq!(
            of("always(a > 0 implies a < 3 implies b < 3)"),
            one("a > 0 and a < 3", [0, 1, 1, 0, 0])
        );
        assert_eq!(
            of("always(a > 2 implies b < 3) and always(a < 1 implies b < 3)").len(),
            2
        );
        assert!(of("always(a < 9)").is_empty());
    }
}

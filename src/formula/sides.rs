//! What a formula is made of, for those who draw it: its signals, its windows, the two sides of a
//! comparison.

use super::column;
use super::formula::Formula;
use super::node::Number;
use super::parts::{ordered, signals_of, windows_of};
use super::signals::Signals;

/// The two sides of a comparison over a whole trace, as the formula wants them: `low` below `high`.
#[derive(Clone, Debug, PartialEq)]
pub struct Sides {
    /// Text of the side that must be the lower one.
    pub low_text: String,
    /// Text of the side that must be the higher one.
    pub high_text: String,
    /// Whether the formula wants it so wherever it looks. Not below `rises` and `falls`, which want
    /// it once so and once the other way round, nor where the same comparison stands twice, once
    /// denied.
    pub certain: bool,
    /// Unit of both; empty for plain numbers.
    pub unit: String,
    /// Values of the lower side, one a row; not-a-number where undefined.
    pub low: Vec<f64>,
    /// Values of the higher side, one a row; not-a-number where undefined.
    pub high: Vec<f64>,
}

impl Formula {
    /// Names of the signals it speaks of, each once, in the order of the text.
    pub fn signals(&self) -> Vec<&str> {
        let mut found = Vec::new();
        signals_of(&self.root, &mut found);
        found
    }

    /// The outermost windows, `[from, to]` in s from the start, each once: when the formula looks.
    /// Windows to the end go to `length_s`; a formula without a window that looks ahead is judged
    /// at 0 s and gives none.
    pub fn windows_s(&self, length_s: f64) -> Vec<[f64; 2]> {
        let mut found = Vec::new();
        windows_of(&self.root, self.tick_s, length_s, &mut found);
        found
    }

    /// The sides of the comparison with the text `decided_by` (see [`crate::Margin::decided_by`]);
    /// `None` if a switch or a state decided, or there is no such comparison.
    pub fn sides(&self, decided_by: &str, signals: &dyn Signals) -> Option<Sides> {
        let wanted = |atom: usize| {
            let atom = self.atoms.get(atom);
            atom.is_some_and(|atom| self.slice(atom.span.clone()) == decided_by)
        };
        let mut found = Vec::new();
        ordered(&self.root, Some(true), &wanted, &mut found);
        let &(low, high, atom, holds) = found.first()?;
        let certain = holds.is_some() && found.iter().all(|other| other.3 == holds);
        // A comparison is of numbers, and no number has a comparison in it.
        let at = decided_by.find(['<', '>'])?;
        let (left, right) = decided_by.split_at(at);
        let (left, right) = (
            left.trim(),
            right.trim_start_matches(['<', '>', '=']).trim(),
        );
        let (low_text, high_text) = match decided_by.as_bytes()[at] {
            b'<' => (left, right),
            _ => (right, left),
        };
        let values = |number: &Number| {
            let column = column::number(number, signals);
            (0..signals.rows()).map(|row| column.at(row)).collect()
        };
        let sides = Sides {
            low_text: low_text.to_owned(),
            high_text: high_text.to_owned(),
            certain,
            unit: self.atoms[atom].unit.clone(),
            low: values(low),
            high: values(high),
        };
        // What must not hold is wanted the other way round.
        Some(if holds == Some(false) {
            Sides {
                low_text: sides.high_text,
                high_text: sides.low_text,
                low: sides.high,
                high: sides.low,
                ..sides
            }
        } else {
            sides
        })
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::{Names, SignalKind, SignalName};
    use std::borrow::Cow;

    /// Five rows: `a` climbs by one a row, `b` stays at two.
    pub(crate) struct Ramp;

    impl Signals for Ramp {
        fn rows(&self) -> usize {
            5
        }
        fn tick_s(&self) -> f64 {
            0.5
        }
        fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
            match name {
                "a" => Some(Cow::Owned(vec![0.0, 1.0, 2.0, 3.0, 4.0])),
                "b" => Some(Cow::Owned(vec![2.0; 5])),
                _ => None,
            }
        }
    }

    /// `text`, read with the names of [`Ramp`] and a switch `s`.
    pub(crate) fn formula(text: &str) -> Formula {
        let signal = |name: &str, kind| SignalName {
            name: name.to_owned(),
            unit: if kind == SignalKind::Number {
                "deg"
            } else {
                ""
            }
            .to_owned(),
            kind,
        };
        let names = Names {
            signals: vec![
                signal("a", SignalKind::Number),
                signal("b", SignalKind::Number),
                signal("s", SignalKind::Switch),
            ],
            length_s: 2.0,
            tick_s: 0.5,
            ..Names::default()
        };
        Formula::parse(text, &names).unwrap()
    }

    #[test]
    fn signals_come_once_and_in_order() {
        let read = formula("always(b < 3 and s implies eventually[0, 1](abs(a - b) <= 2))");
        assert_eq!(read.signals(), ["b", "s", "a"]);
    }

    #[test]
    fn only_the_outermost_windows_count() {
        let read = formula("always[0.5, 1](a < 9) and eventually(always[0, 0.5](b > 1))");
        assert_eq!(read.windows_s(2.0), [[0.5, 1.0], [0.0, 2.0]]);
        assert!(formula("a < 9").windows_s(2.0).is_empty());
        let twice = formula("always[0.5, 1](a < 9) and always[0.5, 1](b < 9)");
        assert_eq!(twice.windows_s(2.0), [[0.5, 1.0]]);
    }

    #[test]
    fn the_sides_of_what_decided_are_distinguished_whichever_way_it_is_written() {
        for (text, low, high) in [
            ("always(2 * a <= b + 1)", "2 * a", "b + 1"),
            ("always(b + 1 >= 2 * a)", "2 * a", "b + 1"),
        ] {
            let read = formula(text);
            let margin = read.evaluate(&Ramp);
            let sides = read.sides(&margin.decided_by, &Ramp).unwrap();
            assert_eq!((&*sides.low_text, &*sides.high_text), (low, high), "{text}");
            assert_eq!(sides.unit, margin.unit);
            assert_eq!(sides.low, [0.0, 2.0, 4.0, 6.0, 8.0]);
            assert_eq!(sides.high, [3.0; 5]);
            // At the worst instant the distance of the sides is the margin.
            let row = (margin.at_s / 0.5) as usize;
            assert_eq!(sides.high[row] - sides.low[row], margin.value);
        }
        // What must not hold is wanted the other way round, as often as it is denied.
        let of = |text: &str| formula(text).sides("a < 1", &Ramp).unwrap();
        for (text, low, certain) in [
            ("always(not a < 1)", "1", true),
            ("always(a < 1 implies s)", "1", true),
            ("always(not (a < 1 implies s))", "a", true),
            ("always(s implies a < 1)", "a", true),
            ("always(rises(a < 1) implies s)", "a", false),
            ("always(a < 1) or always(not a < 1)", "a", false),
        ] {
            let sides = of(text);
            assert_eq!((&*sides.low_text, sides.certain), (low, certain), "{text}");
        }
        assert_eq!(formula("always(s)").sides("s", &Ramp), None);
        assert_eq!(formula("always(a < 1)").sides("b < 1", &Ramp), None);
    }
}

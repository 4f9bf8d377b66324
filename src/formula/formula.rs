//! A formula that has been read and checked, and the margin that a trace gives it.

use std::ops::Range;

use trimproof_diagnostics::FileError;

use crate::node::{Atom, Truth};
use crate::point::RowPoint;
use crate::signals::Names;
use crate::tested::Tested;
use crate::{grammar, limit, parts, window};

/// A formula that has been read and checked.
#[derive(Clone, Debug)]
pub struct Formula {
    pub(crate) text: String,
    pub(crate) root: Truth,
    pub(crate) atoms: Vec<Atom>,
    pub(crate) tick_s: f64,
    /// Rows that a trace must have for every window to be whole.
    rows_needed: usize,
}

/// How far a formula holds (positive) or fails (negative) on a trace, and where that was decided.
#[derive(Clone, Debug, PartialEq)]
pub struct Margin {
    /// Whether it holds. Not simply `value > 0`: a comparison with `<=` holds at margin 0, one with
    /// `<` does not; and nothing holds on a trace that is not [`complete`](Self::complete).
    pub held: bool,
    /// How far, in `unit`; infinite when a switch, a state or something undefined decided.
    pub value: f64,
    /// The worst instant: the row in which the deciding comparison had this value, s from the
    /// start. For an edge it may be the row before.
    pub at_s: f64,
    /// Unit of the deciding comparison; empty for switches, states and plain numbers.
    pub unit: String,
    /// Text of the deciding comparison, empty if nothing decided (an empty window).
    pub decided_by: String,
    /// Whether the trace was long enough for every window, and of the tick that the formula was
    /// checked for.
    pub complete: bool,
    /// Whether the deciding comparison has no value there (0/0, or a column that the trace lacks):
    /// it counts against the formula.
    pub undefined: bool,
    /// Magnitude of the limit of the deciding comparison, in `unit`: what does not change, when
    /// everything that does stands on the other side. `None` where there is none, and for switches
    /// and states.
    pub limit: Option<f64>,
    /// Whether the deciding comparison stands for an equality: `abs(...)` of at most
    /// [`crate::EQUALITY_TOLERANCE`].
    pub equality: bool,
    /// Whether it was put to the test. What does not hold was.
    pub tested: Tested,
}

impl Margin {
    /// Of a trace without rows, or one that could not be judged: nothing holds on it.
    pub(crate) fn of_nothing() -> Self {
        Self {
            held: false,
            value: f64::NEG_INFINITY,
            at_s: 0.0,
            unit: String::new(),
            decided_by: String::new(),
            complete: false,
            undefined: false,
            limit: None,
            equality: false,
            tested: Tested::Yes,
        }
    }
}

impl Formula {
    /// Reads a formula and checks it.
    ///
    /// # Errors
    /// With a span inside `text` and mostly a help line: what cannot be read, unknown names (the
    /// nearest one is offered), numbers where truth is needed and the reverse, different units,
    /// windows that are empty, reversed or past the end of the scenario, and formulas that are
    /// nested too deeply.
    pub fn parse(text: &str, names: &Names) -> Result<Self, FileError> {
        let length_ticks = window::length_ticks(names)?;
        let parsed = grammar::parse(text, names)?;
        let rows_needed = if parsed.to_end {
            length_ticks
        } else {
            length_ticks.min(parsed.reach + 1)
        };
        Ok(Self {
            text: text.to_owned(),
            root: parsed.root,
            atoms: parsed.atoms,
            tick_s: names.tick_s,
            rows_needed,
        })
    }

    /// Reads a formula that is judged in every row of traces of any length: a law. It may only look
    /// back.
    ///
    /// # Errors
    /// As [`Formula::parse`]; also if it looks ahead.
    pub fn parse_law(text: &str, names: &Names) -> Result<Self, FileError> {
        let parsed = grammar::parse(text, names)?;
        if parsed.reach > 0 || parsed.to_end {
            return Err(FileError::new("a law looks ahead").with_help(
                "a law is judged in every row of runs of any length: say it with `once`, `historically` and `prev`, without `always`",
            ));
        }
        Ok(Self {
            text: text.to_owned(),
            root: parsed.root,
            atoms: parsed.atoms,
            tick_s: names.tick_s,
            rows_needed: 1,
        })
    }

    /// Whether a trace of so many rows, so far apart, is long enough for every window, and of the
    /// tick that the formula was checked for.
    pub(crate) fn is_complete(&self, rows: usize, tick_s: f64) -> bool {
        let same_tick = (tick_s - self.tick_s).abs() <= 1e-9 * self.tick_s;
        same_tick && rows >= self.rows_needed
    }

    /// The margin of a point; whether it was put to the test is not looked at.
    pub(crate) fn margin(&self, point: RowPoint, tick_s: f64, complete: bool) -> Margin {
        let (unit, span) = match self.atoms.get(point.atom()) {
            Some(atom) => (atom.unit.clone(), atom.span.clone()),
            None => (String::new(), 0..0),
        };
        let held = complete && point.truth();
        let limit = limit::of(&self.root, point.atom());
        Margin {
            held,
            // Adding zero turns a negative zero into a plain one.
            value: point.value + 0.0,
            at_s: point.row() as f64 * tick_s,
            unit,
            decided_by: self.slice(span),
            complete,
            undefined: point.is_undefined(),
            limit: limit.size,
            equality: limit.equality,
            tested: Tested::Yes,
        }
    }

    /// The text that the formula was read from.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Parts that speak of signals but stand in no window: they are judged in the first row only.
    /// Each is given as its place in the text; a whole formula if none of it stands in a window.
    pub fn first_row_only(&self) -> Vec<Range<usize>> {
        let mut found = Vec::new();
        let whole = 0..self.text.len();
        parts::first_row_only(&self.root, &self.atoms, &self.text, whole, &mut found);
        found
    }

    /// Units of its comparisons of numbers, each once, in the order of the text; empty for plain
    /// numbers.
    pub fn units(&self) -> Vec<&str> {
        let mut found = Vec::new();
        for index in parts::comparisons(&self.root) {
            if let Some(atom) = self.atoms.get(index)
                && !found.contains(&atom.unit.as_str())
            {
                found.push(atom.unit.as_str());
            }
        }
        found
    }

    /// The shortest trace on which the formula can be judged, s: for windows to the end, the whole
    /// scenario.
    pub fn needed_s(&self) -> f64 {
        self.rows_needed as f64 * self.tick_s
    }

    pub(crate) fn slice(&self, span: Range<usize>) -> String {
        self.text.get(span).unwrap_or_default().to_owned()
    }
}

//! Expectations as text: formulas of signal temporal logic over the columns of a trace.
//!
//! [`Formula::parse`] reads the text and checks it against the names, units of time and length of a
//! scenario; [`Formula::evaluate`] gives the [`Margin`] on a trace: by how much, where and when.
//! The language and its meaning are described in `docs/model/formulas.md`.

mod builder;
mod column;
mod grammar;
mod guards;
mod lexer;
mod limit;
mod lookup;
mod monitor;
mod node;
mod parts;
mod point;
mod scratch;
mod tested;
#[cfg(any(test, feature = "reference"))]
pub mod whole;
mod window;

#[cfg(test)]
mod tests;

use std::borrow::Cow;
use std::ops::Range;

use trimproof_diagnostics::FileError;

pub use guards::Guard;
pub use limit::EQUALITY_TOLERANCE;
pub use monitor::{BLOCK_ROWS, Findings, Monitor, judge_whole};
pub use parts::Sides;
pub use tested::Tested;

/// What formulas are evaluated on: equally long columns, one row a control tick.
pub trait Signals {
    /// Number of rows.
    fn rows(&self) -> usize;

    /// Time from one row to the next, s.
    fn tick_s(&self) -> f64;

    /// The column of this name, `None` if there is none. Switches are 0 and 1, states their index in
    /// [`Names::states`].
    fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>>;

    /// Appends the column of this name to `values`, and says whether there is one; as [`Self::signal`], without room of its own.
    fn append_signal(&self, name: &str, values: &mut Vec<f64>) -> bool {
        let column = self.signal(name);
        values.extend_from_slice(column.as_deref().unwrap_or_default());
        column.is_some()
    }
}

/// What a formula may speak of, and the scenario that it is checked against.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Names {
    /// The columns of the trace.
    pub signals: Vec<SignalName>,
    /// Named numbers, such as `rig.pitch.breakout_n`.
    pub constants: Vec<(String, f64)>,
    /// State names; the code of a state is its index here.
    pub states: Vec<String>,
    /// Length of the scenario, s.
    pub length_s: f64,
    /// Time from one row of the trace to the next, s.
    pub tick_s: f64,
}

/// One column that a formula may speak of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignalName {
    /// Dotted name, such as `pitch.stick_deg`.
    pub name: String,
    /// Unit as it is shown, empty for switches and states.
    pub unit: String,
    /// What its values mean.
    pub kind: SignalKind,
}

/// What the values of a column mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SignalKind {
    /// A number, in the column's unit.
    Number,
    /// A truth value: 0 is false, anything else true.
    Switch,
    /// A state: its index in [`Names::states`].
    State,
}

/// A formula that has been read and checked.
#[derive(Clone, Debug)]
pub struct Formula {
    text: String,
    root: node::Truth,
    atoms: Vec<node::Atom>,
    tick_s: f64,
    /// Rows that a trace must have for every window to be whole.
    rows_needed: usize,
}

/// How far a formula holds (positive) or fails (negative) on a trace, and where that was decided.
#[derive(Clone, Debug, PartialEq)]
pub struct Margin {
    /// Whether it holds. Not simply `value > 0`: a comparison with `<=` holds at margin 0, one with `<`
    /// does not; and nothing holds on a trace that is not [`complete`](Self::complete).
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
    /// Whether the trace was long enough for every window, and of the tick that the formula was checked for.
    pub complete: bool,
    /// Whether the deciding comparison has no value there (0/0, or a column that the trace lacks):
    /// it counts against the formula.
    pub undefined: bool,
    /// Magnitude of the limit of the deciding comparison, in `unit`: what does not change, when
    /// everything that does stands on the other side. `None` where there is none, and for switches
    /// and states.
    pub limit: Option<f64>,
    /// Whether the deciding comparison stands for an equality: `abs(...)` of at most
    /// [`EQUALITY_TOLERANCE`].
    pub equality: bool,
    /// Whether it was put to the test. What does not hold was.
    pub tested: Tested,
}

impl Margin {
    /// Of a trace without rows, or one that could not be judged: nothing holds on it.
    fn of_nothing() -> Self {
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

/// [`Formula::evaluate`] of each, in one pass over the rows.
pub fn evaluate_all(formulas: &[&Formula], signals: &dyn Signals) -> Vec<Margin> {
    match monitor::judge_whole(formulas.iter().copied(), [], signals) {
        Ok(findings) if signals.rows() > 0 => findings.margins,
        // With all its room in memory a monitor does not fail.
        _ => formulas.iter().map(|_| Margin::of_nothing()).collect(),
    }
}

/// [`Formula::first_broken`] of each, in one pass over the rows.
pub fn first_breaks(laws: &[&Formula], signals: &dyn Signals) -> Vec<Option<Margin>> {
    match monitor::judge_whole([], laws.iter().copied(), signals) {
        Ok(findings) => findings.breaks,
        // What is not judged does not hold.
        Err(_) => laws.iter().map(|_| Some(Margin::of_nothing())).collect(),
    }
}

/// The names and words of the language in a formula, in its order; empty if it does not read.
pub fn words_in(text: &str) -> Vec<&str> {
    let tokens = lexer::tokens(text).unwrap_or_default();
    let names = tokens
        .into_iter()
        .filter(|token| token.kind == lexer::Kind::Name);
    names.filter_map(|token| text.get(token.span)).collect()
}

impl Formula {
    /// Reads a formula and checks it.
    ///
    /// # Errors
    /// With a span inside `text` and mostly a help line: what cannot be read, unknown names (the nearest one is
    /// offered), numbers where truth is needed and the reverse, different units, windows that are empty,
    /// reversed or past the end of the scenario, and formulas that are nested too deeply.
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

    /// Reads a formula that is judged in every row of traces of any length: a law. It may only look back.
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

    /// The first row in which it is false, with its margin there; `None` if it is true in every row. For a law: what looks
    /// ahead is not judged so.
    pub fn first_broken(&self, signals: &dyn Signals) -> Option<Margin> {
        first_breaks(&[self], signals).pop().flatten()
    }

    /// The margin at the first row.
    ///
    /// A comparison that is undefined (0/0, or a column that `signals` does not have) counts against the formula,
    /// on whichever side of a `not` it stands. A trace without rows holds nothing.
    pub fn evaluate(&self, signals: &dyn Signals) -> Margin {
        let margin = evaluate_all(&[self], signals).pop();
        margin.unwrap_or_else(Margin::of_nothing)
    }

    /// Whether a trace of so many rows, so far apart, is long enough for every window, and of the tick that the formula was
    /// checked for.
    fn is_complete(&self, rows: usize, tick_s: f64) -> bool {
        let same_tick = (tick_s - self.tick_s).abs() <= 1e-9 * self.tick_s;
        same_tick && rows >= self.rows_needed
    }

    /// The margin of a point; whether it was put to the test is not looked at.
    fn margin(&self, point: point::Point, tick_s: f64, complete: bool) -> Margin {
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

    /// The shortest trace on which the formula can be judged, s: for windows to the end, the whole scenario.
    pub fn needed_s(&self) -> f64 {
        self.rows_needed as f64 * self.tick_s
    }

    fn slice(&self, span: Range<usize>) -> String {
        self.text.get(span).unwrap_or_default().to_owned()
    }
}

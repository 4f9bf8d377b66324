//! Expectations as text: formulas of signal temporal logic over the columns of a trace.
//!
//! [`Formula::parse`] reads the text and checks it against the names, units of time and length of a
//! scenario; [`Formula::evaluate`] gives the [`Margin`] on a trace: by how much, where and when.
//! The language and its meaning are described in `docs/model/formulas.md`.

mod build;
mod column;
mod evaluate;
mod grammar;
mod lexer;
mod lookup;
mod node;
mod parts;
mod point;
mod truths;
mod window;

#[cfg(test)]
mod tests;

use std::borrow::Cow;
use std::ops::Range;

use trimproof_plant::FileError;

pub use parts::Sides;

/// What formulas are evaluated on: equally long columns, one row a control tick.
pub trait Signals {
    /// Number of rows.
    fn rows(&self) -> usize;

    /// Time from one row to the next, s.
    fn tick_s(&self) -> f64;

    /// The column of this name, `None` if there is none. Switches are 0 and 1, states their index in
    /// [`Names::states`].
    fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>>;
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
    /// How far, in `unit`; infinite when a switch or a state decided.
    pub value: f64,
    /// The worst instant: when the deciding comparison had this value, s from the start.
    pub at_s: f64,
    /// Unit of the deciding comparison; empty for switches, states and plain numbers.
    pub unit: String,
    /// Text of the deciding comparison, empty if nothing decided (an empty window).
    pub decided_by: String,
    /// Whether the trace was long enough for every window, and of the tick that the formula was checked for.
    pub complete: bool,
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

    /// Whether it is true in every row.
    pub fn holds_throughout(&self, signals: &dyn Signals) -> bool {
        truths::rows(&self.root, signals, true)
            .into_iter()
            .all(|truth| truth)
    }

    /// The first row in which it is false, with its margin there; `None` if it is true in every row.
    pub fn first_broken(&self, signals: &dyn Signals) -> Option<Margin> {
        if self.holds_throughout(signals) {
            return None;
        }
        let points = evaluate::rows(&self.root, signals);
        let (row, point) = points
            .iter()
            .enumerate()
            .find(|(_, point)| !point.truth())?;
        Some(Margin {
            at_s: row as f64 * signals.tick_s(),
            ..self.margin(*point, signals.tick_s(), true)
        })
    }

    /// The margin at the first row.
    ///
    /// A comparison that is undefined (0/0, or a column that `signals` does not have) counts against the formula,
    /// on whichever side of a `not` it stands. A trace without rows holds nothing.
    pub fn evaluate(&self, signals: &dyn Signals) -> Margin {
        let tick_s = signals.tick_s();
        let same_tick = (tick_s - self.tick_s).abs() <= 1e-9 * self.tick_s;
        let complete = same_tick && signals.rows() >= self.rows_needed;
        let Some(point) = evaluate::rows(&self.root, signals).first().copied() else {
            return Margin {
                held: false,
                value: f64::NEG_INFINITY,
                at_s: 0.0,
                unit: String::new(),
                decided_by: String::new(),
                complete: false,
            };
        };
        self.margin(point, tick_s, complete)
    }

    fn margin(&self, point: point::Point, tick_s: f64, complete: bool) -> Margin {
        let (unit, span) = match self.atoms.get(point.atom()) {
            Some(atom) => (atom.unit.clone(), atom.span.clone()),
            None => (String::new(), 0..0),
        };
        Margin {
            held: complete && point.truth(),
            // Adding zero turns a negative zero into a plain one.
            value: point.value + 0.0,
            at_s: point.row as f64 * tick_s,
            unit,
            decided_by: self.slice(span),
            complete,
        }
    }

    /// The text that the formula was read from.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The shortest trace on which the formula can be judged, s: for windows to the end, the whole scenario.
    pub fn needed_s(&self) -> f64 {
        self.rows_needed as f64 * self.tick_s
    }

    fn slice(&self, span: Range<usize>) -> String {
        self.text.get(span).unwrap_or_default().to_owned()
    }
}

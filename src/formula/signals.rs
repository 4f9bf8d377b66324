//! What formulas are evaluated on, and the names that they may speak of.

use std::borrow::Cow;

/// What formulas are evaluated on: equally long columns, one row a control tick.
pub trait Signals {
    /// Number of rows.
    fn rows(&self) -> usize;

    /// Time from one row to the next, s.
    fn tick_s(&self) -> f64;

    /// The column of this name, `None` if there is none. Switches are 0 and 1, states their index
    /// in [`Names::states`].
    fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>>;

    /// Appends the column of this name to `values`, and says whether there is one; as
    /// [`Self::signal`], without room of its own.
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

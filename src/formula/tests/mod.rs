//! Tests of the formulas: published vectors, errors as users see them, properties against a naive
//! reference.

mod bounds;
mod errors;
mod meaning;
mod naive;
mod properties;
mod tested;
mod vectors;

use std::borrow::Cow;

use super::whole;
use super::{Formula, Margin, Names, SignalKind, SignalName, Signals, monitor};

/// Rows of a block, and the bytes that stay in memory: so short that most windows reach over
/// several blocks, and so few that all that is stored goes through a file.
pub(super) const BLOCKS: (usize, usize) = (5, 0);

/// A few short columns.
#[derive(Debug)]
pub(super) struct Columns {
    pub tick_s: f64,
    pub columns: Vec<(&'static str, Vec<f64>)>,
}

impl Signals for Columns {
    fn rows(&self) -> usize {
        self.columns.first().map_or(0, |(_, values)| values.len())
    }

    fn tick_s(&self) -> f64 {
        self.tick_s
    }

    fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
        let (_, values) = self.columns.iter().find(|(known, _)| *known == name)?;
        Some(Cow::Borrowed(values))
    }
}

/// Names of numbers `a`, `b`, `x`, switches `p`, `q` and of `state`, and some of a real trace.
pub(super) fn names(length_s: f64, tick_s: f64) -> Names {
    let signal = |name: &str, unit: &str, kind| SignalName {
        name: name.to_owned(),
        unit: unit.to_owned(),
        kind,
    };
    Names {
        signals: vec![
            signal("a", "", SignalKind::Number),
            signal("b", "", SignalKind::Number),
            signal("x", "m", SignalKind::Number),
            signal("p", "", SignalKind::Switch),
            signal("q", "", SignalKind::Switch),
            signal("state", "", SignalKind::State),
            signal("pitch.stick_deg", "deg", SignalKind::Number),
            signal("pitch.grip_force_n", "N", SignalKind::Number),
            signal("pitch.joystick", "", SignalKind::Number),
            signal("release", "", SignalKind::Switch),
            signal("force_trim", "", SignalKind::Switch),
            signal("fault.sensor_range", "", SignalKind::Switch),
        ],
        constants: vec![
            ("rig.pitch.breakout_n".to_owned(), 4.0),
            ("rig.debounce_press_s".to_owned(), 0.01),
        ],
        states: [
            "limp", "centring", "holding", "released", "nudging", "tripped",
        ]
        .map(str::to_owned)
        .to_vec(),
        length_s,
        tick_s,
    }
}

/// The margins of a formula in every row.
pub(super) fn every_row(text: &str, columns: &Columns) -> Vec<(f64, bool)> {
    let length_s = columns.rows() as f64 * columns.tick_s;
    let formula = Formula::parse(text, &names(length_s, columns.tick_s))
        .unwrap_or_else(|error| panic!("`{text}`: {error:?}"));
    monitor::points_in_every_row(&formula.root, columns, BLOCKS)
        .iter()
        .map(|point| (point.value, point.truth()))
        .collect()
}

/// The margin of a formula at the first row.
pub(super) fn margin(text: &str, columns: &Columns) -> Margin {
    let length_s = columns.rows() as f64 * columns.tick_s;
    Formula::parse(text, &names(length_s, columns.tick_s))
        .unwrap_or_else(|error| panic!("`{text}`: {error:?}"))
        .evaluate(columns)
}

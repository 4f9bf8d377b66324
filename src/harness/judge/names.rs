//! What formulas may speak of.

use trimproof_formula::{Names, SignalKind, SignalName};
use trimproof_io::State;

use crate::rig::RigFile;
use crate::trace::{ColumnKind, signals};

/// What the formulas of a scenario of `length_s` may speak of on `rig`.
pub fn names_for(rig: &RigFile, length_s: f64) -> Names {
    let signals = signals()
        .iter()
        .map(|column| SignalName {
            name: column.name.to_string(),
            unit: column.unit.to_string(),
            kind: match column.kind {
                ColumnKind::Number | ColumnKind::Integer => SignalKind::Number,
                ColumnKind::Switch => SignalKind::Switch,
                ColumnKind::State => SignalKind::State,
            },
        })
        .collect();
    Names {
        signals,
        constants: rig.constants_or_examples(),
        states: State::ALL
            .iter()
            .map(|state| state.name().to_owned())
            .collect(),
        length_s,
        tick_s: rig.tick_s(),
    }
}

//! The same verdicts by another road: each part of a formula over the whole trace at once, with
//! columns as long as it. What the monitor says is held to it, to the bit. Only for tests (feature
//! `reference`).

pub(crate) mod evaluate;
mod tested;
mod window;

use crate::{Formula, Margin, Signals, Tested};

/// The margin at the first row.
pub fn margin(formula: &Formula, signals: &dyn Signals) -> Margin {
    let (rows, tick_s) = (signals.rows(), signals.tick_s());
    let point = evaluate::rows(&formula.root, signals)[0];
    let mut margin = formula.margin(point, tick_s, formula.is_complete(rows, tick_s));
    margin.tested = match margin.held {
        true => tested::tested(&formula.root, &formula.text, signals),
        false => Tested::Yes,
    };
    margin
}

/// The first row in which it is false, with its margin there; `None` if it is true in every row.
pub fn first_broken(formula: &Formula, signals: &dyn Signals) -> Option<Margin> {
    let points = evaluate::rows(&formula.root, signals);
    let row = points.iter().position(|point| !point.truth())?;
    Some(Margin {
        at_s: row as f64 * signals.tick_s(),
        ..formula.margin(points[row], signals.tick_s(), true)
    })
}

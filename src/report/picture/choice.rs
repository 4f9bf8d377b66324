//! Which axes matter in a run, and which curves stand together in a panel.

use super::trace::{Curve, Panel};
use std::ops::Range;
use trimproof_formula::Signals;
use trimproof_harness::palette;
use trimproof_harness::trace::{Trace, titled};

/// An axis whose angles change by less does not move, degrees.
const STILL_DEG: f64 = 0.3;
/// An estimated angle that is not further from the true one for so long is not drawn, degrees and
/// s: the controller's filter lags behind every quick motion for less.
const ALIKE_DEG: f64 = 0.3;
const LAGS_S: f64 = 0.1;
/// A supply that changes by less does not change: the motors' own current moves it, V.
const STEADY_V: f64 = 1.0;
/// A force below this is none, N: what is left of a contact that has let go.
pub(super) const FORCE_LEAST_N: f64 = 1e-3;

/// Both axes, as they are named.
const AXES: [&str; 2] = ["pitch", "roll"];

/// The rows that are shown.
pub(super) fn seen_rows(trace: &Trace, shown_s: Option<[f64; 2]>) -> Range<usize> {
    let rows = trace.rows();
    let Some([from, to]) = shown_s else {
        return 0..rows;
    };
    let tick_s = trace.about.tick_s;
    // Not negative, and no larger than the longest trace.
    let from = (from / tick_s).floor().max(0.0) as usize;
    let to = (to / tick_s).ceil().max(0.0) as usize + 1;
    from.min(rows)..to.min(rows)
}

/// All values of a signal; none if there is no such signal.
pub(super) fn values(trace: &Trace, name: &str) -> Vec<f64> {
    trace
        .signal(name)
        .map(|values| values.into_owned())
        .unwrap_or_default()
}

/// Whether a curve is one level line.
pub(super) fn is_still(values: &[f64]) -> bool {
    values.windows(2).all(|pair| pair[0] == pair[1])
}

/// From the lowest to the highest value of what is shown.
pub(super) fn span(trace: &Trace, name: &str, shown_s: Option<[f64; 2]>) -> f64 {
    let all = values(trace, name);
    let seen = all.get(seen_rows(trace, shown_s)).unwrap_or_default();
    let (low, high) = seen
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
    high - low
}

/// The axes on which stick, trim, reference or drive move in what is shown.
pub(super) fn axes_that_move(trace: &Trace, shown_s: Option<[f64; 2]>) -> Vec<&'static str> {
    let moves = |axis: &&str| {
        ["stick", "trim", "reference", "drive"]
            .iter()
            .any(|what| span(trace, &format!("{axis}.{what}_deg"), shown_s) > STILL_DEG)
    };
    AXES.into_iter().filter(moves).collect()
}

/// The axes of which signals are named.
pub(super) fn named_axes(signals: &[&str]) -> Vec<&'static str> {
    let is_named = |axis: &&str| {
        let of_axis = |name: &&str| {
            name.split_once('.').is_some_and(|(first, rest)| {
                first == *axis || rest.strip_suffix("_deg") == Some(*axis)
            })
        };
        signals.iter().any(of_axis)
    };
    AXES.into_iter().filter(is_named).collect()
}

/// Whether a panel shows an angle of the axis already.
pub(super) fn shows_angle(panels: &[Panel], axis: &str) -> bool {
    let angle = |curve: &Curve| {
        curve.name.starts_with(axis)
            && curve.name[axis.len()..].starts_with('.')
            && (curve.name.ends_with(".stick_deg") || curve.name.ends_with(".estimated_deg"))
    };
    panels.iter().any(|panel| panel.curves.iter().any(angle))
}

/// Curves of signals in one frame.
pub(super) fn panel<'a>(trace: &Trace, unit: &str, names: impl Iterator<Item = &'a str>) -> Panel {
    Panel {
        title: titled(unit),
        least: 0.0,
        // A legend never names what there is no curve of.
        curves: names
            .filter(|name| trace.column(name).is_some())
            .map(|name| Curve {
                name: name.to_owned(),
                values: values(trace, name),
                limit: false,
                colour: palette::signal(name).unwrap_or(palette::LIMIT),
            })
            .collect(),
    }
}

/// Whether the estimated angle of an axis is to be seen: it differs from the true one, or is named.
fn estimate_matters(trace: &Trace, axis: &str, named: &[&str], shown_s: Option<[f64; 2]>) -> bool {
    let estimate = format!("{axis}.estimated_deg");
    if named.contains(&estimate.as_str()) {
        return true;
    }
    let (estimate, stick) = (
        values(trace, &estimate),
        values(trace, &format!("{axis}.stick_deg")),
    );
    let mut apart = 0_u32;
    seen_rows(trace, shown_s).any(|row| {
        let differ = match (estimate.get(row), stick.get(row)) {
            (Some(estimate), Some(stick)) => (estimate - stick).abs() > ALIKE_DEG,
            _ => false,
        };
        apart = if differ { apart + 1 } else { 0 };
        f64::from(apart) * trace.about.tick_s >= LAGS_S
    })
}

/// Stick, trim and reference of an axis, with the estimated angle where it matters.
pub(super) fn angle_panel(
    trace: &Trace,
    axis: &str,
    named: &[&str],
    shown_s: Option<[f64; 2]>,
) -> Panel {
    let mut names = vec![format!("{axis}.stick_deg")];
    if estimate_matters(trace, axis, named, shown_s) {
        names.push(format!("{axis}.estimated_deg"));
    }
    names.extend(["trim", "reference"].map(|what| format!("{axis}.{what}_deg")));
    let mut panel = panel(trace, "deg", names.iter().map(String::as_str));
    panel.least = 2.0 * STILL_DEG;
    // Mostly the trim stands on its reference: broken, both are seen.
    if let Some(reference) = panel.curves.last_mut() {
        reference.limit = true;
    }
    panel
}

/// The names, and beside each estimated angle the true one, beside a true one the estimated one
/// where they differ.
pub(super) fn joined(trace: &Trace, names: &[&str], shown_s: Option<[f64; 2]>) -> Vec<String> {
    let mut all: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    for axis in AXES {
        let [stick, estimate] = ["stick", "estimated"].map(|what| format!("{axis}.{what}_deg"));
        let has = |name: &String| names.contains(&name.as_str());
        if has(&estimate) && !has(&stick) {
            all.push(stick);
        } else if has(&stick) && !has(&estimate) && estimate_matters(trace, axis, &[], shown_s) {
            all.push(estimate);
        }
    }
    all
}

/// The supply, where it changes.
pub(super) fn supply_panel(trace: &Trace, shown_s: Option<[f64; 2]>) -> Option<Panel> {
    let changes = span(trace, "supply_v", shown_s) > STEADY_V;
    changes.then(|| panel(trace, "V", std::iter::once("supply_v")))
}

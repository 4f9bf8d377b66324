//! Which signals of a run are worth looking at: pictures of a whole run and of one of its expectations.

use super::PictureError;
use super::trace::{Curve, Lane, Panel, TracePlot, trace as draw};
use trimproof_controller::State;
use trimproof_harness::card::text;
use trimproof_harness::formula::{Formula, Sides, Signals};
use trimproof_harness::judge::{Judgement, names_for};
use trimproof_harness::suite::Case;
use trimproof_harness::trace::{ColumnKind, PILOT_SWITCHES, Trace, column, titled};

/// Most panels beside that of the deciding comparison.
const PANELS: usize = 3;
/// Most curves in a panel.
const CURVES: usize = 5;
/// Most lanes.
const LANES: usize = 7;

/// An axis whose angles change by less needs no panel.
const STILL_DEG: f64 = 0.3;

/// Draws a whole run: what the pilot did, what the controller made of it, both axes' angles and forces.
///
/// # Errors
/// If the trace has fewer than two rows.
pub fn overview(
    case: &Case,
    trace: &Trace,
    judgements: &[Judgement],
) -> Result<String, PictureError> {
    let held = judgements.iter().filter(|judgement| judgement.held).count();
    let mut panels = Vec::new();
    for axis in ["pitch", "roll"] {
        let angles = ["hand", "stick", "trim", "reference"].map(|what| match what {
            "hand" => format!("hand.{axis}_deg"),
            what => format!("{axis}.{what}_deg"),
        });
        if angles.iter().any(|name| span(trace, name) > STILL_DEG) {
            let mut angles = panel(trace, "deg", angles.iter().skip(1).map(String::as_str));
            // Mostly the trim stands on its reference: broken, both are seen.
            angles.curves[2].limit = true;
            panels.push(angles);
        }
    }
    let forces = ["pitch.grip_force_n", "roll.grip_force_n"];
    panels.push(panel(trace, "N", forces.into_iter()));
    let mut lanes = vec![state_lane(trace)];
    lanes.extend(risen(trace, &PILOT_SWITCHES, None, LANES - 1));
    let worst = judgements.iter().find(|judgement| !judgement.held);
    draw(&TracePlot {
        title: format!("{} on {}", case.name, case.rig_name),
        below: format!(
            "{}; {held} of {} expectations held",
            case.scenario.title,
            judgements.len()
        ),
        tick_s: trace.about.tick_s,
        shown_s: None,
        lanes,
        panels,
        windows_s: Vec::new(),
        worst_s: worst.map(|judgement| judgement.at_s),
    })
}

/// Draws what one expectation is about: both sides of the comparison that decided, the signals that it speaks of, its windows
/// and its worst instant.
///
/// # Errors
/// If the trace has fewer than two rows, or the formula does not read on this rig.
pub fn expectation(
    case: &Case,
    trace: &Trace,
    judgement: &Judgement,
) -> Result<String, PictureError> {
    let length_s = case.scenario.length_s;
    let names = names_for(&case.rig, length_s);
    let formula = Formula::parse(&judgement.that, &names)
        .map_err(|error| PictureError::Nothing(error.message))?;
    let sides = formula.sides(&judgement.decided_by, trace);
    let signals = formula.signals();
    let mut panels: Vec<Panel> = sides.iter().map(sides_panel).collect();
    panels.extend(by_unit(trace, &signals, sides.as_ref()));
    if panels.is_empty() {
        panels.push(panel(
            trace,
            "deg",
            ["pitch.stick_deg", "roll.stick_deg"].into_iter(),
        ));
    }
    let mut windows_s = formula.windows_s(length_s);
    if windows_s.is_empty() {
        windows_s.push([0.0, 0.0]);
    }
    let shown_s = part(&windows_s, judgement.at_s, length_s);
    let mut lanes = vec![state_lane(trace)];
    let asked: Vec<&str> = signals
        .iter()
        .copied()
        .filter(|name| column(name).is_some_and(|info| info.kind == ColumnKind::Switch))
        .collect();
    // A long list of faults, as of "nothing is wrong": those that rose say why it broke.
    let mut shown: Vec<Lane> = if asked.len() > LANES - 1 {
        risen(trace, &asked, shown_s, LANES - 1)
    } else {
        asked
            .iter()
            .filter_map(|name| switch_lane(trace, name))
            .collect()
    };
    let room = (LANES - 1).saturating_sub(shown.len());
    let others = risen(trace, &PILOT_SWITCHES, shown_s, LANES);
    let fresh: Vec<Lane> = others
        .into_iter()
        .filter(|lane| shown.iter().all(|other| other.name != lane.name))
        .take(room)
        .collect();
    shown.extend(fresh);
    lanes.extend(shown);
    let mut below = match (judgement.held, judgement.margin.is_finite()) {
        _ if judgement.undefined => format!("broken: `{}` is undefined", judgement.decided_by),
        (true, true) => "held, margin ".to_owned(),
        (false, true) => "broken, margin ".to_owned(),
        (true, false) => "held".to_owned(),
        (false, false) => "broken: a switch or a state decided".to_owned(),
    };
    if judgement.margin.is_finite() {
        below.push_str(&text::margin(judgement.margin, &judgement.unit));
    }
    if let Some(why) = judgement.never_tested() {
        below.push_str(&format!("; never put to the test: {why}"));
    }
    if shown_s.is_some() {
        below.push_str(&format!(
            "; a part of the run of {} s",
            text::plain(length_s)
        ));
    }
    draw(&TracePlot {
        title: format!("{} on {}: {}", case.name, case.rig_name, judgement.name),
        below,
        tick_s: trace.about.tick_s,
        shown_s,
        lanes,
        panels,
        windows_s,
        worst_s: Some(judgement.at_s),
    })
}

/// The windows and the worst instant with half as much room on either side, s; none if that is most of the run.
fn part(windows_s: &[[f64; 2]], worst_s: f64, length_s: f64) -> Option<[f64; 2]> {
    let from = windows_s.iter().map(|span| span[0]).fold(worst_s, f64::min);
    let to = windows_s.iter().map(|span| span[1]).fold(worst_s, f64::max);
    let room = (0.5 * (to - from)).max(0.25);
    let (from, to) = ((from - room).max(0.0), (to + room).min(length_s));
    (to - from < 0.6 * length_s).then_some([from, to])
}

fn values(trace: &Trace, name: &str) -> Vec<f64> {
    trace
        .signal(name)
        .map(|values| values.into_owned())
        .unwrap_or_default()
}

/// From the lowest to the highest value.
fn span(trace: &Trace, name: &str) -> f64 {
    let (low, high) = values(trace, name)
        .into_iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
    high - low
}

fn panel<'a>(trace: &Trace, unit: &str, names: impl Iterator<Item = &'a str>) -> Panel {
    Panel {
        title: titled(unit),
        curves: names
            .map(|name| Curve {
                name: name.to_owned(),
                values: values(trace, name),
                limit: false,
            })
            .collect(),
    }
}

/// Both sides of the comparison that decided, the first the one that the formula wants below the second.
fn sides_panel(sides: &Sides) -> Panel {
    let title = match sides.unit.as_str() {
        "" => "compared".to_owned(),
        unit => titled(unit),
    };
    // The side without a signal in it is the limit; of two signals, the one that must be higher.
    let constant = |values: &[f64]| values.windows(2).all(|pair| pair[0] == pair[1]);
    let low_is_limit = constant(&sides.low) && !constant(&sides.high);
    let [lower, higher] = if sides.certain {
        ["must be lower", "must be higher"]
    } else {
        ["compared", "with"]
    };
    Panel {
        title,
        curves: vec![
            Curve {
                name: format!("{lower}: {}", sides.low_text),
                values: sides.low.clone(),
                limit: low_is_limit,
            },
            Curve {
                name: format!("{higher}: {}", sides.high_text),
                values: sides.high.clone(),
                limit: !low_is_limit,
            },
        ],
    }
}

/// A panel for each unit among the signals, in their order; none that would only repeat a side.
fn by_unit(trace: &Trace, signals: &[&str], sides: Option<&Sides>) -> Vec<Panel> {
    let mut units: Vec<(&str, Vec<&str>)> = Vec::new();
    for name in signals {
        let Some(info) = column(name) else { continue };
        if !info.kind.is_number() {
            continue;
        }
        match units.iter_mut().find(|(unit, _)| *unit == info.unit) {
            Some((_, names)) if names.len() < CURVES => names.push(name),
            Some(_) => {}
            None => units.push((info.unit, vec![name])),
        }
    }
    let repeats = |names: &[&str]| {
        sides.is_some_and(|sides| {
            names.iter().all(|name| {
                [&sides.low_text, &sides.high_text]
                    .iter()
                    .any(|side| side == name)
            })
        })
    };
    units
        .into_iter()
        .filter(|(_, names)| !repeats(names))
        .take(PANELS)
        .map(|(unit, names)| panel(trace, unit, names.into_iter()))
        .collect()
}

fn state_lane(trace: &Trace) -> Lane {
    // Codes are small whole numbers.
    let codes = values(trace, "state").into_iter().map(|code| code as usize);
    Lane {
        name: "state".to_owned(),
        codes: codes.collect(),
        words: State::ALL
            .iter()
            .map(|state| state.name().to_owned())
            .collect(),
    }
}

fn switch_lane(trace: &Trace, name: &str) -> Option<Lane> {
    let on = trace.switches(name)?;
    Some(Lane {
        name: name.to_owned(),
        codes: on.iter().map(|on| usize::from(*on)).collect(),
        words: vec![String::new(), "on".to_owned()],
    })
}

/// Lanes of those switches that are on at any time of what is shown.
fn risen(trace: &Trace, names: &[&str], shown_s: Option<[f64; 2]>, most: usize) -> Vec<Lane> {
    let seen = |row: usize| {
        let at = row as f64 * trace.about.tick_s;
        shown_s.is_none_or(|[from, to]| from <= at && at <= to)
    };
    let on = |lane: &Lane| {
        let mut rows = lane.codes.iter().enumerate();
        rows.any(|(row, code)| *code == 1 && seen(row))
    };
    names
        .iter()
        .filter_map(|name| switch_lane(trace, name))
        .filter(on)
        .take(most)
        .collect()
}

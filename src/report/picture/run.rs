//! Which signals of a run are worth looking at: pictures of a whole run and of one of its
//! expectations.

use super::PictureError;
use super::choice::{
    FORCE_LEAST_N, angle_panel, axes_that_move, is_still, joined, named_axes, panel, seen_rows,
    shows_angle, span, supply_panel, values,
};
use super::trace::{Curve, Lane, LaneKind, Panel, TracePlot, Worst, trace as draw};
use trimproof_formula::{Formula, Guard, Sides};
use trimproof_harness::card::text;
use trimproof_harness::judge::{Judgement, Verdict, names_for};
use trimproof_harness::palette::{self, Rgb};
use trimproof_harness::suite::Case;
use trimproof_harness::trace::{ColumnKind, PILOT_SWITCHES, Trace, titled};

/// Most panels beside that of the deciding comparison, the angles and the supply.
const PANELS: usize = 3;
/// Most curves in a panel.
const CURVES: usize = 5;
/// Most lanes of switches, and of faults.
const LANES: usize = 7;
const FAULTS: usize = 5;
/// Most implications of one formula whose left sides are marked.
const GUARDS: usize = 2;

/// Draws a whole run: what the pilot did, what the controller made of it, the angles of the axes
/// that matter, forces, the supply where it changes.
///
/// # Errors
/// If the trace has fewer than two rows.
pub fn overview(
    case: &Case,
    trace: &Trace,
    judgements: &[Judgement],
) -> Result<String, PictureError> {
    let passed = judgements.iter().filter(|one| one.passes()).count();
    let names = names_for(&case.rig, case.scenario.length_s);
    let formulas: Vec<Formula> = judgements
        .iter()
        .filter_map(|judgement| Formula::parse(&judgement.formula, &names).ok())
        .collect();
    let named: Vec<&str> = formulas.iter().flat_map(Formula::signals).collect();
    let mut axes = axes_that_move(trace, None);
    if axes.is_empty() {
        axes = named_axes(&named);
    }
    if axes.is_empty() {
        axes = vec!["pitch", "roll"];
    }
    let mut panels: Vec<Panel> = axes
        .iter()
        .map(|axis| angle_panel(trace, axis, &named, None))
        .collect();
    let mut notes = Vec::new();
    let forces: Vec<String> = ["grip_force_n", "stop_force_n"]
        .iter()
        .flat_map(|what| ["pitch", "roll"].map(|axis| format!("{axis}.{what}")))
        .filter(|name| {
            let felt = |value: &f64| value.abs() > FORCE_LEAST_N;
            values(trace, name).iter().any(felt)
        })
        .collect();
    if forces.is_empty() {
        notes.push("no force: neither the hand nor a stop touches the stick".to_owned());
    } else {
        panels.push(panel(trace, "N", forces.iter().map(String::as_str)));
    }
    panels.extend(supply_panel(trace, None));
    let mut lanes: Vec<Lane> = state_lane(trace).into_iter().collect();
    lanes.extend(switches(trace, None, &[]));
    lanes.extend(risen(trace, &faults(trace), None, FAULTS));
    let worst = judgements.iter().find(|one| one.fails());
    let mut below = format!(
        "{}; {passed} of {} expectations pass",
        case.scenario.title,
        judgements.len()
    );
    if let Some(worst) = worst {
        below.push_str(&format!("; marked: {}", worst.name));
    }
    draw(&TracePlot {
        title: format!("{} on {}", case.name, case.rig_name),
        below,
        tick_s: trace.about.tick_s,
        lanes,
        notes,
        panels,
        worst: worst.map(|judgement| Worst {
            at_s: judgement.at_s,
            margin: margin_of(judgement),
            value: None,
        }),
        ..TracePlot::default()
    })
}

/// Draws what one expectation is about: both sides of the comparison that decided, the signals that
/// it speaks of, its windows, where it is put to the test, and its worst instant.
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
    let formula = Formula::parse(&judgement.formula, &names)
        .map_err(|error| PictureError::Nothing(error.message))?;
    let sides = formula.sides(&judgement.decided_by, trace);
    let signals = formula.signals();
    let mut windows_s = formula.windows_s(length_s);
    if windows_s.is_empty() {
        windows_s.push([0.0, 0.0]);
    }
    let shown_s = part(&windows_s, judgement.at_s, length_s);
    let mut panels: Vec<Panel> = sides
        .iter()
        .map(|sides| sides_panel(sides, &signals))
        .collect();
    let mut notes = Vec::new();
    panels.extend(by_unit(
        trace,
        &signals,
        sides.as_ref(),
        shown_s,
        &mut notes,
    ));
    let mut axes = named_axes(&signals);
    if axes.is_empty() {
        axes = axes_that_move(trace, shown_s);
    }
    if axes.is_empty() {
        axes = vec!["pitch", "roll"];
    }
    for axis in axes {
        if !shows_angle(&panels, axis) {
            panels.push(angle_panel(trace, axis, &signals, shown_s));
        }
    }
    if !signals.contains(&"supply_v") {
        panels.extend(supply_panel(trace, shown_s));
    }
    let (guards, tested_where) = tested(&formula.guards(trace), &windows_s, trace.about.tick_s);
    let mut lanes: Vec<Lane> = state_lane(trace).into_iter().collect();
    lanes.extend(guards);
    let asked: Vec<&str> = signals
        .iter()
        .copied()
        .filter(|name| {
            trace
                .column(name)
                .is_some_and(|info| info.kind == ColumnKind::Switch)
        })
        .collect();
    // A long list of faults, as of "nothing is wrong": those that rose say why it broke.
    let shown: Vec<Lane> = if asked.len() > LANES {
        risen(trace, &asked, shown_s, LANES)
    } else {
        asked
            .iter()
            .filter_map(|name| switch_lane(trace, name))
            .collect()
    };
    let drawn: Vec<String> = shown.iter().map(|lane| lane.name.clone()).collect();
    let fresh = |lane: &Lane| !drawn.contains(&lane.name);
    lanes.extend(shown);
    let others = switches(trace, shown_s, &drawn);
    lanes.extend(others.into_iter().take(LANES.saturating_sub(drawn.len())));
    let raised = risen(trace, &faults(trace), shown_s, FAULTS);
    lanes.extend(raised.into_iter().filter(fresh));
    let mut below = match (judgement.verdict, judgement.margin.is_finite()) {
        _ if judgement.undefined => format!("FAIL: `{}` is undefined", judgement.decided_by),
        (Verdict::Pass, true) => "pass, margin ".to_owned(),
        (Verdict::Fail, true) => "FAIL, margin ".to_owned(),
        (Verdict::Pass, false) => "pass".to_owned(),
        (Verdict::Fail, false) => "FAIL: a switch or a state decided".to_owned(),
        (Verdict::NotJudged, _) => judgement.missing_text().unwrap_or_default(),
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
    // Not negative, and no larger than the longest trace.
    let row = (judgement.at_s / trace.about.tick_s).round().max(0.0) as usize;
    let value = sides
        .as_ref()
        .and_then(|sides| worst_value(sides, row))
        .filter(|value| value.is_finite());
    draw(&TracePlot {
        title: format!("{} on {}: {}", case.name, case.rig_name, judgement.name),
        below,
        tick_s: trace.about.tick_s,
        shown_s,
        lanes,
        notes,
        panels,
        windows_s,
        tested_where,
        worst: Some(Worst {
            at_s: judgement.at_s,
            margin: match (value, &sides) {
                (Some(value), Some(sides)) => format!(
                    "worst: {}, margin {}",
                    with_unit(value, &sides.unit),
                    text::margin(judgement.margin, &judgement.unit)
                ),
                _ => margin_of(judgement),
            },
            value,
        }),
    })
}

fn margin_of(judgement: &Judgement) -> String {
    match (judgement.margin.is_finite(), judgement.verdict) {
        (true, _) => format!("worst: {}", text::margin(judgement.margin, &judgement.unit)),
        (false, Verdict::Pass) => "decided".to_owned(),
        (false, verdict) => verdict.word().to_owned(),
    }
}

/// A value with three figures or more, and its unit.
fn with_unit(value: f64, unit: &str) -> String {
    let decimals = match value.abs() {
        size if size >= 100.0 => 1,
        size if size >= 1.0 => 2,
        _ => 4,
    };
    format!("{} {unit}", text::fixed(value, decimals))
        .trim_end()
        .to_owned()
}

/// Value of the side that is no limit, in a row.
fn worst_value(sides: &Sides, row: usize) -> Option<f64> {
    let side = if is_still(&sides.low) && !is_still(&sides.high) {
        &sides.high
    } else {
        &sides.low
    };
    side.get(row).copied()
}

/// The windows and the worst instant with half as much room on either side, s; none if that is most
/// of the run.
fn part(windows_s: &[[f64; 2]], worst_s: f64, length_s: f64) -> Option<[f64; 2]> {
    let from = windows_s.iter().map(|span| span[0]).fold(worst_s, f64::min);
    let to = windows_s.iter().map(|span| span[1]).fold(worst_s, f64::max);
    let room = (0.5 * (to - from)).max(0.25);
    let (from, to) = ((from - room).max(0.0), (to + room).min(length_s));
    (to - from < 0.6 * length_s).then_some([from, to])
}

/// Lanes of the left sides of implications, where the formula looks, and what they say.
fn tested(guards: &[Guard], windows_s: &[[f64; 2]], tick_s: f64) -> (Vec<Lane>, String) {
    // Half a tick, as windows end on ticks.
    let looks = |row: usize| {
        let at = row as f64 * tick_s;
        windows_s
            .iter()
            .any(|[from, to]| from - 0.5 * tick_s <= at && at <= to + 0.5 * tick_s)
    };
    let several = guards.len() > 1;
    let lane = |(number, guard): (usize, &Guard)| Lane {
        name: if several {
            format!("put to the test {}", number + 1)
        } else {
            "put to the test".to_owned()
        },
        codes: guard
            .holds
            .iter()
            .enumerate()
            .map(|(row, holds)| usize::from(*holds && looks(row)))
            .collect(),
        kind: LaneKind::Tested,
    };
    let text = |(number, guard): (usize, &Guard)| {
        if several {
            format!("{}: {}", number + 1, guard.text)
        } else {
            guard.text.clone()
        }
    };
    let shown = || guards.iter().take(GUARDS).enumerate();
    let texts: Vec<String> = shown().map(text).collect();
    (shown().map(lane).collect(), texts.join("; "))
}

/// Both sides of the comparison that decided, the first the one that the formula wants below the
/// second.
fn sides_panel(sides: &Sides, signals: &[&str]) -> Panel {
    let title = match sides.unit.as_str() {
        "" => "compared".to_owned(),
        unit => titled(unit),
    };
    // The side without a signal in it is the limit; of two signals, the one that must be higher.
    let low_is_limit = is_still(&sides.low) && !is_still(&sides.high);
    let [lower, higher] = if sides.certain {
        ["must be lower", "must be higher"]
    } else {
        ["compared", "with"]
    };
    let low = side_colour(&sides.low_text, signals);
    let mut high = side_colour(&sides.high_text, signals);
    if high == low {
        // One signal on both sides, or none: the broken line distinguishes them as well.
        high = if low == palette::LIMIT {
            palette::SWITCH
        } else {
            palette::LIMIT
        };
    }
    Panel {
        title,
        least: 0.0,
        curves: vec![
            Curve {
                name: format!("{lower}: {}", sides.low_text),
                values: sides.low.clone(),
                limit: low_is_limit,
                colour: low,
            },
            Curve {
                name: format!("{higher}: {}", sides.high_text),
                values: sides.high.clone(),
                limit: !low_is_limit,
                colour: high,
            },
        ],
    }
}

/// The colour of the one signal that a side speaks of; that of a limit if it speaks of none or of
/// several.
fn side_colour(side: &str, signals: &[&str]) -> Rgb {
    let word = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '.';
    let words: Vec<&str> = side.split(|c| !word(c)).collect();
    let mut named = signals.iter().filter(|name| words.contains(name));
    match (named.next(), named.next()) {
        (Some(name), None) => palette::signal(name).unwrap_or(palette::LIMIT),
        _ => palette::LIMIT,
    }
}

/// A panel for each unit among the signals, in their order; none that would only repeat a side, and
/// a note for one that is zero throughout.
fn by_unit(
    trace: &Trace,
    signals: &[&str],
    sides: Option<&Sides>,
    shown_s: Option<[f64; 2]>,
    notes: &mut Vec<String>,
) -> Vec<Panel> {
    let mut units: Vec<(&str, Vec<&str>)> = Vec::new();
    for name in signals {
        let Some(info) = trace.column(name) else {
            continue;
        };
        if !info.kind.is_number() {
            continue;
        }
        match units.iter_mut().find(|(unit, _)| *unit == &*info.unit) {
            Some((_, names)) if names.len() < CURVES => names.push(name),
            Some(_) => {}
            None => units.push((&info.unit, vec![name])),
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
    let mut panels = Vec::new();
    for (unit, names) in units {
        if repeats(&names) || panels.len() == PANELS {
            continue;
        }
        let rows = seen_rows(trace, shown_s);
        let zero = |name: &&str| {
            let all = values(trace, name);
            all.get(rows.clone())
                .is_some_and(|seen| seen.iter().all(|value| *value == 0.0))
        };
        if names.iter().all(zero) {
            notes.push(format!("zero throughout: {}", names.join(", ")));
            continue;
        }
        // The estimated angle stands beside the true one.
        let names = joined(trace, &names, shown_s);
        panels.push(panel(trace, unit, names.iter().map(String::as_str)));
    }
    panels
}

/// The lane of the controller's state; `None` if it reports none.
fn state_lane(trace: &Trace) -> Option<Lane> {
    trace.column("state")?;
    // Codes are small whole numbers.
    let codes = values(trace, "state").into_iter().map(|code| code as usize);
    Some(Lane {
        name: "state".to_owned(),
        codes: codes.collect(),
        kind: LaneKind::State,
    })
}

fn switch_lane(trace: &Trace, name: &str) -> Option<Lane> {
    let on = trace.switches(name)?;
    Some(Lane {
        name: name.to_owned(),
        codes: on.iter().map(|on| usize::from(*on)).collect(),
        kind: if name.starts_with("fault.") {
            LaneKind::Fault
        } else {
            LaneKind::Switch
        },
    })
}

/// Names of every fault that the controller reports.
fn faults(trace: &Trace) -> Vec<&str> {
    let names = trace.columns().map(|column| &*column.name);
    names.filter(|name| name.starts_with("fault.")).collect()
}

/// Lanes of the pilot's switches that are on at any time of what is shown, and of force trim where
/// it changes; none of those that are `drawn` already.
fn switches(trace: &Trace, shown_s: Option<[f64; 2]>, drawn: &[String]) -> Vec<Lane> {
    let mut lanes = risen(trace, &PILOT_SWITCHES, shown_s, LANES);
    if span(trace, "force_trim", shown_s) > 0.0 {
        lanes.extend(switch_lane(trace, "force_trim"));
    }
    lanes.retain(|lane| !drawn.contains(&lane.name));
    lanes
}

/// Lanes of those switches that are on at any time of what is shown.
fn risen(trace: &Trace, names: &[&str], shown_s: Option<[f64; 2]>, most: usize) -> Vec<Lane> {
    let rows = seen_rows(trace, shown_s);
    let on = |lane: &Lane| {
        let seen = lane.codes.get(rows.clone());
        seen.is_some_and(|seen| seen.contains(&1))
    };
    names
        .iter()
        .filter_map(|name| switch_lane(trace, name))
        .filter(on)
        .take(most)
        .collect()
}

//! A run over time: panels of curves, thin lanes of switches and states, windows shaded, the worst
//! instant on top of all.

use super::PictureError;
use super::canvas::{Canvas, Frame, Key, MARGIN, PixelPair, Side, sheet};
use super::plane::{BELOW, FrameAxis, Plane};
use super::style::{SMALL, colour, fit, number, rgb, width_of};
use std::ops::Range;
use trimproof_harness::palette::{self, Rgb};
use trimproof_io::State;

const WIDTH: f64 = 760.0;
/// Room left of the frames, px: for the longest name of a lane.
const NAMES: f64 = 142.0;
/// Height of a panel, px.
const PANEL: f64 = 130.0;
/// Distance between panels, px.
const BETWEEN: f64 = 9.0;
/// Height of a lane with its distance to the next, px.
const ROW: f64 = 18.0;
/// Height of the bar of a state, which has a word in it, px.
const STATE_BAR: f64 = 16.0;
/// Height of every other bar, px.
const BAR: f64 = 8.0;
/// Opacity of a window.
const WINDOW: f64 = 0.16;
/// Width of the line at the worst instant, px, and of the paper round it: the widest of all lines.
const WORST: [f64; 2] = [2.6, 6.0];

/// A signal drawn as a curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// Name, for the legend.
    pub name: String,
    /// Values, one a row; not-a-number leaves a gap.
    pub values: Vec<f64>,
    /// Whether it is a limit or a wish: drawn as a broken line.
    pub limit: bool,
    /// Colour, from [`palette::signal`]: that of the signal in every panel.
    pub colour: Rgb,
}

/// Curves of one unit in one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// Title of its axis: the unit, or what it is with the unit.
    pub title: String,
    /// Curves.
    pub curves: Vec<Curve>,
    /// Least range of the axis, in the unit: what rests shall not fill the panel with its last
    /// digit. 0 for none.
    pub least: f64,
}

/// What a lane shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LaneKind {
    /// The controller's state: codes as in [`State::ALL`], each with its tint and word.
    State,
    /// A switch: 1 is on.
    Switch,
    /// A fault that the controller reports: 1 is on.
    Fault,
    /// Where an expectation is put to the test: 1 is there.
    Tested,
}

/// A switch or a state over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Lane {
    /// Name.
    pub name: String,
    /// Code, one a row.
    pub codes: Vec<usize>,
    /// What it shows.
    pub kind: LaneKind,
}

/// The worst instant of an expectation.
#[derive(Clone, Debug, PartialEq)]
pub struct Worst {
    /// When, s.
    pub at_s: f64,
    /// How bad, in a few words: the margin.
    pub margin: String,
    /// Where in the first panel, in its unit; none if no number decided.
    pub value: Option<f64>,
}

/// What a picture of a run over time shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TracePlot {
    /// Title.
    pub title: String,
    /// A line below it.
    pub below: String,
    /// Time from one row to the next, s.
    pub tick_s: f64,
    /// Part of the run that is shown, s; none shows all.
    pub shown_s: Option<[f64; 2]>,
    /// Lanes, above the panels.
    pub lanes: Vec<Lane>,
    /// What needs no panel, a thin line each: `no force`.
    pub notes: Vec<String>,
    /// Panels.
    pub panels: Vec<Panel>,
    /// Windows in which an expectation looks, s.
    pub windows_s: Vec<[f64; 2]>,
    /// What must hold for the expectation to be put to the test; empty if nothing must.
    pub tested_where: String,
    /// The worst instant.
    pub worst: Option<Worst>,
}

/// Draws a run over time as SVG.
///
/// # Errors
/// If there is no curve with two rows or more.
pub fn trace(plot: &TracePlot) -> Result<String, PictureError> {
    let rows = plot
        .panels
        .iter()
        .flat_map(|panel| &panel.curves)
        .map(|curve| curve.values.len())
        .max()
        .unwrap_or(0);
    if rows < 2 || plot.tick_s.is_nan() || plot.tick_s <= 0.0 {
        return Err(PictureError::Nothing(
            "no curve has two rows or more".to_owned(),
        ));
    }
    let all_s = (rows - 1) as f64 * plot.tick_s;
    let [from_s, to_s] = plot.shown_s.unwrap_or([0.0, all_s]);
    let (from_s, to_s) = (from_s.max(0.0), to_s.min(all_s));
    let time = FrameAxis {
        title: "time, s".to_owned(),
        from: from_s,
        to: if to_s > from_s {
            to_s
        } else {
            from_s + plot.tick_s
        },
        second: None,
    };
    let legend = legend(plot);
    sheet(WIDTH, &plot.title, &plot.below, |canvas| {
        draw(plot, &time, &legend, canvas)
    })
}

fn legend(plot: &TracePlot) -> Vec<(Key, String)> {
    let mut legend = Vec::new();
    if let Some(worst) = &plot.worst {
        let text = format!("worst instant, {} s", number(worst.at_s, 3));
        legend.push((Key::Line(rgb(palette::WORST), WORST[0]), text));
    }
    if !plot.windows_s.is_empty() {
        let spans: Vec<String> = plot
            .windows_s
            .iter()
            .map(|[from, to]| format!("{} to {} s", short(*from), short(*to)))
            .collect();
        let text = format!("where the expectation looks: {}", spans.join(", "));
        legend.push((Key::Area(rgb(palette::WINDOW), 2.0 * WINDOW), text));
    }
    if !plot.tested_where.is_empty() {
        let text = format!("put to the test where {}", plot.tested_where);
        legend.push((Key::Area(rgb(palette::TESTED), 1.0), text));
    }
    legend
}

/// Seconds without needless zeros.
fn short(seconds: f64) -> String {
    let text = number(seconds, 3);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Draws everything; gives how far down it reaches, px.
fn draw(
    plot: &TracePlot,
    time: &FrameAxis,
    legend: &[(Key, String)],
    canvas: &mut Canvas<'_>,
) -> Result<f64, PictureError> {
    let mut y = canvas.header(&plot.title, &plot.below, legend)? + 2.0;
    let ends = (MARGIN + NAMES, WIDTH - MARGIN - 16.0);
    // Frames that the worst instant goes through.
    let mut crossed = Vec::new();
    for lane in &plot.lanes {
        let plane = draw_row(plot, lane, time, ends, y, canvas)?;
        crossed.push(plane.frame);
        y += ROW;
        let short = short_states(lane, plot.tick_s, &plane, worst_x(plot, &plane));
        if !short.is_empty() {
            y = canvas.legend(ends, y + 2.0, &short)?;
        }
    }
    for note in &plot.notes {
        let place = (ends.0, y + 0.5 * ROW);
        let note = fit(note, SMALL, ends.1 - ends.0);
        canvas.text(place, &note, SMALL, Side::Start, colour::SOFT_INK)?;
        y += ROW;
    }
    y += BETWEEN;
    let last = plot.panels.len().saturating_sub(1);
    let mut first: Option<Plane> = None;
    for (index, panel) in plot.panels.iter().enumerate() {
        let plane = draw_panel(plot, panel, time, ends, y, index == last, canvas)?;
        crossed.push(plane.frame);
        y = plane.frame.bottom + BETWEEN;
        first.get_or_insert(plane);
    }
    if let (Some(worst), Some(plane)) = (&plot.worst, &mut first) {
        draw_worst(worst, time, &crossed, plane, canvas)?;
    }
    Ok(y - BETWEEN + BELOW + MARGIN / 2.0)
}

/// Where the worst instant is, px; none if it is not shown.
fn worst_x(plot: &TracePlot, plane: &Plane) -> Option<f64> {
    let at_s = plot.worst.as_ref()?.at_s;
    (plane.x.from..=plane.x.to)
        .contains(&at_s)
        .then(|| plane.x_at(at_s))
}

/// A lane with its name to the left.
fn draw_row(
    plot: &TracePlot,
    lane: &Lane,
    time: &FrameAxis,
    (left, right): (f64, f64),
    top: f64,
    canvas: &mut Canvas<'_>,
) -> Result<Plane, PictureError> {
    let name = fit(&lane.name, SMALL, NAMES - 9.0);
    let place = (left - 7.0, top + 0.5 * ROW);
    canvas.text(place, &name, SMALL, Side::End, colour::INK)?;
    let frame = Frame {
        left,
        top,
        right,
        bottom: top + ROW,
    };
    let plane = Plane::new(frame, time.clone(), FrameAxis::around("", [0.0, 1.0], 0.0));
    windows(plot, &plane, canvas)?;
    draw_lane(lane, plot.tick_s, &plane, worst_x(plot, &plane), canvas)?;
    Ok(plane)
}

fn draw_panel(
    plot: &TracePlot,
    panel: &Panel,
    time: &FrameAxis,
    ends: (f64, f64),
    y: f64,
    last: bool,
    canvas: &mut Canvas<'_>,
) -> Result<Plane, PictureError> {
    let key = |curve: &Curve| {
        let colour = rgb(curve.colour);
        let key = if curve.limit {
            Key::Dashed(colour, 1.8)
        } else {
            Key::Line(colour, 1.8)
        };
        (key, curve.name.clone())
    };
    let entries: Vec<(Key, String)> = panel.curves.iter().map(key).collect();
    let top = canvas.legend(ends, y, &entries)?;
    let frame = Frame {
        left: ends.0,
        top,
        right: ends.1,
        bottom: top + PANEL,
    };
    let seen = |curve: &Curve| shown(plot.tick_s, time, curve.values.len());
    let values = panel
        .curves
        .iter()
        .flat_map(|curve| &curve.values[seen(curve)])
        .copied();
    let mut axis = FrameAxis::around(&panel.title, values, 0.07);
    let lacking = 0.5 * (panel.least - (axis.to - axis.from));
    if lacking > 0.0 {
        (axis.from, axis.to) = (axis.from - lacking, axis.to + lacking);
    }
    let mut plane = Plane::new(frame, time.clone(), axis);
    plane.draw_axes(canvas, last)?;
    windows(plot, &plane, canvas)?;
    // The first is the one that matters: on top of the others. What is wanted is broken, so that
    // both are seen.
    let solid = panel.curves.iter().rev().filter(|curve| !curve.limit);
    for curve in solid.chain(panel.curves.iter().filter(|curve| curve.limit)) {
        let values = seen(curve).map(|row| (row as f64 * plot.tick_s, curve.values[row]));
        plane.curve(canvas, values, rgb(curve.colour), 1.8, curve.limit)?;
    }
    plane.draw_edge(canvas)?;
    Ok(plane)
}

/// The rows that are shown of so many.
fn shown(tick_s: f64, time: &FrameAxis, rows: usize) -> Range<usize> {
    // Not negative, and no larger than the longest trace.
    let from = (time.from / tick_s).floor().max(0.0) as usize;
    let to = (time.to / tick_s).ceil().max(0.0) as usize + 1;
    from.min(rows)..to.min(rows)
}

fn windows(plot: &TracePlot, plane: &Plane, canvas: &mut Canvas<'_>) -> Result<(), PictureError> {
    for [from, to] in &plot.windows_s {
        let inside = |s: f64| plane.x_at(s).clamp(plane.frame.left, plane.frame.right);
        let (left, right) = (inside(*from), inside(*to));
        if plane.x.from <= *to && *from <= plane.x.to {
            // A window of a single tick must be seen too.
            let frame = Frame {
                left,
                right: right.max(left + 1.0),
                ..plane.frame
            };
            canvas.area(frame, rgb(palette::WINDOW), WINDOW)?;
        }
    }
    Ok(())
}

/// The worst instant, over everything else: a line through all frames, a ring where the value is, a
/// box with margin and time.
fn draw_worst(
    worst: &Worst,
    time: &FrameAxis,
    crossed: &[Frame],
    plane: &mut Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    if !(time.from <= worst.at_s && worst.at_s <= time.to) {
        return Ok(());
    }
    let ink = rgb(palette::WORST);
    let x = plane.x_at(worst.at_s);
    for (colour, width) in [(colour::PAPER, WORST[1]), (ink, WORST[0])] {
        for frame in crossed {
            canvas.line(&[(x, frame.top), (x, frame.bottom)], colour, width)?;
        }
    }
    let frame = plane.frame;
    let value = worst.value.filter(|value| value.is_finite());
    let place: PixelPair = match value.map(|value| plane.y_at(value)) {
        Some(y) if (frame.top..=frame.bottom).contains(&y) => {
            canvas.ring((x, y), ink)?;
            (x, y)
        }
        _ => (x, frame.top + 0.3 * (frame.bottom - frame.top)),
    };
    let at = format!("{} s", number(worst.at_s, 3));
    let whole = format!("{} at {at}", worst.margin);
    for text in [whole.as_str(), at.as_str()] {
        if plane.callout(canvas, place, text, ink)? {
            break;
        }
    }
    Ok(())
}

/// Stretches of the same code that are shown: the code, and from where to where on the sheet.
fn stretches(lane: &Lane, tick_s: f64, plane: &Plane) -> Vec<(usize, f64, f64)> {
    let (left, right) = (plane.frame.left, plane.frame.right);
    let x = |row: usize| plane.x_at(row as f64 * tick_s);
    let mut found = Vec::new();
    let mut begin = 0;
    for row in 1..=lane.codes.len() {
        if lane.codes.get(row) != lane.codes.get(begin) {
            let (from, to) = (x(begin), x(row.min(lane.codes.len() - 1)));
            if to > left && from < right {
                found.push((lane.codes[begin], from.max(left), to.min(right)));
            }
            begin = row;
        }
    }
    found
}

/// Where in its bar the word of a code begins; none where it has no room. It keeps off the worst
/// instant, at `avoid`.
fn word_at(word: &str, left: f64, right: f64, avoid: Option<f64>) -> Option<f64> {
    let long = width_of(word, SMALL);
    let fits = |at: f64| {
        let clear = avoid.is_none_or(|x| x < at - WORST[1] || at + long + WORST[1] < x);
        (clear && at + long + 3.0 <= right).then_some(at)
    };
    fits(left + 5.0).or_else(|| fits(avoid.filter(|x| *x > left)? + WORST[1] + 3.0))
}

/// The word of a state.
fn word(code: usize) -> &'static str {
    State::ALL.get(code).map_or("?", |state| state.name())
}

/// What fills the bar of a code; none where there is no bar.
fn tint(lane: &Lane, code: usize) -> Option<Rgb> {
    match lane.kind {
        LaneKind::State => Some(palette::state_named(word(code))),
        _ if code == 0 => None,
        LaneKind::Switch => Some(palette::SWITCH),
        LaneKind::Fault => Some(palette::FAULT),
        LaneKind::Tested => Some(palette::TESTED),
    }
}

/// The states that nowhere have room for their word, for a legend.
fn short_states(lane: &Lane, tick_s: f64, plane: &Plane, avoid: Option<f64>) -> Vec<(Key, String)> {
    if lane.kind != LaneKind::State {
        return Vec::new();
    }
    let shown = stretches(lane, tick_s, plane);
    let mut short: Vec<usize> = Vec::new();
    for (code, _, _) in &shown {
        let named = shown.iter().any(|(other, left, right)| {
            other == code && word_at(word(*code), *left, *right, avoid).is_some()
        });
        if !named && !short.contains(code) {
            short.push(*code);
        }
    }
    short
        .into_iter()
        .map(|code| {
            let tint = palette::state_named(word(code));
            (Key::Area(rgb(tint), 1.0), word(code).to_owned())
        })
        .collect()
}

/// A bar for each stretch of the same code; that of a state with its word where there is room.
fn draw_lane(
    lane: &Lane,
    tick_s: f64,
    plane: &Plane,
    avoid: Option<f64>,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    let frame = plane.frame;
    let middle = 0.5 * (frame.top + frame.bottom);
    let is_state = lane.kind == LaneKind::State;
    let half = 0.5 * if is_state { STATE_BAR } else { BAR };
    canvas.line(
        &[(frame.left, middle), (frame.right, middle)],
        colour::GRID,
        1.0,
    )?;
    for (code, left, right) in stretches(lane, tick_s, plane) {
        let Some(tint) = tint(lane, code) else {
            continue;
        };
        let bar = Frame {
            left,
            // A single tick must be seen too.
            right: right.max(left + 1.5),
            top: middle - half,
            bottom: middle + half,
        };
        canvas.area(bar, rgb(tint), 1.0)?;
        if is_state {
            canvas.line(&[(left, bar.top), (left, bar.bottom)], colour::INK, 1.0)?;
            if let Some(at) = word_at(word(code), left, right, avoid) {
                canvas.text((at, middle), word(code), SMALL, Side::Start, colour::INK)?;
            }
        }
    }
    Ok(())
}

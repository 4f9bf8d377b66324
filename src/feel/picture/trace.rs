//! A run over time: panels of curves, lanes of switches and states, windows shaded, the worst instant marked.

use super::PictureError;
use super::canvas::{Canvas, Frame, Key, MARGIN, Side, sheet};
use super::plane::{Axis, BELOW, LEFT, Plane};
use super::style::{CURVES, SMALL, colour, fit, number, width_of};
use std::ops::Range;

const WIDTH: f64 = 760.0;
/// Height of a panel, px.
const PANEL: f64 = 130.0;
/// Distance between panels and lanes, px.
const BETWEEN: f64 = 9.0;
/// Height of a lane's bar, px.
const BAR: f64 = 17.0;
/// Opacity of a window.
const WINDOW: f64 = 0.16;

/// A signal drawn as a curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// Name, for the legend.
    pub name: String,
    /// Values, one a row; not-a-number leaves a gap.
    pub values: Vec<f64>,
    /// Whether it is a limit or a wish: drawn as a broken line.
    pub limit: bool,
}

/// Curves of one unit in one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// Title of its axis: the unit, or what it is with the unit.
    pub title: String,
    /// Curves.
    pub curves: Vec<Curve>,
}

/// A switch or a state over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Lane {
    /// Name.
    pub name: String,
    /// Code, one a row.
    pub codes: Vec<usize>,
    /// Word for each code; where it is empty, as for a switch that is off, there is no bar.
    pub words: Vec<String>,
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
    /// Panels.
    pub panels: Vec<Panel>,
    /// Windows in which an expectation looks, s.
    pub windows_s: Vec<[f64; 2]>,
    /// The worst instant, s.
    pub worst_s: Option<f64>,
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
    let time = Axis {
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
    if !plot.windows_s.is_empty() {
        let spans: Vec<String> = plot
            .windows_s
            .iter()
            .map(|[from, to]| format!("{} to {} s", short(*from), short(*to)))
            .collect();
        let text = format!("where the expectation looks: {}", spans.join(", "));
        legend.push((Key::Area(colour::SKY, 2.0 * WINDOW), text));
    }
    if let Some(worst) = plot.worst_s {
        let text = format!("worst instant, {} s", number(worst, 3));
        legend.push((Key::Dashed(colour::INK, 1.5), text));
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
    time: &Axis,
    legend: &[(Key, String)],
    canvas: &mut Canvas<'_>,
) -> Result<f64, PictureError> {
    let mut y = canvas.header(&plot.title, &plot.below, legend)? + 2.0;
    let (left, right) = (MARGIN + LEFT, WIDTH - MARGIN - 16.0);
    for lane in &plot.lanes {
        let frame = |top: f64| Frame {
            left,
            top,
            right,
            bottom: top + BAR,
        };
        let plane = |top| Plane::new(frame(top), time.clone(), Axis::around("", [0.0, 1.0], 0.0));
        let place = (left, y + SMALL / 2.0);
        let name = fit(&lane.name, SMALL, 0.5 * (right - left));
        canvas.text(place, &name, SMALL, Side::Start, colour::INK)?;
        let after = left + width_of(&name, SMALL) + 24.0;
        let short = short_states(lane, plot.tick_s, &plane(y));
        let top = canvas.legend((after, right), y - 1.0, &short)?;
        let plane = plane(top.max(y + SMALL + 4.0));
        windows(plot, &plane, canvas)?;
        draw_lane(lane, plot.tick_s, &plane, canvas)?;
        worst(plot, &plane, canvas)?;
        y = plane.frame.bottom + BETWEEN;
    }
    let last = plot.panels.len().saturating_sub(1);
    for (index, panel) in plot.panels.iter().enumerate() {
        let entries: Vec<(Key, String)> = panel
            .curves
            .iter()
            .zip(CURVES.into_iter().cycle())
            .map(|(curve, colour)| {
                let key = if curve.limit {
                    Key::Dashed(colour, 1.8)
                } else {
                    Key::Line(colour, 1.8)
                };
                (key, curve.name.clone())
            })
            .collect();
        let top = canvas.legend((left, right), y, &entries)?;
        let frame = Frame {
            left,
            top,
            right,
            bottom: top + PANEL,
        };
        let seen = |curve: &Curve| shown(plot.tick_s, time, curve.values.len());
        let values = panel
            .curves
            .iter()
            .flat_map(|curve| &curve.values[seen(curve)])
            .copied();
        let axis = Axis::around(&panel.title, values, 0.07);
        let mut plane = Plane::new(frame, time.clone(), axis);
        plane.draw_axes(canvas, index == last)?;
        windows(plot, &plane, canvas)?;
        for (curve, colour) in panel.curves.iter().zip(CURVES.into_iter().cycle()) {
            let values = seen(curve).map(|row| (row as f64 * plot.tick_s, curve.values[row]));
            plane.curve(canvas, values, colour, 1.8, curve.limit)?;
        }
        worst(plot, &plane, canvas)?;
        plane.draw_edge(canvas)?;
        y = frame.bottom + BETWEEN;
    }
    Ok(y - BETWEEN + BELOW + MARGIN / 2.0)
}

/// The rows that are shown of so many.
fn shown(tick_s: f64, time: &Axis, rows: usize) -> Range<usize> {
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
            canvas.area(frame, colour::SKY, WINDOW)?;
        }
    }
    Ok(())
}

fn worst(plot: &TracePlot, plane: &Plane, canvas: &mut Canvas<'_>) -> Result<(), PictureError> {
    match plot.worst_s {
        Some(at) if plane.x.from <= at && at <= plane.x.to => {
            let x = plane.x_at(at);
            let ends = [(x, plane.frame.top), (x, plane.frame.bottom)];
            canvas.dashed(&ends, colour::INK, 1.5)
        }
        _ => Ok(()),
    }
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

/// Whether the word of a code has room in its bar.
fn has_room(word: &str, left: f64, right: f64) -> bool {
    width_of(word, SMALL) + 8.0 <= right - left
}

fn word(lane: &Lane, code: usize) -> &str {
    lane.words.get(code).map_or("?", String::as_str)
}

/// How strongly the bar of a state is filled.
const STATE: f64 = 0.28;

/// The states that nowhere have room for their word, for a legend.
fn short_states(lane: &Lane, tick_s: f64, plane: &Plane) -> Vec<(Key, String)> {
    if lane.words.len() <= 2 {
        return Vec::new();
    }
    let shown = stretches(lane, tick_s, plane);
    let mut short: Vec<usize> = Vec::new();
    for (code, _, _) in &shown {
        let told = shown.iter().any(|(other, left, right)| {
            other == code && has_room(word(lane, *code), *left, *right)
        });
        if !told && !short.contains(code) {
            short.push(*code);
        }
    }
    short
        .into_iter()
        .map(|code| {
            let key = Key::Area(CURVES[code % CURVES.len()], STATE);
            (key, word(lane, code).to_owned())
        })
        .collect()
}

/// A bar for each stretch of the same code, with its word where there is room.
fn draw_lane(
    lane: &Lane,
    tick_s: f64,
    plane: &Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    let frame = plane.frame;
    let ends = [(frame.left, frame.bottom), (frame.right, frame.bottom)];
    canvas.line(&ends, colour::FRAME, 1.0)?;
    let switch = lane.words.len() <= 2;
    for (code, left, right) in stretches(lane, tick_s, plane) {
        let word = word(lane, code);
        if word.is_empty() {
            continue;
        }
        let bar = Frame {
            left,
            right: right.max(left + 1.0),
            top: frame.top + 2.0,
            bottom: frame.bottom,
        };
        let (tint, opacity) = if switch {
            (colour::BLUE, 0.75)
        } else {
            (CURVES[code % CURVES.len()], STATE)
        };
        canvas.area(bar, tint, opacity)?;
        canvas.line(&[(left, bar.top), (left, bar.bottom)], colour::INK, 1.0)?;
        if !switch && has_room(word, left, right) {
            let place = (left + 5.0, 0.5 * (bar.top + bar.bottom));
            canvas.text(place, word, SMALL, Side::Start, colour::INK)?;
        }
    }
    Ok(())
}

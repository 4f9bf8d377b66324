//! What a fit leaves: the readings with the model through them, and below it measured less model.

use super::PictureError;
use super::canvas::{Canvas, Frame, Key, MARGIN, sheet};
use super::plane::{BELOW, FrameAxis, LEFT, Plane};
use super::style::{colour, number};
use trimproof_feel::fit::{Residual, Residuals};

const WIDTH: f64 = 760.0;
const UPPER_HEIGHT: f64 = 260.0;
const LOWER_HEIGHT: f64 = 190.0;
const BETWEEN: f64 = 16.0;

/// Opacity of the band.
const BAND: f64 = 0.25;

/// What a residual plot shows.
#[derive(Clone, Copy, Debug)]
pub struct ResidualPlot<'a> {
    /// Title.
    pub title: &'a str,
    /// How one measurement is met.
    pub residuals: &'a Residuals,
}

impl ResidualPlot<'_> {
    /// Whether it is a sweep, whose forces stand over the position; a response's positions stand
    /// over time.
    fn is_sweep(&self) -> bool {
        self.residuals.unit == "N"
    }

    fn across(&self, point: &Residual) -> f64 {
        if self.is_sweep() {
            point.position_deg
        } else {
            point.time_s
        }
    }
}

/// Draws the residuals of one measurement as SVG. A model that says it all leaves a level cloud,
/// two thirds of it within the band of one standard deviation; a curve in the cloud is what the
/// model does not know.
///
/// # Errors
/// If there are fewer than two points.
pub fn residual_plot(plot: &ResidualPlot<'_>) -> Result<String, PictureError> {
    let found = plot.residuals;
    if found.points.len() < 2 {
        return Err(PictureError::Nothing(format!(
            "`{}` has fewer than two points",
            found.name
        )));
    }
    let decimals = if plot.is_sweep() { 3 } else { 4 };
    let left_out = match found.left_out {
        0 => String::new(),
        1 => ", 1 reading left out as wild".to_owned(),
        count => format!(", {count} readings left out as wild"),
    };
    let below = format!(
        "{}: standard deviation {} {}{left_out}",
        found.name,
        number(found.deviation, decimals),
        found.unit
    );
    let legend = [
        (Key::Dot(colour::BLUE), "measured".to_owned()),
        (Key::Line(colour::VERMILLION, 1.5), "model".to_owned()),
        (
            Key::Area(colour::SKY, BAND),
            "within one standard deviation".to_owned(),
        ),
    ];
    sheet(WIDTH, plot.title, &below, |canvas| {
        let top = canvas.header(plot.title, &below, &legend)? + 6.0;
        let upper = Frame {
            left: MARGIN + LEFT,
            top,
            right: WIDTH - MARGIN - 16.0,
            bottom: top + UPPER_HEIGHT,
        };
        let lower = Frame {
            top: upper.bottom + BETWEEN,
            bottom: upper.bottom + BETWEEN + LOWER_HEIGHT,
            ..upper
        };
        draw_readings(plot, upper, canvas)?;
        draw_residuals(plot, lower, canvas)?;
        Ok(lower.bottom + BELOW + 0.5 * MARGIN)
    })
}

fn across_axis(plot: &ResidualPlot<'_>) -> FrameAxis {
    let title = if plot.is_sweep() {
        "stick angle, deg"
    } else {
        "time, s"
    };
    let points = plot.residuals.points.iter();
    FrameAxis::around(title, points.map(|point| plot.across(point)), 0.03)
}

fn draw_readings(
    plot: &ResidualPlot<'_>,
    frame: Frame,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    let points = &plot.residuals.points;
    let title = if plot.is_sweep() {
        "force at the grip, N"
    } else {
        "stick angle, deg"
    };
    let values = points
        .iter()
        .flat_map(|point| [point.measured, point.model]);
    let y = FrameAxis::around(title, values, 0.06);
    let mut plane = Plane::new(frame, across_axis(plot), y);
    plane.draw_axes(canvas, false)?;
    specks(plot, &plane, canvas, |point| point.measured)?;
    // A line only from neighbour to neighbour: what was left out at a turn or a stop is a gap.
    let gap_s = 4.0 * usual_gap_s(points);
    let mut piece: Vec<(f64, f64)> = Vec::new();
    let mut last_s = f64::NEG_INFINITY;
    for point in points {
        if point.time_s - last_s > gap_s && !piece.is_empty() {
            plane.curve(canvas, piece.drain(..), colour::VERMILLION, 1.5, false)?;
        }
        piece.push((plot.across(point), point.model));
        last_s = point.time_s;
    }
    plane.curve(canvas, piece, colour::VERMILLION, 1.5, false)?;
    plane.draw_edge(canvas)
}

/// The median way in time from one point to the next, s.
fn usual_gap_s(points: &[Residual]) -> f64 {
    let mut gaps: Vec<f64> = points
        .windows(2)
        .map(|pair| pair[1].time_s - pair[0].time_s)
        .collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(0.0)
}

fn draw_residuals(
    plot: &ResidualPlot<'_>,
    frame: Frame,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    let found = plot.residuals;
    let left = |point: &Residual| point.measured - point.model;
    let largest = found
        .points
        .iter()
        .map(|point| left(point).abs())
        .filter(|size| size.is_finite())
        .fold(found.deviation, f64::max);
    let title = format!("measured less model, {}", found.unit);
    let y = FrameAxis::around(&title, [-largest, largest], 0.08);
    let plane = Plane::new(frame, across_axis(plot), y);
    let band = Frame {
        top: plane.y_at(found.deviation),
        bottom: plane.y_at(-found.deviation),
        ..frame
    };
    canvas.area(band, colour::SKY, BAND)?;
    plane.draw_axes(canvas, true)?;
    specks(plot, &plane, canvas, left)?;
    plane.draw_edge(canvas)
}

fn specks(
    plot: &ResidualPlot<'_>,
    plane: &Plane,
    canvas: &mut Canvas<'_>,
    value: impl Fn(&Residual) -> f64,
) -> Result<(), PictureError> {
    for point in &plot.residuals.points {
        let (x, y) = plane.at(plot.across(point), value(point));
        if x.is_finite() && y.is_finite() {
            canvas.speck((x, y), colour::BLUE)?;
        }
    }
    Ok(())
}

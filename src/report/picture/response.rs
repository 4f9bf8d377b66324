//! A free response: the stick let go, its steady state and residual band, crossings and overshoots.

use super::PictureError;
use super::canvas::{Canvas, Frame, Key, MARGIN, sheet};
use super::plane::{BELOW, FrameAxis, LEFT, Plane};
use super::style::{SMALL, colour, number, width_of};
use trimproof_feel::figures::ResponseFigures;
use trimproof_feel::record::Response;

const WIDTH: f64 = 760.0;
const PLOT_HEIGHT: f64 = 330.0;
/// Room at the top of the frame for the times, px.
const TIMES: f64 = 30.0;

/// A response and what it comes down to.
#[derive(Clone, Copy, Debug)]
pub struct FreeResponse<'a> {
    /// Where it comes from, for the legend.
    pub name: &'a str,
    /// The readings.
    pub response: &'a Response,
    /// Its figures; without them there are no marks.
    pub figures: Option<&'a ResponseFigures>,
}

/// What a picture of a free response shows.
#[derive(Clone, Copy, Debug)]
pub struct Step<'a> {
    /// Title.
    pub title: &'a str,
    /// The response that the marks belong to.
    pub reference: FreeResponse<'a>,
    /// A second one, drawn over it, its steady state moved onto the first one's as 14 CFR part 60,
    /// appendix C, asks.
    pub other: Option<FreeResponse<'a>>,
}

/// Draws a free response as SVG.
///
/// # Errors
/// If the reference has fewer than two readings.
pub fn response(plot: &Step<'_>) -> Result<String, PictureError> {
    let samples = &plot.reference.response.samples;
    let (Some(first), true) = (samples.first(), samples.len() > 1) else {
        return Err(PictureError::Nothing(
            "the response has fewer than two readings".to_owned(),
        ));
    };
    let begin_s = first.time_s;
    let legend = legend(plot);
    let below = figures_line(plot);
    let description = format!(
        "Stick angle after it was let go, {}. {below}",
        plot.reference.name
    );
    sheet(WIDTH, plot.title, &description, |canvas| {
        let top = canvas.header(plot.title, &below, &legend)?;
        let frame = Frame {
            left: MARGIN + LEFT,
            top: top + 6.0,
            right: WIDTH - MARGIN - 16.0,
            bottom: top + 6.0 + PLOT_HEIGHT,
        };
        let mut plane = Plane::new(frame, time_axis(plot, begin_s), angle_axis(plot, frame));
        draw(plot, begin_s, &mut plane, canvas)?;
        Ok(frame.bottom + BELOW + 0.5 * MARGIN)
    })
}

fn legend(plot: &Step<'_>) -> Vec<(Key, String)> {
    let mut legend = vec![(Key::Line(colour::BLUE, 2.0), plot.reference.name.to_owned())];
    if let Some(other) = plot.other {
        let moved = if shift(plot) == 0.0 {
            ""
        } else {
            ", moved to the same steady state"
        };
        legend.push((
            Key::Line(colour::VERMILLION, 1.5),
            format!("{}{moved}", other.name),
        ));
    }
    if plot.reference.figures.is_some() {
        legend.push((
            Key::Dashed(colour::SOFT_INK, 1.0),
            "steady state".to_owned(),
        ));
        legend.push((
            Key::Area(colour::SKY, BAND),
            "residual band, 5 % of the initial displacement".to_owned(),
        ));
    }
    legend
}

/// Opacity of the residual band.
const BAND: f64 = 0.25;

/// By how much the second response is moved, degrees.
fn shift(plot: &Step<'_>) -> f64 {
    match (
        plot.reference.figures,
        plot.other.and_then(|other| other.figures),
    ) {
        (Some(reference), Some(other)) => reference.steady_deg - other.steady_deg,
        _ => 0.0,
    }
}

fn figures_line(plot: &Step<'_>) -> String {
    let response = plot.reference.response;
    let mut line = format!(
        "{} axis, {}",
        response.axis.name(),
        response.condition.name()
    );
    if let Some(figures) = plot.reference.figures {
        line.push_str(&format!(
            ": let go {} deg from rest, {} overshoot{}",
            number(figures.initial_deg, 2),
            figures.overshoots_deg.len(),
            if figures.overshoots_deg.len() == 1 {
                ""
            } else {
                "s"
            }
        ));
        match (figures.p0_s, figures.damping_ratio) {
            (Some(_), Some(ratio)) => {
                line.push_str(&format!(", damping ratio {}", number(ratio, 3)))
            }
            (Some(_), None) => {}
            (None, _) => line.push_str(&format!(
                ", never crosses, 90 % of the way after {} s",
                number(figures.to_90_percent_s, 3)
            )),
        }
    }
    line
}

/// Up to half as long again as it takes to come to rest.
fn time_axis(plot: &Step<'_>, begin_s: f64) -> FrameAxis {
    let samples = &plot.reference.response.samples;
    let all_s = samples.last().map_or(1.0, |last| last.time_s - begin_s);
    let moving_s = plot.reference.figures.and_then(|figures| {
        samples
            .iter()
            .rfind(|sample| (sample.position_deg - figures.steady_deg).abs() > figures.residual_deg)
            .map(|sample| sample.time_s - begin_s)
    });
    let to = moving_s.map_or(all_s, |moving| (1.6 * moving).min(all_s));
    FrameAxis {
        title: "time from the release, s".to_owned(),
        from: 0.0,
        to: if to > 0.0 { to } else { 1.0 },
        second: None,
    }
}

/// With room at the top for the times.
fn angle_axis(plot: &Step<'_>, frame: Frame) -> FrameAxis {
    let of = |one: &FreeResponse<'_>, by: f64| -> Vec<f64> {
        one.response
            .samples
            .iter()
            .map(|sample| sample.position_deg + by)
            .collect()
    };
    let mut values = of(&plot.reference, 0.0);
    values.extend(plot.other.iter().flat_map(|other| of(other, shift(plot))));
    let title = format!(
        "stick angle in {}, deg",
        plot.reference.response.axis.name()
    );
    let mut axis = FrameAxis::around(&title, values, 0.06);
    let share = TIMES / (frame.bottom - frame.top);
    axis.to += share / (1.0 - share) * (axis.to - axis.from);
    axis
}

fn draw(
    plot: &Step<'_>,
    begin_s: f64,
    plane: &mut Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    plane.draw_axes(canvas, true)?;
    let ends = (plane.x.from, plane.x.to);
    if let Some(figures) = plot.reference.figures {
        let height = |deg: f64| plane.y_at(deg).clamp(plane.frame.top, plane.frame.bottom);
        let band = Frame {
            top: height(figures.steady_deg + figures.residual_deg),
            bottom: height(figures.steady_deg - figures.residual_deg),
            ..plane.frame
        };
        canvas.area(band, colour::SKY, BAND)?;
        let steady = figures.steady_deg;
        plane.curve(
            canvas,
            [(ends.0, steady), (ends.1, steady)],
            colour::SOFT_INK,
            1.0,
            true,
        )?;
    }
    let curves = [
        (plot.other, shift(plot), colour::VERMILLION, 1.5),
        (Some(plot.reference), 0.0, colour::BLUE, 2.0),
    ];
    for (one, by, colour, width) in curves {
        let Some(one) = one else { continue };
        let samples = one.response.samples.iter();
        let values = samples.map(|sample| (sample.time_s - begin_s, sample.position_deg + by));
        plane.curve(canvas, values, colour, width, false)?;
    }
    if let Some(figures) = plot.reference.figures {
        times(figures, plane, canvas)?;
        overshoots(plot.reference.response, figures, begin_s, plane, canvas)?;
    }
    plane.draw_edge(canvas)
}

/// P0, P1...: from the release to the first crossing, then whole periods.
fn times(
    figures: &ResponseFigures,
    plane: &mut Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    plane.keep_free(Frame {
        bottom: plane.frame.top + TIMES,
        ..plane.frame
    });
    let (y, steady) = (
        plane.frame.top + TIMES - 7.0,
        plane.y_at(figures.steady_deg),
    );
    let mut from = 0.0;
    let spans = figures.p0_s.iter().chain(&figures.periods_s);
    for (index, span) in spans.enumerate() {
        let to = from + span;
        if to > plane.x.to {
            break;
        }
        let (left, right) = (plane.x_at(from), plane.x_at(to));
        for x in [left, right] {
            canvas.line(&[(x, y - 4.0), (x, y + 4.0)], colour::INK, 1.0)?;
        }
        canvas.line(&[(left, y), (right, y)], colour::INK, 1.0)?;
        canvas.dashed(&[(right, y + 4.0), (right, steady)], colour::FRAME, 1.0)?;
        let long = format!("P{index} {} s", number(*span, 3));
        let short = format!("P{index}");
        let fits = |text: &&String| width_of(text, SMALL) + 6.0 <= right - left;
        if let Some(text) = [&long, &short].into_iter().find(fits) {
            let place = (0.5 * (left + right), y - 4.0 - SMALL / 2.0);
            canvas.text(place, text, SMALL, super::canvas::Side::Middle, colour::INK)?;
        }
        from = to;
    }
    Ok(())
}

/// A1, A2...: the largest distance from the steady state between two crossings, outside the
/// residual band.
fn overshoots(
    response: &Response,
    figures: &ResponseFigures,
    begin_s: f64,
    plane: &mut Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    let Some(p0_s) = figures.p0_s else {
        return Ok(());
    };
    let mut peaks: Vec<(f64, f64)> = Vec::new();
    let mut side = 0.0;
    for sample in &response.samples {
        let (time, off) = (
            sample.time_s - begin_s,
            sample.position_deg - figures.steady_deg,
        );
        if time < p0_s || off == 0.0 {
            continue;
        }
        match peaks.last_mut() {
            Some(peak) if off.signum() == side => {
                if off.abs() > peak.1.abs() {
                    *peak = (time, off);
                }
            }
            _ => peaks.push((time, off)),
        }
        side = off.signum();
    }
    peaks.retain(|peak| peak.1.abs() > figures.residual_deg);
    for (index, (peak, size)) in peaks.iter().zip(&figures.overshoots_deg).enumerate() {
        let place = plane.at(peak.0, figures.steady_deg + peak.1);
        if place.0 > plane.frame.right {
            break;
        }
        canvas.dot(place, colour::BLUE)?;
        let text = format!("A{} {} deg", index + 1, number(*size, 2));
        plane.label(canvas, place, &text, colour::INK)?;
    }
    Ok(())
}

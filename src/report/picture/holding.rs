//! The holding margin: what the cartridge asks of the drive over the travel, and what the drive can
//! hold.

use super::PictureError;
use super::canvas::{Canvas, Frame, Key, MARGIN, sheet};
use super::plane::{BELOW, FrameAxis, LEFT, Plane};
use super::style::{colour, number};
use plotters::style::RGBColor;

const WIDTH: f64 = 760.0;
const PLOT_HEIGHT: f64 = 340.0;

/// What the drive can hold at one current.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldingLine {
    /// What it is, for the legend: `run current, 1.2 A`.
    pub name: String,
    /// Torque at the stick that it holds, N m, positive; one for each position.
    pub torque_n_m: Vec<f64>,
}

/// What a picture of the holding margin shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Holding<'a> {
    /// Title.
    pub title: &'a str,
    /// Positions of the stick relative to the trim, degrees, rising.
    pub position_deg: &'a [f64],
    /// Torque of the cartridge on the stick there with the trim in the middle, N m: with its sign,
    /// or its size everywhere.
    pub cartridge_n_m: &'a [f64],
    /// The same with the trim at the soft limit farther from there; empty if that is not asked.
    pub far_n_m: &'a [f64],
    /// What the drive can hold; the last one is the one whose margin is marked.
    pub holds: &'a [HoldingLine],
}

/// Draws the torque that the drive must hold and those that it can hold as SVG.
///
/// # Errors
/// If there are fewer than two positions, or not one torque for each.
pub fn holding_margin(plot: &Holding<'_>) -> Result<String, PictureError> {
    let count = plot.position_deg.len();
    let fits = |values: &[f64]| values.len() == count;
    if count < 2
        || !fits(plot.cartridge_n_m)
        || !(plot.far_n_m.is_empty() || fits(plot.far_n_m))
        || !plot.holds.iter().all(|line| fits(&line.torque_n_m))
    {
        return Err(PictureError::Nothing(
            "there must be two positions or more, and a torque for each".to_owned(),
        ));
    }
    let tightest = tightest(plot, plot.cartridge_n_m);
    let far = tightest_far(plot);
    let mut legend = vec![(
        Key::Line(colour::BLACK, 2.5),
        if plot.far_n_m.is_empty() {
            "asked of the drive by the cartridge"
        } else {
            "asked of the drive by the cartridge, trim in the middle"
        }
        .to_owned(),
    )];
    if far.is_some() {
        let text = "asked with the trim at the far soft limit".to_owned();
        legend.push((Key::Dashed(colour::BLACK, 2.5), text));
    }
    for (line, colour) in plot.holds.iter().zip(HELD.into_iter().cycle()) {
        legend.push((Key::Line(colour, 2.0), format!("held at {}", line.name)));
    }
    if tightest.is_some() {
        legend.push((Key::Area(colour::SKY, MARGIN_OPACITY), "margin".to_owned()));
    }
    let below = tightest.as_ref().map_or_else(String::new, |tight| {
        format!(
            "least margin at {}: {} % of what the cartridge asks, at {} deg from the trim",
            plot.holds.last().map_or("", |line| line.name.as_str()),
            number(100.0 * tight.share, 0),
            number(tight.at_deg, 2)
        )
    });
    let below = match &far {
        Some(far) if far.share < 0.0 => format!(
            "{below}; with the trim at the far soft limit the drive SLIPS: it holds {} % of what is asked",
            number(100.0 * (1.0 + far.share), 0)
        ),
        Some(far) => format!(
            "{below}; with the trim at the far soft limit {} %",
            number(100.0 * far.share, 0)
        ),
        None => below,
    };
    sheet(WIDTH, plot.title, &below, |canvas| {
        let top = canvas.header(plot.title, &below, &legend)?;
        let frame = Frame {
            left: MARGIN + LEFT,
            top: top + 6.0,
            right: WIDTH - MARGIN - 16.0,
            bottom: top + 6.0 + PLOT_HEIGHT,
        };
        let (x, y) = axes(plot);
        let mut plane = Plane::new(frame, x, y);
        draw(plot, tightest.as_ref(), far.as_ref(), &mut plane, canvas)?;
        Ok(frame.bottom + BELOW + 0.5 * MARGIN)
    })
}

/// Colours of what is held. Vermillion is left to what slips.
const HELD: [RGBColor; 3] = [colour::BLUE, colour::GREEN, colour::PURPLE];

/// Opacity of the margin's area.
const MARGIN_OPACITY: f64 = 0.2;

/// Where least is left.
struct Tightest {
    at_deg: f64,
    asked_n_m: f64,
    held_n_m: f64,
    /// What is left, as a share of what is asked.
    share: f64,
}

/// With the trim at the far soft limit.
fn tightest_far(plot: &Holding<'_>) -> Option<Tightest> {
    tightest(plot, plot.far_n_m)
}

fn tightest(plot: &Holding<'_>, asked_n_m: &[f64]) -> Option<Tightest> {
    let line = plot.holds.last()?;
    let rows = plot
        .position_deg
        .iter()
        .zip(asked_n_m)
        .zip(&line.torque_n_m);
    rows.filter(|((_, asked), held)| **asked != 0.0 && asked.is_finite() && held.is_finite())
        .map(|((at, asked), held)| Tightest {
            at_deg: *at,
            asked_n_m: *asked,
            held_n_m: held * asked.signum(),
            share: held / asked.abs() - 1.0,
        })
        .min_by(|a, b| a.share.total_cmp(&b.share))
}

fn axes(plot: &Holding<'_>) -> (FrameAxis, FrameAxis) {
    let held = plot.holds.iter().flat_map(|line| &line.torque_n_m);
    let most = held
        .chain(plot.cartridge_n_m)
        .chain(plot.far_n_m)
        .filter(|torque| torque.is_finite())
        .fold(0.0_f64, |most, torque| most.max(torque.abs()));
    let positions = plot.position_deg.iter().copied();
    let least = if one_sided(plot) { 0.0 } else { -most };
    let mut torque = FrameAxis::around("torque at the stick, N m", [least, most], 0.06);
    if one_sided(plot) {
        torque.from = 0.0;
    }
    (
        FrameAxis::around("stick angle from the trim, deg", positions, 0.03),
        torque,
    )
}

/// Whether only the size of the torque is given, without its direction.
fn one_sided(plot: &Holding<'_>) -> bool {
    !plot.cartridge_n_m.iter().any(|torque| *torque < 0.0)
}

fn draw(
    plot: &Holding<'_>,
    tightest: Option<&Tightest>,
    far: Option<&Tightest>,
    plane: &mut Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    plane.draw_axes(canvas, true)?;
    let places = |values: &[f64]| -> Vec<(f64, f64)> {
        let pairs = plot.position_deg.iter().zip(values);
        pairs
            .map(|(position, torque)| {
                let inside = torque.clamp(plane.y.from, plane.y.to);
                plane.at(*position, if inside.is_finite() { inside } else { 0.0 })
            })
            .collect()
    };
    if let Some(line) = plot.holds.last() {
        // Between what is asked and what is held on the same side; where more is asked than held
        // there is none.
        let asked: Vec<f64> = plot.cartridge_n_m.to_vec();
        let held: Vec<f64> = asked
            .iter()
            .zip(&line.torque_n_m)
            .map(|(asked, held)| held.max(asked.abs()) * asked.signum())
            .collect();
        let mut corners = places(&asked);
        corners.extend(places(&held).into_iter().rev());
        canvas.shape(&corners, colour::SKY, MARGIN_OPACITY)?;
    }
    for (line, colour) in plot.holds.iter().zip(HELD.into_iter().cycle()) {
        let signs: &[f64] = if one_sided(plot) {
            &[1.0]
        } else {
            &[-1.0, 1.0]
        };
        for sign in signs {
            let torques = line.torque_n_m.iter().map(|torque| sign * torque);
            let values = plot.position_deg.iter().copied().zip(torques);
            plane.curve(canvas, values, colour, 2.0, false)?;
        }
    }
    let asked = plot.cartridge_n_m.iter().copied();
    let values = plot.position_deg.iter().copied().zip(asked);
    plane.curve(canvas, values, colour::BLACK, 2.5, false)?;
    let asked = plot.far_n_m.iter().copied();
    let values = plot.position_deg.iter().copied().zip(asked);
    plane.curve(canvas, values, colour::BLACK, 2.5, true)?;
    // Where the drive slips: what is asked beyond what it holds.
    if let Some(line) = plot.holds.last() {
        let slips = |index: &usize| plot.far_n_m[*index].abs() > line.torque_n_m[*index];
        let rows: Vec<usize> = (0..plot.far_n_m.len()).collect();
        for stretch in rows.chunk_by(|a, b| slips(a) == slips(b)) {
            if !slips(&stretch[0]) {
                continue;
            }
            let upper = stretch
                .iter()
                .map(|row| plane.at(plot.position_deg[*row], plot.far_n_m[*row]));
            let lower = stretch.iter().rev().map(|row| {
                let held = line.torque_n_m[*row] * plot.far_n_m[*row].signum();
                plane.at(plot.position_deg[*row], held)
            });
            let corners: Vec<(f64, f64)> = upper.chain(lower).collect();
            canvas.shape(&corners, colour::VERMILLION, 0.45)?;
        }
    }
    if let Some(far) = far {
        let place = plane.at(far.at_deg, far.asked_n_m);
        let beyond = far.held_n_m.abs() - far.asked_n_m.abs();
        if beyond < 0.0 {
            canvas.ring(place, colour::VERMILLION)?;
            let text = format!("slips: {} N m too little", number(-beyond, 2));
            plane.callout(canvas, place, &text, colour::VERMILLION)?;
        } else {
            canvas.dot(place, colour::BLACK)?;
            let text = format!("far trim: {} N m left", number(beyond, 2));
            plane.label(canvas, place, &text, colour::INK)?;
        }
    }
    if let Some(tight) = tightest {
        let (asked, held) = (
            plane.at(tight.at_deg, tight.asked_n_m),
            plane.at(tight.at_deg, tight.held_n_m),
        );
        canvas.dashed(&[asked, held], colour::INK, 1.0)?;
        canvas.dot(asked, colour::BLACK)?;
        let text = format!(
            "least margin {} N m",
            number(tight.held_n_m.abs() - tight.asked_n_m.abs(), 2)
        );
        plane.label(canvas, asked, &text, colour::INK)?;
    }
    plane.draw_edge(canvas)
}

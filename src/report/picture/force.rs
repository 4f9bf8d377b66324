//! Force against position: a sweep, its tolerance band, a second sweep, and what is read off it.

use super::canvas::{Canvas, Frame, Key, MARGIN, PixelPair, sheet};
use super::plane::{ABOVE, BELOW, FrameAxis, LEFT, Plane, RIGHT};
use super::style::{colour, number};
use super::{INCH_M, LB_N, PictureError};
use trimproof_feel::figures::SweepFigures;
use trimproof_feel::record::{Sweep, SweepSample};

const WIDTH: f64 = 760.0;
const PLOT_HEIGHT: f64 = 380.0;

/// Columns in which a band is gathered.
const COLUMNS: usize = 320;

/// A sweep and what it comes down to.
#[derive(Clone, Copy, Debug)]
pub struct Loop<'a> {
    /// Where it comes from, for the legend: `twin of kittiwake`.
    pub name: &'a str,
    /// The readings.
    pub sweep: &'a Sweep,
    /// Its figures; without them there are no marks.
    pub figures: Option<&'a SweepFigures>,
}

/// How far a force may be off: the larger of the two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForceTolerance {
    /// So many N.
    pub force_n: f64,
    /// Such a share of the force.
    pub share: f64,
}

impl ForceTolerance {
    /// 14 CFR part 60, appendix C, table C2A, entries 2.a.1 and 2.a.2: 1.0 lb or 10 %.
    pub const PART_60: Self = Self {
        force_n: LB_N,
        share: 0.10,
    };

    /// How far `force_n` may be off, N.
    pub fn of(&self, force_n: f64) -> f64 {
        self.force_n.max(self.share * force_n.abs())
    }
}

/// A force that is wanted at a position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForceTarget {
    /// Stick angle, degrees.
    pub position_deg: f64,
    /// Least force, N, with its sign.
    pub least_n: f64,
    /// Largest force, N, with its sign.
    pub most_n: f64,
}

/// What a picture of force against position shows.
#[derive(Clone, Copy, Debug)]
pub struct ForceLoop<'a> {
    /// Title.
    pub title: &'a str,
    /// The sweep that the band and the marks belong to.
    pub reference: Loop<'a>,
    /// A second one, drawn over it: the bench against the twin.
    pub other: Option<Loop<'a>>,
    /// Band around the reference.
    pub tolerance: Option<ForceTolerance>,
    /// Forces that are wanted.
    pub targets: &'a [ForceTarget],
}

/// Draws force against position as SVG: inches at the grip and pounds on the second scales.
///
/// Forces beyond the last before the stops are cut off: a stop's own force says nothing about the
/// gradient.
///
/// # Errors
/// If the reference has fewer than two readings.
pub fn force_loop(plot: &ForceLoop<'_>) -> Result<String, PictureError> {
    if plot.reference.sweep.samples.len() < 2 {
        return Err(PictureError::Nothing(
            "the sweep has fewer than two readings".to_owned(),
        ));
    }
    let legend = legend(plot);
    let below = figures_line(plot);
    let description = format!(
        "Force of the hand against stick angle, {}. {below}",
        plot.reference.name
    );
    sheet(WIDTH, plot.title, &description, |canvas| {
        let top = canvas.header(plot.title, &below, &legend)?;
        let frame = Frame {
            left: MARGIN + LEFT,
            top: top + ABOVE,
            right: WIDTH - MARGIN - RIGHT,
            bottom: top + ABOVE + PLOT_HEIGHT,
        };
        let (x, y) = axes(plot);
        let mut plane = Plane::new(frame, x, y);
        draw(plot, &mut plane, canvas)?;
        Ok(frame.bottom + BELOW + 0.5 * MARGIN)
    })
}

fn legend(plot: &ForceLoop<'_>) -> Vec<(Key, String)> {
    let mut legend = vec![(Key::Line(colour::BLUE, 2.0), plot.reference.name.to_owned())];
    if let Some(other) = plot.other {
        legend.push((Key::Line(colour::VERMILLION, 1.5), other.name.to_owned()));
    }
    if let Some(tolerance) = plot.tolerance {
        legend.push((
            Key::Area(colour::SKY, BAND),
            format!(
                "within {} N ({} lb) or {} %",
                number(tolerance.force_n, 2),
                number(tolerance.force_n / LB_N, 1),
                number(100.0 * tolerance.share, 0)
            ),
        ));
    }
    if !plot.targets.is_empty() {
        legend.push((Key::Line(colour::GREEN, 4.0), "wanted".to_owned()));
    }
    let steps = plot
        .reference
        .figures
        .map_or(0, |figures| figures.discontinuities.len());
    if steps > 0 {
        let text = format!("step of the force, {steps} found");
        legend.push((Key::Dot(colour::ORANGE), text));
    }
    legend
}

/// Opacity of a band.
const BAND: f64 = 0.3;

fn figures_line(plot: &ForceLoop<'_>) -> String {
    let sweep = plot.reference.sweep;
    let mut line = format!("{} axis, {}", sweep.axis.name(), sweep.condition.name());
    if let Some(figures) = plot.reference.figures {
        line.push_str(&format!(": friction {} N", number(figures.friction_n, 2)));
        if figures.is_limp() {
            if let Some(ripple) = figures.ripple {
                line.push_str(&format!(
                    " on the mean, ripple {} N peak to peak",
                    number(ripple.peak_to_peak_n, 2)
                ));
            }
            line.push_str(", stays where it is left");
        } else {
            line.push_str(&format!(
                ", free play {} deg",
                number(figures.free_play_deg, 2)
            ));
        }
        if let Some(at) = figures.slipped_at_deg {
            line.push_str(&format!("; the motor slips at {} deg", number(at, 1)));
        }
    }
    line
}

fn axes(plot: &ForceLoop<'_>) -> (FrameAxis, FrameAxis) {
    let loops = || [Some(plot.reference), plot.other].into_iter().flatten();
    let samples = || loops().flat_map(|one| &one.sweep.samples);
    let stops = loops()
        .filter_map(|one| one.figures)
        .flat_map(|figures| figures.stop_deg);
    let x = FrameAxis {
        second: Some((
            "position at the grip, in".to_owned(),
            plot.reference.sweep.grip_radius_m.max(1e-3) / INCH_M * 1_f64.to_radians(),
        )),
        ..FrameAxis::around(
            &format!("stick angle in {}, deg", plot.reference.sweep.axis.name()),
            samples().map(|sample| sample.position_deg).chain(stops),
            0.04,
        )
    };
    // Without figures nothing says where the stop begins.
    let known: Option<Vec<f64>> = loops()
        .map(|one| {
            one.figures
                .map(|figures| figures.largest_n[0].max(figures.largest_n[1]))
        })
        .collect();
    let most = match known {
        Some(largest) => largest.into_iter().fold(0.0, f64::max),
        None => samples()
            .map(|sample| sample.force_n.abs())
            .filter(|force| force.is_finite())
            .fold(0.0, f64::max),
    };
    let wanted = plot
        .targets
        .iter()
        .map(|target| target.least_n.abs().max(target.most_n.abs()));
    let most = wanted.fold(most, f64::max);
    let most = most + plot.tolerance.map_or(0.0, |tolerance| tolerance.of(most));
    let y = FrameAxis {
        second: Some(("force, lb".to_owned(), 1.0 / LB_N)),
        ..FrameAxis::around("force of the hand at the grip, N", [-most, most], 0.08)
    };
    (x, y)
}

/// The reading of a limp stick at which the hand meets the largest force between the stops.
fn worst_reading<'a>(sweep: &'a Sweep, figures: &SweepFigures) -> Option<&'a SweepSample> {
    let largest_n = figures.largest_n[0].max(figures.largest_n[1]);
    // The figure is of readings, or of means of a few neighbours.
    let off = |sample: &SweepSample| (sample.force_n.abs() - largest_n).abs();
    let [low, high] = figures.stop_deg;
    let inside = |sample: &&SweepSample| {
        sample.force_n.is_finite() && (low..=high).contains(&sample.position_deg)
    };
    sweep
        .samples
        .iter()
        .filter(|_| figures.is_limp())
        .filter(inside)
        .min_by(|a, b| off(a).total_cmp(&off(b)))
}

fn draw(
    plot: &ForceLoop<'_>,
    plane: &mut Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    plane.draw_axes(canvas, true)?;
    if let Some(tolerance) = plot.tolerance {
        for corners in band(plane, plot.reference.sweep, tolerance) {
            // Without opacity, so that the way out and the way back do not darken each other.
            canvas.shape(&corners, pale(), 1.0)?;
        }
    }
    if let Some(figures) = plot.reference.figures {
        for stop in figures.stop_deg {
            plane.upright(canvas, stop, colour::SOFT_INK, 1.0)?;
        }
    }
    // A noisy bench must not hide what it is held against.
    for (one, colour, width) in [
        (plot.other, colour::VERMILLION, 1.5),
        (Some(plot.reference), colour::BLUE, 2.0),
    ] {
        let Some(one) = one else { continue };
        // A detent lies next to a detent: thin, so that each is seen.
        let width = match one.figures {
            Some(figures) if figures.is_limp() => 0.6,
            _ => width,
        };
        let samples = one.sweep.samples.iter();
        let values = samples.map(|sample| (sample.position_deg, sample.force_n));
        plane.curve(canvas, values, colour, width, false)?;
    }
    for target in plot.targets {
        let ends = [
            (target.position_deg, target.least_n),
            (target.position_deg, target.most_n),
        ];
        plane.curve(canvas, ends, colour::GREEN, 4.0, false)?;
        for (x, y) in ends {
            let (x, y) = plane.at(x, y);
            canvas.line(&[(x - 6.0, y), (x + 6.0, y)], colour::GREEN, 2.0)?;
        }
    }
    marks(plot, plane, canvas)?;
    plane.draw_edge(canvas)
}

/// The colour of a band as it looks with its opacity on paper.
fn pale() -> plotters::style::RGBColor {
    let mix = |part: u8| (f64::from(part) * BAND + 255.0 * (1.0 - BAND)).round() as u8;
    let sky = colour::SKY;
    plotters::style::RGBColor(mix(sky.0), mix(sky.1), mix(sky.2))
}

fn marks(
    plot: &ForceLoop<'_>,
    plane: &mut Plane,
    canvas: &mut Canvas<'_>,
) -> Result<(), PictureError> {
    let Some(figures) = plot.reference.figures else {
        return Ok(());
    };
    // A limp stick has nothing to break out of.
    let sides = [-1.0, 1.0].into_iter().enumerate();
    for (side, sign) in sides.filter(|_| !figures.is_limp()) {
        let force = figures.breakout_n[side];
        let Some(at) = reached(plot.reference.sweep, sign, force) else {
            continue;
        };
        let place = plane.at(at, sign * force);
        canvas.dot(place, colour::BLUE)?;
        let text = format!(
            "breakout {} N ({} lb)",
            number(force, 2),
            number(force / LB_N, 2)
        );
        plane.label(canvas, place, &text, colour::INK)?;
    }
    if let Some(worst) = worst_reading(plot.reference.sweep, figures) {
        let place = plane.at(worst.position_deg, worst.force_n);
        canvas.dot(place, colour::BLUE)?;
        let text = format!(
            "largest {} N at {} deg",
            number(worst.force_n.abs(), 2),
            number(worst.position_deg, 1)
        );
        plane.callout(canvas, place, &text, colour::BLUE)?;
    }
    for stop in figures.stop_deg {
        let heights = [0.88, 0.12].map(|share| plane.y.from + share * (plane.y.to - plane.y.from));
        // Beside the end at which the loop is not.
        let height = if stop > 0.0 { heights[1] } else { heights[0] };
        let place = plane.at(stop, height);
        let text = format!("stop {} deg", number(stop, 2));
        plane.label(canvas, place, &text, colour::SOFT_INK)?;
    }
    // All are marked; only the largest has its value beside it, the legend says how many there are.
    let largest = figures
        .discontinuities
        .iter()
        .max_by(|a, b| a.step_n.abs().total_cmp(&b.step_n.abs()));
    for step in &figures.discontinuities {
        let place = plane.at(step.at_deg, force_at(plot.reference.sweep, step.at_deg));
        let inside = Frame {
            left: place.0,
            right: place.0,
            top: place.1,
            bottom: place.1,
        };
        if plane.frame.holds(&inside) {
            canvas.dot(place, colour::ORANGE)?;
            if Some(step) == largest {
                let text = format!("step of {} N", number(step.step_n, 2));
                plane.label(canvas, place, &text, colour::INK)?;
            }
        }
    }
    Ok(())
}

/// The force of the reading nearest to a position, N.
fn force_at(sweep: &Sweep, at_deg: f64) -> f64 {
    let far = |sample: &SweepSample| (at_deg - sample.position_deg).abs();
    let nearest = sweep
        .samples
        .iter()
        .min_by(|a, b| far(a).total_cmp(&far(b)));
    nearest.map_or(0.0, |sample| sample.force_n)
}

/// Where the force first reaches `force_n` on this side, degrees.
fn reached(sweep: &Sweep, sign: f64, force_n: f64) -> Option<f64> {
    let first = sweep
        .samples
        .iter()
        .find(|sample| sign * sample.force_n >= force_n && sign * sample.position_deg >= 0.0);
    first.map(|sample| sample.position_deg)
}

/// The tolerance around each way of the sweep, as shapes: columns a few px wide, each as high as
/// all that lies in it needs.
fn band(plane: &Plane, sweep: &Sweep, tolerance: ForceTolerance) -> Vec<Vec<PixelPair>> {
    let (from, to) = (plane.x.from, plane.x.to);
    let mut shapes = Vec::new();
    for way in ways(sweep) {
        let mut columns = vec![(f64::INFINITY, f64::NEG_INFINITY); COLUMNS];
        let mut take = |position: f64, force: f64| {
            let share = (position - from) / (to - from);
            // Inside the columns by the clamp.
            let column = (share * COLUMNS as f64).clamp(0.0, COLUMNS as f64 - 1.0) as usize;
            let off = tolerance.of(force);
            columns[column].0 = columns[column].0.min(force - off);
            columns[column].1 = columns[column].1.max(force + off);
        };
        for pair in way.windows(2) {
            // Fast ways skip columns: the stretch between two readings counts too.
            let (a, b) = (pair[0], pair[1]);
            let crossed = (b.0 - a.0).abs() / (to - from) * COLUMNS as f64;
            let steps = (crossed.ceil().clamp(1.0, COLUMNS as f64) as usize) * 2;
            for step in 0..=steps {
                let share = step as f64 / steps as f64;
                take(a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1));
            }
        }
        let middle = |column: usize| from + (column as f64 + 0.5) / COLUMNS as f64 * (to - from);
        let edge = |column: usize, force: f64| {
            plane.at(middle(column), force.clamp(plane.y.from, plane.y.to))
        };
        let filled: Vec<usize> = (0..COLUMNS)
            .filter(|column| columns[*column].0 <= columns[*column].1)
            .collect();
        let upper = filled
            .iter()
            .map(|column| edge(*column, columns[*column].1));
        let lower = filled
            .iter()
            .rev()
            .map(|column| edge(*column, columns[*column].0));
        shapes.push(upper.chain(lower).collect());
    }
    shapes
}

/// The sweep parted at its extremes: out, through to the other stop, and back.
fn ways(sweep: &Sweep) -> Vec<Vec<(f64, f64)>> {
    let values: Vec<(f64, f64)> = sweep
        .samples
        .iter()
        .map(|sample| (sample.position_deg, sample.force_n))
        .filter(|(position, force)| position.is_finite() && force.is_finite())
        .collect();
    let by_position = |a: &(usize, &(f64, f64)), b: &(usize, &(f64, f64))| a.1.0.total_cmp(&b.1.0);
    let low = values
        .iter()
        .enumerate()
        .min_by(by_position)
        .map_or(0, |low| low.0);
    let high = values
        .iter()
        .enumerate()
        .max_by(by_position)
        .map_or(0, |high| high.0);
    let (first, second) = (low.min(high), low.max(high));
    [
        &values[..values.len().min(first + 1)],
        &values[first..values.len().min(second + 1)],
        &values[second..],
    ]
    .into_iter()
    .filter(|way| way.len() > 1)
    .map(<[_]>::to_vec)
    .collect()
}

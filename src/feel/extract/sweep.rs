//! Figures of a slow sweep.

use crate::figures::SweepFigures;
use crate::record::{Condition, Sweep};

use super::ExtractError;
use super::branches::{Branches, branches};
use super::curve::ForceCurve;
use super::line::{FittedLine, LinePoint, Sums, median, robust_line, within};
use super::middle::middle;
use super::ripple::{largest_out_of_noise, largest_reading, ripple};
use super::steps::steps;
use super::stops::{MeasuredStop, stop};

/// One inch, m.
const INCH_M: f64 = 25.4e-3;

/// A gradient beyond the first inch is reported if it covers this share of an inch.
const BEYOND_MIN: f64 = 0.2;

/// Fewest readings of a gradient.
const READINGS_MIN: usize = 6;

/// Figures of a slow sweep; every definition stands in `docs/model/feel.md`.
///
/// # Errors
///
/// Too few or unusable readings; a sweep that goes one way or to one side only.
pub fn sweep_figures(sweep: &Sweep) -> Result<SweepFigures, ExtractError> {
    let radius = sweep.grip_radius_m;
    if !(radius.is_finite() && radius > 0.0) {
        return Err(ExtractError::GripRadius(radius));
    }
    let inch = (INCH_M / radius).to_degrees();
    let parts = branches(&sweep.samples)?;
    both_sides(&parts)?;
    let ends = ends(&parts)?;
    let width = parts.range[1] - parts.range[0];
    let margin = 0.005 * width;
    let free = [ends[0].free + margin, ends[1].free - margin];
    let common = Common {
        sweep,
        inch,
        free,
        stops: [ends[0].at, ends[1].at],
        largest: [ends[0].largest, ends[1].largest],
    };
    if limp(&parts, free) {
        limp_figures(&common, &parts)
    } else {
        spring_figures(&common, &parts)
    }
}

/// What both kinds of sweep have in common.
struct Common<'a> {
    sweep: &'a Sweep,
    /// One inch at the grip, degrees.
    inch: f64,
    /// Travel without stops, degrees.
    free: [f64; 2],
    stops: [f64; 2],
    largest: [f64; 2],
}

/// A sweep that starts at one end of its travel says nothing of the other side.
fn both_sides(parts: &Branches) -> Result<(), ExtractError> {
    let [low, high] = parts.range;
    let least = 0.05 * (high - low);
    for (end, side) in [(low, "negative"), (high, "positive")] {
        if (end - parts.start).abs() < least {
            return Err(ExtractError::OneSided {
                start_deg: parts.start,
                end_deg: end,
                side,
            });
        }
    }
    Ok(())
}

/// Both stops, `[negative, positive]`, in positions and forces of the stick.
fn ends(parts: &Branches) -> Result<[MeasuredStop; 2], ExtractError> {
    let sparse = ExtractError::Sparse {
        place: "on the way out to a stop",
        found: 0,
        needed: READINGS_MIN,
    };
    let mirrored: Vec<LinePoint> = parts.all[0]
        .iter()
        .rev()
        .map(|point| LinePoint {
            x: -point.x,
            y: -point.y,
            n: point.n,
        })
        .collect();
    let negative = stop(&mirrored, -parts.start, parts.noise).ok_or(sparse.clone())?;
    let positive = stop(&parts.all[1], parts.start, parts.noise).ok_or(sparse)?;
    Ok([
        MeasuredStop {
            at: -negative.at,
            free: -negative.free,
            ..negative
        },
        positive,
    ])
}

/// Whether nothing brings the stick back: on the way in from both stops the hand must pull it.
fn limp(parts: &Branches, free: [f64; 2]) -> bool {
    let push = [0, 1].map(|side| {
        let sign = [-1.0, 1.0][side];
        let way = free[side] - parts.start;
        let (near, far) = (parts.start + 0.6 * way, parts.start + 0.95 * way);
        let returning = within(&parts.moving[1 - side], near.min(far), near.max(far));
        let mut forces: Vec<f64> = returning.iter().map(|point| sign * point.y).collect();
        median(&mut forces).unwrap_or(0.0)
    });
    push[0] <= 0.0 && push[1] <= 0.0
}

fn spring_figures(common: &Common<'_>, parts: &Branches) -> Result<SweepFigures, ExtractError> {
    let Common {
        sweep, inch, free, ..
    } = *common;
    let curve = middle(&parts.moving, free, parts.start, inch)?;
    let knees = curve.corners.knees;
    // Beyond the first inch, [negative, positive].
    let stretches = [[free[0], knees[0] - inch], [knees[1] + inch, free[1]]];
    let beyond = stretches.map(|[low, high]| {
        if high - low < BEYOND_MIN * inch {
            return None;
        }
        Gradient::through(&parts.moving, low, high)
    });
    let (mut friction, mut readings) = (curve.friction * curve.readings, curve.readings);
    for gradient in beyond.iter().flatten() {
        friction += gradient.friction * gradient.readings;
        readings += gradient.readings;
    }
    let trimmed = curve.middle();
    let whole = Whole {
        curve: &curve,
        beyond,
        inch,
    };
    let centring = [0, 1].map(|side| {
        whole
            .rest(side, common.stops[side])
            .unwrap_or(common.stops[side])
            - trimmed
    });
    let full = common.largest[0].max(common.largest[1]);
    let slack = 0.01 * (free[1] - free[0]);
    let found = steps(
        &parts.moving,
        [
            [free[0] + slack, knees[0] - slack],
            [knees[1] + slack, free[1] - slack],
        ],
        full,
        parts.noise,
    );
    Ok(SweepFigures {
        axis: sweep.axis,
        condition: sweep.condition,
        grip_radius_m: sweep.grip_radius_m,
        breakout_n: curve.breakout(),
        first_inch_n_per_deg: curve.slope,
        beyond_n_per_deg: beyond.map(|gradient| gradient.map(|gradient| gradient.slope)),
        friction_n: friction / readings.max(1.0),
        ripple: None,
        free_play_deg: curve.corners.feet[1] - curve.corners.feet[0],
        centring_error_deg: centring,
        stop_deg: common.stops,
        // A crest that stands out of the noise counts, on whichever way it is.
        largest_n: [0, 1].map(|side| {
            let [from, to] = [[free[0], parts.start], [parts.start, free[1]]][side];
            largest_out_of_noise(&parts.moving, from, to, parts.noise).max(common.largest[side])
        }),
        discontinuities: found.listed,
        slipped_at_deg: found
            .slipped_at
            .filter(|_| sweep.condition == Condition::Held),
    })
}

/// A limp stick: friction and weight, and nothing that brings it back.
fn limp_figures(common: &Common<'_>, parts: &Branches) -> Result<SweepFigures, ExtractError> {
    let Common {
        sweep, inch, free, ..
    } = *common;
    let start = parts.start;
    let [low, high] = free;
    let all = Gradient::through(&parts.moving, low, high).ok_or(ExtractError::Sparse {
        place: "between the stops",
        found: 0,
        needed: READINGS_MIN,
    })?;
    // The mean over the whole loop, work lost by way: a detent's ripple makes the height at one
    // place a matter of chance.
    let friction = all.friction;
    let ways = [-1.0, 1.0].map(|way| FittedLine {
        offset: all.level.offset + way * friction,
        ..all.level
    });
    let level = all.level.at(start);
    let first = [[start - inch, start], [start, start + inch]].map(|[from, to]| {
        Gradient::through(&parts.moving, from.max(low), to.min(high))
            .map_or(all.slope, |gradient| gradient.slope)
    });
    let beyond = [[low, start - inch], [start + inch, high]].map(|[from, to]| {
        if to - from < BEYOND_MIN * inch {
            return None;
        }
        Gradient::through(&parts.moving, from, to).map(|gradient| gradient.slope)
    });
    Ok(SweepFigures {
        axis: sweep.axis,
        condition: sweep.condition,
        grip_radius_m: sweep.grip_radius_m,
        breakout_n: [friction - level, friction + level],
        first_inch_n_per_deg: first,
        beyond_n_per_deg: beyond,
        friction_n: friction,
        ripple: ripple(&parts.moving, ways, free, start, inch),
        free_play_deg: common.stops[1] - common.stops[0],
        centring_error_deg: common.stops.map(|stop| stop - start),
        stop_deg: common.stops,
        // What the hand meets at worst: no mean, and the way back from the stop counts too.
        largest_n: [[low, start], [start, high]]
            .map(|[from, to]| largest_reading(&parts.all, from, to)),
        // A detent ripples: its flanks are no steps of a gradient.
        discontinuities: Vec::new(),
        slipped_at_deg: None,
    })
}

/// A straight piece of a loop: one slope, both branches.
#[derive(Clone, Copy, Debug)]
struct Gradient {
    /// N/deg.
    slope: f64,
    /// The line midway between the branches.
    level: FittedLine,
    /// Half the height of the loop, N.
    friction: f64,
    readings: f64,
}

impl Gradient {
    /// Parallel lines through both branches from `low` to `high`: one slope, two offsets, by least
    /// squares over what is not further than 4 standard deviations off each branch's own line.
    fn through(moving: &[Vec<LinePoint>; 2], low: f64, high: f64) -> Option<Self> {
        let mut sums = [Sums::default(); 2];
        for (sums, points) in sums.iter_mut().zip(moving) {
            let points = within(points, low, high);
            if points.len() < READINGS_MIN {
                return None;
            }
            let (line, spread) = robust_line(points)?;
            let limit = 4.0 * spread + 1e-9;
            for point in points {
                if (point.y - line.at(point.x)).abs() <= limit {
                    *sums = sums.and(*point);
                }
            }
        }
        let [falling, rising] = sums;
        let (a, b) = (falling.central(), rising.central());
        if a.0 + b.0 <= 0.0 {
            return None;
        }
        let slope = (a.1 + b.1) / (a.0 + b.0);
        let offset = |sums: Sums| (sums.y - slope * sums.x) / sums.n.max(1.0);
        let (low, high) = (offset(falling), offset(rising));
        Some(Self {
            slope,
            level: FittedLine {
                slope,
                offset: 0.5 * (low + high),
            },
            friction: 0.5 * (high - low),
            readings: falling.n + rising.n,
        })
    }
}

/// The loop's middle and what lies beyond it.
struct Whole<'a> {
    curve: &'a ForceCurve,
    beyond: [Option<Gradient>; 2],
    inch: f64,
}

impl Whole<'_> {
    /// Where a hand that eases the stick back from a side feels no more force: the returning
    /// branch's zero, degrees; none if it has none before the far end of the free play.
    fn rest(&self, side: usize, stop: f64) -> Option<f64> {
        let sign = [-1.0, 1.0][side];
        let corners = self.curve.corners;
        let far = corners.knees[side] + sign * self.inch;
        // Force of the returning branch, outward positive.
        let inner = |x: f64| sign * self.curve.force(x, side == 0);
        let mut points = Vec::new();
        if let Some(gradient) = self.beyond[side] {
            let outer = |x: f64| sign * gradient.level.at(x) - gradient.friction;
            points.extend([(stop, outer(stop)), (far, outer(far))]);
        } else {
            points.push((stop, inner(stop)));
        }
        points.extend(
            [
                corners.knees[side],
                corners.feet[side],
                corners.feet[1 - side],
            ]
            .map(|x| (x, inner(x))),
        );
        points.windows(2).find_map(|ends| {
            let [(out, push), (inward, less)] = [ends[0], ends[1]];
            if push > 0.0 && less <= 0.0 {
                Some(inward + (out - inward) * less / (less - push))
            } else {
                None
            }
        })
    }
}

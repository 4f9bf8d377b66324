//! Finds the corners of a loop's middle: free play, flanks, beginning of the gradients.

use super::ExtractError;
use super::curve::{Corners, ForceCurve};
use super::line::{LinePoint, RunningSums, median, noise, within};

/// Fewest readings that a middle is fitted to.
const READINGS_MIN: usize = 16;

/// A flank is at least so many times steeper than the gradient; else there is none.
const STEEP: f64 = 4.0;

/// Fits the middle of a loop.
///
/// `free`: travel without stops, degrees; `start`: where the sweep began, which is the middle,
/// roughly; `inch`: one inch at the grip, degrees.
///
/// # Errors
///
/// [`ExtractError::Sparse`].
pub(super) fn middle(
    moving: &[Vec<LinePoint>; 2],
    free: [f64; 2],
    start: f64,
    inch: f64,
) -> Result<ForceCurve, ExtractError> {
    let reach = 0.15 * (free[1] - free[0]);
    let window = [
        (start - reach - inch).max(free[0]),
        (start + reach + inch).min(free[1]),
    ];
    let (corners, step) = coarse(moving, window, start, reach)?;
    let around = |corners: Corners| {
        [
            (corners.knees[0] - inch).max(free[0]),
            (corners.knees[1] + inch).min(free[1]),
        ]
    };
    let window = around(corners);
    let found: usize = moving
        .iter()
        .map(|points| within(points, window[0], window[1]).len())
        .sum();
    if found < READINGS_MIN {
        return Err(ExtractError::Sparse {
            place: "within an inch of the breakouts",
            found,
            needed: READINGS_MIN,
        });
    }
    let running = moving.each_ref().map(|points| RunningSums::new(points));
    let mut curve = flanks(&running, window, corners, step);
    // The window hangs on the knees, and what lies off is known once there is a curve.
    for _ in 0..2 {
        let window = around(curve.corners);
        let kept = without_outliers(moving, window, &curve);
        let running = kept.each_ref().map(|points| RunningSums::new(points));
        curve = flanks(&running, window, curve.corners, 0.2 * step);
    }
    Ok(curve)
}

/// Both sides with a flank, then without one where it is not there.
fn flanks(running: &[RunningSums; 2], window: [f64; 2], from: Corners, step: f64) -> ForceCurve {
    let with = Corners {
        flank: [true; 2],
        ..from
    };
    let mut best: Option<ForceCurve> = None;
    for wider in [0.0, 0.5, 1.5] {
        let start = Corners {
            knees: [with.knees[0] - wider * step, with.knees[1] + wider * step],
            ..with
        };
        let found = refine(running, window, start, step);
        if best.is_none_or(|best| found.error < best.error) {
            best = Some(found);
        }
    }
    let curve = best.unwrap_or_else(|| ForceCurve::fit(running, window, with));
    let flank = [0, 1].map(|side| {
        let Corners { feet, knees, .. } = curve.corners;
        let width = (knees[side] - feet[side]).abs().max(1e-9);
        let preload = curve.preload[side];
        let threshold = 4.0 * curve.spread() / (0.25 * curve.readings).max(1.0).sqrt();
        preload > threshold.max(1e-6) && preload / width > STEEP * curve.slope[side].abs()
    });
    if flank == [true; 2] {
        return curve;
    }
    let mut corners = curve.corners;
    corners.flank = flank;
    for side in [0, 1] {
        if !flank[side] {
            corners.knees[side] = corners.feet[side];
        }
    }
    refine(running, window, corners, 2.0 * step)
}

/// Walks the corners to the least squared error, in ever smaller steps.
fn refine(running: &[RunningSums; 2], window: [f64; 2], from: Corners, step: f64) -> ForceCurve {
    let mut best = ForceCurve::fit(running, window, ordered(from, window));
    let mut step = step;
    let finest = 1e-6 * (window[1] - window[0]);
    let mut tries = 0;
    while step > finest && tries < 4000 {
        let mut better = false;
        for (feet, knees) in moves() {
            for sign in [-step, step] {
                let mut corners = best.corners;
                for side in [0, 1] {
                    corners.feet[side] += sign * feet[side];
                    corners.knees[side] += sign * knees[side];
                }
                let tried = ForceCurve::fit(running, window, ordered(corners, window));
                tries += 1;
                if tried.error < best.error * (1.0 - 1e-9) {
                    best = tried;
                    better = true;
                }
            }
        }
        if !better {
            step *= 0.5;
        }
    }
    best
}

/// Ways to move the corners: each alone, a flank as a whole, a flank wider, the free play as a
/// whole, wider, wider between knees that stay, shifted between them.
fn moves() -> [([f64; 2], [f64; 2]); 12] {
    [
        ([1.0, 0.0], [0.0, 0.0]),
        ([0.0, 1.0], [0.0, 0.0]),
        ([0.0, 0.0], [1.0, 0.0]),
        ([0.0, 0.0], [0.0, 1.0]),
        ([1.0, 0.0], [1.0, 0.0]),
        ([0.0, 1.0], [0.0, 1.0]),
        ([1.0, 0.0], [-1.0, 0.0]),
        ([0.0, 1.0], [0.0, -1.0]),
        ([1.0, 1.0], [1.0, 1.0]),
        ([-1.0, 1.0], [-1.0, 1.0]),
        ([-1.0, 1.0], [0.0, 0.0]),
        ([1.0, 1.0], [0.0, 0.0]),
    ]
}

/// The corners in their order within the window.
fn ordered(corners: Corners, window: [f64; 2]) -> Corners {
    let least = 1e-5 * (window[1] - window[0]);
    let middle = 0.5 * (corners.feet[0] + corners.feet[1]);
    let middle = middle.clamp(window[0] + 4.0 * least, window[1] - 4.0 * least);
    let mut ordered = corners;
    ordered.feet[0] = corners.feet[0].clamp(window[0] + 2.0 * least, middle);
    ordered.feet[1] = corners.feet[1].clamp(middle, window[1] - 2.0 * least);
    for (side, end, sign) in [(0, window[0], -1.0), (1, window[1], 1.0)] {
        let foot = ordered.feet[side];
        ordered.knees[side] = if !corners.flank[side] {
            foot
        } else if sign < 0.0 {
            corners.knees[side].clamp(end, foot - least)
        } else {
            corners.knees[side].clamp(foot + least, end)
        };
    }
    ordered
}

/// Line, constant, line through the readings of both branches with the friction taken off: the best
/// of all such, its two edges on a grid. Gives corners to start from and the step of the grid.
fn coarse(
    moving: &[Vec<LinePoint>; 2],
    window: [f64; 2],
    start: f64,
    reach: f64,
) -> Result<(Corners, f64), ExtractError> {
    let parts = moving
        .each_ref()
        .map(|points| within(points, window[0], window[1]));
    let friction = half_height(parts);
    let mut points: Vec<LinePoint> = Vec::with_capacity(parts[0].len() + parts[1].len());
    for (part, sign) in parts.iter().zip([1.0, -1.0]) {
        points.extend(part.iter().map(|point| LinePoint {
            y: point.y + sign * friction,
            ..*point
        }));
    }
    points.sort_by(|a, b| a.x.total_cmp(&b.x));
    if points.len() < READINGS_MIN {
        return Err(ExtractError::Sparse {
            place: "near the middle",
            found: points.len(),
            needed: READINGS_MIN,
        });
    }
    let low = (start - reach).max(window[0] + 0.02 * (window[1] - window[0]));
    let high = (start + reach).min(window[1] - 0.02 * (window[1] - window[0]));
    let cells = (points.len() / 4).clamp(16, 200);
    let step = (high - low) / cells as f64;
    let edges: Vec<f64> = (0..=cells).map(|i| low + i as f64 * step).collect();
    let running = RunningSums::new(&points);
    let index: Vec<usize> = edges.iter().map(|edge| running.below(*edge)).collect();
    let mut best = (f64::MAX, 0, 0);
    for left in 0..=cells {
        let outer = running.stretch(0, index[left]);
        if outer.n < 4.0 {
            continue;
        }
        for right in left..=cells {
            let other = running.stretch(index[right], points.len());
            if other.n < 4.0 {
                break;
            }
            let error = outer.about_line()
                + running.stretch(index[left], index[right]).about_mean()
                + other.about_line();
            if error < best.0 {
                best = (error, left, right);
            }
        }
    }
    let feet = [edges[best.1] + 0.25 * step, edges[best.2] - 0.25 * step];
    let feet = if feet[0] > feet[1] {
        [0.5 * (feet[0] + feet[1]); 2]
    } else {
        feet
    };
    let corners = Corners {
        feet,
        knees: [edges[best.1] - 0.5 * step, edges[best.2] + 0.5 * step],
        flank: [true; 2],
    };
    Ok((corners, step))
}

/// Half the height of a loop: median over the rising readings of half the way down to the falling
/// branch, N.
fn half_height(parts: [&[LinePoint]; 2]) -> f64 {
    let [falling, rising] = parts;
    let mut halves: Vec<f64> = rising
        .iter()
        .filter_map(|point| {
            let above = falling.partition_point(|other| other.x < point.x);
            let (low, high) = (falling.get(above.checked_sub(1)?)?, falling.get(above)?);
            let share = (point.x - low.x) / (high.x - low.x).max(f64::MIN_POSITIVE);
            let other = low.y + share.clamp(0.0, 1.0) * (high.y - low.y);
            Some(0.5 * (point.y - other))
        })
        .collect();
    median(&mut halves).unwrap_or(0.0)
}

/// The readings within the window that lie less than 5 standard deviations off the curve; the
/// deviation is that of the residuals' median, and of the noise where that is more.
fn without_outliers(
    moving: &[Vec<LinePoint>; 2],
    window: [f64; 2],
    curve: &ForceCurve,
) -> [Vec<LinePoint>; 2] {
    let parts = moving
        .each_ref()
        .map(|points| within(points, window[0], window[1]));
    let off = |point: &LinePoint, way: usize| (point.y - curve.force(point.x, way == 1)).abs();
    let mut all: Vec<f64> = Vec::new();
    for (way, part) in parts.iter().enumerate() {
        all.extend(part.iter().map(|point| off(point, way)));
    }
    let spread = super::line::DEVIATION * median(&mut all).unwrap_or(0.0);
    let rough = parts.map(|part| noise(part.len(), |i| (part[i].x, part[i].y)));
    let limit = 5.0 * spread.max(rough[0]).max(rough[1]) + 1e-6;
    let flanks = |x: f64| {
        let Corners { feet, knees, .. } = curve.corners;
        let slack =
            0.5 * ((feet[0] - knees[0]) + (knees[1] - feet[1])) + 1e-3 * (window[1] - window[0]);
        (knees[0] - slack..feet[0] + slack).contains(&x)
            || (feet[1] - slack..knees[1] + slack).contains(&x)
    };
    let mut way = 0;
    parts.map(|part| {
        let kept = part
            .iter()
            .filter(|point| off(point, way) <= limit || flanks(point.x))
            .copied()
            .collect();
        way += 1;
        kept
    })
}

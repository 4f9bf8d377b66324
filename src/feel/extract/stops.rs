//! Where the force rises far steeper than the gradient: the stops.

use super::line::{FittedLine, LinePoint, median, robust_line, within};

/// How many times steeper than the gradient a stop is.
const STEEP: f64 = 6.0;

/// One end of the travel, seen outward: positions and forces grow towards the stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MeasuredStop {
    /// Where the stop begins to push, or the furthest position where there is none.
    pub at: f64,
    /// Up to where readings are free of it.
    pub free: f64,
    /// Largest force of the outgoing branch before it.
    pub largest: f64,
}

/// Finds the stop on the outgoing branch (sorted, outward positive) of a sweep that leaves its
/// middle at `middle`. `noise`: standard deviation of one reading of the force.
///
/// Line through the middle of the way out; above it the force at the very end; where it is above by
/// a quarter of that, the stop has begun. Its flank is a line of position against excess force, and
/// it begins where the excess is none.
pub(super) fn stop(outgoing: &[LinePoint], middle: f64, noise: f64) -> Option<MeasuredStop> {
    let end = outgoing.last()?.x;
    let travel = end - middle;
    let base = within(outgoing, middle + 0.35 * travel, middle + 0.8 * travel);
    let (base, spread) = robust_line(base)?;
    let last: Vec<f64> = outgoing
        .iter()
        .rev()
        .take(3)
        .map(|point| point.y - base.at(point.x))
        .collect();
    let excess = last.iter().copied().fold(f64::MIN, f64::max);
    let felt = base.at(middle + 0.8 * travel).abs();
    let noise = noise.max(spread);
    let found = if excess > (8.0 * noise).max(0.1 * felt) {
        flank(outgoing, excess, travel, base.slope, end)
    } else {
        None
    };
    let (at, free) = found.unwrap_or((end, end));
    Some(MeasuredStop {
        at,
        free: free.min(at),
        largest: largest(outgoing, middle, travel, free.min(at), at),
    })
}

/// Begin of the stop and the last reading without it; none where what rises is not steep.
fn flank(
    outgoing: &[LinePoint],
    excess: f64,
    travel: f64,
    slope: f64,
    end: f64,
) -> Option<(f64, f64)> {
    let far = outgoing.partition_point(|point| point.x < end - 0.6 * travel);
    let (near_line, _) = robust_line(within(outgoing, end - 0.6 * travel, end - 0.2 * travel))?;
    let above = |line: FittedLine, point: &LinePoint| point.y - line.at(point.x);
    let rough = outgoing[far..]
        .iter()
        .rposition(|point| above(near_line, point) < 0.25 * excess)?
        + far;
    let free = outgoing[rough].x;
    // Once more, with the gradient as it is just before the stop.
    let before = within(outgoing, free - 0.2 * travel, free - 0.01 * travel);
    let line = robust_line(before).map_or(near_line, |(line, _)| line);
    // Chosen by force, not by place: with noise on the position a choice by place would keep the
    // far ones only.
    let near = outgoing.partition_point(|point| point.x < free - 0.02 * travel);
    let steep: Vec<LinePoint> = outgoing[near..]
        .iter()
        .map(|point| LinePoint {
            x: above(line, point),
            y: point.x,
            n: point.n,
        })
        .filter(|point| point.x >= 0.15 * excess)
        .collect();
    let low: Vec<LinePoint> = steep
        .iter()
        .copied()
        .filter(|point| point.x < 0.7 * excess)
        .collect();
    let used = if low.len() >= 4 { &low } else { &steep };
    let first = steep.first()?;
    let at = match robust_line(used) {
        Some((flank, _)) if flank.slope * STEEP * slope.abs().max(1e-9) < 1.0 => {
            flank.offset.clamp(free - 0.02 * travel, end)
        }
        // One reading in the stop: it begins somewhere since the one before.
        None if first.x > STEEP * slope.abs() * (first.y - free) => 0.5 * (free + first.y),
        _ => return None,
    };
    Some((at, free))
}

/// Largest force before the stop: of the lines through stretches of a fiftieth of the way, at least
/// 20 readings long, taken where they end.
fn largest(outgoing: &[LinePoint], middle: f64, travel: f64, free: f64, at: f64) -> f64 {
    let points = within(outgoing, middle, free - 0.005 * travel);
    let length = (points.len() / 50).max(20);
    let mut most = f64::MIN;
    for stretch in points.chunks(length) {
        let mut forces: Vec<f64> = stretch.iter().map(|point| point.y).collect();
        if stretch.len() * 2 >= length {
            most = most.max(median(&mut forces).unwrap_or(f64::MIN));
        }
    }
    let last = within(outgoing, free - 0.2 * travel, free - 0.005 * travel);
    match robust_line(last) {
        Some((line, _)) => most.max(line.at(at)),
        None => most,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn out(stop: f64, stiff: f64) -> Vec<LinePoint> {
        (0..2000)
            .map(|i| f64::from(i) * 0.0102)
            .map(|x| LinePoint {
                x,
                y: 3.0 + 0.5 * x + stiff * (x - stop).max(0.0),
                n: 1.0,
            })
            .collect()
    }

    #[test]
    fn a_stop_is_where_the_lines_meet() {
        let found = stop(&out(20.0, 100.0), 0.0, 0.0).unwrap();
        assert!((found.at - 20.0).abs() < 1e-6, "{found:?}");
        assert!((found.largest - 13.0).abs() < 1e-6, "{found:?}");
        assert!(found.free < 20.2 && found.free > 19.9, "{found:?}");
    }

    #[test]
    fn without_a_stop_the_travel_ends_where_the_sweep_turned() {
        let found = stop(&out(99.0, 100.0), 0.0, 0.0).unwrap();
        assert!((found.at - 1999.0 * 0.0102).abs() < 1e-9, "{found:?}");
    }

    #[test]
    fn a_gradient_that_doubles_is_no_stop() {
        let found = stop(&out(15.0, 0.5), 0.0, 0.0).unwrap();
        assert!(found.at > 20.0, "{found:?}");
    }
}

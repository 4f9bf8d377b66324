//! The ripple of a limp stick: how the force rises and falls about the mean of its way.

use std::collections::VecDeque;

use crate::figures::Ripple;

use super::line::{FittedLine, LinePoint, within};

/// Share of the travel after each turn in which friction, free play and backlash are still turning
/// over: no ripple.
const TURN_SHARE: f64 = 0.025;

/// The ripple of both ways, `[falling, rising]`, about their `means`, where no stop is near
/// (`free`, degrees) and no turn just past: the sweep begins and ends at `start`. Troughs and
/// crests further apart than `reach` (degrees) do not belong together. None without readings.
pub(super) fn ripple(
    moving: &[Vec<LinePoint>; 2],
    means: [FittedLine; 2],
    free: [f64; 2],
    start: f64,
    reach: f64,
) -> Option<Ripple> {
    let mut found: Option<Ripple> = None;
    let turn = TURN_SHARE * (free[1] - free[0]);
    // Falling begins at the upper end, rising at the lower.
    let ends = [[free[0], free[1] - turn], [free[0] + turn, free[1]]];
    for ((points, mean), [low, high]) in moving.iter().zip(means).zip(ends) {
        let off: Vec<LinePoint> = within(points, low, high)
            .iter()
            .filter(|point| (point.x - start).abs() > turn)
            .map(|point| LinePoint {
                y: point.y - mean.at(point.x),
                ..*point
            })
            .collect();
        let Some(peak) = off.iter().max_by(|a, b| a.y.abs().total_cmp(&b.y.abs())) else {
            continue;
        };
        let [trough, crest] = widest(&off, reach)?;
        let best = found.get_or_insert(Ripple {
            peak_n: peak.y.abs(),
            peak_at_deg: peak.x,
            peak_to_peak_n: crest.y - trough.y,
            trough_to_crest_deg: [trough.x, crest.x],
        });
        if peak.y.abs() > best.peak_n {
            (best.peak_n, best.peak_at_deg) = (peak.y.abs(), peak.x);
        }
        if crest.y - trough.y > best.peak_to_peak_n {
            best.peak_to_peak_n = crest.y - trough.y;
            best.trough_to_crest_deg = [trough.x, crest.x];
        }
    }
    found
}

/// The lowest and the highest of the points that lie within `reach` of each other and furthest
/// apart in height.
fn widest(points: &[LinePoint], reach: f64) -> Option<[LinePoint; 2]> {
    // Candidates of the window that ends at each point: lowest and highest first, in rising order
    // of place.
    let (mut low, mut high) = (VecDeque::<usize>::new(), VecDeque::<usize>::new());
    let mut best: Option<[LinePoint; 2]> = None;
    for (index, point) in points.iter().enumerate() {
        while low.back().is_some_and(|last| points[*last].y >= point.y) {
            low.pop_back();
        }
        while high.back().is_some_and(|last| points[*last].y <= point.y) {
            high.pop_back();
        }
        low.push_back(index);
        high.push_back(index);
        for queue in [&mut low, &mut high] {
            while queue
                .front()
                .is_some_and(|first| points[*first].x < point.x - reach)
            {
                queue.pop_front();
            }
        }
        if let (Some(low), Some(high)) = (low.front(), high.front()) {
            let (low, high) = (points[*low], points[*high]);
            if best.is_none_or(|[trough, crest]| high.y - low.y > crest.y - trough.y) {
                best = Some([low, high]);
            }
        }
    }
    best
}

/// Size of the largest force of any reading from `low` to `high` degrees, on either way, N; 0
/// without readings.
pub(super) fn largest_reading(ways: &[Vec<LinePoint>; 2], low: f64, high: f64) -> f64 {
    ways.iter()
        .flat_map(|points| within(points, low, high))
        .fold(0.0, |most, point| most.max(point.y.abs()))
}

/// The same without single wild readings and without noise: the middle one of each three
/// neighbours, less four standard deviations. It is more than a line through the readings says only
/// where something stands out of them.
pub(super) fn largest_out_of_noise(
    ways: &[Vec<LinePoint>; 2],
    low: f64,
    high: f64,
    noise: f64,
) -> f64 {
    ways.iter()
        .flat_map(|points| within(points, low, high).windows(3))
        .map(|three| {
            let mut sizes = [three[0].y.abs(), three[1].y.abs(), three[2].y.abs()];
            sizes.sort_by(f64::total_cmp);
            sizes[1] - 4.0 * noise
        })
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(ys: &[f64]) -> Vec<LinePoint> {
        let at = |(index, y): (usize, &f64)| LinePoint {
            x: index as f64,
            y: *y,
            n: 1.0,
        };
        ys.iter().enumerate().map(at).collect()
    }

    #[test]
    fn a_crest_counts_against_a_trough_within_reach() {
        let found = widest(&points(&[0.0, 3.0, 3.0, 3.0, 4.0, 2.0, 9.0]), 2.0).unwrap();
        assert_eq!(
            found.map(|point| (point.x, point.y)),
            [(5.0, 2.0), (6.0, 9.0)]
        );
        // The trough may come after its crest.
        let found = widest(&points(&[0.0, 0.0, 9.0, 1.0]), 1.0).unwrap();
        assert_eq!(found.map(|point| point.y), [0.0, 9.0]);
        let found = widest(&points(&[5.0, 9.0, 1.0]), 1.0).unwrap();
        assert_eq!(found.map(|point| point.y), [1.0, 9.0]);
        assert!(widest(&[], 1.0).is_none());
    }

    /// Every pair compared: the queues must find the same height.
    #[test]
    fn the_queues_find_what_comparing_every_pair_finds() {
        let ys: Vec<f64> = (0..400).map(|i| ((i * i * 7919) % 1009) as f64).collect();
        let all = points(&ys);
        for reach in [0.0, 1.0, 7.0, 60.0, 1e3] {
            let mut wanted = 0.0_f64;
            for a in &all {
                for b in all.iter().filter(|b| (b.x - a.x).abs() <= reach) {
                    wanted = wanted.max(b.y - a.y);
                }
            }
            let [trough, crest] = widest(&all, reach).unwrap();
            assert_eq!(crest.y - trough.y, wanted, "{reach}");
        }
    }
}

//! Force over position of a sweep, on the way out and on the way back, smoothed enough to be
//! compared.

use crate::record::{Sweep, SweepSample};

/// Half width of the window in which readings are smoothed, as a share of the travel to that side.
const WINDOW_SHARE: f64 = 0.025;

/// One side's two ways.
#[derive(Clone, Debug, Default)]
struct CurveSide {
    out: Vec<(f64, f64)>,
    back: Vec<(f64, f64)>,
    reach_deg: f64,
}

/// A sweep taken apart.
#[derive(Clone, Debug)]
pub(super) struct JudgedCurve {
    sides: [CurveSide; 2],
}

impl JudgedCurve {
    /// The four ways of a sweep, cut at its two turning points and where it passes the middle. None
    /// if it does not go to both sides.
    pub(super) fn of(sweep: &Sweep) -> Option<Self> {
        let samples = &sweep.samples;
        let far = |sense: f64| {
            let mut best: Option<(usize, f64)> = None;
            for (index, sample) in samples.iter().enumerate() {
                let reach = sense * sample.position_deg;
                if best.is_none_or(|(_, most)| reach > most) {
                    best = Some((index, reach));
                }
            }
            best.filter(|(_, reach)| *reach > 0.0)
        };
        let ((low, low_reach), (high, high_reach)) = (far(-1.0)?, far(1.0)?);
        let mut sides = [
            CurveSide {
                reach_deg: low_reach,
                ..CurveSide::default()
            },
            CurveSide {
                reach_deg: high_reach,
                ..CurveSide::default()
            },
        ];
        for (index, sample) in samples.iter().enumerate() {
            let SweepSample {
                position_deg,
                force_n,
                ..
            } = *sample;
            let (side, turn) = if position_deg < 0.0 {
                (0, low)
            } else {
                (1, high)
            };
            let side = &mut sides[side];
            let way = if index <= turn {
                &mut side.out
            } else {
                &mut side.back
            };
            way.push((position_deg, force_n));
        }
        for way in sides
            .iter_mut()
            .flat_map(|side| [&mut side.out, &mut side.back])
        {
            way.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        Some(Self { sides })
    }

    /// Force on the way out at a position of that side, N.
    pub(super) fn out(&self, side: usize, at_deg: f64) -> Option<f64> {
        let side = &self.sides[side];
        smoothed(&side.out, at_deg, WINDOW_SHARE * side.reach_deg)
    }

    /// Force on the way back, N.
    pub(super) fn back(&self, side: usize, at_deg: f64) -> Option<f64> {
        let side = &self.sides[side];
        smoothed(&side.back, at_deg, WINDOW_SHARE * side.reach_deg)
    }
}

/// The line through the readings near a position, by least squares, there; between the neighbours
/// where they are sparse. None outside the readings.
fn smoothed(way: &[(f64, f64)], at: f64, half: f64) -> Option<f64> {
    let (first, last) = (way.first()?, way.last()?);
    if at < first.0 || at > last.0 {
        return None;
    }
    let from = way.partition_point(|(x, _)| *x < at - half);
    let to = way.partition_point(|(x, _)| *x <= at + half);
    let near = &way[from..to];
    let count = near.len() as f64;
    let x_mean = near.iter().map(|(x, _)| x).sum::<f64>() / count;
    let y_mean = near.iter().map(|(_, y)| y).sum::<f64>() / count;
    let spread: f64 = near.iter().map(|(x, _)| (x - x_mean) * (x - x_mean)).sum();
    if near.len() >= 3 && spread > 0.0 {
        let common: f64 = near.iter().map(|(x, y)| (x - x_mean) * (y - y_mean)).sum();
        return Some(y_mean + common / spread * (at - x_mean));
    }
    let after = way.partition_point(|(x, _)| *x < at).max(1);
    let ((x0, y0), (x1, y1)) = (way[after - 1], *way.get(after).unwrap_or(last));
    let share = if x1 > x0 { (at - x0) / (x1 - x0) } else { 0.0 };
    Some(y0 + share * (y1 - y0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Condition;
    use trimproof_plant::AxisName;

    fn sweep(order: [f64; 4]) -> Sweep {
        let mut samples = Vec::new();
        for pair in order.windows(2) {
            let sense = (pair[1] - pair[0]).signum();
            for n in 0..100 {
                let position_deg = pair[0] + (pair[1] - pair[0]) * f64::from(n) / 100.0;
                samples.push(SweepSample {
                    time_s: samples.len() as f64,
                    position_deg,
                    force_n: position_deg + 0.2 * sense,
                });
            }
        }
        Sweep {
            axis: AxisName::Pitch,
            condition: Condition::Held,
            grip_radius_m: 0.3,
            samples,
        }
    }

    #[test]
    fn the_four_ways_are_distinguished_whichever_stop_comes_first() {
        for order in [[0.0, 10.0, -8.0, 0.0], [0.0, -8.0, 10.0, 0.0]] {
            let curve = JudgedCurve::of(&sweep(order)).unwrap();
            let close = |value: Option<f64>, wanted: f64| (value.unwrap() - wanted).abs() < 1e-9;
            assert!(close(curve.out(1, 5.0), 5.2), "{order:?}");
            assert!(close(curve.back(1, 5.0), 4.8));
            assert!(close(curve.out(0, -5.0), -5.2));
            assert!(close(curve.back(0, -5.0), -4.8));
            assert_eq!(curve.out(1, 11.0), None);
        }
    }

    #[test]
    fn a_sweep_to_one_side_is_no_curve() {
        assert!(JudgedCurve::of(&sweep([0.0, 10.0, 0.0, 10.0])).is_none());
    }

    #[test]
    fn sparse_readings_are_joined_by_lines() {
        let way = [(0.0, 0.0), (10.0, 20.0)];
        assert_eq!(smoothed(&way, 2.5, 0.1), Some(5.0));
        assert_eq!(smoothed(&way, 0.0, 0.1), Some(0.0));
        assert_eq!(smoothed(&way, 10.0, 0.1), Some(20.0));
        assert_eq!(smoothed(&[], 1.0, 0.1), None);
    }
}

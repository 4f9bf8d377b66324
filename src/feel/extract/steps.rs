//! Steps of the force that a smooth gradient would not have, and what a slipping drive looks like.

use crate::figures::Discontinuity;

use super::line::{LinePoint, RunningSums, within};

/// Smallest step that counts, as a share of the largest force of the sweep.
const SHARE: f64 = 0.03;

/// Most steps that are listed; a cogging drive has no end of them.
const LISTED_MAX: usize = 16;

/// Steps of both branches `[falling, rising]`, and which of them are a drive's slip: a fall of the
/// force on the way out that is not there on the way back.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Steps {
    /// In the order of position.
    pub listed: Vec<Discontinuity>,
    /// The fall nearest to the middle, degrees.
    pub slipped_at: Option<f64>,
}

/// Looks for steps between `parts`, `[negative, positive]` side, each from its low to its high
/// position. `full`: largest force of the sweep, N; `noise`: standard deviation of one reading, N.
pub(super) fn steps(
    moving: &[Vec<LinePoint>; 2],
    parts: [[f64; 2]; 2],
    full: f64,
    noise: f64,
) -> Steps {
    let mut found: Vec<Discontinuity> = Vec::new();
    let mut slips: Vec<f64> = Vec::new();
    for (side, [low, high]) in parts.into_iter().enumerate() {
        if high <= low {
            continue;
        }
        let each = moving
            .each_ref()
            .map(|points| of_branch(within(points, low, high), full, noise));
        // Outgoing is the falling branch on the negative side, the rising one on the positive.
        let (outgoing, returning) = (&each[side], &each[1 - side]);
        let reach = (high - low) / 12.0;
        let mut unpaired: Vec<bool> = vec![true; returning.len()];
        for one in outgoing {
            let pair = returning.iter().position(|other| {
                (other.at_deg - one.at_deg).abs() < reach && other.step_n * one.step_n > 0.0
            });
            match pair {
                Some(pair) => {
                    unpaired[pair] = false;
                    found.push(Discontinuity {
                        at_deg: 0.5 * (one.at_deg + returning[pair].at_deg),
                        step_n: 0.5 * (one.step_n + returning[pair].step_n),
                    });
                }
                None => {
                    found.push(*one);
                    if one.step_n < 0.0 {
                        slips.push(one.at_deg);
                    }
                }
            }
        }
        found.extend(
            returning
                .iter()
                .zip(unpaired)
                .filter(|(_, unpaired)| *unpaired)
                .map(|(step, _)| *step),
        );
    }
    found.sort_by(|a, b| b.step_n.abs().total_cmp(&a.step_n.abs()));
    found.truncate(LISTED_MAX);
    found.sort_by(|a, b| a.at_deg.total_cmp(&b.at_deg));
    let middle = 0.5 * (parts[0][1] + parts[1][0]);
    Steps {
        listed: found,
        slipped_at: slips
            .into_iter()
            .min_by(|a, b| (a - middle).abs().total_cmp(&(b - middle).abs())),
    }
}

/// Steps of one branch: lines through the readings on either side of a place, a twenty-fifth of the
/// way and 8 readings at least; the step is the gap between the lines there. It counts if it is
/// more than 6 of its standard errors and [`SHARE`] of the largest force.
fn of_branch(points: &[LinePoint], full: f64, noise: f64) -> Vec<Discontinuity> {
    let length = (points.len() / 25).max(8);
    if points.len() < 2 * length + 2 {
        return Vec::new();
    }
    let running = RunningSums::new(points);
    let mut gaps: Vec<(usize, Discontinuity)> = Vec::new();
    for at in length..points.len() - length {
        let (left, right) = (
            running.stretch(at - length, at),
            running.stretch(at, at + length),
        );
        let (Some(before), Some(after)) = (left.line(), right.line()) else {
            continue;
        };
        let x = 0.5 * (points[at - 1].x + points[at].x);
        let step_n = after.at(x) - before.at(x);
        let error = noise * (4.0 / left.n + 4.0 / right.n).sqrt();
        if step_n.abs() > (6.0 * error).max(SHARE * full) {
            gaps.push((at, Discontinuity { at_deg: x, step_n }));
        }
    }
    gaps.sort_by(|a, b| b.1.step_n.abs().total_cmp(&a.1.step_n.abs()));
    let mut kept: Vec<(usize, Discontinuity)> = Vec::new();
    for (at, gap) in gaps {
        // A step shows, with the other sign too, until both lines have left it behind.
        if kept
            .iter()
            .all(|(other, _)| other.abs_diff(at) > 2 * length)
        {
            kept.push((at, gap));
        }
        if kept.len() == LISTED_MAX {
            break;
        }
    }
    kept.into_iter().map(|(_, gap)| gap).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn branch(force: impl Fn(f64) -> f64) -> Vec<LinePoint> {
        (0..2000)
            .map(|i| f64::from(i) * 0.01 - 10.0)
            .map(|x| LinePoint {
                x,
                y: force(x),
                n: 1.0,
            })
            .collect()
    }

    #[test]
    fn a_step_of_both_branches_is_listed_once() {
        let force = |x: f64| 0.5 * x + if x > 6.0 { 0.8 } else { 0.0 };
        let both = [branch(|x| force(x) - 0.2), branch(|x| force(x) + 0.2)];
        let found = steps(&both, [[-9.0, -1.0], [1.0, 9.0]], 6.0, 0.01);
        assert_eq!(found.listed.len(), 1, "{found:?}");
        assert!((found.listed[0].at_deg - 6.0).abs() < 0.02);
        assert!((found.listed[0].step_n - 0.8).abs() < 0.01);
        assert_eq!(found.slipped_at, None);
    }

    #[test]
    fn a_fall_on_the_way_out_alone_is_a_slip() {
        let out = |x: f64| 0.5 * x + if x < -5.0 { 0.7 } else { 0.0 };
        let both = [branch(out), branch(|x| 0.5 * x + 0.3)];
        let found = steps(&both, [[-9.0, -1.0], [1.0, 9.0]], 6.0, 0.01);
        assert!((found.slipped_at.unwrap() + 5.0).abs() < 0.02, "{found:?}");
    }

    #[test]
    fn bends_are_no_steps() {
        let force = |x: f64| 0.5 * x + 0.4 * (x - 4.0).max(0.0);
        let both = [branch(force), branch(force)];
        let found = steps(&both, [[-9.0, -1.0], [1.0, 9.0]], 6.0, 0.001);
        assert_eq!(found, Steps::default());
    }
}

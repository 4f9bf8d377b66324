//! Readings of a sweep parted by the direction of motion.

use crate::record::SweepSample;

use super::ExtractError;
use super::line::{LinePoint, median, noise};

/// Fewest readings of a sweep.
pub const SWEEP_READINGS_MIN: usize = 24;

/// Most points that a sweep is kept as, roughly; more readings are averaged with their neighbours
/// in time.
const POINTS_MAX: usize = 100_000;

/// Part of the usual speed below which the stick counts as at rest: friction then says nothing.
const REST: f64 = 0.05;

/// A sweep parted by direction of motion.
#[derive(Clone, Debug)]
pub(super) struct Branches {
    /// Readings taken on the move, `[falling, rising]` position, sorted by position.
    pub moving: [Vec<LinePoint>; 2],
    /// The same with those at rest or nearly so, as they come about in a stop.
    pub all: [Vec<LinePoint>; 2],
    /// Where the sweep starts, degrees.
    pub start: f64,
    /// Smallest and largest position, degrees.
    pub range: [f64; 2],
    /// Standard deviation of the noise on the force, N.
    pub noise: f64,
}

/// A stretch of the record in one direction.
#[derive(Clone, Copy, Debug, PartialEq)]
struct SweepRun {
    from: usize,
    /// Not included.
    to: usize,
    rising: bool,
}

/// How far a sweep covers its range, `[falling, rising]`, and the range, degrees.
///
/// # Errors
///
/// [`ExtractError::OneWay`] where either way covers less than 0.6 of it;
/// [`ExtractError::NoMotion`].
pub(crate) fn ways(samples: &[SweepSample]) -> Result<([f64; 2], f64), ExtractError> {
    let (range, swing) = swing(samples)?;
    covers(samples, range, &runs(samples, swing))
}

/// Stretches of one direction in time, each with whether the position rises.
///
/// # Errors
///
/// [`ExtractError::NoMotion`].
pub(crate) fn branch_runs(
    samples: &[SweepSample],
) -> Result<Vec<(std::ops::Range<usize>, bool)>, ExtractError> {
    let (_, swing) = swing(samples)?;
    let runs = runs(samples, swing).into_iter();
    Ok(runs.map(|run| (run.from..run.to, run.rising)).collect())
}

fn covers(
    samples: &[SweepSample],
    range: [f64; 2],
    runs: &[SweepRun],
) -> Result<([f64; 2], f64), ExtractError> {
    let width = range[1] - range[0];
    let mut covered = [0.0; 2];
    for rising in [false, true] {
        let ends: Vec<[f64; 2]> = runs
            .iter()
            .filter(|run| run.rising == rising)
            .map(|run| {
                let part = &samples[run.from..run.to];
                part.iter().fold([f64::MAX, f64::MIN], |ends, sample| {
                    [
                        ends[0].min(sample.position_deg),
                        ends[1].max(sample.position_deg),
                    ]
                })
            })
            .collect();
        covered[usize::from(rising)] = covered_by(ends);
    }
    if covered[0] < 0.6 * width || covered[1] < 0.6 * width {
        return Err(ExtractError::OneWay {
            positive_deg: covered[1],
            negative_deg: covered[0],
            range_deg: width,
        });
    }
    Ok((covered, width))
}

/// Parts a sweep.
///
/// # Errors
///
/// Whatever makes the readings useless as a sweep.
pub(super) fn branches(samples: &[SweepSample]) -> Result<Branches, ExtractError> {
    check(samples)?;
    let (range, swing) = swing(samples)?;
    let runs = runs(samples, swing);
    covers(samples, range, &runs)?;
    let group = samples.len().div_ceil(POINTS_MAX);
    let mut moving = [Vec::new(), Vec::new()];
    let mut all = [Vec::new(), Vec::new()];
    for run in runs {
        let way = usize::from(run.rising);
        let part = &samples[run.from..run.to];
        let moves = on_the_move(part, run.rising, swing);
        thinned(part.iter(), group, &mut all[way]);
        let part = part.iter().zip(moves).filter(|(_, moves)| *moves);
        thinned(part.map(|(sample, _)| sample), group, &mut moving[way]);
    }
    for points in moving.iter_mut().chain(&mut all) {
        points.sort_by(|a, b| a.x.total_cmp(&b.x));
    }
    let noise = moving
        .each_ref()
        .map(|points| noise(points.len(), |i| (points[i].x, points[i].y)));
    Ok(Branches {
        moving,
        all,
        start: samples[0].position_deg,
        range,
        // One reading scatters more than the mean of a group.
        noise: noise[0].max(noise[1]) * (group as f64).sqrt(),
    })
}

fn check(samples: &[SweepSample]) -> Result<(), ExtractError> {
    if samples.len() < SWEEP_READINGS_MIN {
        return Err(ExtractError::TooFew {
            found: samples.len(),
            needed: SWEEP_READINGS_MIN,
        });
    }
    for (i, sample) in samples.iter().enumerate() {
        let values = [sample.time_s, sample.position_deg, sample.force_n];
        if values.iter().any(|value| !value.is_finite()) {
            return Err(ExtractError::NotFinite { reading: i + 1 });
        }
        if i > 0 && sample.time_s <= samples[i - 1].time_s {
            return Err(ExtractError::TimeNotRising {
                reading: i + 1,
                time_s: sample.time_s,
                before_s: samples[i - 1].time_s,
            });
        }
    }
    Ok(())
}

/// Range of the position, and how far it must come back before that counts as a turn: 8 standard
/// deviations of its noise, 2.5 steps of a position that comes in steps, and at least 1/2000 of the
/// range.
fn swing(samples: &[SweepSample]) -> Result<([f64; 2], f64), ExtractError> {
    let range = samples.iter().fold([f64::MAX, f64::MIN], |range, sample| {
        [
            range[0].min(sample.position_deg),
            range[1].max(sample.position_deg),
        ]
    });
    let width = range[1] - range[0];
    if width.is_nan() || width <= 1e-6 {
        return Err(ExtractError::NoMotion(width.max(0.0)));
    }
    let (turns, step) = turns_and_step(samples);
    // A position that hardly ever turns back has no noise to speak of, however unevenly it was
    // read.
    let noise = if turns <= (samples.len() / 100).max(6) {
        0.0
    } else {
        noise(samples.len(), |i| {
            (samples[i].time_s, samples[i].position_deg)
        })
    };
    let swing = (8.0 * noise).max(2.5 * step);
    Ok((range, swing.clamp(width / 2000.0, width / 10.0)))
}

/// How often the position turns back from one reading to the next, and the step in which it comes,
/// degrees: the median of all changes where more than a fifth of the readings change nothing, else
/// 0.
fn turns_and_step(samples: &[SweepSample]) -> (usize, f64) {
    let stride = (samples.len() / 100_000).max(1);
    let (mut turns, mut before, mut still, mut seen) = (0, 0.0, 0, 0);
    let mut changes = Vec::new();
    for (i, pair) in samples.windows(2).enumerate() {
        let change = pair[1].position_deg - pair[0].position_deg;
        if change != 0.0 {
            turns += usize::from(change * before < 0.0);
            before = change;
        }
        if i.is_multiple_of(stride) {
            seen += 1;
            if change == 0.0 {
                still += 1;
            } else {
                changes.push(change.abs());
            }
        }
    }
    let step = if 5 * still > seen {
        median(&mut changes).unwrap_or(0.0)
    } else {
        0.0
    };
    (turns, step)
}

/// Stretches of one direction: a turn counts once the position has come back by `swing` from its
/// furthest.
fn runs(samples: &[SweepSample], swing: f64) -> Vec<SweepRun> {
    let mut runs = Vec::new();
    let mut rising: Option<bool> = None;
    let mut from = 0;
    let (mut high, mut low) = (0, 0);
    let position = |i: usize| samples[i].position_deg;
    for i in 0..samples.len() {
        if position(i) > position(high) {
            high = i;
        }
        if position(i) < position(low) {
            low = i;
        }
        let falls = rising != Some(false) && position(i) < position(high) - swing;
        let rises = rising != Some(true) && position(i) > position(low) + swing;
        if falls || rises {
            let turn = if falls { high } else { low };
            if let Some(rising) = rising {
                runs.push(SweepRun {
                    from,
                    to: turn + 1,
                    rising,
                });
                from = turn + 1;
            }
            rising = Some(rises);
            high = i;
            low = i;
        }
    }
    if let Some(rising) = rising {
        runs.push(SweepRun {
            from,
            to: samples.len(),
            rising,
        });
    }
    runs
}

/// For each reading of a run whether the stick is on the move: past the first two swings after the
/// turn, and not slower than [`REST`] of the usual speed.
fn on_the_move(part: &[SweepSample], rising: bool, swing: f64) -> Vec<bool> {
    let sign = if rising { 1.0 } else { -1.0 };
    let mut front = f64::MIN;
    let fronts: Vec<f64> = part
        .iter()
        .map(|sample| {
            front = front.max(sign * sample.position_deg);
            front
        })
        .collect();
    let (Some(first), Some(last)) = (fronts.first().copied(), fronts.last().copied()) else {
        return Vec::new();
    };
    let time = |i: usize| part[i.min(part.len() - 1)].time_s;
    // Time that each of 50 equal slices of the way takes.
    let slice = (last - first) / 50.0;
    let passed = |at: f64| fronts.partition_point(|front| *front < at);
    let mut takes: Vec<f64> = (0..50)
        .map(|i| {
            let from = first + f64::from(i) * slice;
            time(passed(from + slice)) - time(passed(from))
        })
        .collect();
    let usual = median(&mut takes).unwrap_or(0.0);
    let slowest = if usual > 0.0 {
        REST * slice / usual
    } else {
        0.0
    };
    fronts
        .iter()
        .map(|front| {
            let from = passed(front - swing);
            let to = passed(front + swing).min(part.len() - 1);
            let speed =
                (fronts[to] - fronts[from]) / (time(to) - time(from)).max(f64::MIN_POSITIVE);
            *front >= first + 2.0 * swing && speed >= slowest
        })
        .collect()
}

/// How much of the range intervals cover together.
fn covered_by(mut ends: Vec<[f64; 2]>) -> f64 {
    ends.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let (mut covered, mut reached) = (0.0, f64::MIN);
    for [low, high] in ends {
        if high > reached {
            covered += high - low.max(reached);
            reached = high;
        }
    }
    covered
}

/// Adds readings to a branch, so many neighbours at a time averaged.
fn thinned<'a>(
    samples: impl Iterator<Item = &'a SweepSample>,
    group: usize,
    points: &mut Vec<LinePoint>,
) {
    let (mut x, mut y, mut n) = (0.0, 0.0, 0.0);
    let mut close = |x: &mut f64, y: &mut f64, n: &mut f64| {
        if *n > 0.0 {
            points.push(LinePoint {
                x: *x / *n,
                y: *y / *n,
                n: *n,
            });
        }
        (*x, *y, *n) = (0.0, 0.0, 0.0);
    };
    for sample in samples {
        x += sample.position_deg;
        y += sample.force_n;
        n += 1.0;
        if n >= group as f64 {
            close(&mut x, &mut y, &mut n);
        }
    }
    close(&mut x, &mut y, &mut n);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn samples(positions: &[f64]) -> Vec<SweepSample> {
        positions
            .iter()
            .enumerate()
            .map(|(i, position)| SweepSample {
                time_s: i as f64 * 0.01,
                position_deg: *position,
                force_n: 0.0,
            })
            .collect()
    }

    #[test]
    fn runs_end_at_the_turns_and_small_returns_do_not_count() {
        let samples = samples(&[0.0, 1.0, 2.0, 1.95, 3.0, 2.0, 0.0, -2.0, -1.9, -2.1, 0.0]);
        let found = runs(&samples, 0.2);
        let run = |from, to, rising| SweepRun { from, to, rising };
        assert_eq!(
            found,
            [run(0, 5, true), run(5, 10, false), run(10, 11, true)]
        );
    }

    #[test]
    fn what_rests_is_not_on_the_move() {
        let mut positions: Vec<f64> = (0..100).map(|i| f64::from(i) * 0.1).collect();
        positions.splice(50..50, std::iter::repeat_n(5.0, 200));
        let moves = on_the_move(&samples(&positions), true, 0.05);
        assert!(!moves[0] && moves[20] && !moves[150] && moves[290]);
    }

    #[test]
    fn a_sweep_that_never_comes_back_is_reported() {
        let up: Vec<f64> = (0..200).map(|i| f64::from(i) * 0.1).collect();
        assert!(matches!(
            ways(&samples(&up)),
            Err(ExtractError::OneWay { .. })
        ));
        let both: Vec<f64> = up.iter().chain(up.iter().rev()).copied().collect();
        assert!(ways(&samples(&both)).is_ok());
        assert!(matches!(
            ways(&samples(&[1.0; 30])),
            Err(ExtractError::NoMotion(_))
        ));
    }

    #[test]
    fn uneven_reading_is_no_noise_and_steps_are_seen() {
        let uneven: Vec<f64> = (0..100).map(|i| f64::from(3 * i + i % 3)).collect();
        let (range, swing) = swing(&samples(&uneven)).unwrap();
        assert!(swing <= (range[1] - range[0]) / 1999.0, "{swing}");
        let stepped: Vec<f64> = (0..2000).map(|i| 0.06 * f64::from(i / 7)).collect();
        assert!((turns_and_step(&samples(&stepped)).1 - 0.06).abs() < 1e-9);
    }

    #[test]
    fn intervals_are_counted_once() {
        assert_eq!(covered_by(vec![[3.0, 4.0], [0.0, 2.0], [1.0, 2.5]]), 3.5);
    }
}

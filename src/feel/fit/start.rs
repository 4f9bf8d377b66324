//! Where the search begins.

use nalgebra::{Matrix4, Vector4};
use trimproof_plant::dynamics::PRELOAD_RAMP_RAD;

use super::law::{Known, Values};
use super::readings::{ResponseReadings, SweepReading, SweepReadings};
use super::swing::{Release, swing};

/// Readings of a sweep that the coarse search looks at.
const COARSE: usize = 500;

/// Free play that is tried where the extractor gives none, half width in degrees.
const PLAYS_DEG: [f64; 9] = [0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.8, 1.3, 2.0];

/// Places from which the releases are searched.
const KEPT: usize = 4;

/// What the coarse search of a sweep gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Static {
    pub values: Values,
    /// Trimmed position, rad.
    pub trim: f64,
    /// Torque that the gauge reads at no force, N·m.
    pub zero: f64,
}

/// Values of a sweep: for each free play and trimmed position tried, rate, breakout, friction and
/// the gauge's zero enter linearly and follow from the normal equations; the best is kept.
///
/// `play`: half width of the gap that the extractor sees, backlash included, rad.
pub(super) fn from_sweep(
    sweep: &SweepReadings,
    rig: &Values,
    known: &Known,
    play: Option<f64>,
) -> Static {
    let stride = sweep.readings.len().div_ceil(COARSE).max(1);
    let few: Vec<SweepReading> = sweep.readings.iter().copied().step_by(stride).collect();
    let ends = few.iter().fold([f64::MAX, f64::MIN], |ends, r| {
        [ends[0].min(r.angle), ends[1].max(r.angle)]
    });
    let plays: Vec<f64> = match play {
        Some(play) => vec![play],
        None => PLAYS_DEG
            .iter()
            .map(|deg| deg.to_radians() + known.play)
            .collect(),
    };
    let mut best = Best::new(Static {
        values: *rig,
        trim: sweep.start,
        zero: 0.0,
    });
    let width = ends[1] - ends[0];
    for play in &plays {
        for i in 1..60 {
            let trim = ends[0] + width * f64::from(i) / 60.0;
            best.look(&few, trim, *play, rig.breakout, (rig, known));
        }
        best.look(&few, sweep.start, *play, rig.breakout, (rig, known));
    }
    // Finer, about the best, with every reading; free play too.
    let mut reach = [width / 60.0, 2e-3];
    best.squares = f64::MAX;
    for _ in 0..5 {
        let about = best.found;
        let seen = about.values.free_play + known.play;
        for i in -4..=4 {
            let trim = about.trim + reach[0] * f64::from(i) / 4.0;
            for j in -3..=3 {
                let play = (seen + reach[1] * f64::from(j) / 3.0).max(0.0);
                let breakout = about.values.breakout.max(0.0);
                best.look(&sweep.readings, trim, play, breakout, (rig, known));
            }
        }
        reach = reach.map(|reach| 0.35 * reach);
    }
    best.found
}

/// The best found so far.
struct Best {
    squares: f64,
    found: Static,
}

impl Best {
    fn new(found: Static) -> Self {
        Self {
            squares: f64::MAX,
            found,
        }
    }

    fn look(
        &mut self,
        readings: &[SweepReading],
        trim: f64,
        play: f64,
        breakout: f64,
        (rig, known): (&Values, &Known),
    ) {
        if let Some((squares, found)) = linear(readings, trim, play, breakout, rig, known)
            && squares < self.squares
        {
            *self = Self { squares, found };
        }
    }
}

/// Least squares for what is linear, with `breakout` for the width of the flank. None where the
/// rate comes out below nothing.
fn linear(
    readings: &[SweepReading],
    trim: f64,
    play: f64,
    breakout: f64,
    rig: &Values,
    known: &Known,
) -> Option<(f64, Static)> {
    let seat = PRELOAD_RAMP_RAD + breakout * known.give;
    let (mut matrix, mut right, mut squares) = (Matrix4::zeros(), Vector4::zeros(), 0.0);
    for r in readings {
        let sign = (r.angle - trim).signum();
        let past = (r.angle - trim).abs() - play;
        let row = Vector4::new(
            sign * (past / seat).clamp(0.0, 1.0),
            sign * (past - seat).max(0.0),
            r.rate.signum(),
            1.0,
        );
        let y = r.torque + known.weight_torque(r.angle) - rig.damping * r.rate;
        matrix += row * row.transpose();
        right += row * y;
        squares += y * y;
    }
    let found = matrix.cholesky()?.solve(&right);
    let seen = found[1];
    if seen <= 0.0 {
        return None;
    }
    let values = Values {
        rate: seen / (1.0 - seen * known.give).max(0.1),
        breakout: found[0],
        friction: found[2],
        free_play: play - known.play,
        ..*rig
    };
    let left = squares - found.dot(&right);
    Some((
        left,
        Static {
            values,
            trim,
            zero: found[3],
        },
    ))
}

/// Where a response begins and rests.
pub(super) fn release(response: &ResponseReadings) -> Release {
    let readings = &response.readings;
    let tail = &readings[readings.len() - readings.len().div_ceil(10)..];
    let first = &readings[..readings.len().min(3)];
    let mean = |part: &[super::readings::ResponseReading]| {
        part.iter().map(|r| r.angle).sum::<f64>() / part.len() as f64
    };
    Release {
        trim: mean(tail),
        from: mean(first),
    }
}

/// Inertia and damping for which the releases come nearest to what was read, the nearest first: a
/// few of a grid of nine inertias about the rig's by damping ratios from 0.03 to 1.5.
pub(super) fn from_responses(
    responses: &[&ResponseReadings],
    values: &Values,
    known: &Known,
    step: f64,
) -> Vec<[f64; 2]> {
    let mut tried = Vec::new();
    for i in -4..=4 {
        // Factors of the square root of 2.
        let inertia = values.inertia * libm::exp2(0.5 * f64::from(i));
        for ratio in [0.03, 0.06, 0.12, 0.25, 0.5, 1.0, 1.5] {
            let damping = 2.0 * ratio * (values.rate * inertia).sqrt();
            let one = Values {
                inertia,
                damping,
                ..*values
            };
            let squares: f64 = responses
                .iter()
                .map(|response| misses(response, &one, known, step))
                .sum();
            tried.push((squares, [inertia, damping]));
        }
    }
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    tried.truncate(KEPT);
    tried.into_iter().map(|(_, pair)| pair).collect()
}

/// Sum of squares of a response about the model, in its own noise.
fn misses(response: &ResponseReadings, values: &Values, known: &Known, step: f64) -> f64 {
    let times = response.readings.iter().map(|r| r.time);
    let mut measured = response.readings.iter();
    let mut sum = 0.0;
    swing(values, known, release(response), step, times, |angle| {
        if let Some(r) = measured.next() {
            sum += (r.angle - angle) * (r.angle - angle);
        }
    });
    sum / (response.noise * response.noise)
}

//! Readings as the fit takes them: in radians and N·m, thinned, without those that the model does
//! not speak of.

use crate::extract::{ExtractError, branch_runs, noise};
use crate::record::{Response, Sweep};

/// Most readings of one measurement that the fit takes; more are averaged with their neighbours in
/// time.
pub(super) const READINGS_MAX: usize = 2000;

/// Way after the start and after each turn that is left out, degrees: there friction is still
/// turning over.
pub(super) const TURN_DEG: f64 = 0.5;

/// Share of the travel before a stop that is left out.
const STOP_MARGIN: f64 = 0.01;

/// Standard deviation at least, as a share of the largest value: readings without noise would weigh
/// without end.
const QUIET: f64 = 1e-4;

/// A reading of a sweep, or the mean of several neighbouring ones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SweepReading {
    /// Time, s.
    pub time: f64,
    /// Angle, rad.
    pub angle: f64,
    /// Rate, rad/s.
    pub rate: f64,
    /// Torque of the hand, N·m.
    pub torque: f64,
    /// How many readings it stands for.
    pub count: f64,
}

/// A sweep.
#[derive(Clone, Debug)]
pub(super) struct SweepReadings {
    pub readings: Vec<SweepReading>,
    /// Grip radius, m.
    pub radius: f64,
    /// Where it starts, rad.
    pub start: f64,
    /// Standard deviation of one reading's torque, N·m, by its neighbours.
    pub torque_noise: f64,
    /// Standard deviation of one reading's angle, rad, by its neighbours.
    pub angle_noise: f64,
}

/// A reading of a response.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ResponseReading {
    /// Time from the release as the record has it, s.
    pub time: f64,
    /// Angle, rad.
    pub angle: f64,
    /// How many readings it stands for.
    pub count: f64,
}

/// A response.
#[derive(Clone, Debug)]
pub(super) struct ResponseReadings {
    pub readings: Vec<ResponseReading>,
    /// Standard deviation of one reading's angle, rad, by its neighbours.
    pub noise: f64,
}

/// The readings of a sweep that the model speaks of: on the move, away from turns, within `within`
/// (degrees: stops, coil bind, a place where the motor slipped).
///
/// # Errors
///
/// Readings that are no numbers, time that does not rise, no motion.
pub(super) fn sweep(sweep: &Sweep, within: [f64; 2]) -> Result<SweepReadings, ExtractError> {
    let samples = &sweep.samples;
    check(
        samples
            .iter()
            .map(|s| (s.time_s, [s.position_deg, s.force_n])),
    )?;
    let radius = sweep.grip_radius_m;
    if !(radius.is_finite() && radius > 0.0) {
        return Err(ExtractError::GripRadius(radius));
    }
    let width = within[1] - within[0];
    let within = [
        within[0] + STOP_MARGIN * width,
        within[1] - STOP_MARGIN * width,
    ];
    let runs = branch_runs(samples)?;
    let group = samples.len().div_ceil(READINGS_MAX);
    let mut readings = Vec::new();
    for (range, rising) in runs {
        let sign = if rising { 1.0 } else { -1.0 };
        let run = &samples[range];
        let Some(turn) = run.first().map(|s| s.position_deg) else {
            continue;
        };
        let means: Vec<SweepReading> = run
            .chunks(group)
            .map(|chunk| {
                let count = chunk.len() as f64;
                let mean = |of: fn(&crate::record::SweepSample) -> f64| {
                    chunk.iter().map(of).sum::<f64>() / count
                };
                SweepReading {
                    time: mean(|s| s.time_s),
                    angle: mean(|s| s.position_deg).to_radians(),
                    rate: 0.0,
                    torque: radius * mean(|s| s.force_n),
                    count,
                }
            })
            .collect();
        let usual = rate(&means);
        for (i, reading) in means.iter().enumerate() {
            let near = &means[i.saturating_sub(10)..(i + 11).min(means.len())];
            let rate = rate(near);
            let at = reading.angle.to_degrees();
            let moves = sign * rate > 0.0 && rate.abs() > 0.2 * usual.abs();
            if moves && sign * (at - turn) > TURN_DEG && at > within[0] && at < within[1] {
                readings.push(SweepReading { rate, ..*reading });
            }
        }
    }
    let largest = readings
        .iter()
        .fold(0.0_f64, |most, r| most.max(r.torque.abs()));
    let torque_noise = radius * noise(samples.len(), |i| (samples[i].time_s, samples[i].force_n));
    let angle_noise = noise(samples.len(), |i| {
        (samples[i].time_s, samples[i].position_deg)
    });
    Ok(SweepReadings {
        readings,
        radius,
        start: samples[0].position_deg.to_radians(),
        torque_noise: torque_noise.max(QUIET * largest),
        angle_noise: angle_noise.to_radians(),
    })
}

/// The readings of a response from the release on.
///
/// # Errors
///
/// Readings that are no numbers, time that does not rise, no motion.
pub(super) fn response(response: &Response) -> Result<ResponseReadings, ExtractError> {
    let samples = &response.samples;
    check(samples.iter().map(|s| (s.time_s, [s.position_deg; 2])))?;
    let released = samples.partition_point(|s| s.time_s < 0.0);
    let samples = &samples[released..];
    let group = samples.len().div_ceil(READINGS_MAX);
    let readings: Vec<ResponseReading> = samples
        .chunks(group.max(1))
        .map(|chunk| {
            let count = chunk.len() as f64;
            ResponseReading {
                time: chunk.iter().map(|s| s.time_s).sum::<f64>() / count,
                angle: (chunk.iter().map(|s| s.position_deg).sum::<f64>() / count).to_radians(),
                count,
            }
        })
        .collect();
    let ends = samples.iter().fold([f64::MAX, f64::MIN], |ends, s| {
        [ends[0].min(s.position_deg), ends[1].max(s.position_deg)]
    });
    let width = (ends[1] - ends[0]).max(0.0);
    let noise = noise(samples.len(), |i| {
        (samples[i].time_s, samples[i].position_deg)
    });
    if width <= (10.0 * noise).max(1e-6) {
        return Err(ExtractError::NoMotion(width));
    }
    Ok(ResponseReadings {
        readings,
        noise: noise.max(QUIET * width).to_radians(),
    })
}

/// Mean rate of a few readings: slope of the line through them.
fn rate(readings: &[SweepReading]) -> f64 {
    let n = readings.len() as f64;
    let time = readings.iter().map(|r| r.time).sum::<f64>() / n;
    let angle = readings.iter().map(|r| r.angle).sum::<f64>() / n;
    let (mut tt, mut ta) = (0.0, 0.0);
    for r in readings {
        tt += (r.time - time) * (r.time - time);
        ta += (r.time - time) * (r.angle - angle);
    }
    if tt > 0.0 { ta / tt } else { 0.0 }
}

fn check(samples: impl Iterator<Item = (f64, [f64; 2])>) -> Result<(), ExtractError> {
    let mut before_s = f64::NEG_INFINITY;
    for (i, (time_s, values)) in samples.enumerate() {
        if !time_s.is_finite() || values.iter().any(|value| !value.is_finite()) {
            return Err(ExtractError::NotFinite { reading: i + 1 });
        }
        if time_s <= before_s {
            return Err(ExtractError::TimeNotRising {
                reading: i + 1,
                time_s,
                before_s,
            });
        }
        before_s = time_s;
    }
    Ok(())
}

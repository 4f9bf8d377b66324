//! Figures of a free response, after 14 CFR part 60, appendix C.

use crate::figures::ResponseFigures;
use crate::record::Response;

use super::ExtractError;
use super::line::{median, noise};
use super::polynomial::Polynomial;

/// Fewest readings of a free response.
pub const RESPONSE_READINGS_MIN: usize = 12;

/// Residual band, as a share of the initial displacement (14 CFR part 60, appendix C, text on
/// control dynamics).
const BAND: f64 = 0.05;

/// A crossing counts as one if the stick goes at least this share of the initial displacement past
/// it: a fifth of the band.
const CROSSES: f64 = 0.2 * BAND;

/// Figures of a free response; every definition stands in `docs/model/feel.md`.
///
/// # Errors
///
/// Too few or unusable readings, no motion, not at rest at the end.
pub fn response_figures(response: &Response) -> Result<ResponseFigures, ExtractError> {
    check(response)?;
    // Time counts from the release; what was read before it is none of the response.
    let released = response.samples.partition_point(|s| s.time_s < 0.0);
    let samples = &response.samples[released..];
    let times: Vec<f64> = samples.iter().map(|s| s.time_s).collect();
    let positions: Vec<f64> = samples.iter().map(|s| s.position_deg).collect();
    let noise = noise(times.len(), |i| (times[i], positions[i]));
    let steady = steady(&times, &positions, noise);
    let first = positions[0] - steady;
    if first.abs() <= (10.0 * noise).max(1e-6) {
        return Err(ExtractError::NoMotion(first.abs()));
    }
    let sign = first.signum();
    let swing = Swing {
        times: &times,
        heights: positions.iter().map(|p| sign * (p - steady)).collect(),
        noise,
    };
    let initial = swing.initial();
    let band = BAND * initial;
    swing.at_rest(band)?;
    let crossings = swing.crossings(initial);
    let peaks = swing.peaks(&crossings);
    // The first peak that is no longer outside the band ends what counts.
    let counted = peaks
        .iter()
        .position(|peak| *peak <= band)
        .unwrap_or(peaks.len());
    let overshoots = peaks[..counted].to_vec();
    let crosses = peaks
        .first()
        .is_some_and(|peak| *peak >= (CROSSES * initial).max(6.0 * noise));
    Ok(ResponseFigures {
        axis: response.axis,
        condition: response.condition,
        initial_deg: sign * initial,
        steady_deg: steady,
        p0_s: crossings.first().copied().filter(|_| crosses),
        periods_s: (0..counted / 2)
            .filter_map(|n| Some(crossings.get(2 * n + 2)? - crossings[2 * n]))
            .collect(),
        to_90_percent_s: swing.falls_to(0.1 * initial, initial),
        damping_ratio: damping(initial, &overshoots),
        overshoots_deg: overshoots,
        residual_deg: band,
    })
}

fn check(response: &Response) -> Result<(), ExtractError> {
    let samples = &response.samples;
    let found = samples.iter().filter(|s| s.time_s >= 0.0).count();
    if found < RESPONSE_READINGS_MIN && samples.iter().all(|s| s.time_s.is_finite()) {
        return Err(ExtractError::TooFew {
            found,
            needed: RESPONSE_READINGS_MIN,
        });
    }
    for (i, sample) in samples.iter().enumerate() {
        if !sample.time_s.is_finite() || !sample.position_deg.is_finite() {
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

/// Damping ratio by logarithmic decrement: delta = ln(x0/xn)/n, zeta = delta/sqrt(4 pi² + delta²),
/// n in full periods. From the first to the last overshoot outside the band; with one only, from
/// the initial displacement to it.
fn damping(initial: f64, overshoots: &[f64]) -> Option<f64> {
    let (from, to, periods) = match overshoots {
        [] => return None,
        [only] => (initial, *only, 0.5),
        [first, .., last] => (*first, *last, 0.5 * (overshoots.len() - 1) as f64),
    };
    let delta = libm::log(from / to) / periods;
    let turn = 2.0 * std::f64::consts::PI;
    Some(delta / (turn * turn + delta * delta).sqrt())
}

/// Steady state: mean over the last fifth of the record, over its last twentieth where the two
/// differ by more than the noise; where the stick still swings there, over as many whole periods as
/// there are in the last two fifths.
fn steady(times: &[f64], positions: &[f64], noise: f64) -> f64 {
    let length = times[times.len() - 1] - times[0];
    let since = |share: f64| {
        let from = times.partition_point(|t| *t < times[times.len() - 1] - share * length);
        from.min(times.len() - 3)
    };
    let tail = since(0.2);
    let mut last = positions[tail..].to_vec();
    let rough = median(&mut last).unwrap_or(0.0);
    let from = since(0.4);
    let swing = Swing {
        times: &times[from..],
        heights: positions[from..].iter().map(|p| p - rough).collect(),
        noise,
    };
    let crossings = swing.rough_crossings((5.0 * noise).max(1e-9));
    if crossings.len() >= 3 {
        let even = (crossings.len() - 1) / 2 * 2;
        let first = crossings.len() - 1 - even;
        let at = |i: usize| swing.straight(crossings[i]);
        return rough + swing.mean(at(first), at(crossings.len() - 1));
    }
    let mean = |from: usize| {
        let part = &positions[from..];
        part.iter().sum::<f64>() / part.len() as f64
    };
    let late = since(0.05);
    let doubt = noise / ((positions.len() - late) as f64).sqrt();
    if (mean(late) - mean(tail)).abs() > 3.0 * doubt {
        mean(late)
    } else {
        mean(tail)
    }
}

/// A response counted from its steady state, positive where it starts.
struct Swing<'a> {
    times: &'a [f64],
    heights: Vec<f64>,
    noise: f64,
}

impl Swing<'_> {
    /// Index of the first reading at or after a time.
    fn index(&self, time: f64) -> usize {
        self.times.partition_point(|t| *t < time)
    }

    /// Part of half a period that readings are taken from on either side of a crossing or extreme:
    /// the more noise, the wider.
    fn reach(&self) -> f64 {
        let share = self.noise / self.heights[0].abs().max(f64::MIN_POSITIVE);
        match share {
            s if s < 1e-4 => 0.15,
            s if s < 1e-3 => 0.25,
            _ => 0.33,
        }
    }

    /// Polynomial through the readings from `from` to `to`, at least 6 of them round the middle;
    /// its order is 4, less with fewer than 10 readings.
    fn fit(&self, from: f64, to: f64) -> Option<Polynomial> {
        let (mut low, mut high) = (self.index(from), self.index(to));
        while high - low < 6 && (low > 0 || high < self.times.len()) {
            low = low.saturating_sub(1);
            high = (high + 1).min(self.times.len());
        }
        let order = match high - low {
            0..=5 => 2,
            6..=9 => 3,
            _ => 4,
        };
        Polynomial::fit(&self.times[low..high], &self.heights[low..high], order)
    }

    /// Initial displacement: a cubic through what has not fallen by a tenth yet, taken at the
    /// release.
    fn initial(&self) -> f64 {
        let first = self.heights[0];
        let fallen = self
            .heights
            .iter()
            .position(|h| *h < 0.9 * first)
            .unwrap_or(self.heights.len());
        if fallen < 6 {
            return first;
        }
        Polynomial::fit(&self.times[..fallen], &self.heights[..fallen], 3)
            .map_or(first, |fit| fit.at(0.0))
    }

    /// Rough crossings in a running mean, as long as brings 5 standard deviations of its noise to 1
    /// % of the initial displacement, and no longer than a sixth of the way to the first crossing.
    fn seen_crossings(&self, initial: f64) -> Vec<usize> {
        let first = self.heights.iter().position(|h| *h < 0.0).unwrap_or(0);
        let wanted = 5.0 * self.noise / (0.01 * initial);
        let half = ((wanted * wanted) as usize).min(first / 6) / 2;
        let mut sums = vec![0.0];
        for height in &self.heights {
            sums.push(sums[sums.len() - 1] + height);
        }
        let last = self.heights.len() - 1;
        let mean = |i: usize| {
            let reach = half.min(i).min(last - i);
            (sums[i + reach + 1] - sums[i - reach]) / (2 * reach + 1) as f64
        };
        let smooth = Swing {
            times: self.times,
            heights: (0..=last).map(mean).collect(),
            noise: self.noise / ((2 * half + 1) as f64).sqrt(),
        };
        smooth.rough_crossings((5.0 * smooth.noise).max(0.002 * initial))
    }

    /// Readings after which the height is on the other side, having gone past by more than `past`.
    fn rough_crossings(&self, past: f64) -> Vec<usize> {
        let mut found = Vec::new();
        let mut above = None;
        let mut last = 0;
        for (i, height) in self.heights.iter().enumerate() {
            let side = if *height > past {
                true
            } else if *height < -past {
                false
            } else {
                continue;
            };
            if above.is_some_and(|above| above != side) {
                // Between the last reading surely on the one side and this one: where the sign
                // changes. A reading at zero is on neither side, so that the mirror image crosses
                // there, too.
                let is_over = |height: f64| match side {
                    true => height > 0.0,
                    false => height < 0.0,
                };
                let change = (last..i)
                    .find(|j| is_over(self.heights[*j + 1]))
                    .unwrap_or(last);
                found.push(change);
            }
            above = Some(side);
            last = i;
        }
        found
    }

    /// Where the straight line between a reading and the next is zero, s.
    fn straight(&self, i: usize) -> f64 {
        let (a, b) = (self.heights[i], self.heights[i + 1]);
        let share = if a == b {
            0.5
        } else {
            (a / (a - b)).clamp(0.0, 1.0)
        };
        self.times[i] + share * (self.times[i + 1] - self.times[i])
    }

    /// Times of the zero crossings, s: between the extremes on either side of each a polynomial
    /// through the readings round it, at its zero.
    fn crossings(&self, initial: f64) -> Vec<f64> {
        let rough = self.seen_crossings(initial);
        let straight: Vec<f64> = rough.iter().map(|i| self.straight(*i)).collect();
        let mut found = Vec::new();
        for (n, time) in straight.iter().enumerate() {
            let before = if n == 0 {
                self.times[0]
            } else {
                0.5 * (straight[n - 1] + time)
            };
            let after = straight
                .get(n + 1)
                .map_or(*time + (time - before), |next| 0.5 * (time + next));
            let reach = self.reach() * (after - before);
            let zero = self
                .fit(time - reach, time + reach)
                .and_then(|fit| fit.zero_near(*time, reach));
            found.push(zero.unwrap_or(*time));
        }
        found
    }

    /// Height of the extreme after each crossing, positive.
    fn peaks(&self, crossings: &[f64]) -> Vec<f64> {
        let mut found = Vec::new();
        for (n, from) in crossings.iter().enumerate() {
            let sign = if n % 2 == 0 { -1.0 } else { 1.0 };
            // Half a period, from the crossings round it; it is 1.3 to 1.6 times as long as a
            // single crossing takes.
            let half = match (crossings.get(n + 1), n) {
                (Some(next), _) => next - from,
                (None, 0) => 1.4 * from,
                (None, _) => from - crossings[n - 1],
            };
            // No further: the highest of a long rest is but noise.
            let (low, high) = (self.index(*from), self.index(from + half));
            let Some(highest) = (low..high)
                .max_by(|a, b| (sign * self.heights[*a]).total_cmp(&(sign * self.heights[*b])))
            else {
                continue;
            };
            let reach = self.reach() * half;
            let mut at = self.times[highest];
            let mut height = sign * self.heights[highest];
            for _ in 0..3 {
                let Some(fit) = self.fit(at - reach, at + reach) else {
                    break;
                };
                // Where noise leaves no extreme, the fit still says more than the highest reading.
                let extreme = fit.extreme_near(at, reach);
                at = extreme.unwrap_or(at);
                height = sign * fit.at(at);
                if extreme.is_none() {
                    break;
                }
            }
            found.push(height);
        }
        found
    }

    /// First time at which the height has fallen to `level`, s after the release.
    fn falls_to(&self, level: f64, initial: f64) -> f64 {
        let Some(after) = self.heights.iter().position(|h| *h <= level) else {
            return self.times[self.times.len() - 1];
        };
        if after == 0 {
            return 0.0;
        }
        let (a, b) = (self.heights[after - 1] - level, self.heights[after] - level);
        let (t, u) = (self.times[after - 1], self.times[after]);
        let straight = t + a / (a - b).max(f64::MIN_POSITIVE) * (u - t);
        // As long on either side as it takes from a quarter of the displacement to here.
        let quarter = self
            .heights
            .iter()
            .position(|h| *h <= 0.25 * initial)
            .map_or(t, |i| self.times[i]);
        let reach = straight - quarter;
        let zero = self
            .fit(straight - reach, straight + reach)
            .and_then(|fit| fit.less(level).zero_near(straight, reach.max(u - t)));
        zero.unwrap_or(straight)
    }

    /// The stick moves by no more than the band in the last fifth of the record.
    fn at_rest(&self, band: f64) -> Result<(), ExtractError> {
        let end = self.times[self.times.len() - 1];
        let from = self.index(end - 0.2 * (end - self.times[0]));
        let most = self.heights[from..]
            .iter()
            .fold(0.0_f64, |most, h| most.max(h.abs()));
        let still = most - 4.0 * self.noise;
        if still > band {
            return Err(ExtractError::NotAtRest {
                still_deg: still,
                band_deg: band,
            });
        }
        Ok(())
    }

    /// Mean height between two times, the readings joined by straight lines.
    fn mean(&self, from: f64, to: f64) -> f64 {
        let (low, high) = (self.index(from), self.index(to));
        let mut corners = vec![(from, 0.0)];
        corners.extend((low..high).map(|i| (self.times[i], self.heights[i])));
        corners.push((to, 0.0));
        let area: f64 = corners
            .windows(2)
            .map(|ends| 0.5 * (ends[0].1 + ends[1].1) * (ends[1].0 - ends[0].0))
            .sum();
        area / (to - from).max(f64::MIN_POSITIVE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_decrement_gives_the_ratio() {
        // zeta 0.2: each half period shrinks by exp(-pi zeta / sqrt(1 - zeta²)).
        let shrink = libm::exp(-std::f64::consts::PI * 0.2 / (1.0_f64 - 0.04).sqrt());
        let shots: Vec<f64> = (1..4)
            .map(|n| 8.0 * libm::pow(shrink, f64::from(n)))
            .collect();
        for many in 1..=3 {
            assert!((damping(8.0, &shots[..many]).unwrap() - 0.2).abs() < 1e-12);
        }
        assert_eq!(damping(8.0, &[]), None);
    }
}

//! The stick's angle sensor and its converter.

use std::collections::VecDeque;

use rand_pcg::Pcg64;
use rand_pcg::rand_core::Rng;

use crate::rig::SensorRig;

/// What is wrong with a sensor; the default is nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SensorFaults {
    /// Signal wire open: reads full scale. Wins over the others.
    pub open: bool,
    /// Signal shorted to ground: reads 0.
    pub short: bool,
    /// Repeats the last reading before the fault.
    pub stuck: bool,
    /// Degrees that the magnet has slipped by, added to the angle.
    pub jump_deg: f64,
    /// Noise in place of the rig's, degrees root mean square.
    pub noise_deg: Option<f64>,
}

/// An angle sensor, sampled once a control tick.
///
/// The angle is delayed by the latency (between two samples it is interpolated), bent by the
/// non-linearity `nonlinearity_deg · sin(2θ)`, scaled by the gain error, shifted by the offset,
/// covered with Gaussian noise, rounded to the nearest count and clipped.
#[derive(Clone, Debug)]
pub struct AngleSensor {
    rig: SensorRig,
    faults: SensorFaults,
    noise: Pcg64,
    /// Latency in ticks: whole part and rest.
    delay: (usize, f64),
    /// Angles of past ticks, the newest first, degrees.
    past_deg: VecDeque<f64>,
    last: Option<Reading>,
    share: f64,
}

/// What a sensor gives: the converter's counts, and the signal before it.
#[derive(Clone, Copy, Debug)]
struct Reading {
    counts: u16,
    share: f64,
}

impl AngleSensor {
    /// A sound sensor sampled every `tick_s` seconds; the same `seed` gives the same noise.
    ///
    /// Sensors of one rig need different seeds.
    pub fn new(rig: &SensorRig, tick_s: f64, seed: u64) -> Self {
        let ticks = rig.latency_s / tick_s;
        // A latency that is meant as whole ticks stays whole.
        let ticks = if (ticks - ticks.round()).abs() < 1e-9 {
            ticks.round()
        } else {
            ticks
        };
        let whole = ticks.floor();
        Self {
            rig: rig.clone(),
            faults: SensorFaults::default(),
            noise: Pcg64::new(spread(seed), 0x5EED),
            delay: (whole as usize, ticks - whole),
            past_deg: VecDeque::with_capacity(whole as usize + 2),
            last: None,
            share: 0.0,
        }
    }

    /// What is wrong from now on.
    pub fn set_faults(&mut self, faults: SensorFaults) {
        self.faults = faults;
    }

    /// What is wrong now.
    pub fn faults(&self) -> SensorFaults {
        self.faults
    }

    /// The reading of this tick, the stick being at `angle_deg`. Call it once a tick, in every
    /// tick.
    ///
    /// Before the first tick the stick counts as having been where the first one finds it. The
    /// noise goes on behind any fault, so that runs with and without it stay comparable.
    pub fn sample(&mut self, angle_deg: f64) -> u16 {
        let normal = self.normal();
        let angle_deg = self.delayed(angle_deg) + self.faults.jump_deg;
        let noise_deg = normal * self.faults.noise_deg.unwrap_or(self.rig.noise_deg);
        let signal_deg = self.rig.signal_deg(angle_deg) + noise_deg;
        let sound = Reading {
            counts: self.rig.counts(signal_deg),
            share: self.rig.share(signal_deg),
        };
        let reading = match self.last {
            Some(last) if self.faults.stuck => last,
            _ => sound,
        };
        self.last = Some(reading);
        let (counts, share) = if self.faults.open {
            (self.rig.full_scale() as u16, 1.0)
        } else if self.faults.short {
            (0, 0.0)
        } else {
            (reading.counts, reading.share)
        };
        self.share = share;
        counts
    }

    /// The signal of the last sample as a share of the converter's scale, 0 to 1: what stands at
    /// the converter's input.
    pub fn share(&self) -> f64 {
        self.share
    }

    fn delayed(&mut self, angle_deg: f64) -> f64 {
        let (whole, rest) = self.delay;
        self.past_deg.push_front(angle_deg);
        self.past_deg.truncate(whole + 2);
        let oldest = self.past_deg.back().copied().unwrap_or(angle_deg);
        let at = |ticks: usize| self.past_deg.get(ticks).copied().unwrap_or(oldest);
        if rest == 0.0 {
            at(whole)
        } else {
            at(whole) + rest * (at(whole + 1) - at(whole))
        }
    }

    /// A normally distributed number of mean 0 and variance 1 (Box–Muller).
    fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.uniform()));
        radius * libm::cos(std::f64::consts::TAU * self.uniform())
    }

    /// Evenly distributed over [0, 1).
    fn uniform(&mut self) -> f64 {
        (self.noise.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Spreads neighbouring seeds over the generator's whole state (multiplication by an odd number
/// keeps them apart).
fn spread(seed: u64) -> u128 {
    u128::from(seed)
        .wrapping_add(1)
        .wrapping_mul(0x9E37_79B9_7F4A_7C15_F39C_C060_5CED_C835)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TICK_S: f64 = 0.002;

    fn clean(bits: u32) -> SensorRig {
        SensorRig {
            bits,
            min_deg: -30.0,
            max_deg: 30.0,
            offset_deg: 0.0,
            gain_error: 0.0,
            noise_deg: 0.0,
            latency_s: 0.0,
            nonlinearity_deg: 0.0,
        }
    }

    fn read(rig: &SensorRig, angle_deg: f64) -> u16 {
        AngleSensor::new(rig, TICK_S, 1).sample(angle_deg)
    }

    /// Rounding leaves an error spread evenly over one count, whose root mean square is LSB/√12
    /// (derived: ∫x² dx over ±1/2).
    #[test]
    fn quantisation_leaves_a_count_over_root_twelve() {
        let rig = clean(10);
        let mut sensor = AngleSensor::new(&rig, TICK_S, 1);
        let (mut squares, n) = (0.0, 100_000);
        for i in 0..n {
            let angle_deg = -29.0 + 58.0 * f64::from(i) / f64::from(n);
            let error = f64::from(sensor.sample(angle_deg)) * rig.step_deg() - 30.0 - angle_deg;
            squares += error * error;
        }
        let expected = rig.step_deg() / libm::sqrt(12.0);
        // A sweep over 989.8 counts: the last, broken one shifts the mean square by at most 1/990.
        assert!((libm::sqrt(squares / f64::from(n)) / expected - 1.0).abs() < 2e-3);
    }

    /// Noise and rounding add in squares; the mean square of n samples of a normal variable
    /// scatters by √(2/n).
    #[test]
    fn noise_is_as_large_as_configured_and_has_no_mean() {
        let rig = SensorRig {
            noise_deg: 0.03,
            ..clean(12)
        };
        let mut sensor = AngleSensor::new(&rig, TICK_S, 7);
        let n = 40_000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..n {
            let error = f64::from(sensor.sample(3.21)) * rig.step_deg() - 30.0 - 3.21;
            sum += error;
            squares += error * error;
        }
        let n = f64::from(n);
        let variance = 0.03 * 0.03 + rig.step_deg() * rig.step_deg() / 12.0;
        assert!(
            (squares / n / variance - 1.0).abs() < 4.0 * libm::sqrt(2.0 / n),
            "{}",
            squares / n / variance
        );
        assert!((sum / n).abs() < 4.0 * libm::sqrt(variance / n));
    }

    #[test]
    fn the_seed_decides_the_noise() {
        let rig = SensorRig {
            noise_deg: 0.5,
            ..clean(12)
        };
        let run = |seed| {
            let mut sensor = AngleSensor::new(&rig, TICK_S, seed);
            (0..50).map(|_| sensor.sample(0.0)).collect::<Vec<_>>()
        };
        assert_eq!(run(1), run(1));
        assert_ne!(run(1), run(2));
    }

    #[test]
    fn scale_ends_and_errors() {
        assert_eq!([read(&clean(12), -30.0), read(&clean(12), 30.0)], [0, 4095]);
        assert_eq!([read(&clean(12), -60.0), read(&clean(12), 60.0)], [0, 4095]);
        assert_eq!(
            read(
                &SensorRig {
                    offset_deg: 6.0,
                    ..clean(12)
                },
                0.0
            ),
            2457
        );
        // 1 % of 20 degrees is 0.2 degrees, 13.65 counts: 3412.5 + 13.65 counts.
        assert_eq!(
            read(
                &SensorRig {
                    gain_error: 0.01,
                    ..clean(12)
                },
                20.0
            ),
            3426
        );
        // sin(2·15°) = 1/2, so 0.6 degrees bend by 0.3, 20.475 counts: 3071.25 + 20.475.
        assert_eq!(
            read(
                &SensorRig {
                    nonlinearity_deg: 0.6,
                    ..clean(12)
                },
                15.0
            ),
            3092
        );
    }

    #[test]
    fn latency_delays_by_exactly_its_ticks() {
        let ramp = |latency_s: f64| {
            let mut sensor = AngleSensor::new(
                &SensorRig {
                    latency_s,
                    ..clean(16)
                },
                TICK_S,
                1,
            );
            (0..20)
                .map(|tick| f64::from(sensor.sample(f64::from(tick))))
                .collect::<Vec<_>>()
        };
        let (now, late, between) = (ramp(0.0), ramp(0.006), ramp(0.005));
        assert_eq!(late[..3], [now[0]; 3]);
        assert_eq!(late[3..], now[..17]);
        for tick in 3..20 {
            let middle = (now[tick - 2] + now[tick - 3]) / 2.0;
            assert!((between[tick] - middle).abs() <= 1.0, "{tick}");
        }
    }

    #[test]
    fn faults_show_and_pass() {
        let rig = SensorRig {
            noise_deg: 0.1,
            ..clean(12)
        };
        let mut sensor = AngleSensor::new(&rig, TICK_S, 3);
        let mut sound = sensor.clone();
        let (last, _) = (sensor.sample(1.0), sound.sample(1.0));
        let cases = [
            (
                SensorFaults {
                    open: true,
                    ..Default::default()
                },
                4095,
            ),
            (
                SensorFaults {
                    short: true,
                    ..Default::default()
                },
                0,
            ),
        ];
        for (faults, expected) in cases {
            sensor.set_faults(faults);
            assert_eq!(sensor.sample(1.0), expected);
            sound.sample(1.0);
        }
        sensor.set_faults(SensorFaults::default());
        assert_eq!(sensor.sample(1.0), sound.sample(1.0));
        let mut stuck = AngleSensor::new(&rig, TICK_S, 3);
        assert_eq!(stuck.sample(1.0), last);
        stuck.set_faults(SensorFaults {
            stuck: true,
            ..Default::default()
        });
        for angle_deg in [2.0, 5.0, -9.0] {
            assert_eq!(stuck.sample(angle_deg), last);
        }
        let mut jumped = AngleSensor::new(&clean(12), TICK_S, 1);
        jumped.set_faults(SensorFaults {
            jump_deg: 6.0,
            ..Default::default()
        });
        assert_eq!(jumped.sample(0.0), 2457);
        let mut quiet = AngleSensor::new(&rig, TICK_S, 3);
        quiet.set_faults(SensorFaults {
            noise_deg: Some(0.0),
            ..Default::default()
        });
        assert!((0..100).all(|_| quiet.sample(6.0) == 2457));
    }
}

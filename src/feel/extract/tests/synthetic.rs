//! Loops and responses of known figures, from closed forms that know nothing of the extractor.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng as _, SeedableRng as _};
use trimproof_plant::AxisName;

use crate::record::{Condition, Response, ResponseSample, Sweep, SweepSample};

/// Seeded chance.
pub struct Chance(Pcg64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// Even between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        let unit = (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }

    /// Standard normal, after Box and Muller.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(1.0 - self.between(0.0, 1.0))).sqrt();
        radius * libm::cos(self.between(0.0, 2.0 * std::f64::consts::PI))
    }
}

/// A stick and how it is swept. Sides are `[negative, positive]`, forces positive numbers.
#[derive(Clone, Debug)]
pub struct SyntheticLoop {
    pub radius_m: f64,
    /// Middle of the free play, degrees.
    pub middle: f64,
    pub free_play: f64,
    /// Width of a flank, degrees.
    pub ramp: f64,
    /// Height of a flank, N.
    pub preload: [f64; 2],
    /// Slope up to an inch behind the flank, N/deg.
    pub first: [f64; 2],
    /// Slope from there on, N/deg.
    pub beyond: [f64; 2],
    pub friction: f64,
    /// Force without friction in the free play, N.
    pub level: f64,
    pub stop: [f64; 2],
    /// N/deg.
    pub stop_stiffness: f64,
    /// Force beyond that before the stop at which the sweep turns, N.
    pub press: f64,
    /// Standard deviation, as a share of the largest force before the stops.
    pub noise: f64,
    /// Standard deviation of the position, degrees.
    pub position_noise: f64,
    pub readings: usize,
    /// To the positive stop first.
    pub positive_first: bool,
}

impl Default for SyntheticLoop {
    fn default() -> Self {
        Self {
            radius_m: 0.4,
            middle: 0.0,
            free_play: 0.3,
            ramp: 0.11,
            preload: [2.4, 2.4],
            first: [0.6, 0.6],
            beyond: [0.5, 0.5],
            friction: 0.3,
            level: 0.0,
            stop: [-18.0, 20.0],
            stop_stiffness: 100.0,
            press: 25.0,
            noise: 0.0,
            position_noise: 0.0,
            readings: 20_000,
            positive_first: true,
        }
    }
}

impl SyntheticLoop {
    pub fn inch(&self) -> f64 {
        (0.0254 / self.radius_m).to_degrees()
    }

    /// Force without friction and stops, N.
    pub fn spring(&self, x: f64) -> f64 {
        let side = usize::from(x >= self.middle);
        let sign = [-1.0, 1.0][side];
        let out = sign * (x - self.middle) - 0.5 * self.free_play;
        if out <= 0.0 {
            return self.level;
        }
        if out < self.ramp {
            return self.level + sign * self.preload[side] * out / self.ramp;
        }
        let out = out - self.ramp;
        let near = out.min(self.inch());
        let gradient = self.first[side] * near + self.beyond[side] * (out - near);
        self.level + sign * (self.preload[side] + gradient)
    }

    /// With the stops.
    pub fn elastic(&self, x: f64) -> f64 {
        let pressed = (x - self.stop[1]).max(0.0) + (x - self.stop[0]).min(0.0);
        self.spring(x) + self.stop_stiffness * pressed
    }

    /// Outgoing force where the stop begins, N, positive.
    pub fn largest(&self) -> [f64; 2] {
        [
            self.friction - self.spring(self.stop[0]),
            self.friction + self.spring(self.stop[1]),
        ]
    }

    /// Outgoing force where the flank ends, N, positive.
    pub fn breakout(&self) -> [f64; 2] {
        [
            self.preload[0] + self.friction - self.level,
            self.preload[1] + self.friction + self.level,
        ]
    }

    pub fn noise_n(&self) -> f64 {
        let [a, b] = self.largest();
        self.noise * a.max(b)
    }

    /// Spacing of the readings along the way, degrees, on average.
    pub fn pitch(&self) -> f64 {
        2.0 * (self.stop[1] - self.stop[0]) / self.readings as f64
    }

    /// The loop, read at uneven places and times.
    pub fn sweep(&self, chance: &mut Chance) -> Sweep {
        let deep = self.press / self.stop_stiffness;
        let ends = [self.stop[0] - deep, self.stop[1] + deep];
        let turns = if self.positive_first {
            [self.middle, ends[1], ends[0], self.middle]
        } else {
            [self.middle, ends[0], ends[1], self.middle]
        };
        let way: f64 = turns.windows(2).map(|leg| (leg[1] - leg[0]).abs()).sum();
        let mut samples = Vec::new();
        let mut time_s = 0.0;
        for leg in turns.windows(2) {
            let (length, sign) = ((leg[1] - leg[0]).abs(), (leg[1] - leg[0]).signum());
            let mut gone = 0.0;
            loop {
                gone += way / self.readings as f64 * chance.between(0.2, 1.8);
                if gone >= length {
                    break;
                }
                time_s += 0.002 * chance.between(0.4, 1.6);
                let x = leg[0] + sign * gone;
                samples.push(SweepSample {
                    time_s,
                    position_deg: x + self.position_noise * chance.normal(),
                    force_n: self.elastic(x)
                        + sign * self.friction
                        + self.noise_n() * chance.normal(),
                });
            }
        }
        Sweep {
            axis: AxisName::Pitch,
            condition: Condition::Held,
            grip_radius_m: self.radius_m,
            samples,
        }
    }

    /// A stick of plausible but arbitrary figures, read as a slow sweep of half a minute to a
    /// minute is.
    pub fn random(chance: &mut Chance) -> Self {
        let mut pair = |low: f64, high: f64| {
            let mean = chance.between(low, high);
            let off = chance.between(0.9, 1.1);
            [mean, mean * off]
        };
        let preload = pair(0.8, 6.0);
        let first = pair(0.15, 1.2);
        let share = pair(0.7, 1.2);
        Self {
            radius_m: chance.between(0.3, 0.6),
            middle: chance.between(-1.5, 1.5),
            free_play: chance.between(0.1, 1.0),
            ramp: chance.between(0.06, 0.2),
            preload,
            first,
            beyond: [first[0] * share[0], first[1] * share[1]],
            friction: chance.between(0.1, 1.5),
            level: chance.between(-0.1, 0.1),
            stop: [chance.between(-22.0, -14.0), chance.between(14.0, 22.0)],
            stop_stiffness: chance.between(40.0, 200.0),
            press: chance.between(15.0, 40.0),
            noise: 0.01,
            position_noise: 0.0,
            readings: chance.between(15_000.0, 30_000.0) as usize,
            positive_first: chance.between(0.0, 1.0) < 0.5,
        }
    }
}

/// A second-order response: J x'' + c x' + k x = 0, let go at rest from a deflection.
#[derive(Clone, Debug)]
pub struct Swinging {
    pub initial: f64,
    pub steady: f64,
    pub damping_ratio: f64,
    /// Undamped natural frequency, rad/s.
    pub frequency: f64,
    /// Readings for each radian of the undamped motion.
    pub readings_per_radian: f64,
    /// How far it has died down when the record ends, as a share of the initial displacement.
    pub end: f64,
    /// Standard deviation, as a share of the initial displacement.
    pub noise: f64,
}

impl Swinging {
    /// Displacement from the steady state as a share of the initial one, at frequency times time.
    pub fn height(&self, phase: f64) -> f64 {
        let z = self.damping_ratio;
        if (z - 1.0).abs() < 1e-9 {
            return (1.0 + phase) * libm::exp(-phase);
        }
        if z < 1.0 {
            let w = (1.0 - z * z).sqrt();
            return libm::exp(-z * phase) * (libm::cos(w * phase) + z / w * libm::sin(w * phase));
        }
        let w = (z * z - 1.0).sqrt();
        let (slow, fast) = (z - w, z + w);
        (fast * libm::exp(-slow * phase) - slow * libm::exp(-fast * phase)) / (2.0 * w)
    }

    /// Release to the first zero, s; none from critical damping on.
    pub fn p0(&self) -> Option<f64> {
        let z = self.damping_ratio;
        (z < 1.0).then(|| {
            let w = (1.0 - z * z).sqrt();
            (std::f64::consts::PI - libm::acos(z)) / (w * self.frequency)
        })
    }

    /// Full period, s.
    pub fn period(&self) -> f64 {
        let w = (1.0 - self.damping_ratio * self.damping_ratio).sqrt();
        2.0 * std::f64::consts::PI / (w * self.frequency)
    }

    /// The n-th extreme after the release, degrees, positive.
    pub fn overshoot(&self, n: u32) -> f64 {
        let z = self.damping_ratio;
        let each = std::f64::consts::PI * z / (1.0 - z * z).sqrt();
        self.initial.abs() * libm::exp(-each * f64::from(n))
    }

    /// Time to a tenth of the initial displacement, s, by halving.
    pub fn to_90_percent(&self) -> f64 {
        let (mut low, mut high) = (0.0, 0.0);
        while self.height(high) > 0.1 {
            low = high;
            high += 0.01;
        }
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.height(middle) > 0.1 {
                low = middle;
            } else {
                high = middle;
            }
        }
        high / self.frequency
    }

    /// The response, read at uneven times.
    pub fn response(&self, chance: &mut Chance) -> Response {
        let z = self.damping_ratio;
        let slow = if z < 1.0 { z } else { z - (z * z - 1.0).sqrt() };
        // The slow part's factor is 1 to 1.08 where it matters; one more time constant sees it off.
        let end = (-libm::log(self.end) + 1.0) / slow;
        let mut samples = Vec::new();
        let mut phase = 0.0;
        while phase < end {
            let noise = self.noise * chance.normal();
            samples.push(ResponseSample {
                time_s: phase / self.frequency,
                position_deg: self.steady + self.initial * (self.height(phase) + noise),
            });
            phase += chance.between(0.4, 1.6) / self.readings_per_radian;
        }
        Response {
            axis: AxisName::Roll,
            condition: Condition::Held,
            samples,
        }
    }

    /// A response of arbitrary figures; damping ratio even in its logarithm from 0.05 to 2.
    pub fn random(chance: &mut Chance) -> Self {
        let sign = if chance.between(0.0, 1.0) < 0.5 {
            -1.0
        } else {
            1.0
        };
        Self {
            initial: sign * chance.between(3.0, 10.0),
            steady: chance.between(-1.0, 1.0),
            damping_ratio: libm::exp(chance.between(libm::log(0.05), libm::log(2.0))),
            frequency: chance.between(5.0, 60.0),
            readings_per_radian: chance.between(8.0, 40.0),
            end: 2e-4,
            noise: 0.0,
        }
    }
}

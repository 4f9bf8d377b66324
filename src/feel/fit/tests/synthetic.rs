//! A bench made up for tests: sweeps and releases of a stick of known values. It shares no code
//! with the fit: torque comes by halving from deflections in series, motion from Runge and Kutta's
//! fourth-order steps of 25 µs.

use trimproof_plant::{AxisName, Rig};

use crate::extract::Chance;
use crate::record::{Condition, Record, Response, ResponseSample, Sweep, SweepSample};

/// A stick on the bench, and how it is measured.
#[derive(Clone, Debug)]
pub struct SyntheticStick {
    pub rig: Rig,
    pub axis: AxisName,
    pub rate: f64,
    pub breakout: f64,
    pub friction: f64,
    /// Half width, rad.
    pub free_play: f64,
    pub damping: f64,
    pub inertia: f64,
    /// Where the trim holds, rad.
    pub trim: f64,
    /// What the gauge reads at no force, N.
    pub gauge_zero: f64,
    /// Standard deviation: of the force as a share of the largest before the stops, of a release's
    /// angle as a share of its deflection.
    pub noise: f64,
    /// Standard deviation of the sweep's angle, degrees.
    pub angle_noise_deg: f64,
    /// Rate of the sweep, degrees per second.
    pub sweep_deg_per_s: f64,
    pub sweep_hz: f64,
    pub response_hz: f64,
    /// Releases, degrees from the trim.
    pub releases_deg: Vec<f64>,
    /// Instant of release after the record's zero, s.
    pub delay_s: f64,
    pub bristle: Option<super::bristle::Bristle>,
}

pub fn kittiwake() -> Rig {
    Rig::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap()
}

impl SyntheticStick {
    /// Kittiwake as its file has it, read without noise.
    pub fn of_kittiwake(axis: AxisName) -> Self {
        let rig = kittiwake();
        let (breakout, rate) = match axis {
            AxisName::Pitch => (0.78, 10.6),
            AxisName::Roll => (0.74, 10.4),
        };
        // By hand from the file: 1.23 kg at 6 mm, about its centre 0.0395 and 0.0396; frame 8e-4.
        let inertia = match axis {
            AxisName::Pitch => 8.0e-4 + 0.0395 + 1.23 * (0.006 * 0.006 + 0.0005 * 0.0005),
            AxisName::Roll => 0.0396 + 1.23 * 0.006 * 0.006,
        };
        Self {
            rig,
            axis,
            rate,
            breakout,
            friction: 0.05,
            free_play: 0.15_f64.to_radians(),
            damping: 0.40,
            inertia,
            trim: 0.0,
            gauge_zero: 0.0,
            noise: 0.0,
            angle_noise_deg: 0.0,
            sweep_deg_per_s: 1.5,
            sweep_hz: 50.0,
            response_hz: 250.0,
            releases_deg: vec![6.0, -6.0],
            delay_s: 0.0,
            bristle: None,
        }
    }

    /// A stick of arbitrary values on kittiwake's drive, read with 2 % noise.
    pub fn random(chance: &mut Chance) -> Self {
        let axis = if chance.between(0.0, 1.0) < 0.5 {
            AxisName::Pitch
        } else {
            AxisName::Roll
        };
        let mut rig = kittiwake();
        rig.pitch.friction.viscous_n_m_s_per_rad = 0.02;
        rig.roll.friction.viscous_n_m_s_per_rad = 0.02;
        let mut even =
            |low: f64, high: f64| libm::exp(chance.between(libm::log(low), libm::log(high)));
        let (rate, inertia) = (even(5.0, 20.0), even(0.02, 0.08));
        let breakout = even(0.3, 1.5);
        let share = even(0.05, 0.3);
        let free_play = even(0.05, 0.5).to_radians();
        let ratio = even(0.1, 0.6);
        let deflection = even(5.0, 10.0);
        Self {
            rig,
            axis,
            rate,
            breakout,
            friction: share * breakout,
            free_play,
            damping: 2.0 * ratio * (rate * inertia).sqrt(),
            inertia,
            trim: chance.between(-0.5, 0.5).to_radians(),
            gauge_zero: chance.between(-0.2, 0.2),
            noise: 0.02,
            angle_noise_deg: 0.01,
            sweep_deg_per_s: chance.between(1.0, 3.0),
            releases_deg: vec![deflection, -deflection * chance.between(0.9, 1.1)],
            delay_s: chance.between(0.0, 0.005),
            ..Self::of_kittiwake(axis)
        }
    }

    fn part(&self) -> &trimproof_plant::rig::AxisRig {
        self.rig.axis(self.axis.index())
    }

    /// Backlash (half, rad) and give (rad per N·m) of the held drive.
    fn drive(&self) -> (f64, f64) {
        let (drive, motor) = (&self.part().drive, &self.part().motor);
        let radius = drive.trim_pitch_radius_m;
        let ratio = f64::from(drive.trim_teeth) / f64::from(drive.motor_teeth);
        let peak = motor.holding_n_m / 2.0_f64.sqrt() / motor.rated_a * self.part().driver.hold_a;
        let magnet = peak * f64::from(motor.rotor_teeth) * ratio * ratio;
        let mesh = drive.mesh_stiffness_n_per_m * radius * radius;
        (0.5 * drive.backlash_m / radius, 1.0 / mesh + 1.0 / magnet)
    }

    /// Torque of the weight, N·m, after the rig's figures: kittiwake's frame is level and its other
    /// axis upright.
    fn weight(&self, angle: f64) -> f64 {
        let (s, c) = libm::sincos(angle);
        let inner = 1.23 * 9.80665;
        match self.axis {
            AxisName::Pitch => inner * (0.006 * s - 0.0005 * c) + 0.35 * 9.80665 * 0.002 * s,
            AxisName::Roll => inner * 0.006 * s,
        }
    }

    /// Torque of the spring at a deflection, by halving: free play, backlash, cartridge and drive
    /// turn one after the other.
    pub fn spring(&self, deflection: f64) -> f64 {
        let (play, give) = self.drive();
        let turned = |torque: f64| {
            let seat = 0.002 * (torque / self.breakout).min(1.0);
            self.free_play
                + play
                + seat
                + (torque - self.breakout).max(0.0) / self.rate
                + give * torque
        };
        let (mut low, mut high) = (0.0, 100.0);
        if deflection.abs() <= turned(0.0) {
            return 0.0;
        }
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if turned(middle) < deflection.abs() {
                low = middle;
            } else {
                high = middle;
            }
        }
        low.copysign(deflection)
    }

    /// Torque of the cartridge at its own deflection.
    fn cartridge(&self, deflection: f64) -> f64 {
        let past = deflection.abs() - self.free_play;
        let seated = self.breakout * (past / 0.002).clamp(0.0, 1.0);
        (seated + self.rate * (past - 0.002).max(0.0)).copysign(deflection)
    }

    pub fn largest_n(&self) -> f64 {
        let reach = self.part().stops.max_deg.to_radians() - self.trim;
        (self.spring(reach) + self.friction) / self.rig.stick.grip_radius_m
    }

    /// From the trim over the upper stop to the lower one and back.
    pub fn sweep(&self, chance: &mut Chance) -> Sweep {
        let stops = &self.part().stops;
        let start = self.trim.to_degrees();
        let turns = [start, stops.max_deg + 0.2, stops.min_deg - 0.2, start];
        let radius = self.rig.stick.grip_radius_m;
        let spread = self.noise * self.largest_n();
        let mut samples = Vec::new();
        let mut time_s = 0.0;
        let mut bristle = self.bristle.map(|bristle| bristle.at_rest());
        for leg in turns.windows(2) {
            let sign = (leg[1] - leg[0]).signum();
            let length = (leg[1] - leg[0]).abs();
            let rate = sign * self.sweep_deg_per_s.to_radians();
            let mut gone = 0.0;
            loop {
                let wait = chance.between(0.6, 1.4) / self.sweep_hz;
                gone += wait * self.sweep_deg_per_s;
                if gone >= length {
                    break;
                }
                time_s += wait;
                let deg = leg[0] + sign * gone;
                let angle = deg.to_radians();
                let rub = match &mut bristle {
                    Some(bristle) => bristle.drag(rate, wait),
                    None => sign * self.friction,
                };
                let pressed = (deg - stops.max_deg).max(0.0) + (deg - stops.min_deg).min(0.0);
                let torque =
                    self.spring(angle - self.trim) + self.damping * rate + rub - self.weight(angle);
                samples.push(SweepSample {
                    time_s,
                    position_deg: deg + self.angle_noise_deg * chance.normal(),
                    force_n: torque / radius
                        + 100.0 * pressed
                        + self.gauge_zero
                        + spread * chance.normal(),
                });
            }
        }
        Sweep {
            axis: self.axis,
            condition: Condition::Held,
            grip_radius_m: radius,
            samples,
        }
    }

    /// The stick let go, until it has been at rest for 0.3 s.
    pub fn response(&self, deflection_deg: f64, chance: &mut Chance) -> Response {
        let step = 2.5e-5;
        let (play, give) = self.drive();
        let pivot = self.part().friction.viscous_n_m_s_per_rad;
        let (mut x, mut v) = (self.trim + deflection_deg.to_radians(), 0.0_f64);
        // Deflection of the cartridge: the drive takes its play and its give of the held torque.
        let held = self.spring(x - self.trim);
        let mut d = x - self.trim - play * held.signum() - give * held;
        let mut bristle = self
            .bristle
            .map(|bristle| bristle.strained(-deflection_deg.signum()));
        let mut samples = Vec::new();
        let (mut now, mut next, mut still) = (0.0, 0.0, 0.0);
        let spread = self.noise * deflection_deg.abs();
        while still < 0.3 && now < 8.0 {
            if now >= next {
                samples.push(ResponseSample {
                    time_s: next,
                    position_deg: x.to_degrees() + spread * chance.normal(),
                });
                next += chance.between(0.6, 1.4) / self.response_hz;
            }
            now += step;
            if now < self.delay_s {
                continue;
            }
            let passed = |x: f64, d: f64| {
                let gap = x - self.trim - d;
                (gap.abs() - play).max(0.0).copysign(gap) / give
            };
            let pull =
                |x: f64, v: f64, d: f64| (self.weight(x) - passed(x, d) - pivot * v) / self.inertia;
            let rub = match &mut bristle {
                Some(bristle) => bristle.drag(v, step) / self.inertia,
                None if v == 0.0 => {
                    let free = pull(x, 0.0, d);
                    free.clamp(-self.friction / self.inertia, self.friction / self.inertia)
                }
                None => v.signum() * self.friction / self.inertia,
            };
            let rates = |[x, v, d]: [f64; 3]| {
                [
                    v,
                    pull(x, v, d) - rub,
                    (passed(x, d) - self.cartridge(d)) / (self.damping - pivot),
                ]
            };
            let from = [x, v, d];
            let on = |k: [f64; 3], by: f64| std::array::from_fn(|i| from[i] + by * k[i]);
            let k1 = rates(from);
            let k2 = rates(on(k1, 0.5 * step));
            let k3 = rates(on(k2, 0.5 * step));
            let k4 = rates(on(k3, step));
            let to: [f64; 3] = std::array::from_fn(|i| {
                from[i] + step / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i])
            });
            let after = to[1];
            (x, d) = (to[0], to[2]);
            // Dry friction stops what it slows; it does not turn it round.
            v = if bristle.is_none() && v * after < 0.0 {
                0.0
            } else {
                after
            };
            still = if v.abs() < 1e-3 { still + step } else { 0.0 };
        }
        Response {
            axis: self.axis,
            condition: Condition::Held,
            samples,
        }
    }

    pub fn record(&self, chance: &mut Chance) -> Record {
        Record {
            source: "a bench made up".to_owned(),
            sweeps: vec![self.sweep(chance)],
            responses: self
                .releases_deg
                .iter()
                .map(|deg| self.response(*deg, chance))
                .collect(),
            ..Record::default()
        }
    }
}

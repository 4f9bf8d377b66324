//! How fast the drive may step: voltage against back-EMF and inductance; resonances.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use crate::Design;
use serde::Serialize;
use trimproof_plant::rig::{AxisRig, MotorRig};
use trimproof_plant::train_params;

use super::current::Current;
use super::power::{Windings, standing_supply_v};

/// Low-end resonance band of steppers, full steps a second (a maker's handbook,
/// docs/model/sources.md).
pub const LOW_BAND_STEPS_PER_S: [f64; 2] = [50.0, 200.0];
/// How much longer the period of a swing of one full step is than that of a small one: the pendulum
/// at 90°, 1/agm(1, cos 45°).
const FULL_STEP_SWING: f64 = 1.180_34;
/// Load angles at which the torque at speed is looked at; even, so that 90° is one of them.
const ANGLES: u32 = 60;
/// Directions of the missing current that are looked at before the right one is interpolated.
const DIRECTIONS: u32 = 90;
/// Highest step rate that is looked at, full steps a second.
const FASTEST_STEPS_PER_S: f64 = 100_000.0;

/// Step rates of one axis.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RateSizes {
    /// Torque at the trim shaft that the drive must move while nudging, N·m: cartridge at the
    /// controller's largest deflection, friction of the shaft, acceleration of shaft and rotor.
    pub load_n_m: f64,
    /// Shortest time to reverse the current, once a full step: L · I · 2 / V, s.
    pub reversal_s: f64,
    /// Step rate at which that takes the whole step, deg/s at the stick.
    pub reversal_deg_per_s: f64,
    /// Rate up to which the supply keeps the full current at full load angle, deg/s, `[cold, hot]`.
    pub full_torque_deg_per_s: [f64; 2],
    /// Rate at which the torque left is the load, deg/s, `[cold, hot]`.
    pub torque_limit_deg_per_s: [f64; 2],
    /// Fastest that the step generator goes, half a microstep a period, deg/s.
    pub generator_deg_per_s: f64,
    /// Highest nudge rate, deg/s: the lowest of these.
    pub highest_deg_per_s: f64,
    /// What sets it: `torque` or `step generator`.
    pub limited_by: &'static str,
    /// The rates that the rig is set to.
    pub set: Vec<SetRate>,
    /// Resonances.
    pub resonance: Resonance,
}

/// A rate that the controller is set to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetRate {
    /// `nudge` or `glide`.
    pub what: &'static str,
    /// Rate at the stick, deg/s.
    pub deg_per_s: f64,
    /// Full steps a second.
    pub steps_per_s: f64,
    /// Motor torque left at that rate with hot windings, the detent's height taken off, over what
    /// the load asks.
    pub torque_factor: f64,
    /// Whether it lies in the low-end band of steppers.
    pub in_low_band: bool,
    /// Whether it lies in this drive's own resonance band.
    pub in_resonance: bool,
    /// Whether it passes through either band while it speeds up.
    pub passes_through: bool,
}

/// Resonance of the rotor on its magnetic spring at running current.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Resonance {
    /// Rotor alone, within the backlash, Hz.
    pub rotor_hz: f64,
    /// Rotor with the trim shaft, Hz.
    pub geared_hz: f64,
    /// Band of full steps a second to keep away from: from swings of a full step with the shaft to
    /// small ones without, the detent softening or stiffening the spring.
    pub band_steps_per_s: [f64; 2],
    /// The same at the stick, deg/s.
    pub band_deg_per_s: [f64; 2],
    /// The low-end band at the stick, deg/s.
    pub low_band_deg_per_s: [f64; 2],
}

/// f = √(k/J)/2π with k = (π/2) T_h/S (Jones), Hz: holding torque in N·m, full step in rad, inertia
/// in kg·m².
pub fn resonance_hz(holding_n_m: f64, step_rad: f64, inertia_kg_m2: f64) -> f64 {
    (FRAC_PI_2 * holding_n_m / step_rad / inertia_kg_m2).sqrt() / TAU
}

/// Shortest time for a full step: L · I · 2 / V (Jones, "Stepping motors"), s.
pub fn reversal_s(inductance_h: f64, current_a: f64, supply_v: f64) -> f64 {
    inductance_h * current_a * 2.0 / supply_v
}

/// Windings at speed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct AtSpeed {
    pub(crate) kt_n_m_per_a: f64,
    pub(crate) teeth: f64,
    pub(crate) ohm: f64,
    pub(crate) henry: f64,
    pub(crate) amps: f64,
    pub(crate) supply_v: f64,
}

impl AtSpeed {
    pub(crate) fn new(motor: &MotorRig, amps: f64, ohm: f64, supply_v: f64) -> Self {
        Self {
            kt_n_m_per_a: motor.torque_constant_n_m_per_a(),
            teeth: f64::from(motor.rotor_teeth),
            ohm,
            henry: motor.inductance_h,
            amps,
            supply_v,
        }
    }

    /// Peak of the voltage that keeps the full current at a load angle `phi` while the rotor turns
    /// at `rate` rad/s, V.
    ///
    /// v = R i + L di/dt + e with i = I e^{jα} and the rotor `phi` behind: |v|² = (R I + K ω sin
    /// φ)² + (ω_e L I + K ω cos φ)².
    pub(crate) fn needs_v(&self, rate: f64, phi: f64) -> f64 {
        let (s, c) = libm::sincos(phi);
        let along = self.ohm * self.amps + self.kt_n_m_per_a * rate * s;
        let across = self.teeth * rate * self.henry * self.amps + self.kt_n_m_per_a * rate * c;
        (along * along + across * across).sqrt()
    }

    /// First harmonic of a sinusoid of the wanted amplitude that is cut off at the supply, V: with
    /// k = V/A, (2/π) (A asin k + V √(1 − k²)); A where it is not cut, 4V/π where it has become a
    /// square wave (Fourier, derived).
    fn clipped_v(&self, wanted_v: f64) -> f64 {
        let share = (self.supply_v / wanted_v).min(1.0);
        2.0 / PI * (wanted_v * libm::asin(share) + self.supply_v * (1.0 - share * share).sqrt())
    }

    /// Rate up to which the full current flows at full load angle, rad/s.
    pub(crate) fn full_torque_rate(&self) -> f64 {
        self.highest(&|rate| self.needs_v(rate, FRAC_PI_2) <= self.supply_v)
    }

    /// Rate at which the largest torque falls to what is asked at that rate, rad/s.
    pub(crate) fn limit_rate(&self, asked_n_m: &dyn Fn(f64) -> f64) -> f64 {
        self.highest(&|rate| self.most_n_m(rate) >= asked_n_m(rate))
    }

    /// Highest rate that `holds`, which holds below it and not above; 0 if it holds nowhere.
    fn highest(&self, holds: &dyn Fn(f64) -> bool) -> f64 {
        let (mut low, mut high) = (0.0, FASTEST_STEPS_PER_S * FRAC_PI_2 / self.teeth);
        if !holds(low) {
            return 0.0;
        }
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if holds(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    }

    /// Largest torque at a rotor rate, rad/s, N·m.
    pub(crate) fn most_n_m(&self, rate: f64) -> f64 {
        (1..ANGLES)
            .map(|k| PI * f64::from(k) / f64::from(ANGLES))
            .map(|phi| self.torque_n_m(rate, phi))
            .fold(0.0, f64::max)
    }

    /// Torque at a load angle and a rotor rate, N·m.
    ///
    /// As long as the supply suffices, Kt I sin φ. Beyond, the driver pushes with what the supply
    /// has in the direction ψ of the current that is missing: (R + jω_e L) i = V₁ e^{jψ} − e with ψ
    /// the direction of I − i, to first harmonic.
    pub(crate) fn torque_n_m(&self, rate: f64, phi: f64) -> f64 {
        let (s, c) = libm::sincos(phi);
        if self.needs_v(rate, phi) <= self.supply_v {
            return self.kt_n_m_per_a * self.amps * s;
        }
        let volts = self.clipped_v(self.needs_v(rate, phi));
        let emf = [self.kt_n_m_per_a * rate * s, self.kt_n_m_per_a * rate * c];
        let (r, x) = (self.ohm, self.teeth * rate * self.henry);
        let size = r * r + x * x;
        let current = |psi: f64| {
            let (sin, cos) = libm::sincos(psi);
            let u = [volts * cos - emf[0], volts * sin - emf[1]];
            [(u[0] * r + u[1] * x) / size, (u[1] * r - u[0] * x) / size]
        };
        // How far I − i points aside from ψ, and along it.
        let aside = |psi: f64| {
            let (sin, cos) = libm::sincos(psi);
            let [a, b] = current(psi);
            let lack = [self.amps - a, -b];
            (cos * lack[1] - sin * lack[0], cos * lack[0] + sin * lack[1])
        };
        let width = TAU / f64::from(DIRECTIONS);
        let mut best = 0.0_f64;
        let (mut left, mut along) = aside(0.0);
        for k in 1..=DIRECTIONS {
            let to = f64::from(k) * width;
            let (right, next_along) = aside(to);
            if along > 0.0 && left * right <= 0.0 && left != right {
                let [a, b] = current(to - width * right / (right - left));
                best = best.max(self.kt_n_m_per_a * (a * s + b * c));
            }
            (left, along) = (right, next_along);
        }
        best
    }
}

/// Step rates of axis `index`.
pub(crate) fn rates(rig: &Design, index: usize) -> RateSizes {
    let (axis, settings) = (rig.axis(index), rig.axis_settings(index));
    let step_deg = axis.full_step_deg();
    let deg_per_s = |rate: f64| rate.to_degrees() / axis.drive.ratio();
    let load_n_m = load_n_m(rig, index);
    let speed = Windings::ALL.map(|windings| at_speed(rig, index, windings));
    let full = speed.map(|at| deg_per_s(at.full_torque_rate()));
    let limit =
        speed.map(|at| deg_per_s(at.limit_rate(&|rate| motor_asked_n_m(axis, load_n_m, rate))));
    let (highest_deg_per_s, limited_by) = highest(rig, index);
    let reversal = reversal_s(
        axis.motor.inductance_h,
        axis.driver.run_a,
        speed[1].supply_v,
    );
    let resonance = resonance(axis);
    let set = [
        ("nudge", settings.nudge_rate_mdeg_per_s),
        ("glide", settings.glide_rate_mdeg_per_s),
    ]
    .map(|(what, mdeg_per_s)| {
        let deg_per_s = f64::from(mdeg_per_s) / 1000.0;
        let rate = (deg_per_s * axis.drive.ratio()).to_radians();
        let steps_per_s = deg_per_s / step_deg;
        let within = |[low, high]: [f64; 2]| steps_per_s >= low && steps_per_s <= high;
        let lowest = LOW_BAND_STEPS_PER_S[0].min(resonance.band_steps_per_s[0]);
        SetRate {
            what,
            deg_per_s,
            steps_per_s,
            torque_factor: (speed[1].most_n_m(rate) - axis.motor.detent_n_m)
                / motor_asked_n_m(axis, load_n_m, rate),
            in_low_band: within(LOW_BAND_STEPS_PER_S),
            in_resonance: within(resonance.band_steps_per_s),
            passes_through: steps_per_s >= lowest,
        }
    })
    .to_vec();
    RateSizes {
        load_n_m,
        reversal_s: reversal,
        reversal_deg_per_s: step_deg / reversal,
        full_torque_deg_per_s: full,
        torque_limit_deg_per_s: limit,
        generator_deg_per_s: generator_deg_per_s(rig, index),
        highest_deg_per_s,
        limited_by,
        set,
        resonance,
    }
}

/// Highest nudge rate of axis `index` with hot windings, deg/s, and what sets it; without the
/// search where the torque lasts up to the step generator's fastest.
pub(crate) fn highest(rig: &Design, index: usize) -> (f64, &'static str) {
    let axis = rig.axis(index);
    let load_n_m = load_n_m(rig, index);
    let at = at_speed(rig, index, Windings::Hot);
    let generator = generator_deg_per_s(rig, index);
    let fastest = (generator * axis.drive.ratio()).to_radians();
    if at.most_n_m(fastest) >= motor_asked_n_m(axis, load_n_m, fastest) {
        return (generator, "step generator");
    }
    let rate = at.limit_rate(&|rate| motor_asked_n_m(axis, load_n_m, rate));
    (rate.to_degrees() / axis.drive.ratio(), "torque")
}

/// Fastest that the step generator goes: half a microstep a period, deg/s at the stick.
fn generator_deg_per_s(rig: &Design, index: usize) -> f64 {
    let axis = rig.axis(index);
    let ustep_deg = axis.full_step_deg() / f64::from(axis.driver.microsteps);
    f64::from(rig.controller.generator_hz) / 2.0 * ustep_deg
}

/// The motor of axis `index` at running current, the supply as both axes load it.
fn at_speed(rig: &Design, index: usize, windings: Windings) -> AtSpeed {
    let axis = rig.axis(index);
    let supply_v = standing_supply_v(rig, Current::Run, windings);
    AtSpeed::new(&axis.motor, axis.driver.run_a, windings.ohm(axis), supply_v)
}

/// Torque that trim shaft and rotor ask of the drive while nudging, N·m at the shaft: the cartridge
/// at the largest deflection against which the controller advances, the shaft's friction, the
/// acceleration.
fn load_n_m(rig: &Design, index: usize) -> f64 {
    let (axis, settings) = (rig.axis(index), rig.axis_settings(index));
    let deflection = (f64::from(settings.deflection_max_mdeg) / 1000.0).to_radians();
    let accel = (f64::from(settings.accel_mdeg_per_s2) / 1000.0).to_radians();
    let ratio = axis.drive.ratio();
    let inertia = axis.drive.shaft_inertia_kg_m2 + axis.motor.rotor_inertia_kg_m2 * ratio * ratio;
    let cartridge = train_params(axis, 1e-4).cartridge.spring_n_m(deflection);
    cartridge + axis.drive.shaft_friction_n_m + inertia * accel
}

/// What a load at the trim shaft asks of the motor at a rotor rate, rad/s, N·m: through the teeth,
/// with friction and losses. The detent, which averages out in movement, is left out.
pub(crate) fn motor_asked_n_m(axis: &AxisRig, load_n_m: f64, rate: f64) -> f64 {
    load_n_m / (axis.drive.ratio() * axis.drive.efficiency)
        + axis.motor.friction_n_m
        + axis.motor.viscous_n_m_s_per_rad * rate
}

fn resonance(axis: &AxisRig) -> Resonance {
    let law = train_params(axis, 1e-4);
    let (ratio, step_rad) = (axis.drive.ratio(), axis.motor.full_step_rad());
    let holding_n_m = law.kt_n_m_per_a * axis.driver.run_a;
    let geared = law.rotor_inertia_kg_m2 + law.shaft_inertia_kg_m2 / (ratio * ratio);
    let rotor_hz = resonance_hz(holding_n_m, step_rad, law.rotor_inertia_kg_m2);
    let geared_hz = resonance_hz(holding_n_m, step_rad, geared);
    // The detent's slope at rest is four times its height, against or with the motor's.
    let detent = (4.0 * law.detent_n_m / holding_n_m).min(1.0);
    let band = [
        geared_hz * (1.0 - detent).sqrt() / FULL_STEP_SWING,
        rotor_hz * (1.0 + detent).sqrt(),
    ];
    let step_deg = axis.full_step_deg();
    Resonance {
        rotor_hz,
        geared_hz,
        band_steps_per_s: band,
        band_deg_per_s: band.map(|steps| steps * step_deg),
        low_band_deg_per_s: LOW_BAND_STEPS_PER_S.map(|steps| steps * step_deg),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example (docs/model/sources.md): 0.32 N·cm at 0.3°, 48 g·cm²: as a straight line k =
    /// 0.611 N·m/rad, 56.790 Hz; as the sinusoid T_h = 12.364 mN·m of a 1.8° motor, k = 0.6182
    /// N·m/rad, 57.116 Hz. f = √(k/J)/2π with k = (π/2) T_h/S (Jones, "Stepping motors", University
    /// of Iowa).
    #[test]
    fn worked_example_of_a_resonance() {
        let step = 1.8_f64.to_radians();
        let line_n_m = 0.32e-2 / 0.3_f64.to_radians() / 50.0;
        assert!((resonance_hz(line_n_m, step, 48e-7) - 56.790).abs() < 5e-4);
        let holding_n_m = 0.32e-2 / libm::sin(50.0 * 0.3_f64.to_radians());
        assert!((holding_n_m - 12.364e-3).abs() < 5e-7);
        assert!((resonance_hz(holding_n_m, step, 48e-7) - 57.116).abs() < 5e-4);
    }

    /// Time per step = L · I · 2 / V (Jones, "Stepping motors", University of Iowa): 10 mH, 10 mA,
    /// 12 V → 16.67 µs a step.
    #[test]
    fn worked_example_of_a_step() {
        assert!((reversal_s(10e-3, 10e-3, 12.0) * 1e6 - 16.67).abs() < 0.005);
    }

    fn kittiwake() -> Design {
        Design::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap()
    }

    /// By hand: kt 1.26/(√2·2.8) = 0.318198; at φ = 90° (0.9·3.75 + 0.318198 ω)² + (50·2.5e-3·3.75
    /// ω)² = 24² gives 0.320976 ω² + 2.147838 ω − 564.609375 = 0, ω = 38.7284 rad/s.
    #[test]
    fn full_current_flows_up_to_the_closed_form() {
        let at = AtSpeed::new(&kittiwake().pitch.motor, 3.75, 0.9, 24.0);
        assert!(
            (at.full_torque_rate() - 38.7284).abs() < 1e-3,
            "{}",
            at.full_torque_rate()
        );
        assert!((at.most_n_m(20.0) - 0.318_198 * 3.75).abs() < 1e-5);
    }

    /// Derived: where the supply is not enough, torque falls, without a jump where it begins to.
    #[test]
    fn torque_falls_with_speed_without_a_jump() {
        let at = AtSpeed::new(&kittiwake().pitch.motor, 3.75, 0.9, 24.0);
        let mut last = at.most_n_m(0.0);
        for k in 1..300 {
            let next = at.most_n_m(f64::from(k));
            assert!(next <= last + 1e-3, "{k}: {last} to {next}");
            assert!(last - next < 0.05, "{k}: {last} to {next}");
            last = next;
        }
        assert!(last < 0.2 * at.most_n_m(0.0), "{last}");
    }

    /// Derived: a sine that is not cut is itself, one that is cut to nothing but its sign is 4V/π.
    #[test]
    fn a_cut_sine_lies_between_sine_and_square() {
        let at = AtSpeed::new(&kittiwake().pitch.motor, 3.75, 0.9, 24.0);
        assert!((at.clipped_v(24.0) - 24.0).abs() < 1e-12);
        assert!((at.clipped_v(1e6) - 24.0 * 4.0 / PI).abs() < 1e-3);
        assert!((at.clipped_v(12.0) - 12.0).abs() < 1e-12);
    }

    /// Jones' resonance on kittiwake by hand: k = 50 · 1.193243 = 59.662 N·m/rad; √(k/3e-5)/2π =
    /// 224.44 Hz; with the shaft, 1.5e-4/36 more, 210.3 Hz.
    #[test]
    fn resonances_of_a_rig() {
        let found = rates(&kittiwake(), 0);
        assert!(
            (found.resonance.rotor_hz - 224.44).abs() < 0.01,
            "{found:?}"
        );
        assert!(
            (found.resonance.geared_hz - 210.30).abs() < 0.02,
            "{found:?}"
        );
        let [low, high] = found.resonance.band_steps_per_s;
        assert!(low < 0.85 * 210.3 && high > 224.44);
        // 6°/s in steps of 0.3°.
        assert!((found.set[0].steps_per_s - 20.0).abs() < 1e-9);
        assert!(!found.set[0].in_low_band && !found.set[0].passes_through);
    }

    #[test]
    fn a_rate_inside_a_band_is_reported() {
        let mut rig = kittiwake();
        rig.controller.pitch.nudge_rate_mdeg_per_s = 30_000;
        rig.controller.pitch.glide_rate_mdeg_per_s = 62_000;
        let set = rates(&rig, 0).set;
        assert!(set[0].in_low_band && !set[0].in_resonance && set[0].passes_through);
        assert!(!set[1].in_low_band && set[1].in_resonance && set[1].passes_through);
    }

    /// The step generator's fastest is half a microstep a period: 5000 · 0.01875° a second.
    #[test]
    fn the_step_generator_may_be_the_limit() {
        let found = rates(&kittiwake(), 0);
        assert!((found.generator_deg_per_s - 93.75).abs() < 1e-9);
        assert_eq!(found.limited_by, "step generator");
        let mut rig = kittiwake();
        rig.controller.generator_hz = 50_000;
        rig.supply.volts = 8.0;
        assert_eq!(rates(&rig, 0).limited_by, "torque");
    }
}

//! What a drive holds at rest: windings, rotor, gear and trim shaft against the cartridge.

use std::f64::consts::{FRAC_PI_2, PI};

use trimproof_plant::dynamics::TrainParams;
use trimproof_plant::rig::AxisRig;
use trimproof_plant::train_params;

/// Electrical angles at which the torque is looked at before the peak is refined.
const COARSE: u32 = 96;
/// Phases of the driver between two full steps at which its holding torque is looked at, at most.
const PHASES: u32 = 32;

/// The drive of one axis at rest with currents flowing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Statics {
    params: TrainParams,
    microsteps: u32,
    /// Peak of the microstep sinusoid, A.
    amps: f64,
    /// What the supply can drive through one winding, A.
    most_a: f64,
    /// Peak of the motor's torque at its weakest microstep, N·m: looked for once.
    peak_n_m: f64,
}

impl Statics {
    /// The drive of `axis` at a current of `amps`, of which no winding gets more than `most_a`.
    pub(crate) fn new(axis: &AxisRig, amps: f64, most_a: f64) -> Self {
        let mut drive = Self {
            // Nothing is integrated: the substep does not matter.
            params: train_params(axis, 1e-4),
            microsteps: axis.driver.microsteps,
            amps,
            most_a,
            peak_n_m: 0.0,
        };
        drive.peak_n_m = drive.weakest_peak_n_m();
        drive
    }

    /// Torque at the trim shaft at which a slow pull makes the drive slip, N·m: the weakest
    /// microstep, friction helping.
    ///
    /// The rotor is pulled off over the peak of `T(x) = Kt (i_b cos x − i_a sin x) − T_d sin 4x`;
    /// on the way to it the friction of rotor, teeth and shaft resists the pull too (the twin's
    /// law, docs/model/drive.md).
    pub(crate) fn slip_n_m(&self) -> f64 {
        let mesh = (self.peak_n_m + self.params.rotor_friction_n_m) * self.params.ratio;
        mesh * (1.0 + self.params.mesh_loss) + self.params.shaft_friction_n_m
    }

    /// The same without any friction, as when everything vibrates, N·m.
    pub(crate) fn slip_without_friction_n_m(&self) -> f64 {
        self.peak_n_m * self.params.ratio
    }

    fn weakest_peak_n_m(&self) -> f64 {
        let phases = self.microsteps.min(PHASES);
        (0..phases)
            .map(|k| FRAC_PI_2 * (0.5 + f64::from(k) / f64::from(phases)))
            .flat_map(|alpha| [self.peak_at_n_m(alpha, 1.0), self.peak_at_n_m(alpha, -1.0)])
            .fold(f64::INFINITY, f64::min)
    }

    /// Peak of the torque that the motor puts up against a pull in the `sense` ±1 with the driver
    /// at the electrical angle `alpha`, N·m.
    pub(crate) fn peak_at_n_m(&self, alpha: f64, sense: f64) -> f64 {
        let (s, c) = libm::sincos(alpha);
        let current = [self.amps * c, self.amps * s].map(|i| i.clamp(-self.most_a, self.most_a));
        // Pulled forward the rotor comes to x = alpha + phi, and the motor pulls back.
        let against = |phi: f64| -sense * self.motor_n_m(current, alpha + sense * phi);
        let width = PI / f64::from(COARSE);
        let best = (0..=COARSE)
            .map(|k| f64::from(k) * width)
            .max_by(|a, b| against(*a).total_cmp(&against(*b)))
            .unwrap_or(FRAC_PI_2);
        golden(best - width, best + width, &against)
    }

    fn motor_n_m(&self, current: [f64; 2], x: f64) -> f64 {
        let (s, c) = libm::sincos(x);
        self.params.kt_n_m_per_a * (current[1] * c - current[0] * s)
            - self.params.detent_n_m * libm::sin(4.0 * x)
    }

    /// By how much the trim shaft gives under a torque, rad: rotor, teeth, half of the backlash.
    ///
    /// Rotor: θ = (2 θ_M/π) asin(T_L/T_M) with θ_M a full step (textbook form,
    /// docs/model/sources.md).
    pub(crate) fn give_rad(&self, torque_n_m: f64) -> f64 {
        let params = &self.params;
        let share = torque_n_m / self.ideal_n_m();
        let electrical = libm::asin(share.clamp(-1.0, 1.0));
        electrical / (params.rotor_teeth * params.ratio)
            + torque_n_m / params.mesh_n_m_per_rad
            + params.half_backlash_rad
    }

    /// Torque that reaches the cartridge's seat with a stick `deflection_rad` away from the
    /// commanded trim position, N·m, the drive's give taken off; none where the drive slips first.
    /// Friction of the drive is left out.
    pub(crate) fn load_n_m(&self, deflection_rad: f64) -> Option<f64> {
        let deflection = deflection_rad.abs();
        let spring = |torque: f64| {
            let left = deflection - self.give_rad(torque);
            self.params.cartridge.spring_n_m(left.max(0.0))
        };
        let most = self.slip_n_m();
        if spring(most) >= most {
            return None;
        }
        // The spring's torque falls as the drive gives: the two meet once.
        let (mut low, mut high) = (0.0, most);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if spring(middle) > middle {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(0.5 * (low + high))
    }

    /// Torque of the cartridge at a deflection, the drive taken as rigid, N·m, positive number.
    pub(crate) fn spring_n_m(&self, deflection_rad: f64) -> f64 {
        self.params.cartridge.spring_n_m(deflection_rad.abs())
    }

    /// Deflection of the stick from the commanded trim position at which the drive slips in a slow
    /// pull, rad.
    pub(crate) fn slip_deflection_rad(&self) -> f64 {
        let slip = self.slip_n_m();
        let params = &self.params;
        // At the peak the rotor has given one full step; friction carries its share of the torque
        // past the teeth.
        let mesh = (self.peak_n_m + params.rotor_friction_n_m) * params.ratio;
        params.cartridge.deflection_rad(slip)
            + FRAC_PI_2 / (params.rotor_teeth * params.ratio)
            + mesh / params.mesh_n_m_per_rad
            + params.half_backlash_rad
    }

    /// The motor's ideal holding torque at the trim shaft, N·m: no detent, no friction.
    fn ideal_n_m(&self) -> f64 {
        self.params.kt_n_m_per_a * self.amps.min(self.most_a) * self.params.ratio
    }
}

/// Maximum of a function with one hump between `low` and `high`, by golden section.
fn golden(mut low: f64, mut high: f64, of: &dyn Fn(f64) -> f64) -> f64 {
    let share = 0.5 * (5.0_f64.sqrt() - 1.0);
    for _ in 0..40 {
        let width = share * (high - low);
        if of(high - width) > of(low + width) {
            high = low + width;
        } else {
            low = high - width;
        }
    }
    of(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Design;

    fn ideal() -> AxisRig {
        let rig = Design::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap();
        let mut axis = rig.pitch.clone();
        axis.motor.detent_n_m = 0.0;
        axis.motor.friction_n_m = 0.0;
        axis.drive.shaft_friction_n_m = 0.0;
        axis.drive.efficiency = 1.0;
        axis
    }

    /// Torque linear in current, sinusoidal, peak one full step off (Jones, "Stepping motors",
    /// University of Iowa): a motor of 1.26 N·m at 2.8 A in both phases holds 1.26 N·m at a peak of
    /// 2.8·√2 A, half of it at half the current.
    #[test]
    fn ideal_motor_holds_its_rating_and_half_of_it_at_half_current() {
        let axis = ideal();
        let rated = 2.8 * std::f64::consts::SQRT_2;
        for share in [1.0, 0.5] {
            let drive = Statics::new(&axis, share * rated, 1e3);
            assert!((drive.slip_n_m() - share * 1.26 * 6.0).abs() < 1e-9);
            assert!((drive.slip_without_friction_n_m() - share * 1.26 * 6.0).abs() < 1e-9);
        }
    }

    /// Position error under load (textbook form, docs/model/sources.md): at 1.8° full steps, half
    /// load 0.6°, full load 1.8°.
    #[test]
    fn rotor_gives_as_published() {
        let mut axis = ideal();
        axis.drive.backlash_m = 0.0;
        axis.drive.mesh_stiffness_n_per_m = 1e12;
        let drive = Statics::new(&axis, 2.8 * std::f64::consts::SQRT_2, 1e3);
        for (share, published_deg) in [(0.5, 0.6), (1.0, 1.8)] {
            let at_motor = drive.give_rad(share * 1.26 * 6.0).to_degrees() * 6.0;
            assert!((at_motor - published_deg).abs() < 1e-5, "{at_motor}");
        }
    }

    /// Derived: at a driver phase where the detent's peak falls on the motor's, it adds or takes
    /// its whole height.
    #[test]
    fn detent_takes_its_peak_at_the_weakest_phase() {
        let mut axis = ideal();
        axis.motor.detent_n_m = 0.04;
        let drive = Statics::new(&axis, 2.8 * std::f64::consts::SQRT_2, 1e3);
        let eighth = std::f64::consts::FRAC_PI_8;
        assert!((drive.peak_at_n_m(eighth, 1.0) - 1.30).abs() < 1e-9);
        assert!((drive.peak_at_n_m(eighth, -1.0) - 1.22).abs() < 2e-3);
        assert!((drive.peak_n_m - 1.22).abs() < 2e-3);
    }

    /// A winding that the supply cannot fill holds in proportion.
    #[test]
    fn starved_windings_hold_less() {
        let axis = ideal();
        let full = Statics::new(&axis, 3.0, 1e3);
        let starved = Statics::new(&axis, 3.0, 1.5);
        assert!(starved.slip_n_m() < 0.75 * full.slip_n_m());
        assert!(starved.slip_n_m() > 0.45 * full.slip_n_m());
    }

    #[test]
    fn load_and_give_meet() {
        let drive = Statics::new(&ideal(), 3.0, 1e3);
        let deflection = 10.0_f64.to_radians();
        let load = drive.load_n_m(deflection).unwrap();
        let left = deflection - drive.give_rad(load);
        assert!((drive.params.cartridge.spring_n_m(left) - load).abs() < 1e-9);
        assert_eq!(drive.load_n_m(-deflection), Some(load));
        assert_eq!(drive.load_n_m(0.0), Some(drive.load_n_m(0.0).unwrap()));
        assert!(drive.load_n_m(0.0).unwrap() < 1e-9);
        assert_eq!(drive.load_n_m(1.0), None);
    }
}

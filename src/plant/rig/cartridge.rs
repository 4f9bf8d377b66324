//! The gradient cartridge, described by measured figures or by its springs.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::check::{RangeChecker, table};
use crate::spring::CoilSpring;

/// Gradient cartridge as it stands in a rig file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum CartridgeRig {
    /// Breakout and rate as measured on the assembled cartridge.
    Measured(MeasuredCartridge),
    /// Geometry of its springs.
    Springs(SpringCartridge),
}

table! {
    /// A cartridge given by measured figures.
    #[schemars(inline)]
    pub struct MeasuredCartridge {
        /// Torque at which it leaves its seat, all springs together, N·m. Its seats give 2 mrad;
        /// with no breakout that is so much more free play.
        breakout_n_m: f64 = 0.0..=100.0,
        /// Rate beyond the breakout, all springs together, N·m/rad.
        rate_n_m_per_rad: f64 = 0.1..=1000.0,
        /// Half width of the free play, degrees.
        free_play_deg: f64 = 0.0..=5.0,
        /// Deflection from the middle, free play included, at which the coils touch, degrees; above
        /// the free play.
        bind_deg: f64 = 1.0..=180.0,
        /// Damping between stick and trim shaft, N·m·s/rad.
        damping_n_m_s_per_rad: f64 = 0.0..=50.0,
        /// Number of equal springs in parallel.
        springs: u32 = 1..=16,
    }
}

table! {
    /// A cartridge given by its coil springs. Each is caged with a preload and is compressed from
    /// the installed length whichever way the stick goes, on a straight guide, so that its force
    /// acts on a constant arm.
    #[schemars(inline)]
    pub struct SpringCartridge {
        /// Diameter of the wire, m.
        wire_m: f64 = 0.0002..=0.02,
        /// Mean diameter of the coil, m; at least twice the wire.
        coil_m: f64 = 0.001..=0.2,
        /// Active coils.
        active_coils: f64 = 1.0..=100.0,
        /// All coils, the closed ends included; not below the active coils.
        total_coils: f64 = 1.0..=110.0,
        /// Shear modulus of the wire, Pa.
        shear_modulus_pa: f64 = 1e9..=2e11,
        /// Length without load, m.
        free_length_m: f64 = 0.002..=1.0,
        /// Length in the cage with the cartridge at rest, m; above the solid length, not above the
        /// free length.
        installed_length_m: f64 = 0.002..=1.0,
        /// Arm from the axis to the spring's line of force, m.
        arm_m: f64 = 0.002..=0.5,
        /// Number of equal springs in parallel.
        springs: u32 = 1..=16,
        /// Half width of the free play, degrees.
        free_play_deg: f64 = 0.0..=5.0,
        /// Damping between stick and trim shaft, N·m·s/rad.
        damping_n_m_s_per_rad: f64 = 0.0..=50.0,
    }
}

/// What the plant needs of a cartridge, from either description.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cartridge {
    /// Half width of the free play, rad.
    pub free_play_rad: f64,
    /// Torque at which it leaves its seat, all springs together, N·m.
    pub breakout_n_m: f64,
    /// Rate beyond the breakout, all springs together, N·m/rad.
    pub rate_n_m_per_rad: f64,
    /// Deflection from the middle (free play included) at which the coils touch, rad.
    pub bind_rad: f64,
    /// Damping between stick and trim shaft, N·m·s/rad.
    pub damping_n_m_s_per_rad: f64,
    /// Number of equal springs in parallel.
    pub springs: u32,
}

impl Cartridge {
    /// Ideal quasi-static torque magnitude at a deflection magnitude below coil bind: nothing
    /// within the free play, then the breakout, then the rate. `deflection_rad` in rad, the result
    /// in N·m.
    pub fn torque_n_m(&self, deflection_rad: f64) -> f64 {
        let beyond = deflection_rad.abs() - self.free_play_rad;
        if beyond <= 0.0 {
            0.0
        } else {
            self.breakout_n_m + self.rate_n_m_per_rad * beyond
        }
    }

    /// Deflection magnitude at which the torque reaches `torque_n_m`, rad; coil bind if that comes
    /// first.
    pub fn deflection_rad(&self, torque_n_m: f64) -> f64 {
        let beyond = (torque_n_m - self.breakout_n_m).max(0.0) / self.rate_n_m_per_rad;
        (self.free_play_rad + beyond).min(self.bind_rad)
    }

    /// The same cartridge after `count` of its springs have broken: breakout and rate fall in
    /// proportion.
    pub fn with_broken(self, count: u32) -> Self {
        let left = f64::from(self.springs.saturating_sub(count)) / f64::from(self.springs);
        Self {
            breakout_n_m: self.breakout_n_m * left,
            rate_n_m_per_rad: self.rate_n_m_per_rad * left,
            springs: self.springs.saturating_sub(count),
            ..self
        }
    }
}

impl CartridgeRig {
    /// The figures that the plant needs.
    pub fn cartridge(&self) -> Cartridge {
        match self {
            Self::Measured(c) => Cartridge {
                free_play_rad: c.free_play_deg.to_radians(),
                breakout_n_m: c.breakout_n_m,
                rate_n_m_per_rad: c.rate_n_m_per_rad,
                bind_rad: c.bind_deg.to_radians(),
                damping_n_m_s_per_rad: c.damping_n_m_s_per_rad,
                springs: c.springs,
            },
            Self::Springs(c) => {
                let count = f64::from(c.springs);
                let rate_n_per_m = c.spring().rate_n_per_m();
                let free_play_rad = c.free_play_deg.to_radians();
                let preload_n = rate_n_per_m * (c.free_length_m - c.installed_length_m);
                let stroke_m = c.installed_length_m - c.spring().solid_length_m();
                Cartridge {
                    free_play_rad,
                    breakout_n_m: count * preload_n * c.arm_m,
                    rate_n_m_per_rad: count * rate_n_per_m * c.arm_m * c.arm_m,
                    bind_rad: free_play_rad + stroke_m / c.arm_m,
                    damping_n_m_s_per_rad: c.damping_n_m_s_per_rad,
                    springs: c.springs,
                }
            }
        }
    }

    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        match self {
            Self::Measured(c) => {
                c.check_numbers(check);
                let (bind, play) = (c.bind_deg, c.free_play_deg);
                check.require("bind_deg", bind > play, || {
                    format!("is `{bind}`, it must be above the free play `{play}`")
                });
            }
            Self::Springs(c) => c.check(check),
        }
    }
}

impl SpringCartridge {
    /// One of its springs.
    pub fn spring(&self) -> CoilSpring {
        CoilSpring {
            wire_m: self.wire_m,
            coil_m: self.coil_m,
            active_coils: self.active_coils,
            total_coils: self.total_coils,
            shear_modulus_pa: self.shear_modulus_pa,
        }
    }

    /// Shear stress of the wire at a deflection of the cartridge beyond its free play, Pa.
    pub fn stress_pa(&self, beyond_free_play_rad: f64) -> f64 {
        let compressed_m =
            self.free_length_m - self.installed_length_m + self.arm_m * beyond_free_play_rad;
        self.spring()
            .stress_pa(self.spring().rate_n_per_m() * compressed_m)
    }

    fn check(&self, check: &mut RangeChecker<'_>) {
        self.check_numbers(check);
        let (wire, coil) = (self.wire_m, self.coil_m);
        check.require("coil_m", coil >= 2.0 * wire, || {
            format!("is `{coil}`, it must be at least twice the wire, which is `{wire}`")
        });
        let (active, total) = (self.active_coils, self.total_coils);
        check.require("total_coils", total >= active, || {
            format!("is `{total}`, it must not be below `active_coils`, which is `{active}`")
        });
        let (free, installed) = (self.free_length_m, self.installed_length_m);
        let solid = self.spring().solid_length_m();
        check.require("installed_length_m", installed > solid && installed <= free, || {
            format!("is `{installed}`, it must be above the solid length `{solid}` and at most the free length `{free}`")
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn springs(count: u32) -> CartridgeRig {
        CartridgeRig::Springs(SpringCartridge {
            wire_m: 0.002,
            coil_m: 0.016,
            active_coils: 8.0,
            total_coils: 10.0,
            shear_modulus_pa: 79.3e9,
            free_length_m: 0.05,
            installed_length_m: 0.046,
            arm_m: 0.03,
            springs: count,
            free_play_deg: 0.2,
            damping_n_m_s_per_rad: 0.5,
        })
    }

    /// Parallel rates add: every spring takes the same deflection.
    #[test]
    fn parallel_springs_add() {
        let (one, two) = (springs(1).cartridge(), springs(2).cartridge());
        assert_eq!(two.breakout_n_m, 2.0 * one.breakout_n_m);
        assert_eq!(two.rate_n_m_per_rad, 2.0 * one.rate_n_m_per_rad);
        assert_eq!(two.bind_rad, one.bind_rad);
    }

    /// By hand: k = 79.3e9·(2e-3)^4/(8·8·(16e-3)^3) = 4840.09 N/m; breakout k·4 mm·30 mm; rate
    /// k·(30 mm)²; solid 20 mm, so 26 mm of stroke on a 30 mm arm.
    #[test]
    fn geometry_gives_breakout_rate_and_bind() {
        let c = springs(1).cartridge();
        assert!((c.breakout_n_m - 0.580_811).abs() < 1e-6);
        assert!((c.rate_n_m_per_rad - 4.356_079).abs() < 1e-6);
        assert!((c.bind_rad - (0.2_f64.to_radians() + 0.026 / 0.03)).abs() < 1e-12);
    }

    #[test]
    fn torque_and_deflection_are_inverse_beyond_the_breakout() {
        let c = springs(2).cartridge();
        assert_eq!(c.torque_n_m(0.9 * c.free_play_rad), 0.0);
        for deflection in [0.01, 0.1, -0.5] {
            assert!((c.deflection_rad(c.torque_n_m(deflection)) - deflection.abs()).abs() < 1e-12);
        }
        assert_eq!(c.deflection_rad(1e3), c.bind_rad);
    }

    #[test]
    fn a_broken_spring_takes_its_share() {
        let whole = springs(2).cartridge();
        let half = whole.with_broken(1);
        assert_eq!(half.breakout_n_m, springs(1).cartridge().breakout_n_m);
        assert_eq!(
            half.rate_n_m_per_rad,
            springs(1).cartridge().rate_n_m_per_rad
        );
        assert_eq!(whole.with_broken(3).torque_n_m(0.3), 0.0);
    }

    /// By hand: 0.1 rad on 30 mm compress by 3 mm more than the 4 mm of the installed length;
    /// 4840.09 N/m make 33.881 N, and 8 · 33.881 N · 16 mm/(π (2 mm)³) is 172.55 MPa.
    #[test]
    fn a_wire_is_strained_by_preload_and_deflection() {
        let CartridgeRig::Springs(cartridge) = springs(1) else {
            panic!("it has springs")
        };
        let stress_pa = cartridge.stress_pa(0.1);
        assert!((stress_pa / 1e6 - 172.55).abs() < 0.01, "{stress_pa}");
    }
}

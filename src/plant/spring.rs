//! Cylindrical coil springs of round wire.

use std::f64::consts::PI;

/// A cylindrical coil spring of round wire with closed ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoilSpring {
    /// Diameter of the wire, m.
    pub wire_m: f64,
    /// Mean diameter of the coil, m.
    pub coil_m: f64,
    /// Active coils.
    pub active_coils: f64,
    /// All coils, the closed ends included.
    pub total_coils: f64,
    /// Shear modulus of the wire, Pa.
    pub shear_modulus_pa: f64,
}

impl CoilSpring {
    /// Rate k = G d⁴ / (8 n D³), N/m (textbook form, docs/model/sources.md).
    pub fn rate_n_per_m(&self) -> f64 {
        let d2 = self.wire_m * self.wire_m;
        let d3 = self.coil_m * self.coil_m * self.coil_m;
        self.shear_modulus_pa * d2 * d2 / (8.0 * self.active_coils * d3)
    }

    /// Shear stress τ = 8 F D / (π d³) at a force in N, Pa, without curvature correction (textbook
    /// form).
    pub fn stress_pa(&self, force_n: f64) -> f64 {
        8.0 * force_n * self.coil_m / (PI * self.wire_m * self.wire_m * self.wire_m)
    }

    /// Length with all coils touching, m: total coils times wire (closed and ground ends).
    pub fn solid_length_m(&self) -> f64 {
        self.total_coils * self.wire_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example (docs/model/sources.md): d 4 mm, outside 30 mm, 11 coils of which 2 inactive,
    /// G 79.3 GPa → 16.042 N/mm.
    #[test]
    fn first_published_spring() {
        let spring = CoilSpring {
            wire_m: 0.004,
            coil_m: 0.026,
            active_coils: 9.0,
            total_coils: 11.0,
            shear_modulus_pa: 79.3e9,
        };
        assert!((spring.rate_n_per_m() / 1000.0 - 16.042).abs() < 0.0005);
        assert!((spring.solid_length_m() - 0.044).abs() < 1e-15);
    }

    /// Worked example (docs/model/sources.md): wire radius 1 mm, coil radius 60 mm, n 8, G 78 GPa →
    /// 11.285 N/m.
    #[test]
    fn second_published_spring() {
        let spring = CoilSpring {
            wire_m: 0.002,
            coil_m: 0.12,
            active_coils: 8.0,
            total_coils: 8.0,
            shear_modulus_pa: 78e9,
        };
        assert!((spring.rate_n_per_m() - 11.285).abs() < 0.0005);
    }

    /// Derived: the stress of a torsion bar of the same wire under F·D/2, T r/J with J = π d⁴/32.
    #[test]
    fn stress_is_that_of_the_twisted_wire() {
        let spring = CoilSpring {
            wire_m: 0.0025,
            coil_m: 0.016,
            active_coils: 8.0,
            total_coils: 10.0,
            shear_modulus_pa: 79.3e9,
        };
        let force_n = 120.0;
        let polar = PI * libm::pow(0.0025, 4.0) / 32.0;
        let expected = force_n * 0.016 / 2.0 * 0.00125 / polar;
        assert!((spring.stress_pa(force_n) / expected - 1.0).abs() < 1e-12);
    }
}

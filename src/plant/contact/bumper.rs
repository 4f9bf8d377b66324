//! The bumper law: a linear spring with a dashpot that never pulls.

/// Stiffness and damping of one stop or obstacle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BumperLaw {
    stiffness_n_per_m: f64,
    damping_ratio: f64,
}

impl BumperLaw {
    /// A bumper of the given stiffness that throws a body back with `restitution` (0 < e ≤ 1) of its speed.
    pub fn new(stiffness_n_per_m: f64, restitution: f64) -> Self {
        Self { stiffness_n_per_m, damping_ratio: damping_ratio(restitution) }
    }

    /// Force, N, at a penetration and a closing speed; `yielding` is the inverse of the mass felt at the contact, 1/kg.
    ///
    /// The dashpot is c = 2 ζ √(k m) with the mass felt, so that the restitution holds wherever the contact lies.
    #[inline]
    pub fn force_n(&self, penetration_m: f64, closing_m_per_s: f64, yielding: f64) -> f64 {
        let damping = 2.0 * self.damping_ratio * (self.stiffness_n_per_m / yielding).sqrt();
        (self.stiffness_n_per_m * penetration_m + damping * closing_m_per_s).max(0.0)
    }
}

/// Damping ratio ζ of a linear dashpot without pull that gives a restitution, by bisection.
///
/// With x'' + 2ζω x' + ω² x = 0, x(0) = 0, x'(0) = v the force falls to zero at the time t₁ where
/// 2ζ x' + ω x = 0, and the speed then is e = exp(−ζ φ / √(1−ζ²)), φ = atan2(2ζ√(1−ζ²), 2ζ² − 1)
/// (derived in docs/model/stops.md; the body leaves where the force, not the penetration, is zero).
pub fn damping_ratio(restitution: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0 - 1e-12);
    for _ in 0..80 {
        let mid = 0.5 * (low + high);
        if restitution_of(mid) > restitution { low = mid } else { high = mid }
    }
    0.5 * (low + high)
}

/// Restitution that a damping ratio below one gives.
pub(crate) fn restitution_of(zeta: f64) -> f64 {
    let root = (1.0 - zeta * zeta).sqrt();
    let angle = libm::atan2(2.0 * zeta * root, 2.0 * zeta * zeta - 1.0);
    libm::exp(-zeta / root * angle)
}

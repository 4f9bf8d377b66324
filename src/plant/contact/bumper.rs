//! The bumper law: a linear spring with a dashpot that never pulls.

use crate::dynamics::damper_weight;

/// Stiffness of a buffer that is pressed solid, with the mounting behind it, N/m (estimate, no source): at least this,
/// whatever the buffer. Steel pins alone are a hundred times stiffer; the frame that holds them is not.
pub const SOLID_N_PER_M: f64 = 2.0e6;

/// Stiffness and damping of one stop or obstacle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BumperLaw {
    stiffness_n_per_m: f64,
    damping_ratio: f64,
    /// Depth at which the buffer is pressed solid, m; infinite: never.
    travel_m: f64,
    /// What is added to the stiffness beyond the travel, N/m.
    stiffening_n_per_m: f64,
}

impl BumperLaw {
    /// A bumper of the given stiffness that throws a body back with `restitution` (0 < e ≤ 1) of its speed.
    pub fn new(stiffness_n_per_m: f64, restitution: f64) -> Self {
        Self {
            stiffness_n_per_m,
            damping_ratio: damping_ratio(restitution),
            travel_m: f64::INFINITY,
            stiffening_n_per_m: 0.0,
        }
    }

    /// The same bumper, pressed solid at the depth `travel_m`: beyond it, it is as stiff as [`SOLID_N_PER_M`].
    pub fn solid_beyond(self, travel_m: f64) -> Self {
        Self {
            travel_m,
            stiffening_n_per_m: (SOLID_N_PER_M - self.stiffness_n_per_m).max(0.0),
            ..self
        }
    }

    /// Force of the spring alone, N, at a depth of 0 or more, m.
    #[inline]
    pub fn spring_n(&self, depth_m: f64) -> f64 {
        self.stiffness_n_per_m * depth_m
            + self.stiffening_n_per_m * (depth_m - self.travel_m).max(0.0)
    }

    /// Depth at which the spring alone presses with `force_n`, m: the inverse of [`Self::spring_n`].
    pub fn depth_m(&self, force_n: f64) -> f64 {
        let soft_m = force_n / self.stiffness_n_per_m;
        if soft_m <= self.travel_m {
            soft_m
        } else {
            let left_n = force_n - self.stiffness_n_per_m * self.travel_m;
            self.travel_m + left_n / (self.stiffness_n_per_m + self.stiffening_n_per_m)
        }
    }

    /// Mean force over a step, N, at the mid-step penetration (negative: a gap); `yielding` is the inverse of the mass
    /// felt at the contact, 1/kg, and `closing_m_per_s` the mid-step closing speed that the stick would have without this
    /// force.
    ///
    /// The dashpot is implicit: it feels the closing speed that its own force leaves, so that it cannot blow up
    /// (`damper_weight`).
    ///
    /// The dashpot is c = 2 ζ √(k m) with the mass felt, so that the restitution holds wherever the contact lies. Its
    /// force jumps from zero as the bodies meet; so in the step in which they meet, the force counts from that
    /// instant on. Taken at mid-step only, the meeting would be half a step wrong, an error of first order.
    #[inline]
    pub fn force_n(
        &self,
        penetration_m: f64,
        closing_m_per_s: f64,
        yielding: f64,
        step_s: f64,
    ) -> f64 {
        let damping = 2.0 * self.damping_ratio * (self.stiffness_n_per_m / yielding).sqrt();
        // Step times damping against the mass: what the dashpot takes of the speed in this step.
        let drag = step_s * damping * yielding;
        let left = 1.0 + damper_weight(drag, 1.0) * drag;
        let way = 0.5 * step_s * closing_m_per_s;
        if way > penetration_m.abs() {
            // They meet within this step: share of it in contact, and the mean penetration over that share.
            let end = penetration_m + way;
            let share = 0.5 * end / way;
            let left = 1.0 + share * (left - 1.0);
            return share * (0.5 * self.stiffness_n_per_m * end + damping * closing_m_per_s) / left;
        }
        if penetration_m <= 0.0 {
            return 0.0;
        }
        ((self.spring_n(penetration_m) + damping * closing_m_per_s) / left).max(0.0)
    }
}

/// Largest damping ratio: a restitution of 0.004, below which bodies count as not thrown back at all.
const LARGEST_RATIO: f64 = 8.0;

/// Damping ratio ζ of a linear dashpot without pull that gives a restitution, by bisection.
///
/// With x'' + 2ζω x' + ω² x = 0, x(0) = 0, x'(0) = v the force falls to zero at the time t₁ where
/// 2ζ x' + ω x = 0, and the speed then is e = exp(−2 ζ acos ζ / √(1−ζ²)), beyond ζ = 1
/// exp(−2 ζ acosh ζ / √(ζ²−1)) (derived in docs/model/stops.md; the body leaves where the force, not the
/// penetration, is zero).
pub fn damping_ratio(restitution: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, LARGEST_RATIO);
    for _ in 0..80 {
        let mid = 0.5 * (low + high);
        if restitution_of(mid) > restitution {
            low = mid
        } else {
            high = mid
        }
    }
    0.5 * (low + high)
}

/// Restitution that a damping ratio gives.
fn restitution_of(zeta: f64) -> f64 {
    let past = zeta * zeta - 1.0;
    let angle_by_root = if past.abs() < 1e-12 {
        1.0
    } else if past < 0.0 {
        libm::acos(zeta) / (-past).sqrt()
    } else {
        libm::acosh(zeta) / past.sqrt()
    };
    libm::exp(-2.0 * zeta * angle_by_root)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A body of 0.1 kg that presses a bumper at 0.5 m/s: whatever the step, the dashpot takes speed and turns none, so the
    /// momentum that it takes in a step is at most all there is.
    #[test]
    fn no_dashpot_takes_more_than_the_speed_there_is() {
        for stiffness in [1e3, 1e6] {
            for restitution in [0.0, 0.3, 1.0] {
                for step_s in [1e-6, 1e-4, 1e-2] {
                    let law = BumperLaw::new(stiffness, restitution);
                    let force = law.force_n(0.0, -1e-9, 10.0, step_s);
                    assert_eq!(force, 0.0, "nothing is pulled");
                    // Already in contact, without penetration worth a force.
                    let force = law.force_n(1e-12 + 0.5 * step_s * 0.5, 0.5, 10.0, step_s);
                    let spring = stiffness * 0.5 * step_s * 0.5;
                    let taken = (force - spring) * step_s * 10.0;
                    assert!(
                        taken <= 0.5 + 1e-9,
                        "{stiffness}, {restitution}, {step_s}: {taken} m/s of 0.5"
                    );
                }
            }
        }
    }
}

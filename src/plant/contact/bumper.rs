//! The bumper law: a linear spring with a dashpot that never pulls.

use crate::dynamics::damper_weight;

/// Stiffness of a buffer that is pressed solid, with the mounting behind it, N/m (estimate, no
/// source): at least this, whatever the buffer. Steel pins alone are a hundred times stiffer; the
/// frame that holds them is not.
pub const SOLID_N_PER_M: f64 = 2.0e6;

/// Stiffness and damping of one stop or obstacle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BumperParams {
    stiffness_n_per_m: f64,
    damping_ratio: f64,
    /// Depth at which the buffer is pressed solid, m; infinite: never.
    travel_m: f64,
    /// What is added to the stiffness beyond the travel, N/m.
    stiffening_n_per_m: f64,
}

impl BumperParams {
    /// A bumper of the given stiffness that throws a body back with `restitution` (0 < e ≤ 1) of
    /// its speed.
    pub fn new(stiffness_n_per_m: f64, restitution: f64) -> Self {
        Self {
            stiffness_n_per_m,
            damping_ratio: damping_ratio(restitution),
            travel_m: f64::INFINITY,
            stiffening_n_per_m: 0.0,
        }
    }

    /// The same bumper, pressed solid at the depth `travel_m`: beyond it, it is as stiff as
    /// [`SOLID_N_PER_M`].
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

    /// Depth at which the spring alone presses with `force_n`, m: the inverse of
    /// [`Self::spring_n`].
    pub fn depth_m(&self, force_n: f64) -> f64 {
        let soft_m = force_n / self.stiffness_n_per_m;
        if soft_m <= self.travel_m {
            soft_m
        } else {
            let left_n = force_n - self.stiffness_n_per_m * self.travel_m;
            self.travel_m + left_n / (self.stiffness_n_per_m + self.stiffening_n_per_m)
        }
    }

    /// Largest stiffness that a force of `force_n` meets, N/m.
    pub fn stiffest_n_per_m(&self, force_n: f64) -> f64 {
        if force_n > self.stiffness_n_per_m * self.travel_m {
            self.stiffness_n_per_m + self.stiffening_n_per_m
        } else {
            self.stiffness_n_per_m
        }
    }

    /// Mean force over a step, N, at the mid-step penetration (negative: a gap); `yielding` is the
    /// inverse of the mass felt at the contact, 1/kg, and `closing_m_per_s` the mid-step closing
    /// speed that the stick would have without this force.
    ///
    /// The dashpot is implicit: it feels the closing speed that its own force leaves, so that it
    /// cannot blow up (`damper_weight`).
    ///
    /// The dashpot is c = 2 ζ √(k m) with the mass felt, so that the restitution holds wherever the
    /// contact lies. Its force jumps from zero as the bodies meet; so in the step in which they
    /// meet, the force counts from that instant on. Taken at mid-step only, the meeting would be
    /// half a step wrong, an error of first order. Likewise where the buffer's travel ends, and
    /// where the dashpot would pull: the mean is that of the force's straight pieces.
    ///
    /// With the force comes the share of the step that has gone before they meet.
    #[inline]
    pub fn force_n(
        &self,
        penetration_m: f64,
        closing_m_per_s: f64,
        yielding: f64,
        step_s: f64,
    ) -> (f64, f64) {
        let damping = 2.0 * self.damping_ratio * (self.stiffness_n_per_m / yielding).sqrt();
        // Step times damping against the mass: what the dashpot takes of the speed in this step.
        let drag = step_s * damping * yielding;
        let left = 1.0 + damper_weight(drag, 1.0) * drag;
        let dash_n = damping * closing_m_per_s;
        let reach = (0.5 * step_s * closing_m_per_s).abs();
        let (low, high) = (penetration_m - reach, penetration_m + reach);
        if high <= 0.0 {
            return (0.0, 0.0);
        }
        let is_solid = low >= self.travel_m;
        if low >= 0.0 && (is_solid || high <= self.travel_m) {
            let slope = self.stiffness_n_per_m
                + if is_solid {
                    self.stiffening_n_per_m
                } else {
                    0.0
                };
            let mid_n = self.spring_n(penetration_m) + dash_n;
            if mid_n >= slope * reach {
                return (mid_n / left, 0.0);
            }
        }
        let mut sum = Pressing::default();
        for (from, to) in [
            (low.max(0.0), high.min(self.travel_m)),
            (low.max(self.travel_m), high),
        ] {
            if from < to {
                let share = (to - from) / (2.0 * reach);
                sum.add(
                    share,
                    self.spring_n(from) + dash_n,
                    self.spring_n(to) + dash_n,
                );
            }
        }
        let left = 1.0 + sum.share * (left - 1.0);
        let gone = if closing_m_per_s > 0.0 && low < 0.0 {
            -low / (2.0 * reach)
        } else {
            0.0
        };
        (sum.mean_n / left, gone)
    }
}

/// What the parts of a step add up to: the share in which the force presses, and its mean over the
/// step.
#[derive(Default)]
struct Pressing {
    share: f64,
    mean_n: f64,
}

impl Pressing {
    /// Adds a part of the step, `share` of it, in which the force goes in a straight line between
    /// both ends; where it would pull, it is nothing.
    fn add(&mut self, share: f64, a_n: f64, b_n: f64) {
        let (least, most) = (a_n.min(b_n), a_n.max(b_n));
        if least >= 0.0 {
            self.share += share;
            self.mean_n += 0.5 * share * (least + most);
        } else if most > 0.0 {
            let presses = share * most / (most - least);
            self.share += presses;
            self.mean_n += 0.5 * presses * most;
        }
    }
}

/// Largest damping ratio: a restitution of 0.004, below which bodies count as not thrown back at
/// all.
const LARGEST_RATIO: f64 = 8.0;

/// Damping ratio ζ of a linear dashpot without pull that gives a restitution, by bisection.
///
/// With x'' + 2ζω x' + ω² x = 0, x(0) = 0, x'(0) = v the force falls to zero at the time t₁ where
/// 2ζ x' + ω x = 0, and the speed then is e = exp(−2 ζ acos ζ / √(1−ζ²)), beyond ζ = 1 exp(−2 ζ
/// acosh ζ / √(ζ²−1)) (derived in docs/model/stops.md; the body leaves where the force, not the
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

    /// Without a dashpot the mean over a step is that of the spring along the way: before and after
    /// meeting, through the end of the buffer's travel, and out again. Midpoints of 1000 parts are
    /// off by a thousandth of a part's force.
    #[test]
    fn the_mean_force_is_that_of_the_spring_along_the_way() {
        let params = BumperParams::new(1.0e4, 1.0).solid_beyond(2.0e-3);
        let step_s = 1.0e-4;
        for depth_m in [-3e-5, -1e-5, 2e-5, 1.0e-3, 1.97e-3, 2.0e-3, 2.02e-3, 2.5e-3] {
            for closing in [0.9, -0.9, 0.2, -0.2] {
                let (mean, _) = params.force_n(depth_m, closing, 1e-9, step_s);
                let parts = (0..1000).map(|k| (f64::from(k) + 0.5) / 1000.0 - 0.5);
                let along: f64 = parts
                    .map(|at| params.spring_n((depth_m + at * step_s * closing).max(0.0)))
                    .sum::<f64>()
                    / 1000.0;
                assert!(
                    (mean - along).abs() <= 2e-3 + 1e-6 * along,
                    "{depth_m} m, {closing} m/s: {mean} N for {along} N"
                );
            }
        }
    }

    /// A dashpot that would pull lets go within the step: k p + c v along the way is zero from then
    /// on.
    #[test]
    fn a_dashpot_lets_go_within_the_step() {
        let params = BumperParams::new(1.0e5, 0.2);
        let (step_s, yielding, closing) = (1.0e-4, 1e-6, -0.8);
        let damping = 2.0 * damping_ratio(0.2) * (1.0e5_f64 / yielding).sqrt();
        let at_zero_m = -damping * closing / 1.0e5;
        for off_m in [-2e-5, 0.0, 2e-5] {
            let depth_m = at_zero_m + off_m;
            let (mean, gone) = params.force_n(depth_m, closing, yielding, step_s);
            let along: f64 = (0..1000)
                .map(|k| depth_m + ((f64::from(k) + 0.5) / 1000.0 - 0.5) * step_s * closing)
                .map(|depth_m| (1.0e5 * depth_m + damping * closing).max(0.0))
                .sum::<f64>()
                / 1000.0;
            // What the dashpot takes of the speed in a step is 2 ζ ω h, here some thousandths.
            assert!(
                (mean / along - 1.0).abs() < 0.01,
                "{off_m}: {mean} N for {along} N"
            );
            assert_eq!(gone, 0.0);
        }
    }

    /// The same of a buffer that is pressed solid, where the spring is as stiff as what holds it.
    #[test]
    fn a_solid_buffer_lets_go_within_the_step() {
        let params = BumperParams::new(1.0e4, 0.2).solid_beyond(1.0e-3);
        let (step_s, yielding, depth_m) = (1.0e-4, 1e-6, 1.5e-3);
        let damping = 2.0 * damping_ratio(0.2) * (1.0e4_f64 / yielding).sqrt();
        // 1e4 N/m over 1.5 mm and what is missing to SOLID_N_PER_M over 0.5 mm, against the
        // dashpot.
        let closing = -(15.0 + 1.99e6 * 0.5e-3) / damping;
        let swing_m = 0.5 * step_s * closing.abs();
        for off_m in [-0.5 * swing_m, 0.0, 0.5 * swing_m] {
            let (mean, gone) = params.force_n(depth_m + off_m, closing, yielding, step_s);
            let along: f64 = (0..1000)
                .map(|k| off_m + ((f64::from(k) + 0.5) / 1000.0 - 0.5) * step_s * closing)
                .map(|off_m| (SOLID_N_PER_M * off_m).max(0.0))
                .sum::<f64>()
                / 1000.0;
            assert!(
                along > 0.01 && (mean / along - 1.0).abs() < 0.01,
                "{off_m}: {mean} N for {along} N"
            );
            assert_eq!(gone, 0.0);
        }
    }

    /// In the step of meeting the force acts from then on.
    #[test]
    fn the_share_before_meeting_is_given() {
        let params = BumperParams::new(1.0e5, 0.5);
        // 0.1 mm a step, at mid-step 0.02 mm short: met after 0.7 of it.
        let (_, gone) = params.force_n(-2e-5, 1.0, 1.0, 1e-4);
        assert!((gone - 0.7).abs() < 1e-12, "{gone}");
    }

    /// A body of 0.1 kg that presses a bumper at 0.5 m/s: whatever the step, the dashpot takes
    /// speed and turns none, so the momentum that it takes in a step is at most all there is.
    #[test]
    fn no_dashpot_takes_more_than_the_speed_there_is() {
        for stiffness in [1e3, 1e6] {
            for restitution in [0.0, 0.3, 1.0] {
                for step_s in [1e-6, 1e-4, 1e-2] {
                    let params = BumperParams::new(stiffness, restitution);
                    let (force, _) = params.force_n(0.0, -1e-9, 10.0, step_s);
                    // In the first half of the step the spring was still pressed, by half the way.
                    let pressed_n = stiffness * 0.5 * step_s * 1e-9;
                    assert!(
                        (0.0..=pressed_n).contains(&force),
                        "nothing is pulled: {force}"
                    );
                    // Already in contact, without penetration worth a force.
                    let (force, _) = params.force_n(1e-12 + 0.5 * step_s * 0.5, 0.5, 10.0, step_s);
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

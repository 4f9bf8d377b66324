//! Dry friction of both pivots over one step, with the instants at which a pivot stops, turns or
//! breaks away.
//!
//! Within a step the forces are constant, so that rates are straight lines in time as long as no
//! pivot changes between sliding and resting. Where one does, the step is cut there.
//! docs/model/stick.md derives it.

/// Most changes of a pivot within a step that are followed; two pivots that stop and go on are
/// four.
const MOST_CHANGES: usize = 4;

/// Friction of one pivot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DryFriction {
    /// Friction while sliding, N·m.
    pub coulomb_n_m: f64,
    /// Largest friction while at rest, N·m; at least `coulomb_n_m`.
    pub stiction_n_m: f64,
    /// Viscous part, N·m·s/rad.
    pub viscous_n_m_s_per_rad: f64,
}

/// Impulses of friction that held a resting pivot in the last step and in the one before, N·m·s.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Held {
    /// Last step.
    pub last_nms: f64,
    /// The step before.
    pub before_nms: f64,
}

impl Held {
    /// After one more step at rest.
    #[inline]
    pub(super) fn and_then(self, impulse_nms: f64) -> Self {
        Self {
            last_nms: impulse_nms,
            before_nms: self.last_nms,
        }
    }
}

/// One step of both pivots, seen from their dry friction.
pub(super) struct Slide<'a> {
    pub friction: &'a [DryFriction; 2],
    /// Rates at the beginning, rad/s.
    pub rate: [f64; 2],
    /// By how much all but dry friction changes them in the whole step, rad/s.
    pub change: [f64; 2],
    /// Inverse of the mass matrix with the implicit dampers.
    pub inverse: [f64; 3],
    pub step_s: f64,
    /// What held the pivots that rest at the beginning.
    pub held: [Held; 2],
}

/// A pivot within a step.
#[derive(Clone, Copy)]
enum Pivot {
    Rests,
    /// In the direction of the sign, against this impulse of friction in a whole step, N·m·s.
    Slides(f64, f64),
}

impl Slide<'_> {
    /// Rates at the end, which pivots rest then and what held them, from those that rest at the
    /// beginning.
    #[cold]
    #[inline(never)]
    pub fn cut(&self, stuck: [bool; 2]) -> ([f64; 2], [bool; 2], [Held; 2]) {
        let mut rate = self.rate;
        let mut pivots: [Pivot; 2] = std::array::from_fn(|i| {
            if stuck[i] {
                Pivot::Rests
            } else {
                Pivot::Slides(1.0_f64.copysign(rate[i]), self.largest_nms(i).0)
            }
        });
        let mut left = 1.0;
        let mut impulse = [0.0; 2];
        for change in 0..=MOST_CHANGES {
            impulse = self.hold(&mut pivots, left == 1.0);
            let end = self.end(rate, left, impulse);
            // The first pivot that comes to rest on the way.
            let mut first = None;
            for i in 0..2 {
                let Pivot::Slides(side, _) = pivots[i] else {
                    continue;
                };
                if rate[i] * side > 0.0 && end[i] * side <= 0.0 {
                    let share = rate[i] / (rate[i] - end[i]);
                    if first.is_none_or(|(_, least)| share < least) {
                        first = Some((i, share));
                    }
                }
            }
            let Some((i, share)) = first.filter(|_| change < MOST_CHANGES) else {
                rate = end;
                break;
            };
            rate = self.end(rate, share * left, impulse);
            rate[i] = 0.0;
            pivots[i] = Pivot::Rests;
            left *= 1.0 - share;
        }
        let mut rests = [false; 2];
        let mut held = [Held::default(); 2];
        for i in 0..2 {
            if matches!(pivots[i], Pivot::Rests) && self.friction[i].stiction_n_m > 0.0 {
                rests[i] = true;
                rate[i] = 0.0;
                held[i] = if stuck[i] {
                    self.held[i].and_then(impulse[i])
                } else {
                    Held {
                        last_nms: impulse[i],
                        before_nms: impulse[i],
                    }
                };
            }
        }
        (rate, rests, held)
    }

    /// Coulomb friction's and stiction's impulse in a whole step, N·m·s.
    fn largest_nms(&self, i: usize) -> (f64, f64) {
        let friction = &self.friction[i];
        (
            self.step_s * friction.coulomb_n_m,
            self.step_s * friction.stiction_n_m,
        )
    }

    /// Rates after the share `share` of the step under its forces and these impulses of friction
    /// (of a whole step).
    fn end(&self, rate: [f64; 2], share: f64, impulse: [f64; 2]) -> [f64; 2] {
        let inv = &self.inverse;
        [
            rate[0] + share * (self.change[0] + inv[0] * impulse[0] + inv[1] * impulse[1]),
            rate[1] + share * (self.change[1] + inv[1] * impulse[0] + inv[2] * impulse[1]),
        ]
    }

    /// Impulses of friction in a whole step; a resting pivot that cannot be held is set sliding.
    fn hold(&self, pivots: &mut [Pivot; 2], is_whole: bool) -> [f64; 2] {
        loop {
            let impulse = self.balance(pivots);
            // The one that is farthest beyond its stiction gives way first.
            let beyond = |i: usize| match pivots[i] {
                Pivot::Rests => impulse[i].abs() - self.largest_nms(i).1,
                Pivot::Slides(..) => f64::NEG_INFINITY,
            };
            let i = usize::from(beyond(1) > beyond(0));
            if beyond(i) <= 0.0 {
                return impulse;
            }
            let against = if is_whole {
                self.breaking_away_nms(i, impulse[i])
            } else {
                self.largest_nms(i).0
            };
            // Friction would have had to push one way: the pivot goes the other.
            pivots[i] = Pivot::Slides(-1.0_f64.copysign(impulse[i]), against);
        }
    }

    /// Impulses of friction in a whole step that keep the resting pivots at rest while the others
    /// slide.
    fn balance(&self, pivots: &[Pivot; 2]) -> [f64; 2] {
        let inv = &self.inverse;
        let change = &self.change;
        let sliding = |pivot: Pivot| match pivot {
            Pivot::Slides(side, against) => Some(-side * against),
            Pivot::Rests => None,
        };
        match pivots.map(sliding) {
            [Some(a), Some(b)] => [a, b],
            [Some(a), None] => [a, -(change[1] + inv[1] * a) / inv[2]],
            [None, Some(b)] => [-(change[0] + inv[1] * b) / inv[0], b],
            [None, None] => {
                let per_det = 1.0 / (inv[0] * inv[2] - inv[1] * inv[1]);
                [
                    -(inv[2] * change[0] - inv[1] * change[1]) * per_det,
                    -(inv[0] * change[1] - inv[1] * change[0]) * per_det,
                ]
            }
        }
    }

    /// Impulse of friction in the step in which a pivot breaks away that rested at its beginning;
    /// `needed_nms` would have held it.
    ///
    /// Friction falls from stiction to Coulomb's at the instant at which the load passes stiction:
    /// by a straight line through the loads at the middles of the last step and this one. It may
    /// lie in the second half of the last step, if the loads of the last two steps lead there; what
    /// was missed then is made up for.
    fn breaking_away_nms(&self, i: usize, needed_nms: f64) -> f64 {
        let (coulomb, stiction) = self.largest_nms(i);
        let side = 1.0_f64.copysign(needed_nms);
        let over = side * needed_nms - stiction;
        let Held {
            last_nms,
            before_nms,
        } = self.held[i];
        let under = stiction - side * last_nms;
        // Share of a step since the instant, at the end of this one.
        let since = 0.5 + over / (over + under.max(0.0)).max(f64::MIN_POSITIVE);
        let at_start = side * (1.5 * last_nms - 0.5 * before_nms);
        let since = if at_start < stiction {
            since.min(1.0)
        } else {
            since
        };
        stiction - (stiction - coulomb) * since
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INERTIA: f64 = 0.05;
    const STEP_S: f64 = 1.0e-4;

    fn friction(coulomb_n_m: f64, stiction_n_m: f64) -> [DryFriction; 2] {
        [DryFriction {
            coulomb_n_m,
            stiction_n_m,
            viscous_n_m_s_per_rad: 0.0,
        }; 2]
    }

    /// One pivot at `rate` under `torque_n_m`; the other rests.
    fn cut(friction: &[DryFriction; 2], rate: f64, torque_n_m: f64) -> (f64, bool) {
        let slide = Slide {
            friction,
            rate: [rate, 0.0],
            change: [STEP_S * torque_n_m / INERTIA, 0.0],
            inverse: [1.0 / INERTIA, 0.0, 1.0 / INERTIA],
            step_s: STEP_S,
            held: [Held::default(); 2],
        };
        let (rate, stuck, _) = slide.cut([false, true]);
        assert_eq!((rate[1], stuck[1]), (0.0, true));
        (rate[0], stuck[0])
    }

    /// Slowed by F + T till it stops at v J/(F + T), then sped up by F − T.
    #[test]
    fn a_pivot_that_turns_has_friction_on_either_side_of_its_stop() {
        let (torque, coulomb) = (-3.0, 1.0);
        for part in [0.1, 0.5, 0.9] {
            let before = part * STEP_S * 4.0 / INERTIA;
            let (after, stuck) = cut(&friction(coulomb, coulomb), before, torque);
            let expected = -2.0 / INERTIA * (1.0 - part) * STEP_S;
            assert!(
                (after - expected).abs() < 1e-15,
                "{part}: {after} for {expected}"
            );
            assert!(!stuck);
        }
    }

    /// Between Coulomb friction and stiction a pivot that comes to a stop stays there, whenever in
    /// the step that is.
    #[test]
    fn a_pivot_that_stops_is_held_by_stiction() {
        for part in [0.01, 0.3, 0.7, 0.99] {
            let before = part * STEP_S * 4.0 / INERTIA;
            assert_eq!(
                cut(&friction(1.0, 3.5), before, -3.0),
                (0.0, true),
                "{part}"
            );
        }
    }

    /// A load that rises at `r` passes stiction at t: v = ((Ts − Tc) (end − t) + r (end − t)²/2)/J.
    /// Loads at mid-step are off by r h²/8 at most; with friction that falls at the end of a step
    /// only, (Ts − Tc) h would be missed.
    #[test]
    fn a_pivot_breaks_away_when_its_load_passes_stiction() {
        let friction = friction(0.2, 0.5);
        let rise = 40.0;
        for phase in 0..10 {
            let at_s = (20.0 + f64::from(phase) / 10.0) * STEP_S;
            let load = |t: f64| 0.5 + rise * (t - at_s);
            let mut held = [Held::default(); 2];
            let mut rate = [0.0; 2];
            let mut stuck = [true; 2];
            for step in 0..30 {
                let mid_s = (f64::from(step) + 0.5) * STEP_S;
                let slide = Slide {
                    friction: &friction,
                    rate,
                    change: [STEP_S * load(mid_s) / INERTIA, 0.0],
                    inverse: [1.0 / INERTIA, 0.0, 1.0 / INERTIA],
                    step_s: STEP_S,
                    held,
                };
                (rate, stuck, held) = slide.cut(stuck);
            }
            let gone_s = 30.0 * STEP_S - at_s;
            let expected = (0.3 * gone_s + 0.5 * rise * gone_s * gone_s) / INERTIA;
            let bound = 1.01 * rise * STEP_S * STEP_S / 8.0 / INERTIA;
            assert!(bound < 0.01 * 0.3 * STEP_S / INERTIA * 20.0);
            assert!(
                (rate[0] - expected).abs() < bound,
                "{phase}: {} for {expected} rad/s",
                rate[0]
            );
            assert!(!stuck[0]);
        }
    }

    /// A load that jumps at the beginning of a step breaks the pivot away there.
    #[test]
    fn a_load_that_jumps_breaks_away_at_once() {
        let friction = friction(0.2, 0.5);
        let slide = Slide {
            friction: &friction,
            rate: [0.0; 2],
            change: [STEP_S * 2.0 / INERTIA, 0.0],
            inverse: [1.0 / INERTIA, 0.0, 1.0 / INERTIA],
            step_s: STEP_S,
            held: [Held {
                last_nms: -0.1 * STEP_S,
                before_nms: -0.1 * STEP_S,
            }; 2],
        };
        let (rate, _, _) = slide.cut([true; 2]);
        assert!(
            (rate[0] - 1.8 * STEP_S / INERTIA).abs() < 1e-15,
            "{}",
            rate[0]
        );
    }
}

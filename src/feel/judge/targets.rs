//! The rig's own targets.

use trimproof_plant::rig::{FeelCondition, FeelTarget, GradientPart, RippleCondition};
use trimproof_plant::{AxisName, Rig};

use super::curve::JudgedCurve;
use super::{Basis, FeelVerdict, Unit, Wanted, grip_mm, response_of, sides, sweep_of};
use crate::figures::{Figures, SweepFigures};
use crate::record::{Condition, Record};

/// Judges by every target of the rig, in the order of its file, pitch before roll. None if the rig
/// sets none.
pub fn judge_targets(rig: &Rig, record: &Record, figures: &Figures) -> Vec<FeelVerdict> {
    let mut verdicts = Vec::new();
    for (index, target) in rig.feel.iter().enumerate() {
        for axis in AxisName::ALL {
            if target.axis().is_none_or(|named| named == axis) {
                let one = One {
                    source: format!("the rig's `feel[{index}]`"),
                    target,
                    axis,
                    record,
                    figures,
                };
                verdicts.extend(one.judge());
            }
        }
    }
    verdicts
}

struct One<'a> {
    source: String,
    target: &'a FeelTarget,
    axis: AxisName,
    record: &'a Record,
    figures: &'a Figures,
}

impl One<'_> {
    fn judge(&self) -> Vec<FeelVerdict> {
        let held = sweep_of(self.figures, self.axis, Condition::Held);
        let [negative, positive] = sides(self.axis);
        let both = [(0, negative), (1, positive)];
        match *self.target {
            FeelTarget::Force {
                condition,
                at_deg,
                low_n,
                high_n,
                ..
            } => {
                let condition = condition_of(condition);
                let curve = self
                    .record
                    .sweeps
                    .iter()
                    .find(|sweep| sweep.axis == self.axis && sweep.condition == condition)
                    .and_then(JudgedCurve::of);
                both.map(|(side, name)| {
                    let sense = if side == 1 { 1.0 } else { -1.0 };
                    let force = curve
                        .as_ref()
                        .and_then(|curve| curve.out(side, sense * at_deg));
                    self.row(format!("force at {at_deg} deg {name}"))
                        .during(condition)
                        .judged(
                            force.map(|force| sense * force),
                            Wanted::band(low_n, high_n),
                            Unit::Newton,
                        )
                })
                .into()
            }
            FeelTarget::Breakout { low_n, high_n, .. } => both
                .map(|(side, name)| {
                    self.row(format!("breakout {name}"))
                        .during(Condition::Held)
                        .judged(
                            held.map(|sweep| sweep.breakout_n[side]),
                            Wanted::band(low_n, high_n),
                            Unit::Newton,
                        )
                })
                .into(),
            FeelTarget::Gradient {
                part,
                low_n_per_deg,
                high_n_per_deg,
                ..
            } => both
                .map(|(side, name)| {
                    let (words, value) = match part {
                        GradientPart::FirstInch => (
                            "gradient, first inch,",
                            held.map(|sweep| sweep.first_inch_n_per_deg[side]),
                        ),
                        GradientPart::Beyond => (
                            "gradient beyond",
                            held.and_then(|sweep| sweep.beyond_n_per_deg[side]),
                        ),
                    };
                    self.row(format!("{words} {name}"))
                        .during(Condition::Held)
                        .judged(
                            value,
                            Wanted::band(low_n_per_deg, high_n_per_deg),
                            Unit::NewtonPerDeg,
                        )
                })
                .into(),
            FeelTarget::Centring { within_deg, .. } => both
                .map(|(side, name)| {
                    self.row(format!("centring from {name}"))
                        .during(Condition::Held)
                        .judged(
                            held.map(|sweep| sweep.centring_error_deg[side]),
                            Wanted::band(-within_deg, within_deg),
                            Unit::Deg,
                        )
                })
                .into(),
            FeelTarget::Friction {
                condition, most_n, ..
            } => {
                let condition = condition_of(condition);
                let sweep = sweep_of(self.figures, self.axis, condition);
                // Limp, a mean would hide the crests over which the hand must drag the rotor.
                let limp = sweep.is_some_and(SweepFigures::is_limp);
                let (what, value) = if limp {
                    let worst = |sweep: &SweepFigures| sweep.largest_n[0].max(sweep.largest_n[1]);
                    ("friction at worst", sweep.map(worst))
                } else {
                    ("friction", sweep.map(|sweep| sweep.friction_n))
                };
                vec![self.row(what).during(condition).judged(
                    value,
                    Wanted::at_most(most_n),
                    Unit::Newton,
                )]
            }
            FeelTarget::Ripple {
                condition, most_n, ..
            } => {
                let condition = match condition {
                    RippleCondition::Released => Condition::Released,
                    RippleCondition::Unpowered => Condition::Unpowered,
                };
                let ripple =
                    sweep_of(self.figures, self.axis, condition).and_then(|sweep| sweep.ripple);
                vec![self.row("ripple, peak to peak").during(condition).judged(
                    ripple.map(|ripple| ripple.peak_to_peak_n),
                    Wanted::at_most(most_n),
                    Unit::Newton,
                )]
            }
            FeelTarget::TrimRate {
                low_deg_per_s,
                high_deg_per_s,
                ..
            } => vec![self.row("trim rate").judged(
                self.figures.trim_rate_deg_per_s[self.axis.index()],
                Wanted::band(low_deg_per_s, high_deg_per_s),
                Unit::DegPerS,
            )],
            FeelTarget::DampingRatio { low, high, .. } => both
                .map(|(side, name)| {
                    let response = response_of(self.figures, self.axis, side);
                    self.row(format!("damping ratio from {name}"))
                        .during(Condition::Held)
                        .judged(
                            response.and_then(|response| response.damping_ratio),
                            Wanted::band(low, high),
                            Unit::One,
                        )
                })
                .into(),
            FeelTarget::FreePlay { most_mm, .. } => {
                vec![self.row("free play").during(Condition::Held).judged(
                    held.map(|sweep| grip_mm(sweep.free_play_deg, sweep.grip_radius_m)),
                    Wanted::at_most(most_mm),
                    Unit::Mm,
                )]
            }
        }
    }

    fn row(&self, what: impl Into<String>) -> FeelVerdict {
        FeelVerdict::new(Basis::Target, self.axis, what, self.source.clone())
            .noted(self.target.because().unwrap_or_default())
    }
}

const fn condition_of(condition: FeelCondition) -> Condition {
    match condition {
        FeelCondition::Held => Condition::Held,
        FeelCondition::Released => Condition::Released,
        FeelCondition::Unpowered => Condition::Unpowered,
    }
}

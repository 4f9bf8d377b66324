//! Two records within the tolerances of 14 CFR part 60, appendix C, table C2A (edition of 2019).
//!
//! Read in the print of that edition; docs/model/feel.md has the entries.
//!
//! Where the table says "or", the more lenient of the two tolerances counts. Percentages are of the
//! other record, which stands for the aircraft's. The table's 0.25 lb and 1.0 lb are taken as
//! printed in pounds: its "1.0 lb (0.224 daN)" is a misprint, 1.0 lb is 0.445 daN.

use trimproof_plant::AxisName;

use super::curve::JudgedCurve;
use super::row::{lacking, row};
use super::{FeelVerdict, N_PER_LB, Unit, Wanted, dynamics, grip_mm, sides, sweep_of};
use crate::figures::Figures;
use crate::record::{Condition, Record, Sweep};

/// 2.a.1: breakout.
const BREAKOUT_N: f64 = 0.25 * N_PER_LB;
const BREAKOUT_SHARE: f64 = 0.25;
/// 2.a.1: force.
const FORCE_N: f64 = N_PER_LB;
const FORCE_SHARE: f64 = 0.10;
/// 2.a.4: trim rate.
const TRIM_SHARE: f64 = 0.10;
/// 2.a.6: free play; printed as 0.10 in (2.5 mm), of which this is the stricter.
const FREE_PLAY_MM: f64 = 2.5;
/// Part of the smaller throw over which forces are compared: the breakout is judged by itself, at
/// the stop there is no gradient.
const FROM_SHARE: f64 = 0.10;
const TO_SHARE: f64 = 0.95;
/// Positions at which forces are compared on each way.
const POSITIONS: u32 = 35;

/// A record with its figures.
#[derive(Clone, Copy, Debug)]
pub struct Taken<'a> {
    /// What was measured.
    pub record: &'a Record,
    /// What it comes down to.
    pub figures: &'a Figures,
}

/// Every row of the table that either record has something for: `subject` within the tolerances
/// about `reference`.
pub fn compare(subject: Taken<'_>, reference: Taken<'_>) -> Vec<FeelVerdict> {
    let mut verdicts = Vec::new();
    for axis in AxisName::ALL {
        for condition in Condition::ALL {
            sweep_rows(&mut verdicts, subject, reference, axis, condition);
        }
        trim_row(&mut verdicts, subject, reference, axis);
        dynamics::rows(&mut verdicts, subject.figures, reference.figures, axis);
        free_play_row(&mut verdicts, subject, reference, axis);
    }
    verdicts
}

/// The more lenient of a fixed tolerance and a share of the reference.
fn lenient(fixed: f64, share: f64, reference: f64) -> f64 {
    fixed.max(share * reference.abs())
}

fn sweep_rows(
    verdicts: &mut Vec<FeelVerdict>,
    subject: Taken<'_>,
    reference: Taken<'_>,
    axis: AxisName,
    condition: Condition,
) {
    let found = sweep_of(subject.figures, axis, condition);
    let wanted = sweep_of(reference.figures, axis, condition);
    let (Some(found), Some(wanted)) = (found, wanted) else {
        let empty = row(axis, "2.a.1", "force against position").during(condition);
        verdicts.extend(lacking(empty, found.is_some(), wanted.is_some()));
        return;
    };
    for (side, name) in sides(axis).into_iter().enumerate() {
        let about = wanted.breakout_n[side];
        let tolerance = lenient(BREAKOUT_N, BREAKOUT_SHARE, about);
        let mut breakout = row(axis, "2.a.1", format!("breakout {name}"))
            .during(condition)
            .judged(
                Some(found.breakout_n[side]),
                Wanted::around(about, tolerance),
                Unit::Newton,
            );
        breakout.reference = Some(about);
        verdicts.push(breakout);
    }
    let curves = [subject.record, reference.record]
        .map(|record| sweep_in(record, axis, condition).and_then(JudgedCurve::of));
    for (side, name) in sides(axis).into_iter().enumerate() {
        let throw_deg = found.stop_deg[side].abs().min(wanted.stop_deg[side].abs());
        let empty = row(axis, "2.a.1", format!("force {name}")).during(condition);
        let worst = match &curves {
            [Some(found), Some(wanted)] => worst_force(found, wanted, side, throw_deg),
            _ => None,
        };
        verdicts.push(match worst {
            Some(worst) => worst.verdict(empty),
            None => empty.noted("the sweeps have no travel in common"),
        });
    }
}

fn sweep_in(record: &Record, axis: AxisName, condition: Condition) -> Option<&Sweep> {
    record
        .sweeps
        .iter()
        .find(|sweep| sweep.axis == axis && sweep.condition == condition)
}

/// The position at which two curves are nearest to their tolerance, or farthest beyond it.
struct WorstRow {
    at_deg: f64,
    way: &'static str,
    value: f64,
    about: f64,
    margin: f64,
}

impl WorstRow {
    fn verdict(&self, row: FeelVerdict) -> FeelVerdict {
        let tolerance = lenient(FORCE_N, FORCE_SHARE, self.about);
        let mut verdict = row
            .judged(
                Some(self.value),
                Wanted::around(self.about, tolerance),
                Unit::Newton,
            )
            .noted(format!(
                "worst at {:.1} deg, going {}",
                self.at_deg, self.way
            ));
        verdict.reference = Some(self.about);
        verdict
    }
}

fn worst_force(
    found: &JudgedCurve,
    wanted: &JudgedCurve,
    side: usize,
    throw_deg: f64,
) -> Option<WorstRow> {
    let sense = if side == 1 { 1.0 } else { -1.0 };
    let mut worst: Option<WorstRow> = None;
    for n in 0..=POSITIONS {
        let share = FROM_SHARE + (TO_SHARE - FROM_SHARE) * f64::from(n) / f64::from(POSITIONS);
        let at_deg = sense * share * throw_deg;
        let ways = [
            ("out", found.out(side, at_deg), wanted.out(side, at_deg)),
            ("back", found.back(side, at_deg), wanted.back(side, at_deg)),
        ];
        for (way, value, about) in ways {
            let (Some(value), Some(about)) = (value, about) else {
                continue;
            };
            let margin = lenient(FORCE_N, FORCE_SHARE, about) - (value - about).abs();
            if worst.as_ref().is_none_or(|worst| margin < worst.margin) {
                worst = Some(WorstRow {
                    at_deg,
                    way,
                    value,
                    about,
                    margin,
                });
            }
        }
    }
    worst
}

fn trim_row(
    verdicts: &mut Vec<FeelVerdict>,
    subject: Taken<'_>,
    reference: Taken<'_>,
    axis: AxisName,
) {
    let [found, wanted] =
        [subject, reference].map(|taken| taken.figures.trim_rate_deg_per_s[axis.index()]);
    let empty = row(axis, "2.a.4", "trim rate");
    if let (Some(_), Some(about)) = (found, wanted) {
        let mut verdict = empty.judged(
            found,
            Wanted::around(about, TRIM_SHARE * about.abs()),
            Unit::DegPerS,
        );
        verdict.reference = Some(about);
        verdicts.push(verdict);
    } else {
        verdicts.extend(lacking(empty, found.is_some(), wanted.is_some()));
    }
}

fn free_play_row(
    verdicts: &mut Vec<FeelVerdict>,
    subject: Taken<'_>,
    reference: Taken<'_>,
    axis: AxisName,
) {
    let [found, wanted] = [subject, reference].map(|taken| {
        sweep_of(taken.figures, axis, Condition::Held)
            .map(|sweep| grip_mm(sweep.free_play_deg, sweep.grip_radius_m))
    });
    let empty = row(axis, "2.a.6", "free play").during(Condition::Held);
    if let (Some(_), Some(about)) = (found, wanted) {
        let mut verdict = empty.judged(found, Wanted::around(about, FREE_PLAY_MM), Unit::Mm);
        verdict.reference = Some(about);
        verdicts.push(verdict);
    } else {
        verdicts.extend(lacking(empty, found.is_some(), wanted.is_some()));
    }
}

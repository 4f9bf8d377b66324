//! Entry 2.a.5 of table C2A: how a stick that is let go settles.
//!
//! Amplitudes are compared as shares of each record's own initial displacement, so that two records
//! need not have been displaced by the same angle. An over- or critically damped reference (no
//! overshoot outside the residual band of 5 %) is compared by its time to 90 % of the way; any
//! other by crossing, periods and overshoots. Later overshoots: the table allows 20 % of their own
//! amplitude, the summary list beside it 10 % of the first overshoot. Both are reported; the table
//! decides.

use trimproof_plant::AxisName;

use super::row::{lacking, row};
use super::{FeelOutcome, FeelVerdict, Unit, Wanted, response_of, sides};
use crate::figures::{Figures, ResponseFigures};
use crate::record::Condition;

const ENTRY: &str = "2.a.5";
const CROSSING_SHARE: f64 = 0.10;
/// Times (N + 1), with N the number of the full cycle.
const PERIOD_SHARE: f64 = 0.10;
const FIRST_SHARE: f64 = 0.10;
const LATER_SHARE: f64 = 0.20;
/// Of the first overshoot, after the summary list.
const SUMMARY_SHARE: f64 = 0.10;
/// Later overshoots count above this share of the initial displacement.
const COUNTED_PERCENT: f64 = 5.0;
const COUNT: f64 = 1.0;
const DAMPED_SHARE: f64 = 0.10;

/// Rows of both directions of an axis.
pub(super) fn rows(
    verdicts: &mut Vec<FeelVerdict>,
    subject: &Figures,
    reference: &Figures,
    axis: AxisName,
) {
    for (side, name) in sides(axis).into_iter().enumerate() {
        let found = response_of(subject, axis, side);
        let wanted = response_of(reference, axis, side);
        let (Some(found), Some(wanted)) = (found, wanted) else {
            let empty = row(axis, ENTRY, format!("response from {name}")).during(Condition::Held);
            verdicts.extend(lacking(empty, found.is_some(), wanted.is_some()));
            continue;
        };
        PeriodPair {
            axis,
            name,
            found,
            wanted,
        }
        .rows(verdicts);
    }
}

struct PeriodPair<'a> {
    axis: AxisName,
    name: &'static str,
    found: &'a ResponseFigures,
    wanted: &'a ResponseFigures,
}

impl PeriodPair<'_> {
    fn rows(&self, verdicts: &mut Vec<FeelVerdict>) {
        if self.wanted.overshoots_deg.is_empty() {
            let about = self.wanted.to_90_percent_s;
            verdicts.push(self.row(
                "time to 90 %",
                Some(self.found.to_90_percent_s),
                about,
                DAMPED_SHARE * about,
                Unit::Second,
            ));
        } else {
            if let Some(about) = self.wanted.p0_s {
                verdicts.push(self.row(
                    "P0",
                    self.found.p0_s,
                    about,
                    CROSSING_SHARE * about,
                    Unit::Second,
                ));
            }
            self.periods(verdicts);
            self.overshoots(verdicts);
        }
        let count = |figures: &ResponseFigures| figures.overshoots_deg.len() as f64;
        verdicts.push(self.row(
            "overshoots",
            Some(count(self.found)),
            count(self.wanted),
            COUNT,
            Unit::Count,
        ));
    }

    fn periods(&self, verdicts: &mut Vec<FeelVerdict>) {
        let pairs = self.found.periods_s.iter().zip(&self.wanted.periods_s);
        for (n, (found, about)) in (1_u32..).zip(pairs) {
            let share = PERIOD_SHARE * f64::from(n + 1);
            verdicts.push(self.row(
                &format!("P{n}"),
                Some(*found),
                *about,
                share * about,
                Unit::Second,
            ));
        }
    }

    fn overshoots(&self, verdicts: &mut Vec<FeelVerdict>) {
        let percent = |figures: &ResponseFigures, n: usize| {
            figures
                .overshoots_deg
                .get(n)
                .map(|size| 100.0 * size / figures.initial_deg.abs())
        };
        let first = percent(self.wanted, 0).unwrap_or_default();
        // A missing first overshoot is none at all, not a figure that was not measured.
        verdicts.push(self.row(
            "A1",
            percent(self.found, 0).or(Some(0.0)),
            first,
            FIRST_SHARE * first,
            Unit::Percent,
        ));
        for n in 1..self.wanted.overshoots_deg.len() {
            let (Some(found), Some(about)) = (percent(self.found, n), percent(self.wanted, n))
            else {
                // One more or less is allowed; the number of overshoots has a row of its own.
                break;
            };
            if about <= COUNTED_PERCENT {
                continue;
            }
            let name = format!("A{}", n + 1);
            verdicts.push(self.row(
                &name,
                Some(found),
                about,
                LATER_SHARE * about,
                Unit::Percent,
            ));
            verdicts.push(self.summary(&name, found, about, first));
        }
    }

    /// The summary list's rule beside the table's; it decides nothing.
    fn summary(&self, name: &str, found: f64, about: f64, first: f64) -> FeelVerdict {
        let mut verdict = self
            .row(
                &format!("{name}, summary,"),
                Some(found),
                about,
                SUMMARY_SHARE * first,
                Unit::Percent,
            )
            .noted("the summary list allows 10 % of A1, the table 20 % of the overshoot itself: the table decides");
        if verdict.outcome == FeelOutcome::Broken {
            verdict.outcome = FeelOutcome::Warned;
        }
        verdict
    }

    fn row(
        &self,
        what: &str,
        value: Option<f64>,
        about: f64,
        tolerance: f64,
        unit: Unit,
    ) -> FeelVerdict {
        let mut verdict = row(self.axis, ENTRY, format!("{what} from {}", self.name))
            .during(Condition::Held)
            .judged(value, Wanted::around(about, tolerance), unit);
        verdict.reference = Some(about);
        if value.is_none() {
            // The reference does it, this one never does.
            verdict.outcome = FeelOutcome::Broken;
            verdict.note = "this record never crosses its steady state".to_owned();
        }
        verdict
    }
}

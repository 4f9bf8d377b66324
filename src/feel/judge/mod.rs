//! Judging a measured stick: by the rig's own targets, against another record within published
//! tolerances, and by rotorcraft criteria as advice.
//!
//! Nothing here is a qualification of a device: it says how figures stand to numbers.

mod advice;
mod against;
mod curve;
mod dynamics;
mod row;
mod targets;

#[cfg(test)]
mod tests;

pub use advice::advise;
pub use against::{Taken, compare};
pub use targets::judge_targets;

use std::fmt;

use trimproof_plant::AxisName;

use crate::figures::{Figures, ResponseFigures, SweepFigures};
use crate::record::Condition;

/// Newtons of a pound (force): 0.45359237 kg · 9.80665 m/s², both by definition.
pub const N_PER_LB: f64 = 4.448_221_615_260_5;
/// Kilograms of a pound (mass), by definition.
pub const KG_PER_LBM: f64 = 0.453_592_37;
/// Millimetres of an inch, by definition.
pub const MM_PER_IN: f64 = 25.4;

/// What a verdict is by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// The rig file's targets.
    Target,
    /// Table C2A of 14 CFR part 60, appendix C, against another record.
    TableC2a,
    /// A criterion that is reported as advice and decides nothing.
    Advice,
}

/// How it came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FeelOutcome {
    /// Within what is wanted.
    Held,
    /// Outside.
    Broken,
    /// Outside, but by a criterion that decides nothing.
    Warned,
    /// Outside a criterion's outer limit; that decides nothing either.
    AdvisedAgainst,
    /// There is no such figure.
    NotMeasured,
}

impl FeelOutcome {
    /// Name in tables and files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Held => "pass",
            Self::Broken => "fail",
            Self::Warned => "warned",
            Self::AdvisedAgainst => "advised-against",
            Self::NotMeasured => "not-measured",
        }
    }
}

/// What is wanted: a band, open on a side that has no limit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wanted {
    /// Lowest value.
    pub low: Option<f64>,
    /// Highest value.
    pub high: Option<f64>,
}

impl Wanted {
    /// From `low` to `high`.
    pub const fn band(low: f64, high: f64) -> Self {
        Self {
            low: Some(low),
            high: Some(high),
        }
    }

    /// At least `low`.
    pub const fn at_least(low: f64) -> Self {
        Self {
            low: Some(low),
            high: None,
        }
    }

    /// At most `high`.
    pub const fn at_most(high: f64) -> Self {
        Self {
            low: None,
            high: Some(high),
        }
    }

    /// Within `tolerance` of `middle`.
    pub const fn around(middle: f64, tolerance: f64) -> Self {
        Self::band(middle - tolerance, middle + tolerance)
    }

    /// How far inside (positive) or outside (negative) a value is; infinite where there is no
    /// limit.
    pub fn margin(&self, value: f64) -> f64 {
        let above = self.low.map_or(f64::INFINITY, |low| value - low);
        let below = self.high.map_or(f64::INFINITY, |high| high - value);
        above.min(below)
    }
}

/// Unit of a value; some have a companion in which the regulations speak.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Force at the grip: N, with lb.
    Newton,
    /// Gradient at the grip by angle.
    NewtonPerDeg,
    /// Gradient at the grip by travel: N/mm, with lb/in.
    NewtonPerMm,
    /// Angle.
    Deg,
    /// Rate.
    DegPerS,
    /// Travel at the grip: mm, with in.
    Mm,
    /// Time.
    Second,
    /// Mass at the grip: kg, with lbm.
    Kg,
    /// Share of the initial displacement, %.
    Percent,
    /// How many.
    Count,
    /// A number.
    One,
}

impl Unit {
    /// Symbol; empty for a bare number.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Newton => "N",
            Self::NewtonPerDeg => "N/deg",
            Self::NewtonPerMm => "N/mm",
            Self::Deg => "deg",
            Self::DegPerS => "deg/s",
            Self::Mm => "mm",
            Self::Second => "s",
            Self::Kg => "kg",
            Self::Percent => "%",
            Self::Count | Self::One => "",
        }
    }

    /// The companion's symbol and how many of it one of this unit is.
    pub const fn companion(self) -> Option<(&'static str, f64)> {
        match self {
            Self::Newton => Some(("lb", 1.0 / N_PER_LB)),
            Self::NewtonPerMm => Some(("lb/in", MM_PER_IN / N_PER_LB)),
            Self::Mm => Some(("in", 1.0 / MM_PER_IN)),
            Self::Kg => Some(("lbm", 1.0 / KG_PER_LBM)),
            _ => None,
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One judgement.
#[derive(Clone, Debug, PartialEq)]
pub struct FeelVerdict {
    /// What it is by.
    pub basis: Basis,
    /// What was looked at: `breakout, aft`.
    pub what: String,
    /// Axis.
    pub axis: AxisName,
    /// What the drives did, where that matters.
    pub condition: Option<Condition>,
    /// Where the limit stands: document and paragraph, or the rig's target.
    pub source: String,
    /// The figure; none if it was not measured.
    pub value: Option<f64>,
    /// The other record's figure, where there is one.
    pub reference: Option<f64>,
    /// What is wanted.
    pub wanted: Wanted,
    /// Unit of the numbers.
    pub unit: Unit,
    /// How it came out.
    pub outcome: FeelOutcome,
    /// What else a reader should know; empty if nothing.
    pub note: String,
}

impl FeelVerdict {
    /// How far inside (positive) or outside (negative); none if there is no figure or no limit.
    pub fn margin(&self) -> Option<f64> {
        self.value
            .map(|value| self.wanted.margin(value))
            .filter(|margin| margin.is_finite())
    }

    /// Whether it decides: [`FeelOutcome::Broken`].
    pub fn is_broken(&self) -> bool {
        self.outcome == FeelOutcome::Broken
    }

    fn new(
        basis: Basis,
        axis: AxisName,
        what: impl Into<String>,
        source: impl Into<String>,
    ) -> Self {
        Self {
            basis,
            what: what.into(),
            axis,
            condition: None,
            source: source.into(),
            value: None,
            reference: None,
            wanted: Wanted::default(),
            unit: Unit::One,
            outcome: FeelOutcome::NotMeasured,
            note: String::new(),
        }
    }

    fn during(self, condition: Condition) -> Self {
        Self {
            condition: Some(condition),
            ..self
        }
    }

    fn noted(self, note: impl Into<String>) -> Self {
        Self {
            note: note.into(),
            ..self
        }
    }

    /// Sets the figure against what is wanted; a figure that is missing stays not measured.
    fn judged(self, value: Option<f64>, wanted: Wanted, unit: Unit) -> Self {
        let outside = match self.basis {
            Basis::Advice => FeelOutcome::Warned,
            Basis::Target | Basis::TableC2a => FeelOutcome::Broken,
        };
        let outcome = match value.filter(|value| value.is_finite()) {
            None => FeelOutcome::NotMeasured,
            Some(value) if wanted.margin(value) >= 0.0 => FeelOutcome::Held,
            Some(_) => outside,
        };
        Self {
            value,
            wanted,
            unit,
            outcome,
            ..self
        }
    }
}

/// What the two directions of an axis are called, `[negative, positive]`.
pub const fn sides(axis: AxisName) -> [&'static str; 2] {
    match axis {
        AxisName::Pitch => ["fore", "aft"],
        AxisName::Roll => ["left", "right"],
    }
}

/// The figures of a sweep, if there is one.
pub fn sweep_of(figures: &Figures, axis: AxisName, condition: Condition) -> Option<&SweepFigures> {
    figures
        .sweeps
        .iter()
        .find(|sweep| sweep.axis == axis && sweep.condition == condition)
}

/// The figures of the held stick let go from a side (0 negative, 1 positive), if there are any.
pub fn response_of(figures: &Figures, axis: AxisName, side: usize) -> Option<&ResponseFigures> {
    figures.responses.iter().find(|response| {
        response.axis == axis
            && response.condition == Condition::Held
            && (response.initial_deg > 0.0) == (side == 1)
    })
}

/// Travel at the grip of an angle, mm.
pub fn grip_mm(angle_deg: f64, grip_radius_m: f64) -> f64 {
    angle_deg.to_radians() * grip_radius_m * 1000.0
}

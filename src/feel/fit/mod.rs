//! Identification: what the parts of a rig must be for the twin to do what was measured. Model,
//! method and bounds stand in `docs/model/fit.md`.

mod advice;
mod error;
mod law;
mod problem;
mod readings;
mod report;
mod result;
mod solve;
mod start;
mod swing;
mod uncertainty;
mod write;

#[cfg(test)]
mod tests;

pub use error::FitError;
pub use result::{AxisFit, Entangled, Estimate, Fit, FitQuantity, Origin, Residual, Residuals};
pub use write::{Written, written};

use std::rc::Rc;

use trimproof_plant::{AxisName, Rig};

use crate::extract::{response_figures, sweep_figures};
use crate::plausible::plausible;
use crate::record::{Condition, Record, Response, Sweep};

use law::{Known, Values};
use problem::{FitProblem, ReadingSet, STEPS_MOST, Unknown, Work};
use readings::{ResponseReadings, SweepReadings};
use solve::{STATIC, Unsolved};

/// Readings that each unknown takes, on average.
const READINGS_FOR_EACH: usize = 3;

/// Longest and shortest step of the integrator, s; between them a twentieth of a radian of the
/// flank's own swing.
const STEPS_S: [f64; 2] = [1e-4, 2e-4];

/// By how much a stop gives way at the most, degrees.
const STOP_GIVES_DEG: f64 = 1.5;

/// Identifies rate, breakout, friction, free play, damping and inertia of each axis that the record
/// has measured with the trim holding. The rig gives what is taken as known: weight, backlash, give
/// of the drive, coil bind.
///
/// # Errors
///
/// Readings that no hand and no stick can have made; nothing measured with the trim holding;
/// readings that cannot be used; too few of them; a search without an end.
pub fn fit(rig: &Rig, record: &Record) -> Result<Fit, FitError> {
    fit_watched(rig, record, &mut |_| true)
}

/// How far a fit has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Axis.
    pub axis: AxisName,
    /// Searches of this axis that are done.
    pub done: u32,
    /// Searches that there will be, at most.
    pub most: u32,
}

/// As [`fit`]; `watch` is called before each search of the least squares, `false` stops it.
///
/// # Errors
///
/// As [`fit`], and [`FitError::Stopped`].
pub fn fit_watched(
    rig: &Rig,
    record: &Record,
    watch: &mut dyn FnMut(Progress) -> bool,
) -> Result<Fit, FitError> {
    fit_within(rig, record, STEPS_MOST, watch)
}

/// As [`fit_watched`], with so many steps of the model for each axis.
fn fit_within(
    rig: &Rig,
    record: &Record,
    steps_most: u64,
    watch: &mut dyn FnMut(Progress) -> bool,
) -> Result<Fit, FitError> {
    plausible(rig, record)?;
    let mut axes = Vec::new();
    for axis in AxisName::ALL {
        let measured = FitInput::of(record, axis);
        if measured.sweep.is_some() || !measured.responses.is_empty() {
            axes.push(measured.fit(rig, steps_most, watch)?);
        }
    }
    if axes.is_empty() {
        return Err(FitError::NothingHeld);
    }
    let mut notes = Vec::new();
    let others = record
        .sweeps
        .iter()
        .map(|sweep| sweep.condition)
        .chain(record.responses.iter().map(|response| response.condition))
        .filter(|condition| *condition != Condition::Held)
        .count();
    if others > 0 {
        notes.push(format!(
            "{others} measurements with the trim released or the supply off are not used: there the stick drags its drive along"
        ));
    }
    Ok(Fit {
        source: record.source.clone(),
        axes,
        notes,
    })
}

/// What a record has of one axis with the trim holding.
struct FitInput<'a> {
    axis: AxisName,
    sweep: Option<&'a Sweep>,
    responses: Vec<&'a Response>,
}

impl<'a> FitInput<'a> {
    fn of(record: &'a Record, axis: AxisName) -> Self {
        let held =
            |this: AxisName, condition: Condition| this == axis && condition == Condition::Held;
        Self {
            axis,
            sweep: record.sweeps.iter().find(|s| held(s.axis, s.condition)),
            responses: record
                .responses
                .iter()
                .filter(|r| held(r.axis, r.condition))
                .collect(),
        }
    }

    fn fit(
        &self,
        rig: &Rig,
        steps_most: u64,
        watch: &mut dyn FnMut(Progress) -> bool,
    ) -> Result<AxisFit, FitError> {
        let index = self.axis.index();
        let known = Known::of_rig(rig, index);
        let rig_values = Values::of_rig(rig, index);
        let mut notes = Vec::new();
        let sweep = self.sweep_readings(rig, &known, &mut notes)?;
        let responses = self.response_readings(&mut notes)?;
        let start = self.start(&rig_values, &known, sweep.as_ref(), &responses);
        let mut problem = problem(&start, known, sweep, responses);
        problem.work = Rc::new(Work::of(steps_most));
        let found: usize = problem.sets.iter().map(ReadingSet::len).sum();
        let unknowns = problem.unknowns.len();
        if found < READINGS_FOR_EACH * unknowns {
            return Err(FitError::TooFew {
                axis: self.axis,
                found,
                unknowns,
                needed: READINGS_FOR_EACH * unknowns,
            });
        }
        let axis = self.axis;
        let solved = solve::solve(problem, &start.swings, &mut |done, most| {
            watch(Progress { axis, done, most })
        })
        .map_err(|why| match why {
            Unsolved::Stopped => FitError::Stopped,
            Unsolved::TooLong(steps) => FitError::TooLong { axis, steps },
            Unsolved::NoMinimum(why) => FitError::NoMinimum { axis, why },
        })?;
        Ok(report::axis_fit(self.axis, &rig_values, &solved, notes))
    }

    /// The sweep without what the model does not speak of, and the extractor's free play in the
    /// notes' stead.
    fn sweep_readings(
        &self,
        rig: &Rig,
        known: &Known,
        notes: &mut Vec<String>,
    ) -> Result<Option<SweepReadings>, FitError> {
        let Some(sweep) = self.sweep else {
            return Ok(None);
        };
        let stops = &rig.axis(self.axis.index()).stops;
        let first = sweep.samples.first().map_or(0.0, |s| s.position_deg);
        let bind = known.bind.to_degrees();
        let mut within = [
            stops.min_deg.max(first - bind),
            stops.max_deg.min(first + bind),
        ];
        match sweep_figures(sweep) {
            Ok(figures) => {
                let [low, high] = figures.stop_deg;
                let ends = range(sweep);
                // A stick is not pushed through a stop: what it passes by degrees was none.
                if low - ends[0] < STOP_GIVES_DEG {
                    within[0] = within[0].max(low);
                }
                if ends[1] - high < STOP_GIVES_DEG {
                    within[1] = within[1].min(high);
                }
                if let Some(at) = figures.slipped_at_deg {
                    notes.push(format!(
                        "the motor slipped during the sweep, at {at:.2} degrees: from half a degree before it the sweep is not used"
                    ));
                    if at > first {
                        within[1] = within[1].min(at - 0.5);
                    } else {
                        within[0] = within[0].max(at + 0.5);
                    }
                }
            }
            Err(error) => notes.push(format!(
                "the sweep gives no figures of its own ({error}); the search began without them"
            )),
        }
        readings::sweep(sweep, within)
            .map(Some)
            .map_err(|error| self.unusable("sweep".to_owned(), error))
    }

    fn response_readings(
        &self,
        notes: &mut Vec<String>,
    ) -> Result<Vec<ResponseReadings>, FitError> {
        let mut found = Vec::new();
        for (i, response) in self.responses.iter().enumerate() {
            let kind = format!("response {}", i + 1);
            found.push(
                readings::response(response).map_err(|error| self.unusable(kind.clone(), error))?,
            );
            if let Err(error) = response_figures(response) {
                notes.push(format!(
                    "{kind}: {error}; its readings are used as they are"
                ));
            }
        }
        Ok(found)
    }

    fn unusable(&self, kind: String, error: crate::extract::ExtractError) -> FitError {
        FitError::Unusable {
            kind,
            axis: self.axis,
            error,
        }
    }

    fn start(
        &self,
        rig: &Values,
        known: &Known,
        sweep: Option<&SweepReadings>,
        responses: &[ResponseReadings],
    ) -> FitStart {
        let play = self
            .sweep
            .and_then(|sweep| sweep_figures(sweep).ok())
            .map(|figures| (0.5 * figures.free_play_deg).to_radians());
        let stick = sweep.map(|sweep| start::from_sweep(sweep, rig, known, play));
        let values = stick.map_or(*rig, |stick| stick.values);
        let step = step(&values, known);
        let all: Vec<&ResponseReadings> = responses.iter().collect();
        // Not from a friction of nothing: a release shows friction only by how it slows.
        let from = Values {
            friction: values.friction.max(1e-3 * values.breakout.abs()).max(1e-4),
            ..values
        };
        let swings = if all.is_empty() {
            Vec::new()
        } else {
            start::from_responses(&all, &from, known, step)
        };
        let [inertia, damping] = swings
            .first()
            .copied()
            .unwrap_or([from.inertia, from.damping]);
        let values = Values {
            inertia,
            damping,
            ..from
        };
        FitStart {
            values,
            step,
            trim: stick.map_or(0.0, |stick| stick.trim),
            zero: stick.map_or(0.0, |stick| stick.zero),
            swings,
        }
    }
}

/// Smallest and largest position of a sweep, degrees.
fn range(sweep: &Sweep) -> [f64; 2] {
    sweep
        .samples
        .iter()
        .fold([f64::MAX, f64::MIN], |ends, sample| {
            [
                ends[0].min(sample.position_deg),
                ends[1].max(sample.position_deg),
            ]
        })
}

/// Where the search begins.
struct FitStart {
    values: Values,
    step: f64,
    trim: f64,
    zero: f64,
    /// Inertias and dampings to begin at.
    swings: Vec<[f64; 2]>,
}

fn step(values: &Values, known: &Known) -> f64 {
    let flank = values.free_play.max(0.0) + known.play + 1e-3;
    let frequency = (values.slope(known, flank).max(values.rate) / values.inertia).sqrt();
    (0.05 / frequency).clamp(STEPS_S[0], STEPS_S[1])
}

fn problem(
    start: &FitStart,
    known: Known,
    sweep: Option<SweepReadings>,
    responses: Vec<ResponseReadings>,
) -> FitProblem {
    let of = |quantity: FitQuantity| (Unknown::Of(quantity), quantity.of(&start.values));
    let mut unknowns = Vec::new();
    if sweep.is_some() {
        unknowns.extend(STATIC.map(of));
        unknowns.push((Unknown::SweepTrim, start.trim));
        unknowns.push((Unknown::GaugeZero, start.zero));
    } else {
        unknowns.push(of(FitQuantity::Friction));
    }
    if !responses.is_empty() {
        unknowns.extend([FitQuantity::Damping, FitQuantity::Inertia].map(of));
    }
    for (i, response) in responses.iter().enumerate() {
        let release = start::release(response);
        unknowns.push((Unknown::Trim(i), release.trim));
        unknowns.push((Unknown::From(i), release.from));
        unknowns.push((Unknown::Delay(i), 0.0));
    }
    let (unknowns, at) = solve::starting(&unknowns);
    let sweep = sweep.into_iter().map(|sweep| {
        let weights = vec![1.0; sweep.readings.len()];
        ReadingSet::Sweep(sweep, weights)
    });
    let responses = responses.into_iter().enumerate().map(|(i, response)| {
        let weights = vec![1.0; response.readings.len()];
        ReadingSet::Response(i, response, weights)
    });
    FitProblem {
        known,
        base: start.values,
        unknowns,
        at,
        sets: sweep.chain(responses).collect(),
        step: start.step,
        work: Rc::new(Work::of(STEPS_MOST)),
    }
}

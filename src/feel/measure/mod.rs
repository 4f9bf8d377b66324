//! Measuring the twin as an engineer measures a stick: slow sweeps at the grip, the trim rate, free
//! responses.
//!
//! The work is cut into [`Job`]s that know nothing of each other, each on a twin of its own: who
//! has cores runs them side by side and puts the pieces together in the order of [`plan`];
//! [`measure`] runs one after the other.

mod error;
mod measuring_loop;
mod response;
mod sweep;
mod trim;

#[cfg(test)]
mod tests;

pub use error::{MeasureError, Slip};
pub use response::DISPLACED_SHARE;
pub use sweep::SWEEP_DEG_PER_S;

use trimproof_harness::rig::RigFile;
use trimproof_plant::AxisName;

use crate::extract::{response_figures, sweep_figures};
use crate::figures::{Figures, SweepFigures};
use crate::record::{Condition, Record, Response, Sweep};

/// Travel that ends by this much before a stop was ended by something else, degrees.
const EARLY_DEG: f64 = 0.2;

/// What was measured on the twin of one rig.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measured {
    /// Sweeps, responses and trim rates.
    pub record: Record,
    /// Mass that the hand feels at the grip, J/r² of stick and frame from the rig, kg, `[pitch,
    /// roll]`.
    pub effective_mass_kg: [f64; 2],
    /// What damping adds to the force at the sweeps' rate, N at the grip, `[pitch, roll]`, for each
    /// of [`Condition::ALL`]: the loops are wider by this each way than they would be at no speed.
    pub damping_n: [[f64; 2]; 3],
    /// Sweeps in which the motor slipped.
    pub slips: Vec<Slip>,
    /// What a reader must know beside the figures.
    pub notes: Vec<String>,
    /// Simulated time of all measurements, s.
    pub simulated_s: f64,
}

impl Measured {
    /// What it comes down to, with what only the twin knows: where the motor slipped, and the mass
    /// at the grip. Measurements that give no figures are left out and named in the notes; so is
    /// travel that ends before a stop of `rig`.
    pub fn figures(&self, rig: &RigFile) -> (Figures, Vec<String>) {
        let mut figures = Figures {
            source: self.record.source.clone(),
            trim_rate_deg_per_s: self.record.trim_rate_deg_per_s,
            effective_mass_kg: self.effective_mass_kg.map(Some),
            ..Figures::default()
        };
        let mut notes = Vec::new();
        for sweep in &self.record.sweeps {
            match sweep_figures(sweep) {
                Ok(mut found) => {
                    let slip = self
                        .slips
                        .iter()
                        .find(|slip| slip.axis == sweep.axis && slip.condition == sweep.condition);
                    found.slipped_at_deg = slip.map(|slip| slip.at_deg);
                    notes.extend(in_the_way(rig, &found));
                    figures.sweeps.push(found);
                }
                Err(error) => notes.push(format!(
                    "{} {}: the sweep gives no figures: {error}",
                    sweep.axis.name(),
                    sweep.condition.name()
                )),
            }
        }
        for response in &self.record.responses {
            match response_figures(response) {
                Ok(found) => figures.responses.push(found),
                Err(error) => notes.push(format!(
                    "{}: a response gives no figures: {error}",
                    response.axis.name()
                )),
            }
        }
        (figures, notes)
    }
}

/// A word on travel that ends before the stop, once for each axis and side.
fn in_the_way(rig: &RigFile, held: &SweepFigures) -> Vec<String> {
    let stops = &rig.axis(held.axis.index()).stops;
    let names: Vec<_> = rig.obstacle.iter().map(|one| one.name.as_str()).collect();
    let ends = [(stops.min_deg, -1.0), (stops.max_deg, 1.0)];
    ends.into_iter()
        .zip(held.stop_deg)
        .filter(|((stop_deg, sense), end_deg)| {
            held.condition == Condition::Held && sense * (stop_deg - end_deg) > EARLY_DEG
        })
        .map(|((stop_deg, _), end_deg)| {
            let why = if names.is_empty() {
                String::new()
            } else {
                format!(" (there is: {})", names.join(", "))
            };
            format!(
                "{}: the travel ends at {end_deg:.1} deg, before the stop at {stop_deg:.1}: something stands in the way{why}",
                held.axis.name()
            )
        })
        .collect()
}

/// One measurement, independent of all others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Job {
    /// A slow sweep.
    Sweep(AxisName, Condition),
    /// The rate under a held hat.
    TrimRate(AxisName),
    /// A free response from the positive (`true`) or negative side.
    Response(AxisName, bool),
}

/// What a job brought.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    found: FoundPiece,
    notes: Vec<String>,
    simulated_s: f64,
}

#[derive(Clone, Debug, PartialEq)]
enum FoundPiece {
    Sweep(Sweep, Option<Slip>),
    TrimRate(AxisName, Option<f64>),
    Response(Response),
}

/// Every measurement of a stick, in the order of the report: the longest first.
pub fn plan() -> Vec<Job> {
    let mut jobs = Vec::new();
    for axis in AxisName::ALL {
        jobs.extend(Condition::ALL.map(|condition| Job::Sweep(axis, condition)));
    }
    for axis in AxisName::ALL {
        jobs.push(Job::TrimRate(axis));
        jobs.extend([true, false].map(|positive| Job::Response(axis, positive)));
    }
    jobs
}

impl Job {
    /// Short name for a progress line: `pitch sweep held`.
    pub fn name(self) -> String {
        match self {
            Self::Sweep(axis, condition) => format!("{} sweep {}", axis.name(), condition.name()),
            Self::TrimRate(axis) => format!("{} trim rate", axis.name()),
            Self::Response(axis, positive) => format!(
                "{} response {}",
                axis.name(),
                if positive { "positive" } else { "negative" }
            ),
        }
    }

    /// About how long it takes, simulated s: for a progress bar.
    pub fn about_s(self, rig: &RigFile) -> f64 {
        let stops = |axis: AxisName| {
            let stops = &rig.axis(axis.index()).stops;
            stops.max_deg - stops.min_deg
        };
        match self {
            Self::Sweep(axis, _) => 3.0 + 2.0 * (stops(axis) + 4.0) / SWEEP_DEG_PER_S,
            Self::TrimRate(axis) => {
                let settings = rig.axis_settings(axis.index());
                let rate = settings.map_or(1.0, |one| f64::from(one.nudge_rate_mdeg_per_s));
                6.0 + 1000.0 * stops(axis) / rate
            }
            Self::Response(..) => 4.5,
        }
    }

    /// Measures. `watch` is called before every control tick with the simulated time of this job,
    /// s; `false` stops it.
    ///
    /// # Errors
    /// The controller does not come into the state to be measured or fails, the twin cannot compute
    /// it, or `watch` said so.
    pub fn run(
        self,
        rig: &RigFile,
        watch: &mut dyn FnMut(f64) -> bool,
    ) -> Result<Piece, MeasureError> {
        let mut simulated_s = 0.0;
        let mut watch = |now_s: f64| {
            simulated_s = now_s;
            watch(now_s)
        };
        let (found, notes) = match self {
            Self::Sweep(axis, condition) => {
                let swept = sweep::sweep(rig, axis, condition, &mut watch)?;
                (FoundPiece::Sweep(swept.sweep, swept.slip), swept.notes)
            }
            Self::TrimRate(axis) => {
                let (rate, notes) = trim::trim_rate(rig, axis, &mut watch)?;
                (FoundPiece::TrimRate(axis, rate), notes)
            }
            Self::Response(axis, positive) => {
                let sense = if positive { 1.0 } else { -1.0 };
                let response = response::response(rig, axis, sense, &mut watch)?;
                (FoundPiece::Response(response), Vec::new())
            }
        };
        Ok(Piece {
            found,
            notes,
            simulated_s,
        })
    }
}

/// Puts the pieces of a whole [`plan`] together, given in its order.
///
/// # Errors
/// There are more or fewer pieces than the plan has jobs.
pub fn assemble(rig: &RigFile, pieces: Vec<Piece>) -> Result<Measured, MeasureError> {
    let (got, wanted) = (pieces.len(), plan().len());
    if got != wanted {
        return Err(MeasureError::Pieces { got, wanted });
    }
    let mut measured = Measured {
        record: Record {
            source: format!("twin of {}", rig.name),
            ..Record::default()
        },
        effective_mass_kg: measuring_loop::effective_mass_kg(rig),
        damping_n: Condition::ALL
            .map(|condition| [0, 1].map(|index| sweep::damping_n(rig, index, condition))),
        ..Measured::default()
    };
    for piece in pieces {
        measured.notes.extend(piece.notes);
        measured.simulated_s += piece.simulated_s;
        match piece.found {
            FoundPiece::Sweep(sweep, slip) => {
                measured.record.sweeps.push(sweep);
                measured.slips.extend(slip);
            }
            FoundPiece::TrimRate(axis, rate) => {
                measured.record.trim_rate_deg_per_s[axis.index()] = rate;
            }
            FoundPiece::Response(response) => measured.record.responses.push(response),
        }
    }
    Ok(measured)
}

/// Measures the twin of `rig`: every job of [`plan`], one after the other.
///
/// `watch` is called before every control tick with the simulated time so far, s; `false` stops it.
///
/// # Errors
/// The controller does not come into the state to be measured or fails, the twin cannot compute it,
/// or `watch` said so.
pub fn measure(
    rig: &RigFile,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<Measured, MeasureError> {
    let mut gone_s = 0.0;
    let mut pieces = Vec::new();
    for job in plan() {
        let piece = job.run(rig, &mut |now_s| watch(gone_s + now_s))?;
        gone_s += piece.simulated_s;
        pieces.push(piece);
    }
    assemble(rig, pieces)
}

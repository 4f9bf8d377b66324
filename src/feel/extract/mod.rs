//! From readings to figures; the definitions stand in `docs/model/feel.md`.
//!
//! A sweep's readings are parted by the direction of motion, lines are laid through the parts, and
//! the figures are read off the lines. A response is taken as 14 CFR part 60, appendix C, describes
//! it. Nothing here supposes even sampling.

mod branches;
mod curve;
mod error;
mod line;
mod middle;
mod polynomial;
mod response;
mod ripple;
mod steps;
mod stops;
mod sweep;

#[cfg(test)]
mod tests;

pub use branches::SWEEP_READINGS_MIN;
pub use error::ExtractError;
pub use response::{RESPONSE_READINGS_MIN, response_figures};
pub use sweep::sweep_figures;

pub(crate) use branches::{branch_runs, ways};
pub(crate) use line::noise;
#[cfg(test)]
pub(crate) use tests::Chance;

use crate::figures::Figures;
use crate::record::Record;

/// Figures of everything in a record, in its order. The effective mass cannot be had from readings
/// alone and stays empty.
///
/// # Errors
///
/// The first measurement that gives no figures, named.
pub fn figures(record: &Record) -> Result<Figures, ExtractError> {
    let sweeps = record.sweeps.iter().map(|sweep| {
        sweep_figures(sweep).map_err(|error| ExtractError::In {
            kind: "sweep",
            axis: sweep.axis,
            condition: sweep.condition,
            error: Box::new(error),
        })
    });
    let responses = record.responses.iter().map(|response| {
        response_figures(response).map_err(|error| ExtractError::In {
            kind: "response",
            axis: response.axis,
            condition: response.condition,
            error: Box::new(error),
        })
    });
    Ok(Figures {
        source: record.source.clone(),
        sweeps: sweeps.collect::<Result<_, _>>()?,
        responses: responses.collect::<Result<_, _>>()?,
        trim_rate_deg_per_s: record.trim_rate_deg_per_s,
        effective_mass_kg: [None; 2],
    })
}

//! The result for programs.

use super::shown::FitShown;
use crate::exit::Exit;
use serde::Serialize;
use trimproof_feel::fit::{AxisFit, Entangled, Estimate, Residual, Residuals};

/// Version of this form: it rises when a field changes its meaning or goes.
const FORM: u32 = 1;

/// The whole of it.
#[derive(Serialize)]
pub struct FitForm<'a> {
    form: u32,
    exit_code: u8,
    rig: &'a str,
    source: &'a str,
    axes: Vec<FitAxis<'a>>,
    notes: &'a [String],
    written: Option<String>,
    written_notes: &'a [String],
}

#[derive(Serialize)]
struct FitAxis<'a> {
    axis: &'static str,
    values: Vec<FitValue>,
    entangled: Vec<Parted<'a>>,
    measurements: Vec<Measurement<'a>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct FitValue {
    what: &'static str,
    origin: &'static str,
    rig: f64,
    value: f64,
    standard_error: Option<f64>,
    interval_95: Option<[f64; 2]>,
    unit: &'static str,
}

#[derive(Serialize)]
struct Parted<'a> {
    between: &'a [String],
    correlation: Option<f64>,
    parted_by: &'static str,
}

#[derive(Serialize)]
struct Measurement<'a> {
    name: &'a str,
    unit: &'static str,
    deviation: f64,
    correlation_length: f64,
    left_out: usize,
    columns: [&'static str; 4],
    points: Vec<[f64; 4]>,
}

impl<'a> FitForm<'a> {
    /// The form of a result.
    pub fn of(shown: &FitShown<'a>, exit: Exit) -> Self {
        Self {
            form: FORM,
            exit_code: exit.code(),
            rig: shown.rig,
            source: &shown.fit.source,
            axes: shown.fit.axes.iter().map(axis).collect(),
            notes: &shown.fit.notes,
            written: shown
                .written
                .map(|(file, _)| file.display().to_string())
                .filter(|_| exit == Exit::Pass),
            written_notes: shown.written.map_or(&[], |(_, new)| &new.notes),
        }
    }
}

fn axis(fit: &AxisFit) -> FitAxis<'_> {
    FitAxis {
        axis: fit.axis.name(),
        values: fit.estimates.iter().map(value).collect(),
        entangled: fit.entangled.iter().map(parted).collect(),
        measurements: fit.residuals.iter().map(measurement).collect(),
        notes: &fit.notes,
    }
}

fn value(estimate: &Estimate) -> FitValue {
    FitValue {
        what: estimate.quantity.key(),
        origin: estimate.origin.name(),
        rig: estimate.rig,
        value: estimate.value,
        standard_error: estimate.standard_error,
        interval_95: estimate.interval,
        unit: estimate.quantity.unit(),
    }
}

fn parted(entangled: &Entangled) -> Parted<'_> {
    Parted {
        between: &entangled.names,
        correlation: entangled.correlation,
        parted_by: entangled.advice,
    }
}

fn measurement(residuals: &Residuals) -> Measurement<'_> {
    let row = |point: &Residual| {
        [
            point.time_s,
            point.position_deg,
            point.measured,
            point.model,
        ]
    };
    Measurement {
        name: &residuals.name,
        unit: residuals.unit,
        deviation: residuals.deviation,
        correlation_length: residuals.correlation_length,
        left_out: residuals.left_out,
        columns: ["time_s", "position_deg", "measured", "model"],
        points: residuals.points.iter().map(row).collect(),
    }
}

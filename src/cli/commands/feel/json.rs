//! The report for programs; documented in docs/guides/feel.md.

use super::report::{CAUTION, FeelReport, Stick};
use crate::exit::Exit;
use serde::Serialize;
use trimproof_feel::figures::{ResponseFigures, SweepFigures};
use trimproof_feel::judge::FeelVerdict;

/// Version of the form: it rises when a field changes its meaning or goes.
const FORM: u32 = 1;

/// A whole report.
#[derive(Serialize)]
pub struct FeelForm<'a> {
    form: u32,
    exit_code: u8,
    caution: &'static str,
    rig: &'a str,
    measured: StickForm<'a>,
    #[serde(skip_serializing_if = "Option::is_none")]
    against: Option<StickForm<'a>>,
    targets: Vec<VerdictForm<'a>>,
    table_c2a: Vec<VerdictForm<'a>>,
    advice: Vec<VerdictForm<'a>>,
}

#[derive(Serialize)]
struct StickForm<'a> {
    source: &'a str,
    sweeps: Vec<SweepForm>,
    responses: Vec<ResponseForm<'a>>,
    trim_rate_deg_per_s: [Option<f64>; 2],
    effective_mass_kg: [Option<f64>; 2],
    notes: &'a [String],
}

#[derive(Serialize)]
struct SweepForm {
    axis: &'static str,
    condition: &'static str,
    grip_radius_m: f64,
    breakout_n: [f64; 2],
    first_inch_n_per_deg: [f64; 2],
    beyond_n_per_deg: [Option<f64>; 2],
    friction_n: f64,
    ripple: Option<RippleForm>,
    free_play_deg: f64,
    centring_error_deg: [f64; 2],
    stop_deg: [f64; 2],
    largest_n: [f64; 2],
    discontinuities: Vec<StepForm>,
    slipped_at_deg: Option<f64>,
}

#[derive(Serialize)]
struct RippleForm {
    peak_n: f64,
    peak_at_deg: f64,
    peak_to_peak_n: f64,
    trough_to_crest_deg: [f64; 2],
}

#[derive(Serialize)]
struct StepForm {
    at_deg: f64,
    step_n: f64,
}

#[derive(Serialize)]
struct ResponseForm<'a> {
    axis: &'static str,
    condition: &'static str,
    initial_deg: f64,
    steady_deg: f64,
    p0_s: Option<f64>,
    periods_s: &'a [f64],
    overshoots_deg: &'a [f64],
    to_90_percent_s: f64,
    damping_ratio: Option<f64>,
    residual_deg: f64,
}

#[derive(Serialize)]
struct VerdictForm<'a> {
    outcome: &'static str,
    axis: &'static str,
    condition: Option<&'static str>,
    what: &'a str,
    source: &'a str,
    value: Option<f64>,
    reference: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    margin: Option<f64>,
    unit: &'static str,
    note: &'a str,
}

impl<'a> FeelForm<'a> {
    /// The report in this form.
    pub fn of(report: &'a FeelReport<'a>, exit: Exit) -> Self {
        let verdicts = |verdicts: &'a [FeelVerdict]| verdicts.iter().map(verdict).collect();
        Self {
            form: FORM,
            exit_code: exit.code(),
            caution: CAUTION,
            rig: &report.rig.name,
            measured: stick(report.stick),
            against: report.other.map(stick),
            targets: verdicts(&report.targets),
            table_c2a: verdicts(&report.table),
            advice: verdicts(&report.advice),
        }
    }
}

fn stick(stick: &Stick) -> StickForm<'_> {
    StickForm {
        source: &stick.record.source,
        sweeps: stick.figures.sweeps.iter().map(sweep).collect(),
        responses: stick.figures.responses.iter().map(response).collect(),
        trim_rate_deg_per_s: stick.figures.trim_rate_deg_per_s,
        effective_mass_kg: stick.figures.effective_mass_kg,
        notes: &stick.notes,
    }
}

fn sweep(sweep: &SweepFigures) -> SweepForm {
    SweepForm {
        axis: sweep.axis.name(),
        condition: sweep.condition.name(),
        grip_radius_m: sweep.grip_radius_m,
        breakout_n: sweep.breakout_n,
        first_inch_n_per_deg: sweep.first_inch_n_per_deg,
        beyond_n_per_deg: sweep.beyond_n_per_deg,
        friction_n: sweep.friction_n,
        ripple: sweep.ripple.map(|ripple| RippleForm {
            peak_n: ripple.peak_n,
            peak_at_deg: ripple.peak_at_deg,
            peak_to_peak_n: ripple.peak_to_peak_n,
            trough_to_crest_deg: ripple.trough_to_crest_deg,
        }),
        free_play_deg: sweep.free_play_deg,
        centring_error_deg: sweep.centring_error_deg,
        stop_deg: sweep.stop_deg,
        largest_n: sweep.largest_n,
        discontinuities: sweep
            .discontinuities
            .iter()
            .map(|step| StepForm {
                at_deg: step.at_deg,
                step_n: step.step_n,
            })
            .collect(),
        slipped_at_deg: sweep.slipped_at_deg,
    }
}

fn response(response: &ResponseFigures) -> ResponseForm<'_> {
    ResponseForm {
        axis: response.axis.name(),
        condition: response.condition.name(),
        initial_deg: response.initial_deg,
        steady_deg: response.steady_deg,
        p0_s: response.p0_s,
        periods_s: &response.periods_s,
        overshoots_deg: &response.overshoots_deg,
        to_90_percent_s: response.to_90_percent_s,
        damping_ratio: response.damping_ratio,
        residual_deg: response.residual_deg,
    }
}

fn verdict(verdict: &FeelVerdict) -> VerdictForm<'_> {
    VerdictForm {
        outcome: verdict.outcome.name(),
        axis: verdict.axis.name(),
        condition: verdict.condition.map(|condition| condition.name()),
        what: &verdict.what,
        source: &verdict.source,
        value: verdict.value,
        reference: verdict.reference,
        low: verdict.wanted.low,
        high: verdict.wanted.high,
        margin: verdict.margin(),
        unit: verdict.unit.name(),
        note: &verdict.note,
    }
}

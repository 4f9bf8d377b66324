//! What a hand on a stick cannot have done: records whose times, angles or forces are read in the
//! wrong unit.
//!
//! The bounds are far outside what anyone measures and well inside what a wrong unit makes of it:
//! seconds and milliseconds are a factor of 1000 apart, degrees and radians 57, millimetres and
//! metres 1000. They are this project's own (common practice, no source).

use trimproof_plant::{AxisName, Rig};

use crate::record::{Condition, Record, Response, ResponseSample, Sweep};

/// Rates at which a slow sweep is swept, degrees per second: from one that takes an hour over 40
/// degrees to a jerk.
const SWEEP_DEG_PER_S: [f64; 2] = [0.02, 100.0];
/// A stick let go swings several times a second: readings further apart than this show nothing of
/// it, s.
const RESPONSE_EVERY_S: f64 = 0.25;
/// How long the record of a stick let go may be, s: shorter than any swing, and longer than any
/// takes to settle.
const RESPONSE_LONG_S: [f64; 2] = [0.02, 60.0];
/// A response is timed from the release: its first reading cannot be later, s.
const RESPONSE_BEGINS_S: f64 = 1.0;
/// Share of the rig's travel that a sweep covers at least, and so many times the travel at most.
const SWEEP_SHARE: [f64; 2] = [0.02, 3.0];
/// The same of a stick let go: it comes from a deflection well outside the free play.
const RESPONSE_SHARE: [f64; 2] = [0.01, 3.0];
/// No hand pushes a stick harder, N.
const FORCE_MOST_N: f64 = 2000.0;

/// A measurement that no hand and no stick can have made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{what} of {}, {}: {read}", axis.name(), condition.name())]
pub struct Implausible {
    /// `sweep`, or `response 2`.
    pub what: String,
    /// Its axis.
    pub axis: AxisName,
    /// What the drives did.
    pub condition: Condition,
    /// What was read and why that cannot be, with the numbers.
    pub read: String,
    /// What to look at in the file.
    pub check: &'static str,
}

const TIME_UNIT: &str = "check the unit of the time column: `time [s]` or `time [ms]`";
const POSITION_UNIT: &str = "check the unit of the position column: `[deg]` or `[rad]` of an angle, `[mm]`, `[cm]`, `[m]` or `[in]` of travel at the grip";
const FORCE_UNIT: &str =
    "check the unit of the force column: `[N]`, `[daN]`, `[lb]`, `[kg]` or `[g]`";
const FORCE_COLUMN: &str = "check that the force column holds the gauge's readings";
const POSITION_COLUMN: &str = "check that the position column holds the sensor's readings";
const TIME_ZERO: &str =
    "the time of a response runs from the release: subtract the instant of the release";

/// Looks at every measurement of a record that was made on a stick like `rig`.
///
/// # Errors
/// The first measurement that cannot be: what was read, and what to check. Readings that are no
/// finite numbers and time that does not rise are left to what uses the record.
pub fn plausible(rig: &Rig, record: &Record) -> Result<(), Implausible> {
    for sweep in &record.sweeps {
        check_sweep(rig, sweep).map_err(|(read, check)| Implausible {
            what: "sweep".to_owned(),
            axis: sweep.axis,
            condition: sweep.condition,
            read,
            check,
        })?;
    }
    for axis in AxisName::ALL {
        let responses = record.responses.iter().filter(|one| one.axis == axis);
        for (number, response) in responses.enumerate() {
            check_response(rig, response).map_err(|(read, check)| Implausible {
                what: format!("response {}", number + 1),
                axis,
                condition: response.condition,
                read,
                check,
            })?;
        }
    }
    Ok(())
}

type Finding = (String, &'static str);

fn check_sweep(rig: &Rig, sweep: &Sweep) -> Result<(), Finding> {
    let samples = &sweep.samples;
    let times = || samples.iter().map(|sample| sample.time_s);
    let positions = || samples.iter().map(|sample| sample.position_deg);
    let forces = || samples.iter().map(|sample| sample.force_n);
    let travelled: f64 = samples
        .windows(2)
        .map(|pair| (pair[1].position_deg - pair[0].position_deg).abs())
        .sum();
    let span_deg = moved(rig, sweep.axis, span(positions()), SWEEP_SHARE, "sweep")?;
    let [least_n, most_n] = ends(forces());
    if most_n.abs().max(least_n.abs()) > FORCE_MOST_N {
        return Err((
            format!(
                "the force goes from `{least_n:.4}` to `{most_n:.4}` N, no hand pushes harder than {FORCE_MOST_N} N"
            ),
            FORCE_UNIT,
        ));
    }
    if most_n == least_n {
        return Err((
            format!(
                "the force is `{:.4}` N in every reading, while the stick moves over {span_deg:.2} degrees",
                least_n + 0.0
            ),
            FORCE_COLUMN,
        ));
    }
    let long_s = span(times());
    // Out, over to the other stop and back; a noisy sensor makes the way longer, never the sweep.
    let rate = travelled.min(4.0 * span_deg) / long_s;
    let [slow, fast] = SWEEP_DEG_PER_S;
    if rate < slow || rate > fast {
        let word = if rate < slow { "slower" } else { "faster" };
        return Err((
            format!(
                "{} readings over `{long_s:.4}` s, {:.3} a second: the stick would move at `{rate:.3}` degrees a second, {word} than any sweep by hand ({slow} to {fast})",
                samples.len(),
                samples.len() as f64 / long_s
            ),
            TIME_UNIT,
        ));
    }
    Ok(())
}

fn check_response(rig: &Rig, response: &Response) -> Result<(), Finding> {
    let samples = &response.samples;
    let times = || samples.iter().map(|sample| sample.time_s);
    let positions = || samples.iter().map(|sample| sample.position_deg);
    let long_s = span(times());
    let every_s = median_step_s(samples);
    let [least_s, most_s] = RESPONSE_LONG_S;
    if long_s > most_s || every_s > RESPONSE_EVERY_S {
        return Err((
            format!(
                "{} readings over `{long_s:.4}` s, one every `{every_s:.4}` s: a stick let go swings several times a second and rests within {most_s} s",
                samples.len()
            ),
            TIME_UNIT,
        ));
    }
    if long_s < least_s {
        return Err((
            format!(
                "{} readings over `{long_s:.6}` s, one every `{every_s:.2e}` s: no stick swings within {least_s} s",
                samples.len()
            ),
            TIME_UNIT,
        ));
    }
    let first_s = times().find(|time| *time >= 0.0);
    match first_s {
        Some(first_s) if first_s <= RESPONSE_BEGINS_S => {}
        Some(first_s) => {
            return Err((
                format!(
                    "the first reading is `{first_s:.4}` s after the release, the swing is over by then"
                ),
                TIME_ZERO,
            ));
        }
        None => {
            return Err((
                "every reading is before the release (time below 0)".to_owned(),
                TIME_ZERO,
            ));
        }
    }
    moved(
        rig,
        response.axis,
        span(positions()),
        RESPONSE_SHARE,
        "stick",
    )?;
    Ok(())
}

/// How far the stick moves, degrees, if that can be on such a rig.
fn moved(
    rig: &Rig,
    axis: AxisName,
    span_deg: f64,
    [least, most]: [f64; 2],
    what: &str,
) -> Result<f64, Finding> {
    let stops = &rig.axis(axis.index()).stops;
    let travel_deg = stops.max_deg - stops.min_deg;
    if span_deg == 0.0 {
        return Err((
            "the position is the same in every reading: the stick does not move".to_owned(),
            POSITION_COLUMN,
        ));
    }
    if span_deg < least * travel_deg {
        return Err((
            format!(
                "the {what} covers `{span_deg:.4}` of the {travel_deg} degrees between the stops of rig `{}`",
                rig.name
            ),
            POSITION_UNIT,
        ));
    }
    if span_deg > most * travel_deg {
        return Err((
            format!(
                "the {what} covers `{span_deg:.1}` degrees, there are {travel_deg} between the stops of rig `{}`",
                rig.name
            ),
            POSITION_UNIT,
        ));
    }
    Ok(span_deg)
}

fn ends(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], value| {
        [low.min(value), high.max(value)]
    })
}

fn span(values: impl Iterator<Item = f64>) -> f64 {
    let [low, high] = ends(values);
    (high - low).max(0.0)
}

/// Time from one reading to the next, s: the median, as a pause says nothing.
fn median_step_s(samples: &[ResponseSample]) -> f64 {
    let mut steps: Vec<f64> = samples
        .windows(2)
        .map(|pair| pair[1].time_s - pair[0].time_s)
        .collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(0.0)
}

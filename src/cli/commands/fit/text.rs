//! The result for people.

use super::shown::FitShown;
use std::fmt::Write;
use trimproof_diagnostics::line;
use trimproof_feel::fit::{AxisFit, Entangled, Estimate, Origin, Residuals};
use trimproof_harness::card::WIDTH;
use trimproof_harness::card::text::{table, wrap_into};

/// Renders the whole report.
pub fn render(shown: &FitShown<'_>) -> String {
    let mut out = format!(
        "Fit of {} to {}\n",
        line(shown.rig),
        line(&shown.fit.source)
    );
    for axis in &shown.fit.axes {
        let _ = writeln!(out, "\n{}", axis.axis.name());
        out.push_str(&values(axis));
        out.push('\n');
        out.push_str(&measurements(&axis.residuals));
        if !axis.entangled.is_empty() {
            out.push_str("\n  What the data hardly distinguish\n");
            for one in &axis.entangled {
                wrap_into(&mut out, &parted(one), 4, WIDTH);
            }
        }
        notes(&mut out, &axis.notes);
    }
    notes(&mut out, &shown.fit.notes);
    if let Some((file, new)) = shown.written {
        let _ = writeln!(
            out,
            "\nThe rig with the measured values: {}",
            line(&file.display().to_string())
        );
        notes(&mut out, &new.notes);
    }
    out
}

fn notes(out: &mut String, notes: &[String]) {
    if !notes.is_empty() {
        out.push('\n');
    }
    for note in notes {
        wrap_into(out, &format!("- {note}"), 2, WIDTH);
    }
}

fn values(axis: &AxisFit) -> String {
    let heads = ["", "rig", "measured", "± error", "95 % from", "to", "unit"];
    let mut rows = vec![heads.map(str::to_owned).to_vec()];
    rows.extend(axis.estimates.iter().map(value));
    table(&rows, &[false, true, true, true, true, true, false], 2)
}

fn value(estimate: &Estimate) -> Vec<String> {
    let dash = || "-".to_owned();
    let [low, high] = estimate
        .interval
        .map_or([dash(), dash()], |ends| ends.map(digits));
    vec![
        estimate.quantity.name().to_owned(),
        digits(estimate.rig),
        match estimate.origin {
            Origin::Measured => digits(estimate.value),
            Origin::Taken => dash(),
            Origin::Undetermined => "undetermined".to_owned(),
        },
        estimate
            .standard_error
            .map_or_else(dash, |error| digits_of(error, 2)),
        low,
        high,
        estimate.quantity.unit().to_owned(),
    ]
}

fn measurements(all: &[Residuals]) -> String {
    let heads = [
        "measurement",
        "readings",
        "left out",
        "deviation",
        "unit",
        "correlated over",
    ];
    let mut rows = vec![heads.map(str::to_owned).to_vec()];
    rows.extend(all.iter().map(|one| {
        vec![
            one.name.clone(),
            one.points.len().to_string(),
            one.left_out.to_string(),
            digits_of(one.deviation, 3),
            one.unit.to_owned(),
            format!("{:.1}", one.correlation_length),
        ]
    }));
    table(&rows, &[false, true, true, true, false, true], 2)
}

fn parted(entangled: &Entangled) -> String {
    let names = entangled.names.join(", ");
    let how = match entangled.correlation {
        Some(correlation) => format!("correlation {correlation:.3}"),
        None => "not determined at all".to_owned(),
    };
    format!("{names}: {how}; parted by {}", entangled.advice)
}

/// Four significant digits.
fn digits(value: f64) -> String {
    digits_of(value, 4)
}

/// So many significant digits, without an exponent.
fn digits_of(value: f64, significant: usize) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let mut decimals = 0;
    let mut size = value.abs();
    while size < 1.0 && decimals < 12 {
        size *= 10.0;
        decimals += 1;
    }
    let mut whole = 1;
    while size >= 10.0 {
        size /= 10.0;
        whole += 1;
    }
    format!("{value:.*}", (significant + decimals).saturating_sub(whole))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn significant_digits_without_an_exponent() {
        for (value, text) in [
            (10.6, "10.60"),
            (0.04034, "0.04034"),
            (0.15, "0.1500"),
            (1234.5, "1234"),
            (1.0, "1.000"),
            (0.0, "0"),
            (3.2e-4, "0.0003200"),
        ] {
            assert_eq!(digits(value), text);
        }
    }
}

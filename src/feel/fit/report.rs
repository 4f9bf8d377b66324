//! From the minimum to estimates, intervals, residuals and what cannot be distinguished.

use trimproof_plant::AxisName;

use super::advice;
use super::law::Values;
use super::problem::{ReadingSet, Unknown};
use super::result::{AxisFit, Entangled, Estimate, FitQuantity, Origin, Residual, Residuals};
use super::solve::Solved;
use super::uncertainty::student_t;

/// Correlation from which on two values are reported as hard to separate.
const ENTANGLED: f64 = 0.95;

/// Puts the result of one axis together.
pub(super) fn axis_fit(
    axis: AxisName,
    rig: &Values,
    solved: &Solved,
    mut notes: Vec<String>,
) -> AxisFit {
    let has_sweep = solved
        .problem
        .sets
        .iter()
        .any(|set| matches!(set, ReadingSet::Sweep(..)));
    let has_responses = solved
        .problem
        .sets
        .iter()
        .any(|set| matches!(set, ReadingSet::Response(..)));
    if !has_responses {
        notes.push(
            "no free response: damping and inertia are not determined; the rig's damping is taken for what it adds to the sweep's loop"
                .to_owned(),
        );
    }
    if !has_sweep {
        notes.push(
            "no sweep: spring rate, breakout and free play are not determined, the rig's are taken; friction, damping and inertia are right only as far as these are"
                .to_owned(),
        );
    }
    if has_sweep {
        notes.push(
            "the rate is that of the cartridge once the rig's weight is taken off: a sweep sees only both together"
                .to_owned(),
        );
    }
    if has_responses {
        notes.push(
            "damping is that of cartridge and pivot together: with the shaft held nothing parts them"
                .to_owned(),
        );
    }
    AxisFit {
        axis,
        estimates: FitQuantity::ALL
            .iter()
            .map(|quantity| estimate(*quantity, rig, solved))
            .collect(),
        entangled: entangled(solved, has_sweep),
        residuals: residuals(solved),
        notes,
    }
}

fn estimate(quantity: FitQuantity, rig: &Values, solved: &Solved) -> Estimate {
    let rig = quantity.in_unit(quantity.of(rig));
    let mut estimate = Estimate {
        quantity,
        origin: Origin::Taken,
        rig,
        value: rig,
        standard_error: None,
        interval: None,
    };
    let problem = &solved.problem;
    let Some(place) = place(solved, Unknown::Of(quantity)) else {
        return estimate;
    };
    if solved.certainty.is_undetermined(place) {
        estimate.origin = Origin::Undetermined;
        return estimate;
    }
    let (at, error) = (problem.at[place], solved.certainty.error(place));
    let reach = student_t(solved.freedom) * error;
    // A value that cannot be negative is not reported as negative.
    let reported = |value: f64| {
        quantity.in_unit(if quantity.is_log() {
            libm::exp(value)
        } else {
            value.max(0.0)
        })
    };
    estimate.origin = Origin::Measured;
    estimate.value = reported(at);
    estimate.standard_error = Some(if quantity.is_log() {
        estimate.value * error
    } else {
        quantity.in_unit(error)
    });
    estimate.interval = Some([reported(at - reach), reported(at + reach)]);
    estimate
}

fn place(solved: &Solved, unknown: Unknown) -> Option<usize> {
    solved
        .problem
        .unknowns
        .iter()
        .position(|one| *one == unknown)
}

/// Directions without news, and pairs with a correlation of more than [`ENTANGLED`] of which one at
/// least is asked for.
fn entangled(solved: &Solved, has_sweep: bool) -> Vec<Entangled> {
    let unknowns = &solved.problem.unknowns;
    let certainty = &solved.certainty;
    let entry = |parts: &[usize], correlation: Option<f64>| {
        let parts: Vec<Unknown> = parts.iter().map(|i| unknowns[*i]).collect();
        Entangled {
            names: parts.iter().map(|one| advice::name(*one)).collect(),
            correlation,
            advice: advice::parts(&parts, has_sweep),
        }
    };
    let mut found: Vec<Entangled> = certainty
        .singular
        .iter()
        .map(|parts| entry(parts, None))
        .collect();
    let asked = |i: usize| matches!(unknowns[i], Unknown::Of(_));
    for a in 0..unknowns.len() {
        for b in a + 1..unknowns.len() {
            let correlation = certainty.correlation(a, b);
            let determined = !certainty.is_undetermined(a) && !certainty.is_undetermined(b);
            if determined && correlation.abs() > ENTANGLED && (asked(a) || asked(b)) {
                found.push(entry(&[a, b], Some(correlation)));
            }
        }
    }
    found
}

fn residuals(solved: &Solved) -> Vec<Residuals> {
    let problem = &solved.problem;
    problem
        .sets
        .iter()
        .zip(&solved.lengths)
        .zip(&solved.left_out)
        .map(|((set, length), left_out)| {
            let model = problem.model(set, &problem.at);
            let points: Vec<Residual> = match set {
                ReadingSet::Sweep(sweep, _) => sweep
                    .readings
                    .iter()
                    .zip(&model)
                    .map(|(r, model)| Residual {
                        time_s: r.time,
                        position_deg: r.angle.to_degrees(),
                        measured: r.torque / sweep.radius,
                        model: model / sweep.radius,
                    })
                    .collect(),
                ReadingSet::Response(_, response, _) => response
                    .readings
                    .iter()
                    .zip(&model)
                    .map(|(r, model)| Residual {
                        time_s: r.time,
                        position_deg: r.angle.to_degrees(),
                        measured: r.angle.to_degrees(),
                        model: model.to_degrees(),
                    })
                    .collect(),
            };
            let counts: Vec<f64> = match set {
                ReadingSet::Sweep(sweep, _) => sweep.readings.iter().map(|r| r.count).collect(),
                ReadingSet::Response(_, response, _) => {
                    response.readings.iter().map(|r| r.count).collect()
                }
            };
            let (mut square, mut kept) = (0.0, 0.0);
            for ((point, count), weight) in points.iter().zip(&counts).zip(set.weights()) {
                if *weight > 0.0 {
                    let off = point.measured - point.model;
                    square += count * off * off;
                    kept += 1.0;
                }
            }
            Residuals {
                name: match set {
                    ReadingSet::Sweep(..) => "held sweep".to_owned(),
                    ReadingSet::Response(i, ..) => format!("response {}", i + 1),
                },
                unit: match set {
                    ReadingSet::Sweep(..) => "N",
                    ReadingSet::Response(..) => "deg",
                },
                points,
                deviation: (square / f64::max(kept, 1.0)).sqrt(),
                correlation_length: *length,
                left_out: *left_out,
            }
        })
        .collect()
}

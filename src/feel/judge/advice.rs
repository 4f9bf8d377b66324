//! Rotorcraft criteria as advice. None decides anything; where the source gives no number, the
//! number is our reading and the row says so.

use trimproof_plant::AxisName;

use super::{
    Basis, FeelOutcome, FeelVerdict, KG_PER_LBM, MM_PER_IN, N_PER_LB, Taken, Unit, Wanted, sides,
    sweep_of,
};
use crate::figures::SweepFigures;
use crate::record::{Condition, Record, SweepSample};

const TRIM: &str = "14 CFR 27.161 and 29.161";
const MANOEUVRE: &str = "14 CFR 27.151 and 29.151";
const STOPS: &str = "14 CFR 29.675";
const JAMMING: &str = "14 CFR 29.683";
const FAILURE: &str = "14 CFR 27.672";
const OLD_SPEC: &str =
    "secondary source quoting the old military rotorcraft handling specification, not verified";
const INERTIA: &str =
    "NASA/Army abstract \"Effects of stick dynamics on helicopter flying qualities\"";
const PRACTICE: &str = "common practice, no source";
const MEMORY: &str = "from memory, no document";

/// First-inch gradient, lb/in (old specification).
const GRADIENT_LB_PER_IN: [f64; 2] = [0.5, 2.0];
/// Limit force, lb, `[pitch, roll]` (old specification).
const LIMIT_LB: [f64; 2] = [8.0, 7.0];
/// Breakout of a cyclic, lb.
const BREAKOUT_LB: [f64; 2] = [0.5, 1.5];
/// Effective inertia at the grip: objectionable beyond 5 to 7 lbm.
const INERTIA_LBM: [f64; 2] = [5.0, 7.0];
/// A stop is this much stiffer than the gradient before it.
const STOP_FACTOR: f64 = 10.0;
/// A hand that went this far past the stop leaned on it, degrees.
const LEAN_DEG: f64 = 0.05;
/// Force at the top of the stick in normal use, N: 700 g to 1 kg.
const USUAL_N: [f64; 2] = [0.7 * 9.806_65, 9.806_65];

/// What the criteria say to the figures of both axes.
pub fn advise(taken: Taken<'_>) -> Vec<FeelVerdict> {
    let figures = taken.figures;
    let mut verdicts = Vec::new();
    for axis in AxisName::ALL {
        if let Some(held) = sweep_of(figures, axis, Condition::Held) {
            trim(&mut verdicts, held);
            breakout(&mut verdicts, held);
            gradient(&mut verdicts, held);
            forces(&mut verdicts, held);
            stops(&mut verdicts, taken.record, held);
            let unpowered = sweep_of(figures, axis, Condition::Unpowered);
            verdicts.push(failure(held, unpowered));
        }
        if let Some(mass_kg) = figures.effective_mass_kg[axis.index()] {
            verdicts.push(inertia(axis, mass_kg));
        }
    }
    verdicts
}

fn row(sweep: &SweepFigures, what: impl Into<String>, source: &str) -> FeelVerdict {
    FeelVerdict::new(Basis::Advice, sweep.axis, what, source).during(sweep.condition)
}

fn both(sweep: &SweepFigures) -> [(usize, &'static str); 2] {
    let [negative, positive] = sides(sweep.axis);
    [(0, negative), (1, positive)]
}

/// Forces go to zero at the trimmed position, without a step in the gradient.
fn trim(verdicts: &mut Vec<FeelVerdict>, held: &SweepFigures) {
    // The weight's part, seen as the difference of the two breakouts: friction must be able to hold
    // it.
    let [negative_n, positive_n] = held.breakout_n;
    verdicts.push(
        row(held, "steady force at trim", TRIM)
            .judged(
                Some(0.5 * (positive_n - negative_n)),
                Wanted::band(-held.friction_n, held.friction_n),
                Unit::Newton,
            )
            .noted(
                "steady force to zero: what is left is held by friction, hands off (our reading)",
            ),
    );
    let largest = held
        .discontinuities
        .iter()
        .copied()
        .max_by(|a, b| a.step_n.abs().total_cmp(&b.step_n.abs()));
    let steps = row(held, "steps in the force", TRIM).judged(
        Some(held.discontinuities.len() as f64),
        Wanted::at_most(0.0),
        Unit::Count,
    );
    verdicts.push(match largest {
        Some(step) => steps.noted(format!(
            "largest {:.2} N at {:.1} deg; no undesirable discontinuity of the gradient",
            step.step_n, step.at_deg
        )),
        None => steps.noted("no undesirable discontinuity of the gradient"),
    });
}

fn breakout(verdicts: &mut Vec<FeelVerdict>, held: &SweepFigures) {
    let [low, high] = BREAKOUT_LB.map(|lb| lb * N_PER_LB);
    for (side, name) in both(held) {
        verdicts.push(
            row(held, format!("breakout {name}"), MEMORY)
                .judged(
                    Some(held.breakout_n[side]),
                    Wanted::band(low, high),
                    Unit::Newton,
                )
                .noted("0.5 to 1.5 lb of a cyclic, friction included"),
        );
    }
    let spring_n = held.breakout_n[0].min(held.breakout_n[1]) - held.friction_n;
    verdicts.push(
        row(held, "friction", MANOEUVRE)
            .judged(
                Some(held.friction_n),
                Wanted::at_most(spring_n),
                Unit::Newton,
            )
            .noted("no excessive friction; at most what the spring breaks out with, so that it centres: our reading"),
    );
}

fn gradient(verdicts: &mut Vec<FeelVerdict>, held: &SweepFigures) {
    let deg_per_mm = (1.0_f64 / (held.grip_radius_m * 1000.0)).to_degrees();
    let [low, high] = GRADIENT_LB_PER_IN.map(|lb_per_in| lb_per_in * N_PER_LB / MM_PER_IN);
    for (side, name) in both(held) {
        let first = held.first_inch_n_per_deg[side] * deg_per_mm;
        verdicts.push(
            row(held, format!("first-inch gradient {name}"), OLD_SPEC).judged(
                Some(first),
                Wanted::band(low, high),
                Unit::NewtonPerMm,
            ),
        );
        verdicts.push(
            row(held, format!("force of the first inch {name}"), OLD_SPEC)
                .judged(
                    Some(first * MM_PER_IN),
                    Wanted::at_least(held.breakout_n[side]),
                    Unit::Newton,
                )
                .noted("at least breakout and friction together"),
        );
        if let Some(beyond) = held.beyond_n_per_deg[side] {
            verdicts.push(
                row(held, format!("gradient beyond {name}"), OLD_SPEC)
                    .judged(
                        Some(beyond * deg_per_mm),
                        // One part in a hundred more is the same slope as measured.
                        Wanted::band(0.0, 1.01 * first),
                        Unit::NewtonPerMm,
                    )
                    .noted("positive, and no steeper than the first inch (to 1 %)"),
            );
        }
    }
}

fn forces(verdicts: &mut Vec<FeelVerdict>, held: &SweepFigures) {
    let limit_n = LIMIT_LB[held.axis.index()] * N_PER_LB;
    let [low, high] = USUAL_N;
    for (side, name) in both(held) {
        verdicts.push(row(held, format!("largest force {name}"), OLD_SPEC).judged(
            Some(held.largest_n[side]),
            Wanted::at_most(limit_n),
            Unit::Newton,
        ));
        // Half way: between breakout and the largest force.
        let usual_n = 0.5 * (held.breakout_n[side] + held.largest_n[side]);
        verdicts.push(
            row(held, format!("force half way {name}"), PRACTICE)
                .judged(Some(usual_n), Wanted::band(low, high), Unit::Newton)
                .noted(
                    "700 g to 1 kg at the top of the stick in normal use; half way: our reading",
                ),
        );
    }
    verdicts.push(
        row(held, "drive that slips", JAMMING)
            .judged(
                Some(f64::from(u8::from(held.slipped_at_deg.is_some()))),
                Wanted::at_most(0.0),
                Unit::Count,
            )
            .noted("no excessive deflection under the pilot's load: the drive keeps its place (our reading)"),
    );
}

/// The stops limit the travel: the hand that leans on one gets hardly further.
fn stops(verdicts: &mut Vec<FeelVerdict>, record: &Record, held: &SweepFigures) {
    let sweep = record
        .sweeps
        .iter()
        .find(|sweep| sweep.axis == held.axis && sweep.condition == held.condition);
    for (side, name) in both(held) {
        let sense = if side == 1 { 1.0 } else { -1.0 };
        let most = |of: fn(&SweepSample) -> f64| {
            let samples = sweep.into_iter().flat_map(|sweep| &sweep.samples);
            samples.map(|sample| sense * of(sample)).fold(0.0, f64::max)
        };
        let past_deg = most(|sample| sample.position_deg) - sense * held.stop_deg[side];
        let past_n = most(|sample| sample.force_n) - held.largest_n[side];
        let slope = held.beyond_n_per_deg[side].unwrap_or(held.first_inch_n_per_deg[side]);
        verdicts.push(
            row(held, format!("stiffness at the stop {name}"), STOPS)
                .judged(
                    (past_deg > LEAN_DEG).then_some(past_n / past_deg),
                    Wanted::at_least(STOP_FACTOR * slope),
                    Unit::NewtonPerDeg,
                )
                .noted("stops that positively limit the travel: ten times as stiff as the gradient, our reading"),
        );
    }
}

/// Supply lost: the pilot moves the stick in the normal sense, with no more force than before.
fn failure(held: &SweepFigures, unpowered: Option<&SweepFigures>) -> FeelVerdict {
    let most_n = held.largest_n[0].max(held.largest_n[1]);
    let mut verdict = row(held, "largest force without supply", FAILURE)
        .judged(
            unpowered.map(|sweep| sweep.largest_n[0].max(sweep.largest_n[1])),
            Wanted::at_most(most_n),
            Unit::Newton,
        )
        .noted(
            "a failure can be overridden; with no more force than the gradient asks: our reading",
        );
    verdict.condition = Some(Condition::Unpowered);
    verdict
}

fn inertia(axis: AxisName, mass_kg: f64) -> FeelVerdict {
    let [warn_kg, fail_kg] = INERTIA_LBM.map(|lbm| lbm * KG_PER_LBM);
    let verdict = FeelVerdict::new(
        Basis::Advice,
        axis,
        "effective inertia at the grip",
        INERTIA,
    )
    .judged(Some(mass_kg), Wanted::at_most(warn_kg), Unit::Kg);
    let note = if mass_kg > fail_kg {
        "objectionable beyond 5 to 7 lbm: this is beyond 7"
    } else {
        "objectionable beyond 5 to 7 lbm: warned at 5, failed at 7 is our reading"
    };
    FeelVerdict {
        outcome: if mass_kg > fail_kg {
            FeelOutcome::AdvisedAgainst
        } else {
            verdict.outcome
        },
        ..verdict
    }
    .noted(note)
}

//! The readable card of a run: what a snapshot holds.
//!
//! A card is at most 100 characters wide and says the same on every machine. Its numbers are
//! rounded for people: times to 1 ms, angles to 0.01 deg (jumps to 0.001 deg), forces to 0.1 N,
//! rates to 0.1 deg/s, lag to 0.1 full step, volts to 0.01 V, amperes to 0.01 A, margins to three
//! significant digits. What rounding hides, the hash in the last line shows: it changes with any
//! bit of the trace.

mod figures;
pub mod text;
mod timeline;

pub use figures::{AxisFigures, CardFigures, Peak, SETTLED_OVER_S};

use crate::judge::Judgement;
use crate::judge::Verdict;
use crate::laws::LawJudgement;
use crate::suite::Case;
use crate::trace::Trace;
use std::fmt::Write;
pub use text::WIDTH;
use text::{fixed, margin, plain, share, state_name, table, wrap_into};
use trimproof_diagnostics::line;
use trimproof_formula::Signals;

/// Rows of the samples table.
const SAMPLES: usize = 13;

/// Columns of the samples table: name, heading, decimals.
const SAMPLED: [(&str, &str, usize); 9] = [
    ("pitch.stick_deg", "p.stick", 2),
    ("pitch.trim_deg", "p.trim", 2),
    ("pitch.reference_deg", "p.ref", 2),
    ("pitch.grip_force_n", "p.grip", 1),
    ("roll.stick_deg", "r.stick", 2),
    ("roll.trim_deg", "r.trim", 2),
    ("roll.reference_deg", "r.ref", 2),
    ("roll.grip_force_n", "r.grip", 1),
    ("supply_v", "supply", 2),
];

/// Renders the card of a complete run; `hash` is that of its trace.
pub fn render(
    case: &Case,
    trace: &Trace,
    judgements: &[Judgement],
    laws: &[LawJudgement],
    hash: &str,
) -> String {
    let mut out = String::new();
    header(&mut out, case, trace);
    out.push_str("\ntimeline\n");
    out.push_str(&timeline::render(&case.scenario, trace));
    out.push_str("\nkey figures\n");
    out.push_str(&key_figures(&CardFigures::of(trace)));
    let _ = writeln!(
        out,
        "\nexpectations: {} of {} pass{}{}",
        judgements.iter().filter(|one| one.passes()).count(),
        judgements.len(),
        match judgements.iter().filter(|one| is_untested(one)).count() {
            0 => String::new(),
            never => format!(", {never} never put to the test"),
        },
        not_judged(judgements.iter().map(|one| one.verdict))
    );
    out.push_str(&expectations(judgements));
    law_lines(&mut out, laws);
    out.push_str("\nsamples (deg, N, V; p pitch, r roll)\n");
    out.push_str(&samples(trace));
    let _ = writeln!(out, "\nhash {hash}");
    out
}

fn header(out: &mut String, case: &Case, trace: &Trace) {
    let _ = writeln!(out, "{} on {}", line(&case.name), line(&case.rig_name));
    wrap_into(out, &case.scenario.title, 4, WIDTH);
    let _ = writeln!(
        out,
        "    {} s, {} ticks of {} ms, seed {}",
        plain(case.scenario.length_s),
        trace.rows(),
        fixed(trace.tick_s() * 1000.0, 3)
            .trim_end_matches('0')
            .trim_end_matches('.'),
        case.scenario.seed
    );
}

fn key_figures(figures: &CardFigures) -> String {
    let mut rows = vec![vec![
        String::new(),
        "pitch".into(),
        "at s".into(),
        "roll".into(),
        "at s".into(),
    ]];
    let mut peaks = |name: &str, decimals: usize, of: &dyn Fn(&AxisFigures) -> Peak| {
        let mut row = vec![name.to_owned()];
        for axis in &figures.axis {
            let value = fixed(of(axis).value, decimals);
            // Where nothing happened there is no instant to name.
            let nothing = value.bytes().all(|byte| byte == b'0' || byte == b'.');
            row.push(value);
            row.push(if nothing {
                String::new()
            } else {
                fixed(of(axis).at_s, 3)
            });
        }
        rows.push(row);
    };
    peaks("stick peak, deg", 2, &|axis| axis.stick_peak_deg);
    peaks("grip force peak, N", 1, &|axis| axis.grip_peak_n);
    peaks("stop force peak, N", 1, &|axis| axis.stop_peak_n);
    peaks("trim shaft, largest jump in a tick, deg", 3, &|axis| {
        axis.trim_jump_deg
    });
    peaks("reference, largest rate, deg/s", 1, &|axis| {
        axis.reference_rate_deg_per_s
    });
    peaks("rotor lag peak, full steps", 1, &|axis| axis.lag_peak_steps);
    let mut ends = |name: &str, of: &dyn Fn(&AxisFigures) -> f64| {
        let [pitch, roll] = [0, 1].map(|axis| fixed(of(&figures.axis[axis]), 2));
        rows.push(vec![
            name.to_owned(),
            pitch,
            String::new(),
            roll,
            String::new(),
        ]);
    };
    ends(
        &format!("stick settled, mean of last {SETTLED_OVER_S} s, deg"),
        &|axis| axis.stick_settled_deg,
    );
    ends("reference at end, deg", &|axis| axis.reference_end_deg);
    let mut out = table(&rows, &[false, true, true, true, true], 4);
    let _ = writeln!(
        out,
        "    supply lowest {} V at {} s, largest {} A at {} s",
        fixed(figures.supply_min_v.value, 2),
        fixed(figures.supply_min_v.at_s, 3),
        fixed(figures.supply_max_a.value, 2),
        fixed(figures.supply_max_a.at_s, 3)
    );
    out
}

fn is_untested(judgement: &Judgement) -> bool {
    judgement.passes() && !judgement.tested.is_yes()
}

/// `, 3 not judged`, or nothing.
fn not_judged(verdicts: impl Iterator<Item = Verdict>) -> String {
    match verdicts
        .filter(|verdict| *verdict == Verdict::NotJudged)
        .count()
    {
        0 => String::new(),
        count => format!(", {count} not judged"),
    }
}

fn expectations(judgements: &[Judgement]) -> String {
    let rows: Vec<Vec<String>> = judgements
        .iter()
        .map(|judgement| {
            vec![
                if is_untested(judgement) {
                    "never put to the test"
                } else {
                    judgement.verdict.word()
                }
                .to_owned(),
                judgement.margin_text(),
                share(judgement.share),
                match judgement.verdict {
                    Verdict::NotJudged => String::new(),
                    _ => format!("at {}", fixed(judgement.at_s, 3)),
                },
                judgement.name.clone(),
            ]
        })
        .collect();
    clip(&table(&rows, &[false, true, true, true, false], 4))
}

/// How many laws pass, and those that do not.
fn law_lines(out: &mut String, laws: &[LawJudgement]) {
    if laws.is_empty() {
        return;
    }
    let _ = writeln!(
        out,
        "\nlaws: {} of {} pass{}",
        laws.iter().filter(|law| law.passes()).count(),
        laws.len(),
        not_judged(laws.iter().map(LawJudgement::verdict))
    );
    let rows: Vec<Vec<String>> = laws
        .iter()
        .filter_map(|law| {
            let broken = law.broken.as_ref()?;
            let word = if law.excepted.is_some() {
                "excepted"
            } else {
                Verdict::Fail.word()
            };
            Some(vec![
                word.to_owned(),
                margin(broken.margin, &broken.unit),
                format!("at {}", fixed(broken.at_s, 3)),
                law.name.clone(),
            ])
        })
        .collect();
    out.push_str(&clip(&table(&rows, &[false, true, true, false], 4)));
}

fn samples(trace: &Trace) -> String {
    let mut head = vec!["time_s".to_owned(), "state".to_owned()];
    head.extend(SAMPLED.iter().map(|(_, heading, _)| (*heading).to_owned()));
    let mut rows = vec![head];
    let states = trace.signal("state").unwrap_or_default();
    let columns =
        SAMPLED.map(|(name, _, decimals)| (trace.signal(name).unwrap_or_default(), decimals));
    for row in sampled_rows(trace.rows()) {
        let mut cells = vec![
            fixed(row as f64 * trace.tick_s(), 3),
            state_name(states.get(row).copied()),
        ];
        for (values, decimals) in &columns {
            cells.push(
                values
                    .get(row)
                    .map_or_else(String::new, |value| fixed(*value, *decimals)),
            );
        }
        rows.push(cells);
    }
    let mut right = vec![true, false];
    right.extend([true; SAMPLED.len()]);
    table(&rows, &right, 2)
}

/// Rows spread evenly from the first to the last, each once.
fn sampled_rows(rows: usize) -> Vec<usize> {
    let Some(last) = rows.checked_sub(1) else {
        return Vec::new();
    };
    let mut picked: Vec<usize> = (0..SAMPLES)
        .map(|k| (k * last + (SAMPLES - 1) / 2) / (SAMPLES - 1))
        .collect();
    picked.dedup();
    picked
}

/// Lines of more than [`WIDTH`] characters end in `...`.
fn clip(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        if line.chars().count() > WIDTH {
            out.extend(line.chars().take(WIDTH - 3));
            out.push_str("...\n");
        } else {
            out.push_str(line);
            out.push('\n');
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_reach_from_the_first_row_to_the_last() {
        assert_eq!(sampled_rows(0), Vec::<usize>::new());
        assert_eq!(sampled_rows(1), [0]);
        assert_eq!(sampled_rows(3), [0, 1, 2]);
        let rows = sampled_rows(5001);
        assert_eq!((rows.len(), rows[0], rows[1], rows[12]), (13, 0, 417, 5000));
    }

    #[test]
    fn a_long_line_is_clipped_to_the_width() {
        let clipped = clip(&format!("{}\nshort\n", "x".repeat(WIDTH + 1)));
        assert_eq!(clipped.lines().next().unwrap().chars().count(), WIDTH);
        assert!(clipped.ends_with("...\nshort\n"));
    }
}

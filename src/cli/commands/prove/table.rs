//! The verdicts for people.

use super::json::verdict;
use crate::args::ProveArgs;
use crate::board::{self, TargetSource};
use crate::output::Paint;
use std::fmt::Write;
use trimproof_diagnostics::line;
use trimproof_harness::card::{WIDTH, text};
use trimproof_harness::judge::{Judgement, Verdict, missing_text};
use trimproof_harness::laws::LawJudgement;
use trimproof_harness::run::{BAR_RAD, Sensitivity, Traffic};
use trimproof_harness::suite::{End, Outcome};

/// Where the values of a broken expectation's lines begin.
const VALUES_AT: usize = 14;

/// Renders the table of all runs, what was broken, what was kept, and the sum.
pub fn render(
    outcomes: &[Outcome],
    args: &ProveArgs,
    targets: &TargetSource,
    paint: Paint,
) -> String {
    let mut out = painted(&runs(outcomes), paint);
    for outcome in outcomes {
        for judgement in outcome
            .judgements
            .iter()
            .filter(|judgement| judgement.fails())
        {
            broken(&mut out, outcome, judgement, paint);
        }
        for law in outcome.laws.iter().filter(|law| law.fails()) {
            broken_law(&mut out, outcome, law, paint);
        }
    }
    for outcome in outcomes {
        for judgement in outcome.never_tested() {
            never_tested(&mut out, outcome, judgement, paint);
        }
    }
    not_judged(&mut out, outcomes, paint);
    if args.cards {
        for card in outcomes
            .iter()
            .filter_map(|outcome| outcome.card.as_deref())
        {
            let _ = write!(out, "\n{}\n{card}", "=".repeat(WIDTH));
        }
    }
    if args.accuracy {
        out.push_str(&accuracy(outcomes));
    }
    if let Some(folder) = &args.keep {
        let kept: usize = outcomes.iter().map(|outcome| outcome.kept.len()).sum();
        let _ = writeln!(
            out,
            "\n{kept} trace file{} kept in {}",
            plural(kept),
            line(&folder.display().to_string())
        );
    }
    if let Some(on) = targets.description() {
        let mut traffic = Traffic::default();
        for one in outcomes
            .iter()
            .filter_map(|outcome| outcome.traffic.as_ref())
        {
            traffic.add(one);
        }
        let _ = writeln!(out, "\non {}, {}", line(on), line(&targets.identity()));
        board::write_traffic(&mut out, &traffic);
    }
    let _ = writeln!(out, "\n{}", sum(outcomes));
    out
}

fn runs(outcomes: &[Outcome]) -> String {
    let mut rows = vec![vec![
        "verdict".to_owned(),
        "scenario".to_owned(),
        "rig".to_owned(),
        "pass".to_owned(),
        "laws".to_owned(),
        "tightest margin".to_owned(),
        "share".to_owned(),
        "of".to_owned(),
    ]];
    for outcome in outcomes {
        let mut row = vec![
            verdict_word(outcome).to_owned(),
            outcome.name.clone(),
            outcome.rig_name.clone(),
        ];
        let at = text::fixed(outcome.simulated_s, 3);
        match &outcome.end {
            End::Complete => {
                row.push(format!(
                    "{} of {}",
                    outcome.passed_count(),
                    outcome.judgements.len()
                ));
                row.push(match outcome.laws.len() {
                    0 => "none".to_owned(),
                    laws => format!("{} of {laws}", outcome.laws_passed()),
                });
                let shown = outcome.shown();
                row.push(shown.map_or_else(String::new, Judgement::margin_text));
                row.push(shown.map_or_else(String::new, |shown| text::share(shown.share)));
                row.push(shown.map_or_else(String::new, |shown| shown.name.clone()));
            }
            End::Cut(reason) | End::Aborted(reason) => {
                row.extend([
                    String::new(),
                    String::new(),
                    format!("at {at} s"),
                    String::new(),
                    reason.clone(),
                ]);
            }
            End::Stopped => {
                row.extend([String::new(), String::new(), format!("at {at} s")]);
            }
            End::NotRun => {}
        }
        rows.push(row);
    }
    text::table(
        &rows,
        &[false, false, false, true, true, true, true, false],
        0,
    )
}

/// The largest differences between each complete run and the same commands at half steps.
fn accuracy(outcomes: &[Outcome]) -> String {
    let mut rows = vec![row([
        "half steps",
        "rig",
        "stick, deg",
        "at s",
        "shaft, deg",
        "at s",
        "force, N",
        "at s",
    ])];
    let mut failed = String::new();
    let (mut compared, mut within) = (0, 0);
    let mut beyond = String::new();
    for outcome in outcomes {
        match &outcome.accuracy {
            Some(Ok(found)) => {
                compared += 1;
                within += usize::from(!found.is_beyond());
                if let Some(sensitivity) = &found.sensitivity {
                    let _ = writeln!(beyond, "{}: {}", outcome.label(), why_beyond(sensitivity));
                }
                let mut cells = vec![outcome.name.clone(), outcome.rig_name.clone()];
                for (difference, digits) in [
                    (&found.stick_deg, 6),
                    (&found.shaft_deg, 6),
                    (&found.grip_force_n, 4),
                ] {
                    cells.push(text::fixed(difference.largest, digits));
                    cells.push(text::fixed(difference.at_s, 3));
                }
                rows.push(cells);
            }
            Some(Err(why)) => {
                let _ = writeln!(failed, "{} at half steps: {why}", outcome.label());
            }
            None => {}
        }
    }
    let right = [false, false, true, true, true, true, true, true];
    format!(
        "\nlargest difference to the same commands at half the integrator's steps\n{}{failed}{within} of {compared} runs within {} deg at the stick ({BAR_RAD:.0e} rad)\n{beyond}",
        text::table(&rows, &right, 0),
        text::fixed(BAR_RAD.to_degrees(), 6),
    )
}

/// Whether shorter steps would help a run whose stick differs by more than the bar.
fn why_beyond(sensitivity: &Sensitivity) -> String {
    let Sensitivity {
        change,
        stick_deg,
        is_bifurcation,
    } = sensitivity;
    let moved = format!(
        "{change} moves the stick by {} deg at {} s",
        text::fixed(stick_deg.largest, 6),
        text::fixed(stick_deg.at_s, 3)
    );
    if *is_bifurcation {
        format!("a bifurcation, no step is short enough: {moved}")
    } else {
        format!("the steps are too long for it: {moved} at most")
    }
}

fn row<const N: usize>(words: [&str; N]) -> Vec<String> {
    words.map(str::to_owned).to_vec()
}

/// The verdict as it stands in the table; the bad ones stand out without colour too.
fn verdict_word(outcome: &Outcome) -> &'static str {
    match verdict(outcome) {
        "fail" => Verdict::Fail.word(),
        "not-judged" => Verdict::NotJudged.word(),
        "not-run" => "not run",
        word => word,
    }
}

/// Colours the verdict that a line begins with.
fn painted(table: &str, paint: Paint) -> String {
    let mut out = String::new();
    for row in table.lines() {
        let bad = ["FAIL", "aborted", "not judged"];
        let found = bad.iter().find(|word| row.starts_with(**word));
        let _ = match (found, row.strip_prefix("pass")) {
            (Some(word), _) => writeln!(out, "{}{}", paint.bad(word), &row[word.len()..]),
            (None, Some(rest)) => writeln!(out, "{}{rest}", paint.good("pass")),
            (None, None) => writeln!(out, "{row}"),
        };
    }
    out
}

fn broken(out: &mut String, outcome: &Outcome, judgement: &Judgement, paint: Paint) {
    let _ = writeln!(
        out,
        "\n{} {} on {}: {}",
        paint.bad("FAIL"),
        line(&outcome.name),
        line(&outcome.rig_name),
        line(&judgement.name)
    );
    entry(out, "formula", &judgement.formula);
    let margin = judgement.margin_text();
    entry(
        out,
        "margin",
        &format!("{margin}, worst at {} s", text::fixed(judgement.at_s, 3)),
    );
    if !judgement.decided_by.is_empty() {
        entry(out, "decided by", &judgement.decided_text());
    }
    if let Some(because) = &judgement.because {
        entry(out, "because", because);
    }
}

fn never_tested(out: &mut String, outcome: &Outcome, judgement: &Judgement, paint: Paint) {
    let _ = writeln!(
        out,
        "\n{} {} on {}: {}",
        paint.bad("never put to the test"),
        outcome.name,
        outcome.rig_name,
        judgement.name
    );
    entry(out, "formula", &judgement.formula);
    entry(out, "why", judgement.never_tested().unwrap_or_default());
}

/// What is not judged, once for each thing that runs do not have.
fn not_judged(out: &mut String, outcomes: &[Outcome], paint: Paint) {
    let mut found: Vec<(String, usize)> = Vec::new();
    for outcome in outcomes {
        let expectations = outcome.judgements.iter().map(|one| &one.missing);
        for missing in expectations.chain(outcome.laws.iter().map(|law| &law.missing)) {
            if missing.is_empty() {
                continue;
            }
            let why = missing_text(missing);
            match found.iter_mut().find(|(known, _)| *known == why) {
                Some((_, count)) => *count += 1,
                None => found.push((why, 1)),
            }
        }
    }
    for (why, count) in found {
        let _ = writeln!(
            out,
            "\n{} {count} time{}: {}",
            paint.bad(Verdict::NotJudged.word()),
            plural(count),
            line(&why)
        );
    }
}

fn broken_law(out: &mut String, outcome: &Outcome, law: &LawJudgement, paint: Paint) {
    let _ = writeln!(
        out,
        "\n{} {} on {}: law: {}",
        paint.bad("FAIL"),
        outcome.name,
        outcome.rig_name,
        law.name
    );
    entry(out, "formula", &law.formula);
    if let Some(broken) = &law.broken {
        let margin = text::margin(broken.margin, &broken.unit);
        let at = text::fixed(broken.at_s, 3);
        entry(out, "margin", &format!("{margin}, first false at {at} s"));
        if !broken.decided_by.is_empty() {
            entry(out, "decided by", &broken.decided_by);
        }
    }
    entry(out, "because", &law.because);
}

/// A name and its value, broken into lines that line up.
fn entry(out: &mut String, name: &str, value: &str) {
    let mut lines = String::new();
    text::wrap_into(&mut lines, value, VALUES_AT, WIDTH);
    let _ = writeln!(
        out,
        "  {name:width$}{}",
        lines.trim(),
        width = VALUES_AT - 2
    );
}

fn sum(outcomes: &[Outcome]) -> String {
    let count = |word: &str| {
        outcomes
            .iter()
            .filter(|outcome| verdict(outcome) == word)
            .count()
    };
    let mut parts = Vec::new();
    for word in [
        "pass",
        "fail",
        "not-judged",
        "aborted",
        "stopped",
        "not-run",
    ] {
        let number = count(word);
        if number > 0 || word == "pass" {
            parts.push(format!("{number} {}", word.replace('-', " ")));
        }
    }
    let judged: usize = outcomes
        .iter()
        .map(|outcome| outcome.judgements.len())
        .sum();
    let passed: usize = outcomes.iter().map(Outcome::passed_count).sum();
    let runs = outcomes.len();
    let never = match outcomes.iter().flat_map(Outcome::never_tested).count() {
        0 => String::new(),
        never => format!(", {never} never put to the test"),
    };
    let not_judged = match outcomes.iter().map(Outcome::not_judged_count).sum() {
        0_usize => String::new(),
        count => format!(", {count} not judged"),
    };
    let laws: usize = outcomes.iter().map(|outcome| outcome.laws.len()).sum();
    let laws_passed: usize = outcomes.iter().map(Outcome::laws_passed).sum();
    let of_laws = match laws {
        0 => String::new(),
        _ => format!(", {laws_passed} of {laws} laws"),
    };
    format!(
        "{runs} run{}: {}; {passed} of {judged} expectations{of_laws} pass{never}{not_judged}",
        plural(runs),
        parts.join(", ")
    )
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "" } else { "s" }
}

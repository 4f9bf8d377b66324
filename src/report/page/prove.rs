//! The page of `prove`: every run with its tightest margin, and everything about what broke.

use super::{Block, Figure, Page, Section, Table, Tone, render};
use trimproof_harness::card::text;
use trimproof_harness::judge::{Judgement, Verdict};
use trimproof_harness::suite::{Case, End, Outcome};

/// Makes the page of `outcomes`, which came of `cases` in this order. `controller` is the identity
/// of what was tested, `version` that of the program.
///
/// A broken expectation is shown with the picture of [`Outcome::pictures`] that is about it, if
/// there is one. `trouble` is why nothing could be run at all.
pub fn prove(
    cases: &[Case],
    outcomes: &[Outcome],
    controller: &str,
    version: &str,
    trouble: Option<&str>,
) -> String {
    let mut sections = vec![Section {
        head: "Verdicts".to_owned(),
        blocks: vec![Block::Table(runs(cases, outcomes))],
    }];
    let broken: Vec<Block> = cases
        .iter()
        .zip(outcomes)
        .flat_map(|(case, outcome)| broken(case, outcome))
        .collect();
    if !broken.is_empty() {
        sections.push(Section {
            head: "What was broken".to_owned(),
            blocks: broken,
        });
    }
    let never = never_tested(cases, outcomes);
    if !never.rows.is_empty() {
        sections.push(Section {
            head: "Never put to the test".to_owned(),
            blocks: vec![
                Block::Text(
                    "These expectations hold, but part of each had nothing to judge in its run: they show less than they seem to."
                        .to_owned(),
                ),
                Block::Table(never),
            ],
        });
    }
    sections.push(Section {
        head: "Traces".to_owned(),
        blocks: vec![
            Block::Text(
                "The bit-hash of a trace changes with any bit of it: the same scenario, rig, seed and version give the same hash."
                    .to_owned(),
            ),
            Block::Table(hashes(cases, outcomes)),
        ],
    });
    let mut rigs: Vec<&str> = cases.iter().map(|case| case.rig_name.as_str()).collect();
    rigs.sort_unstable();
    rigs.dedup();
    let simulated_s: f64 = outcomes.iter().map(|outcome| outcome.simulated_s).sum();
    render(&Page {
        title: format!("Trimproof: {}", headline(outcomes)),
        lead: match trouble {
            Some(trouble) => format!("Nothing was run: {trouble}. {}", lead(outcomes)),
            None => lead(outcomes),
        },
        facts: vec![
            ("program".to_owned(), format!("trimproof {version}")),
            ("controller".to_owned(), controller.to_owned()),
            (
                if rigs.len() == 1 { "rig" } else { "rigs" }.to_owned(),
                rigs.join(", "),
            ),
            ("runs".to_owned(), outcomes.len().to_string()),
            (
                "simulated".to_owned(),
                format!("{} s", text::fixed(simulated_s, 1)),
            ),
        ],
        sections,
    })
}

fn headline(outcomes: &[Outcome]) -> String {
    let passed = outcomes.iter().filter(|outcome| outcome.passes()).count();
    format!("{passed} of {} runs pass", outcomes.len())
}

fn lead(outcomes: &[Outcome]) -> String {
    let judged: usize = outcomes
        .iter()
        .map(|outcome| outcome.judgements.len())
        .sum();
    let passed: usize = outcomes.iter().map(Outcome::passed_count).sum();
    let laws: usize = outcomes.iter().map(|outcome| outcome.laws.len()).sum();
    let laws_passed: usize = outcomes.iter().map(Outcome::laws_passed).sum();
    let of_laws = match laws {
        0 => String::new(),
        _ => format!(", {laws_passed} of {laws} laws"),
    };
    let mut lead = format!("{passed} of {judged} expectations{of_laws} pass.");
    let never = outcomes.iter().flat_map(Outcome::never_tested).count();
    if never > 0 {
        lead.push_str(&format!(" {never} of them were never put to the test."));
    }
    let not_judged: usize = outcomes.iter().map(Outcome::not_judged_count).sum();
    if not_judged > 0 {
        lead.push_str(&format!(
            " {not_judged} are not judged: they speak of what the runs do not have."
        ));
    }
    for (word, count) in [
        (
            "aborted, the controller failed",
            count(outcomes, |end| matches!(end, End::Cut(_))),
        ),
        (
            "aborted, the twin could not go on",
            count(outcomes, |end| matches!(end, End::Aborted(_))),
        ),
        (
            "stopped or not run",
            count(outcomes, |end| matches!(end, End::Stopped | End::NotRun)),
        ),
    ] {
        if count > 0 {
            lead.push_str(&format!(
                " {count} run{} {word}: not proven.",
                if count == 1 { "" } else { "s" }
            ));
        }
    }
    lead
}

fn count(outcomes: &[Outcome], which: impl Fn(&End) -> bool) -> usize {
    outcomes
        .iter()
        .filter(|outcome| which(&outcome.end))
        .count()
}

/// The verdict in one word, as `prove` prints it.
fn verdict(outcome: &Outcome) -> (&'static str, Tone) {
    match outcome.end {
        End::Complete => match outcome.verdict().unwrap_or(Verdict::NotJudged) {
            Verdict::Pass => ("pass", Tone::Good),
            Verdict::Fail => ("FAIL", Tone::Bad),
            Verdict::NotJudged => ("not judged", Tone::Bad),
        },
        End::Cut(_) | End::Aborted(_) => ("aborted", Tone::Bad),
        End::Stopped => ("stopped", Tone::Plain),
        End::NotRun => ("not run", Tone::Plain),
    }
}

fn runs(cases: &[Case], outcomes: &[Outcome]) -> Table {
    let rows = cases.iter().zip(outcomes).map(|(case, outcome)| {
        let shown = outcome.shown();
        let of = match (&outcome.end, shown) {
            (End::Cut(reason), _) => {
                format!("at {} s: {reason}", text::fixed(outcome.simulated_s, 3))
            }
            (End::Aborted(reason), _) => {
                format!("the twin cannot compute the run: {reason}")
            }
            (End::Stopped, _) => format!("stopped at {} s", text::fixed(outcome.simulated_s, 3)),
            (_, Some(judgement)) => judgement.name.clone(),
            (_, None) => String::new(),
        };
        let margin = shown.map_or_else(String::new, Judgement::margin_text);
        let share = shown.map_or_else(String::new, |shown| text::share(shown.share));
        let passed = match outcome.end {
            End::Complete => format!("{} of {}", outcome.passed_count(), outcome.judgements.len()),
            _ => String::new(),
        };
        vec![
            verdict(outcome).0.to_owned(),
            case.name.clone(),
            case.rig_name.clone(),
            passed,
            margin,
            share,
            of,
        ]
    });
    Table {
        caption: "Every run with its tightest margin: how far it passes (+) or fails (-), and which share of its limit that is".to_owned(),
        head: ["verdict", "scenario", "rig", "pass", "tightest margin", "share", "of"].map(str::to_owned).into(),
        rows: rows.collect(),
        tones: outcomes.iter().map(|outcome| verdict(outcome).1).collect(),
    }
}

fn broken(case: &Case, outcome: &Outcome) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (index, judgement) in outcome.judgements.iter().enumerate() {
        if !judgement.fails() {
            continue;
        }
        blocks.push(Block::Head(format!(
            "{} on {}: {}",
            case.name, case.rig_name, judgement.name
        )));
        let mut entries = vec![
            ("formula".to_owned(), judgement.formula.clone()),
            ("margin".to_owned(), judgement.margin_text()),
            (
                "worst instant".to_owned(),
                format!("{} s", text::fixed(judgement.at_s, 3)),
            ),
        ];
        if !judgement.decided_by.is_empty() {
            entries.push(("decided by".to_owned(), judgement.decided_text()));
        }
        if let Some(because) = &judgement.because {
            entries.push(("because".to_owned(), because.clone()));
        }
        entries.push(("scenario".to_owned(), case.scenario.title.clone()));
        entries.push(("file".to_owned(), case.file.display().to_string()));
        blocks.push(Block::Entries(entries));
        let picture = outcome
            .pictures
            .iter()
            .find(|picture| picture.of == Some(index));
        match picture.map(|picture| &picture.svg) {
            Some(Ok(svg)) => blocks.push(Block::Figure(Figure {
                caption: String::new(),
                svg: svg.clone(),
            })),
            Some(Err(why)) => blocks.push(Block::Text(format!("No picture: {why}."))),
            None => blocks.push(Block::Text(
                "Not drawn: only the first failed expectations of a run are.".to_owned(),
            )),
        }
    }
    for law in outcome.laws.iter().filter(|law| law.fails()) {
        blocks.push(Block::Head(format!(
            "{} on {}: law: {}",
            case.name, case.rig_name, law.name
        )));
        let mut entries = vec![("formula".to_owned(), law.formula.clone())];
        if let Some(broken) = &law.broken {
            let margin = text::margin(broken.margin, &broken.unit);
            entries.push(("margin".to_owned(), margin));
            let at = format!("{} s", text::fixed(broken.at_s, 3));
            entries.push(("first false".to_owned(), at));
        }
        entries.push(("because".to_owned(), law.because.clone()));
        entries.push(("file".to_owned(), case.file.display().to_string()));
        blocks.push(Block::Entries(entries));
    }
    blocks
}

fn never_tested(cases: &[Case], outcomes: &[Outcome]) -> Table {
    let rows = cases.iter().zip(outcomes).flat_map(|(case, outcome)| {
        outcome.never_tested().map(|judgement| {
            vec![
                case.name.clone(),
                case.rig_name.clone(),
                judgement.name.clone(),
                judgement.never_tested().unwrap_or_default().to_owned(),
            ]
        })
    });
    Table {
        caption: "Expectations that were never put to the test, and why".to_owned(),
        head: ["scenario", "rig", "expectation", "why"]
            .map(str::to_owned)
            .into(),
        rows: rows.collect(),
        tones: Vec::new(),
    }
}

fn hashes(cases: &[Case], outcomes: &[Outcome]) -> Table {
    let rows = cases.iter().zip(outcomes).map(|(case, outcome)| {
        vec![
            case.name.clone(),
            case.rig_name.clone(),
            case.scenario.seed.to_string(),
            format!("{} s", text::fixed(outcome.simulated_s, 3)),
            outcome.hash.clone().unwrap_or_default(),
        ]
    });
    Table {
        caption: "Seed, length and bit-hash of every run".to_owned(),
        head: ["scenario", "rig", "seed", "simulated", "hash"]
            .map(str::to_owned)
            .into(),
        rows: rows.collect(),
        tones: Vec::new(),
    }
}

//! The page of `prove`: every run with its tightest margin, and everything about what broke.

use super::{Block, Figure, Page, Section, Table, Tone, render};
use trimproof_harness::card::text;
use trimproof_harness::judge::Judgement;
use trimproof_harness::suite::{Case, End, Outcome};

/// Makes the page of `outcomes`, which came of `cases` in this order. `controller` is the identity of what was tested, `version` that
/// of the program.
///
/// A broken expectation is shown with the picture of [`Outcome::pictures`] that is about it, if there is one.
pub fn prove(cases: &[Case], outcomes: &[Outcome], controller: &str, version: &str) -> String {
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
        lead: lead(outcomes),
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
    let held = outcomes.iter().filter(|outcome| outcome.held()).count();
    format!("{held} of {} runs held", outcomes.len())
}

fn lead(outcomes: &[Outcome]) -> String {
    let judged: usize = outcomes
        .iter()
        .map(|outcome| outcome.judgements.len())
        .sum();
    let held: usize = outcomes.iter().map(Outcome::held_count).sum();
    let mut lead = format!("{held} of {judged} expectations held.");
    for (word, count) in [
        (
            "cut short",
            count(outcomes, |end| matches!(end, End::Cut(_))),
        ),
        (
            "aborted, the twin could not compute on",
            count(outcomes, |end| matches!(end, End::Aborted(_))),
        ),
        (
            "stopped or not begun",
            count(outcomes, |end| matches!(end, End::Stopped | End::NotBegun)),
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
        End::Complete if outcome.held() => ("held", Tone::Good),
        End::Complete => ("BROKEN", Tone::Bad),
        End::Cut(_) => ("CUT", Tone::Bad),
        End::Aborted(_) => ("ABORTED", Tone::Bad),
        End::Stopped => ("stopped", Tone::Plain),
        End::NotBegun => ("not begun", Tone::Plain),
    }
}

fn runs(cases: &[Case], outcomes: &[Outcome]) -> Table {
    let rows = cases.iter().zip(outcomes).map(|(case, outcome)| {
        let shown = shown(outcome);
        let of = match (&outcome.end, shown) {
            (End::Cut(reason), _) => {
                format!("cut at {} s: {reason}", text::fixed(outcome.simulated_s, 3))
            }
            (End::Aborted(reason), _) => {
                format!("the twin cannot compute the run: {reason}")
            }
            (End::Stopped, _) => format!("stopped at {} s", text::fixed(outcome.simulated_s, 3)),
            (_, Some(judgement)) => judgement.name.clone(),
            (_, None) => String::new(),
        };
        let margin =
            shown.map_or_else(String::new, |shown| text::margin(shown.margin, &shown.unit));
        let held = match outcome.end {
            End::Complete => format!("{} of {}", outcome.held_count(), outcome.judgements.len()),
            _ => String::new(),
        };
        vec![
            verdict(outcome).0.to_owned(),
            case.name.clone(),
            case.rig_name.clone(),
            held,
            margin,
            of,
        ]
    });
    Table {
        caption: "Every run with its tightest margin: how far it held (+) or failed (-), the smallest number whatever its unit".to_owned(),
        head: ["verdict", "scenario", "rig", "held", "tightest margin", "of"].map(str::to_owned).into(),
        rows: rows.collect(),
        tones: outcomes.iter().map(|outcome| verdict(outcome).1).collect(),
    }
}

/// The judgement that a run's line shows: the first that is broken without a number, else the tightest.
fn shown(outcome: &Outcome) -> Option<&Judgement> {
    let yes_or_no = outcome
        .judgements
        .iter()
        .find(|judgement| !judgement.held && !judgement.margin.is_finite());
    yes_or_no.or_else(|| outcome.tightest())
}

fn broken(case: &Case, outcome: &Outcome) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (index, judgement) in outcome.judgements.iter().enumerate() {
        if judgement.held {
            continue;
        }
        blocks.push(Block::Head(format!(
            "{} on {}: {}",
            case.name, case.rig_name, judgement.name
        )));
        let mut entries = vec![
            ("formula".to_owned(), judgement.that.clone()),
            (
                "margin".to_owned(),
                text::margin(judgement.margin, &judgement.unit),
            ),
            (
                "worst instant".to_owned(),
                format!("{} s", text::fixed(judgement.at_s, 3)),
            ),
        ];
        if !judgement.decided_by.is_empty() {
            entries.push(("decided by".to_owned(), judgement.decided_by.clone()));
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
                "Not drawn: only the first broken expectations of a run are.".to_owned(),
            )),
        }
    }
    blocks
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

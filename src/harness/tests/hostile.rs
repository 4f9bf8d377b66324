//! What a report says of names, titles, reasons and boards that mean harm: one line stays one line,
//! XML stays XML.

use crate::card::{self, text};
use crate::compare::compare;
use crate::judge::{Judgement, judge};
use crate::junit;
use crate::rig::RigFile;
use crate::run::{LogicTarget, run_scenario};
use crate::scenario::Scenario;
use crate::suite::{Case, End, Outcome, Plan, run_suite};
use std::num::NonZeroUsize;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use trimproof_diagnostics::{hostile_text, is_invisible};

/// Texts that go through each way out, at least.
const TEXTS: u64 = 10_000;

fn case() -> Case {
    let text = "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 0.01\n\
                [[expect]]\nname = \"e\"\nformula = \"always (pitch.stick_deg < 90.0)\"\n\
                [[expect]]\nname = \"f\"\nformula = \"always (pitch.stick_deg > 90.0)\"\n";
    Case {
        name: "case".to_owned(),
        rig_name: "kittiwake".to_owned(),
        file: "case.toml".into(),
        scenario: Arc::new(Scenario::parse(text).unwrap()),
        rig: Arc::new(
            RigFile::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap(),
        ),
        lines: Arc::default(),
        warnings: Vec::new(),
        laws: Arc::default(),
    }
}

/// Judgements with all their texts taken from `text`: one that held, one that broke.
fn judgements(plain: &[Judgement], text: &dyn Fn(u64) -> String) -> Vec<Judgement> {
    plain
        .iter()
        .zip(0..)
        .map(|(plain, index)| Judgement {
            name: text(4 * index),
            formula: text(4 * index + 1),
            because: Some(text(4 * index + 2)),
            decided_by: text(4 * index + 3),
            ..plain.clone()
        })
        .collect()
}

/// Complete runs of the case, as the runner gives them.
fn outcomes(count: usize) -> Vec<Outcome> {
    let stop = AtomicBool::new(false);
    let plan = Plan {
        accuracy: false,
        cards: false,
        threads: NonZeroUsize::MIN,
        keep: None,
        target: &|| Box::new(LogicTarget::new()),
        draw: None,
        stop: &stop,
    };
    run_suite(&vec![case(); count], &plan, &mut |_, _| {})
}

/// Nothing but line feeds is hidden in a text, and it has so many lines.
fn assert_lines(text: &str, lines: usize, seed: u64) {
    let hidden = text.chars().find(|c| *c != '\n' && is_invisible(*c));
    assert_eq!(hidden, None, "{seed}: {text:?}");
    assert_eq!(text.lines().count(), lines, "{seed}: {text:?}");
}

#[test]
fn a_row_of_a_table_stays_a_row() {
    for seed in 0..TEXTS / 9 + 1 {
        let rows: Vec<Vec<String>> = (0..3)
            .map(|row| {
                (0..3)
                    .map(|cell| hostile_text(9 * seed + 3 * row + cell))
                    .collect()
            })
            .collect();
        let empty = rows.iter().all(|row| row.iter().all(String::is_empty));
        if !empty {
            assert_lines(&text::table(&rows, &[false, true, false], 2), 3, seed);
        }
        let mut wrapped = String::new();
        text::wrap_into(&mut wrapped, &hostile_text(seed), 4, 60);
        assert!(
            !wrapped.contains(|c| c != '\n' && is_invisible(c)),
            "{seed}"
        );
        assert!(
            wrapped.lines().all(|line| line.starts_with("    ")),
            "{seed}: {wrapped:?}"
        );
    }
}

#[test]
fn a_card_says_what_a_card_says() {
    let mut case = case();
    let run = run_scenario(
        &case.rig,
        &case.scenario,
        &mut LogicTarget::new(),
        &mut |_| true,
    );
    let judged = judge(&case.rig, &case.scenario, &run.trace);
    let plain = card::render(&case, &run.trace, &judged, &[], "00");
    for seed in 0..TEXTS / 10 {
        let text = |part: u64| hostile_text(16 * seed + part);
        case.name = text(10);
        case.scenario = Arc::new(Scenario {
            // The title takes as many lines as it needs.
            title: "one line".to_owned(),
            ..(*case.scenario).clone()
        });
        let card = card::render(&case, &run.trace, &judgements(&judged, &text), &[], "00");
        assert_lines(&card, plain.lines().count(), seed);
        case.scenario = Arc::new(Scenario {
            title: text(11),
            ..(*case.scenario).clone()
        });
        let card = card::render(&case, &run.trace, &[], &[], "00");
        assert!(
            !card.contains(|c| c != '\n' && is_invisible(c)),
            "{seed}: {card:?}"
        );
        let forged = card
            .lines()
            .filter(|line| line.starts_with("expectations: ") || line.starts_with("hash "))
            .count();
        assert_eq!(forged, 2, "{seed}: {card:?}");
    }
}

#[test]
fn a_report_is_xml_whatever_the_names() {
    let cases = vec![case(); 4];
    let mut outcomes = outcomes(4);
    let plain: Vec<Judgement> = outcomes[0].judgements.clone();
    assert_eq!(plain.iter().filter(|one| one.passes()).count(), 1);
    for seed in 0..TEXTS / 13 + 1 {
        let text = |part: u64| hostile_text(16 * seed + part);
        let ends = [End::Complete, End::Cut(text(10)), End::Stopped, End::NotRun];
        for (outcome, end) in outcomes.iter_mut().zip(ends) {
            outcome.judgements = match end {
                End::Complete => judgements(&plain, &text),
                _ => Vec::new(),
            };
            (outcome.name, outcome.rig_name) = (text(11), text(12));
            (outcome.end, outcome.hash) = (end, Some(text(13)));
        }
        let xml = junit::render(&cases, &outcomes, None, None);
        assert!(
            !xml.contains(|c| c != '\n' && is_invisible(c)),
            "{seed}: {xml:?}"
        );
        let document = roxmltree::Document::parse(&xml)
            .unwrap_or_else(|error| panic!("{seed}: {error}\n{xml:?}"));
        let count = |name: &str| {
            document
                .descendants()
                .filter(|node| node.has_tag_name(name))
                .count()
        };
        assert_eq!(
            (count("testsuite"), count("failure")),
            (4, 1),
            "{seed}: {xml}"
        );
        for node in document.descendants() {
            for attribute in node.attributes() {
                assert!(!attribute.value().contains(is_invisible), "{seed}: {xml:?}");
            }
        }
    }
}

#[test]
fn a_comparison_stays_in_its_lines() {
    let case = case();
    let run = run_scenario(
        &case.rig,
        &case.scenario,
        &mut LogicTarget::new(),
        &mut |_| true,
    );
    let (mut left, mut right) = (run.trace.clone(), run.trace);
    left.about.controller = "left".to_owned();
    right.about.controller = "right".to_owned();
    let lines = compare(&left, &right).to_string().lines().count();
    for seed in 0..TEXTS / 2 {
        left.about.controller = format!("l{}", hostile_text(2 * seed));
        right.about.controller = format!("r{}", hostile_text(2 * seed + 1));
        assert_lines(&compare(&left, &right).to_string(), lines, seed);
    }
}

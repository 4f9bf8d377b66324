//! Every shipped scenario holds, and its readable card is what was reviewed.
//!
//! The card carries the trace's bit-hash, so this test compares whole traces too. `.ci/run` runs it
//! in the debug profile and compares the release program's hashes with the same cards: the traces
//! of both are equal bit for bit.

mod shipped;

use shipped::{in_folder, shipped};
use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;

use trimproof_harness::run::{LogicTarget, Target};
use trimproof_harness::suite::{Case, Outcome, Plan, run_suite, warnings};

fn run(cases: &[Case], threads: usize) -> Vec<Outcome> {
    let target = || -> Box<dyn Target> { Box::new(LogicTarget::new()) };
    let plan = Plan {
        cards: true,
        threads: NonZeroUsize::new(threads).expect("not zero"),
        keep: None,
        target: &target,
        draw: None,
        accuracy: false,
        stop: &AtomicBool::new(false),
    };
    run_suite(cases, &plan, &mut |_, _| {})
}

#[test]
fn every_shipped_scenario_holds_and_its_card_is_as_reviewed() {
    let cases = shipped();
    assert!(cases.len() >= 24, "{} cases", cases.len());
    let mut broken = Vec::new();
    for outcome in run(&cases, 2) {
        assert!(outcome.laws.len() >= 100, "{} laws", outcome.laws.len());
        for law in outcome.laws.iter().filter(|law| law.is_idle_exception()) {
            broken.push(format!(
                "{}: the exception from `{}` is not needed",
                outcome.label(),
                law.name
            ));
        }
        if !outcome.passes() {
            broken.push(outcome.label());
        }
        let card = outcome
            .card
            .clone()
            .unwrap_or_else(|| panic!("{}: {:?}", outcome.label(), outcome.end));
        insta::with_settings!({
            snapshot_path => "../snapshots",
            prepend_module_to_snapshot => false,
            omit_expression => true,
        }, {
            insta::assert_snapshot!(format!("card__{}__{}", outcome.name, outcome.rig_name), card);
        });
    }
    assert!(broken.is_empty(), "broken: {broken:?}");
}

/// An expectation that had nothing to judge proves nothing, and one that looks at the first row
/// alone is hardly meant.
#[test]
fn every_shipped_expectation_is_put_to_the_test_on_every_rig() {
    let cases = shipped();
    let mut never = Vec::new();
    for outcome in run(&cases, 2) {
        for judgement in outcome.never_tested() {
            let why = judgement.never_tested().unwrap_or_default();
            never.push(format!("{}: {}: {why}", outcome.label(), judgement.name));
        }
    }
    assert!(never.is_empty(), "{}", never.join("\n"));
    let warned: Vec<String> = warnings(&cases).iter().map(ToString::to_string).collect();
    assert!(warned.is_empty(), "{}", warned.join("\n"));
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let cases: Vec<Case> = shipped().into_iter().step_by(5).collect();
    let essence = |outcomes: Vec<Outcome>| -> Vec<_> {
        outcomes
            .into_iter()
            .map(|outcome| (outcome.label(), outcome.hash, outcome.card))
            .collect()
    };
    let one = essence(run(&cases, 1));
    assert_eq!(one, essence(run(&cases, 2)));
    assert_eq!(one, essence(run(&cases, 2)), "a second time");
}

/// Every scenario with other noise and other lost messages.
fn every_seed_holds(offsets: std::ops::Range<u64>) {
    let mut broken = Vec::new();
    for offset in offsets {
        let mut cases = shipped();
        cases.iter_mut().for_each(|case| case.raise_seed(offset));
        for outcome in run(&cases, 2).iter().filter(|outcome| !outcome.passes()) {
            let of = outcome.judgements.iter().filter(|one| one.fails());
            let names = of.map(|one| one.name.as_str());
            let laws = outcome.laws.iter().filter(|law| law.fails());
            let names: Vec<_> = names.chain(laws.map(|law| law.name.as_str())).collect();
            broken.push(format!("seed + {offset}, {}: {names:?}", outcome.label()));
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

/// An expectation holds for any seed, not for the one of the file.
#[test]
fn another_seed_changes_no_verdict() {
    every_seed_holds(6..7);
}

#[test]
#[ignore = "two minutes; `cargo test --test scenarios -- --ignored fifty`"]
fn fifty_seeds_change_no_verdict() {
    every_seed_holds(1..51);
}

/// Runs of 4 to 29 minutes: past the wraps of 16-bit counters, and with everything again and again.
#[test]
#[ignore = "half a minute; `cargo test --test scenarios -- --ignored long`"]
fn long_runs_hold() {
    let cases = in_folder("scenarios/long");
    assert!(cases.len() >= 10, "{} cases", cases.len());
    for outcome in run(&cases, 2) {
        let laws = outcome.laws.iter().filter(|law| law.fails());
        let laws: Vec<_> = laws.map(|law| law.name.as_str()).collect();
        assert!(
            outcome.passes(),
            "{}: {laws:?}\n{}",
            outcome.label(),
            outcome.card.unwrap_or_default()
        );
        assert!(
            !outcome.laws.iter().any(|law| law.is_idle_exception()),
            "{}",
            outcome.name
        );
    }
}

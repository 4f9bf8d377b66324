//! Every shipped scenario holds, and its readable card is what was reviewed.
//!
//! The card carries the trace's bit-hash, so this test compares whole traces too. `.ci/run` runs it in the debug
//! profile and compares the release program's hashes with the same cards: the traces of both are equal bit for bit.

mod shipped;

use shipped::shipped;
use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;

use trimproof_harness::run::{LogicTarget, Target};
use trimproof_harness::suite::{Case, Outcome, Plan, run_suite};

fn run(cases: &[Case], threads: usize) -> Vec<Outcome> {
    let target = || -> Box<dyn Target> { Box::new(LogicTarget::new()) };
    let plan = Plan {
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
        if !outcome.held() {
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

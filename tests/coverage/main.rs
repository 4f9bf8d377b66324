//! What the shipped scenarios meet: tables drawn from their runs, where an empty cell needs a
//! written reason.
//!
//! - Every state of the controller against everything that happens to it, and whether it begins in
//!   that state, is on when the state is entered, or is on when it is left.
//! - Every fault by axis and direction.
//! - Every setting of the controller with the scenario that breaks if the controller's copy were
//!   off by a small step, or if pitch's were used for roll.
//! - Every decision in the controller's sources (comparisons, conditions, arms of a `match`), and
//!   the sides on which it came out.
//!
//! Nothing is taken from the text of a scenario: [`observe`] finds what happened in the rows and in
//! what went to the controller. Reasons stand in `reasons.toml`, which is strict, and a reason for
//! a cell that is not empty is refused.

#[path = "../shipped/mod.rs"]
mod shipped;

mod decisions;
mod observe;
mod reasons;
mod settings;
mod spans;
mod tables;

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock, Mutex};

use observe::Heard;
use spans::Span;
use trimproof_harness::rig::RigFile;
use trimproof_harness::suite::Case;
use trimproof_io::State;

/// What happened in one run.
struct Ran {
    label: String,
    rig: Arc<RigFile>,
    states: Vec<State>,
    spans: Vec<Span>,
    /// Everything that went to the controller, in order.
    heard: Vec<Heard>,
    /// One number for everything that it answered.
    answers: u64,
}

/// Every shipped scenario on each of its rigs.
static CASES: LazyLock<Vec<Case>> = LazyLock::new(shipped::shipped);

/// Every shipped run, in the order of the cases.
static RUNS: LazyLock<Vec<Ran>> = LazyLock::new(|| {
    in_parallel(&CASES, |case| {
        let recording = observe::record(case);
        Ran {
            label: case.label(),
            rig: case.rig.clone(),
            states: recording.rows.iter().map(|row| row.state).collect(),
            spans: spans::spans(&recording),
            answers: decisions::number(recording.answers.iter().flatten()),
            heard: recording.heard,
        }
    })
});

/// Works off every item on two threads; the results come in the order of the items.
fn in_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = Mutex::new(0..items.len());
    let done = Mutex::new(BTreeMap::new());
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let index = next.lock().expect("no thread panicked").next();
                    let Some(index) = index else { return };
                    let result = work(&items[index]);
                    done.lock()
                        .expect("no thread panicked")
                        .insert(index, result);
                }
            });
        }
    });
    done.into_inner()
        .expect("no thread panicked")
        .into_values()
        .collect()
}

/// Holds a table against its reviewed snapshot.
fn assert_shown(name: &str, table: &str) {
    insta::with_settings!({
        snapshot_path => "../../snapshots",
        prepend_module_to_snapshot => false,
        omit_expression => true,
    }, {
        insta::assert_snapshot!(format!("coverage__{name}"), table);
    });
}

#[test]
fn everything_happens_in_every_state() {
    let table = tables::by_state(&RUNS);
    assert_shown("states", &table.text);
    reasons::hold("state", &table.cells);
}

#[test]
fn every_fault_happens_on_both_axes_and_in_both_directions() {
    let table = tables::by_fault(&RUNS);
    assert_shown("faults", &table.text);
    reasons::hold("fault", &table.cells);
}

#[test]
fn every_decision_comes_out_on_every_side() {
    let table = decisions::table(&RUNS);
    assert_shown("decisions", &table.text);
    reasons::hold("decision", &table.cells);
}

#[test]
fn every_witness_still_breaks() {
    settings::witnesses_break(&CASES, &RUNS);
}

/// Minutes: looks for the witnesses anew. Run it with `--ignored` after scenarios have changed.
#[test]
#[ignore = "minutes"]
fn every_setting_has_a_witness() {
    let table = settings::search(&CASES, &RUNS);
    assert_shown("settings", &table.text);
    reasons::hold("setting", &table.cells);
}

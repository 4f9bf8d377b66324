//! What the shipped scenarios meet: tables drawn from their runs, where an empty cell needs a
//! written reason.
//!
//! - Every state of the controller against everything that happens to it, and whether it begins in
//!   that state, is on when the state is entered, or is on when it is left.
//! - Every fault by axis and direction.
//! - Every setting of the controller with the scenario that breaks if the controller's copy were
//!   off by a small step, or if pitch's were used for roll.
//!
//! Nothing is taken from the text of a scenario: [`observe`] finds what happened in the rows and in
//! what went to the controller. Reasons stand in `reasons.toml`, which is strict, and a reason for
//! a cell that is not empty is refused.

#[path = "../shipped/mod.rs"]
mod shipped;

mod observe;
mod reasons;
mod settings;
mod spans;
mod tables;

use std::collections::BTreeMap;
use std::sync::{LazyLock, Mutex};

use spans::Span;
use trimproof_harness::suite::Case;

/// What happened in one run.
struct Ran {
    states: Vec<trimproof_controller::State>,
    spans: Vec<Span>,
}

/// Every shipped run, in the order of the cases.
static RUNS: LazyLock<Vec<Ran>> = LazyLock::new(|| {
    let cases = shipped::shipped();
    in_parallel(&cases, |case| {
        let recording = observe::record(case);
        Ran {
            states: recording.rows.iter().map(|row| row.state).collect(),
            spans: spans::spans(&recording),
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

/// Needs the table that [`every_setting_has_a_witness`] writes.
#[test]
#[ignore = "the table of witnesses has not been reviewed yet"]
fn every_witness_still_breaks() {
    settings::witnesses_break(&shipped::shipped());
}

/// Minutes: looks for the witnesses anew. Run it with `--ignored` after scenarios have changed.
#[test]
#[ignore = "minutes"]
fn every_setting_has_a_witness() {
    let table = settings::search(&shipped::shipped());
    assert_shown("settings", &table.text);
    reasons::hold("setting", &table.cells);
}

/// The cases of the rig on which no setting of roll is pitch's.
fn skewed(cases: &[Case]) -> Vec<&Case> {
    cases
        .iter()
        .filter(|case| case.rig_name == "sanderling")
        .collect()
}

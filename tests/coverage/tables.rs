//! Tables of what the runs met.

use std::fmt::Write as _;

use trimproof_io::State;

use crate::Ran;
use crate::spans::{AXIS, Span};

/// What happens, as the rows of the table of states; `true` for what takes no time.
const EVENTS: [(&str, bool); 24] = [
    ("supply lost", false),
    ("supply dip", false),
    ("force trim off", false),
    ("force trim on", true),
    ("release pressed", false),
    ("release let go", true),
    ("hat fore", false),
    ("hat aft", false),
    ("hat left", false),
    ("hat right", false),
    ("sensor open", false),
    ("sensor short", false),
    ("sensor stuck", false),
    ("sensor jump", false),
    ("sensor noise", false),
    ("link gap", false),
    ("controller reset", true),
    ("hand grips", false),
    ("hand pushes", false),
    ("hand lets go", true),
    ("driver dead", false),
    ("lead broken", false),
    ("gear slip", true),
    ("spring broken", false),
];

/// When an event meets a state.
const PHASES: [&str; 3] = ["begins in", "on at entry", "on at exit"];

/// Faults of an axis, as the rows of the table of faults.
const FAULTS: [&str; 12] = [
    "open", "short", "stuck", "jump +", "jump -", "noise", "dead", "coil a", "coil b", "teeth +",
    "teeth -", "broken",
];

/// Counts above this are shown as this with a plus: what matters is whether there are any.
const MANY: usize = 9;

/// A table as text, and its cells.
pub struct Table {
    /// For people.
    pub text: String,
    /// Keys of each cell, one for each dimension, and its count.
    pub cells: Vec<(Vec<String>, usize)>,
}

fn shown(count: usize) -> String {
    match count {
        0 => "-".to_owned(),
        1..=MANY => count.to_string(),
        _ => format!("{MANY}+"),
    }
}

/// Whether a span meets a state in a phase.
fn meets(states: &[State], span: &Span, state: State, phase: &str) -> bool {
    // The state before the controller could answer.
    let before = states[span.from.saturating_sub(1)];
    let entered = |n: usize| n > 0 && states[n] == state && states[n - 1] != state;
    let left = |n: usize| n > 0 && states[n] != state && states[n - 1] == state;
    match phase {
        "begins in" => before == state,
        "on at entry" => (span.from + 1..=span.to).any(entered),
        _ => (span.from + 1..=span.to).any(left),
    }
}

/// State by event by phase; a count is a number of runs.
pub fn by_state(runs: &[Ran]) -> Table {
    let mut text = String::from(
        "runs in which it: begins in the state / is on when the state is entered / is on when it is left\n",
    );
    let _ = write!(text, "{:<17}", "");
    for state in State::ALL {
        let _ = write!(text, "{:>10}", state.name());
    }
    text.push('\n');
    let mut cells = Vec::new();
    for (event, instant) in EVENTS {
        let _ = write!(text, "{event:<17}");
        for state in State::ALL {
            let phases = if instant { &PHASES[..1] } else { &PHASES[..] };
            let counts: Vec<usize> = phases
                .iter()
                .map(|phase| {
                    let met = |ran: &&Ran| {
                        ran.spans.iter().any(|span| {
                            span.event == event && meets(&ran.states, span, state, phase)
                        })
                    };
                    runs.iter().filter(met).count()
                })
                .collect();
            for (phase, count) in phases.iter().zip(&counts) {
                let key = vec![
                    state.name().to_owned(),
                    event.to_owned(),
                    (*phase).to_owned(),
                ];
                cells.push((key, *count));
            }
            let cell: Vec<_> = counts.iter().map(|count| shown(*count)).collect();
            let _ = write!(text, "{:>10}", cell.join("/"));
        }
        text.push('\n');
    }
    Table { text, cells }
}

/// Fault by axis.
pub fn by_fault(runs: &[Ran]) -> Table {
    let mut text = format!("{:<10}{:>8}{:>8}\n", "runs with", AXIS[0], AXIS[1]);
    let mut cells = Vec::new();
    for fault in FAULTS {
        let _ = write!(text, "{fault:<10}");
        for axis in AXIS {
            let detail = format!("{axis} {fault}");
            let with = |ran: &&Ran| ran.spans.iter().any(|span| span.detail == detail);
            let count = runs.iter().filter(with).count();
            let _ = write!(text, "{:>8}", shown(count));
            cells.push((vec![axis.to_owned(), fault.to_owned()], count));
        }
        text.push('\n');
    }
    Table { text, cells }
}

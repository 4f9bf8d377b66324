//! What the user sees while a suite runs: a bar on a terminal, nothing elsewhere.

use crate::output::say;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::time::Duration;
use trimproof_diagnostics::{MESSAGE_MAX, brief, line};
use trimproof_harness::suite::{Case, Outcome};

/// A bar over the simulated time of all cases, on standard error if that is a terminal.
pub struct Bar(ProgressBar);

impl Bar {
    /// A bar at 0 of the cases' lengths.
    pub fn new(cases: &[Case]) -> Self {
        let total_s: f64 = cases.iter().map(|case| case.scenario.length_s).sum();
        let target = if std::io::stderr().is_terminal() {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(millis(total_s)), target);
        // The template is fixed; if it could not be read, the plain bar does.
        if let Ok(style) =
            ProgressStyle::with_template("{bar:40} {percent:>3} %, {eta} to go  {msg}")
        {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// Adds simulated seconds; names the case that ended.
    pub fn advance(&self, seconds: f64, ended: Option<&Outcome>) {
        self.0.inc(millis(seconds));
        if let Some(outcome) = ended {
            self.0.set_message(outcome.label());
        }
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        self.0.finish_and_clear();
    }
}

/// Says on standard error what a rig's file and its controller's settings disagree about, once for
/// each rig.
pub fn say_advice(cases: &[Case]) {
    let mut rigs: Vec<_> = cases
        .iter()
        .map(|case| (&case.rig_name, &case.rig))
        .collect();
    rigs.sort_by_key(|(name, _)| *name);
    rigs.dedup_by_key(|(name, _)| *name);
    for (name, rig) in rigs {
        for advice in rig.advice() {
            say(&format!("note: rig {name}: {}\n", line(&advice)));
        }
    }
}

/// Says on standard error how boards took the end of their runs, where that must be known.
pub fn say_farewells(outcomes: &[Outcome]) {
    for outcome in outcomes {
        if let Some(farewell) = &outcome.farewell {
            say(&format!(
                "note: {}: {}\n",
                outcome.label(),
                brief(farewell, MESSAGE_MAX)
            ));
        }
    }
}

/// Says on standard error how long it took: the only number that differs from run to run.
pub fn say_elapsed(outcomes: &[Outcome], elapsed: Duration) {
    let simulated_s: f64 = outcomes.iter().map(|outcome| outcome.simulated_s).sum();
    let wall_s = elapsed.as_secs_f64();
    let speed = if wall_s > 0.0 {
        simulated_s / wall_s
    } else {
        0.0
    };
    say(&format!(
        "{simulated_s:.1} s simulated in {wall_s:.1} s, {speed:.0} simulated seconds a second\n"
    ));
}

fn millis(seconds: f64) -> u64 {
    // Saturates; negative and NaN give 0.
    (seconds * 1000.0).round() as u64
}

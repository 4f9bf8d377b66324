//! The report for people.

use super::report::{CAUTION, FeelReport};
use super::{figures, verdicts};
use crate::output::Paint;
use std::fmt::Write;
use trimproof_diagnostics::line;
use trimproof_harness::card::WIDTH;
use trimproof_harness::card::text::wrap_into;

/// How the two rules for later overshoots stand to each other.
const LATER_OVERSHOOTS: &str = "A2 and later: the table's 20 % of the overshoot itself decides; the summary list beside it allows 10 % of A1 \
and is shown in the rows called summary. P, A: 14 CFR part 60, appendix C, text on control dynamics.";

/// Renders the whole report.
pub fn render(report: &FeelReport<'_>, paint: Paint) -> String {
    let mut out = format!("Feel: {}\n", line(&report.stick.record.source));
    wrap_into(&mut out, CAUTION, 0, WIDTH);
    out.push_str(&figures::render(&report.stick.figures));
    notes(&mut out, "Notes", &report.stick.notes);

    let rig = line(&report.rig.name);
    if report.targets.is_empty() {
        let _ = writeln!(
            out,
            "\nThe rig `{rig}` sets no targets: a rig file sets them by `[[feel]]` tables."
        );
    } else {
        let _ = writeln!(out, "\nBy the targets of the rig `{rig}`");
        out.push_str(&verdicts::render(&report.targets, paint));
    }
    if let Some(other) = report.other {
        let _ = writeln!(
            out,
            "\nAgainst {}, within the tolerances of 14 CFR part 60, appendix C, table C2A (2019)",
            line(&other.record.source)
        );
        out.push_str(&verdicts::render(&report.table, paint));
        wrap_into(&mut out, LATER_OVERSHOOTS, 2, WIDTH);
        notes(
            &mut out,
            &format!("Notes on {}", line(&other.record.source)),
            &other.notes,
        );
    }
    out.push_str("\nRotorcraft criteria, as advice: they decide nothing\n");
    out.push_str(&verdicts::render_advice(&report.advice, paint));

    let _ = writeln!(out, "\ntargets: {}", verdicts::sum(report.targets.iter()));
    if report.other.is_some() {
        let _ = writeln!(out, "table C2A: {}", verdicts::sum(report.table.iter()));
    }
    let _ = writeln!(out, "advice: {}", verdicts::sum(report.advice.iter()));
    out
}

fn notes(out: &mut String, title: &str, notes: &[String]) {
    if notes.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n{title}");
    for note in notes {
        let mut lines = String::new();
        wrap_into(&mut lines, note, 4, WIDTH);
        let _ = write!(out, "  - {}", lines.trim_start());
    }
}

//! Tables of judgements.

use crate::output::Paint;
use std::fmt::Write;
use trimproof_feel::judge::{Basis, FeelOutcome, FeelVerdict, Unit, Wanted};
use trimproof_harness::card::WIDTH;
use trimproof_harness::card::text::{fixed, signed, table, wrap_into};

/// The table of some verdicts; those of one basis. Below it, what broken ones have to say.
pub fn render(verdicts: &[FeelVerdict], paint: Paint) -> String {
    let mut rows = vec![header(verdicts)];
    rows.extend(verdicts.iter().map(row));
    let mut out = painted(&table(&rows, &right(verdicts), 2), paint);
    for verdict in verdicts.iter().filter(|verdict| speaks(verdict)) {
        let words = format!("{} {}: {}", verdict.axis.name(), verdict.what, verdict.note);
        wrap_into(&mut out, &words, 4, WIDTH);
    }
    out
}

/// Advice, source by source: the source as a line, its rows below.
pub fn render_advice(verdicts: &[FeelVerdict], paint: Paint) -> String {
    let mut sources: Vec<&str> = Vec::new();
    for verdict in verdicts {
        if !sources.contains(&verdict.source.as_str()) {
            sources.push(&verdict.source);
        }
    }
    let mut rows = Vec::new();
    for source in &sources {
        rows.extend(
            verdicts
                .iter()
                .filter(|verdict| verdict.source == *source)
                .map(row),
        );
    }
    // One table, so that the columns of all sources line up; its lines are then split by source.
    let lines = painted(&table(&rows, &right(verdicts), 2), paint);
    let mut lines = lines.lines();
    let mut out = String::new();
    for source in sources {
        wrap_into(&mut out, source, 2, WIDTH);
        let mut notes: Vec<&str> = Vec::new();
        for verdict in verdicts.iter().filter(|verdict| verdict.source == source) {
            let _ = writeln!(out, "  {}", lines.next().unwrap_or_default());
            if !verdict.note.is_empty() && !notes.contains(&verdict.note.as_str()) {
                notes.push(&verdict.note);
            }
        }
        for note in notes {
            wrap_into(&mut out, &format!("({note})"), 6, WIDTH);
        }
    }
    out
}

/// `3 held, 1 broken` and so on, in this order; nothing of a kind that there is none of.
pub fn sum<'a>(verdicts: impl Iterator<Item = &'a FeelVerdict> + Clone) -> String {
    let kinds = [
        FeelOutcome::Held,
        FeelOutcome::Broken,
        FeelOutcome::Warned,
        FeelOutcome::AdvisedAgainst,
        FeelOutcome::NotMeasured,
    ];
    let parts: Vec<String> = kinds
        .into_iter()
        .map(|kind| (kind, verdicts.clone().filter(|v| v.outcome == kind).count()))
        .filter(|(_, count)| *count > 0)
        .map(|(kind, count)| format!("{count} {}", kind.name()))
        .collect();
    if parts.is_empty() {
        "nothing".to_owned()
    } else {
        parts.join(", ")
    }
}

/// The table of some verdicts for a page: head, rows, and which rows are bad.
pub fn cells(verdicts: &[FeelVerdict]) -> (Vec<String>, Vec<Vec<String>>, Vec<bool>) {
    let bad = |verdict: &FeelVerdict| {
        matches!(
            verdict.outcome,
            FeelOutcome::Broken | FeelOutcome::Warned | FeelOutcome::AdvisedAgainst
        )
    };
    let mut head = header(verdicts);
    head.push("note".to_owned());
    let rows = verdicts
        .iter()
        .map(|verdict| {
            let mut cells = row(verdict);
            let note = if verdict.basis == Basis::Advice {
                format!("{} {}", verdict.source, verdict.note)
            } else if speaks(verdict) {
                verdict.note.clone()
            } else {
                String::new()
            };
            cells.push(note.trim().to_owned());
            cells
        })
        .collect();
    (head, rows, verdicts.iter().map(bad).collect())
}

fn in_table(verdicts: &[FeelVerdict]) -> bool {
    verdicts
        .first()
        .is_some_and(|verdict| verdict.basis == Basis::TableC2a)
}

fn header(verdicts: &[FeelVerdict]) -> Vec<String> {
    let mut cells = vec!["verdict"];
    if in_table(verdicts) {
        cells.extend([
            "entry", "axis", "trim", "what", "value", "other", "wanted", "margin",
        ]);
    } else {
        cells.extend(["axis", "trim", "what", "value", "wanted", "margin"]);
    }
    cells.into_iter().map(str::to_owned).collect()
}

fn right(verdicts: &[FeelVerdict]) -> Vec<bool> {
    if in_table(verdicts) {
        vec![false, false, false, false, false, true, true, false, true]
    } else {
        vec![false, false, false, false, true, false, true]
    }
}

fn row(verdict: &FeelVerdict) -> Vec<String> {
    let unit = verdict.unit;
    let mut cells = vec![word(verdict.outcome).to_owned()];
    let in_table = verdict.basis == Basis::TableC2a;
    if in_table {
        let entry = verdict.source.rsplit(' ').next().unwrap_or_default();
        cells.push(entry.to_owned());
    }
    cells.push(verdict.axis.name().to_owned());
    cells.push(verdict.condition.map_or("", |c| c.name()).to_owned());
    cells.push(verdict.what.clone());
    cells.push(
        verdict
            .value
            .map_or_else(|| "-".to_owned(), |value| with_companion(value, unit)),
    );
    if in_table {
        cells.push(
            verdict
                .reference
                .map_or_else(String::new, |value| shown(value, unit)),
        );
    }
    cells.push(wanted(&verdict.wanted, unit));
    cells.push(verdict.margin().map_or_else(String::new, signed));
    cells
}

/// The bad ones stand out without colour too.
fn word(outcome: FeelOutcome) -> &'static str {
    match outcome {
        FeelOutcome::Held => "pass",
        FeelOutcome::Broken => "FAIL",
        FeelOutcome::Warned => "warned",
        FeelOutcome::AdvisedAgainst => "ADVISED AGAINST",
        FeelOutcome::NotMeasured => "not measured",
    }
}

/// Whether its note is printed below the table.
fn speaks(verdict: &FeelVerdict) -> bool {
    let shown = match verdict.basis {
        Basis::Target => verdict.is_broken(),
        Basis::TableC2a => !matches!(verdict.outcome, FeelOutcome::Held | FeelOutcome::Warned),
        Basis::Advice => true,
    };
    shown && !verdict.note.is_empty()
}

fn decimals(unit: Unit) -> usize {
    match unit {
        Unit::Newton | Unit::Deg | Unit::DegPerS | Unit::Mm => 2,
        Unit::NewtonPerDeg | Unit::Second | Unit::Kg => 3,
        Unit::NewtonPerMm => 4,
        Unit::Percent => 1,
        Unit::Count => 0,
        Unit::One => 2,
    }
}

fn shown(value: f64, unit: Unit) -> String {
    fixed(value, decimals(unit))
}

/// `2.50 N (0.56 lb)`.
fn with_companion(value: f64, unit: Unit) -> String {
    let mut text = shown(value, unit);
    if !unit.name().is_empty() {
        let _ = write!(text, " {unit}");
    }
    if let Some((name, factor)) = unit.companion() {
        let _ = write!(text, " ({} {name})", fixed(value * factor, 2));
    }
    text
}

fn wanted(wanted: &Wanted, unit: Unit) -> String {
    match (wanted.low, wanted.high) {
        (Some(low), Some(high)) => format!("{} to {}", shown(low, unit), shown(high, unit)),
        (Some(low), None) => format!("at least {}", shown(low, unit)),
        (None, Some(high)) => format!("at most {}", shown(high, unit)),
        (None, None) => String::new(),
    }
}

/// Colours the word that each line begins with.
fn painted(table: &str, paint: Paint) -> String {
    let mut out = String::new();
    for line in table.lines() {
        let body = line.trim_start();
        let indent = &line[..line.len() - body.len()];
        let shown = ["FAIL", "ADVISED AGAINST", "warned"]
            .iter()
            .find_map(|word| body.strip_prefix(word).map(|rest| (paint.bad(word), rest)))
            .or_else(|| {
                body.strip_prefix("pass")
                    .map(|rest| (paint.good("pass"), rest))
            });
        let _ = match shown {
            Some((word, rest)) => writeln!(out, "{indent}{word}{rest}"),
            None => writeln!(out, "{line}"),
        };
    }
    out
}

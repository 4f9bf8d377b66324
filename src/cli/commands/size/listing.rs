//! Lines of a label and what it says.

use std::fmt::Write;
use trimproof_harness::card::text::table;

/// Lines of a label and what it says, under a heading.
pub fn listing(out: &mut String, heading: &str, lines: &[(&str, String)]) {
    let _ = writeln!(out, "\n  {heading}");
    let rows: Vec<Vec<String>> = lines
        .iter()
        .map(|(label, text)| vec![(*label).to_owned(), text.clone()])
        .collect();
    out.push_str(&table(&rows, &[], 4));
}

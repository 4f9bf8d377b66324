//! The lines of a bench file, their cells, and the names in those.

use std::ops::Range;

use trimproof_diagnostics::FileError;
use trimproof_plant::AxisName;

use crate::record::Condition;

/// Most rows of one file.
pub const ROWS_MAX: usize = 10_000_000;

/// A line of the file.
#[derive(Clone, Debug)]
pub(super) struct BenchLine<'a> {
    pub(super) text: &'a str,
    /// Where it begins, bytes.
    pub(super) at: usize,
    /// Its number, from 1.
    pub(super) number: usize,
}

impl<'a> BenchLine<'a> {
    /// Its cells without the blanks round them, each with its bytes in the file.
    pub(super) fn cells(&self) -> impl Iterator<Item = TextCell<'a>> {
        let mut at = self.at;
        let number = self.number;
        self.text.split(',').map(move |raw| {
            let begin = at + (raw.len() - raw.trim_start().len());
            at += raw.len() + 1;
            TextCell {
                text: raw.trim(),
                at: begin,
                line: number,
            }
        })
    }

    pub(super) fn span(&self) -> Range<usize> {
        self.at..self.at + self.text.len()
    }
}

/// A cell of a line.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct TextCell<'a> {
    pub(super) text: &'a str,
    pub(super) at: usize,
    pub(super) line: usize,
}

impl TextCell<'_> {
    pub(super) fn span(&self) -> Range<usize> {
        self.at..self.at + self.text.len()
    }
}

/// The lines of a file, comments left out.
pub(super) struct Lines<'a> {
    text: &'a str,
    at: usize,
    number: usize,
}

impl<'a> Lines<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        // A byte order mark is none of the header.
        let at = if text.starts_with('\u{feff}') { 3 } else { 0 };
        Self {
            text,
            at,
            number: 0,
        }
    }

    /// The next line, be it empty.
    fn next_any(&mut self) -> Option<BenchLine<'a>> {
        let rest = self.text.get(self.at..).filter(|rest| !rest.is_empty())?;
        let length = rest.find('\n').unwrap_or(rest.len());
        let text = rest[..length].trim_end_matches('\r');
        let line = BenchLine {
            text,
            at: self.at,
            number: self.number + 1,
        };
        self.at += length + 1;
        self.number += 1;
        Some(line)
    }

    /// The next row of this block; none at its end.
    pub(super) fn next_row(&mut self) -> Option<BenchLine<'a>> {
        loop {
            let line = self.next_any()?;
            if line.text.trim().is_empty() {
                return None;
            }
            if !line.text.starts_with('#') {
                return Some(line);
            }
        }
    }

    /// The first line of the next block; takes the source from a comment on the way.
    pub(super) fn next_block(&mut self, source: &mut String) -> Option<BenchLine<'a>> {
        loop {
            let line = self.next_any()?;
            match line.text.strip_prefix('#') {
                Some(comment) => {
                    if let Some(name) = comment.trim_start().strip_prefix("source:") {
                        *source = name.trim().to_owned();
                    }
                }
                None if line.text.trim().is_empty() => {}
                None => return Some(line),
            }
        }
    }
}

/// The condition of a name.
pub(super) fn condition(cell: &TextCell<'_>) -> Result<Condition, FileError> {
    choice(
        cell,
        "condition",
        &Condition::ALL.map(|one| (one.name(), one)),
    )
}

/// The axis of a name.
pub(super) fn axis(cell: &TextCell<'_>) -> Result<AxisName, FileError> {
    choice(cell, "axis", &AxisName::ALL.map(|one| (one.name(), one)))
}

/// One of a few names, or an error that lists them.
pub(super) fn choice<T: Copy>(
    cell: &TextCell<'_>,
    what: &str,
    known: &[(&str, T)],
) -> Result<T, FileError> {
    if let Some((_, one)) = known.iter().find(|(name, _)| *name == cell.text) {
        return Ok(*one);
    }
    let names: Vec<&str> = known.iter().map(|(name, _)| *name).collect();
    Err(FileError::new(format!(
        "unknown {what} `{}` in line {}",
        cell.text, cell.line
    ))
    .with_span(cell.span())
    .with_help(offer(cell.text, &names)))
}

/// A help line that lists names, the nearest first if there is one.
pub(super) fn offer(name: &str, known: &[&str]) -> String {
    let list = known
        .iter()
        .map(|name| format!("`{name}`"))
        .collect::<Vec<_>>()
        .join(", ");
    match trimproof_diagnostics::nearest(name, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`? known here: {list}"),
        None => format!("known here: {list}"),
    }
}

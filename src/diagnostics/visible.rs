//! What the strings of a rig or scenario file may hold.

use crate::FileError;
use crate::is_invisible;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Keys of texts that may have several lines; all others stand on one line of a table or a report.
const SEVERAL_LINES: [&str; 4] = ["about", "because", "formula", "purpose"];

/// Checks that every string of a TOML text can be read for what it is: no control characters, no
/// marks of the direction of writing, nothing without a width; line ends and tabs only in texts
/// that may have several lines. What is no TOML passes: its reader says so.
///
/// # Errors
/// The first such string of the text.
pub fn check_strings(text: &str) -> Result<(), FileError> {
    let Ok(document) = DeTable::parse(text) else {
        return Ok(());
    };
    let mut found = Vec::new();
    walk_table(document.get_ref(), &mut found);
    match found.into_iter().min_by_key(|(span, _)| span.start) {
        Some((span, message)) => Err(FileError::new(message)
            .with_span(span)
            .with_help("what cannot be seen can make a report say what it does not: leave it out")),
        None => Ok(()),
    }
}

type Found = Vec<(Range<usize>, String)>;

fn walk_table(table: &DeTable<'_>, found: &mut Found) {
    for (key, value) in table {
        walk(key.get_ref(), value, found);
    }
}

fn walk(key: &str, value: &Spanned<DeValue<'_>>, found: &mut Found) {
    match value.get_ref() {
        DeValue::Table(table) => walk_table(table, found),
        DeValue::Array(array) => array.iter().for_each(|entry| walk(key, entry, found)),
        DeValue::String(text) => {
            let several = SEVERAL_LINES.contains(&key);
            let plain = text.replace("\r\n", "\n");
            let bad = plain
                .chars()
                .find(|c| is_invisible(*c) && !(several && matches!(c, '\n' | '\t')));
            let message = match bad {
                None => return,
                Some('\n') => format!("`{key}` has a line end, it must be one line"),
                Some(c) => {
                    let shown = c.to_string();
                    format!(
                        "`{key}` holds `{}`, which cannot be seen",
                        crate::line(&shown)
                    )
                }
            };
            found.push((value.span(), message));
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_seen_is_refused_where_it_stands() {
        for (text, message, at) in [
            (
                "title = \"a\\u202Eb\"",
                "`title` holds `\\u{202e}`, which cannot be seen",
                8,
            ),
            (
                "title = \"a\\nb\"",
                "`title` has a line end, it must be one line",
                8,
            ),
            (
                "[[expect]]\nname = \"\\u001B[2J\"",
                "`name` holds `\\u{1b}`, which cannot be seen",
                18,
            ),
            (
                "rigs = [\"a\", \"b\\u0000\"]",
                "`rigs` holds `\\0`, which cannot be seen",
                13,
            ),
            (
                "about = \"\\u200Bx\"",
                "`about` holds `\\u{200b}`, which cannot be seen",
                8,
            ),
            (
                "b = \"\\u0007\"\na = \"\\u0000\"",
                "`b` holds `\\u{7}`, which cannot be seen",
                4,
            ),
        ] {
            let error = check_strings(text).unwrap_err();
            assert_eq!(error.message, message);
            assert_eq!(error.span.unwrap().start, at, "{text}");
        }
    }

    #[test]
    fn letters_of_every_script_and_lines_of_a_reason_pass() {
        for text in [
            "title = \"Größe ± 2°, 日本語, עברית\"",
            "because = \"\"\"one\n\ttwo\r\nthree\"\"\"",
            "formula = \"always (a < 1)\\n and (b > 2)\"",
            "no toml at all \u{202e}",
        ] {
            assert_eq!(check_strings(text), Ok(()), "{text}");
        }
    }
}

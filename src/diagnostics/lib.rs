//! What is wrong with a file that a user wrote, and where: [`FileError`], [`locate()`],
//! [`nearest`], [`check_strings`]. And makes text that others wrote safe to print: on a terminal,
//! in a log, in a report.
//!
//! A board's identity, a title, a file name or a line of a file may hold anything: escape sequences
//! that move the cursor, line ends that forge a verdict, marks that turn the direction of writing
//! round. Everything that this program did not write itself goes through one of these functions
//! before it is printed:
//!
//! | function | for | line ends | length |
//! |---|---|---|---|
//! | [`line()`] | a name, a path, a value inside a line | shown as `\n` | as it is |
//! | [`brief`] | a message | shown as `\n` | bounded |
//! | [`prose`] | titles and reasons, which may stand on several lines of a file | become a blank | as it is |
//! | [`lines`], [`coloured`] | a whole output that is laid out already: the last gate | stay | as it is |
//! | [`excerpt()`] | source text under which a caret is drawn | stay | one column stays one column |
//!
//! A character that cannot be seen is shown as Rust would write it: `\n`, `\r`, `\t`, `\0`, else
//! `\u{202e}`. Letters of every script stay as they are, and so does a backslash: the text that is
//! shown is for people and is not meant to be read back.
//!
//! ```
//! use trimproof_diagnostics::{line, nearest};
//!
//! // What others wrote cannot forge a line of its own.
//! assert_eq!(line("kittiwake\n1 run: 1 pass"), "kittiwake\\n1 run: 1 pass");
//! assert_eq!(nearest("kitiwake", ["bittern", "kittiwake"]), Some("kittiwake"));
//! ```

mod excerpt;
mod file_error;
mod hostile;
mod locate;
#[cfg(test)]
mod tests;
mod visible;

pub use excerpt::{Excerpt, excerpt};
pub use file_error::{FileError, nearest};
pub use hostile::hostile_text;
pub use locate::locate;
pub use visible::check_strings;

use std::borrow::Cow;
use std::fmt::Write as _;

/// Longest message that is printed whole, characters; a screen full.
pub const MESSAGE_MAX: usize = 1500;

/// Longest cell of a table that is printed whole, characters.
pub const CELL_MAX: usize = 400;

/// Whether a character cannot be seen for what it is: controls, line and paragraph separators,
/// marks of the direction of writing, characters without a width, code points that are no
/// characters.
///
/// The sets are those of the Unicode Standard: general categories Cc, Zl and Zp; the bidirectional
/// controls of UAX #9, section 2; format characters and fillers without a glyph; noncharacters
/// (section 23.7).
pub fn is_invisible(c: char) -> bool {
    c.is_control()
        || u32::from(c) & 0xFFFE == 0xFFFE
        || matches!(
            c,
            '\u{AD}'
                | '\u{34F}'
                | '\u{61C}'
                | '\u{115F}'
                | '\u{1160}'
                | '\u{17B4}'
                | '\u{17B5}'
                | '\u{180E}'
                | '\u{200B}'..='\u{200F}'
                | '\u{2028}'..='\u{202E}'
                | '\u{2060}'..='\u{206F}'
                | '\u{3164}'
                | '\u{FDD0}'..='\u{FDEF}'
                | '\u{FEFF}'
                | '\u{FFA0}'
                | '\u{FFF0}'..='\u{FFFB}'
                | '\u{1D173}'..='\u{1D17A}'
                | '\u{E0000}'..='\u{E0FFF}'
        )
}

/// A text as part of a line: what cannot be seen is shown, line ends included.
pub fn line(text: &str) -> Cow<'_, str> {
    shown(text, is_invisible)
}

/// As [`line()`], but of a long text only the beginning, and how many characters are left out.
pub fn brief(text: &str, most: usize) -> Cow<'_, str> {
    // Only what may be shown is looked at and copied.
    let Some((end, _)) = text.char_indices().nth(most) else {
        return line(text);
    };
    let (kept, left) = text.split_at(end);
    let mut out = line(kept).into_owned();
    let _ = write!(out, "... ({} more characters)", left.chars().count());
    Cow::Owned(out)
}

/// A text of several lines as part of a line: white space of any kind and length becomes one blank,
/// what cannot be seen is shown.
pub fn prose(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !out.is_empty() {
            out.push(' ');
        }
        out.push_str(&line(word));
    }
    out
}

/// A whole output whose lines we have laid out: line feeds stay, all else that cannot be seen is
/// shown.
pub fn lines(text: &str) -> Cow<'_, str> {
    shown(text, |c| c != '\n' && is_invisible(c))
}

/// As [`lines`], for an output that is coloured: sequences that only choose a colour (`ESC [ ...
/// m`, ECMA-48, section 8.3.117) stay too.
pub fn coloured(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('\u{1b}') {
        out.push_str(&lines(&rest[..at]));
        let length = colour_length(&rest[at..]).unwrap_or(0);
        if length == 0 {
            out.push_str("\\u{1b}");
            rest = &rest[at + 1..];
        } else {
            out.push_str(&rest[at..at + length]);
            rest = &rest[at + length..];
        }
    }
    out.push_str(&lines(rest));
    out
}

/// Length of the colour sequence at the beginning of a text, bytes; `None` if there is none.
fn colour_length(text: &str) -> Option<usize> {
    let parameters = text.strip_prefix("\u{1b}[")?;
    let end = parameters.find(|c: char| !(c.is_ascii_digit() || c == ';'))?;
    parameters[end..].starts_with('m').then_some(2 + end + 1)
}

fn shown(text: &str, hidden: impl Fn(char) -> bool) -> Cow<'_, str> {
    let Some(first) = text.find(&hidden) else {
        return Cow::Borrowed(text);
    };
    let mut out = String::with_capacity(text.len() + 16);
    out.push_str(&text[..first]);
    for c in text[first..].chars() {
        if hidden(c) {
            push_shown(&mut out, c);
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

fn push_shown(out: &mut String, c: char) {
    match c {
        '\n' => out.push_str("\\n"),
        '\r' => out.push_str("\\r"),
        '\t' => out.push_str("\\t"),
        '\0' => out.push_str("\\0"),
        c => {
            let _ = write!(out, "\\u{{{:x}}}", u32::from(c));
        }
    }
}

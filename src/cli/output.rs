//! Standard output and standard error: the one gate through which all text for terminals goes;
//! colour.
//!
//! What others wrote (names, titles, paths, what a board says) is made safe where it is put into a
//! line, by [`trimproof_diagnostics`]. The gate is the second wall: whatever comes here, no control
//! character but our own line feeds and colours reaches a terminal.

use clap::ValueEnum;
use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, PrettyFormatter, Serializer};
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use trimproof_diagnostics::{coloured, is_invisible, lines};

/// Whether standard output and standard error are coloured.
static COLOURED: [AtomicBool; 2] = [AtomicBool::new(false), AtomicBool::new(false)];

/// Text as it may leave through a stream.
fn gated(text: &str, stream: usize) -> std::borrow::Cow<'_, str> {
    if COLOURED[stream].load(Ordering::Relaxed) {
        coloured(text).into()
    } else {
        lines(text)
    }
}

/// Text that could not be written.
#[derive(Debug)]
pub struct NotWritten {
    /// What it was.
    pub what: String,
    /// Why.
    pub why: String,
}

/// Writes text to standard output.
///
/// # Errors
/// If it cannot be written, as on a full disk. A reader that has gone away is no error: it has seen
/// enough.
pub fn emit(text: &str) -> Result<(), NotWritten> {
    let text = gated(text, 0);
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(NotWritten {
            what: "standard output".to_owned(),
            why: error.to_string(),
        }),
        _ => Ok(()),
    }
}

/// Writes whole lines to standard error. If it is gone there is nobody left to read them.
pub fn say(text: &str) {
    let _ = io::stderr().lock().write_all(gated(text, 1).as_bytes());
}

/// Writes a value as JSON, indented, with a line feed at the end. Every character that cannot be
/// seen stands as its escape, so the text is safe on a terminal and reads back as it was.
///
/// # Errors
/// As [`emit`].
pub fn emit_json(value: &impl Serialize) -> Result<(), NotWritten> {
    let text = json_text(value).map_err(|error| NotWritten {
        what: "JSON".to_owned(),
        why: error.to_string(),
    })?;
    emit(&text)
}

fn json_text(value: &impl Serialize) -> Result<String, serde_json::Error> {
    let mut bytes = Vec::new();
    let shown = Shown(PrettyFormatter::new());
    value.serialize(&mut Serializer::with_formatter(&mut bytes, shown))?;
    bytes.push(b'\n');
    // The formatter writes only whole characters.
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// JSON, indented, with escapes for all that cannot be seen.
struct Shown(PrettyFormatter<'static>);

impl Formatter for Shown {
    fn write_string_fragment<W: ?Sized + Write>(
        &mut self,
        out: &mut W,
        fragment: &str,
    ) -> io::Result<()> {
        let mut rest = fragment;
        while let Some(at) = rest.find(is_invisible) {
            CompactFormatter.write_string_fragment(out, &rest[..at])?;
            let mut chars = rest[at..].chars();
            let mut units = [0; 2];
            for unit in chars.next().unwrap_or_default().encode_utf16(&mut units) {
                write!(out, "\\u{unit:04x}")?;
            }
            rest = chars.as_str();
        }
        CompactFormatter.write_string_fragment(out, rest)
    }

    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_array(out)
    }

    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array(out)
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_array_value(out, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array_value(out)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object(out)
    }

    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object(out)
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_object_key(out, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object_value(out)
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object_value(out)
    }
}

/// When to use colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ColorWhen {
    /// On a terminal, unless the variable `NO_COLOR` is set
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

/// Which of the two output streams are coloured.
#[derive(Clone, Copy, Debug)]
pub struct Paint {
    /// Standard output.
    pub out: bool,
    /// Standard error.
    pub err: bool,
}

impl Paint {
    /// Decides by the user's choice, the variable `NO_COLOR` and whether the streams are terminals.
    pub fn new(when: ColorWhen) -> Self {
        let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
        let paint = match when {
            ColorWhen::Always => Self {
                out: true,
                err: true,
            },
            ColorWhen::Never => Self {
                out: false,
                err: false,
            },
            ColorWhen::Auto => Self {
                out: wanted && io::stdout().is_terminal(),
                err: wanted && io::stderr().is_terminal(),
            },
        };
        COLOURED[0].store(paint.out, Ordering::Relaxed);
        COLOURED[1].store(paint.err, Ordering::Relaxed);
        paint
    }

    /// A word of good news on standard output. All readers can distinguish bright blue from
    /// orange, not all can distinguish red from green; and the word says it anyway.
    pub fn good(self, word: &str) -> String {
        if self.out {
            format!("\u{1b}[94m{word}\u{1b}[0m")
        } else {
            word.to_owned()
        }
    }

    /// A word of bad news on standard output.
    pub fn bad(self, word: &str) -> String {
        if self.out {
            format!("\u{1b}[1;38;5;208m{word}\u{1b}[0m")
        } else {
            word.to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimproof_diagnostics::hostile_text;

    #[test]
    fn json_shows_everything_and_reads_back_as_it_was() {
        // Two texts each.
        for seed in 0..5_000 {
            let [a, b] = [hostile_text(seed), hostile_text(seed + 10_000)];
            let value = serde_json::json!({ "list": [a], "key": { b: 1 } });
            let text = json_text(&value).unwrap();
            assert!(!text.contains(|c| c != '\n' && is_invisible(c)), "{text:?}");
            assert_eq!(
                serde_json::from_str::<serde_json::Value>(&text).unwrap(),
                value
            );
            // The line feeds are those of the layout.
            let plain = serde_json::to_string_pretty(&value).unwrap();
            assert_eq!(text.matches('\n').count(), plain.matches('\n').count() + 1);
        }
    }

    #[test]
    fn the_gate_lets_through_line_feeds_alone() {
        for seed in 0..10_000 {
            let text = hostile_text(seed);
            assert!(!lines(&text).contains(|c| c != '\n' && is_invisible(c)));
        }
        assert_eq!(gated("a\u{1b}[31mb\r\n", 0), "a\\u{1b}[31mb\\r\n");
    }
}

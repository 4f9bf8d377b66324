//! Standard output: written whole, and without alarm if the reader has gone away; colour.

use crate::args::ColorWhen;
use crate::report::Failure;
use std::io::{self, ErrorKind, IsTerminal, Write};

/// Writes text to standard output.
///
/// # Errors
/// If it cannot be written, as on a full disk. A reader that has gone away is no error: it has seen enough.
pub fn emit(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::CannotWrite {
            what: "standard output".to_owned(),
            why: error.to_string(),
        }),
        _ => Ok(()),
    }
}

/// Writes a value as JSON, indented, with a line feed at the end.
///
/// # Errors
/// As [`emit`].
pub fn emit_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    let mut text = serde_json::to_string_pretty(value).map_err(|error| Failure::CannotWrite {
        what: "JSON".to_owned(),
        why: error.to_string(),
    })?;
    text.push('\n');
    emit(&text)
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
        match when {
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
        }
    }

    /// A word of good news on standard output. Bright blue and orange are told apart by all
    /// readers, red and green are not; and the word says it anyway.
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

//! What the names in a formula stand for.

use std::ops::Range;

use trimproof_diagnostics::{FileError, nearest};

use super::{Names, SignalKind};

/// Words of the language; no signal may have one as its name (but `state` is both: it is a signal).
pub(super) const WORDS: [&str; 22] = [
    "not",
    "and",
    "or",
    "implies",
    "always",
    "eventually",
    "once",
    "historically",
    "until",
    "rises",
    "falls",
    "is",
    "true",
    "false",
    "end",
    "abs",
    "min",
    "max",
    "prev",
    "change",
    "rate",
    "state",
];

/// A name that was found.
#[derive(Clone, Copy, Debug)]
pub(super) enum FoundName<'a> {
    /// A column, with its unit.
    Signal(SignalKind, &'a str),
    /// A named number.
    Constant(f64),
}

/// Looks a name up.
///
/// # Errors
/// An unknown name, with the nearest known one.
pub(super) fn name<'a>(
    names: &'a Names,
    name: &str,
    span: &Range<usize>,
) -> Result<FoundName<'a>, FileError> {
    if let Some(signal) = names.signals.iter().find(|signal| signal.name == name) {
        return Ok(FoundName::Signal(signal.kind, &signal.unit));
    }
    if let Some((_, value)) = names.constants.iter().find(|(known, _)| known == name) {
        return if value.is_finite() {
            Ok(FoundName::Constant(*value))
        } else {
            Err(FileError::new(format!("`{name}` is not a finite number")).with_span(span.clone()))
        };
    }
    if matches!(
        name.to_ascii_lowercase().as_str(),
        "nan" | "inf" | "infinity"
    ) {
        return Err(FileError::new(format!("`{name}` is not a usable number"))
            .with_help("write a finite number")
            .with_span(span.clone()));
    }
    let what = if name.starts_with("rig.") {
        "rig constant"
    } else {
        "signal"
    };
    let help = match suggestion(names, name) {
        Some(known) => format!("did you mean `{known}`? `trimproof signals` lists every name"),
        None => "`trimproof signals` lists every name".to_owned(),
    };
    Err(FileError::new(format!("unknown {what} `{name}`"))
        .with_help(help)
        .with_span(span.clone()))
}

/// The code of a state.
///
/// # Errors
/// A name that is no state, with the nearest one and the list.
pub(super) fn state(names: &Names, name: &str, span: &Range<usize>) -> Result<usize, FileError> {
    let states = &names.states;
    if let Some(code) = states.iter().position(|state| state == name) {
        return Ok(code);
    }
    let list = states
        .iter()
        .map(|state| format!("`{state}`"))
        .collect::<Vec<_>>()
        .join(", ");
    let help = match nearest(name, states.iter().map(String::as_str)) {
        Some(known) => format!("did you mean `{known}`? the states are {list}"),
        None => format!("the states are {list}"),
    };
    Err(FileError::new(format!("unknown state `{name}`"))
        .with_help(help)
        .with_span(span.clone()))
}

/// The known name that was probably meant: one whose last parts are the name, or the nearest by
/// spelling.
fn suggestion<'a>(names: &'a Names, name: &str) -> Option<&'a str> {
    let tail = format!(".{name}");
    let known = || {
        let signals = names.signals.iter().map(|signal| signal.name.as_str());
        let constants = names.constants.iter().map(|(known, _)| known.as_str());
        signals.chain(constants)
    };
    known()
        .find(|known| known.ends_with(&tail))
        .or_else(|| nearest(name, known().chain(WORDS)))
}

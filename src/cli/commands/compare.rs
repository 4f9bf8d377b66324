//! `compare`: two traces side by side.

use crate::args::{CompareArgs, Format};
use crate::exit::Exit;
use crate::output::{emit, emit_json};
use crate::report::{CommandResult, Failure};
use std::path::Path;
use trimproof_harness::compare::compare;
use trimproof_harness::trace::Trace;

/// Reads both traces and prints how they differ.
///
/// # Errors
/// If a file is no whole trace, or standard output cannot be written.
pub fn run(args: &CompareArgs) -> CommandResult {
    let comparison = compare(&read(&args.a)?, &read(&args.b)?);
    match args.format {
        Format::Json => emit_json(&comparison)?,
        Format::Text => emit(&comparison.to_string())?,
    }
    Ok(if comparison.same {
        Exit::Pass
    } else {
        Exit::Fail
    })
}

fn read(file: &Path) -> Result<Trace, Failure> {
    let refuse = |message: String| Failure::Argument {
        message,
        help: None,
    };
    // A device or a pipe would be read without an end.
    if std::fs::metadata(file).is_ok_and(|meta| !meta.is_file()) {
        return Err(refuse(format!(
            "`{}` is not a regular file",
            file.display()
        )));
    }
    Trace::read(file).map_err(|error| refuse(error.to_string()))
}

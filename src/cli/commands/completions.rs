//! `completions`: a completion script for a shell.

use crate::args::{Cli, CompletionsArgs};
use crate::exit::Exit;
use crate::output::emit;
use crate::report::CommandResult;
use clap::CommandFactory;

/// Prints the script.
///
/// # Errors
/// If standard output cannot be written.
pub fn run(args: &CompletionsArgs) -> CommandResult {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "trimproof", &mut script);
    emit(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Pass)
}

//! `schema`: the JSON Schema of a kind of file.

use crate::args::{SchemaArgs, SchemaKind};
use crate::exit::Exit;
use crate::output::emit_json;
use crate::report::CommandResult;

/// Prints the schema.
///
/// # Errors
/// If standard output cannot be written.
pub fn run(args: &SchemaArgs) -> CommandResult {
    match args.kind {
        SchemaKind::Rig => emit_json(&trimproof_harness::rig::schema())?,
        SchemaKind::Scenario => emit_json(&trimproof_harness::scenario::schema())?,
        SchemaKind::Firmware => emit_json(&trimproof_harness::firmware::schema())?,
        SchemaKind::Laws => emit_json(&trimproof_harness::laws::schema())?,
    }
    Ok(Exit::Pass)
}

//! Scenario files: what the pilot, the supply and bad luck do, and what must come of it.
//!
//! A file is strict TOML: unknown keys, wrong types and values out of range are refused with the
//! place in the text. [`Scenario::parse`] checks everything that can be checked without a rig;
//! the formulas of the expectations need the rig's constants and are checked by the judge.

mod check;
mod definition;
mod draft;
mod event;
pub(crate) mod on_rig;
pub(crate) mod shape;
#[cfg(test)]
mod tests;

use std::path::Path;
use std::sync::LazyLock;

use trimproof_diagnostics::FileError;

pub(crate) use definition::is_kebab;
pub use definition::{Expectation, LawException, Scale, Scenario, Start};
pub use draft::{Draft, DraftFormula};
pub use event::Event;
pub(crate) use shape::in_order;
pub use trimproof_plant::PathShape;

/// Largest scenario file that is read, bytes: far above any real one, far below what hurts.
pub const MAX_BYTES: usize = 1 << 20;

impl Scenario {
    /// Reads and checks a scenario file's text. The name is left empty.
    ///
    /// # Errors
    /// The first thing wrong, with its place in `text`.
    pub fn parse(text: &str) -> Result<Self, FileError> {
        Self::parse_whole(text).map_err(|mut faults| faults.swap_remove(0))
    }

    /// As [`Scenario::parse`], but with everything that is wrong.
    ///
    /// # Errors
    /// At least one fault, in the order of the text. What makes no sense is looked for only once
    /// every key is there and every value is one that its key can have.
    pub fn parse_whole(text: &str) -> Result<Self, Vec<FileError>> {
        let scenario: Self = shape::read(text, &SCHEMA, MAX_BYTES)?;
        let faults = check::check(text, &scenario);
        if !faults.is_empty() {
            return Err(in_order(faults));
        }
        Ok(scenario)
    }
}

/// JSON Schema (draft 2020-12) of a scenario file, for editors.
pub fn schema() -> serde_json::Value {
    SCHEMA.clone()
}

/// Name of the scenario in the file at `path`: its stem.
///
/// # Errors
/// The stem is not in kebab-case (lower-case letters, digits and single hyphens).
pub fn name_of(path: &Path) -> Result<String, FileError> {
    let stem = path
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned())
        .unwrap_or_default();
    if is_kebab(&stem) {
        return Ok(stem);
    }
    let help = "name the file after the scenario, like `release-near-stop.toml`: lower-case letters, digits, hyphens";
    Err(FileError::new(format!("`{stem}` is no name for a scenario")).with_help(help))
}

/// The schema in JSON, made once: the text checker walks it too, so the two cannot differ.
static SCHEMA: LazyLock<serde_json::Value> = LazyLock::new(|| {
    schemars::generate::SchemaSettings::draft2020_12()
        .into_generator()
        .into_root_schema_for::<Scenario>()
        .into()
});

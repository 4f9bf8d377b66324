//! Scenario files: what the pilot, the supply and bad luck do, and what must come of it.
//!
//! A file is strict TOML: unknown keys, wrong types and values out of range are refused with the
//! place in the text. [`Scenario::parse`] checks everything that can be checked without a rig;
//! the formulas of the expectations need the rig's constants and are checked by the judge.

mod check;
mod draft;
mod event;
pub(crate) mod on_rig;
pub(crate) mod shape;
#[cfg(test)]
mod test_overlaps;
#[cfg(test)]
mod tests;

use std::path::Path;
use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trimproof_diagnostics::FileError;

pub use draft::{Draft, DraftFormula};
pub use event::Event;
pub use trimproof_plant::PathShape;

/// Largest scenario file that is read, bytes: far above any real one, far below what hurts.
pub const MAX_BYTES: usize = 1 << 20;

/// A scenario: timed events and the expectations that must hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Name: the stem of the file, set by whoever read it (see [`name_of`]); empty after parsing.
    #[serde(skip)]
    pub name: String,
    /// One line that says what happens.
    #[schemars(length(min = 1, max = 200))]
    pub title: String,
    /// Why it is worth proving: the mistake in a controller or rig that it would catch.
    #[schemars(length(min = 1, max = 4000))]
    pub purpose: String,
    /// Names of the rigs it runs on (the stems of the rig files), at least one.
    #[schemars(length(min = 1, max = 64))]
    pub rigs: Vec<String>,
    /// Simulated length, s, above 0 and at most 3600.
    #[schemars(range(max = 3600.0), extend("exclusiveMinimum" = 0))]
    pub length_s: f64,
    /// Seed of everything random (sensor noise, lost messages); the same seed gives the same run. 1 if left out.
    #[serde(default = "default_seed")]
    #[schemars(range(min = 0))]
    pub seed: u64,
    /// How things stand at time 0; left out, all at its defaults.
    #[serde(default)]
    pub start: Start,
    /// What happens, in order of time; none for a scenario that only waits.
    #[serde(default, rename = "do")]
    #[schemars(length(max = 10000))]
    pub events: Vec<Event>,
    /// What must hold; at least one.
    #[schemars(length(min = 1, max = 1000))]
    pub expect: Vec<Expectation>,
    /// Laws that it breaks on purpose, because what it breaks makes them impossible.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub except: Vec<LawException>,
}

/// A law that a scenario breaks on purpose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LawException {
    /// Name of the law as reports have it, with its axis: `the drive is where the controller has it: pitch`.
    #[schemars(length(min = 1, max = 220))]
    pub law: String,
    /// Why the law cannot hold here.
    #[schemars(length(min = 1, max = 4000))]
    pub because: String,
    /// Rigs that it is for, each one of the scenario's; every rig of the scenario if left out.
    #[schemars(length(min = 1, max = 64))]
    pub rigs: Option<Vec<String>>,
    /// Whether it depends on the seed that the law breaks, so that a run may keep it too (default no).
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub sometimes: bool,
}

/// How things stand at time 0.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Start {
    /// Pitch angle of the stick, deg, positive aft, -90 to 90; 0 if left out.
    #[schemars(range(min = -90.0, max = 90.0))]
    pub pitch_deg: f64,
    /// Roll angle of the stick, deg, positive right, -90 to 90; 0 if left out.
    #[schemars(range(min = -90.0, max = 90.0))]
    pub roll_deg: f64,
    /// Whether the motor supply is on from the start; true if left out.
    pub supply: bool,
    /// Whether the force-trim switch is on from the start; true if left out.
    pub force_trim: bool,
}

impl Default for Start {
    fn default() -> Self {
        Self {
            pitch_deg: 0.0,
            roll_deg: 0.0,
            supply: true,
            force_trim: true,
        }
    }
}

/// One thing that must hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Expectation {
    /// Name, unique in the scenario; it stands in reports.
    #[schemars(length(min = 1, max = 200))]
    pub name: String,
    /// The formula that must hold at time 0: signal temporal logic over the trace's signals and the rig's constants.
    #[schemars(length(min = 1, max = 4000))]
    pub formula: String,
    /// Why the limit is what it is: the requirement, the physics or the source.
    #[schemars(length(min = 1, max = 4000))]
    pub because: Option<String>,
    /// Rigs that it is for, each one of the scenario's; every rig of the scenario if left out.
    #[schemars(length(min = 1, max = 64))]
    pub rigs: Option<Vec<String>>,
    /// What a margin is measured against where it is shown as a share; left out, the limit in the
    /// comparison that decides.
    pub scale: Option<Scale>,
}

/// What the margins of an expectation are measured against.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Scale {
    /// Size of a margin that is shown as 100 %, in `unit`, above 0.
    #[schemars(range(max = 1e12), extend("exclusiveMinimum" = 0))]
    pub value: f64,
    /// Unit, as the signals have it: that of a comparison in the formula; empty for plain numbers.
    #[schemars(length(max = 64))]
    pub unit: String,
}

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
        if text.len() > MAX_BYTES {
            let message = format!(
                "the file has `{}` bytes, it may have at most {MAX_BYTES}",
                text.len()
            );
            return Err(vec![FileError::new(message)]);
        }
        let faults = shape::check_whole(text, &SCHEMA);
        if !faults.is_empty() {
            return Err(in_order(faults));
        }
        if let Err(fault) = trimproof_diagnostics::check_strings(text) {
            return Err(vec![fault]);
        }
        let scenario: Self =
            toml::from_str(text).map_err(|error| vec![FileError::from_toml(text, &error)])?;
        let faults = check::check(text, &scenario);
        if !faults.is_empty() {
            return Err(in_order(faults));
        }
        Ok(scenario)
    }

    /// The scenario as the text of a file; [`Scenario::parse`] reads it back with the very same numbers.
    pub fn to_toml(&self) -> String {
        // Strings, finite numbers, lists and tables: all of it has a form in TOML.
        toml::to_string(self).unwrap_or_default()
    }

    /// The exception from the law of this name on the rig called `rig`, if there is one.
    pub fn exception_for(&self, law: &str, rig: &str) -> Option<&LawException> {
        self.except.iter().find(|one| {
            one.law == law
                && one
                    .rigs
                    .as_ref()
                    .is_none_or(|rigs| rigs.iter().any(|name| name == rig))
        })
    }

    /// Expectations that are for the rig called `rig`, with their index in [`Scenario::expect`].
    pub fn expectations_for<'a>(
        &'a self,
        rig: &'a str,
    ) -> impl Iterator<Item = (usize, &'a Expectation)> {
        let is_for = move |one: &Expectation| {
            one.rigs
                .as_ref()
                .is_none_or(|rigs| rigs.iter().any(|name| name == rig))
        };
        self.expect
            .iter()
            .enumerate()
            .filter(move |(_, one)| is_for(one))
    }
}

/// Faults in the order of the text; those about the text as a whole, such as a missing key, come
/// last.
pub(crate) fn in_order(mut faults: Vec<FileError>) -> Vec<FileError> {
    faults.sort_by_key(|fault| match &fault.span {
        Some(span) => (span.start, span.end),
        None => (usize::MAX, usize::MAX),
    });
    faults
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

fn default_seed() -> u64 {
    1
}

/// Whether `name` is in kebab-case.
pub(crate) fn is_kebab(name: &str) -> bool {
    name.split('-').all(|part| {
        !part.is_empty()
            && part
                .bytes()
                .all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit())
    })
}

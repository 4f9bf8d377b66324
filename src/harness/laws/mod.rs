//! Laws: what must be true in every row of every run, whatever the scenario.
//!
//! They stand in one file, `laws.toml`, which every scenario of its folder and of the folders below
//! inherits. A law is a formula that only looks back and that is judged in every row, so that it
//! fits runs of any length. Where it says `axis.` it is judged for pitch and for roll, as two laws,
//! so that the two cannot come apart.
//!
//! A scenario that breaks a law on purpose says so in an `[[except]]` with its reason; an exception
//! that the run does not need is itself a fault of the suite ([`LawJudgement::is_idle_exception`]).

mod judge;
#[cfg(test)]
mod tests;

use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trimproof_diagnostics::{FileError, locate};
use trimproof_plant::AxisName;

use crate::judge::{Given, names_for, place_in};
use crate::rig::RigFile;
use crate::scenario::{MAX_BYTES, is_kebab, shape};
use trimproof_formula::Formula;

pub(crate) use judge::verdicts;
pub use judge::{Break, LawJudgement, judge_laws};

/// Name of the file in which laws stand.
pub const FILE_NAME: &str = "laws.toml";

/// Length with which laws are checked, s: the longest scenario.
const LONGEST_S: f64 = 3600.0;

/// What stands in a formula for the name of the axis.
const AXIS: &str = "axis.";

/// A file of laws.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LawFile {
    /// The laws, at least one.
    #[serde(rename = "law")]
    #[schemars(length(min = 1, max = 1000))]
    pub laws: Vec<Law>,
}

/// One law.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Law {
    /// Name, unique in the file; with `axis.` in the formula, `: pitch` or `: roll` is added to it
    /// in reports.
    #[schemars(length(min = 1, max = 200))]
    pub name: String,
    /// What must be true in every row: a formula that looks back only, without `always` around it.
    /// `axis.` stands for `pitch.` and for `roll.`, also in `rig.axis.`.
    #[schemars(length(min = 1, max = 4000))]
    pub formula: String,
    /// Why it holds in every run: the requirement, the physics or the source.
    #[schemars(length(min = 1, max = 4000))]
    pub because: String,
    /// Rigs that it is for; every rig if left out.
    #[schemars(length(min = 1, max = 64))]
    pub rigs: Option<Vec<String>>,
}

/// The laws of a file, read for one rig.
#[derive(Clone, Debug, Default)]
pub struct LawSet {
    laws: Vec<ReadLaw>,
}

/// One law for one axis, or for both at once.
#[derive(Clone, Debug)]
struct ReadLaw {
    name: String,
    because: String,
    formula: Formula,
}

impl LawFile {
    /// Reads and checks the text of a file of laws, all but the formulas: those need a rig.
    ///
    /// # Errors
    /// The first thing wrong, with its place in `text`.
    pub fn parse(text: &str) -> Result<Self, FileError> {
        if text.len() > MAX_BYTES {
            let message = format!(
                "the file has `{}` bytes, it may have at most {MAX_BYTES}",
                text.len()
            );
            return Err(FileError::new(message));
        }
        shape::check(text, &SCHEMA)?;
        trimproof_diagnostics::check_strings(text)?;
        let file: Self =
            toml::from_str(text).map_err(|error| FileError::from_toml(text, &error))?;
        for (index, law) in file.laws.iter().enumerate() {
            if file.laws[..index]
                .iter()
                .any(|other| other.name == law.name)
            {
                let message = format!("two laws are called `{}`", law.name);
                return Err(FileError::at(text, &format!("law[{index}].name"), message)
                    .with_help("give each its own name"));
            }
            for (place, rig) in law.rigs.iter().flatten().enumerate() {
                if !is_kebab(rig) {
                    let path = format!("law[{index}].rigs[{place}]");
                    let message = format!("`{rig}` is no name of a rig");
                    let help = "a rig is named by the stem of its file: lower-case letters, digits, hyphens";
                    return Err(FileError::at(text, &path, message).with_help(help));
                }
            }
        }
        Ok(file)
    }

    /// Reads the formulas for `rig`.
    ///
    /// # Errors
    /// The first formula at fault, with its place in `text`, the file's text.
    pub fn read_for(&self, rig: &RigFile, text: &str) -> Result<LawSet, FileError> {
        let names = names_for(rig, LONGEST_S);
        let mut laws = Vec::new();
        for (index, law) in self.laws.iter().enumerate() {
            if law
                .rigs
                .as_ref()
                .is_some_and(|rigs| !rigs.contains(&rig.name))
            {
                continue;
            }
            let of_axes = mentions_axis(&law.formula);
            // `roll` is as long as `axis`: read first, its errors point at the right place.
            let axes: &[Option<AxisName>] = if of_axes {
                &[Some(AxisName::Roll), Some(AxisName::Pitch)]
            } else {
                &[None]
            };
            let first = laws.len();
            for axis in axes {
                let formula =
                    axis.map_or_else(|| law.formula.clone(), |axis| for_axis(&law.formula, axis));
                let formula = Formula::parse_law(&formula, &names).map_err(|mut error| {
                    let value = locate(text, &format!("law[{index}].formula"));
                    error.span =
                        value.map(|value| place_in(text, value, &law.formula, error.span.take()));
                    error
                })?;
                laws.push(ReadLaw {
                    name: match axis {
                        Some(axis) => format!("{}: {}", law.name, axis.name()),
                        None => law.name.clone(),
                    },
                    because: law.because.clone(),
                    formula,
                });
            }
            laws[first..].reverse();
        }
        Ok(LawSet { laws })
    }
}

impl LawSet {
    /// Names of the laws as reports and exceptions have them, in the order of the file.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.laws.iter().map(|law| law.name.as_str())
    }

    /// Their formulas, in the order of the file.
    pub(crate) fn formulas(&self) -> impl Iterator<Item = &Formula> {
        self.laws.iter().map(|law| &law.formula)
    }

    /// The formulas that a run can be judged by which has what is `given`.
    pub(crate) fn formulas_given(&self, given: &Given<'_>) -> impl Iterator<Item = &Formula> {
        self.formulas()
            .filter(|formula| given.missing_in(formula.text()).is_empty())
    }

    /// How many laws there are.
    pub fn len(&self) -> usize {
        self.laws.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.laws.is_empty()
    }
}

/// JSON Schema (draft 2020-12) of a file of laws, for editors.
pub fn schema() -> serde_json::Value {
    SCHEMA.clone()
}

static SCHEMA: LazyLock<serde_json::Value> = LazyLock::new(|| {
    schemars::generate::SchemaSettings::draft2020_12()
        .into_generator()
        .into_root_schema_for::<LawFile>()
        .into()
});

/// Places of `axis.` that begin a name or follow `rig.`.
fn axis_places(formula: &str) -> impl Iterator<Item = usize> + '_ {
    formula.match_indices(AXIS).map(|(at, _)| at).filter(|at| {
        let before = &formula[..*at];
        let word = before
            .rfind(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == '.'))
            .map_or(before, |end| &before[end + 1..]);
        word.is_empty() || word == "rig."
    })
}

fn mentions_axis(formula: &str) -> bool {
    axis_places(formula).next().is_some()
}

fn for_axis(formula: &str, axis: AxisName) -> String {
    let mut out = String::with_capacity(formula.len() + 16);
    let mut from = 0;
    for at in axis_places(formula) {
        out.push_str(&formula[from..at]);
        out.push_str(axis.name());
        out.push('.');
        from = at + AXIS.len();
    }
    out.push_str(&formula[from..]);
    out
}

//! A scenario as its file has it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::event::Event;

/// A scenario: timed events and the expectations that must hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Name: the stem of the file, set by whoever read it (see [`name_of`](super::name_of)); empty
    /// after parsing.
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
    /// Seed of everything random (sensor noise, lost messages); the same seed gives the same run. 1
    /// if left out.
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
    /// Name of the law as reports have it, with its axis: `the drive is where the controller has
    /// it: pitch`.
    #[schemars(length(min = 1, max = 220))]
    pub law: String,
    /// Why the law cannot hold here.
    #[schemars(length(min = 1, max = 4000))]
    pub because: String,
    /// Rigs that it is for, each one of the scenario's; every rig of the scenario if left out.
    #[schemars(length(min = 1, max = 64))]
    pub rigs: Option<Vec<String>>,
    /// Whether it depends on the seed that the law breaks, so that a run may keep it too (default
    /// no).
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
    /// What the clock of a program at its pins has counted when the run begins, s, 0 to 4294967.295: to
    /// meet its roll-over; 0 if left out. Other controllers do not heed it.
    #[serde(skip_serializing_if = "is_zero")]
    #[schemars(range(min = 0.0, max = 4_294_967.295))]
    pub clock_s: f64,
}

fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

impl Default for Start {
    fn default() -> Self {
        Self {
            pitch_deg: 0.0,
            roll_deg: 0.0,
            supply: true,
            force_trim: true,
            clock_s: 0.0,
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
    /// The formula that must hold at time 0: signal temporal logic over the trace's signals and the
    /// rig's constants.
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
    /// The scenario as the text of a file; [`Scenario::parse`] reads it back with the very same
    /// numbers.
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

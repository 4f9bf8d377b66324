//! Where a trace comes from, and the notes by which a file proves that it is whole.

use std::collections::BTreeMap;

use serde::Serialize;
use trimproof_diagnostics::{MESSAGE_MAX, brief};

use super::error::Flaw;

/// Where a trace comes from. It does not enter the hash: the same values have the same hash
/// whatever made them.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct About {
    /// Name of the rig.
    pub rig: String,
    /// Name of the scenario.
    pub scenario: String,
    /// Identity of the controller that ran.
    pub controller: String,
    /// Seed of everything random.
    pub seed: u64,
    /// Time from one row to the next, s.
    pub tick_s: f64,
    /// Versions of the parts, by their names.
    pub versions: BTreeMap<String, String>,
    /// Anything else worth keeping, such as why a run was cut short (`cut`).
    pub notes: BTreeMap<String, String>,
}

impl About {
    /// Everything as keys and values, in the order of the files: `version.` and `note.` go before
    /// the names. What cannot be seen in them is shown, and of a very long text only the beginning
    /// stands here.
    pub fn entries(&self) -> Vec<(String, String)> {
        let mut entries = vec![
            ("rig".to_owned(), self.rig.clone()),
            ("scenario".to_owned(), self.scenario.clone()),
            ("controller".to_owned(), self.controller.clone()),
            ("seed".to_owned(), self.seed.to_string()),
            ("tick_s".to_owned(), format!("{:?}", self.tick_s)),
        ];
        let named = |prefix: &str, (name, value): (&String, &String)| {
            (format!("{prefix}.{name}"), value.clone())
        };
        entries.extend(self.versions.iter().map(|entry| named("version", entry)));
        entries.extend(self.notes.iter().map(|entry| named("note", entry)));
        // A file that is read line by line, or shown on a terminal, must not be what a board or a
        // title makes of it.
        for (key, value) in &mut entries {
            for text in [key, value] {
                *text = brief(text, MESSAGE_MAX).into_owned();
            }
        }
        entries
    }
}

/// Name of the hash, as trace files carry it.
const HASH_NAME: &str = "blake3";

/// Version of the trace files, the first thing in them.
const FORMAT: &str = "3";

/// What a file says of itself: where it comes from, and what must be in it.
#[derive(Debug, PartialEq)]
pub(super) struct Stamp {
    pub about: About,
    pub rows: usize,
    pub hash: String,
}

impl Stamp {
    pub(super) fn entries(&self) -> Vec<(String, String)> {
        let about = self.about.entries();
        let mut entries = vec![
            ("trimproof_trace".to_owned(), FORMAT.to_owned()),
            ("rows".to_owned(), self.rows.to_string()),
            ("hash".to_owned(), self.hash.clone()),
            ("hash_name".to_owned(), HASH_NAME.to_owned()),
            ("entries".to_owned(), about.len().to_string()),
        ];
        entries.extend(about);
        entries
    }

    /// Reads back what [`Stamp::entries`] gave; the order does not matter.
    pub(super) fn from_entries(
        entries: impl IntoIterator<Item = (String, String)>,
    ) -> Result<Self, Flaw> {
        let mut all = BTreeMap::new();
        for (key, value) in entries {
            if all.contains_key(&key) {
                return Err(Flaw::Damaged(format!("`{key}` is said twice")));
            }
            all.insert(key, value);
        }
        match all.remove("trimproof_trace").as_deref() {
            Some(FORMAT) => {}
            Some(other) => {
                return Err(Flaw::Foreign(format!(
                    "its format is `{other}`, known is `{FORMAT}`"
                )));
            }
            None => {
                return Err(Flaw::Foreign(
                    "it does not say `trimproof_trace`".to_owned(),
                ));
            }
        }
        let mut take = |key: &str| {
            all.remove(key)
                .ok_or_else(|| Flaw::Truncated(format!("it does not say `{key}`")))
        };
        let rows = number(&take("rows")?, "rows")?;
        let hash = take("hash")?;
        let hash_name = take("hash_name")?;
        if hash_name != HASH_NAME {
            return Err(Flaw::Foreign(format!(
                "its hash is `{hash_name}`, known is `{}`",
                HASH_NAME
            )));
        }
        let entries: usize = number(&take("entries")?, "entries")?;
        let found = all.len();
        if found < entries {
            return Err(Flaw::Truncated(format!(
                "it says `{found}` of `{entries}` things of itself"
            )));
        }
        if found > entries {
            return Err(Flaw::Damaged(format!(
                "it says `{found}` things of itself, `{entries}` were written"
            )));
        }
        let mut take = |key: &str| {
            all.remove(key)
                .ok_or_else(|| Flaw::Damaged(format!("it does not say `{key}`")))
        };
        let mut about = About {
            rig: take("rig")?,
            scenario: take("scenario")?,
            controller: take("controller")?,
            seed: number(&take("seed")?, "seed")?,
            tick_s: number(&take("tick_s")?, "tick_s")?,
            ..About::default()
        };
        for (key, value) in all {
            let place = match key.split_once('.') {
                Some(("version", name)) => about.versions.insert(name.to_owned(), value),
                Some(("note", name)) => about.notes.insert(name.to_owned(), value),
                _ => return Err(Flaw::Damaged(format!("`{key}` is not known"))),
            };
            debug_assert!(place.is_none(), "keys are unique");
        }
        Ok(Self { about, rows, hash })
    }

    /// Checks that what was read is what was written.
    pub(super) fn verify(&self, rows: usize, hash: impl FnOnce() -> String) -> Result<(), Flaw> {
        if rows < self.rows {
            return Err(Flaw::Truncated(format!(
                "it has `{rows}` of `{}` rows",
                self.rows
            )));
        }
        if rows > self.rows {
            return Err(Flaw::Damaged(format!(
                "it has `{rows}` rows, `{}` were written",
                self.rows
            )));
        }
        let found = hash();
        if found != self.hash {
            return Err(Flaw::Hash {
                written: self.hash.clone(),
                found,
            });
        }
        Ok(())
    }
}

fn number<T: std::str::FromStr>(text: &str, key: &str) -> Result<T, Flaw> {
    text.parse()
        .map_err(|_| Flaw::Damaged(format!("`{key}` is `{text}`, it must be a number")))
}

//! What can be read of a scenario file that is at fault: enough to check its formulas all the same.

use toml::de::{DeTable, DeValue};

use super::Scenario;

/// The length that is taken where a file has none that is usable, s: the longest that there is, so
/// that no window is refused for it.
const LONGEST_S: f64 = 3600.0;

/// The formulas of a file, and what they are checked against.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// Names of the rigs, as far as they are texts.
    pub rigs: Vec<String>,
    /// Length, s; the longest allowed if the file has none that is usable.
    pub length_s: f64,
    /// The formulas that are texts.
    pub formulas: Vec<DraftFormula>,
}

/// One formula.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftFormula {
    /// Index of its expectation in the file.
    pub index: usize,
    /// Its text.
    pub formula: String,
    /// Unit of its scale, if it has one.
    pub scale_unit: Option<String>,
    /// Rigs that it is for; all if `None`.
    pub rigs: Option<Vec<String>>,
}

impl Draft {
    /// Reads what can be read; nothing of a text that is no TOML.
    pub fn read(text: &str) -> Self {
        let mut draft = Self {
            rigs: Vec::new(),
            length_s: LONGEST_S,
            formulas: Vec::new(),
        };
        let Ok(root) = DeTable::parse(text) else {
            return draft;
        };
        let root = root.get_ref();
        draft.rigs = texts(root.get("rigs").map(|value| value.get_ref())).unwrap_or_default();
        let length = root
            .get("length_s")
            .and_then(|value| number(value.get_ref()));
        if let Some(length_s) = length.filter(|length_s| *length_s > 0.0 && *length_s <= LONGEST_S)
        {
            draft.length_s = length_s;
        }
        let entries = root
            .get("expect")
            .and_then(|value| value.get_ref().as_array());
        for (index, entry) in entries.into_iter().flatten().enumerate() {
            let DeValue::Table(entry) = entry.get_ref() else {
                continue;
            };
            let Some(formula) = entry
                .get("formula")
                .and_then(|value| value.get_ref().as_str())
            else {
                continue;
            };
            let scale = entry
                .get("scale")
                .and_then(|value| value.get_ref().as_table());
            let unit = scale.and_then(|scale| scale.get("unit")?.get_ref().as_str());
            draft.formulas.push(DraftFormula {
                index,
                formula: formula.to_owned(),
                scale_unit: unit.map(str::to_owned),
                rigs: texts(entry.get("rigs").map(|value| value.get_ref())),
            });
        }
        draft
    }

    /// The formulas of a scenario that was read whole.
    pub fn of(scenario: &Scenario) -> Self {
        let formulas = scenario.expect.iter().enumerate();
        Self {
            rigs: scenario.rigs.clone(),
            length_s: scenario.length_s,
            formulas: formulas
                .map(|(index, one)| DraftFormula {
                    index,
                    formula: one.formula.clone(),
                    scale_unit: one.scale.as_ref().map(|scale| scale.unit.clone()),
                    rigs: one.rigs.clone(),
                })
                .collect(),
        }
    }

    /// Formulas for the rig called `rig`.
    pub fn formulas_for<'a>(&'a self, rig: &'a str) -> impl Iterator<Item = &'a DraftFormula> {
        self.formulas.iter().filter(move |one| {
            let rigs = one.rigs.as_ref();
            rigs.is_none_or(|rigs| rigs.iter().any(|name| name == rig))
        })
    }
}

fn texts(value: Option<&DeValue<'_>>) -> Option<Vec<String>> {
    let entries = value?.as_array()?.iter();
    Some(
        entries
            .filter_map(|entry| entry.get_ref().as_str().map(str::to_owned))
            .collect(),
    )
}

fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(integer) => integer.as_str().parse().ok(),
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

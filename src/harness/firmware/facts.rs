//! What judging needs of a firmware on one rig.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::{FirmwareFile, Promises};

/// What the names of promises begin with in formulas.
pub const PROMISE_PREFIX: &str = "promise.";

/// The firmware file of our own controller.
const OURS: &str = include_str!("../../../scenarios/firmware/ours/firmware.toml");

static OUR_FILE: LazyLock<Option<FirmwareFile>> = LazyLock::new(|| FirmwareFile::parse(OURS).ok());

/// What is known of the firmware that runs on a rig: what it promises.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// Promises by their names, without `promise.`.
    pub promises: BTreeMap<&'static str, f64>,
}

impl Facts {
    /// The facts of our own controller on the rig of this name.
    pub fn ours(rig: &str) -> Self {
        OUR_FILE
            .as_ref()
            .map_or_else(Self::default, |file| Self::of(file, rig))
    }

    /// The facts of `firmware` on the rig of this name.
    pub fn of(firmware: &FirmwareFile, rig: &str) -> Self {
        let own = firmware.on_rig(rig).map(|one| &one.promises);
        let promises = own.map_or_else(
            || firmware.promises.clone(),
            |own| own.or(&firmware.promises),
        );
        Self {
            promises: promises.given(),
        }
    }

    /// Constants for formulas with their names.
    pub(crate) fn constants(&self) -> impl Iterator<Item = (String, f64)> {
        self.promises
            .iter()
            .map(|(name, value)| (format!("{PROMISE_PREFIX}{name}"), *value))
    }

    /// As [`Facts::constants`], with a usual value for what is not promised, so that formulas can be
    /// read.
    pub(crate) fn constants_or_examples(&self) -> impl Iterator<Item = (String, f64)> {
        Promises::ALL.iter().map(|(name, example)| {
            let value = self.promises.get(name).copied().unwrap_or(*example);
            (format!("{PROMISE_PREFIX}{name}"), value)
        })
    }

    /// Whether this is a promise that could be given and is not.
    pub(crate) fn lacks(&self, constant: &str) -> bool {
        constant.strip_prefix(PROMISE_PREFIX).is_some_and(|name| {
            Promises::ALL.iter().any(|(known, _)| *known == name)
                && !self.promises.contains_key(name)
        })
    }
}

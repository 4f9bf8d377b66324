//! Firmware files: a builder's program, the board that it runs on, its wiring, and what it promises
//! in numbers.
//!
//! A file is strict TOML. [`FirmwareFile::parse`] checks all that can be checked without a rig;
//! [`Facts`] is what judging needs of it on one rig.

mod check;
mod chip;
mod definition;
mod facts;
mod promises;
#[cfg(test)]
mod tests;

use std::sync::LazyLock;

use trimproof_diagnostics::FileError;

pub use chip::{Chip, Pin};
pub use definition::{
    ActiveLevel, AxisPins, Board, DriverTimes, EnablePin, FirmwareFile, Floating, MicrostepPins,
    OnRig, OutputPin, PoweredBy, Pull, SensorPin, Source, SupplyPin, SwitchPin, SwitchPins,
};
pub use facts::{Facts, PROMISE_PREFIX};
pub use promises::Promises;

use crate::scenario::{in_order, shape};

/// The file that `--on source:DIR` reads, and that is looked for beside an image.
pub const FILE_NAME: &str = "firmware.toml";

/// Most bytes of a firmware file.
const MAX_BYTES: usize = 256 * 1024;

impl FirmwareFile {
    /// Reads and checks a firmware file's text.
    ///
    /// # Errors
    /// Everything that is wrong, with its place in `text`, in the order of the text.
    pub fn parse(text: &str) -> Result<Self, Vec<FileError>> {
        let file: Self = shape::read(text, &SCHEMA, MAX_BYTES)?;
        let faults = check::check(text, &file);
        if faults.is_empty() {
            Ok(file)
        } else {
            Err(in_order(faults))
        }
    }

    /// What differs on the rig of this name, if anything does.
    pub fn on_rig(&self, rig: &str) -> Option<&OnRig> {
        self.rigs.iter().find(|one| one.name == rig)
    }
}

/// JSON Schema (draft 2020-12) of a firmware file, for editors.
pub fn schema() -> serde_json::Value {
    SCHEMA.clone()
}

static SCHEMA: LazyLock<serde_json::Value> = LazyLock::new(|| {
    schemars::generate::SchemaSettings::draft2020_12()
        .into_generator()
        .into_root_schema_for::<FirmwareFile>()
        .into()
});

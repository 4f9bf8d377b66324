//! Rig files as a run needs them: the twin's rig and, where the file has them, the settings of our
//! controller.
//!
//! The twin's crate reads the mechanics and knows no controller; this module reads `[controller]`
//! from the same text and holds both against each other.

mod advice;
mod constants;
#[cfg(test)]
mod tests;

use std::ops::{Deref, DerefMut};

use serde::Deserialize;
use trimproof_controller::{AxisSettings, Settings};
use trimproof_diagnostics::{FileError, locate};
use trimproof_io::PITCH;
use trimproof_plant::Rig;
use trimproof_plant::rig::SensorRig;

use crate::firmware::Facts;

/// A rig with the settings of the controller that drives it.
///
/// It is used as the [`Rig`] that it holds wherever only the parts matter.
#[derive(Clone, Debug, PartialEq)]
pub struct RigFile {
    /// Stick, drives, sensors, supply, board and hand.
    pub rig: Rig,
    /// Settings of our controller; `None` if the file has no `[controller]`: any other firmware can
    /// be run on it.
    pub controller: Option<Settings>,
    /// What is known of the firmware that is run on it: what it promises.
    pub firmware: Facts,
}

/// Clocks that belong to the board; a controller's copy of one need not be given and cannot differ.
const CLOCKS: [&str; 3] = ["tick_hz", "generator_hz", "command_timeout_ticks"];

impl RigFile {
    /// Reads a rig from the text of its file.
    ///
    /// # Errors
    /// The first thing wrong: no TOML, an unknown or missing key, a value outside its range,
    /// controller settings that the controller refuses. The error points at the value.
    pub fn parse(text: &str) -> Result<Self, FileError> {
        let rig = Rig::parse(text)?;
        let mut controller = read_settings(text)?;
        if let Some(settings) = &mut controller {
            take_clocks(text, &rig, settings)?;
            settings.check().map_err(|error| {
                let path = format!("controller.{}", error.path());
                let message = error.to_string().replacen(error.path(), &path, 1);
                FileError::at(text, &path, message)
            })?;
        }
        let firmware = match controller {
            Some(_) => Facts::ours(&rig.name),
            None => Facts::default(),
        };
        Ok(Self {
            rig,
            controller,
            firmware,
        })
    }

    /// The controller's settings of one axis by its index: 0 is pitch, any other is roll. `None`
    /// without `[controller]`.
    pub fn axis_settings(&self, index: usize) -> Option<&AxisSettings> {
        self.controller
            .as_ref()
            .map(|settings| axis_of(settings, index))
    }

    /// What the controller takes the stick's angle to be, noise and delay left out; both in
    /// degrees. `None` without `[controller]`.
    pub fn estimated_deg(&self, index: usize, angle_deg: f64) -> Option<f64> {
        let settings = self.axis_settings(index)?;
        Some(estimated_deg(&self.axis(index).sensor, settings, angle_deg))
    }

    /// Constants for formulas with their names, `rig.` and `promise.` included, in a fixed order:
    /// those of the parts, those of the settings, then what the firmware promises.
    pub fn constants(&self) -> Vec<(String, f64)> {
        let mut constants = self.rig.constants();
        constants.extend(self.controller.iter().flat_map(constants::constants_of));
        constants.extend(self.firmware.constants());
        constants
    }

    /// As [`RigFile::constants`]; what follows from settings that the file does not have has the
    /// values of the example settings, so that formulas can be read.
    pub(crate) fn constants_or_examples(&self) -> Vec<(String, f64)> {
        let mut constants = self.rig.constants();
        let settings = self.controller.unwrap_or(Settings::example());
        constants.extend(constants::constants_of(&settings));
        constants.extend(self.firmware.constants_or_examples());
        constants
    }

    /// Whether there would be a constant of this name if the file had settings.
    pub(crate) fn lacks_constant(&self, name: &str) -> bool {
        if self.firmware.lacks(name) {
            return true;
        }
        self.controller.is_none()
            && constants::constants_of(&Settings::example())
                .iter()
                .any(|(known, _)| known == name)
    }
}

impl Deref for RigFile {
    type Target = Rig;

    fn deref(&self) -> &Rig {
        &self.rig
    }
}

impl DerefMut for RigFile {
    fn deref_mut(&mut self) -> &mut Rig {
        &mut self.rig
    }
}

/// JSON Schema of a rig file, for editors.
pub fn schema() -> serde_json::Value {
    let mut schema: serde_json::Value = trimproof_plant::rig::schema().into();
    let mut generator = schemars::generate::SchemaSettings::draft2020_12().into_generator();
    let mut settings: serde_json::Value = generator.subschema_for::<Settings>().into();
    let definitions = generator.take_definitions(true);
    if let Some(settings) = settings.as_object_mut() {
        settings.insert(
            "description".to_owned(),
            "Settings of our controller; leave the table out for any other firmware.".into(),
        );
    }
    if let Some(all) = schema["$defs"].as_object_mut() {
        all.extend(definitions);
    }
    schema["properties"]["controller"] = settings;
    schema
}

/// The settings of one axis by its index.
fn axis_of(settings: &Settings, index: usize) -> &AxisSettings {
    if index == PITCH {
        &settings.pitch
    } else {
        &settings.roll
    }
}

/// What the controller takes the stick's angle to be, noise and delay left out; both in degrees.
pub fn estimated_deg(sensor: &SensorRig, settings: &AxisSettings, angle_deg: f64) -> f64 {
    let counts = f64::from(sensor.counts(sensor.signal_deg(angle_deg)));
    let span_deg = f64::from(settings.sensor_span_mdeg) / 1000.0;
    (counts - f64::from(settings.sensor_zero_counts)) * span_deg
        / f64::from(settings.sensor_span_counts)
}

/// What stands in `[controller]`; the rest of the text is the twin's and has been read.
fn read_settings(text: &str) -> Result<Option<Settings>, FileError> {
    #[derive(Deserialize)]
    struct OnlyController {
        controller: Option<Settings>,
    }
    toml::from_str(text)
        .map(|read: OnlyController| read.controller)
        .map_err(|error| FileError::from_toml(text, &error))
}

/// Gives the controller the board's clocks.
fn take_clocks(text: &str, rig: &Rig, settings: &mut Settings) -> Result<(), FileError> {
    let board = [
        rig.board.tick_hz,
        rig.board.generator_hz,
        rig.board.command_timeout_ticks,
    ];
    let own = [
        &mut settings.tick_hz,
        &mut settings.generator_hz,
        &mut settings.command_timeout_ticks,
    ];
    for ((key, board), own) in CLOCKS.into_iter().zip(board).zip(own) {
        let path = format!("controller.{key}");
        if locate(text, &path).is_some() && u32::from(*own) != board {
            let message = format!("`{path}` is `{own}`, the board's is `{board}`");
            let help = format!("leave it out: `board.{key}` is given to the controller");
            return Err(FileError::at(text, &path, message).with_help(help));
        }
        // The rig's ranges are the controller's: all fit 16 bits.
        *own = u16::try_from(board).unwrap_or(u16::MAX);
    }
    Ok(())
}

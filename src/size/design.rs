//! What is sized: a rig with its controller's settings.

use std::ops::{Deref, DerefMut};

use thiserror::Error;
use trimproof_controller::{AxisSettings, Settings};
use trimproof_harness::rig::{RigFile, estimated_deg};
use trimproof_io::PITCH;
use trimproof_plant::Rig;

/// Why a rig cannot be sized.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum SizeError {
    /// Soft limits and rates are the controller's.
    #[error(
        "the rig `{rig}` has no `[controller]`: soft limits, rates and microsteps are its settings"
    )]
    NoSettings {
        /// Name of the rig.
        rig: String,
    },
}

/// A rig and the settings of its controller.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    rig: Rig,
    /// The controller's settings.
    pub(crate) controller: Settings,
}

impl Design {
    /// The design that a file describes.
    ///
    /// # Errors
    /// It has no settings.
    pub(crate) fn of(file: &RigFile) -> Result<Self, SizeError> {
        let controller = file.controller.ok_or_else(|| SizeError::NoSettings {
            rig: file.name.clone(),
        })?;
        Ok(Self {
            rig: file.rig.clone(),
            controller,
        })
    }

    /// The design of a shipped rig.
    #[cfg(test)]
    pub(crate) fn parse(text: &str) -> Result<Self, SizeError> {
        Self::of(&RigFile::parse(text).expect("the shipped rigs are valid"))
    }

    /// As a file would have it.
    #[cfg(test)]
    pub(crate) fn file(&self) -> RigFile {
        RigFile {
            rig: self.rig.clone(),
            controller: Some(self.controller),
            firmware: trimproof_harness::firmware::Facts::default(),
        }
    }

    /// The controller's settings of one axis by its index.
    pub(crate) fn axis_settings(&self, index: usize) -> &AxisSettings {
        if index == PITCH {
            &self.controller.pitch
        } else {
            &self.controller.roll
        }
    }

    /// What the controller takes the stick's angle to be, noise and delay left out; both in
    /// degrees.
    pub(crate) fn estimated_deg(&self, index: usize, angle_deg: f64) -> f64 {
        let sensor = &self.axis(index).sensor;
        estimated_deg(sensor, self.axis_settings(index), angle_deg)
    }
}

impl Deref for Design {
    type Target = Rig;

    fn deref(&self) -> &Rig {
        &self.rig
    }
}

impl DerefMut for Design {
    fn deref_mut(&mut self) -> &mut Rig {
        &mut self.rig
    }
}

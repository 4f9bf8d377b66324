//! Where the controller under test runs.

use super::Traffic;
use thiserror::Error;
use trimproof_controller::{Controller, Inputs, Outputs, Settings};

/// A controller under test.
pub trait Target {
    /// Which controller this is, as traces carry it.
    fn identity(&self) -> String;

    /// Starts a run with these settings.
    ///
    /// # Errors
    /// The controller refuses the settings, or cannot be reached.
    fn begin(&mut self, settings: &Settings) -> Result<(), TargetError>;

    /// One control tick.
    ///
    /// # Errors
    /// The controller does not answer as it must.
    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError>;

    /// Starts the controller again in mid-run, as its watchdog would.
    ///
    /// # Errors
    /// The controller does not come back.
    fn reset(&mut self) -> Result<(), TargetError>;

    /// The run is over. What the user must hear of how the controller took it, if anything.
    fn end(&mut self, _how: Ending) -> Option<String> {
        None
    }

    /// What went over the link since the run began; `None` if there is no link.
    fn traffic(&self) -> Option<Traffic> {
        None
    }
}

impl Target for Box<dyn Target> {
    fn identity(&self) -> String {
        (**self).identity()
    }

    fn begin(&mut self, settings: &Settings) -> Result<(), TargetError> {
        (**self).begin(settings)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        (**self).tick(inputs)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        (**self).reset()
    }

    fn end(&mut self, how: Ending) -> Option<String> {
        (**self).end(how)
    }

    fn traffic(&self) -> Option<Traffic> {
        (**self).traffic()
    }
}

/// How a run came to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// It ran its whole length.
    Complete,
    /// It was stopped from outside, or the controller failed.
    Broken,
}

/// Why a target failed.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum TargetError {
    /// The controller refuses its settings.
    #[error("the controller refuses its settings: {0}")]
    Settings(String),
    /// A tick was asked for before the run began.
    #[error("the controller was not started")]
    NotBegun,
    /// The board or the link to it failed; what and where.
    #[error("{0}")]
    Link(String),
    /// The user wants to stop, and the controller was waited for no longer.
    #[error("stopped while waiting for the controller")]
    Stopped,
    /// Two controllers that were run side by side differ; where and in what.
    #[error("{0}")]
    Differs(String),
}

/// The controller in this process: the crate that is flashed.
#[derive(Default)]
pub struct LogicTarget {
    settings: Option<Settings>,
    controller: Option<Controller>,
}

impl LogicTarget {
    /// A controller that waits for its settings.
    pub fn new() -> Self {
        Self::default()
    }
}

impl Target for LogicTarget {
    fn identity(&self) -> String {
        Controller::identity().to_owned()
    }

    fn begin(&mut self, settings: &Settings) -> Result<(), TargetError> {
        let controller =
            Controller::new(*settings).map_err(|error| TargetError::Settings(error.to_string()))?;
        self.controller = Some(controller);
        self.settings = Some(*settings);
        Ok(())
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        self.controller
            .as_mut()
            .map(|controller| controller.tick(inputs))
            .ok_or(TargetError::NotBegun)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        let settings = self.settings.ok_or(TargetError::NotBegun)?;
        self.begin(&settings)
    }
}

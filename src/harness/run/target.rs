//! Where the controller under test runs.

use trimproof_controller::{Controller, Settings};
use trimproof_io::{Inputs, Outputs, Reports};

use super::error::TargetError;
use super::pins::{PinTarget, SerialLine};
use super::traffic::Traffic;
use crate::rig::RigFile;

/// A controller under test.
pub trait Target {
    /// Which controller this is, as traces carry it.
    fn identity(&self) -> String;

    /// What it reports about itself beside its command; the rest is no column of the trace.
    fn reports(&self) -> Reports {
        Reports::ALL
    }

    /// What the firmware's clock has counted when the run begins, s; said before the beginning. Only
    /// programs at their pins heed it.
    fn set_clock(&mut self, _clock_s: f64) {}

    /// The board's pins, if this is a program that is run at them: then it is driven by
    /// [`PinTarget::run`] and never asked for a tick.
    fn pins(&mut self) -> Option<&mut dyn PinTarget> {
        None
    }

    /// Starts a run on `rig`, with its settings if the controller takes any.
    ///
    /// # Errors
    /// The controller refuses the settings, or cannot be reached.
    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError>;

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

    /// Lines that the program wrote to its serial ports, with their times.
    fn serial(&self) -> &[SerialLine] {
        &[]
    }
}

impl Target for Box<dyn Target> {
    fn identity(&self) -> String {
        (**self).identity()
    }

    fn reports(&self) -> Reports {
        (**self).reports()
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        (**self).begin(rig)
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

    fn set_clock(&mut self, clock_s: f64) {
        (**self).set_clock(clock_s);
    }

    fn pins(&mut self) -> Option<&mut dyn PinTarget> {
        (**self).pins()
    }

    fn serial(&self) -> &[SerialLine] {
        (**self).serial()
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

    fn start(&mut self, settings: Settings) -> Result<(), TargetError> {
        self.controller = Some(Controller::new(settings).map_err(TargetError::Settings)?);
        self.settings = Some(settings);
        Ok(())
    }
}

impl Target for LogicTarget {
    fn identity(&self) -> String {
        Controller::identity().to_owned()
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.start(rig.settings()?)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        self.controller
            .as_mut()
            .map(|controller| controller.tick(inputs))
            .ok_or(TargetError::NotBegun)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.start(self.settings.ok_or(TargetError::NotBegun)?)
    }
}

impl RigFile {
    /// The settings of our controller.
    ///
    /// # Errors
    /// The file has none.
    pub fn settings(&self) -> Result<Settings, TargetError> {
        self.controller.ok_or_else(|| TargetError::NoSettings {
            rig: self.name.clone(),
        })
    }
}

//! How runs end.

use thiserror::Error;
use trimproof_plant::TwinAbort;

use super::error::TargetError;

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum RunEnd {
    /// It ran its whole length.
    #[default]
    Complete,
    /// It was cut short.
    Cut(Cut),
}

/// Why a run was cut short. What it says stands in the trace's notes.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum Cut {
    /// Whoever watched said so.
    #[error("stopped at {at_s} s")]
    Stopped {
        /// Simulated time, s.
        at_s: f64,
    },
    /// The controller under test failed at a tick.
    #[error("tick {tick}: {error}")]
    Tick {
        /// Number of the tick, from 0.
        tick: u32,
        /// What failed.
        #[source]
        error: TargetError,
    },
    /// The controller under test could not be started, or not again.
    #[error("{0}")]
    Start(#[source] TargetError),
    /// The twin cannot compute the run; instant, part and reason.
    #[error("the twin cannot compute the run: {0}")]
    Aborted(#[source] TwinAbort),
}

impl RunEnd {
    /// Whether the run has its whole length.
    pub fn is_complete(&self) -> bool {
        *self == Self::Complete
    }

    /// Why it was cut short; `None` if it ran its whole length.
    pub fn cut(&self) -> Option<&Cut> {
        match self {
            Self::Complete => None,
            Self::Cut(cut) => Some(cut),
        }
    }

    /// Whether it was cut because someone wanted to stop, not because the controller failed.
    pub fn is_stopped(&self) -> bool {
        self.cut().is_some_and(Cut::is_stop)
    }

    /// Why the twin could not compute it, if that is why it was cut.
    pub fn aborted(&self) -> Option<&TwinAbort> {
        match self.cut()? {
            Cut::Aborted(abort) => Some(abort),
            _ => None,
        }
    }
}

impl Cut {
    /// Whether someone wanted to stop.
    pub fn is_stop(&self) -> bool {
        matches!(
            self,
            Self::Stopped { .. }
                | Self::Tick {
                    error: TargetError::Stopped,
                    ..
                }
                | Self::Start(TargetError::Stopped)
        )
    }
}

//! Why a controller under test fails.

use std::error::Error;
use std::fmt;
use std::sync::Arc;

use thiserror::Error;
use trimproof_controller::SettingsError;

use super::difference::AnswerDifference;

/// Why a target failed.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum TargetError {
    /// The controller refuses its settings.
    #[error("the controller refuses its settings: {0}")]
    Settings(#[source] SettingsError),
    /// The controller needs settings, and the rig's file has none.
    #[error("the rig `{rig}` has no `[controller]`: this controller needs its settings")]
    NoSettings {
        /// Name of the rig.
        rig: String,
    },
    /// A tick was asked for before the run began.
    #[error("the controller was not started")]
    NotBegun,
    /// The board or the link to it failed; what and where.
    #[error("{cause}{}", help.as_ref().map_or_else(String::new, |help| format!("; {help}")))]
    Link {
        /// What failed.
        #[source]
        cause: Cause,
        /// What would help.
        help: Option<String>,
    },
    /// The program under test has ended or does not fit; what happened.
    #[error("{why}{}", help.as_ref().map_or_else(String::new, |help| format!("; {help}")))]
    Program {
        /// What happened.
        why: String,
        /// What would help.
        help: Option<String>,
    },
    /// A fault of a link, where there is none.
    #[error(
        "a program that is run at its pins has no link: `link_loss` and `link_corruption` have no meaning"
    )]
    NoLink,
    /// The user wants to stop, and the controller was waited for no longer.
    #[error("stopped while waiting for the controller")]
    Stopped,
    /// Two controllers that were run side by side differ.
    #[error("{0}")]
    Differs(Box<AnswerDifference>),
}

/// An error of a crate that this one does not know. Two are equal if they say the same.
#[derive(Clone, Debug)]
pub struct Cause(Arc<dyn Error + Send + Sync>);

impl Cause {
    /// `error` as a cause.
    pub fn new(error: impl Error + Send + Sync + 'static) -> Self {
        Self(Arc::new(error))
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Error for Cause {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        self.0.source()
    }
}

impl PartialEq for Cause {
    fn eq(&self, other: &Self) -> bool {
        self.to_string() == other.to_string()
    }
}

impl Eq for Cause {}

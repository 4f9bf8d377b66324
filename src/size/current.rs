//! The two currents that a driver regulates to.

use serde::Serialize;

use crate::design::Design;

/// Which current the driver regulates to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Current {
    /// Holding current.
    Hold,
    /// Running current.
    Run,
}

impl Current {
    /// Both, in the order of a report.
    pub const ALL: [Self; 2] = [Self::Hold, Self::Run];

    /// Name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Hold => "hold",
            Self::Run => "run",
        }
    }

    /// Its peak on axis `index`, A.
    pub(crate) fn amps(self, rig: &Design, index: usize) -> f64 {
        let driver = &rig.axis(index).driver;
        match self {
            Self::Hold => driver.hold_a,
            Self::Run => driver.run_a,
        }
    }
}

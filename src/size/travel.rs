//! How far an axis goes.

use crate::design::Design;

/// Travel of one axis, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Travel {
    pub(crate) min_deg: f64,
    pub(crate) max_deg: f64,
    pub(crate) soft_min_deg: f64,
    pub(crate) soft_max_deg: f64,
}

impl Travel {
    pub(crate) fn of(rig: &Design, index: usize) -> Self {
        let (stops, settings) = (&rig.axis(index).stops, rig.axis_settings(index));
        Self {
            min_deg: stops.min_deg,
            max_deg: stops.max_deg,
            soft_min_deg: f64::from(settings.soft_min_mdeg) / 1000.0,
            soft_max_deg: f64::from(settings.soft_max_mdeg) / 1000.0,
        }
    }

    /// Largest deflection with the trim in the middle.
    pub(crate) fn throw_deg(self) -> f64 {
        self.max_deg.max(-self.min_deg)
    }

    /// Largest deflection of all: stick at a stop, trim at the soft limit on the other side.
    pub(crate) fn farthest_deg(self) -> f64 {
        (self.max_deg - self.soft_min_deg).max(self.soft_max_deg - self.min_deg)
    }
}

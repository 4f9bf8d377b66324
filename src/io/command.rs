//! What a controller asks of the drivers in a tick.

use crate::inputs::AXES;

/// Winding current that the driver is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum CurrentLevel {
    /// No current.
    #[default]
    Off,
    /// The driver's holding current.
    Hold,
    /// The driver's running current.
    Run,
}

/// What the controller asks of one axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AxisCommand {
    /// Driver enable line; `false` leaves the windings open.
    pub enable: bool,
    /// Driver reset line: `true` puts the microstep index to its home position (index 0)
    /// and clears the step generator's fraction.
    pub home: bool,
    /// Step rate for the [`crate::StepGenerator`]: microsteps per generator period, times 2^32.
    pub step_rate: i32,
    /// Current level.
    pub current: CurrentLevel,
    /// Joystick axis for the host simulator, -32767 to 32767.
    pub joystick: i16,
}

/// What the controller asks for in one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Command {
    /// Per axis, `[pitch, roll]`.
    pub axis: [AxisCommand; AXES],
}

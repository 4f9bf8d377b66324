//! What goes into a control tick.

/// Number of axes of a cyclic stick.
pub const AXES: usize = 2;
/// Index of the pitch axis (fore and aft; positive is aft) in every per-axis array.
pub const PITCH: usize = 0;
/// Index of the roll axis (left and right; positive is right) in every per-axis array.
pub const ROLL: usize = 1;

/// Raw switch levels, before debouncing; `true` is closed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Switches {
    /// Trim-release button under the finger: closed while pressed.
    pub release: bool,
    /// Beep hat pushed forward (trims towards negative pitch).
    pub hat_fore: bool,
    /// Beep hat pulled aft (trims towards positive pitch).
    pub hat_aft: bool,
    /// Beep hat to the left (trims towards negative roll).
    pub hat_left: bool,
    /// Beep hat to the right (trims towards positive roll).
    pub hat_right: bool,
    /// Force-trim master switch: closed is on.
    pub force_trim: bool,
}

/// Everything the controller receives in one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Inputs {
    /// Number of this tick, counting from 0 and wrapping; a gap means lost ticks.
    pub tick: u32,
    /// Raw angle-sensor counts, `[pitch, roll]`.
    pub sensor_counts: [u16; AXES],
    /// Raw switch levels.
    pub switches: Switches,
    /// Lowest motor supply since the last tick, millivolts: the board reads it in every period of
    /// the step generator, so that no dip at which the drivers forget their place falls between two
    /// ticks.
    pub supply_mv: u16,
}

//! What the stick is pressed against, and how hard.

/// A contact that is pressed harder than it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Overload {
    /// What is pressed.
    pub contact: Pressed,
    /// Force on it, N.
    pub force_n: f64,
    /// Force that it stands up to, N.
    pub limit_n: f64,
}

/// What the stick is pressed against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pressed {
    /// A stop.
    Stop {
        /// Its axis: 0 is pitch, 1 is roll.
        axis: usize,
        /// Whether it is the one at the upper end of the travel.
        is_upper: bool,
    },
    /// The obstacle of this index in the rig.
    Obstacle(usize),
}

//! The parts that move, and what of the trace and the rig they follow.

use bevy::prelude::*;

use super::Layout;
use crate::timeline::Instant;

/// A part that moves, and how.
#[derive(Clone, Copy, Component, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// Outer frame: turns in pitch.
    Frame,
    /// Inner yoke with the stick: turns in roll, in the frame.
    Yoke,
    /// The stick's lever and rod at a cartridge.
    Lever(usize),
    /// Trim shaft with gear and cage.
    TrimShaft(usize),
    /// Pinion on the motor's shaft.
    Pinion(usize),
    /// A spring of a cartridge, in the cage.
    Spring(usize),
    /// Washer of a cartridge at the end that faces the negative (0) or positive (1) direction.
    Washer(usize, usize),
    /// Frame of the ghost at the trimmed position.
    GhostFrame,
    /// Yoke and stick of the ghost.
    GhostYoke,
    /// The hand's ring around the grip.
    Ring,
    /// Shaft of the force arrow.
    ArrowShaft,
    /// Head of the force arrow.
    ArrowHead,
    /// Trim release on the grip.
    Release,
    /// Hat on the grip: fore, aft, left, right.
    Hat(usize),
    /// Lever of the force-trim switch.
    ForceTrim,
}

/// What the scene shows now; the panels and tests read it too.
#[derive(Clone, Debug, Default, PartialEq, Resource)]
pub struct Shown(pub Option<Instant>);

/// The layout of the rig that is shown.
#[derive(Resource)]
pub struct Placed(pub Layout);

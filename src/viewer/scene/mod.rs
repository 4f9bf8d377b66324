//! The rig in three dimensions: what stands where ([`Layout`]), what it is made of, how it moves with an instant of the trace.

mod build;
mod drive;
mod layout;
mod mesh;
mod motion;
mod stuff;

#[cfg(test)]
mod tests;

pub use layout::{Layout, to_scene};
pub use mesh::{Gear, spring};
#[cfg(test)]
use motion::lit;
pub use motion::{arrow, grip_at, placed, touched, toward};
pub use stuff::{Glow, Stuff};

use bevy::prelude::*;

use crate::story::Instant;

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

/// Builds the scene at start and moves it after every change of [`Shown`].
pub struct ScenePlugin;

impl Plugin for ScenePlugin {
    fn build(&self, app: &mut App) {
        app.init_resource::<Shown>()
            .add_systems(Startup, build::raise)
            .add_systems(Update, (move_parts, stuff::glow).chain().in_set(Move));
    }
}

/// The systems that move the scene.
#[derive(Clone, Debug, Eq, Hash, PartialEq, SystemSet)]
pub struct Move;

/// Puts every part where the instant wants it.
fn move_parts(
    shown: Res<Shown>,
    layout: Res<Placed>,
    mut parts: Query<(&Part, &mut Transform, &mut Visibility)>,
) {
    let Some(instant) = shown.is_changed().then_some(shown.0.as_ref()).flatten() else {
        return;
    };
    for (part, mut transform, mut visibility) in &mut parts {
        match placed(*part, instant, &layout.0) {
            Some(place) => {
                *transform = place;
                visibility.set_if_neq(Visibility::Inherited);
            }
            None => {
                visibility.set_if_neq(Visibility::Hidden);
            }
        }
    }
}

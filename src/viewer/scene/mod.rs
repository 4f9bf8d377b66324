//! The rig in three dimensions: what stands where ([`Layout`]), what it is made of, how it moves
//! with an instant of the trace.

mod build;
mod drive;
mod kit;
mod layout;
mod mesh;
mod motion;
mod part;
mod stuff;
mod turns;

#[cfg(test)]
mod tests;

pub use layout::{Layout, to_scene};
pub use mesh::{Gear, spring};
#[cfg(test)]
use motion::lit;
pub use motion::{arrow, grip_at, placed, touched, toward};
pub use part::{Part, Placed, Shown};
pub use stuff::{Glow, Stuff};

use bevy::prelude::*;

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

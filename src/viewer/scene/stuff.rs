//! What things are made of, and what glows.

use bevy::color::LinearRgba;
use bevy::prelude::*;

use super::{Placed, Shown, touched};
use crate::look::{self, colour};
use crate::timeline::Instant;

/// Materials that every rig needs.
#[derive(Clone)]
pub struct Stuff {
    /// Plate and posts.
    pub dark: Handle<StandardMaterial>,
    /// Frame and yoke.
    pub light: Handle<StandardMaterial>,
    /// Tube, shafts, rods, pins.
    pub steel: Handle<StandardMaterial>,
    /// Gears.
    pub brass: Handle<StandardMaterial>,
    /// Motors.
    pub motor: Handle<StandardMaterial>,
    /// Grip.
    pub grip: Handle<StandardMaterial>,
    /// The floor.
    pub floor: Handle<StandardMaterial>,
    /// The ghost at the trimmed position.
    pub ghost: Handle<StandardMaterial>,
    /// The hand's force.
    pub arrow: Handle<StandardMaterial>,
    /// Marks by which one sees a gear turn.
    pub mark: Handle<StandardMaterial>,
}

impl Stuff {
    /// Makes them.
    pub fn new(materials: &mut Assets<StandardMaterial>) -> Self {
        let mut plain = |rgb: [f32; 3], metallic: f32, roughness: f32| {
            materials.add(matter(rgb, metallic, roughness))
        };
        Self {
            dark: plain([0.155, 0.17, 0.19], 0.0, 0.75),
            light: plain([0.62, 0.65, 0.68], 0.15, 0.55),
            steel: plain([0.47, 0.50, 0.53], 0.35, 0.40),
            brass: plain([0.74, 0.62, 0.38], 0.30, 0.45),
            motor: plain([0.23, 0.25, 0.28], 0.1, 0.6),
            grip: plain([0.10, 0.105, 0.115], 0.0, 0.8),
            mark: plain([0.90, 0.91, 0.92], 0.0, 0.7),
            floor: materials.add(StandardMaterial {
                base_color: Color::srgb(0.655, 0.675, 0.70),
                perceptual_roughness: 1.0,
                reflectance: 0.0,
                ..default()
            }),
            ghost: materials.add(StandardMaterial {
                base_color: ghost_colour().with_alpha(0.30),
                alpha_mode: AlphaMode::Blend,
                perceptual_roughness: 0.9,
                reflectance: 0.0,
                ..default()
            }),
            arrow: materials.add(StandardMaterial {
                base_color: srgb(look::signal_colour("pitch.grip_force_n")),
                emissive: linear(look::signal_colour("pitch.grip_force_n"), 0.35),
                perceptual_roughness: 0.9,
                ..default()
            }),
        }
    }
}

/// A plain material.
pub(super) fn matter(rgb: [f32; 3], metallic: f32, roughness: f32) -> StandardMaterial {
    StandardMaterial {
        base_color: Color::srgb(rgb[0], rgb[1], rgb[2]),
        metallic,
        perceptual_roughness: roughness,
        reflectance: 0.35,
        ..default()
    }
}

/// Something that shows by its colour what is the case; each has a material of its own.
#[derive(Clone, Copy, Component, Debug, PartialEq, Eq)]
pub enum Glow {
    /// The springs of an axis, by their load.
    Springs(usize),
    /// A stop pin, when touched.
    Pin(usize),
    /// An obstacle, when touched.
    Obstacle,
    /// Trim release, when closed.
    Release,
    /// A button of the hat, when closed.
    Hat(usize),
    /// The motor of an axis, when its driver is on.
    Motor(usize),
    /// The ghost: the farther it is from the stick, the more it shows.
    Ghost,
}

/// Colours everything that glows.
pub(super) fn glow(
    shown: Res<Shown>,
    layout: Res<Placed>,
    timeline: Res<crate::timeline::Timeline>,
    glowing: Query<(&Glow, &MeshMaterial3d<StandardMaterial>)>,
    mut materials: ResMut<Assets<StandardMaterial>>,
) {
    let Some(instant) = shown.is_changed().then_some(shown.0.as_ref()).flatten() else {
        return;
    };
    let (pins, obstacle) = touched(instant, &timeline.rig);
    for (glow, handle) in &glowing {
        let (base, shine) = match *glow {
            Glow::Springs(axis) => {
                let share =
                    instant.axis[axis].cartridge_n_m.abs() as f32 / layout.0.axis[axis].full_n_m;
                let [r, g, b] = look::load_rgb(share);
                (Color::srgb(r, g, b), 0.25)
            }
            Glow::Pin(index) => signal(pins[index.min(3)], [0.47, 0.50, 0.53], colour::PURPLE),
            Glow::Obstacle => signal(obstacle, [0.55, 0.47, 0.44], colour::PURPLE),
            Glow::Release => signal(instant.release, [0.62, 0.63, 0.65], colour::PURPLE),
            Glow::Hat(index) => signal(
                instant.hat[index.min(3)],
                [0.55, 0.57, 0.60],
                colour::PURPLE,
            ),
            Glow::Ghost => (ghost_colour().with_alpha(ghost_alpha(instant)), 0.0),
            Glow::Motor(axis) => {
                signal(instant.axis[axis].enabled, [0.23, 0.25, 0.28], colour::SKY)
            }
        };
        let emissive = LinearRgba::from(base) * shine;
        // Compared first: the renderer uploads a material again once it is borrowed mutably.
        let changed = materials
            .get(&handle.0)
            .is_some_and(|material| material.base_color != base || material.emissive != emissive);
        if changed && let Some(mut material) = materials.get_mut(&handle.0) {
            material.base_color = base;
            material.emissive = emissive;
        }
    }
}

/// The ghost is the trimmed position: it has the colour of its curve.
fn ghost_colour() -> Color {
    srgb(look::signal_colour("pitch.reference_deg"))
}

/// Nothing while the ghost stands in the stick, 0.26 from two degrees on.
fn ghost_alpha(instant: &Instant) -> f32 {
    let apart_deg = instant
        .axis
        .iter()
        .filter_map(|axis| Some((axis.stick_deg - axis.reference_deg?).abs()))
        .fold(0.0, f64::max);
    0.26 * ((apart_deg - 0.2) / 1.8).clamp(0.0, 1.0) as f32
}

fn signal(on: bool, off: [f32; 3], lit: bevy_egui::egui::Color32) -> (Color, f32) {
    if on {
        (srgb(lit), 0.55)
    } else {
        (Color::srgb(off[0], off[1], off[2]), 0.0)
    }
}

fn srgb(colour: bevy_egui::egui::Color32) -> Color {
    Color::srgb_u8(colour.r(), colour.g(), colour.b())
}

fn linear(colour: bevy_egui::egui::Color32, share: f32) -> LinearRgba {
    LinearRgba::from(srgb(colour)) * share
}

//! What the scene is built with: nodes, things of a mesh and a material, bars.

use bevy::prelude::*;

use super::stuff::matter;
use super::{Glow, Layout, Part, Stuff};

/// What is needed to make things.
pub(super) struct Kit<'a, 'w, 's> {
    pub commands: Commands<'w, 's>,
    pub meshes: &'a mut Assets<Mesh>,
    pub materials: &'a mut Assets<StandardMaterial>,
    pub stuff: Stuff,
    pub layout: Layout,
}

impl Kit<'_, '_, '_> {
    /// An empty node under `parent`, with its moving part if it has one.
    pub fn node(&mut self, parent: Option<Entity>, place: Transform, part: Option<Part>) -> Entity {
        let mut node = self.commands.spawn((place, Visibility::Inherited));
        if let Some(part) = part {
            node.insert(part);
        }
        if let Some(parent) = parent {
            node.insert(ChildOf(parent));
        }
        node.id()
    }

    /// A thing of a mesh and a material under `parent`.
    pub fn thing(
        &mut self,
        parent: Entity,
        mesh: Mesh,
        material: &Handle<StandardMaterial>,
        place: Transform,
    ) -> Entity {
        let mesh = self.meshes.add(mesh);
        self.commands
            .spawn((
                Mesh3d(mesh),
                MeshMaterial3d(material.clone()),
                place,
                Visibility::Inherited,
                ChildOf(parent),
            ))
            .id()
    }

    /// A thing that shows something by its colour.
    pub fn glowing(&mut self, parent: Entity, mesh: Mesh, glow: Glow, place: Transform) -> Entity {
        let material = self.materials.add(matter([0.4; 3], 0.1, 0.5));
        let thing = self.thing(parent, mesh, &material, place);
        self.commands.entity(thing).insert(glow);
        thing
    }

    /// A round bar from one point to another.
    pub fn bar(
        &mut self,
        parent: Entity,
        [from, to]: [Vec3; 2],
        radius: f32,
        material: &Handle<StandardMaterial>,
    ) -> Entity {
        let (place, length) = between(from, to);
        self.thing(
            parent,
            Cylinder::new(radius, length).into(),
            material,
            place,
        )
    }
}

/// Place and length of a bar that is long along y.
pub(super) fn between(from: Vec3, to: Vec3) -> (Transform, f32) {
    let way = to - from;
    let length = way.length();
    let place = Transform::from_translation(0.5 * (from + to))
        .with_rotation(Quat::from_rotation_arc(Vec3::Y, way.normalize_or(Vec3::Y)));
    (place, length)
}

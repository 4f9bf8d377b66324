//! Raises the scene: plate, posts, frame, yoke, stick, stops, obstacles, ghost, arrow, light.

use bevy::light::{CascadeShadowConfigBuilder, DirectionalLightShadowMap, GlobalAmbientLight};
use bevy::prelude::*;
use trimproof_plant::{Along, Rig, Solid, SolidForm};

use super::kit::{Kit, between};
use super::layout::PlateLayout;
use super::motion::{HEAD_M, hat_at, release_at};
use super::{Glow, Layout, Part, Placed, Stuff, drive, to_scene};
use crate::timeline::Timeline;

/// The system that builds everything.
pub(super) fn raise(
    commands: Commands,
    timeline: Res<Timeline>,
    layout: Res<Placed>,
    mut meshes: ResMut<Assets<Mesh>>,
    mut materials: ResMut<Assets<StandardMaterial>>,
) {
    let stuff = Stuff::new(&mut materials);
    let mut kit = Kit {
        commands,
        meshes: &mut meshes,
        materials: &mut materials,
        stuff,
        layout: layout.0.clone(),
    };
    light(&mut kit);
    let root = kit.node(None, Transform::IDENTITY, None);
    base(&mut kit, root);
    let frame = kit.node(Some(root), Transform::IDENTITY, Some(Part::Frame));
    outer_frame(&mut kit, frame);
    let yoke = kit.node(Some(frame), Transform::IDENTITY, Some(Part::Yoke));
    inner_yoke(&mut kit, yoke);
    grip(&mut kit, yoke);
    drive::raise(&mut kit, root, 0);
    drive::raise(&mut kit, frame, 1);
    stops(&mut kit, root);
    obstacles(&mut kit, root, &timeline.rig);
    ghost(&mut kit, root);
    arrow(&mut kit, root);
}

fn light(kit: &mut Kit<'_, '_, '_>) {
    let reach = 3.0 * kit.layout.whole().1;
    kit.commands.insert_resource(GlobalAmbientLight {
        color: Color::srgb(0.92, 0.96, 1.0),
        brightness: 330.0,
        ..default()
    });
    kit.commands
        .insert_resource(DirectionalLightShadowMap { size: 1024 });
    kit.commands.spawn((
        DirectionalLight {
            illuminance: 4_300.0,
            color: Color::srgb(1.0, 0.97, 0.92),
            shadow_maps_enabled: true,
            ..default()
        },
        Transform::from_xyz(-0.55, 1.1, 0.65).looking_at(Vec3::ZERO, Vec3::Y),
        CascadeShadowConfigBuilder {
            num_cascades: 1,
            minimum_distance: 0.02,
            maximum_distance: reach,
            ..default()
        }
        .build(),
    ));
    kit.commands.spawn((
        DirectionalLight {
            illuminance: 1_000.0,
            color: Color::srgb(0.85, 0.92, 1.0),
            ..default()
        },
        Transform::from_xyz(0.9, 0.5, -0.4).looking_at(Vec3::ZERO, Vec3::Y),
    ));
}

/// Floor, plate and the posts that carry the frame.
fn base(kit: &mut Kit<'_, '_, '_>, root: Entity) {
    let down = -kit.layout.pivot_m;
    let (dark, steel) = (kit.stuff.dark.clone(), kit.stuff.steel.clone());
    let [lever, ..] = kit.layout.outward_m(0);
    let side = kit.layout.post_m();
    let PlateLayout {
        left_m: left,
        right_m: right,
        fore_m: fore,
        aft_m: aft,
    } = kit.layout.plate();
    // A round table to stand on: beyond it nothing needs to be drawn.
    let reach = 0.5 * libm::hypotf(left + right, fore + aft) + 0.06;
    let table = Cylinder {
        radius: reach,
        half_height: 0.004,
    };
    let middle = Vec3::new(0.5 * (right - left), down, 0.5 * (aft - fore));
    let stuff = kit.stuff.floor.clone();
    kit.thing(
        root,
        table.mesh().resolution(96).build(),
        &stuff,
        Transform::from_translation(middle - 0.0181 * Vec3::Y),
    );
    let plate = Cuboid::new(left + right, 0.014, fore + aft);
    let middle = Transform::from_xyz(0.5 * (right - left), down - 0.007, 0.5 * (aft - fore));
    kit.thing(root, plate.into(), &dark, middle);
    for at in [-side, side] {
        let height = kit.layout.pivot_m + 0.016;
        let post = Cuboid::new(0.012, height, 0.034);
        kit.thing(
            root,
            post.into(),
            &dark,
            Transform::from_xyz(at, down + 0.5 * height, 0.0),
        );
        let foot = Cuboid::new(0.03, 0.012, 0.075);
        kit.thing(
            root,
            foot.into(),
            &dark,
            Transform::from_xyz(at, down + 0.006, 0.0),
        );
        let bearing = Cylinder::new(0.015, 0.016);
        let lying = Transform::from_xyz(at, 0.0, 0.0)
            .with_rotation(Quat::from_rotation_z(std::f32::consts::FRAC_PI_2));
        kit.thing(root, bearing.into(), &steel, lying);
    }
    // The angle sensor on the free end of the pitch axis.
    let sensor = Cylinder::new(0.012, 0.01);
    let lying = Transform::from_xyz(side + 0.014, 0.0, 0.0)
        .with_rotation(Quat::from_rotation_z(std::f32::consts::FRAC_PI_2));
    let motor = kit.stuff.motor.clone();
    kit.thing(root, sensor.into(), &motor, lying);
    force_trim(kit, root, Vec3::new(right - 0.022, down, aft - 0.03));
    // Post of the trim shaft, beyond the gear.
    let height = kit.layout.pivot_m;
    let post = Cuboid::new(0.008, height, 0.026);
    let at = lever - 0.012;
    kit.thing(
        root,
        post.into(),
        &dark,
        Transform::from_xyz(-at, down + 0.5 * height, 0.0),
    );
}

/// The force-trim switch on the plate.
fn force_trim(kit: &mut Kit<'_, '_, '_>, root: Entity, at: Vec3) {
    let (steel, mark) = (kit.stuff.steel.clone(), kit.stuff.mark.clone());
    let collar = Cylinder::new(0.006, 0.006);
    kit.thing(
        root,
        collar.into(),
        &steel,
        Transform::from_translation(at + 0.003 * Vec3::Y),
    );
    let holder = kit.node(
        Some(root),
        Transform::from_translation(at + 0.005 * Vec3::Y),
        None,
    );
    let lever = kit.node(Some(holder), Transform::IDENTITY, Some(Part::ForceTrim));
    kit.bar(lever, [Vec3::ZERO, 0.018 * Vec3::Y], 0.0022, &mark);
}

/// The outer frame: the rig's solids, or one to suit.
fn outer_frame(kit: &mut Kit<'_, '_, '_>, frame: Entity) {
    let (light, steel) = (kit.stuff.light.clone(), kit.stuff.steel.clone());
    let [side, fore] = kit.layout.frame_half_m;
    match kit.layout.solids.clone() {
        Some([solids, _]) => solids.iter().for_each(|solid| {
            solid_thing(kit, frame, solid, &light);
        }),
        None => {
            let (thick, tall) = (0.008, 0.030);
            for at in [-1.0_f32, 1.0] {
                let plate = Cuboid::new(thick, tall, 2.0 * fore);
                let place = Transform::from_xyz(at * (side - 0.5 * thick), 0.0, 0.0);
                kit.thing(frame, plate.into(), &light, place);
                let bar = Cuboid::new(2.0 * (side - thick), tall, thick);
                let place = Transform::from_xyz(0.0, 0.0, at * (fore - 0.5 * thick));
                kit.thing(frame, bar.into(), &light, place);
            }
        }
    }
    // Trunnions of the pitch axis; bearings of the roll axis fore and aft.
    for at in [-1.0_f32, 1.0] {
        let [from, to] = [side - 0.004, side + 0.022].map(|x| Vec3::new(at * x, 0.0, 0.0));
        kit.bar(frame, [from, to], 0.006, &steel);
        let [from, to] = [fore - 0.004, fore + 0.009].map(|z| Vec3::new(0.0, 0.0, at * z));
        kit.bar(frame, [from, to], 0.010, &steel);
    }
}

/// The yoke with the tube: the rig's solids, or some to suit.
fn inner_yoke(kit: &mut Kit<'_, '_, '_>, yoke: Entity) {
    let (light, steel) = (kit.stuff.light.clone(), kit.stuff.steel.clone());
    let tube = kit.layout.tube;
    let fore = kit.layout.frame_half_m[1];
    match kit.layout.solids.clone() {
        Some([_, solids]) => {
            for solid in &solids {
                // The rig's grip is drawn as the grip, and its tube as the tube.
                let stands = matches!(solid.shape, SolidForm::Capsule { axis: Along::Z, .. });
                let is_grip = stands && (-solid.at_m[2] as f32) > 0.8 * kit.layout.grip_m;
                let is_tube = matches!(solid.shape, SolidForm::Cylinder { radius_m, axis: Along::Z, .. }
                    if (radius_m as f32 - tube.radius_m).abs() < 1e-4);
                if is_grip || is_tube {
                    continue;
                }
                solid_thing(kit, yoke, solid, &light);
            }
        }
        None => {
            let block = Cuboid::new(3.2 * tube.radius_m, 0.036, 3.2 * tube.radius_m);
            kit.thing(yoke, block.into(), &light, Transform::IDENTITY);
        }
    }
    kit.bar(
        yoke,
        [Vec3::Z, Vec3::NEG_Z].map(|way| (fore + 0.006) * way),
        0.0055,
        &steel,
    );
    let [from, to] = [tube.bottom_m.min(0.0), tube.top_m].map(|y| Vec3::new(0.0, y, 0.0));
    kit.bar(yoke, [from, to], tube.radius_m, &steel);
}

/// Grip, switches and the hand's ring.
fn grip(kit: &mut Kit<'_, '_, '_>, yoke: Entity) {
    let (dark, steel) = (kit.stuff.grip.clone(), kit.stuff.steel.clone());
    let Layout {
        grip_m: height,
        grip_radius_m: radius,
        grip_length_m: length,
        ..
    } = kit.layout;
    let top = kit.layout.tube.top_m;
    let low = height - 0.5 * length;
    if top < low {
        kit.bar(
            yoke,
            [top, low].map(|y| Vec3::new(0.0, y, 0.0)),
            0.8 * kit.layout.tube.radius_m,
            &steel,
        );
    }
    let body = Capsule3d::new(radius, length);
    kit.thing(
        yoke,
        body.into(),
        &dark,
        Transform::from_xyz(0.0, height, 0.0),
    );
    let release = kit.node(
        Some(yoke),
        Transform::from_translation(release_at(&kit.layout)),
        Some(Part::Release),
    );
    kit.glowing(
        release,
        Sphere::new(0.30 * radius).mesh().uv(16, 12),
        Glow::Release,
        Transform::IDENTITY,
    );
    for index in 0..4 {
        let (place, _) = hat_at(&kit.layout, index);
        let button = kit.node(
            Some(yoke),
            Transform::from_translation(place),
            Some(Part::Hat(index)),
        );
        kit.glowing(
            button,
            Sphere::new(0.27 * radius).mesh().uv(12, 8),
            Glow::Hat(index),
            Transform::IDENTITY,
        );
    }
    let ring = kit.node(Some(yoke), Transform::IDENTITY, Some(Part::Ring));
    let hoop = Torus::new(1.35 * radius, 1.60 * radius);
    let arrow = kit.stuff.arrow.clone();
    kit.thing(ring, hoop.into(), &arrow, Transform::IDENTITY);
}

/// The gate of stop pins above the frame, held by struts from the posts.
fn stops(kit: &mut Kit<'_, '_, '_>, root: Entity) {
    let dark = kit.stuff.dark.clone();
    let pins = kit.layout.pins.clone();
    let side = kit.layout.post_m();
    // As long as the gate needs; the twin's pins are longer, so that no angle misses them.
    let half = pins
        .iter()
        .map(|pin| pin.at.x.abs().max(pin.at.z.abs()))
        .fold(0.0, f32::max)
        + 0.012;
    for (index, pin) in pins.iter().enumerate() {
        let along = if pin.axis == 0 { Vec3::X } else { Vec3::Z };
        let (place, length) = between(pin.at - half * along, pin.at + half * along);
        kit.glowing(
            root,
            Cylinder::new(pin.radius_m, length).into(),
            Glow::Pin(index),
            place,
        );
        if pin.axis == 0 {
            for way in [-1.0_f32, 1.0] {
                let from = Vec3::new(way * side, 0.010, 0.0);
                let to = pin.at + (way * half - way * 0.004) * Vec3::X;
                kit.bar(root, [from, to], 0.004, &dark);
            }
        }
    }
}

fn obstacles(kit: &mut Kit<'_, '_, '_>, root: Entity, rig: &Rig) {
    for obstacle in &rig.obstacle {
        let (mesh, lay) = form(&obstacle.shape);
        let [roll, pitch, yaw] = obstacle.turn_deg.map(|deg| deg.to_radians() as f32);
        // Body axes in the scene: x is -z, y is x, z is -y.
        let turn = Quat::from_axis_angle(Vec3::NEG_Y, yaw)
            * Quat::from_axis_angle(Vec3::X, pitch)
            * Quat::from_axis_angle(Vec3::NEG_Z, roll);
        let place = Transform::from_translation(to_scene(obstacle.at_m)).with_rotation(turn * lay);
        kit.glowing(root, mesh, Glow::Obstacle, place);
    }
}

/// Tube and grip once more, at the trimmed position.
fn ghost(kit: &mut Kit<'_, '_, '_>, root: Entity) {
    let frame = kit.node(Some(root), Transform::IDENTITY, Some(Part::GhostFrame));
    let yoke = kit.node(Some(frame), Transform::IDENTITY, Some(Part::GhostYoke));
    let tube = kit.layout.tube;
    let low = kit.layout.grip_m - 0.5 * kit.layout.grip_length_m;
    let ends = [tube.bottom_m, low].map(|y| Vec3::new(0.0, y, 0.0));
    let (place, length) = between(ends[0], ends[1]);
    let parts: [(Mesh, Transform); 2] = [
        (Cylinder::new(1.1 * tube.radius_m, length).into(), place),
        (
            Capsule3d::new(1.06 * kit.layout.grip_radius_m, kit.layout.grip_length_m).into(),
            Transform::from_xyz(0.0, kit.layout.grip_m, 0.0),
        ),
    ];
    for (mesh, place) in parts {
        let material = kit.stuff.ghost.clone();
        let thing = kit.thing(yoke, mesh, &material, place);
        kit.commands
            .entity(thing)
            .insert((Glow::Ghost, bevy::light::NotShadowCaster));
    }
}

fn arrow(kit: &mut Kit<'_, '_, '_>, root: Entity) {
    let material = kit.stuff.arrow.clone();
    let shaft = kit.node(Some(root), Transform::IDENTITY, Some(Part::ArrowShaft));
    kit.thing(
        shaft,
        Cylinder::new(0.0042, 1.0).into(),
        &material,
        Transform::from_xyz(0.0, 0.5, 0.0),
    );
    let head = kit.node(Some(root), Transform::IDENTITY, Some(Part::ArrowHead));
    let cone = Cone {
        radius: 0.011,
        height: HEAD_M,
    };
    kit.thing(
        head,
        cone.into(),
        &material,
        Transform::from_xyz(0.0, 0.5 * HEAD_M, 0.0),
    );
}

fn solid_thing(
    kit: &mut Kit<'_, '_, '_>,
    parent: Entity,
    solid: &Solid,
    material: &Handle<StandardMaterial>,
) {
    let (mesh, lay) = form(&solid.shape);
    let place = Transform::from_translation(to_scene(solid.at_m)).with_rotation(lay);
    kit.thing(parent, mesh, material, place);
}

/// The mesh of a form and the turn that lays it along its axis.
fn form(form: &SolidForm) -> (Mesh, Quat) {
    let lay = |axis: Along| match axis {
        Along::X => Quat::from_rotation_x(std::f32::consts::FRAC_PI_2),
        Along::Y => Quat::from_rotation_z(std::f32::consts::FRAC_PI_2),
        Along::Z => Quat::IDENTITY,
    };
    match *form {
        SolidForm::Cuboid { size_m: [x, y, z] } => (
            Cuboid::new(y as f32, z as f32, x as f32).into(),
            Quat::IDENTITY,
        ),
        SolidForm::Cylinder {
            radius_m,
            length_m,
            axis,
        } => (
            Cylinder::new(radius_m as f32, length_m as f32).into(),
            lay(axis),
        ),
        SolidForm::Capsule {
            radius_m,
            length_m,
            axis,
        } => (
            Capsule3d::new(radius_m as f32, length_m as f32).into(),
            lay(axis),
        ),
        SolidForm::Sphere { radius_m } => (Sphere::new(radius_m as f32).into(), Quat::IDENTITY),
    }
}

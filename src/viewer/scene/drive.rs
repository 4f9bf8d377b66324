//! A drive: gear pair, motor, and the cartridge between trim shaft and stick.
//!
//! Everything stands in the drive's own frame, whose x axis is the axis that it drives; the pitch
//! drive goes outward to the left (-x), the roll drive forward (+x of its frame, which is -z of the
//! scene).

use bevy::prelude::*;

use super::kit::{Kit, between};
use super::layout::STAND_OFF_M;
use super::{Gear, Glow, Part, spring};

/// Width of the gears' faces, m.
const FACE_M: f32 = 0.008;

/// Builds the drive of an axis under the body that carries it.
pub(super) fn raise(kit: &mut Kit<'_, '_, '_>, carrier: Entity, axis: usize) {
    let (turn, out) = if axis == 0 {
        (Quat::IDENTITY, -1.0_f32)
    } else {
        (Quat::from_rotation_y(std::f32::consts::FRAC_PI_2), 1.0)
    };
    let drive = kit.node(Some(carrier), Transform::from_rotation(turn), None);
    let [lever_at, spring_at, gear_at] = kit.layout.outward_m(axis).map(|at| out * at);
    trim_shaft(kit, drive, axis, [lever_at, spring_at, gear_at]);
    stick_lever(kit, drive, axis, [lever_at, spring_at]);
    motor(kit, drive, axis, gear_at, out);
}

/// Lever and rods that move with the stick.
fn stick_lever(
    kit: &mut Kit<'_, '_, '_>,
    drive: Entity,
    axis: usize,
    [lever_at, spring_at]: [f32; 2],
) {
    let (light, steel) = (kit.stuff.light.clone(), kit.stuff.steel.clone());
    let cartridge = kit.layout.axis[axis].cartridge;
    let step = kit.layout.spring_step_m(axis) * spring_at.signum();
    let lever = kit.node(Some(drive), Transform::IDENTITY, Some(Part::Lever(axis)));
    let hub = Transform::from_xyz(lever_at, 0.0, 0.0)
        .with_rotation(Quat::from_rotation_z(std::f32::consts::FRAC_PI_2));
    kit.thing(lever, Cylinder::new(0.010, 0.005).into(), &light, hub);
    let arm = Cuboid::new(0.004, cartridge.arm_m, 0.010);
    kit.thing(
        lever,
        arm.into(),
        &light,
        Transform::from_xyz(lever_at, -0.5 * cartridge.arm_m, 0.0),
    );
    let last = spring_at + (cartridge.springs.max(1) - 1) as f32 * step;
    let reach = 0.5 * cartridge.length_m + cartridge.arm_m * cartridge.free_play_rad;
    // A yoke plate beyond each end of the springs; what is left of the travel to it is the free
    // play.
    for end in [-1.0_f32, 1.0] {
        let z = end * (reach + 0.0030);
        let low = -cartridge.arm_m;
        let [from, to] = [lever_at, last].map(|x| Vec3::new(x, low, z));
        kit.bar(lever, [from, to], 0.0022, &steel);
        kit.bar(lever, [Vec3::new(lever_at, low, 0.0), from], 0.0022, &steel);
    }
    for index in 0..cartridge.springs.max(1) {
        let x = spring_at + index as f32 * step;
        let ends =
            [-1.0_f32, 1.0].map(|end| Vec3::new(x, -cartridge.arm_m, end * (reach + 0.0030)));
        kit.bar(lever, ends, 0.0018, &steel);
    }
}

/// Shaft, gear, and the cage with its springs: all turns with the trim shaft.
fn trim_shaft(
    kit: &mut Kit<'_, '_, '_>,
    drive: Entity,
    axis: usize,
    [lever_at, spring_at, gear_at]: [f32; 3],
) {
    let stuff = kit.stuff.clone();
    let sizes = kit.layout.axis[axis];
    let shaft = kit.node(
        Some(drive),
        Transform::IDENTITY,
        Some(Part::TrimShaft(axis)),
    );
    let out = gear_at.signum();
    let [from, to] =
        [lever_at + out * 0.004, gear_at + out * 0.009].map(|x| Vec3::new(x, 0.0, 0.0));
    kit.bar(shaft, [from, to], 0.005, &stuff.steel);
    let gear = Gear {
        teeth: sizes.trim_teeth,
        radius_m: sizes.trim_radius_m,
        width_m: FACE_M,
        bore_m: 0.0048,
        thinner_m: sizes.play_half_m(),
        // A tooth stands towards the pinion.
        first_rad: if sizes.pinion_side > 0.0 {
            0.0
        } else {
            std::f32::consts::PI
        },
        // As far as it ever turns, and some teeth more: the rest would only hide the springs.
        half_rad: sizes.travel_rad + 0.45,
        hub_m: 0.0125,
    };
    kit.thing(
        shaft,
        gear.mesh(),
        &stuff.brass,
        Transform::from_xyz(gear_at, 0.0, 0.0),
    );
    // A light stripe shows how far the gear has turned.
    let stripe = Cuboid::new(FACE_M + 0.0012, 0.0024, 0.55 * sizes.trim_radius_m);
    kit.thing(
        shaft,
        stripe.into(),
        &stuff.mark,
        Transform::from_xyz(gear_at, 0.0, sizes.pinion_side * 0.62 * sizes.trim_radius_m),
    );
    cage(kit, shaft, axis, [spring_at, gear_at], &stuff.light);
}

/// The cage: two end plates and rods; the springs stand between, held apart by the stick's rods.
fn cage(
    kit: &mut Kit<'_, '_, '_>,
    shaft: Entity,
    axis: usize,
    [spring_at, gear_at]: [f32; 2],
    light: &Handle<StandardMaterial>,
) {
    let cartridge = kit.layout.axis[axis].cartridge;
    let steel = kit.stuff.steel.clone();
    let out = gear_at.signum();
    let step = out * kit.layout.spring_step_m(axis);
    let count = cartridge.springs.max(1);
    let (low, half) = (-cartridge.arm_m, 0.5 * cartridge.length_m);
    let outer = 0.5 * (cartridge.coil_m + cartridge.wire_m);
    let middle = spring_at + 0.5 * (count - 1) as f32 * step;
    let width = (count - 1) as f32 * step.abs() + 2.0 * outer + 0.004;
    // Above the springs, so that they stay in sight.
    let rail_y = low + outer + 0.0035;
    for end in [-1.0_f32, 1.0] {
        let plate = Cuboid::new(width, 0.005, 0.003);
        kit.thing(
            shaft,
            plate.into(),
            light,
            Transform::from_xyz(middle, rail_y, end * (half + 0.0015)),
        );
        for index in 0..count {
            let x = spring_at + index as f32 * step;
            let ring = Torus::new(0.62 * outer, outer);
            let place = Transform::from_xyz(x, low, end * (half + 0.0012))
                .with_rotation(Quat::from_rotation_x(std::f32::consts::FRAC_PI_2));
            kit.thing(shaft, ring.into(), light, place);
        }
    }
    for side in [-1.0_f32, 1.0] {
        let x = middle + side * 0.5 * (width - 0.004);
        kit.bar(
            shaft,
            [-half, half].map(|z| Vec3::new(x, rail_y, z)),
            0.0018,
            &steel,
        );
    }
    // From the cage to the gear: the trim shaft carries it.
    let hub = out * (gear_at.abs() - 0.010);
    let arm = Cuboid::new(0.004, cartridge.arm_m, 0.012);
    kit.thing(
        shaft,
        arm.into(),
        light,
        Transform::from_xyz(hub, 0.5 * low, 0.0),
    );
    let (place, length) = between(Vec3::new(middle, rail_y, 0.0), Vec3::new(hub, rail_y, 0.0));
    kit.thing(shaft, Cylinder::new(0.0025, length).into(), &steel, place);
    for index in 0..count {
        let holder = kit.node(
            Some(shaft),
            Transform::from_xyz(spring_at + index as f32 * step, low, 0.0),
            None,
        );
        let coil = kit.node(Some(holder), Transform::IDENTITY, Some(Part::Spring(axis)));
        let mesh = spring(
            cartridge.length_m,
            cartridge.coil_m,
            cartridge.wire_m,
            cartridge.coils,
        );
        kit.glowing(coil, mesh, Glow::Springs(axis), Transform::IDENTITY);
        for end in 0..2 {
            let washer = kit.node(
                Some(holder),
                Transform::IDENTITY,
                Some(Part::Washer(axis, end)),
            );
            let place =
                Transform::from_rotation(Quat::from_rotation_x(std::f32::consts::FRAC_PI_2));
            kit.thing(
                washer,
                Cylinder::new(0.82 * outer, 0.0016).into(),
                &steel,
                place,
            );
        }
    }
}

/// Motor and pinion: on the plate's bracket for pitch, on the frame's for roll.
fn motor(kit: &mut Kit<'_, '_, '_>, drive: Entity, axis: usize, gear_at: f32, out: f32) {
    let stuff = kit.stuff.clone();
    let sizes = kit.layout.axis[axis];
    let apart = sizes.apart_m();
    let [edge, length] = sizes.motor_m;
    let holder = kit.node(Some(drive), Transform::from_xyz(gear_at, 0.0, 0.0), None);
    let pinion = kit.node(Some(holder), Transform::IDENTITY, Some(Part::Pinion(axis)));
    let teeth = sizes.motor_teeth;
    let gear = Gear {
        teeth,
        radius_m: sizes.motor_radius_m,
        width_m: FACE_M + 0.002,
        bore_m: 0.0022,
        thinner_m: sizes.play_half_m(),
        // A gap faces the gear.
        first_rad: if sizes.pinion_side > 0.0 {
            std::f32::consts::PI + std::f32::consts::PI / teeth as f32
        } else {
            std::f32::consts::PI / teeth as f32
        },
        half_rad: 4.0,
        hub_m: 0.0,
    };
    kit.thing(pinion, gear.mesh(), &stuff.brass, Transform::IDENTITY);
    let stripe = Cuboid::new(FACE_M + 0.0034, 0.0012, 0.62 * sizes.motor_radius_m);
    kit.thing(
        pinion,
        stripe.into(),
        &stuff.mark,
        Transform::from_xyz(0.0, 0.0, 0.42 * sizes.motor_radius_m),
    );
    // The motor stands off, so that the teeth can be seen.
    let face = out * STAND_OFF_M;
    kit.bar(
        holder,
        [Vec3::new(0.0, 0.0, apart), Vec3::new(face, 0.0, apart)],
        0.0022,
        &stuff.steel,
    );
    let body = Cuboid::new(length, edge, edge);
    let place = Transform::from_xyz(face + out * 0.5 * length, 0.0, apart);
    kit.thing(holder, body.into(), &stuff.motor, place);
    // A band around the motor shows that its driver is on.
    let band = Cuboid::new(0.006, edge + 0.0016, edge + 0.0016);
    kit.glowing(
        holder,
        band.into(),
        Glow::Motor(axis),
        Transform::from_xyz(face + out * 0.72 * length, 0.0, apart),
    );
    let plate = Cuboid::new(0.004, edge + 0.008, edge + 0.008);
    kit.thing(
        holder,
        plate.into(),
        &stuff.light,
        Transform::from_xyz(face + out * 0.002, 0.0, apart),
    );
    if axis == 0 {
        let height = kit.layout.pivot_m - 0.5 * edge;
        let bracket = Cuboid::new(0.010, height, 0.7 * edge);
        let y = -0.5 * edge - 0.5 * height;
        kit.thing(
            holder,
            bracket.into(),
            &stuff.dark,
            Transform::from_xyz(face + out * 0.02, y, apart),
        );
    } else {
        // A rail from the frame out to the motor's plate, above the gear.
        let high = 0.5 * edge;
        let back = kit.layout.frame_half_m[1] - gear_at;
        let [from, to] = [back, face].map(|x| Vec3::new(x, high, apart - 0.1 * edge));
        kit.bar(holder, [from, to], 0.0045, &stuff.light);
        let low = [back, face].map(|x| Vec3::new(x, -high, apart - 0.1 * edge));
        kit.bar(holder, low, 0.0045, &stuff.light);
        let inner = Vec3::new(back, 0.0, kit.layout.frame_half_m[0] - 0.01);
        for end in [from, low[0]] {
            kit.bar(holder, [end, inner], 0.0045, &stuff.light);
        }
    }
}

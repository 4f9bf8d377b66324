//! The scene stands and moves as the twin does.

use bevy::app::App;
use bevy::asset::AssetPlugin;
use bevy::prelude::*;
use trimproof_plant::dynamics::Pose as TwinPose;

use super::*;
use crate::timeline::tests::{pushed, pushed_without_telemetry, rig};
use crate::timeline::{AxisInstant, Instant, Timeline};

fn instant(pitch_deg: f64, roll_deg: f64) -> Instant {
    let axis = |stick_deg: f64| AxisInstant {
        stick_deg,
        ..AxisInstant::default()
    };
    Instant {
        axis: [axis(pitch_deg), axis(roll_deg)],
        ..Instant::default()
    }
}

/// The twin's own pose is the outside check: the grip is r above the pivot, body axes.
#[test]
fn the_grip_is_where_the_twin_has_it() {
    let layout = Layout::of(&rig("bittern"));
    let r = 0.42;
    for (pitch_deg, roll_deg) in [(0.0, 0.0), (15.0, 0.0), (0.0, -12.0), (-17.0, 9.0)] {
        let twin = TwinPose::at([pitch_deg, roll_deg].map(f64::to_radians)).place([0.0, 0.0, -r]);
        let seen = grip_at(&layout, [pitch_deg, roll_deg]);
        assert!(
            (seen - to_scene(twin)).length() < 1e-6,
            "{pitch_deg} {roll_deg}"
        );
    }
    // Aft is towards the viewer, right is to the right (ISO 1151: x forward, y right, z down).
    assert!(grip_at(&layout, [10.0, 0.0]).z > 0.05 && grip_at(&layout, [0.0, 10.0]).x > 0.05);
}

/// Parts hang in each other as frame, yoke and stick do: the yoke's place in the world is the
/// twin's turn.
#[test]
fn frame_and_yoke_make_the_twins_turn() {
    let layout = Layout::of(&rig("kittiwake"));
    let instant = instant(12.0, -9.0);
    let of = |part: Part| placed(part, &instant, &layout).unwrap();
    let world = of(Part::Frame).mul_transform(of(Part::Yoke));
    let twin = TwinPose::at([12.0_f64, -9.0].map(f64::to_radians));
    for point in [[0.0, 0.0, -0.33], [0.02, 0.01, 0.05]] {
        let seen = world.transform_point(to_scene(point));
        assert!((seen - to_scene(twin.place(point))).length() < 1e-6);
    }
}

/// At the stop's angle the tube touches the pin: the distance of their axes is the sum of their
/// radii.
#[test]
fn the_pins_are_met_at_the_stops() {
    for name in ["kittiwake", "bittern"] {
        let rig = rig(name);
        let layout = Layout::of(&rig);
        for pin in &layout.pins {
            let stops = &rig.axis(pin.axis).stops;
            let deg = if pin.side < 0.0 {
                stops.min_deg
            } else {
                stops.max_deg
            };
            let (pitch, roll) = if pin.axis == 0 {
                (deg, 0.0)
            } else {
                (0.0, deg)
            };
            let along = grip_at(&layout, [pitch, roll]).normalize();
            let apart = (pin.at - pin.at.dot(along) * along).length();
            let radii = layout.tube.radius_m + pin.radius_m;
            assert!(
                (apart - radii).abs() < 1e-6,
                "{name} {pin:?}: {apart} {radii}"
            );
            let height = pin.at.dot(along);
            assert!((height - stops.height_m as f32).abs() < 1e-6);
        }
    }
}

/// In mesh: where gear and pinion meet, both move at the same speed, and a tooth stands in a gap.
#[test]
fn the_pinion_rolls_on_the_gear() {
    for name in ["kittiwake", "bittern"] {
        let layout = Layout::of(&rig(name));
        for axis in 0..2 {
            let sizes = layout.axis[axis];
            let at = |trim_deg: f64, in_play: f64| {
                let mut instant = Instant::default();
                instant.axis[axis].trim_deg = trim_deg;
                instant.axis[axis].in_play = Some(in_play);
                placed(Part::Pinion(axis), &instant, &layout).unwrap()
            };
            let turned = |place: Transform| place.rotation.to_euler(EulerRot::XYZ).0;
            let small = turned(at(0.1, 0.0)) - turned(at(0.0, 0.0));
            let rolled = -0.1_f32.to_radians() * sizes.trim_radius_m / sizes.motor_radius_m;
            assert!(
                (small - rolled).abs() < 1e-5,
                "{name} {axis}: {small} {rolled}"
            );
            assert!(
                (at(0.0, 0.0).translation.z.abs() - sizes.trim_radius_m - sizes.motor_radius_m)
                    .abs()
                    < 1e-7
            );
            // From flank to flank the pinion goes as far as the play is drawn.
            let across =
                (turned(at(0.0, 1.0)) - turned(at(0.0, -1.0))).abs() * sizes.motor_radius_m;
            assert!((across - 2.0 * sizes.play_half_m()).abs() < 1e-6);
        }
    }
}

/// A motor's name stands where its motor is: the parts of the scene, put together, are the outside
/// check.
#[test]
fn the_motors_are_where_their_names_are_put() {
    for name in ["kittiwake", "bittern"] {
        let mut app = app(pushed(name));
        app.add_plugins(bevy::transform::TransformPlugin);
        show(&mut app, 2.0);
        let instant = app.world().resource::<Shown>().0.clone().unwrap();
        let pitch_deg = instant.axis[0].stick_deg;
        assert!(pitch_deg > 1.0, "{name}: {pitch_deg}");
        let layout = app.world().resource::<Placed>().0.clone();
        for axis in 0..2 {
            let mut query = app.world_mut().query::<(&Glow, &GlobalTransform)>();
            let band = query
                .iter(app.world())
                .find(|(glow, _)| **glow == Glow::Motor(axis))
                .map(|(_, place)| place.translation())
                .unwrap();
            // The band is 0.72 of the motor's length from its face, the middle half of it.
            let off = (band - layout.motor_at(axis, pitch_deg)).length();
            let wanted = 0.22 * layout.axis[axis].motor_m[1];
            assert!((off - wanted).abs() < 1e-5, "{name} {axis}: {off} {wanted}");
        }
        // Everything stands on the plate, and in the view of the whole the scales are in sight.
        let plate = layout.plate();
        let pitch_motor = layout.motor_at(0, 0.0);
        assert!(-pitch_motor.x < plate.left_m && -layout.motor_at(1, 0.0).z < plate.fore_m);
        let (target, distance) = layout.whole();
        let half = distance * (0.5 * crate::camera::FIELD_RAD).tan();
        assert!(target.y + half > layout.scale_m(1) + 0.02);
    }
}

/// Spring and washers: the spring is as long as the washers are apart, shortened by arm times angle
/// beyond the free play.
#[test]
fn springs_are_compressed_whichever_way_the_stick_goes() {
    let rig = rig("bittern");
    let layout = Layout::of(&rig);
    let cartridge = layout.axis[0].cartridge;
    assert!(cartridge.is_given);
    for deflection_deg in [0.0, 0.1, 6.0, -6.0, 15.0] {
        let instant = instant(deflection_deg, 0.0);
        let z = |part: Part| placed(part, &instant, &layout).unwrap();
        let [aft, fore] = [0, 1].map(|end| z(Part::Washer(0, end)).translation.z);
        let spring = z(Part::Spring(0));
        let length = spring.scale.z * cartridge.length_m;
        assert!((aft - fore - length).abs() < 1e-6, "{deflection_deg}");
        assert!((0.5 * (aft + fore) - spring.translation.z).abs() < 1e-6);
        let beyond = (deflection_deg.abs().to_radians() as f32 - cartridge.free_play_rad).max(0.0);
        assert!((cartridge.length_m - length - 0.030 * beyond).abs() < 1e-6);
    }
}

#[test]
fn the_arrow_points_with_the_force_and_grows_with_it() {
    let layout = Layout::of(&rig("kittiwake"));
    let with = |pitch_n: f64, roll_n: f64| {
        let mut instant = instant(0.0, 0.0);
        instant.axis[0].grip_force_n = pitch_n;
        instant.axis[1].grip_force_n = roll_n;
        arrow(&instant, &layout)
    };
    assert_eq!(with(0.01, 0.0), None);
    let aft = with(10.0, 0.0).unwrap();
    assert!((aft.way - Vec3::Z).length() < 1e-6 && (aft.force_n - 10.0).abs() < 1e-5);
    let right = with(0.0, 10.0).unwrap();
    assert!((right.way - Vec3::X).length() < 1e-6);
    let both = with(-3.0, 4.0).unwrap();
    assert!((both.force_n - 5.0).abs() < 1e-6);
    assert!(with(20.0, 0.0).unwrap().length_m > aft.length_m);
    assert!(with(1e6, 0.0).unwrap().length_m < layout.grip_m);
}

#[test]
fn stops_light_when_they_push() {
    let stops = [[-20.0, 20.0], [-18.0, 18.0]];
    let with = |deg: f64, force_n: f64, has_obstacles: bool| {
        let mut instant = instant(deg, 0.0);
        instant.axis[0].stop_force_n = force_n;
        instant.contact = force_n != 0.0;
        lit(&instant, stops, has_obstacles)
    };
    assert_eq!(
        with(20.1, -5.0, false),
        ([false, true, false, false], false)
    );
    assert_eq!(with(-20.1, 5.0, true), ([true, false, false, false], false));
    assert_eq!(with(20.1, 0.0, true), ([false; 4], false));
    assert_eq!(with(19.4, -5.0, true), ([false; 4], true));
    // Without obstacles only a pin can push, also a little early with the other axis out of the
    // middle.
    assert_eq!(
        with(19.4, -5.0, false),
        ([false, true, false, false], false)
    );
}

/// The twin itself leans on the roll stop with pitch far aft: the pin stands still, the stick meets
/// it earlier than upright, and it is the pin that lights, not the seat.
#[test]
fn a_roll_stop_met_with_pitch_aft_is_the_stop() {
    let text = r#"
title = "To the right, far aft"
purpose = "for tests"
rigs = ["bittern"]
length_s = 4.0

[[do]]
at_s = 0.8
what = "grip"

[[do]]
at_s = 1.0
what = "carry"
pitch_deg = 15.5
over_s = 1.0

[[do]]
at_s = 2.2
what = "carry"
roll_deg = 18.1
over_s = 1.0

[[expect]]
name = "any"
formula = "always(pitch.stick_deg < 90)"
"#;
    let scenario = trimproof_harness::scenario::Scenario::parse(text).unwrap();
    let rig = rig("bittern");
    let mut target = trimproof_harness::run::LogicTarget::new();
    let run = trimproof_harness::run::run_scenario(&rig, &scenario, &mut target, &mut |_| true);
    let timeline = Timeline::of_trace(rig, None, run.trace, &[]);
    let last = timeline.instant(3.9).unwrap();
    assert!(
        last.contact && last.axis[1].stick_deg < 16.9,
        "{:?}",
        last.axis[1]
    );
    let stops = [[-19.0, 20.0], [-17.0, 17.0]];
    assert_eq!(
        lit(&last, stops, true),
        ([false, false, false, true], false)
    );
}

/// An app without window and renderer.
fn app(timeline: Timeline) -> App {
    let mut app = App::new();
    app.add_plugins((MinimalPlugins, AssetPlugin::default()))
        .init_asset::<Mesh>()
        .init_asset::<StandardMaterial>();
    app.insert_resource(Placed(Layout::of(&timeline.rig)))
        .insert_resource(timeline)
        .add_plugins(ScenePlugin);
    app
}

fn show(app: &mut App, at_s: f64) {
    let instant = app.world().resource::<Timeline>().instant(at_s);
    app.insert_resource(Shown(instant));
    app.update();
}

fn seen(app: &mut App, part: Part) -> (Transform, Visibility) {
    let mut query = app.world_mut().query::<(&Part, &Transform, &Visibility)>();
    let found = query
        .iter(app.world())
        .find(|(other, ..)| **other == part)
        .map(|(_, transform, visibility)| (*transform, *visibility));
    found.unwrap()
}

/// A controller that reports nothing does not say where it is trimmed to: there is no ghost.
#[test]
fn without_telemetry_there_is_no_ghost() {
    for (timeline, ghost) in [
        (pushed("kittiwake"), Visibility::Inherited),
        (pushed_without_telemetry("kittiwake"), Visibility::Hidden),
    ] {
        let mut app = app(timeline);
        show(&mut app, 2.0);
        for part in [Part::GhostFrame, Part::GhostYoke] {
            assert_eq!(seen(&mut app, part).1, ghost);
        }
        assert_eq!(seen(&mut app, Part::Frame).1, Visibility::Inherited);
    }
}

#[test]
fn the_systems_move_the_parts() {
    let mut app = app(pushed("kittiwake"));
    show(&mut app, 0.5);
    let before = seen(&mut app, Part::Frame).0;
    assert_eq!(seen(&mut app, Part::ArrowShaft).1, Visibility::Hidden);
    show(&mut app, 2.0);
    let after = seen(&mut app, Part::Frame).0;
    let stick_deg = app.world().resource::<Shown>().0.as_ref().unwrap().axis[0].stick_deg;
    assert!(
        (after.rotation.to_euler(EulerRot::XYZ).0.to_degrees() - stick_deg as f32).abs() < 1e-3
    );
    assert!(before.rotation.angle_between(after.rotation) > 0.05);
    assert_eq!(seen(&mut app, Part::ArrowShaft).1, Visibility::Inherited);
    assert_eq!(seen(&mut app, Part::Ring).1, Visibility::Hidden);
}

fn colour(app: &mut App, glow: Glow) -> Color {
    let mut query = app
        .world_mut()
        .query::<(&Glow, &MeshMaterial3d<StandardMaterial>)>();
    let handle = query
        .iter(app.world())
        .find(|(other, _)| **other == glow)
        .map(|(_, material)| material.0.clone())
        .unwrap();
    let materials = app.world().resource::<Assets<StandardMaterial>>();
    materials.get(&handle).unwrap().base_color
}

#[test]
fn springs_take_the_colour_of_their_load_and_switches_show() {
    let mut app = app(pushed("kittiwake"));
    show(&mut app, 0.6);
    let (rest, open) = (
        colour(&mut app, Glow::Springs(0)),
        colour(&mut app, Glow::Hat(0)),
    );
    show(&mut app, 1.6);
    let (loaded, closed) = (
        colour(&mut app, Glow::Springs(0)),
        colour(&mut app, Glow::Hat(0)),
    );
    let light = |colour: Color| colour.to_linear().red + colour.to_linear().green;
    assert!(light(loaded) > light(rest) + 0.05, "{rest:?} {loaded:?}");
    assert_ne!(open, closed);
    assert_eq!(colour(&mut app, Glow::Hat(1)), open);
}

#[test]
fn another_rig_looks_different() {
    let count = |name: &str| {
        let mut app = app(pushed(name));
        show(&mut app, 1.0);
        let mut springs = app.world_mut().query::<&Glow>();
        let all: Vec<Glow> = springs.iter(app.world()).copied().collect();
        let of = |wanted: fn(&Glow) -> bool| all.iter().filter(|glow| wanted(glow)).count();
        (
            of(|glow| matches!(glow, Glow::Springs(0))),
            of(|glow| matches!(glow, Glow::Obstacle)),
        )
    };
    // One spring an axis and nothing in the way; two and the edge of the seat.
    assert_eq!(count("kittiwake"), (1, 0));
    assert_eq!(count("bittern"), (2, 1));
    let [a, b] = ["kittiwake", "bittern"].map(|name| Layout::of(&rig(name)));
    assert_ne!(a.axis[0].trim_teeth, b.axis[0].trim_teeth);
    assert!(b.grip_m > a.grip_m && a.solids.is_none() && b.solids.is_some());
}

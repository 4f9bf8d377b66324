//! The contacts' geometry against rapier's and against itself.

use super::*;
use crate::shapes::Along;

#[test]
fn two_segments_are_measured_as_rapier_measures_any_two_shapes() {
    let tube = Tube {
        bottom_m: 0.05,
        top_m: 0.5,
        radius_m: 0.01,
    };
    let form = SolidForm::Capsule {
        radius_m: 0.006,
        length_m: 0.2,
        axis: Along::Y,
    };
    let params = BumperParams::new(1.0e5, 0.5);
    // Across the tube, askew beside it, beyond its end: middle against middle, end against middle,
    // end against end.
    for (at_m, turn_deg) in [
        ([-0.06, 0.0, -0.12], [0.0; 3]),
        ([0.05, 0.15, -0.3], [30.0, 10.0, -20.0]),
        ([0.1, 0.2, -0.6], [5.0, 0.0, 40.0]),
    ] {
        let body = Body::new(&form, at_m, turn_deg, params);
        let general = Body {
            ends: None,
            ..body.clone()
        };
        for k in -4..=4 {
            let pose = Pose::at([0.1 * f64::from(k), 0.07 * f64::from(3 - k)]);
            let (gap, normal, on_axis) = query(&tube, &pose, &body);
            let (gap2, normal2, on_axis2) = query(&tube, &pose, &general);
            assert!((gap - gap2).abs() < 1e-9, "{at_m:?} {k}: {gap} {gap2}");
            for i in 0..3 {
                assert!(
                    (normal[i] - normal2[i]).abs() < 1e-6
                        && (on_axis[i] - on_axis2[i]).abs() < 1e-6,
                    "{at_m:?} {k}: {normal:?} {normal2:?}, {on_axis:?} {on_axis2:?}"
                );
            }
        }
    }
}

#[test]
fn half_angle_is_that_of_libm_but_for_the_sign_of_both() {
    for k in -180..=180 {
        let angle_rad = f64::from(k).to_radians();
        let (s, c) = half_angle(libm::sincos(angle_rad));
        let (sin, cos) = libm::sincos(0.5 * angle_rad);
        // cos is never negative here, so a turned sign shows in both.
        let sign = if s * sin + c * cos < 0.0 { -1.0 } else { 1.0 };
        assert!(
            (sign * s - sin).abs() < 4e-16 && (sign * c - cos).abs() < 4e-16,
            "{k}°: {s}, {c} for {sin}, {cos}"
        );
    }
}

/// The pin that a stop stands for: across the motion, met at the stop angle.
fn pin(axis: usize, angle_rad: f64, side: f64, height_m: f64, radii_m: [f64; 2]) -> Body {
    let (s, c) = libm::sincos(angle_rad);
    let away = side * (radii_m[0] + radii_m[1]);
    let (out, up) = (height_m * s + away * c, height_m * c - away * s);
    let (across, at_m) = if axis == 0 {
        (Along::Y, [-out, 0.0, -up])
    } else {
        (Along::X, [0.0, out, -up])
    };
    let form = SolidForm::Capsule {
        radius_m: radii_m[1],
        length_m: 4.0,
        axis: across,
    };
    Body::new(&form, at_m, [0.0; 3], BumperParams::new(1.0e5, 0.5))
}

/// The closed form of a stop against rapier's distance of a long tube and a long pin: before the
/// stop, at it and in the buffer, at any tilt of the other axis.
#[test]
fn a_stop_is_the_pin_that_rapier_measures() {
    let (height_m, radii_m) = (0.09, [0.011, 0.006]);
    let tube = Tube {
        bottom_m: 0.0,
        top_m: 2.0,
        radius_m: radii_m[0],
    };
    for axis in [0, 1] {
        for side in [1.0, -1.0] {
            let at_rad = side * 0.33;
            let params = BumperParams::new(1.0e5, 0.5);
            let radii = radii_m[0] + radii_m[1];
            let stop = Stop::new(axis, side > 0.0, at_rad, height_m, radii, params, 1e4);
            let body = pin(axis, at_rad, side, height_m, radii_m);
            for k in -8..=11 {
                for tilt in [-0.5, -0.2, 0.0, 0.3, 0.6] {
                    let mut angle = [tilt; 2];
                    angle[axis] = side * 0.04 * f64::from(k);
                    let pose = Pose::at(angle);
                    let found = stop.gap(&pose);
                    let (gap, ..) = query(&tube, &pose, &body);
                    // Deeper than the radii together rapier's pin is on the other side.
                    if found.gap_m > -0.9 * radii {
                        assert!(
                            (found.gap_m - gap).abs() < 1e-9,
                            "{axis} {angle:?}: {gap} {found:?}"
                        );
                    }
                    for i in 0..2 {
                        let shifted = |by: f64| {
                            let mut there = angle;
                            there[i] += by;
                            stop.gap(&Pose::at(there)).gap_m
                        };
                        let slope = (shifted(1e-6) - shifted(-1e-6)) / 2e-6;
                        assert!((found.arm_m[i] + slope).abs() < 1e-8, "{found:?}, {slope}");
                    }
                }
            }
        }
    }
}

/// Beyond its angle a stop is a half-space: up to 60 degrees past it, the gap only falls, at any
/// tilt, and what it pushes is back.
#[test]
fn a_stop_has_no_other_side() {
    let params = BumperParams::new(1.0e5, 0.5);
    for axis in [0, 1] {
        let stop = Stop::new(axis, true, 0.35, 0.08, 0.017, params, 1e4);
        for tilt in [-0.6, 0.0, 0.4] {
            let mut last = f64::INFINITY;
            for k in 0..60 {
                let mut angle = [tilt; 2];
                angle[axis] = 0.35 + 1.0_f64.to_radians() * f64::from(k);
                let found = stop.gap(&Pose::at(angle));
                assert!(found.gap_m < last && found.arm_m[axis] > 0.0, "{angle:?}");
                last = found.gap_m;
            }
            assert!(last < -0.05);
        }
    }
}

/// All that the contacts remember from one step to the next is written down for the proof of a rest
/// (`rest.rs`): each of these alone makes another state.
#[test]
fn all_that_contacts_remember_is_written_down() {
    let tube = Tube {
        bottom_m: 0.05,
        top_m: 0.5,
        radius_m: 0.01,
    };
    let params = BumperParams::new(1.0e5, 0.5);
    let touched = || {
        let form = SolidForm::Sphere { radius_m: 0.05 };
        // 1 mm beside the tube: in reach, so that a contact is frozen.
        let body = Body::new(&form, [0.061, 0.0, -0.3], [0.0; 3], params);
        let stop = Stop::new(0, true, 0.33, 0.09, 0.017, params, 1e4);
        let mut surroundings = Surroundings::new(tube, vec![stop], vec![body], 3);
        surroundings.look(&Pose::at([0.0; 2]), &mut ContactLoad::default());
        assert!(surroundings.watched[0].near.is_some() && surroundings.watched[0].last.is_some());
        surroundings
    };
    let bits = |surroundings: &Surroundings| {
        let mut bits = StateBits::default();
        surroundings.note(&mut bits);
        bits
    };
    type Change = fn(&mut Surroundings);
    let near = |s: &mut Surroundings, change: fn(&mut Near)| {
        change(s.watched[0].near.as_mut().expect("it is in reach"));
    };
    let changes: [(&str, Change); 11] = [
        ("turned", |s| s.turned_rad += 1e-9),
        ("stops clear", |s| s.stops_clear_until_rad += 1e-9),
        ("travelled", |s| s.travelled_m += 1e-9),
        ("clear", |s| s.clear_until_m += 1e-9),
        ("others now", |s| s.others_n_m[1][0] = 1e-9),
        ("others before", |s| s.others_n_m[0][1] = 1e-9),
        ("stop", |s| s.stops[0].1[1] = 1e-9),
        ("age", |s| s.watched[0].age += 1),
        ("obstacle", |s| s.watched[0].own_accel[0] = 1e-9),
        ("obstacle clear", |s| s.watched[0].clear_until_m += 1e-9),
        ("out of reach", |s| s.watched[0].near = None),
    ];
    assert_eq!(bits(&touched()), bits(&touched()));
    for (name, change) in changes {
        let mut surroundings = touched();
        change(&mut surroundings);
        assert_ne!(bits(&surroundings), bits(&touched()), "{name}");
    }
    type NearChange = fn(&mut Near);
    let frozen: [(&str, NearChange); 3] = [
        ("normal", |near| near.normal[1] += 1e-9),
        ("point", |near| near.on_stick[2] += 1e-9),
        ("offset", |near| near.offset_m += 1e-9),
    ];
    for (name, change) in frozen {
        let mut surroundings = touched();
        near(&mut surroundings, change);
        assert_ne!(bits(&surroundings), bits(&touched()), "{name}");
    }
    for part in 0..3 {
        let mut surroundings = touched();
        let (gap_m, normal, at_m) = surroundings.watched[0]
            .last
            .as_mut()
            .expect("it was looked at");
        *[gap_m, &mut normal[2], at_m][part] += 1e-9;
        assert_ne!(bits(&surroundings), bits(&touched()), "last look, {part}");
    }
}

/// Between two looks a stick may go right through an obstacle: the second look finds it on the
/// other side, and the way was long enough, the gap of 0.12 m and 90 % of the radii of 0.03 m. The
/// force is then that of the way beyond the gap.
#[test]
fn a_stick_that_went_right_through_is_found() {
    let tube = Tube {
        bottom_m: 0.05,
        top_m: 0.5,
        radius_m: 0.01,
    };
    let params = BumperParams::new(1.0e5, 0.5);
    let looks = |way_m: f64, pitch_rad: f64| {
        let body = Body::new(
            &SolidForm::Sphere { radius_m: 0.02 },
            [-0.15, 0.0, -0.3],
            [0.0; 3],
            params,
        );
        let mut surroundings = Surroundings::new(tube, Vec::new(), vec![body], 1);
        let mut load = ContactLoad::default();
        surroundings.travelled_m = 0.5;
        surroundings.look(&Pose::at([0.0; 2]), &mut load);
        assert_eq!(load.broken, None);
        surroundings.travelled_m += way_m;
        surroundings.look(&Pose::at([pitch_rad, 0.0]), &mut load);
        load.broken
    };
    // The obstacle is met at atan(0.5), 0.46 rad.
    for (way_m, pitch_rad) in [(0.146, 0.9), (0.157, 0.1)] {
        assert_eq!(looks(way_m, pitch_rad), None, "{way_m} m");
    }
    let broken = looks(0.157, 0.9).expect("it went through");
    assert_eq!(broken.contact, Pressed::Obstacle(0));
    assert!((broken.force_n - 1.0e5 * 0.037).abs() < 1e-6, "{broken:?}");
    assert!((broken.limit_n - 1.0e5 * 0.027).abs() < 1e-6, "{broken:?}");
    let broken = looks(0.148, 0.9).expect("it just went through");
    assert!((broken.force_n - 1.0e5 * 0.028).abs() < 1e-6, "{broken:?}");
}

/// Pressed in by more than 90 % of the way to the middle of an obstacle, 27 mm of tube and ball
/// together, it is broken.
#[test]
fn an_obstacle_is_pressed_in_up_to_near_its_middle() {
    let rig = crate::Rig::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let gimbal = crate::gimbal_params(&rig);
    let tube = Tube {
        bottom_m: 0.05,
        top_m: 0.5,
        radius_m: 0.01,
    };
    let pressed = |depth_m: f64| {
        let body = Body::new(
            &SolidForm::Sphere { radius_m: 0.02 },
            [-(0.03 - depth_m), 0.0, -0.3],
            [0.0; 3],
            BumperParams::new(1.0e5, 0.5),
        );
        let mut surroundings = Surroundings::new(tube, Vec::new(), vec![body], 1);
        let load = surroundings.load(&gimbal, [0.0; 2], &Pose::at([0.0; 2]), 1e-4);
        assert!(load.touching);
        // 0.3 m up, pushed fore: against positive pitch; the implicit dashpot takes a little of it.
        let share = -load.torque_n_m[0] / (0.3 * 1.0e5 * depth_m);
        assert!(share > 0.95 && share <= 1.0, "{load:?}");
        load.broken
    };
    assert_eq!(pressed(0.001), None);
    assert_eq!(pressed(0.0269), None);
    let broken = pressed(0.0271).expect("it is pressed in too far");
    assert_eq!(broken.contact, Pressed::Obstacle(0));
    assert!((broken.force_n - 2710.0).abs() < 1e-6 && (broken.limit_n - 2700.0).abs() < 1e-6);
}

/// An obstacle 0.1 m away is looked at again before the tube can have met it, and not before the
/// tube can have come within the reach of 2 mm in which the contact must be known.
#[test]
fn a_far_obstacle_is_looked_at_before_it_is_met() {
    let tube = Tube {
        bottom_m: 0.05,
        top_m: 0.5,
        radius_m: 0.01,
    };
    let looks_again = |way_m: f64| {
        let form = SolidForm::Sphere { radius_m: 0.02 };
        let params = BumperParams::new(1.0e5, 0.5);
        let body = Body::new(&form, [-0.13, 0.0, -0.3], [0.0; 3], params);
        let mut surroundings = Surroundings::new(tube, Vec::new(), vec![body], 1);
        let upright = Pose::at([0.0; 2]);
        surroundings.look(&upright, &mut ContactLoad::default());
        let (gap_m, ..) = surroundings.watched[0].last.expect("it was looked at");
        assert!((gap_m - 0.1).abs() < 1e-12);
        surroundings.travelled_m = way_m;
        surroundings.look(&upright, &mut ContactLoad::default());
        let (.., at_m) = surroundings.watched[0].last.expect("it was looked at");
        at_m == way_m
    };
    assert!(!looks_again(0.05) && !looks_again(0.098));
    assert!(looks_again(0.0999) && looks_again(0.1));
}

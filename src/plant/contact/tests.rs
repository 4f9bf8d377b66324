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
    let form = Form::Capsule {
        radius_m: 0.006,
        length_m: 0.2,
        axis: Along::Y,
    };
    let law = BumperLaw::new(1.0e5, 0.5);
    // Across the tube, askew beside it, beyond its end: middle against middle, end against middle, end against end.
    for (at_m, turn_deg) in [
        ([-0.06, 0.0, -0.12], [0.0; 3]),
        ([0.05, 0.15, -0.3], [30.0, 10.0, -20.0]),
        ([0.1, 0.2, -0.6], [5.0, 0.0, 40.0]),
    ] {
        let body = Body::new(&form, at_m, turn_deg, law);
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

//! Whether a rig's stops can do what stops are for: meet the tube wherever the stick goes, and
//! nowhere else.

use super::{AxisRig, Rig, StickRig, check::RangeChecker};

/// How far beyond its angle a stop may let the stick at most, rad: 30 degrees, where the picture of
/// a buffer that is pressed along one direction ends (estimate, no source).
const FARTHEST_BEYOND_RAD: f64 = std::f64::consts::FRAC_PI_6;

impl Rig {
    /// The stops of both axes against the stick and against each other.
    pub(super) fn check_stops(&self, check: &mut RangeChecker<'_>) {
        let axes = [("pitch", &self.pitch), ("roll", &self.roll)];
        for (index, (key, axis)) in axes.into_iter().enumerate() {
            let (_, other) = axes[1 - index];
            check.within(key, |check| {
                check.within("stops", |check| one(check, &self.stick, axis, other));
            });
        }
    }
}

fn one(check: &mut RangeChecker<'_>, stick: &StickRig, axis: &AxisRig, other: &AxisRig) {
    let stops = &axis.stops;
    let height_m = stops.height_m;
    let radii_m = stick.tube_radius_m + stops.pin_radius_m;
    // With the other axis at its stop, the tube meets the pin farther up, by 1 / cos of that angle.
    let tilt_rad = other.stops.max_deg.max(-other.stops.min_deg).to_radians();
    let high_m = stick.tube_top_m * libm::cos(tilt_rad);
    // The gap h sin e − a (1 − cos e) is above zero up to tan (e/2) = h/a: so far the pin is out of
    // the way.
    let travel_rad = (stops.max_deg - stops.min_deg).to_radians();
    let clear_m = radii_m * libm::tan(0.5 * travel_rad);
    let low_m = stick.tube_bottom_m.max(clear_m);
    check.require("height_m", height_m >= low_m && height_m <= high_m, || {
        format!(
            "is `{height_m}`, it must be `{:.4}` to `{:.4}`: on the tube with the other axis at its stop, and out of the tube's way up to the opposite stop",
            (low_m * 1e4).ceil() / 1e4,
            (high_m * 1e4).floor() / 1e4,
        )
    });
    let (sin, cos) = libm::sincos(FARTHEST_BEYOND_RAD);
    let deepest_m = height_m * sin + radii_m * (1.0 - cos);
    let most_n = stops.bumper().spring_n(deepest_m);
    let strength_n = stops.strength_n;
    check.require("strength_n", strength_n <= most_n, || {
        format!(
            "is `{strength_n}`, it must be at most `{:.0}`: pressed with it, the buffer gives `{:.4}` m, and the stick would be more than 30 degrees beyond the stop",
            most_n.floor(),
            stops.depth_m(),
        )
    });
}

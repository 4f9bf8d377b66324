//! A mechanical stop: a half-space to the stick, met at the stop angle.
//!
//! A stop is a straight round pin across the motion of its axis. Seen along the pin, the tube is a
//! line from the pivot at the angle ψ: pitch itself, for the pitch pins; tan ψ = tan φ / cos θ for
//! the roll pins, whose direction pitch turns the stick out of. With α the stop angle, e = ±(α − ψ)
//! the angle still to go, h the pin's height and a the two radii together, the gap is
//!
//! ```text
//! g = h sin e − a (1 − cos e)
//! ```
//!
//! exactly, at any tilt of the other axis. The pin and the tube count as endless, so that the gap
//! goes on falling however far the stick is pushed: there is no other side to fall through to.
//! docs/model/stops.md.

use super::bumper::BumperParams;
use super::pressed::Pressed;
use crate::dynamics::Pose;

/// Cosine of pitch below which a roll stop is looked at in every step: its angle then runs ahead of
/// roll.
const STEEP_COS: f64 = 0.5;
/// How much faster than roll (or pitch) the angle ψ may go until the pitch is steeper than a look
/// allowed for: 1 / cos of 60° and the 14.3° that the longest time between two looks can add.
const RUNS_AHEAD: f64 = 4.0;

/// One end of an axis's travel.
#[derive(Clone, Copy, Debug)]
pub struct Stop {
    axis: usize,
    /// +1 at the upper end of the travel, −1 at the lower.
    side: f64,
    /// sin, cos of the stop angle.
    angle: (f64, f64),
    height_m: f64,
    radii_m: f64,
    pub(super) params: BumperParams,
    pub(super) strength_n: f64,
}

/// Where a stick is against a stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StopGap {
    /// Gap, m; negative: how deep the buffer is pressed in.
    pub gap_m: f64,
    /// How fast the gap closes with each angle, m/rad.
    pub arm_m: [f64; 2],
}

impl Stop {
    /// The stop of axis 0 (pitch) or 1 (roll) at `angle_rad`, the upper end of its travel or the
    /// lower. `height_m`: distance from the pivot at which it is met; `radii_m`: radii of tube and
    /// pin together; `strength_n`: force that it stands up to.
    pub fn new(
        axis: usize,
        is_upper: bool,
        angle_rad: f64,
        height_m: f64,
        radii_m: f64,
        params: BumperParams,
        strength_n: f64,
    ) -> Self {
        Self {
            axis,
            side: if is_upper { 1.0 } else { -1.0 },
            angle: libm::sincos(angle_rad),
            height_m,
            radii_m,
            params,
            strength_n,
        }
    }

    /// Which stop it is.
    pub fn name(&self) -> Pressed {
        Pressed::Stop {
            axis: self.axis,
            is_upper: self.side > 0.0,
        }
    }

    /// Gap and how it closes, the stick being in `pose`.
    #[inline]
    pub fn gap(&self, pose: &Pose) -> StopGap {
        let (st, ct) = pose.pitch;
        let (sp, cp) = pose.roll;
        // Sine and cosine of ψ, and how ψ goes with pitch and roll.
        let (sin, cos, slope) = if self.axis == 0 {
            (st, ct, [1.0, 0.0])
        } else {
            let up = ct * cp;
            let square = sp * sp + up * up;
            let reciprocal = 1.0 / square.sqrt();
            (
                sp * reciprocal,
                up * reciprocal,
                [sp * cp * st / square, ct / square],
            )
        };
        let (sin_stop, cos_stop) = self.angle;
        let sin_left = self.side * (sin_stop * cos - cos_stop * sin);
        let cos_left = cos_stop * cos + sin_stop * sin;
        let arm_m = self.side * (self.height_m * cos_left - self.radii_m * sin_left);
        StopGap {
            gap_m: self.height_m * sin_left - self.radii_m * (1.0 - cos_left),
            arm_m: slope.map(|slope| arm_m * slope),
        }
    }

    /// Sum of the angles' travel below which the stop cannot be met from a gap, rad.
    pub(super) fn clear_rad(&self, pose: &Pose, gap_m: f64) -> f64 {
        let ahead = if self.axis == 0 {
            1.0
        } else if pose.pitch.1 < STEEP_COS {
            return 0.0;
        } else {
            RUNS_AHEAD
        };
        gap_m / (ahead * (self.height_m + self.radii_m))
    }
}

//! Where points of the stick are, and how torques follow from forces on them.

use super::turn::Anchor;
use crate::state_bits::StateBits;

/// Orientation of the stick: sines and cosines of pitch and roll.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// sin, cos of pitch.
    pub pitch: (f64, f64),
    /// sin, cos of roll.
    pub roll: (f64, f64),
}

impl Pose {
    /// The pose at angles `[pitch, roll]`, rad.
    pub fn at(angle_rad: [f64; 2]) -> Self {
        Self {
            pitch: libm::sincos(angle_rad[0]),
            roll: libm::sincos(angle_rad[1]),
        }
    }

    /// Body axes of a point given in the stick's own frame: R_y(θ) R_x(φ) p, m.
    #[inline]
    pub fn place(&self, p: [f64; 3]) -> [f64; 3] {
        let (st, ct) = self.pitch;
        let (sp, cp) = self.roll;
        let y = p[1] * cp - p[2] * sp;
        let z = p[1] * sp + p[2] * cp;
        [ct * p[0] + st * z, y, ct * z - st * p[0]]
    }

    /// The inverse of [`Self::place`].
    pub fn unplace(&self, p: [f64; 3]) -> [f64; 3] {
        let (st, ct) = self.pitch;
        let (sp, cp) = self.roll;
        let x = ct * p[0] - st * p[2];
        let z = st * p[0] + ct * p[2];
        [x, cp * p[1] + sp * z, cp * z - sp * p[1]]
    }

    /// ∂p/∂θ and ∂p/∂φ of a point at `p` (body axes) carried by the stick, m/rad.
    #[inline]
    pub fn levers(&self, p: [f64; 3]) -> [[f64; 3]; 2] {
        let (st, ct) = self.pitch;
        // e_y × p and (cos θ, 0, −sin θ) × p.
        [
            [p[2], 0.0, -p[0]],
            [st * p[1], -st * p[0] - ct * p[2], ct * p[1]],
        ]
    }
}

/// Poses of a stick that turns little from step to step: see [`Anchor`].
#[derive(Clone, Copy, Debug, Default)]
pub struct PoseAnchor {
    pitch: Anchor,
    roll: Anchor,
}

impl PoseAnchor {
    /// Writes it down.
    pub(crate) fn note(&self, bits: &mut StateBits) {
        self.pitch.note(bits);
        self.roll.note(bits);
    }

    /// The pose at angles `[pitch, roll]`, rad.
    #[inline]
    pub fn follow(&mut self, angle_rad: [f64; 2]) -> Pose {
        Pose {
            pitch: self.pitch.follow(angle_rad[0]),
            roll: self.roll.follow(angle_rad[1]),
        }
    }
}

/// Scalar product.
#[inline]
pub fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

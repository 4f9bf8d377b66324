//! Simple solids: their mass properties and their collision shapes, both from rapier.

use rapier3d::geometry::SharedShape;
use rapier3d::math::{Pose, Rotation, Vector};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One of the body axes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Along {
    /// Forward.
    X,
    /// Right.
    Y,
    /// Down.
    #[default]
    Z,
}

/// A solid's form and size, lengths in m, each 0.0005 to 2.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum SolidForm {
    /// A box.
    Cuboid {
        /// Edges along x, y and z, m.
        size_m: [f64; 3],
    },
    /// A round bar.
    Cylinder {
        /// Radius, m.
        radius_m: f64,
        /// Length, m.
        length_m: f64,
        /// Direction of its length (default z).
        #[serde(default)]
        axis: Along,
    },
    /// A round bar with half spheres at its ends.
    Capsule {
        /// Radius, m.
        radius_m: f64,
        /// Length between the centres of the half spheres, m.
        length_m: f64,
        /// Direction of its length (default z).
        #[serde(default)]
        axis: Along,
    },
    /// A sphere.
    Sphere {
        /// Radius, m.
        radius_m: f64,
    },
}

impl SolidForm {
    /// The collision shape, in its own frame: see [`SolidForm::turn`].
    pub fn shared_shape(&self) -> SharedShape {
        match *self {
            Self::Cuboid { size_m: [x, y, z] } => SharedShape::cuboid(x / 2.0, y / 2.0, z / 2.0),
            Self::Cylinder {
                radius_m, length_m, ..
            } => SharedShape::cylinder(length_m / 2.0, radius_m),
            Self::Capsule {
                radius_m, length_m, ..
            } => SharedShape::capsule_y(length_m / 2.0, radius_m),
            Self::Sphere { radius_m } => SharedShape::ball(radius_m),
        }
    }

    /// The turn that lays the collision shape, which is long along y, along the form's axis.
    pub fn turn(&self) -> Rotation {
        // Quarter turns, written out so that no sine is rounded on the way.
        const HALF: f64 = std::f64::consts::FRAC_1_SQRT_2;
        match self {
            Self::Cylinder { axis, .. } | Self::Capsule { axis, .. } => match axis {
                Along::X => Rotation::from_xyzw(0.0, 0.0, HALF, HALF),
                Along::Y => Rotation::IDENTITY,
                Along::Z => Rotation::from_xyzw(HALF, 0.0, 0.0, HALF),
            },
            Self::Cuboid { .. } | Self::Sphere { .. } => Rotation::IDENTITY,
        }
    }

    /// Where the collision shape stands if the form's centre is at `at_m` and the form is turned by
    /// `turn_deg`: roll about x, then pitch about y, then yaw about z, degrees.
    pub fn pose(&self, at_m: [f64; 3], turn_deg: [f64; 3]) -> Pose {
        let [roll, pitch, yaw] = turn_deg.map(half_turn);
        let x = Rotation::from_xyzw(roll.0, 0.0, 0.0, roll.1);
        let y = Rotation::from_xyzw(0.0, pitch.0, 0.0, pitch.1);
        let z = Rotation::from_xyzw(0.0, 0.0, yaw.0, yaw.1);
        Pose::from_parts(Vector::from_array(at_m), z * y * x * self.turn())
    }

    /// Distance from the middle to the surface, the shortest way, m.
    pub fn inner_radius_m(&self) -> f64 {
        match *self {
            Self::Cuboid { size_m: [x, y, z] } => 0.5 * x.min(y).min(z),
            Self::Cylinder {
                radius_m, length_m, ..
            } => radius_m.min(0.5 * length_m),
            Self::Capsule { radius_m, .. } | Self::Sphere { radius_m } => radius_m,
        }
    }

    /// Every size with its key, for range checks.
    pub(crate) fn sizes(&self) -> Vec<(String, f64)> {
        match self {
            Self::Cuboid { size_m } => size_m
                .iter()
                .enumerate()
                .map(|(index, size)| (format!("size_m[{index}]"), *size))
                .collect(),
            Self::Cylinder {
                radius_m, length_m, ..
            }
            | Self::Capsule {
                radius_m, length_m, ..
            } => {
                vec![
                    ("radius_m".to_owned(), *radius_m),
                    ("length_m".to_owned(), *length_m),
                ]
            }
            Self::Sphere { radius_m } => vec![("radius_m".to_owned(), *radius_m)],
        }
    }
}

/// A solid of one material, part of the stick.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Solid {
    /// Form and size.
    pub shape: SolidForm,
    /// Density of its material, kg/m³. Valid: 1 to 25000.
    #[schemars(range(min = 1.0, max = 25000.0))]
    pub density_kg_per_m3: f64,
    /// Its centre in body axes from the pivot, stick upright, m: x forward, y right, z down, so
    /// above the pivot is negative z. Valid: -2 to 2 each.
    pub at_m: [f64; 3],
}

/// Mass, centre of gravity and inertia of a body about a point.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Inertia {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Centre of gravity from the point, m.
    pub cg_m: [f64; 3],
    /// Inertia tensor about the point, kg·m²; off the diagonal stand the tensor's entries, I_xy =
    /// −∫xy dm.
    pub tensor_kg_m2: [[f64; 3]; 3],
}

impl Solid {
    /// Mass properties about the pivot.
    pub fn inertia(&self) -> Inertia {
        let own = self
            .shape
            .shared_shape()
            .mass_properties(self.density_kg_per_m3)
            .transform_by(&self.shape.pose(self.at_m, [0.0; 3]));
        let columns = own.reconstruct_inertia_matrix().to_cols_array_2d();
        let about_cg = Inertia {
            mass_kg: own.mass(),
            cg_m: own.local_com.to_array(),
            tensor_kg_m2: columns,
        };
        about_cg.moved_from_cg()
    }
}

impl Inertia {
    /// The same body with its tensor, given about its centre of gravity, taken about the point
    /// instead (parallel-axis theorem).
    pub fn moved_from_cg(self) -> Self {
        let [x, y, z] = self.cg_m;
        let m = self.mass_kg;
        let shift = [
            [y * y + z * z, -x * y, -x * z],
            [-x * y, x * x + z * z, -y * z],
            [-x * z, -y * z, x * x + y * y],
        ];
        let mut tensor_kg_m2 = self.tensor_kg_m2;
        for (row, shift) in tensor_kg_m2.iter_mut().zip(shift) {
            for (entry, shift) in row.iter_mut().zip(shift) {
                *entry += m * shift;
            }
        }
        Self {
            tensor_kg_m2,
            ..self
        }
    }

    /// All solids together, about the pivot.
    pub fn of(solids: &[Solid]) -> Self {
        let mut sum = Self::default();
        let mut moment = [0.0; 3];
        for part in solids.iter().map(Solid::inertia) {
            sum.mass_kg += part.mass_kg;
            for (moment, at) in moment.iter_mut().zip(part.cg_m) {
                *moment += part.mass_kg * at;
            }
            for (row, part_row) in sum.tensor_kg_m2.iter_mut().zip(part.tensor_kg_m2) {
                for (entry, part_entry) in row.iter_mut().zip(part_row) {
                    *entry += part_entry;
                }
            }
        }
        if sum.mass_kg > 0.0 {
            sum.cg_m = moment.map(|moment| moment / sum.mass_kg);
        }
        sum
    }
}

/// Sine and cosine of half the angle.
fn half_turn(deg: f64) -> (f64, f64) {
    let half = deg.to_radians() / 2.0;
    (libm::sin(half), libm::cos(half))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn close(found: f64, expected: f64) {
        assert!(
            (found - expected).abs() <= 1e-12 * (1.0 + expected.abs()),
            "{found} instead of {expected}"
        );
    }

    /// Closed form: bar along z, I_zz = m r²/2, I_xx = m (3 r² + l²)/12, moved by the parallel-axis
    /// theorem.
    #[test]
    fn a_bar_away_from_the_pivot() {
        let (radius_m, length_m, at) = (0.012, 0.30, [0.02, -0.03, -0.15]);
        for axis in [Along::X, Along::Y, Along::Z] {
            let shape = SolidForm::Cylinder {
                radius_m,
                length_m,
                axis,
            };
            let found = Solid {
                shape,
                density_kg_per_m3: 2700.0,
                at_m: at,
            }
            .inertia();
            let m = 2700.0 * PI * radius_m * radius_m * length_m;
            let along = m * radius_m * radius_m / 2.0;
            let across = m * (3.0 * radius_m * radius_m + length_m * length_m) / 12.0;
            let own = |index: Along| if index == axis { along } else { across };
            let [x, y, z] = at;
            close(found.mass_kg, m);
            close(
                found.tensor_kg_m2[0][0],
                own(Along::X) + m * (y * y + z * z),
            );
            close(
                found.tensor_kg_m2[1][1],
                own(Along::Y) + m * (x * x + z * z),
            );
            close(
                found.tensor_kg_m2[2][2],
                own(Along::Z) + m * (x * x + y * y),
            );
            close(found.tensor_kg_m2[0][1], -m * x * y);
            close(found.tensor_kg_m2[2][0], -m * x * z);
            close(found.tensor_kg_m2[1][2], -m * y * z);
        }
    }

    /// Closed forms: box m (b² + c²)/12, sphere 2/5 m r².
    #[test]
    fn a_box_and_a_sphere_together() {
        let solids = [
            Solid {
                shape: SolidForm::Cuboid {
                    size_m: [0.05, 0.04, 0.12],
                },
                density_kg_per_m3: 1200.0,
                at_m: [0.0, 0.0, -0.4],
            },
            Solid {
                shape: SolidForm::Sphere { radius_m: 0.04 },
                density_kg_per_m3: 7850.0,
                at_m: [0.0, 0.0, 0.1],
            },
        ];
        let found = Inertia::of(&solids);
        let block = 1200.0 * 0.05 * 0.04 * 0.12;
        let ball = 7850.0 * 4.0 / 3.0 * PI * 0.04 * 0.04 * 0.04;
        close(found.mass_kg, block + ball);
        close(found.cg_m[2], (block * -0.4 + ball * 0.1) / (block + ball));
        let block_yy = block * (0.05 * 0.05 + 0.12 * 0.12) / 12.0 + block * 0.16;
        let ball_yy = 0.4 * ball * 0.04 * 0.04 + ball * 0.01;
        close(found.tensor_kg_m2[1][1], block_yy + ball_yy);
    }

    /// Closed form of the capsule, from cylinder and two half spheres whose centres of gravity lie
    /// 3/8 r beyond the ends: across = m_c (3r² + l²)/12 + m_s (2/5 r² + l²/4 + 3/8 l r).
    #[test]
    fn a_capsule() {
        let (r, l) = (0.02, 0.2);
        let shape = SolidForm::Capsule {
            radius_m: r,
            length_m: l,
            axis: Along::Z,
        };
        let found = Solid {
            shape,
            density_kg_per_m3: 1000.0,
            at_m: [0.0; 3],
        }
        .inertia();
        let bar = 1000.0 * PI * r * r * l;
        let ball = 1000.0 * 4.0 / 3.0 * PI * r * r * r;
        close(found.mass_kg, bar + ball);
        close(
            found.tensor_kg_m2[2][2],
            bar * r * r / 2.0 + 0.4 * ball * r * r,
        );
        let across =
            bar * (3.0 * r * r + l * l) / 12.0 + ball * (0.4 * r * r + l * l / 4.0 + 0.375 * l * r);
        close(found.tensor_kg_m2[0][0], across);
    }

    #[test]
    fn a_pose_turns_roll_first_then_pitch_then_yaw() {
        let form = SolidForm::Sphere { radius_m: 0.1 };
        let pose = form.pose([1.0, 0.0, 0.0], [90.0, 90.0, 0.0]);
        // Roll takes y to z, then pitch takes z to x.
        let found = pose.transform_point(Vector::new(0.0, 1.0, 0.0));
        assert!((found - Vector::new(2.0, 0.0, 0.0)).length() < 1e-12);
        let bar = SolidForm::Cylinder {
            radius_m: 0.01,
            length_m: 0.2,
            axis: Along::X,
        };
        let end = bar
            .pose([0.0; 3], [0.0; 3])
            .transform_point(Vector::new(0.0, 0.1, 0.0));
        assert!((end.x.abs() - 0.1).abs() < 1e-12);
    }

    #[test]
    fn the_middle_is_nearest_to_the_closest_side() {
        let axis = Along::X;
        let bar = |radius_m, length_m| SolidForm::Cylinder {
            radius_m,
            length_m,
            axis,
        };
        close(bar(0.05, 0.02).inner_radius_m(), 0.01);
        close(bar(0.05, 0.3).inner_radius_m(), 0.05);
        for size_m in [[0.02, 0.3, 0.4], [0.3, 0.02, 0.4], [0.3, 0.4, 0.02]] {
            close(SolidForm::Cuboid { size_m }.inner_radius_m(), 0.01);
        }
        close(SolidForm::Sphere { radius_m: 0.03 }.inner_radius_m(), 0.03);
    }
}

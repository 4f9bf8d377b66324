//! The stick: its grip, its tube, its mass.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::check::RangeChecker;
use crate::shapes::{Inertia, Solid};

/// The stick that turns in the gimbal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StickRig {
    /// Distance of the grip reference point above the pivot, m; forces at the grip act there.
    /// Valid: 0.05 to 1.5.
    #[schemars(range(min = 0.05, max = 1.5))]
    pub grip_radius_m: f64,
    /// Radius of the tube, for contacts, m. Valid: 0.002 to 0.1.
    #[schemars(range(min = 0.002, max = 0.1))]
    pub tube_radius_m: f64,
    /// Height above the pivot at which the tube's axis begins, for contacts, m. Valid: -0.5 to 1.
    #[schemars(range(min = -0.5, max = 1.0))]
    pub tube_bottom_m: f64,
    /// Height above the pivot at which the tube's axis ends, for contacts, m; above its beginning.
    /// Valid: 0.02 to 1.5.
    #[schemars(range(min = 0.02, max = 1.5))]
    pub tube_top_m: f64,
    /// Masses of the outer frame and of the inner yoke with the stick.
    pub mass: MassRig,
}

/// Masses, given by shapes or by measured figures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum MassRig {
    /// Solids of known density.
    Shapes(MassShapes),
    /// Measured or computed elsewhere.
    Measured(MeasuredMass),
}

/// Masses given by solids, drawn with the stick upright.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(inline)]
pub struct MassShapes {
    /// Solids that turn in pitch only.
    pub frame: Vec<Solid>,
    /// Solids that turn in pitch and roll: yoke, tube, grip, counterweight.
    pub inner: Vec<Solid>,
}

/// Masses as measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(inline)]
pub struct MeasuredMass {
    /// Moment of inertia of the outer frame about the pitch axis, kg·m². Valid: 1e-6 to 10.
    #[schemars(range(min = 1e-6, max = 10.0))]
    pub frame_inertia_kg_m2: f64,
    /// Mass of the outer frame, kg. Valid: 0.001 to 50.
    #[schemars(range(min = 0.001, max = 50.0))]
    pub frame_mass_kg: f64,
    /// Centre of gravity of the outer frame from the pivot, body axes (z down), m. Valid: -1 to 1
    /// each.
    pub frame_cg_m: [f64; 3],
    /// Mass of inner yoke and stick, kg. Valid: 0.01 to 50.
    #[schemars(range(min = 0.01, max = 50.0))]
    pub inner_mass_kg: f64,
    /// Centre of gravity of inner yoke and stick from the pivot, body axes (z down), m. Valid: -1
    /// to 1 each.
    pub inner_cg_m: [f64; 3],
    /// Inertia of inner yoke and stick about its centre of gravity: xx, yy, zz, xy, xz, yz of the
    /// tensor, kg·m², where xy = −∫xy dm. Positive definite; no moment above the sum of the other
    /// two.
    pub inner_inertia_kg_m2: [f64; 6],
}

/// What the plant needs of the masses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MassProperties {
    /// Moment of inertia of the outer frame about the pitch axis (y through the pivot), kg·m².
    pub frame_inertia_kg_m2: f64,
    /// Mass of the outer frame, kg.
    pub frame_mass_kg: f64,
    /// Centre of gravity of the outer frame from the pivot, m.
    pub frame_cg_m: [f64; 3],
    /// Mass of inner yoke and stick, kg.
    pub inner_mass_kg: f64,
    /// Centre of gravity of inner yoke and stick from the pivot, m.
    pub inner_cg_m: [f64; 3],
    /// Inertia tensor of inner yoke and stick about the pivot, kg·m²; entries off the diagonal are
    /// the tensor's, I_xy = −∫xy dm.
    pub inner_inertia_kg_m2: [[f64; 3]; 3],
}

impl MassRig {
    /// The figures that the plant needs.
    pub fn properties(&self) -> MassProperties {
        match self {
            Self::Shapes(shapes) => {
                let frame = Inertia::of(&shapes.frame);
                let inner = Inertia::of(&shapes.inner);
                MassProperties {
                    frame_inertia_kg_m2: frame.tensor_kg_m2[1][1],
                    frame_mass_kg: frame.mass_kg,
                    frame_cg_m: frame.cg_m,
                    inner_mass_kg: inner.mass_kg,
                    inner_cg_m: inner.cg_m,
                    inner_inertia_kg_m2: inner.tensor_kg_m2,
                }
            }
            Self::Measured(m) => {
                let [xx, yy, zz, xy, xz, yz] = m.inner_inertia_kg_m2;
                let tensor_kg_m2 = [[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]];
                let inner = Inertia {
                    mass_kg: m.inner_mass_kg,
                    cg_m: m.inner_cg_m,
                    tensor_kg_m2,
                }
                .moved_from_cg();
                MassProperties {
                    frame_inertia_kg_m2: m.frame_inertia_kg_m2,
                    frame_mass_kg: m.frame_mass_kg,
                    frame_cg_m: m.frame_cg_m,
                    inner_mass_kg: m.inner_mass_kg,
                    inner_cg_m: m.inner_cg_m,
                    inner_inertia_kg_m2: inner.tensor_kg_m2,
                }
            }
        }
    }
}

impl MassProperties {
    /// Moment of inertia about an axis with the stick upright, kg·m²: index 0 pitch (frame
    /// included), 1 roll.
    pub fn axis_inertia_kg_m2(&self, axis: usize) -> f64 {
        if axis == 0 {
            self.frame_inertia_kg_m2 + self.inner_inertia_kg_m2[1][1]
        } else {
            self.inner_inertia_kg_m2[0][0]
        }
    }

    /// Gravity's overturning rate about an axis with the stick upright, N·m/rad, positive when
    /// top-heavy: index 0 pitch (frame included), 1 roll.
    pub fn overturning_n_m_per_rad(&self, axis: usize) -> f64 {
        let frame = if axis == 0 {
            self.frame_mass_kg * -self.frame_cg_m[2]
        } else {
            0.0
        };
        GRAVITY_M_PER_S2 * (frame + self.inner_mass_kg * -self.inner_cg_m[2])
    }

    /// Torque of the weight about an axis at zero angles, N·m, as a size: a centre of gravity
    /// beside the axis.
    pub fn lean_n_m(&self, axis: usize) -> f64 {
        self.signed_lean_n_m(axis).abs()
    }

    /// Torque of the weight about an axis at zero angles, N·m, in the sense of the axis: a weight
    /// in front of the pitch axis pulls fore (negative), one to the right of the roll axis pulls
    /// right (positive).
    pub fn signed_lean_n_m(&self, axis: usize) -> f64 {
        let moment = if axis == 0 {
            -(self.inner_mass_kg * self.inner_cg_m[0] + self.frame_mass_kg * self.frame_cg_m[0])
        } else {
            self.inner_mass_kg * self.inner_cg_m[1]
        };
        GRAVITY_M_PER_S2 * moment
    }
}

/// Standard gravity, m/s² (ISO 80000-3, definition).
pub const GRAVITY_M_PER_S2: f64 = 9.80665;

impl StickRig {
    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        check.number("grip_radius_m", self.grip_radius_m, 0.05, 1.5);
        check.number("tube_radius_m", self.tube_radius_m, 0.002, 0.1);
        check.number("tube_bottom_m", self.tube_bottom_m, -0.5, 1.0);
        check.number("tube_top_m", self.tube_top_m, 0.02, 1.5);
        let (bottom, top) = (self.tube_bottom_m, self.tube_top_m);
        check.require("tube_top_m", top > bottom, || {
            format!("is `{top}`, it must be above `tube_bottom_m`, which is `{bottom}`")
        });
        check.within("mass", |check| match &self.mass {
            MassRig::Shapes(shapes) => {
                check_solids(check, "frame", &shapes.frame);
                check_solids(check, "inner", &shapes.inner);
            }
            MassRig::Measured(measured) => measured.check(check),
        });
    }
}

impl MeasuredMass {
    fn check(&self, check: &mut RangeChecker<'_>) {
        check.number("frame_inertia_kg_m2", self.frame_inertia_kg_m2, 1e-6, 10.0);
        check.number("frame_mass_kg", self.frame_mass_kg, 0.001, 50.0);
        check.numbers("frame_cg_m", &self.frame_cg_m, -1.0, 1.0);
        check.number("inner_mass_kg", self.inner_mass_kg, 0.01, 50.0);
        check.numbers("inner_cg_m", &self.inner_cg_m, -1.0, 1.0);
        check.numbers(
            "inner_inertia_kg_m2",
            &self.inner_inertia_kg_m2,
            -10.0,
            10.0,
        );
        let [x, _, z] = self.frame_cg_m;
        let least = self.frame_mass_kg * (x * x + z * z);
        let given = self.frame_inertia_kg_m2;
        check.require("frame_inertia_kg_m2", given >= least, || {
            format!("is `{given}`, mass and centre of gravity alone already make `{least}`")
        });
        let [xx, yy, zz, xy, xz, yz] = self.inner_inertia_kg_m2;
        let minor = xx * yy - xy * xy;
        let determinant = zz * minor - xx * yz * yz - yy * xz * xz + 2.0 * xy * xz * yz;
        let physical = xx > 0.0
            && minor > 0.0
            && determinant > 0.0
            && xx <= yy + zz
            && yy <= zz + xx
            && zz <= xx + yy;
        check.require("inner_inertia_kg_m2", physical, || {
            "is no inertia of a body: it must be positive definite, with no moment above the sum of the other two"
                .to_owned()
        });
    }
}

fn check_solids(check: &mut RangeChecker<'_>, key: &str, solids: &[Solid]) {
    check.require(key, !solids.is_empty(), || {
        "is empty, it must hold at least one solid".to_owned()
    });
    for (index, solid) in solids.iter().enumerate() {
        check.within(&format!("{key}[{index}]"), |check| {
            check.number("density_kg_per_m3", solid.density_kg_per_m3, 1.0, 25_000.0);
            check.numbers("at_m", &solid.at_m, -2.0, 2.0);
            check.within("shape", |check| {
                for (key, size) in solid.shape.sizes() {
                    check.number(&key, size, 0.0005, 2.0);
                }
            });
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand, parallel-axis theorem: 0.02 + 0.6·0.2² and so on.
    #[test]
    fn measured_masses_are_taken_about_the_pivot() {
        let mass = MassRig::Measured(MeasuredMass {
            frame_inertia_kg_m2: 0.001,
            frame_mass_kg: 0.4,
            frame_cg_m: [0.0, 0.0, -0.01],
            inner_mass_kg: 0.6,
            inner_cg_m: [0.01, 0.0, -0.2],
            inner_inertia_kg_m2: [0.02, 0.021, 0.002, 0.0, 0.0005, 0.0],
        });
        let found = mass.properties();
        assert!((found.inner_inertia_kg_m2[0][0] - 0.044).abs() < 1e-15);
        assert!((found.inner_inertia_kg_m2[1][1] - (0.021 + 0.6 * 0.0401)).abs() < 1e-15);
        assert!((found.inner_inertia_kg_m2[0][2] - (0.0005 + 0.6 * 0.002)).abs() < 1e-15);
        assert!((found.axis_inertia_kg_m2(0) - 0.04606).abs() < 1e-15);
        assert!((found.overturning_n_m_per_rad(1) - 9.80665 * 0.12).abs() < 1e-12);
        assert!((found.overturning_n_m_per_rad(0) - 9.80665 * 0.124).abs() < 1e-12);
    }

    /// Whether kittiwake is taken with `new` in place of `old`.
    fn is_taken(old: &str, new: &str) -> bool {
        let text = super::super::tests::KITTIWAKE;
        assert!(text.contains(old));
        crate::Rig::parse(&text.replacen(old, new, 1)).is_ok()
    }

    fn is_tensor(entries: [f64; 6]) -> bool {
        let old = "inner_inertia_kg_m2 = [0.0396, 0.0395, 0.0016, 0.0, 2.0e-4, 0.0]";
        is_taken(old, &format!("inner_inertia_kg_m2 = {entries:?}"))
    }

    /// 0.35 kg at 3 cm and 4 cm, whatever lies along the axis, make 8.75e-4 kg·m².
    #[test]
    fn a_frame_has_at_least_the_inertia_of_its_centre_of_gravity() {
        let given = |inertia: &str| {
            is_taken(
                "frame_inertia_kg_m2 = 8.0e-4\nframe_mass_kg = 0.35\nframe_cg_m = [0.0, 0.0, -0.002]",
                &format!(
                    "frame_inertia_kg_m2 = {inertia}\nframe_mass_kg = 0.35\nframe_cg_m = [0.03, 0.5, -0.04]"
                ),
            )
        };
        assert!(given("8.76e-4") && !given("8.74e-4"));
    }

    /// A tensor with the moments a, a and c, the last about n, is a 1 − (a − c) n nᵀ; its
    /// determinant is a² c. Whichever way it lies, it is that of a body as long as c is positive;
    /// with two moments below zero it is none either.
    #[test]
    fn an_inertia_is_positive_whichever_way_the_body_lies() {
        let lying = |a: f64, c: f64, [x, y, z]: [f64; 3]| {
            let by = a - c;
            let along = |p: f64| a - by * p * p;
            [
                along(x),
                along(y),
                along(z),
                -by * x * y,
                -by * x * z,
                -by * y * z,
            ]
        };
        for n in [
            [0.6, 0.64, 0.48],
            [-0.6, 0.64, 0.48],
            [0.6, -0.64, 0.48],
            [0.6, 0.64, -0.48],
            [0.48, 0.6, 0.64],
            [0.64, 0.48, -0.6],
        ] {
            assert!(is_tensor(lying(0.035, 1e-4, n)), "{n:?}");
            assert!(!is_tensor(lying(0.035, -1e-4, n)), "{n:?}");
            assert!(!is_tensor(lying(-1e-3, 0.1, n)), "{n:?}");
        }
        // A rod without width has none about its own axis.
        assert!(!is_tensor([0.04, 0.04, 0.0, 0.0, 0.0, 0.0]));
    }

    /// A flat body's moment across it is the sum of the other two, and none is larger.
    #[test]
    fn no_moment_is_above_the_sum_of_the_others() {
        for turn in 0..3 {
            let with = |largest: f64| {
                let mut moments = [largest, 0.03, 0.02];
                moments.rotate_right(turn);
                let [xx, yy, zz] = moments;
                is_tensor([xx, yy, zz, 0.0, 0.0, 0.0])
            };
            assert!(with(0.0499) && with(0.05) && !with(0.0501), "{turn}");
        }
    }
}

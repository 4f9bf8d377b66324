//! Shapes that the renderer has no primitive for: spur gears, coil springs, cages.

use bevy::asset::RenderAssetUsages;
use bevy::math::Vec3;
use bevy::mesh::{Indices, Mesh, PrimitiveTopology};

/// Sides of a wire's section.
const WIRE_SIDES: usize = 8;
/// Pieces of a coil.
const COIL_PIECES: usize = 22;
/// Pressure angle of the teeth, 20 degrees as of ISO 53 (from memory): its tangent.
const TAN_PRESSURE: f32 = 0.363_97;

/// A spur gear about the x axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gear {
    /// Teeth.
    pub teeth: u32,
    /// Pitch radius, m.
    pub radius_m: f32,
    /// Width of the face, m.
    pub width_m: f32,
    /// Radius of the hole, m.
    pub bore_m: f32,
    /// How much thinner than half the pitch a tooth is, m along the pitch circle.
    pub thinner_m: f32,
    /// Where the middle of a tooth stands: from +z towards +y, rad.
    pub first_rad: f32,
    /// Half of the part of the circle that has teeth, around the first one, rad; the rest is only a
    /// hub.
    pub half_rad: f32,
    /// Radius of the hub, m.
    pub hub_m: f32,
}

impl Gear {
    /// Corners of the outline, `[y, z]`, once around from a tooth's root.
    pub fn outline(&self) -> Vec<[f32; 2]> {
        let teeth = self.teeth as f32;
        let module = 2.0 * self.radius_m / teeth;
        let half = 0.25 * std::f32::consts::PI * module - 0.5 * self.thinner_m;
        let (root, tip) = (self.radius_m - 1.25 * module, self.radius_m + module);
        let half_tip = (half - module * TAN_PRESSURE).max(0.12 * module);
        // The flanks of few teeth would cross at the root.
        let half_root =
            (half + 1.25 * module * TAN_PRESSURE).min(0.49 * std::f32::consts::PI * module);
        let mut corners = Vec::with_capacity(4 * self.teeth as usize);
        for tooth in 0..self.teeth {
            let turned = std::f32::consts::TAU * tooth as f32 / teeth;
            let middle = self.first_rad + turned;
            if turned.min(std::f32::consts::TAU - turned) > self.half_rad {
                let (sin, cos) = libm::sincosf(middle);
                corners.push([self.hub_m * sin, self.hub_m * cos]);
                continue;
            }
            // Angles by the pitch circle: thickness is an arc on it.
            for (radius, off) in [
                (root, -half_root),
                (tip, -half_tip),
                (tip, half_tip),
                (root, half_root),
            ] {
                let angle = middle + off / self.radius_m;
                corners.push([radius * libm::sinf(angle), radius * libm::cosf(angle)]);
            }
        }
        corners
    }

    /// The gear as a mesh.
    pub fn mesh(&self) -> Mesh {
        let outline = self.outline();
        let mut made = MeshBuilder::default();
        let half = 0.5 * self.width_m;
        let count = outline.len();
        for (index, &[y, z]) in outline.iter().enumerate() {
            let [next_y, next_z] = outline[(index + 1) % count];
            let bore = |y: f32, z: f32| {
                let share = self.bore_m / (y * y + z * z).sqrt();
                [share * y, share * z]
            };
            let ([by, bz], [next_by, next_bz]) = (bore(y, z), bore(next_y, next_z));
            for side in [1.0_f32, -1.0] {
                let x = side * half;
                let face = [
                    Vec3::new(x, by, bz),
                    Vec3::new(x, y, z),
                    Vec3::new(x, next_y, next_z),
                    Vec3::new(x, next_by, next_bz),
                ];
                made.quad(face, Vec3::new(side, 0.0, 0.0));
            }
            // The flanks outside and the hole inside.
            let out = Vec3::new(0.0, next_z - z, -(next_y - y)).normalize_or_zero();
            let middle = Vec3::new(0.0, y + next_y, z + next_z);
            let out = if out.dot(middle) < 0.0 { -out } else { out };
            made.quad(
                [
                    Vec3::new(-half, y, z),
                    Vec3::new(half, y, z),
                    Vec3::new(half, next_y, next_z),
                    Vec3::new(-half, next_y, next_z),
                ],
                out,
            );
            made.quad(
                [
                    Vec3::new(-half, by, bz),
                    Vec3::new(half, by, bz),
                    Vec3::new(half, next_by, next_bz),
                    Vec3::new(-half, next_by, next_bz),
                ],
                -Vec3::new(0.0, by, bz).normalize_or_zero(),
            );
        }
        made.finish()
    }
}

/// A coil spring along z, centred, of the given length between the planes of its ends.
pub fn spring(length_m: f32, coil_m: f32, wire_m: f32, coils: f32) -> Mesh {
    let mut made = MeshBuilder::default();
    let pieces = ((coils * COIL_PIECES as f32).ceil() as usize).max(COIL_PIECES);
    let rise = (length_m - wire_m).max(0.0);
    let mut rings: Vec<Vec<(Vec3, Vec3)>> = Vec::with_capacity(pieces + 1);
    for piece in 0..=pieces {
        let share = piece as f32 / pieces as f32;
        let angle = std::f32::consts::TAU * coils * share;
        let (sin, cos) = libm::sincosf(angle);
        // The ends are closed: the first and last coil lie flat.
        let flat = (1.0 / coils).min(0.4);
        let climb = ((share - flat) / (1.0 - 2.0 * flat)).clamp(0.0, 1.0);
        let ends = 0.5 * wire_m * ((share / flat).min(1.0) - ((1.0 - share) / flat).min(1.0));
        let z = (climb - 0.5) * (rise - wire_m).max(0.0) + ends;
        let out = Vec3::new(cos, sin, 0.0);
        let middle = 0.5 * coil_m * out + Vec3::new(0.0, 0.0, z);
        let ring = (0..WIRE_SIDES).map(|side| {
            let turn = std::f32::consts::TAU * side as f32 / WIRE_SIDES as f32;
            let (s, c) = libm::sincosf(turn);
            let normal = c * out + s * Vec3::Z;
            (middle + 0.5 * wire_m * normal, normal)
        });
        rings.push(ring.collect());
    }
    for pair in rings.windows(2) {
        for side in 0..WIRE_SIDES {
            let next = (side + 1) % WIRE_SIDES;
            made.smooth([pair[0][side], pair[1][side], pair[1][next], pair[0][next]]);
        }
    }
    made.finish()
}

#[derive(Default)]
struct MeshBuilder {
    places: Vec<[f32; 3]>,
    normals: Vec<[f32; 3]>,
    indices: Vec<u32>,
}

impl MeshBuilder {
    /// A flat quad; which way its corners run is put right by the normal.
    fn quad(&mut self, corners: [Vec3; 4], normal: Vec3) {
        self.smooth(corners.map(|corner| (corner, normal)));
    }

    fn smooth(&mut self, mut corners: [(Vec3, Vec3); 4]) {
        let across = (corners[1].0 - corners[0].0).cross(corners[2].0 - corners[0].0);
        if across.dot(corners[0].1) < 0.0 {
            corners.reverse();
        }
        // Far below the number of indices that a mesh of ours can have.
        let first = self.places.len() as u32;
        for (place, normal) in corners {
            self.places.push(place.to_array());
            self.normals.push(normal.to_array());
        }
        self.indices
            .extend([0, 1, 2, 0, 2, 3].map(|corner| first + corner));
    }

    fn finish(self) -> Mesh {
        let uvs = vec![[0.0_f32; 2]; self.places.len()];
        Mesh::new(
            PrimitiveTopology::TriangleList,
            RenderAssetUsages::default(),
        )
        .with_inserted_attribute(Mesh::ATTRIBUTE_POSITION, self.places)
        .with_inserted_attribute(Mesh::ATTRIBUTE_NORMAL, self.normals)
        .with_inserted_attribute(Mesh::ATTRIBUTE_UV_0, uvs)
        .with_inserted_indices(Indices::U32(self.indices))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gear() -> Gear {
        Gear {
            teeth: 90,
            radius_m: 0.036,
            width_m: 0.008,
            bore_m: 0.005,
            thinner_m: 0.0,
            first_rad: 0.0,
            half_rad: 4.0,
            hub_m: 0.01,
        }
    }

    /// A tooth of half the pitch at the pitch circle: halfway between root and tip of a flank, by
    /// the pressure angle.
    #[test]
    fn a_gear_has_its_teeth_and_radii() {
        let outline = gear().outline();
        assert_eq!(outline.len(), 4 * 90);
        let radii: Vec<f32> = outline.iter().map(|[y, z]| y.hypot(*z)).collect();
        let (low, high) = radii.iter().fold((f32::MAX, 0.0_f32), |(low, high), r| {
            (low.min(*r), high.max(*r))
        });
        // Module 0.8 mm: addendum one, dedendum one and a quarter.
        assert!(
            (low - 0.035).abs() < 1e-6 && (high - 0.0368).abs() < 1e-6,
            "{low} {high}"
        );
        // The middle of the first tooth stands at +z.
        let [y1, z1] = outline[1];
        let [y2, z2] = outline[2];
        assert!((y1 + y2).abs() < 1e-6 && z1 > 0.0 && z2 > 0.0);
    }

    #[test]
    fn a_sector_has_teeth_only_around_its_first() {
        let sector = Gear {
            half_rad: 0.5,
            ..gear()
        };
        let outline = sector.outline();
        // 0.5 rad of 90 teeth: 7 on either side of the first.
        let on_hub = outline.iter().filter(|[y, z]| y.hypot(*z) < 0.011).count();
        assert_eq!((outline.len() - on_hub, on_hub), (4 * 15, 90 - 15));
    }

    /// Sum of signed volumes of the tetrahedra from the origin: positive when every face looks
    /// outward.
    #[test]
    fn faces_look_outward() {
        let sector = Gear {
            half_rad: 0.8,
            ..gear()
        };
        for mesh in [
            gear().mesh(),
            sector.mesh(),
            spring(0.04, 0.016, 0.002, 8.0),
        ] {
            let Some(places) = mesh.attribute(Mesh::ATTRIBUTE_POSITION) else {
                panic!("no places")
            };
            let places = places.as_float3().unwrap();
            let Some(Indices::U32(indices)) = mesh.indices() else {
                panic!("no indices")
            };
            let volume: f32 = indices
                .chunks(3)
                .map(|corner| {
                    let [a, b, c] = [0, 1, 2].map(|k| Vec3::from(places[corner[k] as usize]));
                    a.dot(b.cross(c)) / 6.0
                })
                .sum();
            assert!(volume > 1e-8, "{volume}");
        }
    }

    #[test]
    fn a_spring_fills_its_length() {
        for length in [0.047_f32, 0.03, 0.021] {
            let mesh = spring(length, 0.0165, 0.002, 10.0);
            let places = mesh
                .attribute(Mesh::ATTRIBUTE_POSITION)
                .and_then(|places| places.as_float3())
                .unwrap();
            let (low, high) = places.iter().fold((f32::MAX, f32::MIN), |(low, high), p| {
                (low.min(p[2]), high.max(p[2]))
            });
            assert!((high - low - length).abs() < 1e-4, "{length}: {low} {high}");
        }
    }
}

//! From a point of the scene to its place in the picture.

use bevy::math::Vec3;
use bevy_egui::egui::{Pos2, Rect, vec2};

use crate::camera::{Orbit, field_rad};

/// Where a point of the scene is in the picture; `None` behind the camera.
pub fn project(orbit: &Orbit, scene: Rect, point: Vec3) -> Option<Pos2> {
    let placed = orbit.transform();
    let seen = placed.rotation.inverse() * (point - placed.translation);
    let depth = -seen.z;
    if depth < 1e-3 {
        return None;
    }
    let field_rad = field_rad(scene.width() / scene.height().max(1.0));
    let scale = 0.5 * scene.height() / (libm::tanf(0.5 * field_rad) * depth);
    Some(scene.center() + vec2(seen.x * scale, -seen.y * scale))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::View;
    use crate::scene::Layout;
    use bevy_egui::egui::pos2;

    /// The target is in the middle; half the field of view above it is the upper edge.
    #[test]
    fn points_are_projected_as_the_camera_sees_them() {
        let rig =
            trimproof_plant::Rig::parse(include_str!("../../../scenarios/rigs/kittiwake.toml"))
                .unwrap();
        let layout = Layout::of(&rig);
        let mut orbit = Orbit::of(
            View::Behind,
            &layout,
            &crate::timeline::ShownTravel::default(),
        );
        (orbit.target, orbit.above, orbit.distance) = (Vec3::ZERO, 0.0, 2.0);
        let scene = Rect::from_min_size(pos2(100.0, 50.0), vec2(400.0, 300.0));
        let middle = project(&orbit, scene, Vec3::ZERO).unwrap();
        assert!((middle - scene.center()).length() < 1e-3);
        let top = Vec3::new(0.0, 2.0 * libm::tanf(0.5 * crate::camera::FIELD_RAD), 0.0);
        let seen = project(&orbit, scene, top).unwrap();
        assert!(
            (seen.y - scene.top()).abs() < 1e-2 && (seen.x - 300.0).abs() < 1e-3,
            "{seen:?}"
        );
        assert!(project(&orbit, scene, Vec3::new(0.0, 0.0, 3.0)).is_none());
    }
}

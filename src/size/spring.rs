//! Springs: rate, preload, stress, stroke.

use crate::Design;
use serde::Serialize;
use trimproof_plant::rig::{CartridgeRig, SpringCartridge};

use super::travel::Travel;

/// The cartridge of one axis.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CartridgeSizes {
    /// Whether the rig gives the cartridge by its springs; else its figures are measured ones.
    pub by_geometry: bool,
    /// Number of springs in parallel.
    pub springs: u32,
    /// Breakout, N·m, and at the grip, N.
    pub breakout_n_m: f64,
    /// Breakout at the grip, N.
    pub breakout_n: f64,
    /// Rate of the cartridge, N·m/rad.
    pub rate_n_m_per_rad: f64,
    /// Gradient at the grip, N/deg.
    pub gradient_n_per_deg: f64,
    /// Deflection at which the coils touch, degrees from the middle.
    pub bind_deg: f64,
    /// What is left to coil bind with the stick at the farther stop, trimmed in the middle,
    /// degrees.
    pub bind_margin_deg: f64,
    /// The same, trimmed at the soft limit on the other side, degrees.
    pub bind_margin_worst_deg: f64,
    /// One spring; none where the cartridge is measured.
    pub spring: Option<SpringSizes>,
}

/// One coil spring.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SpringSizes {
    /// Rate k = G d⁴ / (8 n D³), N/mm.
    pub rate_n_per_mm: f64,
    /// Coil over wire, D/d.
    pub index: f64,
    /// Preload, N.
    pub preload_n: f64,
    /// Stroke from the cage to the solid length, mm.
    pub stroke_mm: f64,
    /// Stroke left at the farther stop, trimmed in the middle, mm.
    pub stroke_left_mm: f64,
    /// Stroke left at the worst deflection: stop against the opposite soft limit, mm; negative: the
    /// coils touch.
    pub stroke_left_worst_mm: f64,
    /// Shear stress τ = 8 F D / (π d³), MPa: with the preload alone.
    pub stress_preload_mpa: f64,
    /// At the farther stop, trimmed in the middle, MPa.
    pub stress_stop_mpa: f64,
    /// At the worst deflection, or solid if that comes first, MPa.
    pub stress_worst_mpa: f64,
    /// Stress at the inner side of the coil at the worst deflection, by Wahl's factor, MPa.
    pub stress_worst_curved_mpa: f64,
}

/// Sizes of the cartridge of axis `index`.
pub(crate) fn cartridge(rig: &Design, index: usize) -> CartridgeSizes {
    let axis = rig.axis(index);
    let cartridge = axis.cartridge.cartridge();
    let travel = Travel::of(rig, index);
    let radius_m = rig.stick.grip_radius_m;
    let bind_deg = cartridge.bind_rad.to_degrees();
    CartridgeSizes {
        by_geometry: matches!(axis.cartridge, CartridgeRig::Springs(_)),
        springs: cartridge.springs,
        breakout_n_m: cartridge.breakout_n_m,
        breakout_n: cartridge.breakout_n_m / radius_m,
        rate_n_m_per_rad: cartridge.rate_n_m_per_rad,
        gradient_n_per_deg: cartridge.rate_n_m_per_rad.to_radians() / radius_m,
        bind_deg,
        bind_margin_deg: bind_deg - travel.throw_deg(),
        bind_margin_worst_deg: bind_deg - travel.farthest_deg(),
        spring: match &axis.cartridge {
            CartridgeRig::Measured(_) => None,
            CartridgeRig::Springs(springs) => Some(spring(springs, travel)),
        },
    }
}

fn spring(c: &SpringCartridge, travel: Travel) -> SpringSizes {
    let spring = c.spring();
    let rate_n_per_m = spring.rate_n_per_m();
    let stroke_m = c.installed_length_m - spring.solid_length_m();
    let beyond = |deg: f64| (deg - c.free_play_deg).max(0.0).to_radians();
    let left_m = |deg: f64| stroke_m - c.arm_m * beyond(deg);
    let solid_rad = stroke_m / c.arm_m;
    let stress_mpa = |deg: f64| c.stress_pa(beyond(deg).min(solid_rad)) / 1e6;
    let worst_mpa = stress_mpa(travel.farthest_deg());
    let index = c.coil_m / c.wire_m;
    SpringSizes {
        rate_n_per_mm: rate_n_per_m / 1000.0,
        index,
        preload_n: rate_n_per_m * (c.free_length_m - c.installed_length_m),
        stroke_mm: stroke_m * 1000.0,
        stroke_left_mm: left_m(travel.throw_deg()) * 1000.0,
        stroke_left_worst_mm: left_m(travel.farthest_deg()) * 1000.0,
        stress_preload_mpa: c.stress_pa(0.0) / 1e6,
        stress_stop_mpa: stress_mpa(travel.throw_deg()),
        stress_worst_mpa: worst_mpa,
        stress_worst_curved_mpa: worst_mpa * wahl(index),
    }
}

/// Wahl's factor for the curvature of the wire and direct shear: (4C − 1)/(4C − 4) + 0.615/C,
/// C = D/d (docs/model/sources.md).
fn wahl(index: f64) -> f64 {
    (4.0 * index - 1.0) / (4.0 * index - 4.0) + 0.615 / index
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Design;

    /// A rig whose pitch spring is one of two worked examples (docs/model/sources.md): d 4 mm,
    /// outside 30 mm, 11 coils of which 2 inactive, G 79.3 GPa → 16.042 N/mm; r 1 mm, R 60 mm, n 8,
    /// G 78 GPa → 11.285 N/m.
    fn with_spring(wire: f64, coil: f64, active: f64, total: f64, shear: f64) -> CartridgeSizes {
        let mut rig = Design::parse(include_str!("../../scenarios/rigs/bittern.toml")).unwrap();
        let CartridgeRig::Springs(springs) = &mut rig.pitch.cartridge else {
            panic!("bittern has springs");
        };
        springs.wire_m = wire;
        springs.coil_m = coil;
        springs.active_coils = active;
        springs.total_coils = total;
        springs.shear_modulus_pa = shear;
        springs.free_length_m = 0.082;
        springs.installed_length_m = 0.080;
        cartridge(&rig, 0)
    }

    #[test]
    fn published_springs() {
        let first = with_spring(0.004, 0.026, 9.0, 11.0, 79.3e9).spring.unwrap();
        assert!((first.rate_n_per_mm - 16.042).abs() < 5e-4);
        assert!((first.preload_n - 2.0 * first.rate_n_per_mm).abs() < 1e-9);
        assert!((first.stroke_mm - 36.0).abs() < 1e-9);
        let second = with_spring(0.002, 0.12, 8.0, 8.0, 78e9).spring.unwrap();
        assert!((second.rate_n_per_mm * 1000.0 - 11.285).abs() < 5e-4);
    }

    /// By hand: at 20° the 30 mm arm goes 10.409 mm beyond a play of 0.12°; k 16.042 N/mm, so F =
    /// 16.042·(2 + 10.409) = 199.07 N and τ = 8·199.07·26 mm/(π·64 mm³) = 205.94 MPa.
    #[test]
    fn stress_and_stroke_at_the_stop() {
        let found = with_spring(0.004, 0.026, 9.0, 11.0, 79.3e9).spring.unwrap();
        assert!((found.stroke_left_mm - (36.0 - 10.409)).abs() < 1e-3);
        assert!((found.stress_stop_mpa - 205.94).abs() < 0.01, "{found:?}");
        // Solid at 36 mm: F = 16.042·38 N.
        let solid = 8.0 * 16.042 * 38.0 * 26.0 / (std::f64::consts::PI * 64.0);
        assert!(found.stress_worst_mpa < solid);
        assert!(found.stress_worst_curved_mpa > 1.1 * found.stress_worst_mpa);
    }

    #[test]
    fn a_measured_cartridge_has_no_spring() {
        let rig = Design::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap();
        let found = cartridge(&rig, 0);
        assert!(!found.by_geometry && found.spring.is_none());
        // Trimmed at 18.5°, stick at −20°: 38.5° of the 45° to bind.
        assert!((found.bind_margin_worst_deg - 6.5).abs() < 1e-9);
        assert!((found.bind_margin_deg - 25.0).abs() < 1e-9);
    }
}

//! Bodies simple enough for closed forms.

use trimproof_plant::dynamics::{DryFriction, GimbalParams};
use trimproof_plant::rig::MassProperties;

/// A plain pendulum in pitch: a mass that hangs `length_m` below the pivot; roll cannot move it in
/// pitch.
pub fn pendulum(mass_kg: f64, length_m: f64, friction: DryFriction) -> GimbalParams {
    let inertia = mass_kg * length_m * length_m;
    let mass = MassProperties {
        frame_inertia_kg_m2: 0.0,
        frame_mass_kg: 0.0,
        frame_cg_m: [0.0; 3],
        inner_mass_kg: mass_kg,
        inner_cg_m: [0.0, 0.0, length_m],
        inner_inertia_kg_m2: [[inertia, 0.0, 0.0], [0.0, inertia, 0.0], [0.0, 0.0, 1e-6]],
    };
    GimbalParams::new(mass, [friction; 2])
}

/// A weightless rotor in pitch: inertia about the pitch axis only, nothing that gravity could turn.
pub fn wheel(inertia_kg_m2: f64, friction: DryFriction) -> GimbalParams {
    let mass = MassProperties {
        frame_inertia_kg_m2: 0.0,
        frame_mass_kg: 0.0,
        frame_cg_m: [0.0; 3],
        inner_mass_kg: 1.0,
        inner_cg_m: [0.0; 3],
        inner_inertia_kg_m2: [
            [inertia_kg_m2, 0.0, 0.0],
            [0.0, inertia_kg_m2, 0.0],
            [0.0, 0.0, inertia_kg_m2],
        ],
    };
    GimbalParams::new(mass, [friction; 2])
}

/// Pivots without any friction.
pub fn frictionless() -> DryFriction {
    DryFriction {
        coulomb_n_m: 0.0,
        stiction_n_m: 0.0,
        viscous_n_m_s_per_rad: 0.0,
    }
}

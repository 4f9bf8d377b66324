//! The gimbals of tests/data/gimbal_cases.toml, as our law takes them, and one step of our scheme.

use serde::Deserialize;
use trimproof_plant::dynamics::{DryFriction, GimbalParams, GimbalState};
use trimproof_plant::rig::MassProperties;

/// Standard gravity, m/s² (ISO 80000-3).
pub const GRAVITY_M_PER_S2: f64 = 9.806_65;
/// The twin's default stick step, s.
pub const STEP_S: f64 = 1.0e-4;

/// One gimbal with its start, springs to ground and viscous pivots.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    pub name: String,
    /// For the reader of the file.
    #[serde(rename = "why")]
    _why: String,
    pub frame_mass_kg: f64,
    pub frame_cg_m: [f64; 3],
    /// xx, yy, zz, xy, xz, yz about the centre of gravity.
    pub frame_inertia_kg_m2: [f64; 6],
    pub inner_mass_kg: f64,
    pub inner_cg_m: [f64; 3],
    /// xx, yy, zz, xy, xz, yz about the centre of gravity.
    pub inner_inertia_kg_m2: [f64; 6],
    pub spring_n_m_per_rad: [f64; 2],
    pub viscous_n_m_s_per_rad: [f64; 2],
    pub start_rad: [f64; 2],
    pub start_rad_per_s: [f64; 2],
}

/// All cases of the file.
pub fn cases() -> Vec<Case> {
    #[derive(Deserialize)]
    struct File {
        case: Vec<Case>,
    }
    let file: File = toml::from_str(include_str!("../data/gimbal_cases.toml"))
        .expect("the committed cases parse");
    file.case
}

/// A case by its name.
pub fn case(name: &str) -> Case {
    cases()
        .into_iter()
        .find(|case| case.name == name)
        .expect("a case of that name")
}

impl Case {
    /// Mass properties about the pivot, by the parallel-axis theorem.
    pub fn mass(&self) -> MassProperties {
        let [fx, _, fz] = self.frame_cg_m;
        let c = self.inner_cg_m;
        let square = c[0] * c[0] + c[1] * c[1] + c[2] * c[2];
        let own = tensor(self.inner_inertia_kg_m2);
        let about_pivot = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                let unit = if i == j { square } else { 0.0 };
                own[i][j] + self.inner_mass_kg * (unit - c[i] * c[j])
            })
        });
        MassProperties {
            frame_inertia_kg_m2: self.frame_inertia_kg_m2[1]
                + self.frame_mass_kg * (fx * fx + fz * fz),
            frame_mass_kg: self.frame_mass_kg,
            frame_cg_m: self.frame_cg_m,
            inner_mass_kg: self.inner_mass_kg,
            inner_cg_m: self.inner_cg_m,
            inner_inertia_kg_m2: about_pivot,
        }
    }

    /// Our law of this gimbal.
    pub fn params(&self) -> GimbalParams {
        let viscous = |c| DryFriction {
            coulomb_n_m: 0.0,
            stiction_n_m: 0.0,
            viscous_n_m_s_per_rad: c,
        };
        GimbalParams::new(self.mass(), self.viscous_n_m_s_per_rad.map(viscous))
    }

    /// Where it starts.
    pub fn start(&self) -> GimbalState {
        GimbalState {
            angle_rad: self.start_rad,
            rate_rad_per_s: self.start_rad_per_s,
            ..GimbalState::default()
        }
    }
}

/// A symmetric matrix from xx, yy, zz, xy, xz, yz.
pub fn tensor([xx, yy, zz, xy, xz, yz]: [f64; 6]) -> [[f64; 3]; 3] {
    [[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]]
}

/// One drift-kick-drift step as the twin takes it; `torque` is asked at the mid-step angles and
/// rates.
pub fn step(
    params: &GimbalParams,
    state: &mut GimbalState,
    accel: &mut [f64; 2],
    step_s: f64,
    torque: impl FnOnce([f64; 2], [f64; 2]) -> [f64; 2],
) {
    let half = 0.5 * step_s;
    let rate = state.rate_rad_per_s;
    let mid: [f64; 2] = std::array::from_fn(|i| state.angle_rad[i] + half * rate[i]);
    let mid_rate: [f64; 2] = std::array::from_fn(|i| rate[i] + half * accel[i]);
    params.kick(mid, state, torque(mid, mid_rate), step_s);
    for i in 0..2 {
        accel[i] = (state.rate_rad_per_s[i] - rate[i]) / step_s;
        state.angle_rad[i] = mid[i] + half * state.rate_rad_per_s[i];
    }
}

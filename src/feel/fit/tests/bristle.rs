//! Friction with presliding, for tests: the LuGre form, `s` the strain of the bristles.
//!
//! F = σ0 s + σ1 s' + σ2 v, s' = v − σ0 |v| s / g(v), g = Fc + (Fs − Fc) exp(−(v/vs)²). Figures of
//! table I of Canudas de Wit 1995 as republished (docs/model/sources.md): σ0 1e5 N/m, σ1 √1e5
//! N·s/m, σ2 0.4 N·s/m, Fc 1 N, Fs 1.5 N, vs 0.001 m/s. A bearing of radius r that presses `press`
//! times as hard has the torque press·r·F at the angle s/r.

/// Bristles of a bearing, in angles and torques.
#[derive(Clone, Copy, Debug)]
pub struct Bristle {
    /// N·m/rad.
    pub stiffness: f64,
    /// N·m·s/rad.
    pub micro: f64,
    /// N·m.
    pub coulomb: f64,
    /// N·m.
    pub stiction: f64,
    /// rad/s.
    pub stribeck: f64,
    strain: f64,
}

impl Bristle {
    /// Table I on a bearing of this radius, pressed such that sliding friction is `coulomb`. σ2 is
    /// left out: it is damping.
    pub fn table_one(radius_m: f64, coulomb: f64) -> Self {
        // press · r · Fc = coulomb, with Fc = 1 N.
        let press = coulomb / radius_m;
        Self {
            stiffness: press * 1e5 * radius_m * radius_m,
            micro: press * 1e5_f64.sqrt() * radius_m * radius_m,
            coulomb,
            stiction: 1.5 * coulomb,
            stribeck: 0.001 / radius_m,
            strain: 0.0,
        }
    }

    pub fn at_rest(self) -> Self {
        Self {
            strain: 0.0,
            ..self
        }
    }

    /// Held still against a pull with this sign: strained by the sliding friction.
    pub fn strained(self, sign: f64) -> Self {
        Self {
            strain: sign * self.coulomb / self.stiffness,
            ..self
        }
    }

    pub fn steady(&self, rate: f64) -> f64 {
        let share = rate / self.stribeck;
        self.coulomb + (self.stiction - self.coulomb) * libm::exp(-share * share)
    }

    /// Moves at this rate for a while and gives the torque against it, N·m. The strain's equation
    /// is linear where the rate stands.
    pub fn drag(&mut self, rate: f64, for_s: f64) -> f64 {
        if rate == 0.0 {
            return self.stiffness * self.strain;
        }
        let most = self.steady(rate) / self.stiffness * rate.signum();
        let way = rate.abs() * for_s;
        let before = self.strain;
        self.strain = most + (self.strain - most) * libm::exp(-way / most.abs());
        self.stiffness * self.strain + self.micro * (self.strain - before) / for_s
    }
}

/// The published steady values: 1.18434 N at 0.001 m/s, 1.009958 at 0.002, 1.002000 at 0.005, σ2 v
/// included.
#[test]
fn bristles_drag_as_published() {
    for (speed, wanted) in [(0.001, 1.18434), (0.002, 1.009958), (0.005, 1.002)] {
        let mut bristle = Bristle::table_one(1.0, 1.0).at_rest();
        let mut force = 0.0;
        for _ in 0..4000 {
            force = bristle.drag(speed, 1e-4);
        }
        let found = force + 0.4 * speed;
        assert!((found - wanted).abs() < 5e-6, "{speed}: {found}");
    }
}

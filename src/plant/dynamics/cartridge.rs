//! The gradient cartridge: torque between stick arm and trim shaft as a function of deflection.

/// Width of the seat compliance over which the preload builds up past the free play, rad.
///
/// A preloaded spring resting on two seats has no step in its force: the seats and the cable or rod
/// give a little. 2 mrad at a 40 mm arm is 0.08 mm (common practice, no source). It is there
/// without a preload too: then it is so much more free play.
pub const PRELOAD_RAMP_RAD: f64 = 2.0e-3;
/// How much stiffer than its linear rate a cartridge is once its coils touch (common practice, no
/// source).
pub(crate) const BIND_STIFFENING: f64 = 40.0;

/// Torque law of one axis's cartridge: all its springs together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CartridgeParams {
    /// Half width of the free play, rad: no torque within ± this.
    pub free_play_rad: f64,
    /// Breakout torque of the preload, N·m.
    pub breakout_n_m: f64,
    /// Linear rate past the breakout, N·m/rad.
    pub rate_n_m_per_rad: f64,
    /// Deflection at which coils touch, counted from the end of the free play, rad (a rig's
    /// `bind_deg` counts from the middle).
    pub bind_rad: f64,
    /// Damping between stick and trim shaft, N·m·s/rad.
    pub damping_n_m_s_per_rad: f64,
}

impl CartridgeParams {
    /// Spring torque that resists a deflection δ = θ_stick − θ_trim: sign of δ, N·m.
    ///
    /// It acts with this sign on the trim shaft and with the opposite sign on the stick.
    #[inline]
    pub fn spring_n_m(&self, deflection_rad: f64) -> f64 {
        let past = deflection_rad.abs() - self.free_play_rad;
        if past <= 0.0 {
            return 0.0;
        }
        let seat = (past * (1.0 / PRELOAD_RAMP_RAD)).min(1.0);
        let mut torque =
            self.breakout_n_m * seat + self.rate_n_m_per_rad * (past - PRELOAD_RAMP_RAD).max(0.0);
        let bound = past - self.bind_rad;
        if bound > 0.0 {
            torque += BIND_STIFFENING * self.rate_n_m_per_rad * bound;
        }
        if deflection_rad < 0.0 {
            -torque
        } else {
            torque
        }
    }

    /// Energy stored at a deflection, J: the integral of [`Self::spring_n_m`].
    pub fn energy_j(&self, deflection_rad: f64) -> f64 {
        let past = (deflection_rad.abs() - self.free_play_rad).max(0.0);
        let seat = past.min(PRELOAD_RAMP_RAD);
        let line = (past - PRELOAD_RAMP_RAD).max(0.0);
        let bound = (past - self.bind_rad).max(0.0);
        0.5 * self.breakout_n_m * seat * seat / PRELOAD_RAMP_RAD
            + self.breakout_n_m * line
            + 0.5 * self.rate_n_m_per_rad * line * line
            + 0.5 * BIND_STIFFENING * self.rate_n_m_per_rad * bound * bound
    }

    /// Deflection at which the spring torque reaches `torque_n_m`, rad.
    pub fn deflection_rad(&self, torque_n_m: f64) -> f64 {
        let t = torque_n_m.abs();
        let past = if t <= self.breakout_n_m {
            PRELOAD_RAMP_RAD * t / self.breakout_n_m.max(f64::MIN_POSITIVE)
        } else {
            let line = PRELOAD_RAMP_RAD + (t - self.breakout_n_m) / self.rate_n_m_per_rad;
            if line <= self.bind_rad {
                line
            } else {
                let at_bind =
                    self.breakout_n_m + self.rate_n_m_per_rad * (self.bind_rad - PRELOAD_RAMP_RAD);
                self.bind_rad + (t - at_bind) / ((1.0 + BIND_STIFFENING) * self.rate_n_m_per_rad)
            }
        };
        (self.free_play_rad + past).copysign(torque_n_m)
    }
}

//! What stands between hand and held motor: cartridge, drive and weight, as one torque over the
//! stick's angle.

use trimproof_plant::dynamics::{GimbalParams, PRELOAD_RAMP_RAD};
use trimproof_plant::rig::AxisRig;
use trimproof_plant::{Rig, gimbal_params};

/// What is identified of one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Values {
    /// Rate of the cartridge, N·m/rad.
    pub rate: f64,
    /// Breakout torque of the cartridge, N·m.
    pub breakout: f64,
    /// Coulomb friction of the pivot, N·m.
    pub friction: f64,
    /// Half width of the cartridge's free play, rad.
    pub free_play: f64,
    /// Damping on a held shaft, cartridge and pivot together, N·m·s/rad.
    pub damping: f64,
    /// Moment of inertia about the axis, kg·m².
    pub inertia: f64,
}

/// What the rig says of an axis and the fit takes as known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Known {
    /// Half the gear's backlash at the trim shaft, rad.
    pub play: f64,
    /// Give of mesh and held motor at the trim shaft, rad/(N·m).
    pub give: f64,
    /// Torque of the weight is `lean cos θ + weight sin θ`, N·m.
    pub lean: f64,
    /// See `lean`.
    pub weight: f64,
    /// Deflection of the cartridge at which coils touch, free play included, rad.
    pub bind: f64,
    /// Stiction over Coulomb friction, at least 1.
    pub stiction: f64,
    /// Damping of the pivot, N·m·s/rad: what is more is the cartridge's and passes through the
    /// drive.
    pub viscous: f64,
}

impl Values {
    /// As the rig has them.
    pub fn of_rig(rig: &Rig, axis: usize) -> Self {
        let part = rig.axis(axis);
        let cartridge = part.cartridge.cartridge();
        Self {
            rate: cartridge.rate_n_m_per_rad,
            breakout: cartridge.breakout_n_m,
            friction: part.friction.coulomb_n_m,
            free_play: cartridge.free_play_rad,
            damping: cartridge.damping_n_m_s_per_rad + part.friction.viscous_n_m_s_per_rad,
            inertia: rig.stick.mass.properties().axis_inertia_kg_m2(axis),
        }
    }

    /// Torque that resists a deflection from the trimmed position with the motor held, sign of the
    /// deflection, N·m.
    ///
    /// The cartridge's law in series with the drive: its free play and half the backlash add up,
    /// its give and the drive's.
    #[inline]
    pub fn torque(&self, known: &Known, deflection: f64) -> f64 {
        let past = deflection.abs() - (self.free_play + known.play);
        if past <= 0.0 {
            return 0.0;
        }
        let seat = PRELOAD_RAMP_RAD + self.breakout * known.give;
        let torque = if past < seat {
            self.breakout * past / seat
        } else {
            self.breakout + (past - seat) * self.rate / (1.0 + self.rate * known.give)
        };
        if deflection < 0.0 { -torque } else { torque }
    }

    /// Torque of the cartridge alone at its own deflection, and how steep it is there; N·m and
    /// N·m/rad.
    #[inline]
    pub fn cartridge(&self, deflection: f64) -> (f64, f64) {
        let past = deflection.abs() - self.free_play;
        if past <= 0.0 {
            return (0.0, 0.0);
        }
        let (torque, slope) = if past < PRELOAD_RAMP_RAD {
            let slope = self.breakout / PRELOAD_RAMP_RAD;
            (slope * past, slope)
        } else {
            let line = self.rate * (past - PRELOAD_RAMP_RAD);
            (self.breakout + line, self.rate)
        };
        (if deflection < 0.0 { -torque } else { torque }, slope)
    }

    /// How steep the torque is, N·m/rad.
    pub fn slope(&self, known: &Known, deflection: f64) -> f64 {
        let past = deflection.abs() - (self.free_play + known.play);
        let seat = PRELOAD_RAMP_RAD + self.breakout * known.give;
        if past <= 0.0 {
            0.0
        } else if past < seat {
            self.breakout / seat
        } else {
            self.rate / (1.0 + self.rate * known.give)
        }
    }
}

impl Known {
    /// Of one axis of a rig.
    pub fn of_rig(rig: &Rig, axis: usize) -> Self {
        let part = rig.axis(axis);
        let gimbal = gimbal_params(rig);
        let friction = &part.friction;
        Self {
            play: part.drive.backlash_half_rad(),
            give: give(part),
            lean: weight_at(&gimbal, axis, 0.0),
            weight: weight_at(&gimbal, axis, std::f64::consts::FRAC_PI_2),
            bind: part.cartridge.cartridge().bind_rad,
            stiction: if friction.coulomb_n_m > 0.0 {
                friction.stiction_n_m / friction.coulomb_n_m
            } else {
                1.0
            },
            viscous: friction.viscous_n_m_s_per_rad,
        }
    }

    /// Torque of the weight on the stick, N·m.
    #[inline]
    pub fn weight_torque(&self, angle: f64) -> f64 {
        // Taylor's series to the sixth order: 1e-3 of the weight at 60 degrees, where no stick
        // goes, 1e-6 at 25.
        let square = angle * angle;
        let sin = angle * (1.0 - square / 6.0 * (1.0 - square / 20.0));
        let cos = 1.0 - 0.5 * square * (1.0 - square / 12.0 * (1.0 - square / 30.0));
        self.lean * cos + self.weight * sin
    }
}

/// Mesh and magnet of the held motor in series, rad/(N·m) at the trim shaft. The magnet's rate is
/// that of a stepper about its rest: rotor teeth times the torque of the holding current.
fn give(axis: &AxisRig) -> f64 {
    let radius = axis.drive.trim_pitch_radius_m;
    let mesh = axis.drive.mesh_stiffness_n_per_m * radius * radius;
    let ratio = axis.drive.ratio();
    let magnet = f64::from(axis.motor.rotor_teeth)
        * axis.motor.torque_constant_n_m_per_a()
        * axis.driver.hold_a;
    1.0 / mesh + 1.0 / (magnet * ratio * ratio)
}

/// Torque of the weight with the other axis at zero.
fn weight_at(gimbal: &GimbalParams, axis: usize, angle: f64) -> f64 {
    let mut angles = [0.0; 2];
    angles[axis] = angle;
    gimbal.gravity(angles)[axis]
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimproof_plant::dynamics::CartridgeParams;

    fn kittiwake() -> Rig {
        Rig::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap()
    }

    /// Against the plant's own law: cartridge deflection for the torque, plus half the backlash,
    /// plus the drive's give.
    #[test]
    fn the_law_is_the_plants_cartridge_in_series_with_the_drive() {
        let rig = kittiwake();
        let (values, known) = (Values::of_rig(&rig, 0), Known::of_rig(&rig, 0));
        let cartridge = rig.pitch.cartridge.cartridge();
        let plant = CartridgeParams {
            free_play_rad: cartridge.free_play_rad,
            breakout_n_m: cartridge.breakout_n_m,
            rate_n_m_per_rad: cartridge.rate_n_m_per_rad,
            bind_rad: cartridge.bind_rad,
            damping_n_m_s_per_rad: 0.0,
        };
        for torque in [0.1, 0.7, 0.9, 3.0, -0.4, -2.0_f64] {
            let angle = plant.deflection_rad(torque)
                + 60e-6 / 0.036 / 2.0 * torque.signum()
                + known.give * torque;
            let found = values.torque(&known, angle);
            assert!((found - torque).abs() < 1e-9, "{found} {torque}");
        }
        assert_eq!(values.torque(&known, 0.003), 0.0);
    }

    /// By hand: mesh 6e5·0.036² = 777.6 N·m/rad; magnet 50·1.26/(√2·2.8)·3.65·36 = 2090.6 N·m/rad.
    #[test]
    fn the_drive_gives_by_mesh_and_magnet() {
        let known = Known::of_rig(&kittiwake(), 0);
        assert!((known.give - (1.0 / 777.6 + 1.0 / 2090.6)).abs() < 1e-7);
    }

    #[test]
    fn the_weight_follows_the_gimbal() {
        let rig = kittiwake();
        let gimbal = gimbal_params(&rig);
        for axis in 0..2 {
            let known = Known::of_rig(&rig, axis);
            for angle in [-0.4, 0.0, 0.2, 0.35] {
                let wanted = weight_at(&gimbal, axis, angle);
                assert!((known.weight_torque(angle) - wanted).abs() < 1e-6);
            }
        }
    }
}

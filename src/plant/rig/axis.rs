//! The parts of one axis, as they stand in a rig file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::cartridge::CartridgeRig;
use super::check::{RangeChecker, table};

/// One axis of the stick with its cartridge, drive, sensor and stops.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AxisRig {
    /// Friction of the pivot.
    pub friction: FrictionRig,
    /// Gradient cartridge between stick and trim shaft.
    pub cartridge: CartridgeRig,
    /// Spur gear between motor and trim shaft, and the trim shaft itself.
    pub drive: DriveRig,
    /// Two-phase hybrid stepper.
    pub motor: MotorRig,
    /// Chopping driver with a microstep table.
    pub driver: DriverRig,
    /// Angle sensor on the stick and its converter.
    pub sensor: SensorRig,
    /// Mechanical stops.
    pub stops: StopsRig,
}

table! {
    /// Friction of an axis's pivot.
    pub struct FrictionRig {
        /// Sliding (Coulomb) friction torque, N·m.
        coulomb_n_m: f64 = 0.0..=20.0,
        /// Torque that must be overcome to start moving, N·m; not below the sliding friction.
        stiction_n_m: f64 = 0.0..=20.0,
        /// Viscous friction, N·m·s/rad.
        viscous_n_m_s_per_rad: f64 = 0.0..=20.0,
    }
}

table! {
    /// Spur gear from motor to trim shaft. A positive rotor angle is one that turns the trim shaft
    /// forward.
    pub struct DriveRig {
        /// Teeth of the motor's pinion.
        motor_teeth: u32 = 8..=1000,
        /// Teeth of the trim shaft's gear (of the full circle, if it is a sector).
        trim_teeth: u32 = 8..=2000,
        /// Play along the pitch circle with the motor held, from flank to flank, m.
        backlash_m: f64 = 0.0..=0.002,
        /// Pitch radius of the trim shaft's gear, m.
        trim_pitch_radius_m: f64 = 0.005..=0.5,
        /// Stiffness of the mesh along the pitch circle, shafts and bearings included, N/m.
        mesh_stiffness_n_per_m: f64 = 1e4..=2e6,
        /// Damping of the mesh while flanks touch, N·s/m.
        mesh_damping_n_s_per_m: f64 = 0.0..=1000.0,
        /// Share of the mesh torque that passes; the rest is friction of the mesh.
        efficiency: f64 = 0.3..=1.0,
        /// Moment of inertia of trim shaft, gear and the cartridge's body about the shaft, kg·m².
        shaft_inertia_kg_m2: f64 = 1e-5..=0.1,
        /// Dry friction of the trim shaft's bearings, N·m.
        shaft_friction_n_m: f64 = 0.0..=10.0,
    }
}

table! {
    /// Two-phase hybrid stepper with bipolar windings.
    pub struct MotorRig {
        /// Moment of inertia of the rotor, kg·m².
        rotor_inertia_kg_m2: f64 = 1e-7..=0.01,
        /// Teeth of the rotor: 50 make 200 full steps a turn.
        rotor_teeth: u32 = 4..=200,
        /// Holding torque with both phases on at rated current, N·m.
        holding_n_m: f64 = 0.001..=50.0,
        /// Rated current of a phase, both phases on, A.
        rated_a: f64 = 0.05..=20.0,
        /// Peak of the detent torque (windings open), N·m; below the holding torque.
        detent_n_m: f64 = 0.0..=5.0,
        /// Resistance of a winding, ohm.
        resistance_ohm: f64 = 0.02..=500.0,
        /// Inductance of a winding, H.
        inductance_h: f64 = 1e-5..=1.0,
        /// Dry friction of the rotor's bearings, N·m.
        friction_n_m: f64 = 0.0..=1.0,
        /// Viscous friction of the rotor, iron losses included, N·m·s/rad.
        viscous_n_m_s_per_rad: f64 = 0.0..=0.1,
        /// Electrical angle of the rotor when the trim shaft is at zero, degrees.
        zero_deg: f64 = 0.0..=360.0,
    }
}

table! {
    /// Chopping driver: index 0 of its microstep table is both phases at 70.7 % (electrical angle
    /// 45°).
    pub struct DriverRig {
        /// Microsteps a full step; a power of two.
        microsteps: u32 = 1..=256,
        /// Running current, peak of the microstep sinusoid, A.
        run_a: f64 = 0.02..=30.0,
        /// Holding current, peak of the microstep sinusoid, A; not above the running current.
        hold_a: f64 = 0.02..=30.0,
        /// Supply below which the driver switches off and forgets its index, V.
        undervoltage_v: f64 = 3.0..=60.0,
        /// Share of the current that the driver drives by itself once no step pulse has come for
        /// `standstill_after_s` (default 1: it does not reduce it).
        #[serde(default = "default_standstill_share")]
        standstill_share: f64 = 0.0..=1.0,
        /// Time without a step pulse after which it does so, s (default 0.4).
        #[serde(default = "default_standstill_after_s")]
        standstill_after_s: f64 = 0.001..=60.0,
    } and {
        /// Whether the driver has a reset line that puts its microstep index to 0 (default true).
        #[serde(default = "yes")]
        reset_line: bool,
        /// Whether a line chooses between holding and running current (default true); without it
        /// the driver drives its running current whenever it is enabled.
        #[serde(default = "yes")]
        current_line: bool,
        /// Whether the driver goes on counting step pulses while it is disabled (default true).
        #[serde(default = "yes")]
        counts_while_off: bool,
    }
}

/// See [`DriverRig::standstill_share`].
fn default_standstill_share() -> f64 {
    1.0
}

/// See [`DriverRig::standstill_after_s`].
fn default_standstill_after_s() -> f64 {
    0.4
}

fn yes() -> bool {
    true
}

table! {
    /// Angle sensor of the stick and its converter: `min_deg` reads 0, `max_deg` reads full scale.
    /// A sensor whose reading falls as the angle rises has `max_deg` below `min_deg`.
    pub struct SensorRig {
        /// Bits of the converter.
        bits: u32 = 8..=16,
        /// Angle that reads 0, degrees.
        min_deg: f64 = -180.0..=180.0,
        /// Angle that reads full scale (2^bits − 1), degrees; at least 1 degree from `min_deg`.
        max_deg: f64 = -180.0..=180.0,
        /// Error of zero, degrees: added to the angle.
        offset_deg: f64 = -20.0..=20.0,
        /// Error of gain: 0.01 reads 1 % more than the angle.
        gain_error: f64 = -0.2..=0.2,
        /// Noise of a sample, degrees root mean square.
        noise_deg: f64 = 0.0..=5.0,
        /// Age of a reading when the controller gets it, s.
        latency_s: f64 = 0.0..=0.1,
        /// Peak of the non-linearity, degrees: `nonlinearity_deg · sin(2θ)`, the form that a
        /// magnet's misalignment gives.
        nonlinearity_deg: f64 = 0.0..=5.0,
    }
}

table! {
    /// Mechanical stops: the stick's tube meets a pin at each end of its travel.
    pub struct StopsRig {
        /// Stick angle at which the lower stop is met, degrees.
        min_deg: f64 = -60.0..=-1.0,
        /// Stick angle at which the upper stop is met, degrees.
        max_deg: f64 = 1.0..=60.0,
        /// Stiffness of the bumper, N/m.
        stiffness_n_per_m: f64 = 1e3..=1e6,
        /// Rebound speed over impact speed.
        restitution: f64 = 0.0..=1.0,
        /// Height above the pivot at which the stick meets the pin, m.
        height_m: f64 = 0.01..=1.0,
        /// Radius of the pin, m.
        pin_radius_m: f64 = 0.001..=0.05,
        /// Depth at which the buffer is pressed solid, m (default 0.006: half of a buffer 6 mm
        /// thick, and as much again in its mounting; an estimate, no source). Beyond it the stop is
        /// as stiff as 2e6 N/m, or as the buffer if that is stiffer.
        #[serde(default = "default_travel_m")]
        travel_m: f64 = 0.0002..=0.1,
        /// Force that the stop stands up to, N; a run in which it is pressed harder is aborted
        /// (default 10000: a pin of 12 mm of structural steel yields in single shear at 15 kN, 235
        /// MPa / √3 times its area, 235 MPa being the yield strength of S235 in EN 10025-2, table
        /// 7; a third of it off for its mounting, an estimate).
        #[serde(default = "default_strength_n")]
        strength_n: f64 = 100.0..=1e6,
    }
}

/// See [`StopsRig::travel_m`].
fn default_travel_m() -> f64 {
    0.006
}

/// See [`StopsRig::strength_n`].
fn default_strength_n() -> f64 {
    10_000.0
}

impl AxisRig {
    pub(super) fn check(&self, check: &mut RangeChecker<'_>) {
        check.within("friction", |check| {
            self.friction.check_numbers(check);
            let FrictionRig {
                coulomb_n_m,
                stiction_n_m,
                ..
            } = self.friction;
            check.require("stiction_n_m", stiction_n_m >= coulomb_n_m, || {
                format!(
                    "is `{stiction_n_m}`, it must not be below the sliding friction `{coulomb_n_m}`"
                )
            });
        });
        check.within("cartridge", |check| self.cartridge.check(check));
        check.within("drive", |check| self.drive.check_numbers(check));
        check.within("motor", |check| {
            self.motor.check_numbers(check);
            let MotorRig {
                holding_n_m,
                detent_n_m,
                ..
            } = self.motor;
            check.require("detent_n_m", detent_n_m < holding_n_m, || {
                format!("is `{detent_n_m}`, it must be below the holding torque `{holding_n_m}`")
            });
        });
        check.within("driver", |check| {
            self.driver.check_numbers(check);
            let DriverRig {
                microsteps,
                run_a,
                hold_a,
                ..
            } = self.driver;
            check.require("microsteps", microsteps.is_power_of_two(), || {
                format!("is `{microsteps}`, it must be 1, 2, 4, 8, 16, 32, 64, 128 or 256")
            });
            check.require("hold_a", hold_a <= run_a, || {
                format!("is `{hold_a}`, it must not be above the running current `{run_a}`")
            });
        });
        check.within("sensor", |check| {
            self.sensor.check_numbers(check);
            let SensorRig {
                min_deg, max_deg, ..
            } = self.sensor;
            check.require("min_deg", (max_deg - min_deg).abs() >= 1.0, || {
                format!("is `{min_deg}`, it must be at least 1 degree from `max_deg`, which is `{max_deg}`")
            });
        });
        check.within("stops", |check| self.stops.check_numbers(check));
    }
}

//! Figures that follow from a rig's numbers.

use super::{AxisRig, DriveRig, DriverRig, MotorRig, Rig, SensorRig, StopsRig};
use crate::contact::BumperParams;

/// Full steps in one electrical cycle of a two-phase stepper.
const STEPS_A_CYCLE: f64 = 4.0;

impl DriveRig {
    /// Motor turns per turn of the trim shaft.
    pub fn ratio(&self) -> f64 {
        f64::from(self.trim_teeth) / f64::from(self.motor_teeth)
    }

    /// Half width of the backlash at the trim shaft, rad: linear backlash / pitch radius (an arc
    /// over its radius), halved.
    pub fn backlash_half_rad(&self) -> f64 {
        self.backlash_m / self.trim_pitch_radius_m / 2.0
    }
}

impl MotorRig {
    /// Torque constant of one phase, N·m/A: both phases at rated current are √2 of one.
    pub fn torque_constant_n_m_per_a(&self) -> f64 {
        self.holding_n_m / (std::f64::consts::SQRT_2 * self.rated_a)
    }

    /// Full steps a turn.
    pub fn full_steps(&self) -> f64 {
        STEPS_A_CYCLE * f64::from(self.rotor_teeth)
    }

    /// Full step, rad at the rotor.
    pub fn full_step_rad(&self) -> f64 {
        std::f64::consts::TAU / self.full_steps()
    }
}

impl DriverRig {
    /// Microsteps in one electrical cycle.
    pub fn cycle_usteps(&self) -> u32 {
        4 * self.microsteps
    }

    /// Electrical angle that a microstep index asks for, rad. Index 0 is the home position: 45°,
    /// both phases at 70.7 %.
    pub fn electrical_rad(&self, index: i64) -> f64 {
        let within = index.rem_euclid(i64::from(self.cycle_usteps()));
        crate::driver::electrical_rad(within, self.microsteps)
    }
}

impl SensorRig {
    /// Largest reading.
    pub fn full_scale(&self) -> u32 {
        (1_u32 << self.bits) - 1
    }

    /// Size of one count, degrees, whichever way the reading runs.
    pub fn step_deg(&self) -> f64 {
        (self.max_deg - self.min_deg).abs() / f64::from(self.full_scale())
    }

    /// What the sensor's signal stands for at a stick angle: non-linearity, gain error and offset,
    /// no noise; both in degrees.
    pub fn signal_deg(&self, angle_deg: f64) -> f64 {
        let bent = self.nonlinearity_deg * libm::sin(2.0 * angle_deg.to_radians());
        (1.0 + self.gain_error) * (angle_deg + bent) + self.offset_deg
    }

    /// A signal in degrees as a share of the scale, clipped to it.
    pub fn share(&self, signal_deg: f64) -> f64 {
        ((signal_deg - self.min_deg) / (self.max_deg - self.min_deg)).clamp(0.0, 1.0)
    }

    /// Converter counts of a signal in degrees: nearest count, clipped to the scale.
    pub fn counts(&self, signal_deg: f64) -> u16 {
        let full = f64::from(self.full_scale());
        let counts = ((signal_deg - self.min_deg) / (self.max_deg - self.min_deg) * full).round();
        counts.clamp(0.0, full) as u16
    }
}

impl StopsRig {
    /// Stiffness and damping of the buffer, the travel after which it is solid included.
    pub fn bumper(&self) -> BumperParams {
        BumperParams::new(self.stiffness_n_per_m, self.restitution).solid_beyond(self.travel_m)
    }

    /// How deep the buffer is pressed in at most, m: by the force that the stop stands up to.
    pub fn depth_m(&self) -> f64 {
        self.bumper().depth_m(self.strength_n)
    }
}

impl AxisRig {
    /// Full step of the motor seen at the stick, degrees.
    pub fn full_step_deg(&self) -> f64 {
        self.motor.full_step_rad().to_degrees() / self.drive.ratio()
    }

    /// Torque at the trim shaft that the drive holds at a winding current (peak of the sinusoid) in
    /// A, N·m.
    pub fn holding_n_m(&self, current_a: f64) -> f64 {
        self.motor.torque_constant_n_m_per_a()
            * current_a
            * self.drive.ratio()
            * self.drive.efficiency
    }

    /// Torque at the trim shaft that the motor without current, the gear and the shaft put up
    /// against being turned, N·m.
    pub fn drag_n_m(&self) -> f64 {
        (self.motor.detent_n_m + self.motor.friction_n_m) * self.drive.ratio()
            + self.drive.shaft_friction_n_m
    }
}

impl Rig {
    /// Constants for formulas with their names, `rig.` included, in a fixed order: what follows
    /// from the parts.
    pub fn constants(&self) -> Vec<(String, f64)> {
        let tick_s = self.tick_s();
        let mut constants: Vec<(String, f64)> = [
            ("grip_radius_m", self.stick.grip_radius_m),
            ("tick_s", tick_s),
            ("supply_v", self.supply.volts),
            ("supply_source_ohm", self.supply.source_ohm),
            ("supply_bulk_f", self.supply.bulk_f),
            (
                "command_timeout_s",
                f64::from(self.board.command_timeout_ticks) / f64::from(self.board.tick_hz),
            ),
            ("silence_s", self.board.silence_s),
            ("hand_n_per_m", self.hand.stiffness_n_per_m),
        ]
        .into_iter()
        .map(|(name, value)| (format!("rig.{name}"), value))
        .collect();
        for (index, name) in ["pitch", "roll"].into_iter().enumerate() {
            constants.extend(
                self.axis_constants(index)
                    .into_iter()
                    .map(|(key, value)| (format!("rig.{name}.{key}"), value)),
            );
        }
        constants
    }

    fn axis_constants(&self, index: usize) -> Vec<(&'static str, f64)> {
        let axis = self.axis(index);
        let cartridge = axis.cartridge.cartridge();
        let radius_m = self.stick.grip_radius_m;
        let rate_n_m_per_deg = cartridge.rate_n_m_per_rad.to_radians();
        let holding_n_m = axis.holding_n_m(axis.driver.run_a);
        let parked_n_m = axis.holding_n_m(axis.driver.hold_a);
        let mut constants = vec![
            ("free_play_deg", cartridge.free_play_rad.to_degrees()),
            ("breakout_n", cartridge.breakout_n_m / radius_m),
            ("breakout_n_m", cartridge.breakout_n_m),
            ("rate_n_m_per_deg", rate_n_m_per_deg),
            ("gradient_n_per_deg", rate_n_m_per_deg / radius_m),
            ("gear_ratio", axis.drive.ratio()),
            ("full_step_deg", axis.full_step_deg()),
            (
                "microstep_deg",
                axis.full_step_deg() / f64::from(axis.driver.microsteps),
            ),
            ("backlash_deg", axis.drive.backlash_half_rad().to_degrees()),
            ("friction_n_m", axis.friction.coulomb_n_m),
            ("friction_n", axis.friction.coulomb_n_m / radius_m),
            ("stop_min_deg", axis.stops.min_deg),
            ("stop_max_deg", axis.stops.max_deg),
            ("sensor_step_deg", axis.sensor.step_deg()),
            ("sensor_noise_deg", axis.sensor.noise_deg),
            ("holding_n_m", holding_n_m),
            (
                "slip_deflection_deg",
                cartridge.deflection_rad(holding_n_m).to_degrees(),
            ),
            ("parked_holding_n_m", parked_n_m),
            (
                "parked_slip_deflection_deg",
                cartridge.deflection_rad(parked_n_m).to_degrees(),
            ),
        ];
        constants.extend(self.parts_constants(index));
        constants
    }

    /// What an axis is made of: drive, windings, masses, dampers, stops.
    fn parts_constants(&self, index: usize) -> Vec<(&'static str, f64)> {
        let axis = self.axis(index);
        let cartridge = axis.cartridge.cartridge();
        let radius_m = self.stick.grip_radius_m;
        let mass = self.stick.mass.properties();
        let pitch_radius_m = axis.drive.trim_pitch_radius_m;
        let damping_n_m_s_per_rad =
            cartridge.damping_n_m_s_per_rad + axis.friction.viscous_n_m_s_per_rad;
        vec![
            ("run_a", axis.driver.run_a),
            ("hold_a", axis.driver.hold_a),
            ("winding_ohm", axis.motor.resistance_ohm),
            ("undervoltage_v", axis.driver.undervoltage_v),
            ("cycle_deg", STEPS_A_CYCLE * axis.full_step_deg()),
            ("tooth_deg", 360.0 / f64::from(axis.drive.trim_teeth)),
            (
                "mesh_n_m_per_deg",
                (axis.drive.mesh_stiffness_n_per_m * pitch_radius_m * pitch_radius_m).to_radians(),
            ),
            ("efficiency", axis.drive.efficiency),
            ("shaft_friction_n_m", axis.drive.shaft_friction_n_m),
            ("drag_n", axis.drag_n_m() / radius_m),
            ("stiction_n_m", axis.friction.stiction_n_m),
            ("stiction_n", axis.friction.stiction_n_m / radius_m),
            ("damping_n_m_s_per_deg", damping_n_m_s_per_rad.to_radians()),
            (
                "damping_n_s_per_deg",
                damping_n_m_s_per_rad.to_radians() / radius_m,
            ),
            (
                "weight_n_per_deg",
                mass.overturning_n_m_per_rad(index).to_radians() / radius_m,
            ),
            ("lean_n", mass.signed_lean_n_m(index) / radius_m),
            ("inertia_kg_m2", mass.axis_inertia_kg_m2(index)),
            ("springs", f64::from(cartridge.springs)),
            ("stop_n_per_m", axis.stops.stiffness_n_per_m),
            ("stop_height_m", axis.stops.height_m),
            ("sensor_latency_s", axis.sensor.latency_s),
        ]
    }
}

//! What an engineer would ask about a rig that is valid but may not work well.

use super::{RigFile, axis_of, estimated_deg};
use trimproof_controller::{AxisSettings, Settings};

/// Holding torque over cartridge torque from the middle to a stop, at least.
const HOLDING_MARGIN: f64 = 1.5;
/// Breakout over what gravity asks at a soft limit, at least.
const GRAVITY_MARGIN: f64 = 1.5;

impl RigFile {
    /// Everything about the rig that looks unintended: controller settings that do not fit the
    /// parts, and parts that do not fit each other. Empty for a sound rig.
    pub fn advice(&self) -> Vec<String> {
        let mut advice = Vec::new();
        for (index, name) in ["pitch", "roll"].into_iter().enumerate() {
            let mut notes = Vec::new();
            if let Some(settings) = &self.controller {
                notes.extend(self.settings_notes(index, settings));
            }
            notes.extend(self.parts_notes(index));
            if let Some(settings) = self.axis_settings(index) {
                notes.extend(self.limits_notes(index, settings));
            }
            advice.extend(notes.into_iter().map(|note| format!("{name}: {note}")));
        }
        advice
    }

    /// Settings against parts.
    fn settings_notes(&self, index: usize, controller: &Settings) -> Vec<String> {
        let (axis, settings) = (self.axis(index), axis_of(controller, index));
        let mut notes = Vec::new();
        for (key, set, built) in [
            (
                "full_steps_per_rev",
                u32::from(settings.full_steps_per_rev),
                4 * axis.motor.rotor_teeth,
            ),
            (
                "microsteps",
                u32::from(settings.microsteps),
                axis.driver.microsteps,
            ),
            (
                "motor_teeth",
                u32::from(settings.motor_teeth),
                axis.drive.motor_teeth,
            ),
            (
                "trim_teeth",
                u32::from(settings.trim_teeth),
                axis.drive.trim_teeth,
            ),
        ] {
            if set != built {
                notes.push(format!(
                    "the controller's `{key}` is `{set}`, the rig's is `{built}`"
                ));
            }
        }
        let phase_deg = axis
            .driver
            .electrical_rad(i64::from(settings.phase_zero_usteps))
            .to_degrees();
        let off_deg = (phase_deg - axis.motor.zero_deg + 180.0).rem_euclid(360.0) - 180.0;
        let half_ustep_deg = 45.0 / f64::from(axis.driver.microsteps);
        if off_deg.abs() > half_ustep_deg * (1.0 + 1e-9) {
            notes.push(format!(
                "the controller's `phase_zero_usteps` stands for `{phase_deg:.2}` electrical degrees, the motor's `zero_deg` is `{}`",
                axis.motor.zero_deg
            ));
        }
        let band_deg = f64::from(settings.position_band_mdeg) / 1000.0;
        for place_mdeg in [settings.soft_min_mdeg, 0, settings.soft_max_mdeg] {
            let angle_deg = f64::from(place_mdeg) / 1000.0;
            let error_deg = estimated_deg(&axis.sensor, settings, angle_deg) - angle_deg;
            if error_deg.abs() > band_deg / 2.0 {
                notes.push(format!(
                    "the controller takes a stick at `{angle_deg}` degrees to be off by `{error_deg:.3}` degrees, more than half the position band"
                ));
            }
        }
        let (low, high) = (axis.stops.min_deg, axis.stops.max_deg);
        let (soft_low, soft_high) = (
            f64::from(settings.soft_min_mdeg) / 1000.0,
            f64::from(settings.soft_max_mdeg) / 1000.0,
        );
        if soft_low <= low || soft_high >= high {
            notes.push(format!(
                "the soft limits `{soft_low}` to `{soft_high}` degrees are not inside the stops `{low}` to `{high}`"
            ));
        }
        let valid = settings.sensor_min_counts..=settings.sensor_max_counts;
        for stop_deg in [low, high] {
            let counts = axis.sensor.counts(axis.sensor.signal_deg(stop_deg));
            if !valid.contains(&counts) {
                notes.push(format!(
                    "the sensor reads `{counts}` at the stop `{stop_deg}` degrees, outside the valid readings"
                ));
            }
        }
        let (least_v, undervoltage_v) = (
            f64::from(controller.supply_lost_mv) / 1000.0,
            axis.driver.undervoltage_v,
        );
        if least_v <= undervoltage_v {
            notes.push(format!(
                "the controller takes the position for lost below `{least_v}` V, the driver forgets it already at `{undervoltage_v}` V"
            ));
        }
        notes
    }

    /// Parts against each other.
    fn parts_notes(&self, index: usize) -> Vec<String> {
        let axis = self.axis(index);
        let cartridge = axis.cartridge.cartridge();
        let mut notes = Vec::new();
        let throw_deg = axis.stops.max_deg.max(-axis.stops.min_deg);
        let load_n_m = cartridge.torque_n_m(throw_deg.to_radians());
        for (current, current_a) in [
            ("running", axis.driver.run_a),
            ("holding", axis.driver.hold_a),
        ] {
            let holding_n_m = axis.holding_n_m(current_a);
            if holding_n_m < HOLDING_MARGIN * load_n_m {
                notes.push(format!(
                    "at {current} current the drive holds `{holding_n_m:.2}` N·m, the cartridge at a stop asks `{load_n_m:.2}`; a factor of {HOLDING_MARGIN} is wanted"
                ));
            }
        }
        if axis.driver.run_a > axis.motor.rated_a * std::f64::consts::SQRT_2 {
            notes.push(format!(
                "running current `{}` A peak is above √2 times the rated `{}` A",
                axis.driver.run_a, axis.motor.rated_a
            ));
        }
        let drag_n_m = axis.drag_n_m();
        if drag_n_m > 0.5 * cartridge.breakout_n_m {
            notes.push(format!(
                "the unpowered drive drags with `{drag_n_m:.3}` N·m, more than half the breakout `{:.3}`",
                cartridge.breakout_n_m
            ));
        }
        // While released the trim shaft trails the stick by play and backlash; the motor must catch
        // in the right cycle.
        let play_deg =
            cartridge.free_play_rad.to_degrees() + axis.drive.backlash_half_rad().to_degrees();
        if play_deg > axis.full_step_deg() {
            notes.push(format!(
                "free play and backlash, `{play_deg:.3}` degrees, are more than one full step, `{:.3}` degrees",
                axis.full_step_deg()
            ));
        }
        notes
    }

    /// Where the controller lets the stick go, against parts.
    fn limits_notes(&self, index: usize, settings: &AxisSettings) -> Vec<String> {
        let axis = self.axis(index);
        let cartridge = axis.cartridge.cartridge();
        let play_deg =
            cartridge.free_play_rad.to_degrees() + axis.drive.backlash_half_rad().to_degrees();
        let mut notes = Vec::new();
        let soft_mdeg = settings.soft_max_mdeg.max(-settings.soft_min_mdeg);
        let unbalance_n_m = self.stick.mass.properties().overturning_n_m_per_rad(index)
            * libm::sin((f64::from(soft_mdeg) / 1000.0).to_radians());
        let wanted_n_m = GRAVITY_MARGIN * unbalance_n_m.abs() + axis.friction.coulomb_n_m;
        if cartridge.breakout_n_m < wanted_n_m {
            notes.push(format!(
                "the breakout `{:.3}` N·m is below `{wanted_n_m:.3}`, {GRAVITY_MARGIN} times the weight's torque at a soft limit plus friction: hands off, the stick may sag",
                cartridge.breakout_n_m
            ));
        }
        let falling_n_m = unbalance_n_m.abs() + self.stick.mass.properties().lean_n_m(index);
        if falling_n_m > axis.friction.coulomb_n_m {
            notes.push(format!(
                "the weight's torque at a soft limit, `{falling_n_m:.3}` N·m with the lean, is above the pivot's sliding friction `{}`: let go limp there, the stick may creep away",
                axis.friction.coulomb_n_m
            ));
        }
        let increment_deg = f64::from(settings.nudge_increment_mdeg) / 1000.0;
        if increment_deg <= 2.0 * play_deg {
            notes.push(format!(
                "`nudge_increment_mdeg` is `{increment_deg}` degrees, free play and backlash there and back are `{:.3}`: a tap back moves nothing",
                2.0 * play_deg
            ));
        }
        let deflection_deg = f64::from(settings.deflection_max_mdeg) / 1000.0;
        let pushed_n_m = cartridge.torque_n_m(deflection_deg.to_radians());
        if pushed_n_m > axis.holding_n_m(axis.driver.run_a) {
            notes.push(format!(
                "`deflection_max_mdeg` allows `{pushed_n_m:.2}` N·m on a drive that holds `{:.2}`",
                axis.holding_n_m(axis.driver.run_a)
            ));
        }
        notes
    }
}

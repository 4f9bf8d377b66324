//! What a fault does to the twin.

use crate::fault::{AxisName, Coil, FaultKind, SwitchName};
use crate::params::cartridge_params;
use crate::sensor::SensorFaults;
use crate::switch::SwitchFaults;
use crate::twin::{DriveAxis, Plant};

impl Plant {
    /// Breaks something (`on`) or mends it. Faults of the controller and of the link are the
    /// harness's own and change nothing here; a slipped gear cannot be mended.
    pub fn set_fault(&mut self, fault: &FaultKind, on: bool) {
        match fault {
            FaultKind::SpringBroken { axis, count } => {
                self.with_account(|plant| {
                    let axis = &mut plant.axis[axis.index()];
                    axis.broken_springs = if on {
                        axis.broken_springs.saturating_add(*count)
                    } else {
                        axis.broken_springs.saturating_sub(*count)
                    };
                    let left = axis.cartridge.with_broken(axis.broken_springs);
                    axis.params.cartridge = cartridge_params(&left);
                    axis.reciprocals = axis.params.reciprocals();
                });
            }
            FaultKind::LeadBroken { axis, coil } => {
                self.axis[axis.index()]
                    .driver
                    .set_broken(if *coil == Coil::A { 0 } else { 1 }, on);
            }
            FaultKind::DriverDead { axis } => self.axis[axis.index()].driver.set_dead(on),
            FaultKind::GearSlip { axis, teeth } => {
                if on {
                    self.with_account(|plant| plant.axis[axis.index()].slip_teeth(*teeth));
                }
            }
            FaultKind::SwitchStuck { switch, closed } => {
                self.mend_switch(*switch, |faults| faults.stuck = on.then_some(*closed));
            }
            FaultKind::SwitchBounce { switch, pattern_s } => {
                self.mend_switch(*switch, |faults| {
                    faults.bounce_s = on.then(|| pattern_s.clone())
                });
            }
            FaultKind::SensorOpen { axis } => self.mend_sensor(*axis, |faults| faults.open = on),
            FaultKind::SensorShort { axis } => self.mend_sensor(*axis, |faults| faults.short = on),
            FaultKind::SensorStuck { axis } => self.mend_sensor(*axis, |faults| faults.stuck = on),
            FaultKind::SensorJump { axis, by_deg } => {
                self.mend_sensor(*axis, |faults| {
                    faults.jump_deg += if on { *by_deg } else { -by_deg }
                });
            }
            FaultKind::SensorNoise { axis, rms_deg } => {
                self.mend_sensor(*axis, |faults| faults.noise_deg = on.then_some(*rms_deg));
            }
            FaultKind::ControllerReset {}
            | FaultKind::LinkLoss {}
            | FaultKind::LinkCorruption { .. } => {}
        }
    }

    fn mend_sensor(&mut self, axis: AxisName, change: impl FnOnce(&mut SensorFaults)) {
        let sensor = &mut self.axis[axis.index()].sensor;
        let mut faults = sensor.faults();
        change(&mut faults);
        sensor.set_faults(faults);
    }

    fn mend_switch(&mut self, name: SwitchName, change: impl FnOnce(&mut SwitchFaults)) {
        let switch = &mut self.switches[name.index()];
        let mut faults = switch.faults().clone();
        change(&mut faults);
        switch.set_faults(faults);
    }
}

impl DriveAxis {
    /// The trim shaft jumps over teeth of its gear: shaft and mesh shift together, the motor stays.
    fn slip_teeth(&mut self, teeth: i32) {
        let jump = f64::from(teeth) * self.tooth_rad;
        self.train.shaft_rad += jump;
        self.train.slipped_rad += jump;
    }
}

//! The inputs of the drivers, changed at any instant by whoever drives them: what a board's pins do.

use trimproof_io::{AXES, CurrentLevel};

use crate::dynamics::TrainDrive;
use crate::sensor::AngleSensor;
use crate::twin::Plant;

/// A change of one driver's inputs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriverEdge {
    /// Stick step of the stretch at whose start it acts, from 0.
    pub step: u32,
    /// Axis: 0 is pitch, 1 is roll.
    pub axis: usize,
    /// What changes.
    pub input: DriverInput,
}

/// What changes at a driver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DriverInput {
    /// A step pulse that moves the index by so many microsteps of the driver's table, forward where
    /// positive.
    Step(i32),
    /// The enable line; `false` leaves the windings open.
    Enable(bool),
    /// The line that chooses the current.
    Current(CurrentLevel),
    /// The reset line, pulled.
    Reset,
}

impl Plant {
    /// Samples sensors every so many periods of the generator from now on, as a board without ticks
    /// may read them at any time; a latency stays what it is.
    ///
    /// To be called before the first sample.
    pub fn sample_every(&mut self, periods: u32) {
        let interval_s = f64::from(periods) / f64::from(self.periods) * self.tick_s;
        for axis in &mut self.axis {
            let faults = axis.sensor.faults();
            axis.sensor = AngleSensor::new(&axis.sensor_rig, interval_s, axis.sensor_seed);
            axis.sensor.set_faults(faults);
        }
    }

    /// Puts these changes on the drivers' lines in the middle of a stretch; whether a drive has
    /// come on or gone off.
    pub(crate) fn change_lines(
        &mut self,
        edges: &[DriverEdge],
        drive: &mut [TrainDrive; AXES],
    ) -> bool {
        let mut has_switched = false;
        for (index, (axis, drive)) in self.axis.iter_mut().zip(drive).enumerate() {
            let mut is_changed = false;
            for edge in edges.iter().filter(|edge| edge.axis == index) {
                match edge.input {
                    DriverInput::Step(microsteps) => axis.driver.move_by(microsteps),
                    DriverInput::Enable(on) => axis.driver.set_enable(on),
                    DriverInput::Current(level) => axis.driver.set_level(level),
                    DriverInput::Reset => axis.driver.home(),
                }
                has_switched |= axis.note_engagement();
                is_changed = true;
            }
            if is_changed {
                axis.standstill = None;
                drive.phase = axis.driver.phases();
            }
        }
        has_switched
    }
}

//! Samples and commands as they travel: switches as bits, neighbouring angles as differences.

use crate::message::{Command, Sample};
use serde::{Deserialize, Serialize};
use trimproof_controller::{
    AXES, AxisOutputs, CurrentLevel, Fault, Faults, Inputs, Outputs, State, Switches,
};

/// A sample as it travels.
#[derive(Serialize, Deserialize)]
pub(crate) struct PackedSample {
    run: u8,
    tick: u32,
    sensor_counts: [u16; AXES],
    /// Bit 0 release, 1 hat fore, 2 hat aft, 3 hat left, 4 hat right, 5 force trim.
    switches: u8,
    supply_mv: u16,
}

/// A command as it travels.
#[derive(Serialize, Deserialize)]
pub(crate) struct PackedCommand {
    run: u8,
    tick: u16,
    /// Position in `State::ALL`.
    state: u8,
    /// Bit n for `Fault::ALL[n]`.
    faults: u16,
    axis: [PackedAxis; AXES],
}

#[derive(Serialize, Deserialize)]
struct PackedAxis {
    /// Bit 0 enable, 1 home, 2 and 3 the current: 0 off, 1 hold, 2 run.
    lines: u8,
    step_rate: i32,
    joystick: i16,
    stick_mdeg: i32,
    /// Drive less stick, modulo 2^32.
    drive_less_stick: i32,
    /// Reference less drive, modulo 2^32.
    reference_less_drive: i32,
}

impl From<&Sample> for PackedSample {
    fn from(sample: &Sample) -> Self {
        let Inputs {
            tick,
            sensor_counts,
            switches,
            supply_mv,
        } = sample.inputs;
        let Switches {
            release,
            hat_fore,
            hat_aft,
            hat_left,
            hat_right,
            force_trim,
        } = switches;
        let bits = [release, hat_fore, hat_aft, hat_left, hat_right, force_trim];
        Self {
            run: sample.run,
            tick,
            sensor_counts,
            switches: packed(bits),
            supply_mv,
        }
    }
}

impl PackedSample {
    /// The sample, if it is one.
    pub(crate) fn unpack(&self) -> Option<Sample> {
        let [
            release,
            hat_fore,
            hat_aft,
            hat_left,
            hat_right,
            force_trim,
            unused,
            other,
        ] = unpacked(self.switches);
        if unused || other {
            return None;
        }
        Some(Sample {
            run: self.run,
            inputs: Inputs {
                tick: self.tick,
                sensor_counts: self.sensor_counts,
                switches: Switches {
                    release,
                    hat_fore,
                    hat_aft,
                    hat_left,
                    hat_right,
                    force_trim,
                },
                supply_mv: self.supply_mv,
            },
        })
    }
}

impl From<&Command> for PackedCommand {
    fn from(command: &Command) -> Self {
        let Outputs {
            axis,
            state,
            faults,
        } = command.outputs;
        Self {
            run: command.run,
            tick: command.tick,
            state: State::ALL.iter().position(|one| *one == state).unwrap_or(0) as u8,
            faults: faults.bits(),
            axis: axis.map(PackedAxis::of),
        }
    }
}

impl PackedCommand {
    /// The command, if it is one.
    pub(crate) fn unpack(&self) -> Option<Command> {
        let mut faults = Faults::default();
        for fault in Fault::ALL {
            faults.set(fault, self.faults & (1 << fault as u16) != 0);
        }
        if faults.bits() != self.faults {
            return None;
        }
        let [pitch, roll] = &self.axis;
        Some(Command {
            run: self.run,
            tick: self.tick,
            outputs: Outputs {
                axis: [pitch.unpack()?, roll.unpack()?],
                state: *State::ALL.get(usize::from(self.state))?,
                faults,
            },
        })
    }
}

impl PackedAxis {
    fn of(axis: AxisOutputs) -> Self {
        let AxisOutputs {
            enable,
            home,
            step_rate,
            current,
            joystick,
            stick_mdeg,
            reference_mdeg,
            drive_mdeg,
        } = axis;
        let current = match current {
            CurrentLevel::Off => 0,
            CurrentLevel::Hold => 1,
            CurrentLevel::Run => 2,
        };
        Self {
            lines: packed([enable, home]) | (current << 2),
            step_rate,
            joystick,
            stick_mdeg,
            drive_less_stick: drive_mdeg.wrapping_sub(stick_mdeg),
            reference_less_drive: reference_mdeg.wrapping_sub(drive_mdeg),
        }
    }

    fn unpack(&self) -> Option<AxisOutputs> {
        let [enable, home, ..] = unpacked(self.lines);
        let drive_mdeg = self.stick_mdeg.wrapping_add(self.drive_less_stick);
        Some(AxisOutputs {
            enable,
            home,
            step_rate: self.step_rate,
            current: match self.lines >> 2 {
                0 => CurrentLevel::Off,
                1 => CurrentLevel::Hold,
                2 => CurrentLevel::Run,
                _ => return None,
            },
            joystick: self.joystick,
            stick_mdeg: self.stick_mdeg,
            reference_mdeg: drive_mdeg.wrapping_add(self.reference_less_drive),
            drive_mdeg,
        })
    }
}

/// Bits of a byte, the first the least.
fn packed<const N: usize>(bits: [bool; N]) -> u8 {
    bits.iter()
        .enumerate()
        .fold(0, |byte, (place, bit)| byte | (u8::from(*bit) << place))
}

fn unpacked(byte: u8) -> [bool; 8] {
    core::array::from_fn(|place| byte & (1 << place) != 0)
}

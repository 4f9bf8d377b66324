//! Samples and commands as they travel: switches and lines as bits, neighbouring angles as
//! differences, and what is seldom small (tick, counts, millivolts, joystick) in fixed size, least
//! byte first. So a tick takes at most 64 bytes both ways, frames included
//! (`src/wire/tests/bytes.rs`).

use crate::message::{Sample, TickCommand};
use serde::{Deserialize, Serialize};
use trimproof_io as io;
use trimproof_io::{
    AXES, AxisCommand, AxisTelemetry, CurrentLevel, Fault, Faults, Inputs, Outputs, PITCH, ROLL,
    State, Switches, Telemetry,
};

/// Bit where the state begins in `PackedCommand::state_and_faults`.
const STATE_BIT: usize = 13;

const _: () = assert!(Fault::ALL.len() <= STATE_BIT && State::ALL.len() <= 8);

/// A sample as it travels.
#[derive(Serialize, Deserialize)]
struct PackedSample {
    run: u8,
    #[serde(with = "postcard::fixint::le")]
    tick: u32,
    #[serde(with = "postcard::fixint::le")]
    pitch_counts: u16,
    #[serde(with = "postcard::fixint::le")]
    roll_counts: u16,
    /// Bit 0 release, 1 hat fore, 2 hat aft, 3 hat left, 4 hat right, 5 force trim.
    switches: u8,
    #[serde(with = "postcard::fixint::le")]
    supply_mv: u16,
}

/// A command as it travels.
#[derive(Serialize, Deserialize)]
struct PackedCommand {
    run: u8,
    #[serde(with = "postcard::fixint::le")]
    tick: u16,
    /// Bit n, up to 12, for `Fault::ALL[n]`; bits 13 to 15: position in `State::ALL`.
    #[serde(with = "postcard::fixint::le")]
    state_and_faults: u16,
    /// Bit 0 enable, 1 home, 2 and 3 the current (0 off, 1 hold, 2 run) of pitch; bits 4 to 7 the
    /// same of roll.
    lines: u8,
    axis: [PackedAxis; AXES],
}

#[derive(Serialize, Deserialize)]
struct PackedAxis {
    step_rate: i32,
    #[serde(with = "postcard::fixint::le")]
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
            pitch_counts: sensor_counts[PITCH],
            roll_counts: sensor_counts[ROLL],
            switches: packed(bits),
            supply_mv,
        }
    }
}

impl PackedSample {
    /// The sample, if it is one.
    fn unpack(&self) -> Option<Sample> {
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
                sensor_counts: [self.pitch_counts, self.roll_counts],
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

impl Serialize for Sample {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        PackedSample::from(self).serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Sample {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        PackedSample::deserialize(deserializer)?
            .unpack()
            .ok_or_else(|| serde::de::Error::custom("no sample"))
    }
}

impl From<&TickCommand> for PackedCommand {
    fn from(command: &TickCommand) -> Self {
        let Outputs {
            command: io::Command { axis },
            telemetry,
        } = command.outputs;
        let state = State::ALL
            .iter()
            .position(|one| *one == telemetry.state)
            .unwrap_or(0) as u16;
        let [pitch, roll] = axis.map(|axis| lines_of(&axis));
        let [pitch_reported, roll_reported] = telemetry.axis;
        let [pitch_asked, roll_asked] = axis;
        Self {
            run: command.run,
            tick: command.tick,
            state_and_faults: telemetry.faults.bits() | (state << STATE_BIT),
            lines: pitch | (roll << 4),
            axis: [
                PackedAxis::of(pitch_asked, pitch_reported),
                PackedAxis::of(roll_asked, roll_reported),
            ],
        }
    }
}

impl PackedCommand {
    /// The command, if it is one.
    fn unpack(&self) -> Option<TickCommand> {
        let mut faults = Faults::default();
        for fault in Fault::ALL {
            faults.set(fault, self.state_and_faults & (1 << fault as u16) != 0);
        }
        if faults.bits() != self.state_and_faults & ((1 << STATE_BIT) - 1) {
            return None;
        }
        let [pitch, roll] = &self.axis;
        let (pitch, pitch_reported) = pitch.unpack(self.lines & 15)?;
        let (roll, roll_reported) = roll.unpack(self.lines >> 4)?;
        Some(TickCommand {
            run: self.run,
            tick: self.tick,
            outputs: Outputs {
                command: io::Command {
                    axis: [pitch, roll],
                },
                telemetry: Telemetry {
                    axis: [pitch_reported, roll_reported],
                    state: *State::ALL.get(usize::from(self.state_and_faults >> STATE_BIT))?,
                    faults,
                },
            },
        })
    }
}

impl Serialize for TickCommand {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        PackedCommand::from(self).serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for TickCommand {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        PackedCommand::deserialize(deserializer)?
            .unpack()
            .ok_or_else(|| serde::de::Error::custom("no command"))
    }
}

impl PackedAxis {
    fn of(asked: AxisCommand, reported: AxisTelemetry) -> Self {
        let AxisCommand {
            enable: _,
            home: _,
            step_rate,
            current: _,
            joystick,
        } = asked;
        let AxisTelemetry {
            stick_mdeg,
            reference_mdeg,
            drive_mdeg,
        } = reported;
        Self {
            step_rate,
            joystick,
            stick_mdeg,
            drive_less_stick: drive_mdeg.wrapping_sub(stick_mdeg),
            reference_less_drive: reference_mdeg.wrapping_sub(drive_mdeg),
        }
    }

    fn unpack(&self, lines: u8) -> Option<(AxisCommand, AxisTelemetry)> {
        // -32767 to 32767: a joystick is as long to one side as to the other.
        if self.joystick == i16::MIN {
            return None;
        }
        let [enable, home, ..] = unpacked(lines);
        let drive_mdeg = self.stick_mdeg.wrapping_add(self.drive_less_stick);
        let asked = AxisCommand {
            enable,
            home,
            step_rate: self.step_rate,
            current: match lines >> 2 {
                0 => CurrentLevel::Off,
                1 => CurrentLevel::Hold,
                2 => CurrentLevel::Run,
                _ => return None,
            },
            joystick: self.joystick,
        };
        let reported = AxisTelemetry {
            stick_mdeg: self.stick_mdeg,
            reference_mdeg: drive_mdeg.wrapping_add(self.reference_less_drive),
            drive_mdeg,
        };
        Some((asked, reported))
    }
}

/// The four bits of an axis.
fn lines_of(axis: &AxisCommand) -> u8 {
    let current = match axis.current {
        CurrentLevel::Off => 0,
        CurrentLevel::Hold => 1,
        CurrentLevel::Run => 2,
    };
    packed([axis.enable, axis.home]) | (current << 2)
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

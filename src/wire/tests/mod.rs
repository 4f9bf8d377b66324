//! The protocol against published vectors, its own document, and what a link does to frames.

mod bytes;
mod damage;
mod document;
mod published;
mod round_trip;
mod vectors;

use crate::{Decoder, FRAME_MAX, FrameError, encode};
use proptest::prelude::*;
use serde::{Serialize, de::DeserializeOwned};
use trimproof_controller::{AxisSettings, Settings};
use trimproof_io::{
    AXES, AxisCommand, AxisTelemetry, CurrentLevel, Fault, Faults, Inputs, Outputs, State,
    Switches, Telemetry,
};

/// Outputs of both axes from what each asks for and reports.
fn joined(axes: [(AxisCommand, AxisTelemetry); AXES], state: State, faults: Faults) -> Outputs {
    Outputs {
        command: trimproof_io::Command {
            axis: axes.map(|(asked, _)| asked),
        },
        telemetry: Telemetry {
            axis: axes.map(|(_, reported)| reported),
            state,
            faults,
        },
    }
}

/// The frame of a message.
fn frame_of<T: Serialize>(message: &T) -> Vec<u8> {
    let mut frame = [0; FRAME_MAX];
    let length = encode(message, &mut frame).unwrap();
    frame[..length].to_vec()
}

/// Everything that a decoder makes of these bytes.
fn all_of<T: DeserializeOwned>(decoder: &mut Decoder, bytes: &[u8]) -> Vec<Result<T, FrameError>> {
    bytes
        .iter()
        .filter_map(|byte| decoder.take(*byte))
        .collect()
}

/// What a new decoder makes of these bytes.
fn read<T: DeserializeOwned>(bytes: &[u8]) -> Vec<Result<T, FrameError>> {
    all_of(&mut Decoder::new(), bytes)
}

/// Bytes as two hexadecimal digits each.
fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Settings that take the most bytes: every varint at its longest.
fn longest_settings() -> Settings {
    let axis = AxisSettings {
        sensor_zero_counts: u16::MAX,
        sensor_span_counts: u16::MAX,
        sensor_span_mdeg: i32::MIN,
        sensor_min_counts: u16::MAX,
        sensor_max_counts: u16::MAX,
        sensor_rate_max_mdeg_per_s: i32::MIN,
        sensor_bad_ms: u16::MAX,
        sensor_stuck_travel_mdeg: i32::MIN,
        filter_shift: u8::MAX,
        full_steps_per_rev: u16::MAX,
        microsteps: u16::MAX,
        motor_teeth: u16::MAX,
        trim_teeth: u16::MAX,
        phase_zero_usteps: u16::MAX,
        soft_min_mdeg: i32::MIN,
        soft_max_mdeg: i32::MIN,
        glide_rate_mdeg_per_s: i32::MIN,
        nudge_rate_mdeg_per_s: i32::MIN,
        accel_mdeg_per_s2: i32::MIN,
        nudge_increment_mdeg: i32::MIN,
        hold_on_mdeg: i32::MIN,
        hold_off_ms: u16::MAX,
        deflection_max_mdeg: i32::MIN,
        slip_deflection_mdeg: i32::MIN,
        position_band_mdeg: i32::MIN,
        position_settle_ms: u16::MAX,
        position_doubt_ms: u16::MAX,
        joystick_full_mdeg: i32::MIN,
    };
    Settings {
        tick_hz: u16::MAX,
        generator_hz: u16::MAX,
        supply_min_mv: u16::MAX,
        supply_lost_mv: u16::MAX,
        supply_steady_ms: u16::MAX,
        debounce_press_ms: u16::MAX,
        debounce_let_go_ms: u16::MAX,
        hat_hold_delay_ms: u16::MAX,
        hat_stuck_ms: u32::MAX,
        release_stuck_ms: u32::MAX,
        hat_conflict_ms: u16::MAX,
        command_timeout_ticks: u16::MAX,
        ticks_lost_max: u16::MAX,
        pitch: axis,
        roll: axis,
    }
}

/// Settings with any value in any field, allowed or not.
fn any_settings() -> impl Strategy<Value = Settings> {
    (
        any::<[u16; 11]>(),
        any::<[u32; 2]>(),
        any_axis_settings(),
        any_axis_settings(),
    )
        .prop_map(|(short, long, pitch, roll)| Settings {
            tick_hz: short[0],
            generator_hz: short[1],
            supply_min_mv: short[2],
            supply_lost_mv: short[3],
            supply_steady_ms: short[4],
            debounce_press_ms: short[5],
            debounce_let_go_ms: short[6],
            hat_hold_delay_ms: short[7],
            hat_stuck_ms: long[0],
            release_stuck_ms: long[1],
            hat_conflict_ms: short[8],
            command_timeout_ticks: short[9],
            ticks_lost_max: short[10],
            pitch,
            roll,
        })
}

fn any_axis_settings() -> impl Strategy<Value = AxisSettings> {
    (any::<[u16; 13]>(), any::<[i32; 14]>(), any::<u8>()).prop_map(|(short, long, filter_shift)| {
        AxisSettings {
            sensor_zero_counts: short[0],
            sensor_span_counts: short[1],
            sensor_span_mdeg: long[0],
            sensor_min_counts: short[2],
            sensor_max_counts: short[3],
            sensor_rate_max_mdeg_per_s: long[1],
            sensor_bad_ms: short[4],
            sensor_stuck_travel_mdeg: long[2],
            filter_shift,
            full_steps_per_rev: short[5],
            microsteps: short[6],
            motor_teeth: short[7],
            trim_teeth: short[8],
            phase_zero_usteps: short[9],
            soft_min_mdeg: long[3],
            soft_max_mdeg: long[4],
            glide_rate_mdeg_per_s: long[5],
            nudge_rate_mdeg_per_s: long[6],
            accel_mdeg_per_s2: long[7],
            nudge_increment_mdeg: long[8],
            hold_on_mdeg: long[9],
            hold_off_ms: short[10],
            deflection_max_mdeg: long[10],
            slip_deflection_mdeg: long[11],
            position_band_mdeg: long[12],
            position_settle_ms: short[11],
            position_doubt_ms: short[12],
            joystick_full_mdeg: long[13],
        }
    })
}

/// Any inputs.
fn any_inputs() -> impl Strategy<Value = Inputs> {
    (
        any::<u32>(),
        any::<[u16; 2]>(),
        any::<[bool; 6]>(),
        any::<u16>(),
    )
        .prop_map(|(tick, sensor_counts, closed, supply_mv)| Inputs {
            tick,
            sensor_counts,
            switches: Switches {
                release: closed[0],
                hat_fore: closed[1],
                hat_aft: closed[2],
                hat_left: closed[3],
                hat_right: closed[4],
                force_trim: closed[5],
            },
            supply_mv,
        })
}

/// Any outputs.
fn any_outputs() -> impl Strategy<Value = Outputs> {
    (
        any_axis_outputs(),
        any_axis_outputs(),
        prop::sample::select(&State::ALL[..]),
        prop::sample::subsequence(&Fault::ALL[..], 0..=Fault::ALL.len()),
    )
        .prop_map(|(pitch, roll, state, list)| {
            let mut faults = Faults::default();
            for fault in list {
                faults.set(fault, true);
            }
            joined([pitch, roll], state, faults)
        })
}

fn any_axis_outputs() -> impl Strategy<Value = (AxisCommand, AxisTelemetry)> {
    let current = prop::sample::select(vec![
        CurrentLevel::Off,
        CurrentLevel::Hold,
        CurrentLevel::Run,
    ]);
    (
        any::<[bool; 2]>(),
        current,
        -i16::MAX..=i16::MAX,
        any::<i32>(),
        any::<[i32; 3]>(),
    )
        .prop_map(|([enable, home], current, joystick, step_rate, angles)| {
            let asked = AxisCommand {
                enable,
                home,
                step_rate,
                current,
                joystick,
            };
            let reported = AxisTelemetry {
                stick_mdeg: angles[0],
                reference_mdeg: angles[1],
                drive_mdeg: angles[2],
            };
            (asked, reported)
        })
}

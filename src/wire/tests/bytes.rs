//! How many bytes a tick takes, both ways, frames included. The bar is 64: 1 Mbaud (10 bits a byte)
//! then carries more than 1,000 ticks a second.

use crate::tests::{any_inputs, frame_of, joined};
use crate::{Answer, Request, Sample, TickCommand};
use proptest::prelude::*;
use trimproof_controller::{Controller, Settings};
use trimproof_io::{
    AXES, AxisCommand, AxisTelemetry, CurrentLevel, Fault, Faults, Inputs, Outputs, PITCH, ROLL,
    State,
};

/// Most bytes that a tick may take, both ways.
const BAR: usize = 64;

/// A sample takes as many in every tick.
const SAMPLE: usize = 19;

fn sample_bytes(inputs: &Inputs) -> usize {
    let inputs = *inputs;
    frame_of(&Request::Sample(Sample { run: 1, inputs })).len()
}

fn command_bytes(outputs: &Outputs) -> usize {
    let outputs = *outputs;
    frame_of(&Answer::Command(TickCommand {
        run: 1,
        tick: 1,
        outputs,
    }))
    .len()
}

fn all_faults() -> Faults {
    let mut faults = Faults::default();
    for fault in Fault::ALL {
        faults.set(fault, true);
    }
    faults
}

fn outputs(axis: (AxisCommand, AxisTelemetry)) -> Outputs {
    joined([axis; AXES], State::Tripped, all_faults())
}

/// Outputs that take the most: the stick at one end of what the settings' check lets a sensor mean
/// (180 degrees), the drive where it may be at worst, the reference at the other end of the soft
/// limits (90 degrees).
fn worst_of_a_controller() -> Outputs {
    outputs((
        AxisCommand {
            enable: true,
            home: true,
            step_rate: i32::MIN,
            current: CurrentLevel::Run,
            joystick: -i16::MAX,
        },
        AxisTelemetry {
            stick_mdeg: -180_000,
            reference_mdeg: -90_000,
            drive_mdeg: 180_000,
        },
    ))
}

#[test]
fn the_worst_tick_takes_64_bytes() {
    let command = command_bytes(&worst_of_a_controller());
    println!(
        "worst tick of a controller: {SAMPLE} + {command} = {}",
        SAMPLE + command
    );
    assert_eq!(command, 45);
    assert_eq!(SAMPLE + command, BAR);
    // What no controller says but the message could hold: any angle at all.
    let any = command_bytes(&outputs((
        worst_of_a_controller().command.axis[PITCH],
        AxisTelemetry {
            stick_mdeg: i32::MIN,
            drive_mdeg: 0,
            reference_mdeg: i32::MIN,
        },
    )));
    println!(
        "worst tick that could be written: {SAMPLE} + {any} = {}",
        SAMPLE + any
    );
    assert_eq!(any, 57);
    // The least.
    assert_eq!(command_bytes(&Outputs::default()), 25);
}

proptest! {
    #[test]
    fn a_sample_always_takes_19_bytes(inputs in any_inputs()) {
        prop_assert_eq!(sample_bytes(&inputs), SAMPLE);
    }

    /// 349,525 mdeg is nearly a whole turn, and twice the angle of any sensor that passes the
    /// settings' check.
    #[test]
    fn no_tick_with_a_stick_s_angles_takes_more_than_64(
        angles in any::<[[i32; 3]; AXES]>(),
        rates in any::<[i32; AXES]>(),
        joystick in -i16::MAX..=i16::MAX,
    ) {
        let mut outputs = worst_of_a_controller();
        let Outputs { command, telemetry } = &mut outputs;
        let axes = command.axis.iter_mut().zip(&mut telemetry.axis);
        for (((asked, reported), angles), rate) in axes.zip(angles).zip(rates) {
            let [stick, reference, drive] = angles.map(|angle| angle % 349_526);
            (reported.stick_mdeg, reported.reference_mdeg, reported.drive_mdeg) = (stick, reference, drive);
            (asked.step_rate, asked.joystick) = (rate, joystick);
        }
        prop_assert!(command_bytes(&outputs) <= BAR - SAMPLE);
    }

    #[test]
    fn no_tick_of_a_real_controller_takes_more_than_64(
        list in prop::collection::vec((any_inputs(), 1u32..4), 1..300),
        reversed in any::<bool>(),
    ) {
        // The widest sensor and the widest limits that the check lets pass.
        let mut settings = Settings::example();
        for axis in [&mut settings.pitch, &mut settings.roll] {
            axis.sensor_zero_counts = 32_768;
            axis.sensor_span_counts = 65_535;
            axis.sensor_span_mdeg = if reversed { -360_000 } else { 360_000 };
            axis.sensor_min_counts = 1;
            axis.sensor_max_counts = 65_535;
            axis.sensor_rate_max_mdeg_per_s = 5_000_000;
            axis.sensor_bad_ms = 1_000;
            axis.filter_shift = 0;
            axis.soft_min_mdeg = -90_000;
            axis.soft_max_mdeg = 90_000;
            axis.joystick_full_mdeg = 1_000;
        }
        let mut controller = Controller::new(settings).unwrap();
        let mut tick = 0u32;
        for (inputs, step) in list {
            tick = tick.wrapping_add(step);
            let outputs = controller.tick(&Inputs { tick, ..inputs });
            prop_assert!(command_bytes(&outputs) <= BAR - SAMPLE, "{:?}", outputs);
        }
    }
}

/// A stick that follows its drive, from power-up through centring and holding to nudges on both
/// axes at once.
#[test]
fn an_ordinary_run_takes_well_below_64() {
    let settings = Settings::example();
    let mut controller = Controller::new(settings).unwrap();
    let mut stick = [4_000, -3_000];
    let (mut most, mut sum, mut seen) = (0, 0, Vec::new());
    let mut least = usize::MAX;
    let ticks = 5_000;
    for tick in 0..ticks {
        let mut inputs = Inputs {
            tick,
            supply_mv: 24_000,
            ..Inputs::default()
        };
        inputs.switches.force_trim = true;
        inputs.switches.hat_fore = (2_000..3_000).contains(&tick);
        inputs.switches.hat_right = (2_500..3_500).contains(&tick);
        for (counts, mdeg) in inputs.sensor_counts.iter_mut().zip(stick) {
            *counts = (2048 + mdeg * 4095 / 60_000) as u16;
        }
        let outputs = controller.tick(&inputs);
        let axes = outputs.command.axis.iter().zip(&outputs.telemetry.axis);
        for (place, (asked, reported)) in stick.iter_mut().zip(axes) {
            if asked.enable {
                *place = reported.drive_mdeg;
            }
        }
        if !seen.contains(&outputs.telemetry.state) {
            seen.push(outputs.telemetry.state);
        }
        let bytes = sample_bytes(&inputs) + command_bytes(&outputs);
        most = most.max(bytes);
        least = least.min(bytes);
        sum += bytes;
    }
    let mean = sum as f64 / f64::from(ticks);
    println!("ordinary run: least {least}, mean {mean:.1}, most {most} bytes a tick both ways");
    for state in [State::Limp, State::Centring, State::Holding, State::Nudging] {
        assert!(seen.contains(&state), "{state:?} never came");
    }
    assert!(stick[PITCH] < 0 && stick[ROLL] > 0, "{stick:?}");
    assert!(mean < 56.0 && most <= 62, "{mean} {most}");
}

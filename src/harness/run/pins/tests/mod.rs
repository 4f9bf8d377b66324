//! The seam at the pins, against programs in this process.

use trimproof_io::{Inputs, Outputs, Reports};

use super::*;
use crate::firmware::FirmwareFile;
use crate::rig::RigFile;
use crate::run::{Run, Target, run_scenario};
use crate::scenario::Scenario;
use crate::trace::Trace;

const FIRMWARE: &str = r#"name = "tern"
[board]
chip = "atmega2560"
powered_by = "motor_supply"
brown_out_v = 12.0
[pitch]
step = { pin = "PA0" }
direction = { pin = "PA1" }
enable = { pin = "PA2" }
sensor = { pin = "A0", low_v = 0.5, high_v = 4.5 }
[roll]
step = { pin = "PA3" }
direction = { pin = "PA4" }
enable = { pin = "PA2" }
sensor = { pin = "A1", low_v = 4.5, high_v = 0.5 }
[supply]
pin = "A2"
ratio = 0.1
[switches]
release = { pin = "PC0" }
hat_fore = { pin = "PC1", pull = "board" }
hat_aft = { pin = "PC2", closed = "high", pull = "board" }
"#;

const STEP: Pin = Pin { id: 0 };
const DIRECTION: Pin = Pin { id: 1 };
const ENABLE: Pin = Pin { id: 2 };

/// A program in this process: events at their instants, whatever stands at its inputs.
struct Scripted {
    firmware: FirmwareFile,
    script: Vec<PinEvent>,
    next: usize,
    seen: Vec<InputChange>,
    restarts: Vec<u64>,
}

impl Scripted {
    fn new(firmware: &str, script: Vec<(u64, PinChange)>) -> Self {
        let script = script.into_iter();
        Self {
            firmware: FirmwareFile::parse(firmware).unwrap(),
            script: script
                .map(|(at_ns, change)| PinEvent { at_ns, change })
                .collect(),
            next: 0,
            seen: Vec::new(),
            restarts: Vec::new(),
        }
    }

    fn run_for(&mut self, rig: &RigFile, events: &str, length_s: f64) -> Run {
        let text = format!(
            "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = {length_s}\n{events}\n[[expect]]\nname = \"n\"\nformula = \"true\"\n"
        );
        let scenario = Scenario::parse(&text).unwrap();
        run_scenario(rig, &scenario, self, &mut |_| true)
    }
}

impl Target for Scripted {
    fn identity(&self) -> String {
        "scripted".to_owned()
    }

    fn reports(&self) -> Reports {
        Reports {
            loop_time: true,
            ..Reports::PINS
        }
    }

    fn begin(&mut self, _: &RigFile) -> Result<(), TargetError> {
        Ok(())
    }

    fn tick(&mut self, _: &Inputs) -> Result<Outputs, TargetError> {
        panic!("a program at its pins is not asked")
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        Ok(())
    }

    fn pins(&mut self) -> Option<&mut dyn PinTarget> {
        Some(self)
    }
}

impl PinTarget for Scripted {
    fn firmware(&self) -> &FirmwareFile {
        &self.firmware
    }

    fn run(
        &mut self,
        until_ns: u64,
        inputs: &[InputChange],
        events: &mut Vec<PinEvent>,
    ) -> Result<(), TargetError> {
        self.seen.extend(inputs);
        while let Some(event) = self.script.get(self.next)
            && event.at_ns < until_ns
        {
            events.push(*event);
            self.next += 1;
        }
        Ok(())
    }

    fn restart(&mut self, at_ns: u64) -> Result<(), TargetError> {
        self.restarts.push(at_ns);
        Ok(())
    }
}

fn kittiwake() -> RigFile {
    RigFile::parse(include_str!("../../../../../scenarios/rigs/kittiwake.toml")).unwrap()
}

fn drive(pin: Pin, high: bool) -> PinChange {
    PinChange::Output(pin, if high { Drive::High } else { Drive::Low })
}

/// Enabled from the start, forward, `count` pulses of `width_ns` from 0.1 s on, `apart_ns` apart.
fn pulses(count: u64, width_ns: u64, apart_ns: u64) -> Vec<(u64, PinChange)> {
    let mut script = vec![(0, drive(ENABLE, false)), (0, drive(DIRECTION, true))];
    for pulse in 0..count {
        let at_ns = 100_000_000 + pulse * apart_ns;
        script.push((at_ns, drive(STEP, true)));
        script.push((at_ns + width_ns, drive(STEP, false)));
    }
    script
}

fn last(trace: &Trace, name: &str) -> f64 {
    trace.data(name).unwrap().as_number(trace.rows() - 1)
}

/// 100 microsteps of a sixteenth of 1.8 deg behind a gear of 6:1 make 1.875 deg at the stick.
#[test]
fn edges_are_steps_and_steps_move_the_shaft() {
    let rig = kittiwake();
    let mut program = Scripted::new(FIRMWARE, pulses(100, 3_000, 3_000_000));
    let run = program.run_for(&rig, "", 1.0);
    assert!(run.end.is_complete(), "{:?}", run.end);
    assert_eq!(last(&run.trace, "pitch.steps"), 100.0);
    assert_eq!(last(&run.trace, "pitch.pulses_refused"), 0.0);
    let begin_deg = run.trace.numbers("pitch.command_deg").unwrap()[10];
    let moved_deg = last(&run.trace, "pitch.command_deg") - begin_deg;
    assert!((moved_deg - 1.875).abs() < 1e-9, "{moved_deg}");
    let trim_deg = last(&run.trace, "pitch.trim_deg");
    assert!((trim_deg - begin_deg - 1.875).abs() < 0.3, "{trim_deg}");
    // One step in 3 ms: 0.01875 deg / 0.003 s on average over ticks of 2 ms.
    let rate = run.trace.numbers("pitch.command_rate_deg_per_s").unwrap();
    let mean = rate[55..195].iter().sum::<f64>() / 140.0;
    assert!((mean - 6.25).abs() < 0.2, "{mean}");
    assert!(run.trace.column("pitch.drive_on").is_none());
    assert!(run.trace.column("state").is_none());
}

/// The data sheet asks for 1000 ns: of pulses of 900 ns, and of those 900 ns behind another, half
/// are missed (binomial, n = 400, p = 1/2: sigma 10), and each is counted as refused.
#[test]
fn pulses_below_the_data_sheet_may_be_missed() {
    let rig = kittiwake();
    let run = |script| Scripted::new(FIRMWARE, script).run_for(&rig, "", 1.0).trace;
    let short = run(pulses(400, 900, 2_000_000));
    assert_eq!(last(&short, "pitch.pulses_refused"), 400.0);
    let counted = last(&short, "pitch.steps");
    assert!((counted - 200.0).abs() < 50.0, "{counted}");
    assert_eq!(last(&short, "roll.pulses_refused"), 0.0);
    // Just long enough.
    let fine = run(pulses(400, 1_000, 2_000_000));
    assert_eq!(last(&fine, "pitch.pulses_refused"), 0.0);
    assert_eq!(last(&fine, "pitch.steps"), 400.0);
    // Pairs whose second comes 900 ns after the first has ended.
    let mut pairs = vec![(0, drive(ENABLE, false))];
    for pair in 0..100 {
        let at_ns = 100_000_000 + pair * 4_000_000;
        for (after_ns, high) in [(0, true), (2_000, false), (2_900, true), (4_900, false)] {
            pairs.push((at_ns + after_ns, drive(STEP, high)));
        }
    }
    assert_eq!(last(&run(pairs), "pitch.pulses_refused"), 100.0);
}

/// Direction must stand for 200 ns before the step's edge.
#[test]
fn a_step_too_soon_after_a_turn_may_go_the_old_way() {
    let rig = kittiwake();
    let run = |setup_ns: u64| {
        let mut script = vec![(0, drive(ENABLE, false)), (0, drive(DIRECTION, false))];
        for step in 0..200 {
            let at_ns = 100_000_000 + step * 4_000_000;
            script.push((at_ns, drive(DIRECTION, step % 2 == 0)));
            script.push((at_ns + setup_ns, drive(STEP, true)));
            script.push((at_ns + setup_ns + 2_000, drive(STEP, false)));
        }
        let trace = Scripted::new(FIRMWARE, script).run_for(&rig, "", 1.0).trace;
        [
            last(&trace, "pitch.steps"),
            last(&trace, "pitch.pulses_refused"),
        ]
    };
    assert_eq!(run(200), [0.0, 0.0]);
    let [steps, refused] = run(199);
    assert!(refused == 200.0 && steps != 0.0, "{steps} {refused}");
}

/// What a driver gets while nobody drives the enable line is what the file says.
#[test]
fn a_line_that_is_left_alone_does_what_the_file_says() {
    let rig = kittiwake();
    let enabled = |firmware: &str| {
        let trace = Scripted::new(firmware, Vec::new())
            .run_for(&rig, "", 0.2)
            .trace;
        last(&trace, "pitch.enabled")
    };
    assert_eq!(enabled(FIRMWARE), 0.0);
    let floating = FIRMWARE.replace(
        "enable = { pin = \"PA2\" }",
        "enable = { pin = \"PA2\", floating = \"on\" }",
    );
    assert_eq!(enabled(&floating), 1.0);
    // Without an enable line the driver is always on.
    let without = FIRMWARE.replace("enable = { pin = \"PA2\" }\n", "");
    assert_eq!(enabled(&without), 1.0);
}

/// 2 degrees of -30 to 30 are 32/60 of the span; 24 V through 1:10 are 2.4 V.
#[test]
fn inputs_are_volts_and_levels() {
    let rig = kittiwake();
    let mut program = Scripted::new(FIRMWARE, Vec::new());
    let events = "[start]\npitch_deg = 2.0\nroll_deg = 2.0\n[[do]]\nat_s = 0.1\nwhat = \"press\"\nswitch = \"release\"\nbounce_s = [0.0003, 0.0002]\n[[do]]\nat_s = 0.2\nwhat = \"press\"\nswitch = \"hat_fore\"\n[[do]]\nat_s = 0.3\nwhat = \"press\"\nswitch = \"hat_aft\"\n";
    let run = program.run_for(&rig, events, 0.4);
    assert!(run.end.is_complete(), "{:?}", run.end);
    let of = |pin: u8| -> Vec<(u64, Level)> {
        let changes = program.seen.iter();
        changes
            .filter_map(|change| match change.input {
                PinInput::Digital(known, level) if known.id == pin => Some((change.at_ns, level)),
                _ => None,
            })
            .collect()
    };
    let ms = |ms: f64| (ms * 1e6) as u64;
    // The bounce is seen at the instants of the step generator's periods, 100 us apart.
    assert_eq!(
        of(16),
        [
            (0, Level::Floating),
            (ms(100.0), Level::Low),
            (ms(100.3), Level::Floating),
            (ms(100.5), Level::Low)
        ]
    );
    // The rig's usual bounce: 0.6, 0.4 and 0.5 ms.
    assert_eq!(of(17)[..2], [(0, Level::High), (ms(200.0), Level::Low)]);
    assert_eq!(of(18)[..2], [(0, Level::Low), (ms(300.0), Level::High)]);
    let first = |channel: u8| {
        let mut changes = program.seen.iter();
        changes.find_map(|change| match change.input {
            PinInput::Analog(known, microvolts) if known == channel => {
                Some(f64::from(microvolts) / 1e6)
            }
            _ => None,
        })
    };
    // Offset, gain, non-linearity and noise of the rig's sensors: within a degree of it.
    let degree_v = 4.0 / 60.0;
    assert!((first(0).unwrap() - (0.5 + 4.0 * 32.0 / 60.0)).abs() < degree_v);
    assert!((first(1).unwrap() - (4.5 - 4.0 * 32.0 / 60.0)).abs() < degree_v);
    assert!((first(2).unwrap() - 2.4).abs() < 1e-3);
    let volts = run.trace.numbers("pitch.sensor_v").unwrap()[0];
    assert!((volts - first(0).unwrap()).abs() < 1e-6);
}

/// A board that is fed by the motor supply is off below its brown-out and starts anew.
#[test]
fn a_board_without_supply_lets_its_lines_go() {
    let rig = kittiwake();
    let mut program = Scripted::new(FIRMWARE, vec![(0, drive(ENABLE, false))]);
    let dip = "[[do]]\nat_s = 0.2\nwhat = \"dip\"\nvolts = 0.0\nfor_s = 0.5\n";
    let run = program.run_for(&rig, dip, 1.5);
    let enabled = run.trace.switches("pitch.enabled").unwrap();
    let supply = run.trace.numbers("supply_v").unwrap();
    let reset = run.trace.switches("controller_reset").unwrap();
    assert!(enabled[90]);
    let off = supply.iter().position(|volts| *volts < 12.0).unwrap();
    assert!(
        enabled[off + 1..].iter().all(|on| !on),
        "nobody enables it again"
    );
    assert_eq!(program.restarts.len(), 1);
    assert_eq!(reset.iter().filter(|on| **on).count(), 1);
    // With a supply of its own it never notices.
    let own = FIRMWARE.replace("powered_by = \"motor_supply\"\nbrown_out_v = 12.0\n", "");
    let mut program = Scripted::new(&own, vec![(0, drive(ENABLE, false))]);
    let run = program.run_for(&rig, dip, 1.5);
    assert!(program.restarts.is_empty());
    assert!(*run.trace.switches("pitch.enabled").unwrap().last().unwrap());
}

#[test]
fn a_reset_starts_the_program_anew_and_a_link_there_is_not() {
    let rig = kittiwake();
    let mut program = Scripted::new(FIRMWARE, vec![(0, drive(ENABLE, false))]);
    let reset = "[[do]]\nat_s = 0.2\nwhat = \"fault\"\nfault = { kind = \"controller_reset\" }\n";
    let run = program.run_for(&rig, reset, 0.5);
    assert!(run.end.is_complete(), "{:?}", run.end);
    assert_eq!(program.restarts, [200_000_000]);
    assert!(!run.trace.switches("pitch.enabled").unwrap()[110]);
    let loss =
        "[[do]]\nat_s = 0.2\nwhat = \"fault\"\nfault = { kind = \"link_loss\" }\nfor_s = 0.1\n";
    let run = Scripted::new(FIRMWARE, Vec::new()).run_for(&rig, loss, 0.5);
    assert!(run.end.cut().unwrap().to_string().contains("has no link"));
}

#[test]
fn turns_of_the_loop_are_measured() {
    let rig = kittiwake();
    let script = (0..400).map(|turn| (turn * 1_000_000 + turn % 2 * 250_000, PinChange::Loop));
    let trace = Scripted::new(FIRMWARE, script.collect())
        .run_for(&rig, "", 0.3)
        .trace;
    assert_eq!(trace.numbers("loop.longest_ms").unwrap()[50], 1.25);
    assert_eq!(trace.numbers("loop.shortest_ms").unwrap()[50], 0.75);
}

/// Coarser steps of a driver whose size is chosen by lines: quarter steps on a table of sixteenths.
#[test]
fn lines_choose_the_size_of_a_step() {
    let rig = kittiwake();
    let firmware = FIRMWARE.replacen(
        "sensor = { pin = \"A0\"",
        "microsteps = { pins = [\"PD0\", \"PD1\"], table = [1, 2, 4, 16] }\nsensor = { pin = \"A0\"",
        1,
    );
    let mut script = pulses(10, 3_000, 8_000_000);
    script.insert(2, (1_000, drive(Pin { id: 25 }, true)));
    let trace = Scripted::new(&firmware, script)
        .run_for(&rig, "", 0.4)
        .trace;
    assert_eq!(last(&trace, "pitch.steps"), 40.0);
    let finer = firmware.replace("4, 16]", "4, 32]");
    let run = Scripted::new(&finer, Vec::new()).run_for(&rig, "", 0.4);
    assert!(
        run.end
            .cut()
            .unwrap()
            .to_string()
            .contains("has `16` at most")
    );
}

//! Programs that are compiled here: good ones, and every way to be bad. They need a C++ compiler.

use std::path::Path;

use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Run, Target, run_scenario};
use trimproof_harness::scenario::Scenario;

use super::*;

const FIRMWARE: &str = include_str!("../../../../tests/data/tern_firmware.toml");

/// A folder with a program and its firmware file.
fn folder(name: &str, text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join(FILE_NAME), FIRMWARE).unwrap();
    std::fs::write(folder.path().join(name), text).unwrap();
    folder
}

fn programs(folder: &Path, sanitize: bool) -> Result<Arc<Programs>, ProgramError> {
    let options = ProgramOptions {
        sanitize,
        ..ProgramOptions::default()
    };
    Programs::source(folder, &options)
}

fn run_of(target: &mut dyn Target, length_s: f64, events: &str) -> Run {
    let rig = include_str!("../../../../scenarios/rigs/kittiwake.toml");
    let rig = RigFile::parse(rig).unwrap();
    let text = format!(
        "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = {length_s}\n{events}\n[[expect]]\nname = \"n\"\nformula = \"true\"\n"
    );
    let scenario = Scenario::parse(&text).unwrap();
    run_scenario(&rig, &scenario, target, &mut |_| true)
}

fn run(text: &str) -> (Run, Vec<String>) {
    let folder = folder("tern.ino", text);
    let programs = programs(folder.path(), false).unwrap_or_else(|error| panic!("{error:?}"));
    let mut target = programs.target();
    let run = run_of(target.as_mut(), 0.5, "");
    let serial = target.serial().iter().map(|line| line.text.clone());
    (run, serial.collect())
}

fn why(text: &str) -> String {
    let (run, _) = run(text);
    run.end.cut().expect("it is cut short").to_string()
}

#[test]
fn a_program_steps_and_writes() {
    let (run, serial) = run(r#"
        void setup() { pinMode(22, OUTPUT); pinMode(24, OUTPUT); Serial.begin(115200); Serial.println("ready"); }
        void loop() { digitalWrite(22, HIGH); delayMicroseconds(5); digitalWrite(22, LOW); delay(10); }
    "#);
    assert!(run.end.is_complete(), "{:?}", run.end);
    assert_eq!(serial, ["ready"]);
    let steps = *run.trace.integers("pitch.steps").unwrap().last().unwrap();
    // A pulse every 10 ms and what the calls cost, over half a second. Nobody drives the direction:
    // it stays forward.
    assert!((47..=50).contains(&steps), "{steps}");
    assert!(*run.trace.switches("pitch.enabled").unwrap().last().unwrap());
    let turn = run.trace.numbers("loop.longest_ms").unwrap()[200];
    assert!((10.0..10.2).contains(&turn), "{turn}");
}

#[test]
fn every_run_has_statics_of_its_own_and_the_same_bits() {
    let folder = folder(
        "tern.cpp",
        r#"#include <Arduino.h>
        static int turns = 0;
        void setup() { Serial.begin(115200); Serial.println(turns++); randomSeed(analogRead(A0)); pinMode(22, OUTPUT); }
        void loop() { digitalWrite(22, random(2)); delayMicroseconds(700); }
    "#,
    );
    let programs = programs(folder.path(), false).unwrap();
    let one = |events: &str| {
        let mut target = programs.target();
        let run = run_of(target.as_mut(), 0.3, events);
        let serial: Vec<String> = target
            .serial()
            .iter()
            .map(|line| line.text.clone())
            .collect();
        (run.trace.hash(), serial)
    };
    assert_eq!(one(""), one(""));
    assert_eq!(one("").1, ["0"]);
    // Started again in mid-run: fresh statics once more.
    let reset = "[[do]]\nat_s = 0.1\nwhat = \"fault\"\nfault = { kind = \"controller_reset\" }\n";
    assert_eq!(one(reset).1, ["0", "0"]);
}

#[test]
fn programs_that_end_crash_or_hang_end_their_run_with_the_reason() {
    let crash =
        why("void setup() {} void loop() { int *p = (int *)8; if (millis() > 100) *p = 1; }");
    assert!(crash.contains("the program crashed"), "{crash}");
    let exit =
        why("#include <stdlib.h>\nvoid setup() {} void loop() { if (millis() > 100) exit(3); }");
    assert!(exit.contains("the program ended by itself"), "{exit}");
    let memory = why(
        "#include <stdlib.h>\n#include <string.h>\nvoid setup() { for (;;) { char *p = (char *)malloc(1 << 24); memset(p, 1, 1 << 24); millis(); } } void loop() {}",
    );
    assert!(
        memory.contains("memory") || memory.contains("crashed") || memory.contains("gone"),
        "{memory}"
    );
}

#[test]
fn an_endless_loop_without_a_call_is_found() {
    let hang = why("volatile int x; void setup() {} void loop() { while (true) x = x + 1; }");
    assert!(hang.contains("does not advance"), "{hang}");
}

#[test]
fn what_does_not_compile_is_shown_as_the_compiler_has_it() {
    let folder = folder(
        "tern.ino",
        "void setup() { digitalWrit(3, HIGH); }\nvoid loop() {}\n",
    );
    match programs(folder.path(), false) {
        Err(ProgramError::Compile(CompileError::Refused { file, said, .. })) => {
            assert_eq!(file, "tern.ino");
            assert!(
                said.contains("digitalWrit") && said.contains("tern.ino:1"),
                "{said}"
            );
        }
        other => panic!("{:?}", other.err()),
    }
    let empty = tempfile::tempdir().unwrap();
    std::fs::write(empty.path().join(FILE_NAME), FIRMWARE).unwrap();
    assert!(matches!(
        programs(empty.path(), false),
        Err(ProgramError::Compile(CompileError::NoSource { .. }))
    ));
    let without = tempfile::tempdir().unwrap();
    assert!(matches!(
        programs(without.path(), false),
        Err(ProgramError::File(_))
    ));
}

#[test]
fn registers_are_refused_with_the_way_to_go() {
    let folder = folder("tern.ino", "void setup() { PORTB = 3; }\nvoid loop() {}\n");
    match programs(folder.path(), false) {
        Err(ProgramError::Compile(error)) => {
            assert!(error.to_string().contains("image"), "{error}");
        }
        other => panic!("{:?}", other.err()),
    }
}

#[test]
fn a_sanitizer_finding_ends_the_run_with_its_text() {
    let folder = folder(
        "tern.ino",
        "int a[4]; volatile int i = 4;\nvoid setup() {}\nvoid loop() { delay(10); if (millis() > 100) a[i] = 1; }\n",
    );
    let programs = programs(folder.path(), true).unwrap();
    let run = run_of(programs.target().as_mut(), 0.5, "");
    let why = run.end.cut().expect("it is cut short").to_string();
    assert!(
        why.contains("out of bounds") || why.contains("global-buffer-overflow"),
        "{why}"
    );
}

/// 4294967.296 s are 2^32 ms: a clock that begins a tenth of a second before it rolls over.
#[test]
fn the_clock_starts_where_the_scenario_says() {
    let folder = folder(
        "tern.ino",
        "uint32_t before; bool rolled = false;\nvoid setup() { Serial.begin(115200); before = millis(); Serial.println(before > 4294967000UL); }\nvoid loop() { uint32_t now = millis(); if (now < before && !rolled) { rolled = true; Serial.println(\"rolled\"); } before = now; delay(1); }\n",
    );
    let programs = programs(folder.path(), false).unwrap();
    let mut target = programs.target();
    run_of(target.as_mut(), 0.3, "[start]\nclock_s = 4294967.196\n");
    let lines: Vec<_> = target
        .serial()
        .iter()
        .map(|line| line.text.as_str())
        .collect();
    assert_eq!(lines, ["1", "rolled"]);
    let at_s = target.serial()[1].at_s;
    assert!((0.1..0.11).contains(&at_s), "{at_s}");
}

/// At a restart the variables go and the EEPROM stays, to its last byte.
#[test]
fn the_eeprom_outlives_a_restart() {
    let folder = folder(
        "tern.ino",
        "#include <trimproof_pins.h>\nvoid setup() { Serial.begin(115200); Serial.println(tp_eeprom_read(7)); Serial.println(tp_eeprom_read(4095)); for (long i = 0; i < 20; i++) tp_eeprom_write(7, i); tp_eeprom_write(4095, 9); }\nvoid loop() { delay(1); }\n",
    );
    let programs = programs(folder.path(), false).unwrap();
    let mut target = programs.target();
    let reset = "[[do]]\nat_s = 0.2\nwhat = \"fault\"\nfault = { kind = \"controller_reset\" }\n";
    let run = run_of(target.as_mut(), 0.4, reset);
    assert!(run.end.is_complete(), "{:?}", run.end);
    let lines: Vec<_> = target
        .serial()
        .iter()
        .map(|line| line.text.as_str())
        .collect();
    assert_eq!(lines, ["255", "255", "19", "9"]);
}

/// A watchdog that is not fed starts the program anew, and the trace shows it.
#[test]
fn a_watchdog_starts_the_program_anew() {
    let folder = folder(
        "tern.ino",
        "#include <avr/wdt.h>\nvoid setup() { Serial.begin(115200); Serial.println(\"up\"); pinMode(24, OUTPUT); wdt_enable(WDTO_60MS); }\nvoid loop() { if (millis() < 100) wdt_reset(); }\n",
    );
    let programs = programs(folder.path(), false).unwrap();
    let mut target = programs.target();
    let run = run_of(target.as_mut(), 0.25, "");
    assert!(run.end.is_complete(), "{:?}", run.end);
    assert_eq!(target.serial().len(), 2, "{:?}", target.serial());
    let reset = run.trace.switches("controller_reset").unwrap();
    let first = reset.iter().position(|on| *on).unwrap();
    // Fed until 0.1 s, 60 ms of the watchdog, a tick.
    assert!((78..=84).contains(&first), "{first}");
}

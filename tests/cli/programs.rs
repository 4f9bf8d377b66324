//! Firmware sources from outside: verdicts, and bad programs and files. They need a C++ compiler.

use crate::workplace::{STAYS, Workplace, replaced};

/// Of the promises that the scenario speaks of it gives one.
const FIRMWARE: &str = concat!(
    include_str!("../data/tern_firmware.toml"),
    "tap_low_deg = 0.3\n"
);

/// A place with a program, its firmware file among the scenarios, and a scenario that speaks of a
/// promise that is given, one that is not, and a state that no such program reports.
fn place(program: &str) -> Workplace {
    let place = Workplace::new();
    let more = r#"
[[expect]]
name = "a promise that is given"
formula = "promise.tap_low_deg > 0.2 and always(not pitch.enabled)"

[[expect]]
name = "one that is not"
formula = "promise.tap_high_deg > 0.2"

[[expect]]
name = "a state"
formula = "eventually(state is holding)"
"#;
    let stays = replaced(STAYS, "[\"kittiwake\"]", "[\"kittiwake\"]");
    place.write("scenarios/stays.toml", format!("{stays}{more}"));
    place.write("scenarios/tern/firmware.toml", FIRMWARE);
    place.write("scenarios/tern/tern.ino", program);
    place
}

const IDLE: &str = "void setup() { pinMode(24, OUTPUT); digitalWrite(24, HIGH); pinMode(28, OUTPUT); digitalWrite(28, HIGH); }\nvoid loop() { }\n";

/// A firmware file is no scenario, though it lies among them; what a program does not give is not
/// judged.
#[test]
fn a_source_is_judged_by_what_it_gives() {
    let ran = place(IDLE).run(&["prove", "--on", "source:scenarios/tern"]);
    for part in [
        "`promise.tap_high_deg`",
        "this run does not have `state`",
        "1 run:",
    ] {
        assert!(
            ran.out.contains(part),
            "`{part}` is missing in:\n{}\n{}",
            ran.out,
            ran.err
        );
    }
    assert!(
        !ran.out.contains("FAIL stays on kittiwake: a promise"),
        "{}",
        ran.out
    );
}

#[test]
fn a_program_that_crashes_ends_its_run_in_3() {
    let ran =
        place("void setup() {}\nvoid loop() { if (millis() > 50) *(volatile int *)8 = 1; }\n")
            .run(&["prove", "--on", "source:scenarios/tern"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    assert!(ran.out.contains("the program crashed"), "{}", ran.out);
}

#[test]
fn what_cannot_be_run_ends_in_2_with_the_reason() {
    let of = |place: &Workplace, args: &[&str]| {
        let ran = place.run(&[&["prove", "--on", "source:scenarios/tern"][..], args].concat());
        assert_eq!(ran.code, Some(2), "{}", ran.out);
        ran.err
    };
    // The compiler's words on lines of their own.
    let wrong = of(
        &place("void setup() { digitalWrit(1, 2); }\nvoid loop() {}\n"),
        &[],
    );
    assert!(
        wrong.lines().any(|line| line.starts_with("tern.ino:1:")),
        "{wrong}"
    );
    assert!(wrong.contains("refuses `tern.ino`"), "{wrong}");
    let twice = place(IDLE);
    twice.write(
        "scenarios/tern/firmware.toml",
        FIRMWARE.replace("pin = \"23\"", "pin = \"22\""),
    );
    let twice = of(&twice, &[]);
    assert!(
        twice.contains("which is `pitch.step.pin` already"),
        "{twice}"
    );
    let accuracy = of(&place(IDLE), &["--accuracy"]);
    assert!(accuracy.contains("asked tick by tick"), "{accuracy}");
}

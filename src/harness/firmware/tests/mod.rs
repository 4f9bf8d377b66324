//! What a firmware file may say, and what is refused.

use super::*;

/// The shortest whole file.
const SHORT: &str = include_str!("../../../../tests/data/tern_firmware.toml");

fn faults(changes: &[(&str, &str)]) -> Vec<String> {
    let mut text = SHORT.to_owned();
    for (old, new) in changes {
        assert!(text.contains(old), "`{old}` is not in the file");
        text = text.replacen(old, new, 1);
    }
    let faults = FirmwareFile::parse(&text).err().unwrap_or_default();
    faults
        .into_iter()
        .map(|fault| {
            let span = fault.span.clone().unwrap_or_default();
            format!("{} ({})", fault.message, &text[span])
        })
        .collect()
}

#[test]
fn the_shortest_file_reads() {
    let file = FirmwareFile::parse(SHORT).unwrap();
    assert_eq!(file.board.clock_hz, 16_000_000);
    assert_eq!(file.driver, DriverTimes::default());
    let facts = Facts::of(&file, "kittiwake");
    assert_eq!(facts.promises.get("hold_within_s"), Some(&0.2));
    assert!(facts.lacks("promise.tap_low_deg") && !facts.lacks("promise.hold_within_s"));
}

#[test]
fn pins_that_cannot_be_are_refused() {
    assert_eq!(
        faults(&[("pin = \"23\"", "pin = \"22\"")]),
        ["`pitch.direction.pin` is `22`, which is `pitch.step.pin` already (\"22\")"]
    );
    assert!(
        faults(&[("pin = \"A1\"", "pin = \"PB5\"")])[0]
            .starts_with("`roll.sensor.pin` is `PB5`, which cannot be read as a voltage")
    );
    assert!(
        faults(&[("pin = \"30\"", "pin = \"PG7\"")])[0]
            .starts_with("the ATmega2560 has no pin `PG7`, the nearest is `P")
    );
    // One line to both drivers is usual; a switch on it is not.
    assert!(faults(&[("pin = \"28\"", "pin = \"24\"")]).is_empty());
    assert_eq!(faults(&[("pin = \"30\"", "pin = \"PA2\"")]).len(), 1);
    // Everything that is wrong at once.
    assert_eq!(
        faults(&[("\"22\"", "\"99\""), ("\"A0\"", "\"3\"")]).len(),
        2
    );
}

#[test]
fn keys_and_ranges_are_checked() {
    assert_eq!(
        faults(&[("hold_within_s", "holds_within_s")]),
        ["unknown key `holds_within_s` in `promises` (holds_within_s)"]
    );
    assert!(faults(&[("0.2", "-1.0")])[0].starts_with("`promises.hold_within_s` is `-1.0`"));
    assert!(faults(&[("atmega2560", "atmega25600")])[0].contains("atmega25600"));
    assert!(
        faults(&[(
            "hold_within_s = 0.2",
            "tap_low_deg = 2.0\ntap_high_deg = 1.0"
        )])[0]
            .starts_with("`tap_low_deg` is `2`, it must not be above `tap_high_deg`")
    );
}

#[test]
fn promises_of_a_rig_go_before_the_firmwares() {
    let text = format!(
        "{SHORT}tap_low_deg = 0.3\n[[rig]]\nname = \"bittern\"\n[rig.promises]\ntap_low_deg = 0.5\n"
    );
    let file = FirmwareFile::parse(&text).unwrap();
    let tap = |rig: &str| Facts::of(&file, rig).promises["tap_low_deg"];
    assert_eq!([tap("kittiwake"), tap("bittern")], [0.3, 0.5]);
}

//! The host core as it lies in src/host: written beside a source that is compiled.

/// Names and texts of the files.
pub(super) const HOST_FILES: &[(&str, &str)] = &[
    ("api/Arduino.h", include_str!("../../host/api/Arduino.h")),
    ("api/EEPROM.h", include_str!("../../host/api/EEPROM.h")),
    ("api/HID.h", include_str!("../../host/api/HID.h")),
    (
        "api/HardwareSerial.h",
        include_str!("../../host/api/HardwareSerial.h"),
    ),
    ("api/Joystick.h", include_str!("../../host/api/Joystick.h")),
    ("api/Keyboard.h", include_str!("../../host/api/Keyboard.h")),
    (
        "api/LiquidCrystal.h",
        include_str!("../../host/api/LiquidCrystal.h"),
    ),
    ("api/Mouse.h", include_str!("../../host/api/Mouse.h")),
    ("api/Print.h", include_str!("../../host/api/Print.h")),
    ("api/SPI.h", include_str!("../../host/api/SPI.h")),
    ("api/Servo.h", include_str!("../../host/api/Servo.h")),
    (
        "api/SoftwareSerial.h",
        include_str!("../../host/api/SoftwareSerial.h"),
    ),
    ("api/Stepper.h", include_str!("../../host/api/Stepper.h")),
    ("api/Stream.h", include_str!("../../host/api/Stream.h")),
    ("api/WString.h", include_str!("../../host/api/WString.h")),
    ("api/Wire.h", include_str!("../../host/api/Wire.h")),
    ("api/avr/boot.h", include_str!("../../host/api/avr/boot.h")),
    (
        "api/avr/eeprom.h",
        include_str!("../../host/api/avr/eeprom.h"),
    ),
    (
        "api/avr/interrupt.h",
        include_str!("../../host/api/avr/interrupt.h"),
    ),
    ("api/avr/io.h", include_str!("../../host/api/avr/io.h")),
    (
        "api/avr/pgmspace.h",
        include_str!("../../host/api/avr/pgmspace.h"),
    ),
    (
        "api/avr/power.h",
        include_str!("../../host/api/avr/power.h"),
    ),
    (
        "api/avr/registers.h",
        include_str!("../../host/api/avr/registers.h"),
    ),
    (
        "api/avr/sleep.h",
        include_str!("../../host/api/avr/sleep.h"),
    ),
    ("api/avr/wdt.h", include_str!("../../host/api/avr/wdt.h")),
    ("api/binary.h", include_str!("../../host/api/binary.h")),
    ("api/board.h", include_str!("../../host/api/board.h")),
    ("api/numbers.c", include_str!("../../host/api/numbers.c")),
    ("api/print.cpp", include_str!("../../host/api/print.cpp")),
    (
        "api/util/atomic.h",
        include_str!("../../host/api/util/atomic.h"),
    ),
    (
        "api/util/delay.h",
        include_str!("../../host/api/util/delay.h"),
    ),
    ("api/util/twi.h", include_str!("../../host/api/util/twi.h")),
    ("api/wiring.c", include_str!("../../host/api/wiring.c")),
    ("api/wiring.cpp", include_str!("../../host/api/wiring.cpp")),
    (
        "api/wstring.cpp",
        include_str!("../../host/api/wstring.cpp"),
    ),
    ("core.c", include_str!("../../host/core.c")),
    ("core.h", include_str!("../../host/core.h")),
    ("costs.h", include_str!("../../host/costs.h")),
    ("guard.c", include_str!("../../host/guard.c")),
    ("narrow.c", include_str!("../../host/narrow.c")),
    ("pins.c", include_str!("../../host/pins.c")),
    ("pipe.c", include_str!("../../host/pipe.c")),
    ("serial.c", include_str!("../../host/serial.c")),
    (
        "trimproof_pins.h",
        include_str!("../../host/trimproof_pins.h"),
    ),
    ("waves.c", include_str!("../../host/waves.c")),
];

#[cfg(test)]
mod tests {
    use std::path::{Path, PathBuf};

    use super::*;

    /// A file of the host core that is not in the list would be missing from every build.
    #[test]
    fn the_list_is_the_folder() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host");
        let mut found = Vec::new();
        let mut folders = vec![root.clone()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(&folder).unwrap() {
                let path: PathBuf = entry.unwrap().path();
                let extension = path.extension().and_then(|extension| extension.to_str());
                if path.is_dir() && path.file_name().unwrap() != "tests" {
                    folders.push(path);
                } else if matches!(extension, Some("c" | "h" | "cpp")) {
                    let name = path.strip_prefix(&root).unwrap();
                    found.push(name.to_string_lossy().replace('\\', "/"));
                }
            }
        }
        found.sort();
        let listed: Vec<_> = HOST_FILES.iter().map(|(name, _)| *name).collect();
        assert_eq!(listed, found);
    }
}

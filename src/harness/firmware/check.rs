//! What cannot be right in a firmware file, beyond the kinds and ranges of its values.

use std::collections::BTreeMap;

use trimproof_diagnostics::FileError;

use super::chip::Pin;
use super::{FirmwareFile, Promises};
use crate::scenario::is_kebab;

/// Everything that is wrong, with its place.
pub(super) fn check(text: &str, file: &FirmwareFile) -> Vec<FileError> {
    let mut check = Check {
        text,
        file,
        faults: Vec::new(),
        used: BTreeMap::new(),
    };
    if !is_kebab(&file.name) {
        check.fault(
            "name",
            format!(
                "`name` is `{}`, it must be lower-case letters, digits and hyphens",
                file.name
            ),
            None,
        );
    }
    check.pins();
    check.promises("promises", &file.promises);
    for (index, one) in file.rigs.iter().enumerate() {
        check.promises(&format!("rig[{index}].promises"), &one.promises);
        if file.rigs[..index]
            .iter()
            .any(|other| other.name == one.name)
        {
            check.fault(
                &format!("rig[{index}].name"),
                format!("the rig `{}` is there twice", one.name),
                None,
            );
        }
    }
    check.faults
}

struct Check<'a> {
    text: &'a str,
    file: &'a FirmwareFile,
    faults: Vec<FileError>,
    /// What uses a pin.
    used: BTreeMap<Pin, String>,
}

impl Check<'_> {
    fn fault(&mut self, path: &str, message: String, help: Option<String>) {
        let fault = FileError::at(self.text, path, message);
        self.faults.push(match help {
            Some(help) => fault.with_help(help),
            None => fault,
        });
    }

    fn pins(&mut self) {
        let file = self.file;
        for (name, axis) in [("pitch", &file.pitch), ("roll", &file.roll)] {
            self.output(&format!("{name}.step.pin"), &axis.step.pin);
            self.output(&format!("{name}.direction.pin"), &axis.direction.pin);
            if let Some(enable) = &axis.enable {
                self.enable(&format!("{name}.enable.pin"), &enable.pin);
            }
            if let Some(current) = &axis.current {
                self.enable(&format!("{name}.current.pin"), &current.pin);
            }
            if let Some(reset) = &axis.reset {
                self.enable(&format!("{name}.reset.pin"), &reset.pin);
            }
            if let Some(lines) = &axis.microsteps {
                for (index, pin) in lines.pins.iter().enumerate() {
                    self.enable(&format!("{name}.microsteps.pins[{index}]"), pin);
                }
                let wanted = 1_usize << lines.pins.len();
                if lines.table.len() != wanted {
                    let message = format!(
                        "`{name}.microsteps.table` has `{}` entries, with `{}` pins it must have {wanted}",
                        lines.table.len(),
                        lines.pins.len()
                    );
                    self.fault(&format!("{name}.microsteps.table"), message, None);
                }
                for (index, count) in lines.table.iter().enumerate() {
                    if !count.is_power_of_two() || *count > 256 {
                        let path = format!("{name}.microsteps.table[{index}]");
                        self.fault(&path, format!("`{path}` is `{count}`, it must be 1, 2, 4, 8, 16, 32, 64, 128 or 256"), None);
                    }
                }
            }
            self.analog(&format!("{name}.sensor.pin"), &axis.sensor.pin);
            if (axis.sensor.high_v - axis.sensor.low_v).abs() < 0.1 {
                self.fault(&format!("{name}.sensor.high_v"), format!("`{name}.sensor.high_v` is `{}`, it must be at least 0.1 V from `low_v`, which is `{}`", axis.sensor.high_v, axis.sensor.low_v), None);
            }
        }
        let switches = &file.switches;
        for (name, pin) in [
            ("release", &switches.release),
            ("hat_fore", &switches.hat_fore),
            ("hat_aft", &switches.hat_aft),
            ("hat_left", &switches.hat_left),
            ("hat_right", &switches.hat_right),
            ("force_trim", &switches.force_trim),
        ] {
            if let Some(pin) = pin {
                self.output(&format!("switches.{name}.pin"), &pin.pin);
            }
        }
        if let Some(supply) = &file.supply {
            self.analog("supply.pin", &supply.pin);
        }
        if let Some(indicator) = &file.indicator {
            self.output("indicator.pin", &indicator.pin);
        }
    }

    /// A pin of its own, digital.
    fn output(&mut self, path: &str, text: &str) {
        let Some(pin) = self.pin(path, text) else {
            return;
        };
        if let Some(other) = self.used.get(&pin) {
            let message = format!("`{path}` is `{text}`, which is `{other}` already");
            let help = format!("the pin {} can have one purpose only", pin.name());
            self.fault(path, message, Some(help));
            return;
        }
        self.used.insert(pin, path.to_owned());
    }

    /// A pin that both axes' drivers may share: one line to both.
    fn enable(&mut self, path: &str, text: &str) {
        let Some(pin) = self.pin(path, text) else {
            return;
        };
        let shared = |path: &str| path.split_once('.').map(|(_, rest)| rest.to_owned());
        if let Some(other) = self.used.get(&pin)
            && shared(other) == shared(path)
        {
            return;
        }
        self.output(path, text);
    }

    /// A pin of its own that can be read as a voltage.
    fn analog(&mut self, path: &str, text: &str) {
        let Some(pin) = self.pin(path, text) else {
            return;
        };
        if self.file.board.chip.channel(pin).is_none() {
            let message = format!("`{path}` is `{text}`, which cannot be read as a voltage");
            let help = format!(
                "analog pins of the {}: {}",
                self.file.board.chip.name(),
                self.file.board.chip.analog_pins()
            );
            self.fault(path, message, Some(help));
            return;
        }
        self.output(path, text);
    }

    fn pin(&mut self, path: &str, text: &str) -> Option<Pin> {
        match self.file.board.chip.pin(text) {
            Ok(pin) => Some(pin),
            Err(message) => {
                self.fault(path, message, None);
                None
            }
        }
    }

    fn promises(&mut self, path: &str, promises: &Promises) {
        let given = promises.given();
        for (low, high) in [
            ("glide_rate_low_deg_per_s", "glide_rate_high_deg_per_s"),
            ("nudge_rate_low_deg_per_s", "nudge_rate_high_deg_per_s"),
            ("tap_low_deg", "tap_high_deg"),
        ] {
            if let (Some(least), Some(most)) = (given.get(low), given.get(high))
                && least > most
            {
                self.fault(
                    &format!("{path}.{low}"),
                    format!(
                        "`{low}` is `{least}`, it must not be above `{high}`, which is `{most}`"
                    ),
                    None,
                );
            }
        }
    }
}

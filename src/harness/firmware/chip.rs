//! The chips whose pins a firmware file may name, and the numbers that are printed on common boards
//! with them.
//!
//! Ports and analog channels: the chips' data sheets (ATmega640/1280/1281/2560/2561, ATmega328P,
//! ATmega16U4/32U4), chapter "Pin Configurations". The numbers on boards: common practice, no
//! source.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trimproof_diagnostics::nearest;

/// A chip that can be run at its pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Chip {
    /// ATmega2560.
    Atmega2560,
    /// ATmega328P.
    Atmega328p,
    /// ATmega32U4.
    Atmega32u4,
}

/// A pin of a chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pin {
    /// Letter of the port times eight from `A`, and the bit: PA0 is 0, PB5 is 13.
    pub id: u8,
}

impl Pin {
    /// Name as the data sheet has it.
    pub fn name(self) -> String {
        format!("P{}{}", char::from(b'A' + self.id / 8), self.id % 8)
    }
}

/// What a chip has.
struct Layout {
    name: &'static str,
    /// Port letter and the bits that are led out.
    ports: &'static [(u8, u8)],
    /// Pin ids by the numbers on boards.
    numbered: &'static [&'static str],
    /// Pins of the analog channels `A0` and on, as boards print them.
    analog: &'static [(&'static str, u8)],
    flash_bytes: u32,
    eeprom_bytes: u32,
    sram_bytes: u32,
    sram_start: u32,
}

const ATMEGA2560: Layout = Layout {
    name: "ATmega2560",
    ports: &[
        (b'A', 0xFF),
        (b'B', 0xFF),
        (b'C', 0xFF),
        (b'D', 0xFF),
        (b'E', 0xFF),
        (b'F', 0xFF),
        (b'G', 0x3F),
        (b'H', 0xFF),
        (b'J', 0xFF),
        (b'K', 0xFF),
        (b'L', 0xFF),
    ],
    numbered: &[
        "PE0", "PE1", "PE4", "PE5", "PG5", "PE3", "PH3", "PH4", "PH5", "PH6", "PB4", "PB5", "PB6",
        "PB7", "PJ1", "PJ0", "PH1", "PH0", "PD3", "PD2", "PD1", "PD0", "PA0", "PA1", "PA2", "PA3",
        "PA4", "PA5", "PA6", "PA7", "PC7", "PC6", "PC5", "PC4", "PC3", "PC2", "PC1", "PC0", "PD7",
        "PG2", "PG1", "PG0", "PL7", "PL6", "PL5", "PL4", "PL3", "PL2", "PL1", "PL0", "PB3", "PB2",
        "PB1", "PB0", "PF0", "PF1", "PF2", "PF3", "PF4", "PF5", "PF6", "PF7", "PK0", "PK1", "PK2",
        "PK3", "PK4", "PK5", "PK6", "PK7",
    ],
    analog: &[
        ("PF0", 0),
        ("PF1", 1),
        ("PF2", 2),
        ("PF3", 3),
        ("PF4", 4),
        ("PF5", 5),
        ("PF6", 6),
        ("PF7", 7),
        ("PK0", 8),
        ("PK1", 9),
        ("PK2", 10),
        ("PK3", 11),
        ("PK4", 12),
        ("PK5", 13),
        ("PK6", 14),
        ("PK7", 15),
    ],
    flash_bytes: 256 * 1024,
    eeprom_bytes: 4096,
    sram_bytes: 8192,
    sram_start: 0x200,
};

const ATMEGA328P: Layout = Layout {
    name: "ATmega328P",
    ports: &[(b'B', 0xFF), (b'C', 0x7F), (b'D', 0xFF)],
    numbered: &[
        "PD0", "PD1", "PD2", "PD3", "PD4", "PD5", "PD6", "PD7", "PB0", "PB1", "PB2", "PB3", "PB4",
        "PB5", "PC0", "PC1", "PC2", "PC3", "PC4", "PC5",
    ],
    analog: &[
        ("PC0", 0),
        ("PC1", 1),
        ("PC2", 2),
        ("PC3", 3),
        ("PC4", 4),
        ("PC5", 5),
    ],
    flash_bytes: 32 * 1024,
    eeprom_bytes: 1024,
    sram_bytes: 2048,
    sram_start: 0x100,
};

const ATMEGA32U4: Layout = Layout {
    name: "ATmega32U4",
    ports: &[
        (b'B', 0xFF),
        (b'C', 0xC0),
        (b'D', 0xFF),
        (b'E', 0x44),
        (b'F', 0xF3),
    ],
    numbered: &[
        "PD2", "PD3", "PD1", "PD0", "PD4", "PC6", "PD7", "PE6", "PB4", "PB5", "PB6", "PB7", "PD6",
        "PC7", "PB3", "PB1", "PB2", "PB0", "PF7", "PF6", "PF5", "PF4", "PF1", "PF0", "PD4", "PD7",
        "PB4", "PB5", "PB6", "PD6",
    ],
    analog: &[
        ("PF7", 7),
        ("PF6", 6),
        ("PF5", 5),
        ("PF4", 4),
        ("PF1", 1),
        ("PF0", 0),
        ("PD4", 8),
        ("PD7", 10),
        ("PB4", 11),
        ("PB5", 12),
        ("PB6", 13),
        ("PD6", 9),
    ],
    flash_bytes: 32 * 1024,
    eeprom_bytes: 1024,
    sram_bytes: 2560,
    sram_start: 0x100,
};

impl Chip {
    /// Every chip that is known.
    pub const ALL: [Chip; 3] = [Chip::Atmega2560, Chip::Atmega328p, Chip::Atmega32u4];

    /// Name as the data sheet has it.
    pub fn name(self) -> &'static str {
        self.layout().name
    }

    /// Name in lower case, as files and tools have it.
    pub fn key(self) -> String {
        self.name().to_lowercase()
    }

    /// Bytes of flash.
    pub fn flash_bytes(self) -> u32 {
        self.layout().flash_bytes
    }

    /// Bytes of EEPROM.
    pub fn eeprom_bytes(self) -> u32 {
        self.layout().eeprom_bytes
    }

    /// The data addresses of the RAM.
    pub fn sram(self) -> std::ops::Range<u32> {
        let layout = self.layout();
        layout.sram_start..layout.sram_start + layout.sram_bytes
    }

    /// The pin that is called so: by the chip's name (`PB5`), by the number on a common board (`11`
    /// or `D11`), or by a board's name of an analog pin (`A3`).
    ///
    /// # Errors
    /// The chip has no such pin; the message offers the nearest.
    pub fn pin(self, text: &str) -> Result<Pin, String> {
        let upper = text.trim().to_uppercase();
        if let Some(pin) = self.of_port(&upper) {
            return Ok(pin);
        }
        let number = upper.strip_prefix('D').unwrap_or(&upper);
        if let Ok(number) = number.parse::<usize>()
            && let Some(pin) = self.layout().numbered.get(number)
        {
            return Ok(pin_of(pin));
        }
        if let Some(number) = upper
            .strip_prefix('A')
            .and_then(|rest| rest.parse::<usize>().ok())
            && let Some((pin, _)) = self.layout().analog.get(number)
        {
            return Ok(pin_of(pin));
        }
        let known = self.names();
        let near = nearest(&upper, known.iter().map(String::as_str));
        let near = near.map_or_else(String::new, |near| format!(", the nearest is `{near}`"));
        Err(format!(
            "the {} has no pin `{text}`{near}: use a port's pin like `{}`, a number from `0` to `{}` as boards print it, or `A0` to `A{}`",
            self.name(),
            self.layout().numbered[13],
            self.layout().numbered.len() - 1,
            self.layout().analog.len() - 1,
        ))
    }

    /// The analog channel of a pin; `None` if it is digital only.
    pub fn channel(self, pin: Pin) -> Option<u8> {
        let analog = self.layout().analog.iter();
        analog
            .map(|(name, channel)| (pin_of(name), *channel))
            .find(|(analog, _)| *analog == pin)
            .map(|(_, channel)| channel)
    }

    /// The pins that can be read as a voltage, as text.
    pub fn analog_pins(self) -> String {
        let analog = self.layout().analog.iter();
        let names: Vec<String> = analog
            .enumerate()
            .map(|(number, (name, _))| format!("`A{number}` ({name})"))
            .collect();
        names.join(", ")
    }

    fn of_port(self, name: &str) -> Option<Pin> {
        let [b'P', letter, bit @ b'0'..=b'7'] = name.as_bytes() else {
            return None;
        };
        let (_, bits) = self
            .layout()
            .ports
            .iter()
            .find(|(port, _)| port == letter)?;
        let bit = bit - b'0';
        (bits & (1 << bit) != 0).then_some(Pin {
            id: (letter - b'A') * 8 + bit,
        })
    }

    fn names(self) -> Vec<String> {
        let ports = self.layout().ports.iter();
        ports
            .flat_map(|(letter, bits)| {
                (0..8)
                    .filter(move |bit| bits & (1 << bit) != 0)
                    .map(move |bit| format!("P{}{bit}", char::from(*letter)))
            })
            .collect()
    }

    fn layout(self) -> &'static Layout {
        match self {
            Self::Atmega2560 => &ATMEGA2560,
            Self::Atmega328p => &ATMEGA328P,
            Self::Atmega32u4 => &ATMEGA32U4,
        }
    }
}

/// A pin of the tables above.
fn pin_of(name: &str) -> Pin {
    let bytes = name.as_bytes();
    Pin {
        id: (bytes[1] - b'A') * 8 + (bytes[2] - b'0'),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pins_have_both_names() {
        let id = |chip: Chip, text: &str| chip.pin(text).map(|pin| pin.id);
        assert_eq!(id(Chip::Atmega2560, "PB5"), Ok(13));
        assert_eq!(id(Chip::Atmega2560, "11"), Ok(13));
        assert_eq!(id(Chip::Atmega2560, "D11"), Ok(13));
        assert_eq!(id(Chip::Atmega2560, "A0"), Ok(40));
        assert_eq!(id(Chip::Atmega2560, "54"), Ok(40));
        assert_eq!(id(Chip::Atmega328p, "13"), Ok(13));
        assert_eq!(id(Chip::Atmega32u4, "A0"), Ok(47));
        for chip in Chip::ALL {
            for (number, name) in chip.layout().numbered.iter().enumerate() {
                assert_eq!(chip.pin(name), chip.pin(&number.to_string()));
            }
            for (number, (name, channel)) in chip.layout().analog.iter().enumerate() {
                let pin = chip.pin(name).unwrap();
                assert_eq!(chip.pin(&format!("A{number}")), Ok(pin));
                assert_eq!(chip.channel(pin), Some(*channel));
                assert_eq!(pin.name(), *name);
            }
        }
    }

    #[test]
    fn a_pin_that_there_is_not_is_refused_with_the_nearest() {
        let error = Chip::Atmega328p.pin("PB9").unwrap_err();
        assert!(
            error.contains("has no pin `PB9`, the nearest is `PB0`"),
            "{error}"
        );
        for text in ["", "70", "A16", "PI0", "PG6", "B5", "-1", "P", "PB55"] {
            assert!(Chip::Atmega2560.pin(text).is_err(), "{text}");
        }
        assert_eq!(
            Chip::Atmega2560.channel(Chip::Atmega2560.pin("PB5").unwrap()),
            None
        );
    }
}

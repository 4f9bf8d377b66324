//! A firmware file as it is written.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::chip::Chip;
use super::promises::Promises;

/// A firmware: the board that it runs on, how that is wired, where its program is and what it
/// promises.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FirmwareFile {
    /// Name: lower-case letters, digits and hyphens.
    #[schemars(length(min = 1, max = 64))]
    pub name: String,
    /// One line that says what it is.
    #[serde(default)]
    #[schemars(length(max = 200))]
    pub title: String,
    /// The board and its chip.
    pub board: Board,
    /// Where the source is, compiled by `--on source:DIR`; all at its defaults if left out.
    #[serde(default)]
    pub source: Source,
    /// Pins of the pitch axis.
    pub pitch: AxisPins,
    /// Pins of the roll axis.
    pub roll: AxisPins,
    /// Pins of the switches on the grip and of the force-trim switch; one that is left out is not
    /// wired.
    #[serde(default)]
    pub switches: SwitchPins,
    /// How the motor supply is measured; left out if it is not.
    pub supply: Option<SupplyPin>,
    /// An output that shows something to the pilot; it is in no trace.
    pub indicator: Option<OutputPin>,
    /// Times of the drivers' data sheet; all at their defaults if left out.
    #[serde(default)]
    pub driver: DriverTimes,
    /// What the firmware promises, on every rig.
    #[serde(default)]
    pub promises: Promises,
    /// What differs from rig to rig.
    #[serde(default, rename = "rig")]
    #[schemars(length(max = 64))]
    pub rigs: Vec<OnRig>,
}

/// The board.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Board {
    /// The chip.
    pub chip: Chip,
    /// Its clock, Hz (default 16 MHz).
    #[serde(default = "default_clock_hz")]
    #[schemars(range(min = 1_000_000, max = 20_000_000))]
    pub clock_hz: u32,
    /// Voltage that the converter reads as full scale, V (default 5).
    #[serde(default = "default_volts")]
    #[schemars(range(min = 1.0, max = 5.5))]
    pub adc_reference_v: f64,
    /// Voltage of the chip, V (default 5).
    #[serde(default = "default_volts")]
    #[schemars(range(min = 1.8, max = 5.5))]
    pub supply_v: f64,
    /// Where the board gets its supply from (default: a supply of its own).
    #[serde(default)]
    pub powered_by: PoweredBy,
    /// Motor supply below which a board that is fed by it is off, V (default 6.5); half a volt above
    /// it starts again.
    #[serde(default = "default_brown_out_v")]
    #[schemars(range(min = 1.0, max = 60.0))]
    pub brown_out_v: f64,
    /// Longest stretch in which board and twin run without each other, µs (default 1000): inputs
    /// are older by up to this. It is rounded down to a whole part of a control tick.
    #[serde(default = "default_coupling_us")]
    #[schemars(range(min = 100, max = 1000))]
    pub coupling_us: u32,
}

/// Where a board gets its supply from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PoweredBy {
    /// A supply of its own, such as a computer's serial port: it is always on.
    #[default]
    Own,
    /// The motor supply, through a regulator: it goes off below `brown_out_v`.
    MotorSupply,
}

/// The program's source.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Files to compile, from the firmware file's folder; every `.ino`, `.cpp`, `.cc` and `.c` file
    /// of the folder if left out.
    #[serde(default)]
    #[schemars(length(max = 200))]
    pub files: Vec<String>,
    /// Folders in which headers are looked for too.
    #[serde(default)]
    #[schemars(length(max = 50))]
    pub include: Vec<String>,
    /// Macros to define: `NAME` or `NAME=VALUE`.
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub defines: Vec<String>,
}

/// Pins of an axis.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AxisPins {
    /// Step: an edge to the active level is a step.
    pub step: OutputPin,
    /// Direction: the active level is forward, the trim angle increases.
    pub direction: OutputPin,
    /// Enable of the driver; left out, the driver is always enabled.
    pub enable: Option<EnablePin>,
    /// The line that chooses the current: active is running current. Left out, the driver runs at
    /// its running current.
    pub current: Option<OutputPin>,
    /// Reset of the driver: active puts its microstep index to 0.
    pub reset: Option<OutputPin>,
    /// Lines that choose the step's size.
    pub microsteps: Option<MicrostepPins>,
    /// The angle sensor.
    pub sensor: SensorPin,
}

/// A pin that the program drives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OutputPin {
    /// The pin: `PB5`, `11` or `A3`.
    #[schemars(length(min = 1, max = 16))]
    pub pin: String,
    /// Level that is active (default high).
    #[serde(default)]
    pub active: ActiveLevel,
}

/// A pin that enables a driver.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EnablePin {
    /// The pin: `PB5`, `11` or `A3`.
    #[schemars(length(min = 1, max = 16))]
    pub pin: String,
    /// Level that enables the driver (default low, as most drivers have it).
    #[serde(default = "low")]
    pub active: ActiveLevel,
    /// What the driver does while nobody drives the pin, as a resistor on the driver's board has it
    /// (default off).
    #[serde(default)]
    pub floating: Floating,
}

/// A level.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ActiveLevel {
    /// The chip's supply.
    #[default]
    High,
    /// Ground.
    Low,
}

/// What a driver does while nobody drives its enable line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Floating {
    /// It is disabled.
    #[default]
    Off,
    /// It is enabled.
    On,
}

/// Lines that choose a step's size.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MicrostepPins {
    /// The pins, the least significant first.
    #[schemars(length(min = 1, max = 4))]
    pub pins: Vec<String>,
    /// Microsteps a full step for each combination of levels, 0 to 2^pins − 1. None may be finer
    /// than the rig's `driver.microsteps`.
    #[schemars(length(min = 2, max = 16))]
    pub table: Vec<u32>,
}

/// The pin that reads an angle sensor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SensorPin {
    /// The pin: `PF0` or `A0`.
    #[schemars(length(min = 1, max = 16))]
    pub pin: String,
    /// Voltage at the rig's `sensor.min_deg`, V (default 0).
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 5.5))]
    pub low_v: f64,
    /// Voltage at the rig's `sensor.max_deg`, V (default 5).
    #[serde(default = "default_volts")]
    #[schemars(range(min = 0.0, max = 5.5))]
    pub high_v: f64,
}

/// Pins of the switches.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SwitchPins {
    /// Trim release.
    pub release: Option<SwitchPin>,
    /// Hat, forward.
    pub hat_fore: Option<SwitchPin>,
    /// Hat, aft.
    pub hat_aft: Option<SwitchPin>,
    /// Hat, left.
    pub hat_left: Option<SwitchPin>,
    /// Hat, right.
    pub hat_right: Option<SwitchPin>,
    /// Force-trim switch.
    pub force_trim: Option<SwitchPin>,
}

/// A pin that reads a switch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SwitchPin {
    /// The pin: `PC1`, `36` or `A8`.
    #[schemars(length(min = 1, max = 16))]
    pub pin: String,
    /// Level of the pin while the switch is closed (default low: it closes to ground).
    #[serde(default = "low")]
    pub closed: ActiveLevel,
    /// What pulls the pin to the other level while the switch is open (default: the chip's own
    /// pull-up, which the program must switch on).
    #[serde(default)]
    pub pull: Pull,
}

/// What pulls an input while its switch is open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Pull {
    /// The chip's pull-up, if the program switches it on.
    #[default]
    Chip,
    /// A resistor on the board.
    Board,
}

/// The pin that measures the motor supply.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyPin {
    /// The pin: `PF2` or `A2`.
    #[schemars(length(min = 1, max = 16))]
    pub pin: String,
    /// Volts at the pin for each volt of the motor supply: the divider.
    #[schemars(range(min = 0.001, max = 1.0))]
    pub ratio: f64,
}

/// Times of the drivers' data sheet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct DriverTimes {
    /// Shortest active level of a step pulse, ns (default 1000).
    #[schemars(range(max = 1_000_000))]
    pub step_active_ns: u32,
    /// Shortest idle level between two step pulses, ns (default 1000).
    #[schemars(range(max = 1_000_000))]
    pub step_idle_ns: u32,
    /// Time for which direction must stand before the step's edge, ns (default 200).
    #[schemars(range(max = 1_000_000))]
    pub direction_setup_ns: u32,
}

impl Default for DriverTimes {
    /// Those of common small drivers (common practice, no source).
    fn default() -> Self {
        Self {
            step_active_ns: 1000,
            step_idle_ns: 1000,
            direction_setup_ns: 200,
        }
    }
}

/// What differs on one rig.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OnRig {
    /// Name of the rig.
    #[schemars(length(min = 1, max = 64))]
    pub name: String,
    /// Macros to define beside those of `[source]`.
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub defines: Vec<String>,
    /// Contents of the EEPROM: a file in Intel HEX, from the firmware file's folder.
    pub eeprom: Option<String>,
    /// Image for this rig in place of the one that the command line names, from the firmware file's
    /// folder.
    pub image: Option<String>,
    /// Promises on this rig; they go before the firmware's.
    #[serde(default)]
    pub promises: Promises,
}

fn default_clock_hz() -> u32 {
    16_000_000
}

fn default_volts() -> f64 {
    5.0
}

fn default_brown_out_v() -> f64 {
    6.5
}

fn default_coupling_us() -> u32 {
    1000
}

fn low() -> ActiveLevel {
    ActiveLevel::Low
}

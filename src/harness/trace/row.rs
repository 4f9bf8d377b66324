//! A row of a trace as it is made, and what a value of it can be.

use trimproof_io::{AXES, Faults, State, Switches};

/// What the columns of one control tick hold.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Row {
    /// Simulated time at the tick, s.
    pub time_s: f64,
    /// State of the controller after the tick.
    pub state: State,
    /// The axes, `[pitch, roll]`.
    pub axis: [AxisRow; AXES],
    /// The pilot's hand.
    pub hand: HandRow,
    /// Motor supply at the board, V.
    pub supply_v: f64,
    /// Current out of the supply, A.
    pub supply_a: f64,
    /// Raw switch levels at the controller.
    pub switches: Switches,
    /// What the controller says is wrong.
    pub faults: Faults,
    /// Whether the stick touches any stop or obstacle.
    pub contact: bool,
    /// Whether this tick's message never reached the controller; its last answer stands.
    pub tick_lost: bool,
    /// Longest turn of the program's loop that ended in the last tick, ms.
    pub loop_longest_ms: f64,
    /// Shortest turn of the program's loop that ended in the last tick, ms.
    pub loop_shortest_ms: f64,
    /// Whether the controller has started again since its last answer.
    pub controller_reset: bool,
}

/// One axis in a [`Row`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AxisRow {
    /// Stick angle, deg.
    pub stick_deg: f64,
    /// Rate of the stick angle, deg/s.
    pub stick_rate_deg_per_s: f64,
    /// Angle of the trim shaft, deg at the stick.
    pub trim_deg: f64,
    /// Stick angle less trim angle, deg.
    pub deflection_deg: f64,
    /// Trimmed position that the controller keeps, deg.
    pub reference_deg: f64,
    /// Drive position that the controller commands, deg at the stick.
    pub drive_deg: f64,
    /// Stick angle that the controller estimates, deg.
    pub estimated_deg: f64,
    /// Force of the hand on the axis at the grip, N, positive in the axis's positive direction.
    pub grip_force_n: f64,
    /// Torque of the cartridge on the stick, N m.
    pub cartridge_n_m: f64,
    /// Force of all contacts of the axis, as felt at the grip radius, N.
    pub stop_force_n: f64,
    /// Magnitude of the winding current vector, A.
    pub current_a: f64,
    /// Commanded drive rate, deg/s at the stick; 0 while the drive is off.
    pub drive_rate_deg_per_s: f64,
    /// Step rate that the controller asks for, also while the drive is off, deg/s at the stick.
    pub step_rate_deg_per_s: f64,
    /// Commanded less actual rotor position, full steps.
    pub lag_steps: f64,
    /// Where the driver's count puts the trim shaft, deg.
    pub command_deg: f64,
    /// Rate of the driver's count over the last tick, deg/s at the stick.
    pub command_rate_deg_per_s: f64,
    /// Steps that the driver has counted, microsteps.
    pub steps: i32,
    /// Step pulses so far that the driver may have missed.
    pub pulses_refused: i32,
    /// Voltage of the angle sensor at the board's pin, V.
    pub sensor_v: f64,
    /// Joystick axis for the host simulator, -32767 to 32767.
    pub joystick: i32,
    /// Raw angle sensor reading, counts.
    pub sensor_counts: i32,
    /// Rotor angle at the motor shaft, deg.
    pub rotor_deg: f64,
    /// Index of the driver in its microstep table.
    pub microstep_index: i32,
    /// Fraction of a microstep that has gathered in the step generator, times 2^32, as a signed
    /// number of 32 bits.
    pub step_fraction: i32,
    /// Current that the controller asks for: 0 off, 1 holding, 2 running.
    pub current_level: i32,
    /// Whether the driver is enabled.
    pub enabled: bool,
    /// Whether the controller asks for the drive to be on.
    pub drive_on: bool,
    /// Whether the controller pulls the driver's reset line.
    pub home: bool,
}

/// The pilot's hand in a [`Row`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HandRow {
    /// Whether it grips the stick.
    pub gripping: bool,
    /// Pitch angle that the hand aims at, deg; the stick's when not gripping.
    pub pitch_deg: f64,
    /// Roll angle that the hand aims at, deg; the stick's when not gripping.
    pub roll_deg: f64,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ColumnKind {
    /// 64-bit floating-point numbers.
    Number,
    /// 32-bit whole numbers.
    Integer,
    /// On or off; 1 or 0 in CSV and formulas.
    Switch,
    /// A controller state; its name in files, its code (index in `State::ALL`) in formulas.
    State,
}

impl ColumnKind {
    /// Name as it stands in documents.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Number => "number",
            Self::Integer => "integer",
            Self::Switch => "switch",
            Self::State => "state",
        }
    }

    /// Whether its values are numbers that a curve can show.
    pub const fn is_number(self) -> bool {
        matches!(self, Self::Number | Self::Integer)
    }

    /// Bytes that a value takes in memory.
    pub const fn bytes(self) -> usize {
        match self {
            Self::Number => size_of::<f64>(),
            Self::Integer => size_of::<i32>(),
            Self::Switch => size_of::<bool>(),
            Self::State => size_of::<u8>(),
        }
    }
}

/// One value of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell {
    Number(f64),
    Integer(i32),
    Switch(bool),
    State(State),
}

//! What a controller volunteers about itself in a tick.

use crate::command::Command;
use crate::fault::Faults;
use crate::inputs::AXES;

/// What the controller is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum State {
    /// No supply, or force trim off: drives are off.
    #[default]
    Limp,
    /// Gliding to centre after power-up.
    Centring,
    /// Holding the trimmed position.
    Holding,
    /// Trim release pressed: drives are off, the reference follows the stick.
    Released,
    /// The hat is moving the trimmed position.
    Nudging,
    /// A fault has switched the drives off; kept until acknowledged.
    Tripped,
}

impl State {
    /// Every state, in a fixed order; the position is the state's code in traces.
    pub const ALL: [State; 6] = [
        State::Limp,
        State::Centring,
        State::Holding,
        State::Released,
        State::Nudging,
        State::Tripped,
    ];

    /// Lower-case name as it stands in traces, formulas and cards.
    pub const fn name(self) -> &'static str {
        match self {
            State::Limp => "limp",
            State::Centring => "centring",
            State::Holding => "holding",
            State::Released => "released",
            State::Nudging => "nudging",
            State::Tripped => "tripped",
        }
    }
}

/// What the controller reports about one axis.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AxisTelemetry {
    /// Filtered stick angle as the controller estimates it, millidegrees.
    pub stick_mdeg: i32,
    /// Trimmed position, always inside the soft limits, millidegrees at the stick.
    pub reference_mdeg: i32,
    /// Commanded drive position, millidegrees at the stick; the stick's angle while the drive is
    /// off (the trim shaft is carried along). Differs from the reference only outside a soft limit.
    pub drive_mdeg: i32,
}

/// What the controller reports about itself in one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Telemetry {
    /// Per axis, `[pitch, roll]`.
    pub axis: [AxisTelemetry; AXES],
    /// What the controller is doing.
    pub state: State,
    /// What is wrong.
    pub faults: Faults,
}

/// Everything a controller answers in one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Outputs {
    /// What it asks for.
    pub command: Command,
    /// What it reports; what [`Reports`] leaves out means nothing here.
    pub telemetry: Telemetry,
}

/// Which parts of [`Telemetry`], and of what a [`Command`] carries beside the drivers' lines, a
/// controller fills in: what it leaves out is no column of a trace.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reports {
    /// [`Telemetry::state`].
    pub state: bool,
    /// [`Telemetry::faults`].
    pub faults: bool,
    /// [`Telemetry::axis`]: estimated stick, reference and drive.
    pub axes: bool,
    /// [`AxisCommand::joystick`](crate::AxisCommand::joystick).
    pub joystick: bool,
    /// The [`Command`]'s lines and step rates: it asks for them tick by tick, not edge by edge.
    pub command: bool,
    /// What is seen at a board's pins: sensor voltages, pulses that the driver may miss.
    pub pins: bool,
    /// How long a turn of the program's loop takes.
    pub loop_time: bool,
}

impl Reports {
    /// A controller that fills in everything of [`Telemetry`] and [`Command`].
    pub const ALL: Self = Self {
        state: true,
        faults: true,
        axes: true,
        joystick: true,
        command: true,
        pins: false,
        loop_time: false,
    };

    /// Everything that there can be.
    pub const ANY: Self = Self {
        pins: true,
        loop_time: true,
        ..Self::ALL
    };

    /// A controller that only drives its lines.
    pub const NONE: Self = Self {
        state: false,
        faults: false,
        axes: false,
        joystick: false,
        ..Self::ALL
    };

    /// A program that is seen at its pins.
    pub const PINS: Self = Self {
        command: false,
        pins: true,
        ..Self::NONE
    };
}

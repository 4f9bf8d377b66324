//! What goes into a control tick and what comes out of it.

/// Number of axes of a cyclic stick.
pub const AXES: usize = 2;
/// Index of the pitch axis (fore and aft; positive is aft) in every per-axis array.
pub const PITCH: usize = 0;
/// Index of the roll axis (left and right; positive is right) in every per-axis array.
pub const ROLL: usize = 1;

/// Raw switch levels, before debouncing; `true` is closed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Switches {
    /// Trim-release button under the finger: closed while pressed.
    pub release: bool,
    /// Beep hat pushed forward (trims towards negative pitch).
    pub hat_fore: bool,
    /// Beep hat pulled aft (trims towards positive pitch).
    pub hat_aft: bool,
    /// Beep hat to the left (trims towards negative roll).
    pub hat_left: bool,
    /// Beep hat to the right (trims towards positive roll).
    pub hat_right: bool,
    /// Force-trim master switch: closed is on.
    pub force_trim: bool,
}

/// Everything the controller receives in one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Inputs {
    /// Number of this tick, counting from 0 and wrapping; a gap means lost ticks.
    pub tick: u32,
    /// Raw angle-sensor counts, `[pitch, roll]`.
    pub sensor_counts: [u16; AXES],
    /// Raw switch levels.
    pub switches: Switches,
    /// Lowest motor supply since the last tick, millivolts: the board reads it in every period of the step generator,
    /// so that no dip at which the drivers forget their place falls between two ticks.
    pub supply_mv: u16,
}

/// Winding current that the driver is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum CurrentLevel {
    /// No current.
    #[default]
    Off,
    /// The driver's holding current.
    Hold,
    /// The driver's running current.
    Run,
}

/// What the controller asks of one axis, and what it believes of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AxisOutputs {
    /// Driver enable line; `false` leaves the windings open.
    pub enable: bool,
    /// Driver reset line: `true` puts the microstep index to its home position (index 0)
    /// and clears the step generator's fraction.
    pub home: bool,
    /// Step rate for the [`crate::StepGenerator`]: microsteps per generator period, times 2^32.
    pub step_rate: i32,
    /// Current level.
    pub current: CurrentLevel,
    /// Joystick axis for the host simulator, -32767 to 32767.
    pub joystick: i16,
    /// Filtered stick angle as the controller believes it, millidegrees.
    pub stick_mdeg: i32,
    /// Trimmed position, always inside the soft limits, millidegrees at the stick.
    pub reference_mdeg: i32,
    /// Commanded drive position, millidegrees at the stick; the stick's angle while the drive is off
    /// (the trim shaft is carried along). Differs from the reference only outside a soft limit.
    pub drive_mdeg: i32,
}

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

/// One thing that is wrong. Those marked "trips" end in [`State::Tripped`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Fault {
    /// Trips: a sensor reads outside its valid counts.
    SensorRange,
    /// Trips: a sensor moves faster than a stick can.
    SensorRate,
    /// Trips: a sensor does not change at all while its drive moves.
    SensorStuck,
    /// Trips: more ticks were lost than can be made good.
    TicksLost,
    /// Advice: supply below its minimum; the state is limp.
    SupplyLow,
    /// Advice: a hat direction has been closed for longer than a pilot would; it is ignored.
    HatStuck,
    /// Advice: opposite hat directions are closed together; both are ignored.
    HatConflict,
    /// Advice: trim release has been closed for longer than a pilot would.
    ReleaseStuck,
    /// Advice: the drive has lost whole cycles of steps; the place was taken anew.
    StepsSlipped,
    /// Advice: stick and reference disagree by what lost steps cannot explain.
    PlaceDoubt,
}

impl Fault {
    /// Every fault, in a fixed order; the position is the fault's bit.
    pub const ALL: [Fault; 10] = [
        Fault::SensorRange,
        Fault::SensorRate,
        Fault::SensorStuck,
        Fault::TicksLost,
        Fault::SupplyLow,
        Fault::HatStuck,
        Fault::HatConflict,
        Fault::ReleaseStuck,
        Fault::StepsSlipped,
        Fault::PlaceDoubt,
    ];

    /// Lower-case name as it stands in traces, formulas and cards.
    pub const fn name(self) -> &'static str {
        match self {
            Fault::SensorRange => "sensor_range",
            Fault::SensorRate => "sensor_rate",
            Fault::SensorStuck => "sensor_stuck",
            Fault::TicksLost => "ticks_lost",
            Fault::SupplyLow => "supply_low",
            Fault::HatStuck => "hat_stuck",
            Fault::HatConflict => "hat_conflict",
            Fault::ReleaseStuck => "release_stuck",
            Fault::StepsSlipped => "steps_slipped",
            Fault::PlaceDoubt => "place_doubt",
        }
    }
}

/// A set of [`Fault`]s.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Faults(u16);

impl Faults {
    /// The bits, bit `n` standing for `Fault::ALL[n]`.
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// Whether `fault` is in the set.
    pub const fn has(self, fault: Fault) -> bool {
        self.0 & (1 << fault as u16) != 0
    }

    /// Adds or removes `fault`.
    pub fn set(&mut self, fault: Fault, on: bool) {
        let bit = 1 << fault as u16;
        if on {
            self.0 |= bit;
        } else {
            self.0 &= !bit;
        }
    }
}

/// Everything the controller answers in one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Outputs {
    /// Per axis, `[pitch, roll]`.
    pub axis: [AxisOutputs; AXES],
    /// What the controller is doing.
    pub state: State,
    /// What is wrong.
    pub faults: Faults,
}

#[cfg(test)]
mod tests {
    use std::string::String;

    use super::*;

    /// A fault is called as its variant is, in lower case with underscores.
    #[test]
    fn a_fault_has_the_name_of_its_variant() {
        for fault in Fault::ALL {
            let mut name = String::new();
            for letter in std::format!("{fault:?}").chars() {
                if letter.is_uppercase() && !name.is_empty() {
                    name.push('_');
                }
                name.push(letter.to_ascii_lowercase());
            }
            assert_eq!(fault.name(), name);
        }
    }
}

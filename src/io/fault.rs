//! What a controller says is wrong.

/// One thing that is wrong. Those marked "trips" end in [`State::Tripped`](crate::State::Tripped).
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
    /// Advice: the drive has lost whole cycles of steps; the position was taken anew.
    StepsSlipped,
    /// Advice: stick and reference disagree by what lost steps cannot explain.
    PositionDoubt,
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
        Fault::PositionDoubt,
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
            Fault::PositionDoubt => "position_doubt",
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

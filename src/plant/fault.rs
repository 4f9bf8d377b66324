//! Faults that a scenario may inject, and the names of axes and switches.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trimproof_io::{PITCH, ROLL, Switches};

/// One axis of the stick.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum AxisName {
    /// Fore and aft; positive is aft.
    Pitch,
    /// Left and right; positive is right.
    Roll,
}

impl AxisName {
    /// Both axes, in the order of their indices.
    pub const ALL: [AxisName; 2] = [AxisName::Pitch, AxisName::Roll];

    /// Index of the axis in every per-axis array.
    pub const fn index(self) -> usize {
        match self {
            AxisName::Pitch => PITCH,
            AxisName::Roll => ROLL,
        }
    }

    /// Name as it stands in files and signals.
    pub const fn name(self) -> &'static str {
        match self {
            AxisName::Pitch => "pitch",
            AxisName::Roll => "roll",
        }
    }
}

/// One push button on the grip. The force-trim switch is a toggle and has an event of its own.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum SwitchName {
    /// Trim-release button.
    Release,
    /// Beep hat forward.
    HatFore,
    /// Beep hat aft.
    HatAft,
    /// Beep hat left.
    HatLeft,
    /// Beep hat right.
    HatRight,
}

impl SwitchName {
    /// Every switch, in the order of their indices.
    pub const ALL: [SwitchName; 5] = [
        SwitchName::Release,
        SwitchName::HatFore,
        SwitchName::HatAft,
        SwitchName::HatLeft,
        SwitchName::HatRight,
    ];

    /// Index of the switch in [`SwitchName::ALL`].
    pub const fn index(self) -> usize {
        self as usize
    }

    /// Name as it stands in scenario files.
    pub const fn name(self) -> &'static str {
        match self {
            SwitchName::Release => "release",
            SwitchName::HatFore => "hat_fore",
            SwitchName::HatAft => "hat_aft",
            SwitchName::HatLeft => "hat_left",
            SwitchName::HatRight => "hat_right",
        }
    }

    /// The switch's level in the controller's inputs.
    pub fn level_in(self, switches: &mut Switches) -> &mut bool {
        match self {
            SwitchName::Release => &mut switches.release,
            SwitchName::HatFore => &mut switches.hat_fore,
            SwitchName::HatAft => &mut switches.hat_aft,
            SwitchName::HatLeft => &mut switches.hat_left,
            SwitchName::HatRight => &mut switches.hat_right,
        }
    }
}

/// One of the two windings of a stepper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Coil {
    /// Winding a: torque constant goes with -sin of the electrical angle.
    A,
    /// Winding b: torque constant goes with +cos of the electrical angle.
    B,
}

/// Something that breaks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum FaultKind {
    /// The sensor's signal wire is open: the converter is pulled up and reads full scale.
    SensorOpen {
        /// Axis of the sensor.
        axis: AxisName,
    },
    /// The sensor's signal is shorted to ground: the converter reads 0.
    SensorShort {
        /// Axis of the sensor.
        axis: AxisName,
    },
    /// The sensor repeats its last reading.
    SensorStuck {
        /// Axis of the sensor.
        axis: AxisName,
    },
    /// The sensor's magnet or coupling slips: the reading is off by a fixed angle.
    SensorJump {
        /// Axis of the sensor.
        axis: AxisName,
        /// Degrees added to the angle, -90 to 90.
        by_deg: f64,
    },
    /// The sensor's noise is replaced by this much.
    SensorNoise {
        /// Axis of the sensor.
        axis: AxisName,
        /// Degrees root mean square, 0 to 90.
        rms_deg: f64,
    },
    /// Springs of the cartridge break: breakout and rate fall in proportion; with none left it
    /// carries nothing.
    SpringBroken {
        /// Axis of the cartridge.
        axis: AxisName,
        /// How many springs break, 1 or more.
        #[serde(default = "one")]
        count: u32,
    },
    /// One winding of the motor is open: it carries no current.
    LeadBroken {
        /// Axis of the motor.
        axis: AxisName,
        /// Which winding.
        coil: Coil,
    },
    /// The driver's output stage is dead: both windings open, the microstep index counts on.
    DriverDead {
        /// Axis of the driver.
        axis: AxisName,
    },
    /// The trim gear jumps over teeth, once, at the moment of the fault.
    GearSlip {
        /// Axis of the gear.
        axis: AxisName,
        /// Teeth of the trim gear by which the trim shaft jumps, -20 to 20, not 0; positive turns
        /// it forward.
        teeth: i32,
    },
    /// A switch is stuck whatever the finger does.
    SwitchStuck {
        /// Which switch.
        switch: SwitchName,
        /// Whether it is stuck closed or open.
        closed: bool,
    },
    /// A switch bounces by this pattern at each change.
    SwitchBounce {
        /// Which switch.
        switch: SwitchName,
        /// Durations in seconds, alternating, the first at the new level; 1 to 32 entries of 0 to 1
        /// s.
        pattern_s: Vec<f64>,
    },
    /// The controller starts again, once, as after a watchdog reset.
    ControllerReset {},
    /// Nothing gets through to or from the controller: its outputs stay as they were.
    LinkLoss {},
    /// A share of the messages is damaged, found out and dropped.
    LinkCorruption {
        /// Share of the ticks whose message is lost, 0 to 1.
        share: f64,
    },
}

const fn one() -> u32 {
    1
}

impl FaultKind {
    /// Name as it stands in scenario files (`kind`).
    pub const fn name(&self) -> &'static str {
        match self {
            FaultKind::SensorOpen { .. } => "sensor_open",
            FaultKind::SensorShort { .. } => "sensor_short",
            FaultKind::SensorStuck { .. } => "sensor_stuck",
            FaultKind::SensorJump { .. } => "sensor_jump",
            FaultKind::SensorNoise { .. } => "sensor_noise",
            FaultKind::SpringBroken { .. } => "spring_broken",
            FaultKind::LeadBroken { .. } => "lead_broken",
            FaultKind::DriverDead { .. } => "driver_dead",
            FaultKind::GearSlip { .. } => "gear_slip",
            FaultKind::SwitchStuck { .. } => "switch_stuck",
            FaultKind::SwitchBounce { .. } => "switch_bounce",
            FaultKind::ControllerReset {} => "controller_reset",
            FaultKind::LinkLoss {} => "link_loss",
            FaultKind::LinkCorruption { .. } => "link_corruption",
        }
    }

    /// Whether the fault happens in an instant and so takes no duration.
    pub const fn is_instant(&self) -> bool {
        matches!(
            self,
            FaultKind::GearSlip { .. } | FaultKind::ControllerReset {}
        )
    }

    /// The part that the fault is in, in words: an axis, a winding of it, a switch, the link.
    pub fn part(&self) -> String {
        match self {
            FaultKind::SensorOpen { axis }
            | FaultKind::SensorShort { axis }
            | FaultKind::SensorStuck { axis }
            | FaultKind::SensorJump { axis, .. }
            | FaultKind::SensorNoise { axis, .. }
            | FaultKind::SpringBroken { axis, .. }
            | FaultKind::DriverDead { axis }
            | FaultKind::GearSlip { axis, .. } => axis.name().to_owned(),
            FaultKind::LeadBroken { axis, coil } => {
                let coil = if *coil == Coil::A { "a" } else { "b" };
                format!("{} coil {coil}", axis.name())
            }
            FaultKind::SwitchStuck { switch, .. } | FaultKind::SwitchBounce { switch, .. } => {
                switch.name().to_owned()
            }
            FaultKind::ControllerReset {} => "the controller".to_owned(),
            FaultKind::LinkLoss {} | FaultKind::LinkCorruption { .. } => "the link".to_owned(),
        }
    }

    /// Whether the two may not be there at once: of the same kind in the same part, where the end
    /// of one would mend the other too, or two of which one hides the other (a signal wire that is
    /// open and shorted, a reading that is stuck; a switch that is stuck and bounces).
    pub fn excludes(&self, other: &FaultKind) -> bool {
        let signal = |fault: &FaultKind| {
            matches!(
                fault,
                FaultKind::SensorOpen { .. }
                    | FaultKind::SensorShort { .. }
                    | FaultKind::SensorStuck { .. }
            )
        };
        let contact = |fault: &FaultKind| {
            matches!(
                fault,
                FaultKind::SwitchStuck { .. } | FaultKind::SwitchBounce { .. }
            )
        };
        let kinds = self.name() == other.name()
            || (signal(self) && signal(other))
            || (contact(self) && contact(other));
        kinds && !self.is_instant() && self.part() == other.part()
    }

    /// Checks the values. `Err` names the key, relative to the fault's table, and what is wrong.
    ///
    /// # Errors
    /// A value outside the range that its documentation states.
    pub fn check(&self) -> Result<(), (&'static str, String)> {
        let between = |key: &'static str, value: f64, min: f64, max: f64| {
            if value >= min && value <= max {
                Ok(())
            } else {
                Err((
                    key,
                    format!("`{key}` is `{value}`, it must be {min} to {max}"),
                ))
            }
        };
        match self {
            FaultKind::SensorJump { by_deg, .. } => between("by_deg", *by_deg, -90.0, 90.0),
            FaultKind::SensorNoise { rms_deg, .. } => between("rms_deg", *rms_deg, 0.0, 90.0),
            FaultKind::LinkCorruption { share } => between("share", *share, 0.0, 1.0),
            FaultKind::SpringBroken { count, .. } => between("count", f64::from(*count), 1.0, 16.0),
            FaultKind::GearSlip { teeth: 0, .. } => Err((
                "teeth",
                "`teeth` is `0`, it must be -20 to 20 and not 0".to_owned(),
            )),
            FaultKind::GearSlip { teeth, .. } => between("teeth", f64::from(*teeth), -20.0, 20.0),
            FaultKind::SwitchBounce { pattern_s, .. } => check_bounce(pattern_s)
                .map_err(|message| ("pattern_s", format!("`pattern_s` {message}"))),
            _ => Ok(()),
        }
    }
}

/// Checks a bounce pattern: at most 32 durations of 0 to 1 s. `Err` says what is wrong, to follow
/// the key's name.
///
/// # Errors
/// Too many durations, or one that is no number, negative or longer than a second.
pub fn check_bounce(pattern_s: &[f64]) -> Result<(), String> {
    if pattern_s.len() > 32 {
        return Err(format!(
            "has `{}` durations, it may have at most 32",
            pattern_s.len()
        ));
    }
    match pattern_s
        .iter()
        .find(|duration| !(**duration >= 0.0 && **duration <= 1.0))
    {
        Some(duration) => Err(format!(
            "holds `{duration}`, each duration must be 0 to 1 s"
        )),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Deserialize)]
    struct Holder {
        fault: FaultKind,
    }

    fn read(text: &str) -> Result<FaultKind, toml::de::Error> {
        toml::from_str::<Holder>(&format!("fault = {text}")).map(|holder| holder.fault)
    }

    #[test]
    fn every_fault_reads_back_under_its_own_name() {
        let texts = [
            r#"{ kind = "sensor_open", axis = "pitch" }"#,
            r#"{ kind = "sensor_short", axis = "roll" }"#,
            r#"{ kind = "sensor_stuck", axis = "pitch" }"#,
            r#"{ kind = "sensor_jump", axis = "pitch", by_deg = 5.0 }"#,
            r#"{ kind = "sensor_noise", axis = "pitch", rms_deg = 0.5 }"#,
            r#"{ kind = "spring_broken", axis = "pitch" }"#,
            r#"{ kind = "lead_broken", axis = "pitch", coil = "b" }"#,
            r#"{ kind = "driver_dead", axis = "pitch" }"#,
            r#"{ kind = "gear_slip", axis = "pitch", teeth = -2 }"#,
            r#"{ kind = "switch_stuck", switch = "hat_aft", closed = true }"#,
            r#"{ kind = "switch_bounce", switch = "release", pattern_s = [0.081, 0.042] }"#,
            r#"{ kind = "controller_reset" }"#,
            r#"{ kind = "link_loss" }"#,
            r#"{ kind = "link_corruption", share = 0.25 }"#,
        ];
        for text in texts {
            let fault = read(text).unwrap();
            assert!(text.contains(&format!("\"{}\"", fault.name())), "{text}");
            assert_eq!(fault.check(), Ok(()), "{text}");
        }
        assert!(matches!(
            read(texts[5]),
            Ok(FaultKind::SpringBroken { count: 1, .. })
        ));
    }

    #[test]
    fn bad_faults_are_refused() {
        assert!(read(r#"{ kind = "link_loss", share = 0.2 }"#).is_err());
        assert!(read(r#"{ kind = "sensor_open" }"#).is_err());
        for text in [
            r#"{ kind = "sensor_jump", axis = "pitch", by_deg = nan }"#,
            r#"{ kind = "sensor_noise", axis = "pitch", rms_deg = -1.0 }"#,
            r#"{ kind = "spring_broken", axis = "pitch", count = 0 }"#,
            r#"{ kind = "gear_slip", axis = "pitch", teeth = 0 }"#,
            r#"{ kind = "gear_slip", axis = "pitch", teeth = 21 }"#,
            r#"{ kind = "switch_bounce", switch = "release", pattern_s = [0.1, inf] }"#,
            r#"{ kind = "link_corruption", share = 1.5 }"#,
        ] {
            let (key, message) = read(text).unwrap().check().unwrap_err();
            assert!(
                text.contains(key) && message.contains(key),
                "{text}: {message}"
            );
        }
    }

    #[test]
    fn indices_are_the_places_in_all() {
        for (index, axis) in AxisName::ALL.iter().enumerate() {
            assert_eq!(axis.index(), index);
        }
        let mut switches = Switches::default();
        for (index, switch) in SwitchName::ALL.iter().enumerate() {
            assert_eq!(switch.index(), index);
            *switch.level_in(&mut switches) = true;
        }
        assert!(
            switches.release
                && switches.hat_fore
                && switches.hat_aft
                && switches.hat_left
                && switches.hat_right
        );
    }

    /// A fault's part in words: it distinguishes two faults of a kind.
    #[test]
    fn a_fault_names_its_part() {
        let (axis, switch) = (AxisName::Roll, SwitchName::HatLeft);
        let coil = |coil| FaultKind::LeadBroken { axis, coil };
        for (fault, part) in [
            (FaultKind::SensorOpen { axis }, "roll"),
            (coil(Coil::A), "roll coil a"),
            (coil(Coil::B), "roll coil b"),
            (
                FaultKind::SwitchStuck {
                    switch,
                    closed: true,
                },
                switch.name(),
            ),
            (FaultKind::ControllerReset {}, "the controller"),
            (FaultKind::LinkLoss {}, "the link"),
        ] {
            assert_eq!(fault.part(), part);
        }
        assert!(coil(Coil::A).excludes(&coil(Coil::A)) && !coil(Coil::A).excludes(&coil(Coil::B)));
    }

    /// A value at either end of its range is taken, one beyond it is not.
    #[test]
    fn a_fault_keeps_to_its_ranges() {
        let axis = AxisName::Pitch;
        let taken = |fault: FaultKind| fault.check().is_ok();
        let jump = |by_deg| taken(FaultKind::SensorJump { axis, by_deg });
        assert!(jump(-90.0) && jump(90.0) && !jump(-90.1) && !jump(90.1) && !jump(f64::NAN));
        let noise = |rms_deg| taken(FaultKind::SensorNoise { axis, rms_deg });
        assert!(noise(0.0) && noise(90.0) && !noise(-0.1) && !noise(90.1));
        let share = |share| taken(FaultKind::LinkCorruption { share });
        assert!(share(0.0) && share(1.0) && !share(-0.1) && !share(1.1));
        let springs = |count| taken(FaultKind::SpringBroken { axis, count });
        assert!(springs(1) && springs(16) && !springs(0) && !springs(17));
        let slip = |teeth| taken(FaultKind::GearSlip { axis, teeth });
        assert!(slip(-20) && slip(-1) && slip(20) && !slip(0) && !slip(-21) && !slip(21));
        assert!(check_bounce(&[0.0, 1.0]).is_ok() && check_bounce(&[0.01; 32]).is_ok());
        assert!(check_bounce(&[0.01; 33]).is_err() && check_bounce(&[-0.1]).is_err());
        assert!(check_bounce(&[0.5, 1.1]).is_err() && check_bounce(&[f64::NAN]).is_err());
    }
}

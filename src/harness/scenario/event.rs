//! The timed events of a scenario.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use trimproof_plant::{FaultKind, PathShape, SwitchName};

/// One thing that happens. Times are simulated seconds from the start.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Event {
    /// The hand takes the grip where it is and holds it there.
    Grip {
        /// When, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Stiffness of the hand at the grip, N/m, above 0; the rig's if left out.
        #[schemars(range(max = 1e6), extend("exclusiveMinimum" = 0))]
        stiffness_n_per_m: Option<f64>,
        /// Damping of the hand at the grip, N s/m, 0 or more; the rig's if left out.
        #[schemars(range(min = 0.0, max = 1e5))]
        damping_n_s_per_m: Option<f64>,
        /// Largest force of the hand, both axes together, N, above 0; the rig's if left out.
        #[schemars(range(max = 5000.0), extend("exclusiveMinimum" = 0))]
        limit_n: Option<f64>,
    },
    /// The gripping hand moves to an angle; an axis that is not named goes on to where it was sent.
    Carry {
        /// When it starts, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Where pitch is carried to, deg, positive aft, -90 to 90.
        #[schemars(range(min = -90.0, max = 90.0))]
        pitch_deg: Option<f64>,
        /// Where roll is carried to, deg, positive right, -90 to 90.
        #[schemars(range(min = -90.0, max = 90.0))]
        roll_deg: Option<f64>,
        /// How long it takes, s, above 0.
        #[schemars(range(max = 3600.0), extend("exclusiveMinimum" = 0))]
        over_s: f64,
        /// Course of the angle over time; smooth if left out.
        #[serde(default)]
        shape: PathShape,
    },
    /// The hand lets go of the stick.
    LetGoStick {
        /// When, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
    },
    /// A plain force at the grip reference point, without a grip.
    Push {
        /// When it starts, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Force on pitch, N, positive pushes aft.
        #[schemars(range(min = -5000.0, max = 5000.0))]
        pitch_n: Option<f64>,
        /// Force on roll, N, positive pushes right.
        #[schemars(range(min = -5000.0, max = 5000.0))]
        roll_n: Option<f64>,
        /// Time in which the force rises, linearly, from 0, s, at most `for_s`; 0 (at once) if left
        /// out.
        #[serde(default)]
        #[schemars(range(min = 0.0, max = 3600.0))]
        rise_s: f64,
        /// How long the force lasts, its rise included, s, above 0; then it is gone at once.
        #[schemars(range(max = 3600.0), extend("exclusiveMinimum" = 0))]
        for_s: f64,
    },
    /// A switch is pressed and stays so until it is let go.
    Press {
        /// When, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Which switch.
        switch: SwitchName,
        /// Bounce: durations, s, of alternating levels, the first closed; then it is closed for
        /// good. None if left out.
        #[serde(default)]
        #[schemars(length(max = 32), extend("items" = {"type": "number", "exclusiveMinimum": 0, "maximum": 1}))]
        bounce_s: Vec<f64>,
    },
    /// A pressed switch is let go.
    LetGo {
        /// When, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Which switch.
        switch: SwitchName,
        /// Bounce: durations, s, of alternating levels, the first open; then it is open for good.
        /// None if left out.
        #[serde(default)]
        #[schemars(length(max = 32), extend("items" = {"type": "number", "exclusiveMinimum": 0, "maximum": 1}))]
        bounce_s: Vec<f64>,
    },
    /// A switch is pressed, held and let go.
    Hold {
        /// When it is pressed, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Which switch.
        switch: SwitchName,
        /// How long from press to let go, s, above 0.
        #[schemars(range(max = 3600.0), extend("exclusiveMinimum" = 0))]
        for_s: f64,
        /// Bounce of the press and again of the let go: durations, s, of alternating levels, the
        /// first the new level.
        #[serde(default)]
        #[schemars(length(max = 32), extend("items" = {"type": "number", "exclusiveMinimum": 0, "maximum": 1}))]
        bounce_s: Vec<f64>,
    },
    /// The force-trim switch is put on or off.
    ForceTrim {
        /// When, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Whether it is put on.
        on: bool,
    },
    /// The motor supply's source goes to a voltage and stays there.
    Supply {
        /// When it starts, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Voltage of the source, V, 0 to 100; 0 is disconnected.
        #[schemars(range(min = 0.0, max = 100.0))]
        volts: f64,
        /// Time in which it gets there, linearly, s; 0 (at once) if left out.
        #[serde(default)]
        #[schemars(range(min = 0.0, max = 3600.0))]
        over_s: f64,
    },
    /// The source goes to a voltage at once and comes back at once to where it was.
    Dip {
        /// When it starts, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// Voltage of the source in the dip, V, 0 to 100; 0 is disconnected.
        #[schemars(range(min = 0.0, max = 100.0))]
        volts: f64,
        /// How long, s, above 0.
        #[schemars(range(max = 3600.0), extend("exclusiveMinimum" = 0))]
        for_s: f64,
    },
    /// Something breaks.
    Fault {
        /// When, s.
        #[schemars(range(min = 0.0))]
        at_s: f64,
        /// What breaks.
        fault: FaultKind,
        /// How long until it is whole again, s, above 0; to the end if left out. Not for a fault of
        /// an instant.
        #[schemars(range(max = 3600.0), extend("exclusiveMinimum" = 0))]
        for_s: Option<f64>,
    },
}

impl Event {
    /// When it happens or starts, simulated s.
    pub fn at_s(&self) -> f64 {
        match self {
            Self::Grip { at_s, .. }
            | Self::Carry { at_s, .. }
            | Self::LetGoStick { at_s }
            | Self::Push { at_s, .. }
            | Self::Press { at_s, .. }
            | Self::LetGo { at_s, .. }
            | Self::Hold { at_s, .. }
            | Self::ForceTrim { at_s, .. }
            | Self::Supply { at_s, .. }
            | Self::Dip { at_s, .. }
            | Self::Fault { at_s, .. } => *at_s,
        }
    }

    /// How long it is under way, s: bounce included, 0 for an instant and for what lasts to the
    /// end.
    pub fn lasts_s(&self) -> f64 {
        match self {
            Self::Grip { .. } | Self::LetGoStick { .. } | Self::ForceTrim { .. } => 0.0,
            Self::Carry { over_s, .. } | Self::Supply { over_s, .. } => *over_s,
            Self::Push { for_s, .. } | Self::Dip { for_s, .. } => *for_s,
            Self::Press { bounce_s, .. } | Self::LetGo { bounce_s, .. } => bounce_s.iter().sum(),
            Self::Hold {
                for_s, bounce_s, ..
            } => for_s + bounce_s.iter().sum::<f64>(),
            Self::Fault { for_s, .. } => for_s.unwrap_or(0.0),
        }
    }

    /// Name as it stands in scenario files (`what`).
    pub const fn what(&self) -> &'static str {
        match self {
            Self::Grip { .. } => "grip",
            Self::Carry { .. } => "carry",
            Self::LetGoStick { .. } => "let_go_stick",
            Self::Push { .. } => "push",
            Self::Press { .. } => "press",
            Self::LetGo { .. } => "let_go",
            Self::Hold { .. } => "hold",
            Self::ForceTrim { .. } => "force_trim",
            Self::Supply { .. } => "supply",
            Self::Dip { .. } => "dip",
            Self::Fault { .. } => "fault",
        }
    }
}

/// What happens, in a few words and without the time, as it stands on a card.
impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Grip {
                stiffness_n_per_m,
                damping_n_s_per_m,
                limit_n,
                ..
            } => {
                write!(f, "grip the stick")?;
                let parts = [
                    (stiffness_n_per_m, "N/m"),
                    (damping_n_s_per_m, "N s/m"),
                    (limit_n, "N at most"),
                ];
                parts
                    .iter()
                    .filter_map(|(value, unit)| value.map(|value| (value, unit)))
                    .try_fold((), |(), (value, unit)| write!(f, ", {value} {unit}"))
            }
            Self::Carry {
                pitch_deg,
                roll_deg,
                over_s,
                shape,
                ..
            } => {
                write!(f, "carry")?;
                write_axes(f, *pitch_deg, *roll_deg, "to ", "deg")?;
                write!(f, " in {over_s} s, {}", shape.name())
            }
            Self::LetGoStick { .. } => write!(f, "let go of the stick"),
            Self::Push {
                pitch_n,
                roll_n,
                rise_s,
                for_s,
                ..
            } => {
                write!(f, "push")?;
                write_axes(f, *pitch_n, *roll_n, "with ", "N")?;
                write!(f, " for {for_s} s")?;
                if *rise_s > 0.0 {
                    write!(f, ", rising in {rise_s} s")
                } else {
                    Ok(())
                }
            }
            Self::Press {
                switch, bounce_s, ..
            } => {
                write!(f, "press {}", switch.name())?;
                write_bounce(f, bounce_s)
            }
            Self::LetGo {
                switch, bounce_s, ..
            } => {
                write!(f, "let go of {}", switch.name())?;
                write_bounce(f, bounce_s)
            }
            Self::Hold {
                switch,
                for_s,
                bounce_s,
                ..
            } => {
                write!(f, "hold {} for {for_s} s", switch.name())?;
                write_bounce(f, bounce_s)
            }
            Self::ForceTrim { on, .. } => {
                write!(f, "force trim {}", if *on { "on" } else { "off" })
            }
            Self::Supply { volts, over_s, .. } => {
                if *volts > 0.0 {
                    write!(f, "supply to {volts} V")?
                } else {
                    write!(f, "supply disconnected")?
                }
                if *over_s > 0.0 {
                    write!(f, " in {over_s} s")
                } else {
                    Ok(())
                }
            }
            Self::Dip { volts, for_s, .. } => write!(f, "supply dips to {volts} V for {for_s} s"),
            Self::Fault { fault, for_s, .. } => {
                write!(f, "fault {}", fault.name())?;
                write_details(f, fault)?;
                for_s.map_or(Ok(()), |for_s| write!(f, " for {for_s} s"))
            }
        }
    }
}

fn write_axes(
    f: &mut fmt::Formatter<'_>,
    pitch: Option<f64>,
    roll: Option<f64>,
    word: &str,
    unit: &str,
) -> fmt::Result {
    let mut lead = "";
    for (name, value) in [("pitch", pitch), ("roll", roll)] {
        if let Some(value) = value {
            write!(f, "{lead} {name} {word}{value} {unit}")?;
            lead = ",";
        }
    }
    Ok(())
}

fn write_bounce(f: &mut fmt::Formatter<'_>, bounce_s: &[f64]) -> fmt::Result {
    if bounce_s.is_empty() {
        return Ok(());
    }
    write!(f, ", bouncing for {:?} s", bounce_s)
}

/// The fault's values, in the order of their keys' names.
fn write_details(f: &mut fmt::Formatter<'_>, fault: &FaultKind) -> fmt::Result {
    let value = serde_json::to_value(fault).map_err(|_| fmt::Error)?;
    let entries = value
        .as_object()
        .into_iter()
        .flatten()
        .filter(|(key, _)| *key != "kind");
    for (key, value) in entries {
        match value.as_str() {
            Some(text) => write!(f, ", {key} {text}")?,
            None => write!(f, ", {key} {value}")?,
        }
    }
    Ok(())
}

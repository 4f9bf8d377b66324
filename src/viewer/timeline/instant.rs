//! One row of a trace as the scene wants it.

use trimproof_harness::trace::Trace;
use trimproof_io::{AXES, State};
use trimproof_plant::Rig;

/// Rows that are looked back over for where an unpowered drive sits in its play: a second at 500
/// Hz.
const MEMORY_ROWS: usize = 500;

/// What is true at one tick. Angles in degrees.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Instant {
    /// Simulated time, s.
    pub at_s: f64,
    /// The axes, `[pitch, roll]`.
    pub axis: [AxisInstant; AXES],
    /// Whether the hand grips the stick.
    pub gripping: bool,
    /// What the controller is doing; `None` if it does not report it.
    pub state: Option<State>,
    /// Motor supply, V.
    pub supply_v: f64,
    /// Current out of the supply, A.
    pub supply_a: f64,
    /// Trim release is closed.
    pub release: bool,
    /// Hat: fore, aft, left, right.
    pub hat: [bool; 4],
    /// Force-trim switch is on.
    pub force_trim: bool,
    /// Names of the faults that are reported, without `fault.`.
    pub faults: Vec<String>,
    /// The stick touches a stop or an obstacle.
    pub contact: bool,
}

/// What is true of one axis at one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AxisInstant {
    /// Stick angle, deg.
    pub stick_deg: f64,
    /// Trim shaft angle, deg.
    pub trim_deg: f64,
    /// Trimmed position that the controller keeps, deg; `None` if it does not report it.
    pub reference_deg: Option<f64>,
    /// Cartridge torque on the stick, N m.
    pub cartridge_n_m: f64,
    /// Force of the hand at the grip, N.
    pub grip_force_n: f64,
    /// Force of all contacts at the grip, N.
    pub stop_force_n: f64,
    /// The driver is on.
    pub enabled: bool,
    /// Where the pinion sits in the play of the gears: -1 and 1 are the flanks, 0 the middle.
    /// `None` if the trace does not say it.
    pub in_play: Option<f64>,
}

impl Instant {
    /// Angles of the stick, `[pitch, roll]`, deg.
    pub fn stick_deg(&self) -> [f64; AXES] {
        self.axis.map(|axis| axis.stick_deg)
    }

    /// Angles of the trimmed position, `[pitch, roll]`, deg; `None` unless the controller reports
    /// both.
    pub fn reference_deg(&self) -> Option<[f64; AXES]> {
        let [pitch, roll] = self.axis.map(|axis| axis.reference_deg);
        Some([pitch?, roll?])
    }

    /// What row `row` of `trace` says of `rig`. A column that the trace does not have reads 0 where
    /// it is not optional.
    pub fn of(trace: &Trace, rig: &Rig, row: usize) -> Self {
        let found = |name: &str| {
            let value = trace.numbers(name)?.get(row).copied()?;
            // A value that is no number must not make the whole scene vanish.
            Some(if value.is_finite() { value } else { 0.0 })
        };
        let number = |name: &str| found(name).unwrap_or(0.0);
        let on = |name: &str| {
            trace
                .switches(name)
                .and_then(|values| values.get(row).copied())
                .unwrap_or(false)
        };
        let faults = trace
            .columns()
            .filter_map(|info| Some((&info.name, info.name.strip_prefix("fault.")?)))
            .filter(|(name, _)| on(name))
            .map(|(_, fault)| fault.to_owned())
            .collect();
        Self {
            at_s: row as f64 * trace.about.tick_s,
            axis: std::array::from_fn(|index| {
                let axis = ["pitch", "roll"][index];
                let of = |what: &str| number(&format!("{axis}.{what}"));
                AxisInstant {
                    stick_deg: of("stick_deg"),
                    trim_deg: of("trim_deg"),
                    reference_deg: found(&format!("{axis}.reference_deg")),
                    cartridge_n_m: of("cartridge_n_m"),
                    grip_force_n: of("grip_force_n"),
                    stop_force_n: of("stop_force_n"),
                    enabled: on(&format!("{axis}.enabled")),
                    in_play: in_play(trace, rig, index, row),
                }
            }),
            gripping: on("hand.gripping"),
            state: trace.state(row),
            supply_v: number("supply_v"),
            supply_a: number("supply_a"),
            release: on("release"),
            hat: ["hat.fore", "hat.aft", "hat.left", "hat.right"].map(on),
            force_trim: on("force_trim"),
            faults,
            contact: on("contact"),
        }
    }
}

/// Where the pinion sits in the play between the teeth, -1 to 1; `None` if the trace lacks what
/// says it.
///
/// A driven rotor is where it was sent less its lag. Of an unpowered one the trace says nothing:
/// the trim shaft drags it along by one flank or the other, so it is followed over the last second
/// as a play operator.
fn in_play(trace: &Trace, rig: &Rig, index: usize, row: usize) -> Option<f64> {
    let name = ["pitch", "roll"][index];
    let axis = rig.axis(index);
    let half_deg = axis.drive.backlash_half_rad().to_degrees();
    let drive = trace.numbers(&format!("{name}.drive_deg"))?;
    let trim = trace.numbers(&format!("{name}.trim_deg"))?;
    let lag = trace.numbers(&format!("{name}.lag_steps"))?;
    let enabled = trace.switches(&format!("{name}.enabled"))?;
    if half_deg <= 0.0 || row >= trim.len() {
        return Some(0.0);
    }
    let driven = |row: usize| {
        let ahead_deg = drive[row] - lag[row] * axis.full_step_deg() - trim[row];
        (ahead_deg / half_deg).clamp(-1.0, 1.0)
    };
    let first = row.saturating_sub(MEMORY_ROWS);
    let mut position = 0.0;
    for at in first..=row {
        if enabled[at] {
            position = driven(at);
        } else if at > first {
            position = f64::clamp(position - (trim[at] - trim[at - 1]) / half_deg, -1.0, 1.0);
        }
    }
    Some(if position.is_finite() { position } else { 0.0 })
}

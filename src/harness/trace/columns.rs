//! What a run can record: one table that says for each signal its name, kind, unit, meaning, who
//! gives it and where in a [`Row`] it is. A trace takes its columns from here once, when it is
//! made; from then on it is asked itself.

use std::borrow::Cow;

use trimproof_io::{Fault, PITCH, ROLL, Reports};

use super::data::Data;
use super::row::{Cell, ColumnKind, Row};

/// What a column of a trace is.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct ColumnInfo {
    /// Name, as in files and formulas.
    pub name: Cow<'static, str>,
    /// Unit; empty for a switch, a state and a bare number.
    pub unit: Cow<'static, str>,
    /// What it means, in a few words.
    pub meaning: Cow<'static, str>,
    /// What it holds.
    pub kind: ColumnKind,
}

/// Every signal that a run of a controller with full telemetry records, in the order of the files.
pub fn signals() -> &'static [ColumnInfo] {
    COLUMNS
}

/// Whether a controller with these reports gives this signal; the twin gives all others.
pub fn is_given(signal: &str, reports: Reports) -> bool {
    let last = signal.rsplit('.').next().unwrap_or_default();
    match signal {
        "state" => reports.state,
        _ if signal.starts_with("fault.") => reports.faults,
        _ => match last {
            "reference_deg" | "drive_deg" | "estimated_deg" => reports.axes,
            "joystick" => reports.joystick,
            "drive_rate_deg_per_s"
            | "step_rate_deg_per_s"
            | "step_fraction"
            | "drive_on"
            | "home"
            | "current_level" => reports.command,
            "sensor_v" | "pulses_refused" => reports.pins,
            "longest_ms" | "shortest_ms" => reports.loop_time,
            _ => true,
        },
    }
}

/// Switches that a reader wants to see over time once they close: the pilot's, and contact.
pub const PILOT_SWITCHES: [&str; 7] = [
    "hand.gripping",
    "release",
    "hat.fore",
    "hat.aft",
    "hat.left",
    "hat.right",
    "contact",
];

/// What is measured in a unit, with the unit, for the title of an axis.
pub fn titled(unit: &str) -> String {
    let what = match unit {
        "" => return "number".to_owned(),
        "deg" => "angle",
        "deg/s" => "rate",
        "N" => "force",
        "N m" => "torque",
        "A" => "current",
        "V" => "voltage",
        "full steps" => "lag",
        "ms" => "duration",
        "s" => "time",
        _ => return unit.to_owned(),
    };
    format!("{what}, {unit}")
}

/// Bytes of memory that one row with every signal takes.
pub fn bytes_per_row() -> usize {
    COLUMNS.iter().map(|column| column.kind.bytes()).sum()
}

/// Appends the values of rows to the column of the signal with this index in [`signals`].
pub(super) fn append(data: &mut Data, column: usize, rows: &[Row]) {
    APPENDERS[column](data, rows);
}

macro_rules! table {
    (
        head { $($head_name:literal, $head_kind:ident, $head_unit:literal, $head_meaning:literal, $head_get:expr;)* }
        axis { $($axis_name:ident, $axis_kind:ident, $axis_unit:literal, $axis_meaning:literal;)* }
        tail { $($tail_name:literal, $tail_kind:ident, $tail_unit:literal, $tail_meaning:literal, $tail_get:expr;)* }
        fault { $($fault_name:literal, $fault:ident, $fault_meaning:literal;)* }
        last { $($last_name:literal, $last_kind:ident, $last_unit:literal, $last_meaning:literal, $last_get:expr;)* }
    ) => {
        static COLUMNS: &[ColumnInfo] = &[
            $(table!(@info $head_name, $head_kind, $head_unit, $head_meaning),)*
            $(table!(@info concat!("pitch.", stringify!($axis_name)), $axis_kind, $axis_unit, $axis_meaning),)*
            $(table!(@info concat!("roll.", stringify!($axis_name)), $axis_kind, $axis_unit, $axis_meaning),)*
            $(table!(@info $tail_name, $tail_kind, $tail_unit, $tail_meaning),)*
            $(table!(@info concat!("fault.", $fault_name), Switch, "", $fault_meaning),)*
            $(table!(@info $last_name, $last_kind, $last_unit, $last_meaning),)*
        ];
        // One for each column, so that each is a loop over one field.
        static APPENDERS: &[fn(&mut Data, &[Row])] = &[
            $(|data, rows| data.append_rows(rows, |row| Cell::$head_kind($head_get(row))),)*
            $(|data, rows| data.append_rows(rows, |row| Cell::$axis_kind(row.axis[PITCH].$axis_name)),)*
            $(|data, rows| data.append_rows(rows, |row| Cell::$axis_kind(row.axis[ROLL].$axis_name)),)*
            $(|data, rows| data.append_rows(rows, |row| Cell::$tail_kind($tail_get(row))),)*
            $(|data, rows| data.append_rows(rows, |row| Cell::Switch(row.faults.has(Fault::$fault))),)*
            $(|data, rows| data.append_rows(rows, |row| Cell::$last_kind($last_get(row))),)*
        ];
    };
    (@info $name:expr, $kind:ident, $unit:literal, $meaning:literal) => {
        ColumnInfo {
            name: Cow::Borrowed($name),
            unit: Cow::Borrowed($unit),
            meaning: Cow::Borrowed($meaning),
            kind: ColumnKind::$kind,
        }
    };
}

table! {
    head {
        "time_s", Number, "s", "simulated time at the tick", |row: &Row| row.time_s;
        "state", State, "", "what the controller is doing", |row: &Row| row.state;
    }
    axis {
        stick_deg, Number, "deg", "stick angle";
        stick_rate_deg_per_s, Number, "deg/s", "rate of the stick angle";
        trim_deg, Number, "deg", "angle of the trim shaft, at the stick";
        deflection_deg, Number, "deg", "stick angle less trim angle";
        reference_deg, Number, "deg", "trimmed position that the controller keeps";
        drive_deg, Number, "deg", "drive position that the controller commands, at the stick";
        estimated_deg, Number, "deg", "stick angle that the controller estimates";
        grip_force_n, Number, "N", "force of the hand at the grip";
        cartridge_n_m, Number, "N m", "torque of the gradient cartridge on the stick";
        stop_force_n, Number, "N", "force of all contacts of the axis, as felt at the grip radius";
        current_a, Number, "A", "magnitude of the winding current vector";
        drive_rate_deg_per_s, Number, "deg/s", "commanded drive rate, at the stick; 0 while the drive is off";
        step_rate_deg_per_s, Number, "deg/s", "step rate that the controller asks for, also while the drive is off";
        lag_steps, Number, "full steps", "commanded less actual rotor position";
        command_deg, Number, "deg", "where the driver's count puts the trim shaft; while the drive is off, where it would catch it";
        command_rate_deg_per_s, Number, "deg/s", "rate of the driver's count over the last tick, at the stick";
        joystick, Integer, "", "joystick axis for the host simulator, -32767 to 32767";
        sensor_counts, Integer, "counts", "raw angle sensor reading";
        rotor_deg, Number, "deg", "rotor angle at the motor shaft";
        microstep_index, Integer, "", "index of the driver in its microstep table";
        step_fraction, Integer, "", "fraction of a microstep gathered in the step generator, times 2^32, as a signed 32-bit number";
        steps, Integer, "", "steps that the driver has counted, backward ones taken off, microsteps";
        pulses_refused, Integer, "", "step pulses so far that the driver's data sheet does not promise to count";
        sensor_v, Number, "V", "voltage of the angle sensor at the board's pin";
        current_level, Integer, "", "current that the controller asks for: 0 off, 1 holding, 2 running";
        enabled, Switch, "", "driver enabled";
        drive_on, Switch, "", "the controller asks for the drive to be on";
        home, Switch, "", "the controller pulls the driver's reset line";
    }
    tail {
        "hand.gripping", Switch, "", "the hand grips the stick", |row: &Row| row.hand.gripping;
        "hand.pitch_deg", Number, "deg", "pitch angle that the hand aims at; the stick's when not gripping", |row: &Row| row.hand.pitch_deg;
        "hand.roll_deg", Number, "deg", "roll angle that the hand aims at; the stick's when not gripping", |row: &Row| row.hand.roll_deg;
        "supply_v", Number, "V", "motor supply at the board", |row: &Row| row.supply_v;
        "supply_a", Number, "A", "current out of the supply", |row: &Row| row.supply_a;
        "release", Switch, "", "raw level of the trim-release button", |row: &Row| row.switches.release;
        "hat.fore", Switch, "", "raw level of the hat, forward", |row: &Row| row.switches.hat_fore;
        "hat.aft", Switch, "", "raw level of the hat, aft", |row: &Row| row.switches.hat_aft;
        "hat.left", Switch, "", "raw level of the hat, left", |row: &Row| row.switches.hat_left;
        "hat.right", Switch, "", "raw level of the hat, right", |row: &Row| row.switches.hat_right;
        "force_trim", Switch, "", "raw level of the force-trim switch", |row: &Row| row.switches.force_trim;
        "loop.longest_ms", Number, "ms", "longest turn of the program's loop that ended in the last tick, or the last one before", |row: &Row| row.loop_longest_ms;
        "loop.shortest_ms", Number, "ms", "shortest turn of the program's loop that ended in the last tick, or the last one before", |row: &Row| row.loop_shortest_ms;
    }
    fault {
        "sensor_range", SensorRange, "a sensor reads outside its valid counts";
        "sensor_rate", SensorRate, "a sensor moves faster than a stick can";
        "sensor_stuck", SensorStuck, "a sensor does not change while its drive moves";
        "ticks_lost", TicksLost, "more ticks were lost than can be made good";
        "supply_low", SupplyLow, "supply below its minimum";
        "hat_stuck", HatStuck, "a hat direction is closed for too long";
        "hat_conflict", HatConflict, "opposite hat directions are closed together";
        "release_stuck", ReleaseStuck, "trim release is closed for too long";
        "steps_slipped", StepsSlipped, "the drive has lost whole cycles of steps";
        "position_doubt", PositionDoubt, "stick and reference disagree by what lost steps cannot explain";
    }
    last {
        "contact", Switch, "", "the stick touches a stop or an obstacle", |row: &Row| row.contact;
        "tick_lost", Switch, "", "this tick's message did not reach the controller", |row: &Row| row.tick_lost;
        "controller_reset", Switch, "", "the controller has started again since its last answer", |row: &Row| row.controller_reset;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{About, Trace};

    #[test]
    fn every_fault_of_the_controller_has_its_column() {
        let named: Vec<_> = COLUMNS
            .iter()
            .filter_map(|column| column.name.strip_prefix("fault."))
            .collect();
        let faults: Vec<_> = Fault::ALL.iter().map(|fault| fault.name()).collect();
        assert_eq!(named, faults);
        for fault in Fault::ALL {
            let mut row = Row::default();
            row.faults.set(fault, true);
            let mut trace = Trace::new(About::default(), Reports::ALL, 1);
            trace.push(&row);
            let set: Vec<_> = COLUMNS
                .iter()
                .filter(|column| trace.switches(&column.name) == Some(&[true]))
                .map(|column| column.name.clone())
                .collect();
            assert_eq!(set, [format!("fault.{}", fault.name())]);
        }
    }

    #[test]
    fn names_are_unique_and_carry_their_unit() {
        for (index, column) in COLUMNS.iter().enumerate() {
            assert!(
                COLUMNS[..index]
                    .iter()
                    .all(|other| other.name != column.name),
                "{}",
                column.name
            );
            assert!(!column.meaning.is_empty());
            let suffix = match &*column.unit {
                "" => continue,
                "full steps" => "steps".to_owned(),
                unit => unit
                    .replace("/s", "_per_s")
                    .replace(' ', "_")
                    .to_lowercase(),
            };
            assert!(
                column.name.ends_with(&format!("_{suffix}")),
                "{} in {}",
                column.name,
                column.unit
            );
        }
    }

    #[test]
    fn ten_minutes_stay_within_130_mb() {
        // 600 s at 500 Hz. What a replay, the laws and firmware at its pins need took it past the
        // 100 MB that it had before.
        let bytes = 600 * 500 * bytes_per_row();
        assert!(bytes <= 130_000_000, "{bytes}");
        // 43 numbers, 14 whole numbers, 26 switches, 1 state.
        assert_eq!(bytes_per_row(), 43 * 8 + 14 * 4 + 26 + 1);
    }
}

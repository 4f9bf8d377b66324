mod files;
mod hostile;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::PathBuf;

use proptest::prelude::*;
use tempfile::TempDir;
use trimproof_formula::Signals;
use trimproof_io::{Fault, Reports, State};

use super::*;

impl Trace {
    /// The same without one column, as an older version might have written it.
    pub(crate) fn without_column(&self, name: &str) -> Self {
        let mut trace = self.clone();
        trace.columns.retain(|column| column.info.name != name);
        trace
    }
}

fn about() -> About {
    About {
        rig: "kittiwake".to_owned(),
        scenario: "release-near-stop".to_owned(),
        controller: "logic 0.1.0".to_owned(),
        seed: 7,
        tick_s: 0.002,
        versions: BTreeMap::from([("harness".to_owned(), "0.1.0".to_owned())]),
        // A comma, a quote, an equals sign: everything that CSV must quote. (Line breaks are shown,
        // see below.)
        notes: BTreeMap::from([("remark".to_owned(), "a, \"b\" c = d ".to_owned())]),
    }
}

/// A row whose every value depends on `index`.
fn row(index: usize) -> Row {
    let x = index as f64;
    let axis = |offset: f64| AxisRow {
        command_deg: offset + 0.7,
        command_rate_deg_per_s: -0.5 * offset,
        steps: -17,
        pulses_refused: 2,
        sensor_v: 2.5 + 0.01 * offset,
        stick_deg: x * 0.1 + offset,
        stick_rate_deg_per_s: -x / 3.0,
        trim_deg: x * 1e-7,
        deflection_deg: x * 0.1,
        reference_deg: offset,
        drive_deg: -offset,
        estimated_deg: x * 0.001,
        grip_force_n: 1.0 / (x + 3.0),
        cartridge_n_m: -1.2,
        stop_force_n: x * 1e12,
        current_a: 1.5,
        drive_rate_deg_per_s: -0.0,
        step_rate_deg_per_s: -2.5,
        lag_steps: 0.25,
        joystick: -32767 + index as i32,
        sensor_counts: 2048 + index as i32,
        rotor_deg: x * 0.6,
        microstep_index: index as i32 % 64,
        step_fraction: index as i32 * 65_537,
        current_level: index as i32 % 3,
        enabled: index % 2 == 1,
        drive_on: index.is_multiple_of(2),
        home: index.is_multiple_of(11),
    };
    let mut row = Row {
        time_s: x * 0.002,
        state: State::ALL[index % 6],
        axis: [axis(1.0), axis(-2.0)],
        ..Row::default()
    };
    row.hand = HandRow {
        gripping: index.is_multiple_of(3),
        pitch_deg: 0.5,
        roll_deg: -0.5,
    };
    (row.supply_v, row.supply_a) = (23.9, 0.1);
    (row.switches.release, row.switches.hat_left, row.contact) = (
        index.is_multiple_of(2),
        index.is_multiple_of(5),
        index.is_multiple_of(7),
    );
    row.faults.set(Fault::ALL[index % Fault::ALL.len()], true);
    row
}

fn trace(rows: usize) -> Trace {
    let mut trace = Trace::new(about(), Reports::ANY, rows);
    (0..rows).for_each(|index| trace.push(&row(index)));
    trace
}

fn written(trace: &Trace, name: &str) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    trace.write(&path).unwrap();
    (folder, path)
}

/// Bit for bit the same: `==` alone takes 0 for -0 and no NaN for itself.
fn same_bits(left: &Trace, right: &Trace) -> bool {
    left.hash() == right.hash() && left.rows() == right.rows() && left.about == right.about
}

#[test]
fn files_give_back_what_was_written() {
    for name in ["a.csv", "a.mcap", "A.CSV"] {
        // None, fewer and more rows than the last column has entries.
        for rows in [0, 1, 5, 100] {
            let trace = trace(rows);
            let (_folder, path) = written(&trace, name);
            let back = Trace::read(&path).unwrap();
            assert!(same_bits(&trace, &back), "{name}, {rows} rows");
            assert_eq!(trace, back);
        }
    }
}

#[test]
fn values_are_reached_by_name_and_kind() {
    let trace = trace(8);
    assert_eq!(trace.numbers("roll.stick_deg").unwrap()[4], 4.0 * 0.1 - 2.0);
    assert_eq!(trace.integers("pitch.joystick").unwrap()[7], -32760);
    assert_eq!(
        trace.switches("hat.left").unwrap(),
        [true, false, false, false, false, true, false, false]
    );
    assert_eq!(
        (trace.state(7), trace.state(8)),
        (Some(State::Centring), None)
    );
    assert_eq!(trace.time_s(3), Some(0.006));
    assert!(trace.numbers("hat.left").is_none() && trace.integers("time_s").is_none());
    // As formulas see it.
    let signals: &dyn Signals = &trace;
    assert_eq!((signals.rows(), signals.tick_s()), (8, 0.002));
    assert_eq!(
        signals.signal("state").unwrap()[..],
        [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 0.0, 1.0]
    );
    assert_eq!(signals.signal("contact").unwrap()[..2], [1.0, 0.0]);
    assert_eq!(
        signals.signal("fault.sensor_rate").unwrap()[..3],
        [0.0, 1.0, 0.0]
    );
    assert!(matches!(signals.signal("time_s"), Some(Cow::Borrowed(_))));
    assert!(signals.signal("pitch.stick").is_none());
}

fn any_number() -> impl Strategy<Value = f64> {
    let extremes = [
        0.0,
        -0.0,
        f64::MIN,
        f64::MAX,
        f64::MIN_POSITIVE,
        5e-324,
        f64::EPSILON,
        0.1,
        1e16,
        1e15 + 0.5,
    ]
    .into_iter()
    .chain([f64::INFINITY, f64::NEG_INFINITY, f64::NAN])
    .collect::<Vec<_>>();
    prop_oneof![
        proptest::sample::select(extremes),
        any::<u64>().prop_map(f64::from_bits),
        -100.0..100.0_f64
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn any_values_survive_both_formats(
        numbers in proptest::collection::vec(any_number(), 1..40),
        integer in any::<i32>(),
        note in "[ -~\u{e9}\u{1f600}]{0,20}",
    ) {
        let mut trace = trace(0);
        trace.about.notes.insert("any".to_owned(), note);
        for (index, number) in numbers.iter().enumerate() {
            let mut row = row(index);
            (row.axis[0].stick_deg, row.supply_a) = (*number, *number);
            row.axis[1].joystick = integer;
            trace.push(&row);
        }
        for name in ["a.csv", "a.mcap"] {
            let (_folder, path) = written(&trace, name);
            let back = Trace::read(&path).unwrap();
            prop_assert!(same_bits(&trace, &back), "{}", name);
        }
    }
}

#[test]
fn any_single_bit_of_any_column_changes_the_hash() {
    let trace = trace(3);
    let hash = trace.hash();
    assert_eq!(hash.len(), 32);
    let mut seen = std::collections::BTreeSet::from([hash.clone()]);
    let mut bits = 0;
    for place in 0..trace.columns.len() {
        let width = trace.columns[place].data.kind().bytes() * 8;
        // A switch has one bit.
        let width = if trace.columns[place].data.kind() == ColumnKind::Switch {
            1
        } else {
            width
        };
        for bit in 0..width {
            let mut other = trace.clone();
            match &mut other.columns[place].data {
                Data::Number(values) => {
                    values[1] = f64::from_bits(values[1].to_bits() ^ (1 << bit))
                }
                Data::Integer(values) => values[1] ^= 1 << bit,
                Data::Switch(values) => values[1] = !values[1],
                Data::State(codes) => codes[1] ^= 1 << bit,
            }
            assert!(
                seen.insert(other.hash()),
                "bit {bit} of {}",
                trace.columns[place].info.name
            );
            bits += 1;
        }
    }
    assert_eq!(bits, 43 * 64 + 14 * 32 + 26 + 8);
    // Neither do rows that move, go or come leave it alone, nor a column that goes.
    assert_ne!(self::trace(2).hash(), hash);
    assert_ne!(trace.without_column("contact").hash(), hash);
    // Where it comes from does not enter.
    let mut other = trace.clone();
    other.about = About::default();
    assert_eq!(other.hash(), hash);
}

/// The hash is part of the committed snapshots, so its definition must not drift: the first 16
/// bytes of BLAKE3 over the names, each with a 0 behind it, the values row by row, and the number
/// of rows (8 bytes, little end first). The expected bytes are put together here cell by cell; 130
/// rows are more than two of the hasher's blocks.
#[test]
fn the_hash_is_as_documented() {
    for rows in [0, 1, 64, 130] {
        let trace = trace(rows);
        let mut bytes = Vec::new();
        for info in signals() {
            bytes.extend_from_slice(info.name.as_bytes());
            bytes.push(0);
        }
        for row in 0..rows {
            for info in signals() {
                match trace.data(&info.name).unwrap() {
                    Data::Number(values) => bytes.extend(values[row].to_le_bytes()),
                    Data::Integer(values) => bytes.extend(values[row].to_le_bytes()),
                    Data::Switch(values) => bytes.push(u8::from(values[row])),
                    Data::State(codes) => bytes.push(codes[row]),
                }
            }
        }
        bytes.extend((rows as u64).to_le_bytes());
        let expected = blake3::hash(&bytes).to_hex()[..32].to_owned();
        assert_eq!(trace.hash(), expected, "{rows} rows");
    }
}

#[test]
fn a_trace_of_an_older_version_with_fewer_columns_is_read() {
    let older = trace(20)
        .without_column("contact")
        .without_column("pitch.lag_steps");
    for name in ["a.csv", "a.mcap"] {
        let (_folder, path) = written(&older, name);
        let back = Trace::read(&path).unwrap();
        assert!(same_bits(&older, &back), "{name}");
        assert_eq!(back.columns().count(), signals().len() - 2);
        assert!(back.data("contact").is_none());
    }
}

/// Rows of the guide's table of columns.
fn guide_table() -> String {
    let line = |info: &ColumnInfo| {
        let unit = if info.unit.is_empty() {
            "-"
        } else {
            &info.unit
        };
        format!(
            "| `{}` | {} | {unit} | {} |\n",
            info.name,
            info.kind.name(),
            info.meaning
        )
    };
    signals().iter().map(line).collect()
}

#[test]
fn the_guide_lists_every_column_as_it_is() {
    let guide = include_str!("../../../../docs/guides/traces.md");
    let rows: String = guide
        .lines()
        .filter(|line| line.starts_with("| `"))
        .flat_map(|line| [line, "\n"])
        .collect();
    assert_eq!(
        rows,
        guide_table(),
        "the table in docs/guides/traces.md differs from `signals()`"
    );
    let bytes = format!("{} bytes a row", bytes_per_row());
    assert!(guide.contains(&bytes), "the guide must say `{bytes}`");
}

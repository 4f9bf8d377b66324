//! Bench files: the form, everything that can be wrong with one, and size.

use std::fmt::Write as _;

use trimproof_diagnostics::FileError;
use trimproof_plant::AxisName;

use super::{ROWS_MAX, read, write};
use crate::extract::{figures, sweep_figures};
use crate::record::{Condition, Record, Response, ResponseSample, Sweep, SweepSample};

/// A loop from the middle over both stops and back: positions, degrees.
fn way(steps: i32) -> impl Iterator<Item = f64> {
    let out = 0..steps;
    let over = (-steps..=steps).rev();
    let back = -steps + 1..=0;
    out.chain(over)
        .chain(back)
        .map(move |i| 15.0 * f64::from(i) / f64::from(steps))
}

/// A sweep in this header's units: time, position and force are given in s, degrees and N to the
/// closure.
fn sweep_text(header: &str, row: impl Fn(f64, f64, f64) -> String) -> String {
    let mut text = format!("{header}\n");
    let mut last = 0.0;
    for (i, x) in way(40).enumerate() {
        let force = 0.5 * x + 2.0 * x.signum() + 0.3 * (x - last).signum();
        last = x;
        let _ = writeln!(text, "{}", row(i as f64 * 0.1, x, force));
    }
    text
}

fn plain_text() -> String {
    sweep_text("time [s],pitch [deg],pitch force [N]", |t, x, f| {
        format!("{t},{x},{f}")
    })
}

fn fails(text: &str) -> FileError {
    read(text, 0.4).unwrap_err()
}

/// The error of this text, at this part of it, with these words in message and help.
fn expect(text: &str, at: &str, message: &str, help: &str) {
    let error = fails(text);
    assert!(error.message.contains(message), "{error:?}");
    let shown = error.help.clone().unwrap_or_default();
    assert!(shown.contains(help), "{error:?}");
    let span = error.span.clone().expect("a place");
    assert_eq!(&text[span], at, "{error:?}");
}

#[test]
fn units_are_turned_into_degrees_and_newtons() {
    let plain = read(&plain_text(), 0.4).unwrap();
    let forms = [
        (
            "time [ms],pitch [rad],pitch force [lb]",
            1e3,
            1.0_f64.to_radians(),
            4.4482216152605,
        ),
        (
            "time [s],pitch at grip [mm],pitch force [kg]",
            1.0,
            400.0_f64.to_radians(),
            9.80665,
        ),
        (
            "time [s],pitch at grip [in],pitch force [daN]",
            1.0,
            400.0_f64.to_radians() / 25.4,
            10.0,
        ),
        (
            "time [s],pitch at grip [cm],pitch force [g]",
            1.0,
            40.0_f64.to_radians(),
            9.80665e-3,
        ),
    ];
    for (header, seconds, degree, newton) in forms {
        let text = sweep_text(header, |t, x, f| {
            format!("{}, {} ,{}\r", t * seconds, x * degree, f / newton)
        });
        let record = read(&text, 0.4).unwrap();
        assert_eq!(record.sweeps[0].axis, AxisName::Pitch);
        assert_eq!(record.sweeps[0].condition, Condition::Held);
        let pairs = record.sweeps[0]
            .samples
            .iter()
            .zip(&plain.sweeps[0].samples);
        for (one, other) in pairs {
            assert!((one.time_s - other.time_s).abs() < 1e-9, "{header}");
            assert!(
                (one.position_deg - other.position_deg).abs() < 1e-9,
                "{header}"
            );
            assert!((one.force_n - other.force_n).abs() < 1e-9, "{header}");
        }
    }
}

#[test]
fn columns_may_name_axis_condition_and_kind() {
    let mut text = sweep_text(
        "kind,axis,force [N],condition,position [deg],time [s]",
        |t, x, f| format!("sweep,roll,{f},released,{x},{t}"),
    );
    for i in 0..20 {
        let _ = writeln!(
            text,
            "response,pitch,,held,{},{}",
            5 - i,
            f64::from(i) * 0.1
        );
    }
    text.push_str("# a comment\n\npitch trim rate [deg/s],roll trim rate [deg/s]\n6.1,\n");
    let record = read(&text, 0.4).unwrap();
    let sweep = &record.sweeps[0];
    assert_eq!(
        (sweep.axis, sweep.condition),
        (AxisName::Roll, Condition::Released)
    );
    assert_eq!(record.responses[0].axis, AxisName::Pitch);
    assert_eq!(record.responses[0].samples.len(), 20);
    assert_eq!(record.trim_rate_deg_per_s, [Some(6.1), None]);
}

#[test]
fn a_record_comes_back_as_it_was() {
    let samples: Vec<SweepSample> = read(&plain_text(), 0.4).unwrap().sweeps[0]
        .samples
        .iter()
        .map(|s| SweepSample {
            position_deg: s.position_deg / 3.0,
            force_n: s.force_n * 1.1e-7,
            ..*s
        })
        .collect();
    let sweep = |axis, condition| Sweep {
        axis,
        condition,
        grip_radius_m: 0.33,
        samples: samples.clone(),
    };
    let response = |sign: f64| Response {
        axis: AxisName::Roll,
        condition: Condition::Unpowered,
        samples: (0..30)
            .map(|i| ResponseSample {
                time_s: f64::from(i) / 7.0,
                position_deg: sign * libm::exp(-f64::from(i) / 7.0),
            })
            .collect(),
    };
    let record = Record {
        source: "twin of kittiwake".to_owned(),
        sweeps: vec![
            sweep(AxisName::Pitch, Condition::Held),
            sweep(AxisName::Pitch, Condition::Released),
            sweep(AxisName::Roll, Condition::Held),
        ],
        responses: vec![response(1.0), response(-1.0)],
        trim_rate_deg_per_s: [Some(5.999), None],
    };
    let text = write(&record);
    assert_eq!(read(&text, 0.33).unwrap(), record);
    assert_eq!(read(&format!("\u{feff}{text}"), 0.33).unwrap(), record);
}

#[test]
fn a_file_without_a_header_is_reported() {
    expect(
        "0.0,1.0,2.0\n0.1,1.1,2.0\n",
        "0.0,1.0,2.0",
        "no header: line 1 begins with a number, `0.0`",
        "time [s],pitch [deg],pitch force [N]",
    );
    assert!(fails("").message.contains("holds no measurement"));
    assert!(
        fails("# nothing\n\n")
            .message
            .contains("holds no measurement")
    );
}

#[test]
fn names_and_units_are_checked_and_listed() {
    let rest = ",pitch force [N]\n0,0,0\n";
    expect(
        &format!("time [s],pitch [degrees]{rest}"),
        "pitch [degrees]",
        "unknown unit `degrees` of `pitch` in line 1",
        "`pitch [deg]`, `pitch [rad]`",
    );
    expect(
        "time [s],pitch [deg],pitch force [lbs]\n",
        "pitch force [lbs]",
        "unknown unit `lbs`",
        "`pitch force [lb]`",
    );
    expect(
        &format!("time,pitch [deg]{rest}"),
        "time",
        "`time` in line 1 has no unit",
        "`time [s]`, `time [ms]`",
    );
    expect(
        &format!("time [s],pich [deg]{rest}"),
        "pich [deg]",
        "unknown column `pich`",
        "did you mean `pitch`?",
    );
    expect(
        &format!("time [s,pitch [deg]{rest}"),
        "time [s",
        "has no `]`",
        "time [s]",
    );
    expect(
        "time [s];pitch [deg];pitch force [N]\n",
        "time [s];pitch [deg];pitch force [N]",
        "not parted by commas",
        "`,`",
    );
}

#[test]
fn missing_and_surplus_columns_are_reported() {
    let header = "pitch [deg],pitch force [N]";
    expect(header, header, "lacks a column: `time`", "time [s]");
    let header = "time [s],pitch force [N]";
    expect(header, header, "lacks a column: a position", "pitch [deg]");
    expect(
        "time [s],position [deg],force [N]",
        "force [N]",
        "is of no axis",
        "column `axis`",
    );
    expect(
        "time [s],pitch [deg],pitch at grip [mm]",
        "pitch at grip [mm]",
        "is a column too many",
        "one axis",
    );
    expect(
        "time [s],pitch [deg],roll force [N]",
        "roll force [N]",
        "is of another axis",
        "one axis",
    );
    let header = "axis,time [s],pitch [deg]";
    expect(
        header,
        header,
        "names the axis and has a column `axis`",
        "`position`",
    );
    expect(
        "time [s],pitch [deg],pitch force [N]\n0,1,2\n0.1,1,2,3\n",
        "0.1,1,2,3",
        "line 3 has `4` cells, its header has `3`",
        "`,`",
    );
    expect(
        "time [s],pitch [deg],pitch force [N]\n0,1\n",
        "0,1",
        "line 2 has `2` cells",
        "`,`",
    );
    let header = "time [s],pitch trim rate [deg/s]";
    expect(header, header, "beside other columns", "block of their own");
    let header = "pitch trim rate [deg/s]";
    expect(header, header, "take one row", "");
}

#[test]
fn cells_are_checked_with_line_and_value() {
    let text = plain_text();
    let lines: Vec<&str> = text.lines().collect();
    let with = |number: usize, line: &str| {
        let mut lines = lines.clone();
        lines[number - 1] = line;
        lines.join("\n")
    };
    expect(
        &with(9, "0.7,NaN,1"),
        "NaN",
        "`NaN` in line 9 is not a finite number",
        "",
    );
    expect(&with(9, "0.7,1,-inf"), "-inf", "`-inf` in line 9", "");
    expect(&with(9, "0.7,1e999,1"), "1e999", "not a finite number", "");
    expect(
        &with(9, "0.7,one,1"),
        "one",
        "`one` in line 9 is not a number",
        "-1.25",
    );
    expect(&with(9, "0.7,,1"), "", "a cell of line 9 is empty", "");
    expect(
        &with(9, "0.7,1,"),
        "0.7,1,",
        "the sweep in line 9 has no force",
        "force [N]",
    );
    expect(
        &with(9, "0.6,1,1"),
        "0.6",
        "time `0.6` in line 9 is not after the time before it, `0.6",
        "rises",
    );
    expect(&with(9, "-3,1,1"), "-3", "time `-3` in line 9", "rises");
    let mut text = text.replace("time [s]", "condition,time [s]");
    text.truncate(text.find('\n').unwrap());
    let text = format!("{text}\nholding,0,0,0\n");
    expect(
        &text,
        "holding",
        "unknown condition `holding` in line 2",
        "`held`, `released`, `unpowered`",
    );
}

#[test]
fn a_measurement_must_be_whole() {
    let three = "time [s],pitch [deg],pitch force [N]\n0,0,0\n1,1,1\n2,2,2\n";
    expect(
        three,
        "0,0,0",
        "the sweep of pitch, held, in line 2, has `3` rows, it takes at least `24`",
        "",
    );
    let three = "time [s],roll [deg]\n0,3\n1,2\n2,1\n";
    expect(
        three,
        "0,3",
        "the response of roll, held, in line 2, has `3` rows",
        "",
    );
    let one_way: String = plain_text()
        .lines()
        .take(42)
        .map(|line| format!("{line}\n"))
        .collect();
    let last = one_way.lines().last().unwrap();
    expect(
        &one_way,
        last,
        "the sweep goes one way only",
        "to the other, and back to the middle",
    );
    let twice = format!("{}\n{}", plain_text(), plain_text());
    let error = fails(&twice);
    assert!(
        error.message.contains("stands in the file already"),
        "{error:?}"
    );
    assert!(error.span.unwrap().start > plain_text().len());
    for radius in [0.0, -1.0, f64::NAN] {
        let error = read(&plain_text(), radius).unwrap_err();
        assert!(error.message.contains("grip radius"), "{error:?}");
    }
}

/// A sweep of this many rows as a gauge logs it: three decimals, some noise.
fn long(rows: usize) -> String {
    let mut text = String::with_capacity(rows * 24);
    text.push_str("time [s],pitch [deg],pitch force [N]\n");
    let mut last = 0.0;
    for (i, x) in way((rows / 4) as i32).take(rows).enumerate() {
        let noise = f64::from((i as u32).wrapping_mul(2_654_435_761) >> 16) / 65536.0 - 0.5;
        let sign = if x >= last { 1.0 } else { -1.0 };
        last = x;
        let preload = if x.abs() < 0.25 {
            0.0
        } else {
            2.0_f64.copysign(x)
        };
        let force = 0.5 * x + preload + 0.3 * sign + 0.2 * noise;
        let _ = writeln!(text, "{:.5},{x:.5},{force:.3}", i as f64 * 0.001);
    }
    text
}

fn check_long(rows: usize) {
    let text = long(rows);
    let record = read(&text, 0.4).unwrap();
    drop(text);
    assert_eq!(record.sweeps[0].samples.len(), rows);
    let found = sweep_figures(&record.sweeps[0]).unwrap();
    assert!((found.friction_n - 0.3).abs() < 0.01, "{found:?}");
    assert!((found.free_play_deg - 0.5).abs() < 0.01, "{found:?}");
    assert!((found.breakout_n[1] - 2.425).abs() < 0.05, "{found:?}");
}

#[test]
fn three_hundred_thousand_rows_are_read_and_measured() {
    check_long(300_000);
}

/// Seconds and memory are reported in `docs/model/feel.md`.
#[test]
#[ignore = "five million rows: run by hand"]
fn five_million_rows_are_read_and_measured() {
    check_long(5_000_000);
}

#[test]
fn more_rows_than_the_limit_are_refused_at_once() {
    let header = super::Header {
        columns: vec![
            super::header::HeaderColumn::Time(1.0),
            super::header::HeaderColumn::Angle(1.0),
        ],
        axis: Some(AxisName::Pitch),
    };
    let mut lines = super::lines::Lines::new("0,1\n1,1\n2,1\n");
    let mut left = 2;
    let error = super::rows::read(&header, &mut lines, 0.4, &mut left).unwrap_err();
    assert_eq!(
        error.message,
        format!("line 3 is a row too many: a file has at most `{ROWS_MAX}` rows")
    );
}

#[test]
fn what_was_read_gives_figures() {
    let record = read(&plain_text(), 0.4).unwrap();
    let found = figures(&record).unwrap();
    assert!((found.sweeps[0].friction_n - 0.3).abs() < 0.02, "{found:?}");
    assert!(
        (found.sweeps[0].first_inch_n_per_deg[0] - 0.5).abs() < 0.02,
        "{found:?}"
    );
}

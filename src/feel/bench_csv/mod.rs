//! Bench files: what was measured with a force gauge and an angle sensor, as text.
//!
//! A file is one block or several, parted by empty lines. A block is a header row that names each
//! column with its unit, then a row for each reading. The form stands in `docs/guides/feel.md`.

mod header;
mod lines;
mod rows;
#[cfg(test)]
mod tests;

use std::fmt::Write as _;

use trimproof_diagnostics::FileError;
use trimproof_diagnostics::line;
use trimproof_plant::AxisName;

use crate::extract::{RESPONSE_READINGS_MIN, SWEEP_READINGS_MIN, ways};
use crate::record::{Record, Response, Sweep};

pub use lines::ROWS_MAX;

use header::Header;
use lines::Lines;
use rows::{BenchRows, RowKind};

/// Largest file that is read, bytes: five million readings of 23 bytes with room to spare.
pub const BYTES_MAX: u64 = 128 << 20;

/// Longest line, bytes: a header that names every column in full has some 200.
pub const LINE_MAX: usize = 4096;

/// Reads a bench file. `grip_radius_m`: distance of the grip's reference point from the pivot,
/// which turns travel at the grip into degrees.
///
/// # Errors
///
/// The first thing that is wrong, with its line and value: no header, unknown column or unit,
/// missing column, cells that are no finite numbers, time that does not rise, too few rows, a sweep
/// that never comes back, the same sweep twice, more than [`ROWS_MAX`] rows, a line of more than
/// [`LINE_MAX`] bytes.
pub fn read(text: &str, grip_radius_m: f64) -> Result<Record, FileError> {
    if !(grip_radius_m.is_finite() && grip_radius_m > 0.0) {
        return Err(FileError::new(format!(
            "the grip radius `{grip_radius_m}` m is not a number above 0"
        )));
    }
    check_lines(text)?;
    let mut record = Record::default();
    let mut rows_left = ROWS_MAX;
    let mut lines = Lines::new(text);
    while let Some(line) = lines.next_block(&mut record.source) {
        let header = Header::read(&line)?;
        if let Some(rates) = rows::trim_rates(&header, &line, &mut lines)? {
            for (known, rate) in record.trim_rate_deg_per_s.iter_mut().zip(rates) {
                *known = rate.or(*known);
            }
            continue;
        }
        for rows in rows::read(&header, &mut lines, grip_radius_m, &mut rows_left)? {
            add(&mut record, rows, grip_radius_m)?;
        }
    }
    if record.sweeps.is_empty()
        && record.responses.is_empty()
        && record.trim_rate_deg_per_s == [None; 2]
    {
        return Err(FileError::new("the file holds no measurement").with_help(
            "it begins with a header row, such as `time [s],pitch [deg],pitch force [N]`",
        ));
    }
    Ok(record)
}

/// No line may be longer than [`LINE_MAX`].
fn check_lines(text: &str) -> Result<(), FileError> {
    let mut at = 0;
    for (index, row) in text.split('\n').enumerate() {
        if row.len() > LINE_MAX {
            return Err(FileError::new(format!(
                "line {} has `{}` bytes, it may have at most {LINE_MAX}",
                index + 1,
                row.len()
            ))
            .with_span(at..at + row.len())
            .with_help("each reading stands in a line of its own"));
        }
        at += row.len() + 1;
    }
    Ok(())
}

/// Writes a record in the form that [`read`] takes: degrees and newtons, every number so that it
/// comes back with the same bits.
pub fn write(record: &Record) -> String {
    let mut out = String::new();
    if !record.source.is_empty() {
        let _ = writeln!(out, "# source: {}", line(&record.source));
    }
    for sweep in &record.sweeps {
        let axis = sweep.axis.name();
        let condition = sweep.condition.name();
        let _ = writeln!(out, "\ncondition,time [s],{axis} [deg],{axis} force [N]");
        for sample in &sweep.samples {
            let _ = writeln!(
                out,
                "{condition},{},{},{}",
                sample.time_s, sample.position_deg, sample.force_n
            );
        }
    }
    for response in &record.responses {
        let axis = response.axis.name();
        let condition = response.condition.name();
        let _ = writeln!(out, "\ncondition,time [s],{axis} [deg]");
        for sample in &response.samples {
            let _ = writeln!(out, "{condition},{},{}", sample.time_s, sample.position_deg);
        }
    }
    for axis in AxisName::ALL {
        if let Some(rate) = record.trim_rate_deg_per_s[axis.index()] {
            let _ = writeln!(out, "\n{} trim rate [deg/s]\n{rate}", axis.name());
        }
    }
    out
}

/// Checks one measurement as a whole and puts it into the record.
fn add(record: &mut Record, rows: BenchRows, grip_radius_m: f64) -> Result<(), FileError> {
    let BenchRows {
        kind,
        axis,
        condition,
        first,
        last,
        line,
        ..
    } = rows;
    let what = format!(
        "the {} of {}, {}, in line {line}",
        kind.name(),
        axis.name(),
        condition.name()
    );
    let (found, needed) = match kind {
        RowKind::Sweep => (rows.sweep.len(), SWEEP_READINGS_MIN),
        RowKind::Response => (rows.response.len(), RESPONSE_READINGS_MIN),
    };
    if found < needed {
        return Err(FileError::new(format!(
            "{what}, has `{found}` rows, it takes at least `{needed}`"
        ))
        .with_span(first));
    }
    match kind {
        RowKind::Sweep => {
            if record
                .sweeps
                .iter()
                .any(|sweep| (sweep.axis, sweep.condition) == (axis, condition))
            {
                return Err(
                    FileError::new(format!("{what}, stands in the file already"))
                        .with_span(first)
                        .with_help("each axis is swept once in each condition"),
                );
            }
            ways(&rows.sweep).map_err(|error| {
                FileError::new(format!("{what}: {error}"))
                    .with_span(last)
                    .with_help(
                        "a sweep goes from the middle to one stop, to the other, and back to the middle",
                    )
            })?;
            record.sweeps.push(Sweep {
                axis,
                condition,
                grip_radius_m,
                samples: rows.sweep,
            });
        }
        RowKind::Response => record.responses.push(Response {
            axis,
            condition,
            samples: rows.response,
        }),
    }
    Ok(())
}

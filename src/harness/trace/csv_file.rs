//! Traces as CSV (RFC 4180): a header, one record a row, lines end in CR LF. The last column,
//! `about`, holds `key=value` from the first record on; it may need more records than there are
//! rows, whose other fields are empty.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};

use csv::{ErrorKind, ReaderBuilder, StringRecord, Terminator, WriterBuilder};
use trimproof_diagnostics::nearest;

use super::about::Stamp;
use super::columns::signals;
use super::error::Flaw;
use super::table::{Column, ENTRIES_MAX, ROWS_MAX, Trace};

/// Name of the last column.
const ABOUT: &str = "about";

/// Longest record that is read, bytes: a row of ours has some 2000.
const RECORD_MAX: usize = 1 << 16;

/// Bytes that are read at a time.
const BUFFER: usize = 1 << 16;

pub(super) fn write(trace: &Trace, out: &mut impl Write) -> io::Result<()> {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .from_writer(out);
    writer
        .write_record(trace.columns().map(|info| &*info.name).chain([ABOUT]))
        .map_err(io::Error::from)?;
    let entries = trace.stamp().entries();
    for row in 0..trace.rows().max(entries.len()) {
        for Column { data, .. } in &trace.columns {
            let text = if row < trace.rows() {
                data.text(row)
            } else {
                String::new()
            };
            writer.write_field(text).map_err(io::Error::from)?;
        }
        let about = entries
            .get(row)
            .map(|(key, value)| format!("{key}={value}"))
            .unwrap_or_default();
        writer.write_field(about).map_err(io::Error::from)?;
        writer
            .write_record(None::<&[u8]>)
            .map_err(io::Error::from)?;
    }
    writer.flush()
}

pub(super) fn read(file: File) -> Result<Trace, Flaw> {
    let Opened {
        mut reader,
        header,
        mut trace,
        skew,
    } = open(file)?;
    let order = order_of(&header, &trace);
    let mut entries = Vec::new();
    let mut record = StringRecord::new();
    let mut data_over = false;
    while next(&mut reader, &mut record, skew)? {
        let line = record
            .position()
            .map_or(0, |position| position.line() + skew);
        let about = record.get(order.len()).unwrap_or_default();
        if !about.is_empty() {
            let (key, value) = about.split_once('=').ok_or_else(|| {
                Flaw::Damaged(format!(
                    "line {line}, `about` is `{about}`, it must be `key=value`"
                ))
            })?;
            entries.push((key.to_owned(), value.to_owned()));
            few_enough(&entries)?;
        }
        if record.iter().take(order.len()).all(str::is_empty) {
            data_over = true;
            continue;
        }
        if data_over {
            return Err(Flaw::Damaged(format!(
                "line {line}, values after the last row"
            )));
        }
        if trace.rows() >= ROWS_MAX {
            return Err(Flaw::Damaged(format!("it has more than {ROWS_MAX} rows")));
        }
        for (text, place) in record.iter().zip(&order) {
            let column = &mut trace.columns[*place];
            column.data.push_text(text).map_err(|rule| {
                Flaw::Damaged(format!(
                    "line {line}, `{}` is `{text}`, {rule}",
                    column.info.name
                ))
            })?;
        }
    }
    if entries.is_empty() {
        return Err(Flaw::Truncated("it has no rows".to_owned()));
    }
    let stamp = Stamp::from_entries(entries)?;
    stamp.verify(trace.rows(), || trace.hash())?;
    trace.about = stamp.about;
    Ok(trace)
}

/// What the file says of itself, without reading all of its rows.
pub(super) fn about(file: File) -> Result<Stamp, Flaw> {
    let Opened {
        mut reader, skew, ..
    } = open(file)?;
    let mut entries = Vec::new();
    let mut record = StringRecord::new();
    while next(&mut reader, &mut record, skew)? {
        // It stands in the first records, one thing in each.
        let about = record.iter().next_back().unwrap_or_default();
        match about.split_once('=') {
            Some((key, value)) => entries.push((key.to_owned(), value.to_owned())),
            None => break,
        }
        few_enough(&entries)?;
    }
    if entries.is_empty() {
        return Err(Flaw::Truncated("it has no rows".to_owned()));
    }
    Stamp::from_entries(entries)
}

/// Reads the next record; `false` at the end.
fn next(
    reader: &mut csv::Reader<Portioned>,
    record: &mut StringRecord,
    skew: u64,
) -> Result<bool, Flaw> {
    reader.get_mut().refill();
    match reader.read_record(record) {
        Ok(is_there) => Ok(is_there),
        Err(error) => {
            let line = reader.position().line() + skew;
            Err(too_long(&error, line).unwrap_or_else(|| flaw(error, skew)))
        }
    }
}

fn few_enough(entries: &[(String, String)]) -> Result<(), Flaw> {
    if entries.len() > ENTRIES_MAX {
        return Err(Flaw::Damaged(format!(
            "it says more than {ENTRIES_MAX} things of itself"
        )));
    }
    Ok(())
}

/// A file of which each record may take only so many bytes: a line without an end must not be taken
/// into memory.
struct Portioned {
    file: File,
    left: usize,
}

impl Portioned {
    fn new(file: File) -> Self {
        let mut portioned = Self { file, left: 0 };
        portioned.refill();
        portioned
    }

    /// Another record begins. What is read at a time may hold the beginning of the one after it.
    fn refill(&mut self) {
        self.left = RECORD_MAX + BUFFER;
    }
}

impl Read for Portioned {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let most = into.len().min(self.left);
        if most == 0 && !into.is_empty() {
            return Err(io::Error::other(TooLong));
        }
        let count = self.file.read(&mut into[..most])?;
        self.left -= count;
        Ok(count)
    }
}

/// A record has more than [`RECORD_MAX`] bytes.
#[derive(Debug, thiserror::Error)]
#[error("a line is too long")]
struct TooLong;

/// The flaw of a record that is too long, if that is what the error says.
fn too_long(error: &csv::Error, line: u64) -> Option<Flaw> {
    let ErrorKind::Io(error) = error.kind() else {
        return None;
    };
    error.get_ref()?.downcast_ref::<TooLong>()?;
    Some(Flaw::Damaged(format!(
        "the record that begins in line {line} or before has more than {RECORD_MAX} bytes"
    )))
}

/// A file whose first line is a trace's and whose last line is whole.
struct Opened {
    reader: csv::Reader<Portioned>,
    header: StringRecord,
    trace: Trace,
    /// What is added to the reader's numbers of lines.
    skew: u64,
}

fn open(mut file: File) -> Result<Opened, Flaw> {
    let ends_in_line = ends_in_line(&mut file)?;
    let mut reader = ReaderBuilder::new()
        .buffer_capacity(BUFFER)
        .from_reader(Portioned::new(file));
    let header = reader.headers().cloned();
    let header =
        header.map_err(
            |error| match too_long(&error, 1).unwrap_or_else(|| flaw(error, 0)) {
                Flaw::Damaged(detail) => Flaw::Foreign(detail),
                other => other,
            },
        )?;
    // With CR LF the reader takes a record to begin before the LF of the line above it.
    let skew = 2_u64.saturating_sub(reader.position().line());
    let trace = match trace_for(&header) {
        // A file cut off within its first line has a wrong header, but is not foreign.
        Err(_) if !ends_in_line && begins_ours(&header) => {
            return Err(Flaw::Truncated("it ends within the first line".to_owned()));
        }
        other => other?,
    };
    if !ends_in_line {
        return Err(Flaw::Truncated("it ends within a line".to_owned()));
    }
    Ok(Opened {
        reader,
        header,
        trace,
        skew,
    })
}

/// An empty trace with the header's columns.
fn trace_for(header: &StringRecord) -> Result<Trace, Flaw> {
    let names: Vec<&str> = header.iter().collect();
    let Some((&ABOUT, names)) = names.split_last() else {
        return Err(Flaw::Foreign(format!("its last column is not `{ABOUT}`")));
    };
    let indices = names
        .iter()
        .map(|name| signal_index(name))
        .collect::<Result<Vec<_>, _>>()?;
    for (place, index) in indices.iter().enumerate() {
        if indices[..place].contains(index) {
            return Err(Flaw::Foreign(format!(
                "column `{}` is there twice",
                names[place]
            )));
        }
    }
    if !names.contains(&"time_s") {
        return Err(Flaw::Foreign("it has no column `time_s`".to_owned()));
    }
    Ok(Trace::with_signals(indices))
}

/// Index in [`signals`] of the signal with this name.
pub(super) fn signal_index(name: &str) -> Result<usize, Flaw> {
    signals()
        .iter()
        .position(|info| info.name == name)
        .ok_or_else(|| {
            let near = nearest(name, signals().iter().map(|info| &*info.name));
            let near = near
                .map(|near| format!(", the nearest is `{near}`"))
                .unwrap_or_default();
            Flaw::Foreign(format!("column `{name}` is not known{near}"))
        })
}

/// For each field of a record but the last, its place among the trace's columns.
fn order_of(header: &StringRecord, trace: &Trace) -> Vec<usize> {
    header
        .iter()
        .filter_map(|name| trace.columns().position(|info| info.name == name))
        .collect()
}

/// Whether a header that stands alone is the beginning of one of ours: known names in their order,
/// the last of them perhaps cut short.
fn begins_ours(header: &StringRecord) -> bool {
    let names: Vec<&str> = header.iter().collect();
    let Some((cut, whole)) = names.split_last() else {
        return false;
    };
    let mut known = signals().iter().map(|info| &*info.name).chain([ABOUT]);
    whole.iter().all(|name| known.any(|one| one == *name)) && known.any(|one| one.starts_with(cut))
}

fn ends_in_line(file: &mut File) -> io::Result<bool> {
    let length = file.seek(SeekFrom::End(0))?;
    let mut last = [0_u8];
    if length > 0 {
        file.seek(SeekFrom::End(-1))?;
        file.read_exact(&mut last)?;
    }
    file.seek(SeekFrom::Start(0))?;
    Ok(last == *b"\n")
}

/// Puts an error of the CSV reader into our words; `skew` is added to its number of the line.
fn flaw(error: csv::Error, skew: u64) -> Flaw {
    let line = error
        .position()
        .map_or(0, |position| position.line() + skew);
    match error.into_kind() {
        ErrorKind::Io(error) => Flaw::Io(error),
        ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => Flaw::Damaged(format!(
            "line {line} has `{len}` fields, the header has `{expected_len}`"
        )),
        ErrorKind::Utf8 { .. } => Flaw::Damaged(format!("line {line} is not UTF-8")),
        other => Flaw::Damaged(format!("{other:?}")),
    }
}

//! Traces as MCAP: one topic a group of signals, so that general viewers plot them: `/pitch` has
//! `stick_deg` of `pitch.stick_deg`; what has no group is in `/trace`. JSON messages with a JSON
//! Schema, one a row and topic, in compressed chunks. The metadata record `about` says what CSV's
//! last column says.
//!
//! JSON has no NaN and no infinities: such a value stands as the string `NaN`, `inf` or `-inf`, and
//! the schema of its column says so.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read, Seek, Write};

use mcap::records::{MessageHeader, Metadata, Record, op};
use mcap::sans_io::linear_reader::{LinearReadEvent, LinearReader, LinearReaderOptions};
use mcap::{Compression, McapError, WriteOptions};
use serde_json::{Map, Value, json};
use trimproof_io::State;

use super::about::Stamp;
use super::columns::ColumnInfo;
use super::csv_file::signal_index;
use super::data::Data;
use super::error::Flaw;
use super::row::{Cell, ColumnKind};
use super::table::{Column, ENTRIES_MAX, ROWS_MAX, Trace};

/// Topic of the signals without a group, and what the names of all schemas begin with.
const TRACE: &str = "trace";
/// Name of the metadata record.
const ABOUT: &str = "about";
/// Longest record that is read, bytes: far above the chunks that are written (1 MiB).
const RECORD_LIMIT: usize = 1 << 24;
/// Longest record of what the file says of itself, and longest message, bytes: ours have some 3000.
const CONTENT_LIMIT: usize = 1 << 20;

pub(super) fn write(trace: &Trace, out: &mut (impl Write + Seek)) -> io::Result<()> {
    write_as(trace, out, Some(Compression::Lz4))
}

/// As [`write`], with chunks compressed as `compression` says.
pub(super) fn write_as(
    trace: &Trace,
    out: &mut (impl Write + Seek),
    compression: Option<Compression>,
) -> io::Result<()> {
    write_all(trace, out, compression).map_err(|error| match error {
        McapError::Io(error) => error,
        other => io::Error::other(other),
    })
}

fn write_all(
    trace: &Trace,
    out: &mut (impl Write + Seek),
    compression: Option<Compression>,
) -> Result<(), McapError> {
    let library = concat!("trimproof ", env!("CARGO_PKG_VERSION"));
    let mut writer = WriteOptions::new()
        .compression(compression)
        .library(library)
        .create(out)?;
    let metadata = trace.stamp().entries().into_iter().collect();
    writer.write_metadata(&Metadata {
        name: ABOUT.to_owned(),
        metadata,
    })?;
    let mut channels = Vec::new();
    for (group, columns) in groups(trace) {
        let schema = schema_of(&group, &columns).to_string();
        let schema = writer.add_schema(&schema_name(&group), "jsonschema", schema.as_bytes())?;
        let topic = format!("/{group}");
        let channel_id = writer.add_channel(schema, &topic, "json", &BTreeMap::new())?;
        channels.push((channel_id, columns));
    }
    let mut text = String::new();
    for row in 0..trace.rows() {
        // A float cast saturates: a time that is no time at all becomes 0.
        let log_time = (trace.time_s(row).unwrap_or(0.0) * 1e9).round() as u64;
        for (channel_id, columns) in &channels {
            text.clear();
            // Writing to a string cannot fail.
            let _ = write_message(columns, row, &mut text);
            let header = MessageHeader {
                channel_id: *channel_id,
                sequence: row as u32,
                log_time,
                publish_time: log_time,
            };
            writer.write_to_known_channel(&header, text.as_bytes())?;
        }
    }
    writer.finish()?;
    Ok(())
}

/// The columns by their groups, in the order of their first ones.
fn groups(trace: &Trace) -> Vec<(String, Vec<&Column>)> {
    let mut groups: Vec<(String, Vec<&Column>)> = Vec::new();
    for column in &trace.columns {
        let (group, _) = split(&column.info.name);
        match groups.iter_mut().find(|(known, _)| known == group) {
            Some((_, columns)) => columns.push(column),
            None => groups.push((group.to_owned(), vec![column])),
        }
    }
    groups
}

fn schema_name(group: &str) -> String {
    format!("trimproof.{group}")
}

/// Group and name within it.
fn split(name: &str) -> (&str, &str) {
    name.split_once('.').unwrap_or((TRACE, name))
}

/// Full name of a signal of a group.
fn joined(group: &str, name: &str) -> String {
    if group == TRACE {
        name.to_owned()
    } else {
        format!("{group}.{name}")
    }
}

fn write_message(columns: &[&Column], row: usize, out: &mut String) -> std::fmt::Result {
    for (place, column) in columns.iter().enumerate() {
        let (_, name) = split(&column.info.name);
        out.push(if place == 0 { '{' } else { ',' });
        write!(out, "\"{name}\":")?;
        match &column.data {
            Data::Number(values) if values[row].is_finite() => write!(out, "{:?}", values[row])?,
            Data::Number(_) | Data::State(_) => write!(out, "\"{}\"", column.data.text(row))?,
            Data::Integer(values) => write!(out, "{}", values[row])?,
            Data::Switch(values) => write!(out, "{}", values[row])?,
        }
    }
    out.push('}');
    Ok(())
}

/// JSON Schema of a group's messages.
fn schema_of(group: &str, columns: &[&Column]) -> Value {
    let mut properties = Map::new();
    for column in columns {
        let (_, name) = split(&column.info.name);
        properties.insert(name.to_owned(), property(&column.info, &column.data));
    }
    let mut schema = object(properties);
    schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    schema["title"] = json!(schema_name(group));
    schema
}

fn object(properties: Map<String, Value>) -> Value {
    json!({ "type": "object", "properties": properties })
}

fn property(info: &ColumnInfo, data: &Data) -> Value {
    let unit = if info.unit.is_empty() {
        String::new()
    } else {
        format!(", {}", info.unit)
    };
    let mut property = json!({ "description": format!("{}{unit}", info.meaning) });
    property["type"] = match data {
        Data::Number(values) if values.iter().any(|value| !value.is_finite()) => {
            json!(["number", "string"])
        }
        Data::Number(_) => json!("number"),
        Data::Integer(_) => json!("integer"),
        Data::Switch(_) => json!("boolean"),
        Data::State(_) => json!("string"),
    };
    if info.kind == ColumnKind::State {
        property["enum"] = State::ALL.iter().map(|state| state.name()).collect();
    }
    property
}

pub(super) fn read(file: File) -> Result<Trace, Flaw> {
    read_until(file, |_| false)?.finish()
}

/// What the file says of itself, without reading its rows.
pub(super) fn about(file: File) -> Result<Stamp, Flaw> {
    let reading = read_until(file, |reading| reading.entries.is_some())?;
    let entries = reading
        .entries
        .ok_or_else(|| Flaw::Foreign(format!("it has no metadata record `{ABOUT}`")))?;
    Stamp::from_entries(entries)
}

/// Reads to the end, or until there is enough.
fn read_until(mut file: File, enough: impl Fn(&Reading) -> bool) -> Result<Reading, Flaw> {
    let options = LinearReaderOptions::default()
        .with_check_finishes_after_end_magic(true)
        .with_validate_chunk_crcs(true)
        .with_validate_data_section_crc(true)
        .with_validate_summary_section_crc(true)
        .with_record_length_limit(RECORD_LIMIT);
    let length = file.metadata()?.len();
    let mut begun = false;
    let mut reader = LinearReader::new_with_options(options);
    let mut reading = Reading::default();
    while !enough(&reading)
        && let Some(event) = reader.next_event()
    {
        match event.map_err(|error| flaw(error, begun, length))? {
            LinearReadEvent::ReadRequest(wanted) => {
                let got = file.read(reader.insert(wanted))?;
                reader.notify_read(got);
            }
            LinearReadEvent::Record { data, opcode } => {
                begun = true;
                // All other records are for those who want to look something up.
                if !matches!(
                    opcode,
                    op::METADATA | op::SCHEMA | op::CHANNEL | op::MESSAGE
                ) {
                    continue;
                }
                if data.len() > CONTENT_LIMIT || lengths_fit(opcode, data).is_none() {
                    return Err(Flaw::Damaged(format!(
                        "a record of kind `{opcode}` is too long, or a length in it reaches beyond its end"
                    )));
                }
                let record =
                    mcap::parse_record(opcode, data).map_err(|error| flaw(error, begun, length))?;
                reading.take(record)?;
            }
        }
    }
    Ok(reading)
}

/// `None` if a length inside a record reaches beyond its end. The library makes room for a text of
/// the length that stands in the file before it looks whether so much is there; layout: MCAP
/// specification, section "Records".
pub(super) fn lengths_fit(opcode: u8, data: &[u8]) -> Option<()> {
    let mut rest = data;
    match opcode {
        op::METADATA => {
            skip_text(&mut rest)?;
            skip_map(&mut rest)
        }
        op::SCHEMA => {
            skip(&mut rest, 2)?;
            skip_text(&mut rest)?;
            skip_text(&mut rest)?;
            skip_text(&mut rest)
        }
        op::CHANNEL => {
            skip(&mut rest, 4)?;
            skip_text(&mut rest)?;
            skip_text(&mut rest)?;
            skip_map(&mut rest)
        }
        // Channel, sequence and two times; the rest is the message.
        op::MESSAGE => skip(&mut rest, 22).map(|_| ()),
        _ => None,
    }
}

fn skip<'a>(rest: &mut &'a [u8], count: usize) -> Option<&'a [u8]> {
    let (skipped, left) = rest.split_at_checked(count)?;
    *rest = left;
    Some(skipped)
}

fn length(rest: &mut &[u8]) -> Option<usize> {
    let bytes = skip(rest, 4)?.try_into().ok()?;
    usize::try_from(u32::from_le_bytes(bytes)).ok()
}

fn skip_text(rest: &mut &[u8]) -> Option<()> {
    let length = length(rest)?;
    skip(rest, length).map(|_| ())
}

fn skip_map(rest: &mut &[u8]) -> Option<()> {
    let length = length(rest)?;
    let mut inside = skip(rest, length)?;
    for _ in 0..=ENTRIES_MAX {
        if inside.is_empty() {
            return Some(());
        }
        skip_text(&mut inside)?;
        skip_text(&mut inside)?;
    }
    None
}

/// What was found so far.
#[derive(Default)]
struct Reading {
    entries: Option<BTreeMap<String, String>>,
    /// Schemas by their ids; a file may repeat them at its end.
    schemas: BTreeMap<u16, Vec<u8>>,
    channels: BTreeMap<u16, Channel>,
}

/// A topic of ours and what came on it.
struct Channel {
    group: String,
    columns: Vec<Column>,
}

impl Reading {
    fn take(&mut self, record: Record<'_>) -> Result<(), Flaw> {
        match record {
            Record::Metadata(metadata) if metadata.name == ABOUT => {
                let earlier = self.entries.replace(metadata.metadata);
                if earlier.is_some() {
                    return Err(Flaw::Damaged(format!(
                        "it has two metadata records `{ABOUT}`"
                    )));
                }
            }
            Record::Schema { header, data } if header.name.starts_with("trimproof.") => {
                self.schemas.insert(header.id, data.into_owned());
            }
            Record::Channel(channel) if !self.channels.contains_key(&channel.id) => {
                // Topics of others may stand beside ours.
                if let Some(schema) = self.schemas.get(&channel.schema_id) {
                    let group = channel.topic.trim_start_matches('/').to_owned();
                    let columns = columns_of(&group, schema)?;
                    self.channels.insert(channel.id, Channel { group, columns });
                }
            }
            Record::Message { header, data } => {
                if let Some(channel) = self.channels.get_mut(&header.channel_id) {
                    channel.push(&data)?;
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn finish(self) -> Result<Trace, Flaw> {
        let entries = self
            .entries
            .ok_or_else(|| Flaw::Foreign(format!("it has no metadata record `{ABOUT}`")))?;
        let stamp = Stamp::from_entries(entries)?;
        let mut columns: Vec<Column> = Vec::new();
        for channel in self.channels.into_values() {
            let rows = channel.rows();
            if rows < stamp.rows {
                return Err(Flaw::Truncated(format!(
                    "it has `{rows}` of `{}` rows in `/{}`",
                    stamp.rows, channel.group
                )));
            }
            if rows > stamp.rows {
                return Err(Flaw::Damaged(format!(
                    "it has `{rows}` rows in `/{}`, `{}` were written",
                    channel.group, stamp.rows
                )));
            }
            columns.extend(channel.columns);
        }
        columns.sort_by_key(|column| column.signal);
        if let Some(twice) = columns
            .windows(2)
            .find(|two| two[0].signal == two[1].signal)
        {
            let name = &twice[0].info.name;
            return Err(Flaw::Damaged(format!("column `{name}` is there twice")));
        }
        if !columns.iter().any(|column| column.info.name == "time_s") {
            return Err(Flaw::Foreign("it has no column `time_s`".to_owned()));
        }
        let trace = Trace {
            about: stamp.about.clone(),
            columns,
        };
        stamp.verify(trace.rows(), || trace.hash())?;
        Ok(trace)
    }
}

impl Channel {
    fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.data.len())
    }

    fn push(&mut self, message: &[u8]) -> Result<(), Flaw> {
        let row = self.rows();
        if row >= ROWS_MAX {
            return Err(Flaw::Damaged(format!("it has more than {ROWS_MAX} rows")));
        }
        let group = &self.group;
        let message: Value = serde_json::from_slice(message)
            .map_err(|error| Flaw::Damaged(format!("message `{row}` of `/{group}`: {error}")))?;
        self.columns
            .iter_mut()
            .try_for_each(|column| push_value(column, row, &message))
    }
}

/// Empty columns of the signals that a group's schema names.
fn columns_of(group: &str, schema: &[u8]) -> Result<Vec<Column>, Flaw> {
    let schema: Value = serde_json::from_slice(schema)
        .map_err(|error| Flaw::Damaged(format!("schema of `/{group}`: {error}")))?;
    let names = schema["properties"].as_object().into_iter().flatten();
    names
        .map(|(name, _)| signal_index(&joined(group, name)).map(|index| Column::new(index, 0)))
        .collect()
}

fn push_value(column: &mut Column, row: usize, message: &Value) -> Result<(), Flaw> {
    let full = &column.info.name;
    let value = &message[split(full).1];
    // What has another form than the one that is written falls to the text reader, which refuses
    // it.
    let text = match (column.data.kind(), value) {
        (ColumnKind::Number | ColumnKind::State, Value::String(text)) => text.clone(),
        (ColumnKind::Switch, Value::Bool(on)) => u8::from(*on).to_string(),
        (ColumnKind::Number, Value::Number(number)) => match number.as_f64() {
            Some(number) => {
                column.data.push(Cell::Number(number));
                return Ok(());
            }
            None => number.to_string(),
        },
        (ColumnKind::Integer, Value::Number(number)) => number.to_string(),
        (_, Value::Null) => {
            return Err(Flaw::Damaged(format!("message `{row}` has no `{full}`")));
        }
        (_, other) => {
            return Err(Flaw::Damaged(format!(
                "message `{row}`, `{full}` is `{other}`"
            )));
        }
    };
    column
        .data
        .push_text(&text)
        .map_err(|rule| Flaw::Damaged(format!("message `{row}`, `{full}` is `{text}`, {rule}")))
}

/// Puts an error of the MCAP reader into our words. `begun` means that a record was read.
fn flaw(error: McapError, begun: bool, length: u64) -> Flaw {
    match error {
        McapError::Io(error) if error.kind() == io::ErrorKind::UnexpectedEof => {
            Flaw::Truncated(format!("it ends after `{length}` bytes, within a record"))
        }
        McapError::Io(error) => Flaw::Io(error),
        McapError::UnexpectedEof | McapError::UnexpectedEoc => Flaw::Truncated(format!(
            "it ends after `{length}` bytes, before its end mark"
        )),
        McapError::BadMagic if !begun => {
            Flaw::Foreign("it does not begin as an MCAP file".to_owned())
        }
        McapError::BadMagic => Flaw::Damaged("its end mark is wrong".to_owned()),
        McapError::UnsupportedCompression(name) => {
            Flaw::Foreign(format!("its chunks are compressed by `{name}`"))
        }
        other => Flaw::Damaged(other.to_string()),
    }
}

//! Traces as MCAP: one channel `/trace` of JSON messages with a JSON Schema, one message a row; columns are grouped
//! at their dots (`pitch.stick_deg` is `stick_deg` in `pitch`). The metadata record `about` says what CSV's last column says.
//!
//! JSON has no NaN and no infinities: such a value stands as the string `NaN`, `inf` or `-inf`, and the schema of
//! its column says so.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read, Seek, Write};

use mcap::records::{MessageHeader, Metadata, Record, op};
use mcap::sans_io::linear_reader::{LinearReadEvent, LinearReader, LinearReaderOptions};
use mcap::{McapError, WriteOptions};
use serde_json::{Map, Value, json};
use trimproof_controller::State;

use super::about::Stamp;
use super::csv_file::column_index;
use super::error::Flaw;
use super::{ColumnInfo, ColumnKind, Data, ENTRIES_MAX, ROWS_MAX, Trace, columns};

/// Topic of the channel.
const TOPIC: &str = "/trace";
/// Name of the schema.
const SCHEMA: &str = "trimproof.trace";
/// Name of the metadata record.
const ABOUT: &str = "about";
/// Longest record that is read, bytes: far above the chunks that are written (1 MiB).
const RECORD_LIMIT: usize = 1 << 24;
/// Longest record of what the file says of itself, and longest message, bytes: ours have some 3000.
const CONTENT_LIMIT: usize = 1 << 20;

pub(super) fn write(trace: &Trace, out: &mut (impl Write + Seek)) -> io::Result<()> {
    write_all(trace, out).map_err(|error| match error {
        McapError::Io(error) => error,
        other => io::Error::other(other),
    })
}

fn write_all(trace: &Trace, out: &mut (impl Write + Seek)) -> Result<(), McapError> {
    let library = concat!("trimproof ", env!("CARGO_PKG_VERSION"));
    let mut writer = WriteOptions::new()
        .compression(None)
        .library(library)
        .create(out)?;
    let metadata = trace.stamp().entries().into_iter().collect();
    writer.write_metadata(&Metadata {
        name: ABOUT.to_owned(),
        metadata,
    })?;
    let schema = writer.add_schema(
        SCHEMA,
        "jsonschema",
        schema_of(trace).to_string().as_bytes(),
    )?;
    let channel_id = writer.add_channel(schema, TOPIC, "json", &BTreeMap::new())?;
    let mut text = String::new();
    for row in 0..trace.rows() {
        text.clear();
        // Writing to a string cannot fail.
        let _ = write_message(trace, row, &mut text);
        // A float cast saturates: a time that is no time at all becomes 0.
        let log_time = (trace.time_s(row).unwrap_or(0.0) * 1e9).round() as u64;
        let sequence = row as u32;
        let header = MessageHeader {
            channel_id,
            sequence,
            log_time,
            publish_time: log_time,
        };
        writer.write_to_known_channel(&header, text.as_bytes())?;
    }
    writer.finish()?;
    Ok(())
}

/// Group and name within it; no group for a name without a dot.
fn split(name: &'static str) -> (Option<&'static str>, &'static str) {
    name.split_once('.')
        .map_or((None, name), |(group, name)| (Some(group), name))
}

/// Groups are contiguous in the table of columns, so none is opened twice.
fn write_message(trace: &Trace, row: usize, out: &mut String) -> std::fmt::Result {
    let mut open: Option<&str> = None;
    out.push('{');
    for (place, (index, data)) in trace.held.iter().enumerate() {
        let (group, name) = split(columns()[*index].name);
        if open.is_some() && open != group {
            out.push('}');
        }
        if place > 0 {
            out.push(',');
        }
        if let Some(group) = group.filter(|_| open != group) {
            write!(out, "\"{group}\":{{")?;
        }
        open = group;
        write!(out, "\"{name}\":")?;
        match data {
            Data::Number(values) if values[row].is_finite() => write!(out, "{:?}", values[row])?,
            Data::Number(_) | Data::State(_) => write!(out, "\"{}\"", data.text(row))?,
            Data::Integer(values) => write!(out, "{}", values[row])?,
            Data::Switch(values) => write!(out, "{}", values[row])?,
        }
    }
    if open.is_some() {
        out.push('}');
    }
    out.push('}');
    Ok(())
}

/// JSON Schema of the messages.
fn schema_of(trace: &Trace) -> Value {
    let mut properties = Map::new();
    for (index, data) in &trace.held {
        let info = &columns()[*index];
        let (group, name) = split(info.name);
        let place = match group {
            None => &mut properties,
            Some(group) => {
                let entry = properties
                    .entry(group)
                    .or_insert_with(|| object(Map::new()));
                match entry["properties"].as_object_mut() {
                    Some(inner) => inner,
                    None => continue,
                }
            }
        };
        place.insert(name.to_owned(), property(info, data));
    }
    let mut schema = object(properties);
    schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    schema["title"] = json!(SCHEMA);
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
    channel_id: Option<u16>,
    trace: Option<Trace>,
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
            Record::Schema { header, data } if header.name == SCHEMA => {
                self.schemas.insert(header.id, data.into_owned());
            }
            Record::Channel(channel) if channel.topic == TOPIC && self.trace.is_none() => {
                let schema = self.schemas.get(&channel.schema_id);
                let schema = schema.ok_or_else(|| {
                    Flaw::Foreign(format!("channel `{TOPIC}` has no schema `{SCHEMA}`"))
                })?;
                self.channel_id = Some(channel.id);
                self.trace = Some(Trace::with_columns(columns_of(schema)?));
            }
            Record::Message { header, data } if Some(header.channel_id) == self.channel_id => {
                if let Some(trace) = &mut self.trace {
                    if trace.rows() >= ROWS_MAX {
                        return Err(Flaw::Damaged(format!("it has more than {ROWS_MAX} rows")));
                    }
                    let message = serde_json::from_slice(&data);
                    let message = message.map_err(|error| {
                        Flaw::Damaged(format!("message `{}`: {error}", trace.rows()))
                    })?;
                    push_message(trace, &message)?;
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn finish(self) -> Result<Trace, Flaw> {
        let foreign = |what: &str, name: &str| Flaw::Foreign(format!("it has no {what} `{name}`"));
        let entries = self
            .entries
            .ok_or_else(|| foreign("metadata record", ABOUT))?;
        let stamp = Stamp::from_entries(entries)?;
        let mut trace = self.trace.ok_or_else(|| foreign("channel", TOPIC))?;
        stamp.verify(trace.rows(), || trace.hash())?;
        trace.about = stamp.about;
        Ok(trace)
    }
}

/// Indices in [`columns`] of the columns that a schema names.
fn columns_of(schema: &[u8]) -> Result<Vec<usize>, Flaw> {
    let schema: Value = serde_json::from_slice(schema)
        .map_err(|error| Flaw::Damaged(format!("schema: {error}")))?;
    let mut indices = Vec::new();
    for (name, property) in schema["properties"].as_object().into_iter().flatten() {
        match property["properties"].as_object() {
            None => indices.push(column_index(name)?),
            Some(inner) => {
                for inner in inner.keys() {
                    indices.push(column_index(&format!("{name}.{inner}"))?);
                }
            }
        }
    }
    if !indices.contains(&column_index("time_s")?) {
        return Err(Flaw::Foreign("it has no column `time_s`".to_owned()));
    }
    Ok(indices)
}

fn push_message(trace: &mut Trace, message: &Value) -> Result<(), Flaw> {
    let row = trace.rows();
    for (index, data) in &mut trace.held {
        let full = columns()[*index].name;
        let (group, name) = split(full);
        let value = match group {
            None => &message[name],
            Some(group) => &message[group][name],
        };
        // What has another form than the one that is written falls to the text reader, which refuses it.
        let text = match (data.kind(), value) {
            (ColumnKind::Number | ColumnKind::State, Value::String(text)) => text.clone(),
            (ColumnKind::Switch, Value::Bool(on)) => u8::from(*on).to_string(),
            (ColumnKind::Number, Value::Number(number)) => match number.as_f64() {
                Some(number) => {
                    data.push(super::columns::Cell::Number(number));
                    continue;
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
        data.push_text(&text).map_err(|rule| {
            Flaw::Damaged(format!("message `{row}`, `{full}` is `{text}`, {rule}"))
        })?;
    }
    Ok(())
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

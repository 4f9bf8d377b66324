//! `docs/guides/wire.md` against the code: its tables of settings, its worked example, its numbers.
//!
//! `WRITE_WIRE_VECTORS=1` prints the table of settings as it should stand.

use crate::frame::CRC;
use crate::tests::vectors::{Message, messages};
use crate::tests::{frame_of, hex};
use crate::{FRAME_MAX, IDENTITY_MAX, MESSAGE_MAX, SILENCE_MAX_MS, VERSION, hash_of};
use trimproof_controller::Settings;
use trimproof_io::{Fault, State};

const DOCUMENT: &str = include_str!("../../../docs/guides/wire.md");
const SETTINGS: &str = include_str!("../../controller/settings.rs");

/// Cells of every row of the tables between two lines of the document.
fn rows(from: &str, to: &str) -> Vec<Vec<String>> {
    let (_, rest) = DOCUMENT
        .split_once(&format!("\n{from}\n"))
        .unwrap_or_else(|| panic!("no `{from}`"));
    let part = rest
        .split_once(&format!("\n{to}"))
        .map_or(rest, |(part, _)| part);
    part.lines()
        .filter(|line| line.starts_with('|') && !line.starts_with("|---"))
        .map(|line| {
            line.trim_matches('|')
                .split('|')
                .map(|cell| cell.trim().trim_matches('`').to_owned())
                .collect()
        })
        .collect()
}

/// Fields of a struct of the controller's settings as they are declared: name and type.
fn declared(name: &str) -> Vec<(String, String)> {
    let (_, body) = SETTINGS
        .split_once(&format!("pub struct {name} {{\n"))
        .unwrap();
    let (body, _) = body.split_once("\n}").unwrap();
    body.lines()
        .filter_map(|line| line.trim().strip_prefix("pub ")?.strip_suffix(','))
        .map(|line| {
            let (name, kind) = line.split_once(": ").unwrap();
            (name.to_owned(), kind.to_owned())
        })
        .collect()
}

/// A value as postcard's rules have it, written without postcard.
fn coded(kind: &str, value: i64) -> Vec<u8> {
    let mut rest = match kind {
        "u8" => return vec![u8::try_from(value).unwrap()],
        "u16" | "u32" => u64::try_from(value).unwrap(),
        "i32" => ((value << 1) ^ (value >> 63)) as u64,
        _ => panic!("`{kind}` is not in the document's list of types"),
    };
    let mut bytes = Vec::new();
    while rest > 127 {
        bytes.push(rest as u8 | 128);
        rest >>= 7;
    }
    bytes.push(rest as u8);
    bytes
}

/// The table of settings: field, type, example's value, its bytes.
fn table() -> Vec<Vec<String>> {
    // What `Debug` says has the names and values in the order of declaration.
    let example = format!("{:?}", Settings::example());
    let mut values = example
        .split([' ', ',', '{', '}'])
        .filter_map(|word| word.parse::<i64>().ok());
    let mut list = Vec::new();
    for (name, kind) in declared("Settings") {
        if kind == "AxisSettings" {
            for (field, kind) in declared("AxisSettings") {
                let value = values.next().unwrap();
                list.push((format!("{name}.{field}"), kind, value));
            }
        } else {
            list.push((name, kind, values.next().unwrap()));
        }
    }
    assert_eq!(values.next(), None);
    list.into_iter()
        .map(|(name, kind, value)| {
            let bytes = spaced(&coded(&kind, value));
            vec![name, kind, value.to_string(), bytes]
        })
        .collect()
}

fn spaced(bytes: &[u8]) -> String {
    let list: Vec<String> = bytes.iter().map(|byte| hex(&[*byte])).collect();
    list.join(" ")
}

fn bytes_of(cell: &str) -> Vec<u8> {
    cell.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

#[test]
fn the_table_of_settings_is_the_code_s() {
    let table = table();
    if std::env::var_os("WRITE_WIRE_VECTORS").is_some() {
        for row in &table {
            println!("| `{}` | {} | {} | `{}` |", row[0], row[1], row[2], row[3]);
        }
    }
    // Pitch and roll follow each other with the same fields, so the document has the axis' table
    // once.
    let mut stands = rows("### The whole controller", "### ");
    let axis = rows("### One axis", "## ");
    assert_eq!(stands.remove(0), ["field", "type", "example", "bytes"]);
    for name in ["pitch", "roll"] {
        assert_eq!(
            stands.pop().map(|row| row[1].clone()),
            Some("axis".to_owned()),
            "{name}"
        );
    }
    for name in ["pitch", "roll"] {
        for row in axis.iter().skip(1) {
            let mut row = row.clone();
            row[0] = format!("{name}.{}", row[0]);
            stands.push(row);
        }
    }
    for (stands, made) in stands.iter().zip(&table) {
        assert_eq!(stands, made);
    }
    assert_eq!(stands.len(), table.len());
    // The bytes of the table, one after the other, are what postcard makes of the settings.
    let bytes: Vec<u8> = stands.iter().flat_map(|row| bytes_of(&row[3])).collect();
    let mut room = [0; MESSAGE_MAX];
    let made = postcard::to_slice(&Settings::example(), &mut room).unwrap();
    assert_eq!(hex(&bytes), hex(made));
    assert_eq!(CRC.checksum(&bytes), hash_of(&Settings::example()));
    let hash = format!("`{:08X}`", hash_of(&Settings::example()));
    assert!(DOCUMENT.contains(&hash), "the example's hash is {hash}");
}

#[test]
fn the_worked_examples_are_the_code_s() {
    for (heading, name) in [
        ("### A sample", "sample_worked"),
        ("### Its answer", "command_worked"),
    ] {
        let stands: Vec<u8> = rows(heading, "##")
            .iter()
            .skip(1)
            .flat_map(|row| bytes_of(&row[0]))
            .collect();
        let (_, _, message) = messages()
            .into_iter()
            .find(|(known, ..)| *known == name)
            .unwrap();
        let frame = match message {
            Message::ToBoard(request) => frame_of(&request),
            Message::ToHarness(answer) => frame_of(&answer),
        };
        let mut plain = frame[..frame.len() - 1].to_vec();
        let length = cobs::decode_in_place(&mut plain).unwrap();
        assert_eq!(
            spaced(&stands),
            spaced(&plain[..length]),
            "{name}: message and CRC"
        );
        let line = spaced(&frame);
        assert!(DOCUMENT.contains(&line), "{name}: the frame is {line}");
    }
}

#[test]
fn the_numbers_of_states_and_faults_are_the_code_s() {
    let numbered = |heading: &str| -> Vec<String> {
        let rows = rows(heading, "##");
        for (number, row) in rows.iter().skip(1).enumerate() {
            assert_eq!(row[0], number.to_string(), "{heading}");
        }
        rows.into_iter().skip(1).map(|row| row[1].clone()).collect()
    };
    assert_eq!(numbered("### States"), State::ALL.map(State::name));
    assert_eq!(numbered("### Faults"), Fault::ALL.map(Fault::name));
}

#[test]
fn the_limits_are_the_code_s() {
    for line in [
        format!("Version of this document: **{VERSION}**"),
        format!(
            "A message with its CRC is at most {MESSAGE_MAX} bytes, a frame at most {FRAME_MAX} with its zero byte"
        ),
        format!("at most {IDENTITY_MAX} bytes"),
        format!("more than {SILENCE_MAX_MS} counts as {SILENCE_MAX_MS}"),
    ] {
        assert!(DOCUMENT.contains(&line), "not in the document: {line}");
    }
}

#[test]
fn the_table_of_rates_is_computed_right() {
    let rows = rows("## Bytes a tick and the wire's limit", "## ");
    let mut checked = 0;
    for row in rows
        .iter()
        .filter(|row| row[0].replace(' ', "").parse::<u32>().is_ok())
    {
        let number = |cell: &str| cell.replace(' ', "").parse::<u32>().unwrap();
        // A start bit, eight bits, a stop bit; request and answer one after the other.
        for (cell, bytes) in row[1..].iter().zip([44, 50, 60, 64]) {
            assert_eq!(number(cell), number(&row[0]) / 10 / bytes, "{row:?}");
        }
        checked += 1;
    }
    assert!(checked >= 5);
}

//! Files against names that mean harm, and files that mean harm.

use super::*;
use std::fs::{self, File};
use std::io::{Cursor, Seek, SeekFrom, Write};
use trimproof_diagnostics::{hostile_text, is_invisible};

/// Files, each with three hostile texts: 10,000 in all.
const FILES: u64 = 3_334;

/// A trace of one column, so that little but the texts is written.
fn with_about(seed: u64) -> Trace {
    let text = |part: u64| hostile_text(3 * seed + part);
    let mut trace = Trace::with_signals(vec![csv_file::signal_index("time_s").unwrap()]);
    trace.about = about();
    trace.about.scenario = text(0);
    trace.about.controller = text(1);
    trace.about.notes = BTreeMap::from([("cut".to_owned(), text(2))]);
    trace
}

#[test]
fn the_head_of_a_csv_file_is_a_line_each() {
    let lines = {
        let mut out = Vec::new();
        let mut plain = with_about(0);
        plain.about = about();
        csv_file::write(&plain, &mut out).unwrap();
        String::from_utf8(out).unwrap().lines().count()
    };
    for seed in 0..FILES {
        let mut out = Vec::new();
        csv_file::write(&with_about(seed), &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        let plain = text.replace("\r\n", "\n");
        assert!(
            !plain.contains(|c| c != '\n' && is_invisible(c)),
            "{seed}: {plain:?}"
        );
        // There is one note in each.
        assert_eq!(plain.lines().count(), lines, "{seed}");
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        assert!(reader.records().all(|record| record.is_ok()), "{seed}");
    }
}

#[test]
fn what_an_mcap_file_says_of_itself_can_be_read() {
    for seed in 0..FILES {
        let mut out = Cursor::new(Vec::new());
        mcap_file::write(&with_about(seed), &mut out).unwrap();
        let bytes = out.into_inner();
        let summary = mcap::Summary::read(&bytes).unwrap().unwrap();
        let about = mcap::read::metadata(&bytes, &summary.metadata_indexes[0]).unwrap();
        for (key, value) in &about.metadata {
            assert!(!key.contains(is_invisible), "{seed}: {key:?}");
            assert!(!value.contains(is_invisible), "{seed}: {value:?}");
        }
    }
}

#[test]
fn what_is_written_reads_back_as_it_was_shown() {
    for name in ["a.csv", "a.mcap"] {
        let mut trace = trace(2);
        trace.about.controller = "x\n1 run: 1 held\u{1b}[2J\u{202e}".to_owned();
        trace.about.notes = BTreeMap::from([("cut".to_owned(), "y".repeat(300_000))]);
        let (_folder, path) = written(&trace, name);
        let back = Trace::read(&path).unwrap();
        assert_eq!(back.hash(), trace.hash());
        assert_eq!(
            back.about.controller,
            "x\\n1 run: 1 held\\u{1b}[2J\\u{202e}"
        );
        assert!(back.about.notes["cut"].ends_with("... (298500 more characters)"));
    }
}

/// A gigabyte without a line end, by a hole in the file: it must end soon and say why.
#[test]
fn a_line_without_an_end_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.csv");
    let (_kept, good) = written(&trace(3), "a.csv");
    let good = fs::read(good).unwrap();
    for (head, words) in [
        (&b"time_s,"[..], ["is no trace", "more than 65536 bytes"]),
        (&good, ["is damaged", "more than 65536 bytes"]),
        // A quote that is never closed, with line ends inside.
        (
            &[&good[..], b"\"\n"].concat(),
            ["is damaged", "more than 65536 bytes"],
        ),
    ] {
        let mut file = File::create(&path).unwrap();
        file.write_all(head).unwrap();
        file.seek(SeekFrom::Start(1 << 30)).unwrap();
        file.write_all(b"\n").unwrap();
        drop(file);
        for error in [
            Trace::read(&path).unwrap_err().to_string(),
            Trace::peek(&path).map_or_else(|error| error.to_string(), |_| String::new()),
        ] {
            if error.is_empty() {
                // The beginning alone is good.
                continue;
            }
            for word in words {
                assert!(error.contains(word), "{error}");
            }
        }
    }
}

#[test]
fn a_file_that_talks_of_itself_without_an_end_is_refused() {
    let (_folder, path) = written(&trace(3), "a.csv");
    let text = fs::read_to_string(&path).unwrap();
    let empty = ",".repeat(signals().len());
    let more: String = (0..2000)
        .map(|index| format!("{empty}note.n{index}=x\r\n"))
        .collect();
    fs::write(&path, text + &more).unwrap();
    let error = Trace::read(&path).unwrap_err().to_string();
    assert!(
        error.contains("says more than 1000 things of itself"),
        "{error}"
    );
}

/// Offset of the length of the `at`-th text in the first record of a kind.
fn record(bytes: &[u8], wanted: u8) -> usize {
    let mut at = 8;
    loop {
        let length = u64::from_le_bytes(bytes[at + 1..at + 9].try_into().unwrap()) as usize;
        if bytes[at] == wanted {
            return at + 9;
        }
        at += 9 + length;
    }
}

/// Every length of a text in a record that is read, set to what would take 4 GiB.
#[test]
fn a_length_beyond_the_end_makes_no_room() {
    let (_folder, path) = written(&trace(3), "a.mcap");
    let mut plain = Cursor::new(Vec::new());
    mcap_file::write_as(&trace(3), &mut plain, None).unwrap();
    let good = plain.into_inner();
    let chunk = record(&good, mcap::records::op::CHUNK);
    // The chunk is not compressed; its records begin behind 40 bytes of its head.
    let inside = chunk + 40;
    let within = |wanted: u8| {
        let mut at = inside;
        while good[at] != wanted {
            at += 9 + u64::from_le_bytes(good[at + 1..at + 9].try_into().unwrap()) as usize;
        }
        at + 9
    };
    let metadata = record(&good, mcap::records::op::METADATA);
    let (schema, channel) = (
        within(mcap::records::op::SCHEMA),
        within(mcap::records::op::CHANNEL),
    );
    for (what, at) in [
        ("name of the metadata", metadata),
        ("map of the metadata", metadata + 4 + 5),
        ("first key of the metadata", metadata + 4 + 5 + 4),
        ("name of the schema", schema + 2),
        ("topic", channel + 4),
    ] {
        let mut bad = good.clone();
        bad[at..at + 4].copy_from_slice(&[0xff; 4]);
        fs::write(&path, bad).unwrap();
        let error = Trace::read(&path).unwrap_err().to_string();
        assert!(
            error.contains("a length in it reaches beyond its end") || error.contains("is damaged"),
            "{what}: {error}"
        );
    }
}

#[test]
fn no_length_of_a_record_is_believed() {
    use mcap::records::op;
    let long = [0xff_u8; 4];
    let text = |text: &str| [&(text.len() as u32).to_le_bytes()[..], text.as_bytes()].concat();
    let good_map = {
        let inside = [text("key"), text("value")].concat();
        [&(inside.len() as u32).to_le_bytes()[..], &inside].concat()
    };
    for (kind, good) in [
        (op::METADATA, vec![text("about"), good_map.clone()]),
        (
            op::SCHEMA,
            vec![vec![1, 0], text("name"), text("jsonschema"), text("{}")],
        ),
        (
            op::CHANNEL,
            vec![vec![1, 0, 1, 0], text("/trace"), text("json"), good_map],
        ),
        (op::MESSAGE, vec![vec![0; 22]]),
    ] {
        let whole = good.concat();
        assert_eq!(mcap_file::lengths_fit(kind, &whole), Some(()));
        for length in 0..whole.len() {
            assert_eq!(
                mcap_file::lengths_fit(kind, &whole[..length]),
                None,
                "{kind} {length}"
            );
        }
        for at in 0..whole.len().saturating_sub(3) {
            let mut bad = whole.clone();
            bad[at..at + 4].copy_from_slice(&long);
            // Where no length stood it is a text like another; the library must then read it
            // without harm.
            if mcap_file::lengths_fit(kind, &bad).is_some() {
                let _ = mcap::parse_record(kind, &bad);
            }
        }
    }
}

#[cfg(unix)]
#[test]
fn a_device_is_no_trace() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a.csv", "a.mcap"] {
        let path = folder.path().join(name);
        std::os::unix::fs::symlink("/dev/zero", &path).unwrap();
        for error in [
            Trace::read(&path).unwrap_err(),
            Trace::peek(&path).unwrap_err(),
        ] {
            assert!(error.to_string().contains("not a regular file"), "{error}");
        }
    }
}

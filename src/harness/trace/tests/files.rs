//! The files: their form, and what is found out about bad ones.

use std::fs;

use super::*;

/// RFC 4180, section 2: lines end in CRLF (rule 1), a header has the same form (3), every line has
/// the same number of fields (4), fields with commas, quotes or line breaks are quoted (6), a quote
/// within is doubled (7); spaces belong to the field (4).
#[test]
fn csv_is_as_rfc_4180_has_it() {
    let (_folder, path) = written(&trace(12), "a.csv");
    let text = fs::read_to_string(path).unwrap();
    assert!(text.ends_with("\r\n"));
    let quoted = "\"note.remark=a, \"\"b\"\" c = d \"\r\n";
    assert!(text.contains(quoted));
    let plain = text.replace(quoted, "note.remark\r\n");
    let lines: Vec<_> = plain.split_terminator("\r\n").collect();
    assert_eq!(lines.len(), 1 + 12);
    assert!(lines.iter().all(|line| !line.contains(['\r', '\n', '"'])));
    assert!(
        lines
            .iter()
            .all(|line| line.split(',').count() == signals().len() + 1)
    );
    assert!(
        lines[0].starts_with("time_s,state,pitch.stick_deg,")
            && lines[0].ends_with(",contact,tick_lost,controller_reset,about")
    );
    assert!(lines[1].starts_with("0.0,limp,1.0,") && lines[1].ends_with(",trimproof_trace=3"));
    assert!(
        lines[2].ends_with(",rows=12")
            && lines[3].ends_with(&format!(",hash={}", trace(12).hash()))
    );
}

/// MCAP's specification: the magic 89 4D 43 41 50 30 0D 0A stands at both ends; a channel goes
/// before its messages.
#[test]
fn mcap_is_as_its_specification_has_it() {
    const MAGIC: [u8; 8] = [0x89, 0x4d, 0x43, 0x41, 0x50, 0x30, 0x0d, 0x0a];
    let (_folder, path) = written(&trace(50), "a.mcap");
    let bytes = fs::read(path).unwrap();
    assert!(bytes.starts_with(&MAGIC) && bytes.ends_with(&MAGIC));
    // Read by the crate's own message reader, which is not the one that `Trace::read` uses.
    let messages: Vec<_> = mcap::MessageStream::new(&bytes)
        .unwrap()
        .map(|message| message.unwrap())
        .collect();
    let topics = [
        "/trace", "/pitch", "/roll", "/hand", "/hat", "/loop", "/fault",
    ];
    assert_eq!(messages.len(), 50 * topics.len());
    let on = |topic: &str| {
        let all = messages.iter();
        all.filter(|message| message.channel.topic == topic)
            .collect::<Vec<_>>()
    };
    assert!(topics.iter().all(|topic| on(topic).len() == 50));
    for (index, (message, of_roll)) in on("/trace").into_iter().zip(on("/roll")).enumerate() {
        assert_eq!(message.channel.message_encoding, "json");
        assert_eq!(
            (message.sequence as usize, message.log_time),
            (index, index as u64 * 2_000_000)
        );
        let value: serde_json::Value = serde_json::from_slice(&message.data).unwrap();
        let roll: serde_json::Value = serde_json::from_slice(&of_roll.data).unwrap();
        assert_eq!(
            roll["stick_deg"],
            serde_json::json!(index as f64 * 0.1 - 2.0)
        );
        assert_eq!(value["state"], State::ALL[index % 6].name());
    }
    let first = on("/pitch")[0];
    let schema = first.channel.schema.as_ref().unwrap();
    assert_eq!(
        (schema.name.as_str(), schema.encoding.as_str()),
        ("trimproof.pitch", "jsonschema")
    );
    let schema: serde_json::Value = serde_json::from_slice(&schema.data).unwrap();
    assert_eq!(schema["properties"]["stick_deg"]["type"], "number");
    let summary = mcap::Summary::read(&bytes).unwrap().unwrap();
    assert_eq!(summary.stats.as_ref().unwrap().message_count, 350);
    let about = mcap::read::metadata(&bytes, &summary.metadata_indexes[0]).unwrap();
    assert_eq!(
        (about.name.as_str(), about.metadata["rig"].as_str()),
        ("about", "kittiwake")
    );
    assert_eq!(about.metadata["hash"], trace(50).hash());
}

fn read_bytes(name: &str, bytes: &[u8]) -> Result<Trace, TraceError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    Trace::read(&path)
}

#[test]
fn a_file_cut_off_anywhere_is_truncated() {
    for name in ["a.csv", "a.mcap"] {
        let (_folder, path) = written(&trace(30), name);
        let bytes = fs::read(path).unwrap();
        // Every length near both ends, and every 97th between.
        let lengths =
            (0..bytes.len()).filter(|at| *at < 60 || *at + 300 > bytes.len() || at % 97 == 0);
        for length in lengths {
            let error = read_bytes(name, &bytes[..length]).unwrap_err();
            assert!(
                matches!(error, TraceError::Truncated { .. }),
                "{name} cut to {length} bytes: {error}"
            );
        }
    }
}

#[test]
fn a_changed_value_is_found_out() {
    let (_folder, path) = written(&trace(30), "a.csv");
    let text = fs::read_to_string(path).unwrap();
    // One digit of one value.
    assert_eq!(text.matches("\r\n0.02,").count(), 1);
    let error = read_bytes("a.csv", text.replace("\r\n0.02,", "\r\n0.03,").as_bytes()).unwrap_err();
    assert!(matches!(error, TraceError::Hash { .. }), "{error}");
    // In the other format the chunk's checksum goes first.
    let (_folder, path) = written(&trace(30), "a.mcap");
    let mut bytes = fs::read(path).unwrap();
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    assert!(matches!(
        read_bytes("a.mcap", &bytes),
        Err(TraceError::Damaged { .. })
    ));
}

#[test]
fn a_whole_row_taken_out_or_put_in_is_found_out() {
    let (_folder, path) = written(&trace(30), "a.csv");
    let text = fs::read_to_string(path).unwrap();
    let mut lines: Vec<_> = text.split_inclusive("\r\n").collect();
    let last = lines.pop().unwrap();
    assert!(matches!(
        read_bytes("a.csv", lines.concat().as_bytes()),
        Err(TraceError::Truncated { .. })
    ));
    lines.extend([last, last]);
    assert!(matches!(
        read_bytes("a.csv", lines.concat().as_bytes()),
        Err(TraceError::Damaged { .. })
    ));
}

/// What a user gets to see, without the folder.
#[test]
fn messages_for_bad_files() {
    let (_folder, path) = written(&trace(12), "a.csv");
    let text = fs::read_to_string(path).unwrap();
    let (_folder, path) = written(&trace(12), "a.mcap");
    let mcap = fs::read(path).unwrap();
    let cases: Vec<(&str, &str, Vec<u8>)> = vec![
        ("empty", "a.csv", vec![]),
        ("other CSV", "a.csv", b"a,b\r\n1,2\r\n".to_vec()),
        (
            "unknown column",
            "a.csv",
            text.replacen("pitch.trim_deg", "pitch.trm_deg", 1)
                .into_bytes(),
        ),
        (
            "column twice",
            "a.csv",
            text.replacen("pitch.trim_deg", "pitch.drive_deg", 1)
                .into_bytes(),
        ),
        (
            "no number",
            "a.csv",
            text.replacen("\r\n0.002,", "\r\nsoon,", 1).into_bytes(),
        ),
        (
            "no state",
            "a.csv",
            text.replacen(",limp,", ",limping,", 1).into_bytes(),
        ),
        (
            "field too few",
            "a.csv",
            text.replacen("\r\n0.002,", "\r\n", 1).into_bytes(),
        ),
        (
            "other format",
            "a.csv",
            text.replacen("trimproof_trace=3", "trimproof_trace=9", 1)
                .into_bytes(),
        ),
        (
            "hash",
            "a.csv",
            text.replacen("\r\n0.002,", "\r\n0.003,", 1).into_bytes(),
        ),
        ("cut CSV", "a.csv", text.as_bytes()[..2000].to_vec()),
        (
            "picture for CSV",
            "a.csv",
            vec![0x89, b'P', b'N', b'G', 0xff, 0xfe, b'\r', b'\n'],
        ),
        (
            "picture for MCAP",
            "a.mcap",
            b"\x89PNG\r\n\x1a\n0123456789".to_vec(),
        ),
        ("cut MCAP", "a.mcap", mcap[..4000].to_vec()),
        (
            "more after the end",
            "a.mcap",
            [mcap.as_slice(), b"more"].concat(),
        ),
        ("other ending", "a.txt", text.clone().into_bytes()),
    ];
    let mut all = String::new();
    for (what, name, bytes) in cases {
        let error = read_bytes(name, &bytes).unwrap_err().to_string();
        let start = error.find('`').unwrap() + 1;
        let end = start + error[start..].find(name).unwrap();
        all += &format!("{what}: {}{}\n", &error[..start], &error[end..]);
    }
    let missing = Trace::read(Path::new("no-such-folder/a.csv")).unwrap_err();
    // The system's own words differ between systems.
    let TraceError::Io { source, .. } = &missing else {
        panic!("{missing}")
    };
    all += &format!(
        "missing: {}\n",
        missing
            .to_string()
            .replace(&source.to_string(), "[the system's words]")
    );
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path(concat!(env!("CARGO_MANIFEST_DIR"), "/../../snapshots"));
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!("trace__bad_files", all));
}

#[test]
fn a_failed_write_leaves_nothing_and_keeps_what_was_there() {
    let trace = trace(5);
    let folder = tempfile::tempdir().unwrap();
    let names = |folder: &Path| -> Vec<String> {
        let mut names: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    };
    // The folder is not there, or is a file.
    fs::write(folder.path().join("file"), "x").unwrap();
    for bad in [
        "missing/a.csv",
        "missing/a.mcap",
        "file/a.csv",
        "file/a.mcap",
    ] {
        let error = trace.write(&folder.path().join(bad)).unwrap_err();
        assert!(error.is_write(), "{bad}: {error}");
    }
    // The name is a folder's: writing works, taking the name does not.
    fs::create_dir(folder.path().join("b.csv")).unwrap();
    assert!(
        trace
            .write(&folder.path().join("b.csv"))
            .unwrap_err()
            .is_write()
    );
    // Writing fails half-way; the file that was there stays.
    fs::write(folder.path().join("c.csv"), "old").unwrap();
    let failed = write_atomically(&folder.path().join("c.csv"), |out| {
        std::io::Write::write_all(out, &[b'x'; 200_000])?;
        Err(std::io::Error::other("the disk is full"))
    });
    assert_eq!(failed.unwrap_err().to_string(), "the disk is full");
    assert_eq!(
        fs::read_to_string(folder.path().join("c.csv")).unwrap(),
        "old"
    );
    assert_eq!(names(folder.path()), ["b.csv", "c.csv", "file"]);
    // And when all goes well the new one is there alone.
    trace.write(&folder.path().join("c.csv")).unwrap();
    assert_eq!(names(folder.path()), ["b.csv", "c.csv", "file"]);
    assert_eq!(Trace::read(&folder.path().join("c.csv")).unwrap(), trace);
}

#[cfg(unix)]
#[test]
fn an_unwritable_folder_is_refused_and_stays_empty() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o555)).unwrap();
    let probe = fs::write(folder.path().join("probe"), "");
    if probe.is_ok() {
        // Root may write anywhere; procfs takes no new files from anyone.
        let error = trace(3).write(Path::new("/proc/a.csv")).unwrap_err();
        assert!(error.is_write(), "{error}");
        return;
    }
    assert!(
        trace(3)
            .write(&folder.path().join("a.csv"))
            .unwrap_err()
            .is_write()
    );
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// A look at what a file says of itself: as reading all of it says, and it sees what is wrong at
/// its beginning and its end.
#[test]
fn a_peek_shows_where_a_trace_comes_from() {
    for rows in [0, 3, 500] {
        for name in ["a.csv", "a.mcap"] {
            let (_folder, path) = written(&trace(rows), name);
            let whole = Trace::read(&path).unwrap();
            let (about, count) = Trace::peek(&path).unwrap();
            assert_eq!((about, count), (whole.about.clone(), rows), "{name}");
        }
    }
    let (_folder, path) = written(&trace(500), "a.csv");
    let text = fs::read_to_string(&path).unwrap();
    for (length, word) in [
        (40, "truncated"),
        (text.len() / 2, "truncated"),
        (0, "truncated"),
    ] {
        fs::write(&path, &text[..length]).unwrap();
        let error = Trace::peek(&path).unwrap_err().to_string();
        assert!(error.contains(word), "{length}: {error}");
    }
    fs::write(&path, "a,b\r\n1,2\r\n").unwrap();
    let error = Trace::peek(&path).unwrap_err().to_string();
    assert!(error.contains("is no trace"), "{error}");
}

//! `compare`, on good and bad traces.

use crate::workplace::{STAYS, Workplace, assert_shown, replaced};

/// A place with the traces of two scenarios that differ in their seed.
fn place() -> Workplace {
    let place = Workplace::new();
    place.write("scenarios/one.toml", STAYS);
    place.write(
        "scenarios/two.toml",
        replaced(STAYS, "length_s = 0.2", "length_s = 0.2\nseed = 2"),
    );
    let ran = place.run(&["prove", "--keep", "out", "--trace", "both"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    place
}

#[test]
fn equal_traces_end_in_0_whatever_their_form() {
    let place = place();
    let ran = place.run(&["compare", "out/one@kittiwake.csv", "out/one@kittiwake.mcap"]);
    assert_eq!(ran.code, Some(0), "{}{}", ran.out, ran.err);
    assert_eq!(ran.out, "the traces agree bit for bit: 101 rows\n");
}

#[test]
fn different_traces_end_in_1_with_the_first_divergence() {
    let place = place();
    let args = ["compare", "out/one@kittiwake.csv", "out/two@kittiwake.csv"];
    let ran = place.run(&args);
    assert_eq!(ran.code, Some(1), "{}{}", ran.out, ran.err);
    assert!(
        ran.out
            .starts_with("the traces differ: 101 rows left, 101 rows right, 101 compared\n"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("first divergence: row "), "{}", ran.out);
    let json = place.run(&[&args[..], &["--format", "json"]].concat());
    assert_eq!(json.code, Some(1));
    let found: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(found["same"], false);
    assert!(!found["differences"].as_array().unwrap().is_empty());
}

#[test]
fn what_is_no_whole_trace_is_refused() {
    let place = place();
    let good = place.read("out/one@kittiwake.csv");
    let lines: Vec<&str> = good.split_inclusive("\r\n").take(60).collect();
    place.write("cut.csv", lines.concat());
    let binary = std::fs::read(place.path("out/one@kittiwake.mcap")).unwrap();
    place.write("cut.mcap", &binary[..binary.len() * 2 / 3]);
    // The first digit of the second row's time, after the header and row 0.
    let edited = good.replacen("\r\n0.002,", "\r\n0.003,", 1);
    assert_ne!(edited, good);
    place.write("edited.csv", edited);
    place.write("foreign.csv", "a,b\r\n1,2\r\n");
    place.write("empty.csv", "");
    place.write("trace.txt", &good);
    std::fs::create_dir(place.path("folder.csv")).unwrap();
    let before = place.listing();
    for (name, file) in [
        ("compare_truncated_csv", "cut.csv"),
        ("compare_truncated_mcap", "cut.mcap"),
        ("compare_edited", "edited.csv"),
        ("compare_foreign", "foreign.csv"),
        ("compare_empty", "empty.csv"),
        ("compare_other_ending", "trace.txt"),
        ("compare_folder", "folder.csv"),
        ("compare_missing", "gone.csv"),
    ] {
        let ran = place.run(&["compare", "out/one@kittiwake.csv", file]);
        assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{file}");
        assert_shown(name, &without_hashes(&ran.err));
    }
    assert_eq!(place.listing(), before);
}

/// Hashes change with every change of the twin; that they stand there does not.
fn without_hashes(text: &str) -> String {
    let is_hash =
        |part: &str| part.len() == 32 && part.bytes().all(|byte| byte.is_ascii_hexdigit());
    text.split('`')
        .map(|part| if is_hash(part) { "HASH" } else { part })
        .collect::<Vec<_>>()
        .join("`")
}

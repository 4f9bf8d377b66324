//! `feel`: the reports of both rigs, their exit codes, and bad input.

use crate::workplace::{Ran, Workplace, assert_shown, replaced, shipped_rig, with_value};
use std::sync::OnceLock;

/// Kittiwake measured once for all tests: its report, and the record in the form of a bench file.
fn kittiwake() -> &'static (Ran, String) {
    static MEASURED: OnceLock<(Ran, String)> = OnceLock::new();
    MEASURED.get_or_init(|| {
        let place = Workplace::new();
        let ran = place.run(&["feel", "kittiwake", "--keep", "twin.csv"]);
        let kept = place.read("twin.csv");
        (ran, kept)
    })
}

/// A place with kittiwake's record as a bench file.
fn with_record() -> Workplace {
    let place = Workplace::new();
    place.write("twin.csv", &kittiwake().1);
    place
}

/// The part of a rig's text before its targets, and the controller's settings after them.
fn without_targets(rig: &str) -> String {
    let (before, rest) = rig.split_once("[[feel]]").unwrap();
    let (_, after) = rest.split_once("[controller]").unwrap();
    format!("{before}[controller]{after}")
}

#[test]
fn the_reports_of_the_rigs_are_as_reviewed() {
    let (ran, _) = kittiwake();
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_shown("feel_kittiwake", &ran.out);
    for (rig, shown) in [
        ("bittern", "feel_bittern"),
        ("sanderling", "feel_sanderling"),
    ] {
        let ran = Workplace::new().run(&["feel", rig]);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        assert_shown(shown, &ran.out);
    }
}

#[test]
fn no_report_claims_to_be_more_than_it_is() {
    let (ran, _) = kittiwake();
    let out = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(out.contains("It is no qualification of a device"));
    assert!(!out.to_lowercase().contains("certified"));
}

#[test]
fn a_kept_record_reads_back_as_a_bench_file_with_the_same_figures() {
    let place = with_record();
    let against = place.run(&[
        "feel",
        "kittiwake",
        "--bench",
        "twin.csv",
        "--against",
        "twin.csv",
    ]);
    assert_eq!(against.code, Some(0), "{}{}", against.out, against.err);
    assert!(!against.out.contains("FAIL"), "{}", against.out);
    let tables = |out: &str| {
        let from = out.find("\nSlow sweep").unwrap();
        let to = out.find("\nTrim and inertia").unwrap();
        out[from..to].to_owned()
    };
    assert_eq!(tables(&against.out), tables(&kittiwake().0.out));
}

#[test]
fn the_json_form_is_as_documented() {
    let place = with_record();
    let args = [
        "feel",
        "kittiwake",
        "--bench",
        "twin.csv",
        "--against",
        "twin.csv",
        "--format",
        "json",
    ];
    let ran = place.run(&args);
    let form: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((&form["form"], &form["exit_code"]), (&1.into(), &0.into()));
    assert_eq!(form["rig"], "kittiwake");
    assert_eq!(form["measured"]["source"], "twin.csv");
    assert_eq!(form["measured"]["sweeps"].as_array().unwrap().len(), 6);
    assert_eq!(form["against"]["responses"].as_array().unwrap().len(), 4);
    for key in ["targets", "table_c2a", "advice"] {
        let first = &form[key][0];
        for field in ["outcome", "axis", "what", "source", "unit", "note"] {
            assert!(first[field].is_string(), "{key} {field}");
        }
        for field in ["value", "margin"] {
            assert!(first[field].is_number(), "{key} {field}");
        }
    }
    let guide = std::fs::read_to_string(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/guides/feel.md"),
    )
    .unwrap();
    for (key, _) in form.as_object().unwrap() {
        assert!(
            guide.contains(&format!("`{key}")),
            "docs/guides/feel.md lacks `{key}`"
        );
    }
    assert_eq!(place.run(&args).out, ran.out);
}

#[test]
fn a_broken_target_ends_in_1_and_says_why() {
    let place = with_record();
    let rig = replaced(&shipped_rig("kittiwake"), "low_n = 2.0", "low_n = 2.55");
    place.write("scenarios/rigs/kittiwake.toml", rig);
    let ran = place.run(&["feel", "kittiwake", "--bench", "twin.csv"]);
    assert_eq!(ran.code, Some(1), "{}", ran.out);
    for part in [
        "FAIL     pitch  held       breakout fore",
        "pitch breakout fore: out of the middle by a finger's pull",
        "targets: 29 pass, 3 fail\n",
    ] {
        assert!(
            ran.out.contains(part),
            "`{part}` is missing in:\n{}",
            ran.out
        );
    }
}

#[test]
fn a_record_outside_the_table_ends_in_1() {
    let place = with_record();
    let (before, after) = kittiwake().1.split_once("pitch trim rate [deg/s]").unwrap();
    let changed = format!(
        "{before}pitch trim rate [deg/s]{}",
        after.replacen("6.", "7.", 1)
    );
    assert_ne!(changed, kittiwake().1);
    place.write("other.csv", changed);
    let ran = place.run(&[
        "feel",
        "kittiwake",
        "--bench",
        "twin.csv",
        "--against",
        "other.csv",
    ]);
    assert_eq!(ran.code, Some(1), "{}", ran.out);
    assert!(ran.out.contains("FAIL     2.a.4"), "{}", ran.out);
}

#[test]
fn a_rig_without_targets_gets_a_note() {
    let place = with_record();
    let rig = without_targets(&shipped_rig("kittiwake"));
    place.write("scenarios/rigs/kittiwake.toml", rig);
    let ran = place.run(&["feel", "kittiwake", "--bench", "twin.csv"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(
        ran.out.contains("The rig `kittiwake` sets no targets"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("\ntargets: nothing\n"), "{}", ran.out);
}

#[test]
fn a_sweep_that_slips_says_so() {
    let place = Workplace::new();
    let rig = without_targets(&shipped_rig("kittiwake"));
    let rig = with_value(&with_value(&rig, "run_a", "1.5"), "hold_a", "1.5");
    place.write("scenarios/rigs/kittiwake.toml", rig);
    let ran = place.run(&["feel", "kittiwake"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(
        ran.out.contains("pitch held: the motor slipped at 11."),
        "{}",
        ran.out
    );
    let line = ran
        .out
        .lines()
        .find(|line| line.contains("motor slipped at  "))
        .unwrap();
    assert!(line.contains(" 11.") && line.contains(" no"), "{line}");
}

#[test]
fn a_twin_that_never_holds_is_reported() {
    let place = Workplace::new();
    let rig = with_value(&shipped_rig("kittiwake"), "volts", "18.0");
    place.write("scenarios/rigs/kittiwake.toml", rig);
    let ran = place.run(&["feel", "kittiwake"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""));
    assert_shown("feel_never_holds", &ran.err);
}

#[test]
fn files_that_are_not_there_or_no_measurement() {
    let place = with_record();
    for (name, args) in [
        ("feel_missing_rig", &["feel", "kitiwake"][..]),
        (
            "feel_missing_against",
            &["feel", "kittiwake", "--against", "bitern"],
        ),
        (
            "feel_missing_bench",
            &["feel", "kittiwake", "--bench", "gone.csv"],
        ),
    ] {
        let ran = place.run(args);
        assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{name}");
        assert_shown(name, &ran.err);
    }
    place.write("bad.csv", "1,2,3\n4,5,6\n");
    let ran = place.run(&["feel", "kittiwake", "--against", "bad.csv"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""));
    assert!(ran.err.contains("bad.csv"), "{}", ran.err);
}

#[test]
fn records_without_anything_in_common_are_refused() {
    let place = with_record();
    // The first block of the file is a pitch sweep; roll alone is left of the other.
    let kept = &kittiwake().1;
    let blocks: Vec<&str> = kept
        .split("\r\n\r\n")
        .flat_map(|part| part.split("\n\n"))
        .collect();
    let only = |word: &str| {
        let found: Vec<&str> = blocks
            .iter()
            .copied()
            .filter(|block| {
                let header = block
                    .lines()
                    .find(|line| !line.starts_with('#'))
                    .unwrap_or_default();
                header.contains(word) && header.contains("force")
            })
            .collect();
        assert!(!found.is_empty(), "no block of {word}");
        found[0].to_owned() + "\n"
    };
    place.write("pitch.csv", only("pitch"));
    place.write("roll.csv", only("roll"));
    let ran = place.run(&[
        "feel",
        "kittiwake",
        "--bench",
        "pitch.csv",
        "--against",
        "roll.csv",
    ]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{}", ran.err);
    assert_shown("feel_nothing_in_common", &ran.err);
}

#[test]
fn a_place_that_cannot_be_written_is_found_out_first() {
    let place = Workplace::new();
    let ran = place.run(&["feel", "kittiwake", "--keep", "scenarios"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(4), ""));
    assert!(!ran.err.contains("simulated"), "{}", ran.err);
}

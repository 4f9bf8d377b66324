//! Verdicts and what is written with them.

use crate::workplace::{BREAKS, STAYS, Workplace, replaced, shipped_rig};

/// A place with one scenario that holds, on both rigs, and one that breaks.
fn place() -> Workplace {
    let place = Workplace::new();
    place.write("scenarios/breaks.toml", BREAKS);
    place.write(
        "scenarios/stays.toml",
        replaced(STAYS, "[\"kittiwake\"]", "[\"kittiwake\", \"bittern\"]"),
    );
    place
}

#[test]
fn all_held_ends_in_0_and_a_broken_one_in_1() {
    let place = place();
    let held = place.run(&["prove", "--only", "stays"]);
    assert_eq!(held.code, Some(0), "{}", held.err);
    assert!(
        held.out
            .ends_with("\n2 runs: 2 held; 4 of 4 expectations held\n"),
        "{}",
        held.out
    );
    let broken = place.run(&["prove"]);
    assert_eq!(broken.code, Some(1), "{}", broken.err);
    for part in [
        "BROKEN   breaks",
        "BROKEN breaks on kittiwake: the stick is where nobody put it",
        "eventually (pitch.stick_deg > 90.0)",
        "it is meant to break",
        "3 runs: 2 held, 1 broken; 5 of 6 expectations held",
    ] {
        assert!(
            broken.out.contains(part),
            "`{part}` is missing in:\n{}",
            broken.out
        );
    }
}

#[test]
fn a_rig_can_be_chosen() {
    let place = place();
    let ran = place.run(&["prove", "--rig", "bittern"]);
    assert_eq!(ran.code, Some(0));
    assert!(ran.out.contains("1 run: 1 held"), "{}", ran.out);
}

#[test]
fn the_output_does_not_depend_on_the_threads() {
    let place = place();
    for format in ["text", "json"] {
        let of = |threads: &str| {
            place
                .run(&["prove", "--cards", "--format", format, "--threads", threads])
                .out
        };
        let one = of("1");
        assert_eq!(one, of("2"), "{format}");
        assert_eq!(one, of("7"), "{format}");
    }
}

#[test]
fn the_json_form_is_as_documented() {
    let place = place();
    let ran = place.run(&["prove", "--format", "json"]);
    let verdicts: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(
        (&verdicts["form"], &verdicts["exit_code"]),
        (&1.into(), &1.into())
    );
    let labels: Vec<String> = verdicts["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|run| {
            format!(
                "{} {} {}",
                run["scenario"].as_str().unwrap(),
                run["rig"].as_str().unwrap(),
                run["verdict"]
            )
        })
        .collect();
    assert_eq!(
        labels,
        [
            "breaks kittiwake \"broken\"",
            "stays kittiwake \"held\"",
            "stays bittern \"held\""
        ]
    );
    let broken = &verdicts["runs"][0]["expectations"][1];
    assert_eq!(
        (&broken["held"], &broken["unit"]),
        (&false.into(), &"deg".into())
    );
    assert!(broken["margin"].as_f64().unwrap() < 0.0);
    // An expectation of switches alone has no number.
    assert!(verdicts["runs"][1]["expectations"][1]["margin"].is_null());
    let guide = include_str!("../../docs/guides/command-line.md");
    let mut fields: Vec<&String> = verdicts.as_object().unwrap().keys().collect();
    fields.extend(verdicts["runs"][0].as_object().unwrap().keys());
    fields.extend(broken.as_object().unwrap().keys());
    for field in fields {
        let row = [
            format!("`{field}`"),
            format!("`.{field}`"),
            format!("`..{field}`"),
            format!("`{field}[]`"),
            format!("`.{field}[]`"),
        ];
        assert!(
            row.iter().any(|form| guide.contains(form)),
            "the guide lacks `{field}`"
        );
    }
}

#[test]
fn traces_are_kept_in_the_forms_wanted() {
    let place = place();
    place.run(&[
        "prove", "--only", "stays", "--keep", "new/out", "--trace", "both",
    ]);
    for rig in ["kittiwake", "bittern"] {
        assert!(
            place
                .read(&format!("new/out/stays@{rig}.csv"))
                .starts_with("time_s,")
        );
        assert!(place.path(&format!("new/out/stays@{rig}.mcap")).is_file());
    }
    assert_eq!(std::fs::read_dir(place.path("new/out")).unwrap().count(), 4);
    place.run(&["prove", "--only", "breaks", "--keep", "csv"]);
    assert_eq!(std::fs::read_dir(place.path("csv")).unwrap().count(), 1);
}

#[test]
fn junit_tells_what_held_and_what_broke() {
    let place = place();
    let args = ["prove", "--junit", "made/for-ci/verdicts.xml"];
    assert_eq!(place.run(&args).code, Some(1));
    let xml = place.read("made/for-ci/verdicts.xml");
    for part in [
        "<testsuites name=\"trimproof\" tests=\"6\" skipped=\"0\" failures=\"1\" errors=\"0\"",
        "<testsuite name=\"breaks@kittiwake\"",
        "hostname=\"localhost\"",
        "<testcase name=\"the stick is where nobody put it\" classname=\"breaks@kittiwake\"",
        "type=\"broken\"",
        "eventually (pitch.stick_deg &gt; 90.0)",
    ] {
        assert!(xml.contains(part), "`{part}` is missing in:\n{xml}");
    }
    assert!(!xml.contains("timestamp"), "{xml}");
    // 2023-11-14 22:13:20 UTC is second 1 700 000 000 (date -u -d @1700000000).
    place
        .command(&args)
        .env("SOURCE_DATE_EPOCH", "1700000000")
        .status()
        .unwrap();
    assert!(
        place
            .read("made/for-ci/verdicts.xml")
            .contains("timestamp=\"2023-11-14T22:13:20\"")
    );
    place
        .command(&args)
        .env("SOURCE_DATE_EPOCH", "951782400")
        .status()
        .unwrap();
    assert!(
        place
            .read("made/for-ci/verdicts.xml")
            .contains("timestamp=\"2000-02-29T00:00:00\"")
    );
}

#[test]
fn colour_only_where_it_is_wanted() {
    let place = place();
    let escape = '\u{1b}';
    assert!(!place.run(&["prove"]).out.contains(escape));
    assert!(
        place
            .run(&["prove", "--color", "always"])
            .out
            .contains(escape)
    );
    place.write("scenarios/bad.toml", "");
    assert!(!place.run(&["prove"]).err.contains(escape));
    assert!(
        !place
            .run(&["prove", "--color", "never"])
            .err
            .contains(escape)
    );
}

#[test]
fn cards_are_narrow_and_end_in_the_hash() {
    let place = place();
    let ran = place.run(&[
        "prove",
        "--cards",
        "--only",
        "stays",
        "--rig",
        "kittiwake",
        "--format",
        "json",
    ]);
    let verdicts: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let run = &verdicts["runs"][0];
    let card = run["card"].as_str().unwrap();
    assert!(card.starts_with("stays on kittiwake\n"));
    assert!(card.ends_with(&format!("\nhash {}\n", run["hash"].as_str().unwrap())));
    assert!(
        card.lines()
            .all(|line| line.chars().count() <= 100 && line == line.trim_end()),
        "{card}"
    );
}

#[test]
fn help_lists_the_exit_codes() {
    let place = Workplace::new();
    let help = place.run(&["--help"]);
    assert_eq!(help.code, Some(0));
    for code in ["0", "1", "2", "3", "4", "5", "70", "130"] {
        assert!(
            help.out.contains(&format!("\n  {code:>3}  ")),
            "{code} is missing in:\n{}",
            help.out
        );
    }
}

#[test]
fn schemas_accept_what_is_shipped_and_refuse_what_is_wrong() {
    let place = Workplace::new();
    for (kind, good, key) in [
        ("scenario", STAYS.to_owned(), "length_s"),
        ("rig", shipped_rig("kittiwake"), "stick"),
    ] {
        let schema: serde_json::Value =
            serde_json::from_str(&place.run(&["schema", kind]).out).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let file: toml::Value = toml::from_str(&good).unwrap();
        let mut file = serde_json::to_value(file).unwrap();
        let errors: Vec<String> = validator
            .iter_errors(&file)
            .map(|error| error.to_string())
            .collect();
        assert!(errors.is_empty(), "{kind}: {errors:?}");
        file["nonsense"] = 1.into();
        assert!(
            !validator.is_valid(&file),
            "{kind}: an unknown key is let in"
        );
        file.as_object_mut().unwrap().remove("nonsense");
        file.as_object_mut().unwrap().remove(key);
        assert!(!validator.is_valid(&file), "{kind}: `{key}` may be missing");
    }
}

#[test]
fn signals_are_listed_with_units_and_constants_of_a_rig() {
    let place = Workplace::new();
    let plain = place.run(&["signals"]);
    assert_eq!(plain.code, Some(0));
    assert!(
        plain
            .out
            .lines()
            .any(|line| line.starts_with("pitch.grip_force_n") && line.contains(" N ")),
        "{}",
        plain.out
    );
    assert!(
        plain
            .out
            .contains("states: limp, centring, holding, released, nudging, tripped\n")
    );
    assert!(!plain.out.contains("rig."));
    for rig in ["kittiwake", "scenarios/rigs/kittiwake.toml"] {
        let with_rig = place.run(&["signals", rig]);
        assert_eq!(with_rig.code, Some(0), "{}", with_rig.err);
        assert!(
            with_rig.out.contains("rig.pitch.breakout_n"),
            "{}",
            with_rig.out
        );
    }
    let json: serde_json::Value =
        serde_json::from_str(&place.run(&["signals", "--format", "json"]).out).unwrap();
    assert_eq!(json["signals"][0]["name"], "time_s");
    let unknown = place.run(&["signals", "bitern"]);
    assert_eq!((unknown.code, unknown.out.as_str()), (Some(2), ""));
    assert!(
        unknown.err.contains("did you mean `bittern`?"),
        "{}",
        unknown.err
    );
}

#[test]
fn completions_are_made_for_every_shell() {
    let place = Workplace::new();
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let ran = place.run(&["completions", shell]);
        assert_eq!(ran.code, Some(0), "{shell}");
        assert!(
            ran.out.contains("trimproof") && ran.out.contains("prove"),
            "{shell}"
        );
    }
}

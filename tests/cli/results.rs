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
            .ends_with("\n2 runs: 2 pass; 4 of 4 expectations pass\n"),
        "{}",
        held.out
    );
    let broken = place.run(&["prove"]);
    assert_eq!(broken.code, Some(1), "{}", broken.err);
    for part in [
        "FAIL     breaks",
        "FAIL breaks on kittiwake: the stick is where nobody put it",
        "eventually (pitch.stick_deg > 90.0)",
        "it is meant to break",
        "3 runs: 2 pass, 1 fail; 5 of 6 expectations pass",
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
    assert!(ran.out.contains("1 run: 1 pass"), "{}", ran.out);
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
            "breaks kittiwake \"fail\"",
            "stays kittiwake \"pass\"",
            "stays bittern \"pass\""
        ]
    );
    let broken = &verdicts["runs"][0]["expectations"][1];
    assert_eq!(
        (&broken["verdict"], &broken["unit"]),
        (&"fail".into(), &"deg".into())
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
fn junit_shows_what_held_and_what_broke() {
    let place = place();
    let args = ["prove", "--junit", "made/for-ci/verdicts.xml"];
    assert_eq!(place.run(&args).code, Some(1));
    let xml = place.read("made/for-ci/verdicts.xml");
    for part in [
        "<testsuites>",
        "<testsuite name=\"breaks@kittiwake\"",
        "tests=\"2\" failures=\"1\" errors=\"0\" skipped=\"0\"",
        "name=\"the stick is where nobody put it: line\" value=\"12\"",
        "scenarios/breaks.toml:12",
        "hostname=\"localhost\"",
        "<testcase name=\"the stick is where nobody put it\" classname=\"breaks@kittiwake\"",
        "type=\"fail\"",
        "eventually (pitch.stick_deg &gt; 90.0)",
    ] {
        assert!(xml.contains(part), "`{part}` is missing in:\n{xml}");
    }
    // One must stand there; it is none of ours.
    assert!(xml.contains("timestamp=\"1970-01-01T00:00:00\""), "{xml}");
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
fn accuracy_compares_with_the_same_commands_at_half_steps() {
    let place = place();
    let ran = place.run(&["prove", "--accuracy", "--format", "json"]);
    let verdicts: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    for run in verdicts["runs"].as_array().unwrap() {
        let stick = &run["accuracy"]["stick_deg"];
        assert!(stick["signal"].as_str().unwrap().ends_with(".stick_deg"));
        // 1e-4 rad, and another run than the first: rounding alone differs.
        let largest = stick["largest"].as_f64().unwrap();
        assert!(largest > 0.0 && largest < 5.73e-3, "{run}");
        assert!(stick["at_s"].as_f64().unwrap() <= 0.2);
        assert!(run["accuracy"]["sensitivity"].is_null());
    }
    let guide = include_str!("../../docs/guides/command-line.md");
    assert!(guide.contains("`.accuracy`") && guide.contains("`.accuracy_error`"));
    let ran = place.run(&["prove", "--accuracy", "--only", "stays"]);
    assert!(
        ran.out.contains("half the integrator's steps") && ran.out.contains("stick, deg"),
        "{}",
        ran.out
    );
    assert!(
        ran.out.contains("2 of 2 runs within 0.005730 deg"),
        "{}",
        ran.out
    );
    assert!(!place.run(&["prove"]).out.contains("half the integrator's"));
}

/// A limp stick drags its rotor over peaks of its detent: what nobody can measure decides how many.
#[test]
fn accuracy_distinguishes_a_bifurcation_from_steps_that_are_too_long() {
    let place = Workplace::new();
    place.write(
        "scenarios/release-near-stop.toml",
        include_str!("../../scenarios/release-near-stop.toml"),
    );
    place.write("scenarios/rigs/sanderling.toml", shipped_rig("sanderling"));
    let only = ["prove", "--accuracy", "--rig", "sanderling"];
    let ran = place.run(&only);
    assert!(
        ran.out.contains("0 of 1 runs within 0.005730 deg")
            && ran
                .out
                .contains("release-near-stop@sanderling: a bifurcation, no step is short enough: "),
        "{}",
        ran.out
    );
    let ran = place.run(&[&only[..], &["--format", "json"]].concat());
    let verdicts: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let sensitivity = &verdicts["runs"][0]["accuracy"]["sensitivity"];
    assert_eq!(sensitivity["is_bifurcation"], true, "{sensitivity}");
    assert!(sensitivity["stick_deg"]["largest"].as_f64().unwrap() > 5.73e-3);
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

/// An expectation that cannot fail: nobody presses the switch.
const IDLE: &str = r#"title = "Nobody touches the stick"
purpose = "A scenario for the tests of the command line: its expectation holds because nothing happens."
rigs = ["kittiwake", "bittern"]
length_s = 0.2

[[expect]]
name = "a release ends within a tick"
formula = "always (rises(release) implies eventually[0, 0.002] (not release))"
"#;

#[test]
fn what_was_never_put_to_the_test_is_shown_everywhere_and_fails_where_it_is_taken_strictly() {
    let place = place();
    place.write("scenarios/idle.toml", IDLE);
    let why = "`rises(release)` was never true where it was looked at";
    let args = [
        "prove", "--only", "idle", "--cards", "--junit", "out.xml", "--html", "out.html",
    ];
    let ran = place.run(&args);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    for part in [
        "never put to the test idle on bittern: a release ends within a tick",
        why,
        "expectations: 1 of 1 pass, 1 never put to the test",
        "\n2 runs: 2 pass; 2 of 2 expectations pass, 2 never put to the test\n",
    ] {
        assert!(
            ran.out.contains(part),
            "`{part}` is missing in:\n{}",
            ran.out
        );
    }
    let xml = place.read("out.xml");
    assert!(
        xml.contains("a release ends within a tick: never put to the test")
            && xml.contains("failures=\"0\""),
        "{xml}"
    );
    assert!(place.read("out.html").contains(why));
    let json = place.run(&["prove", "--only", "idle", "--format", "json"]);
    let verdicts: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(verdicts["never_put_to_test"], 2);
    let judged = &verdicts["runs"][0]["expectations"][0];
    assert_eq!(judged["put_to_test"], false);
    assert_eq!(judged["untested_because"], why);
    assert_eq!(judged["verdict"], "pass");
    let strict = place.run(&["prove", "--only", "idle", "--strict"]);
    assert_eq!(strict.code, Some(1), "{}", strict.err);
    assert_eq!(
        place.run(&["prove", "--only", "stays", "--strict"]).code,
        Some(0)
    );
}

#[test]
fn a_formula_of_the_first_row_is_a_warning_once_and_refused_where_it_is_taken_strictly() {
    let place = Workplace::new();
    let text = replaced(
        &replaced(
            STAYS,
            "always (not fault.sensor_range)",
            "not fault.sensor_range",
        ),
        "[\"kittiwake\"]",
        "[\"kittiwake\", \"bittern\"]",
    );
    place.write("scenarios/stays.toml", &text);
    let ran = place.run(&["prove"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let message = "warning: `not fault.sensor_range` is judged in the first row only";
    assert_eq!(ran.err.matches(message).count(), 1, "{}", ran.err);
    assert!(
        ran.err
            .contains("write `always(not fault.sensor_range)` for the whole run"),
        "{}",
        ran.err
    );
    let strict = place.run(&["prove", "--strict"]);
    assert_eq!(
        (strict.code, strict.out.as_str()),
        (Some(2), ""),
        "{}",
        strict.err
    );
}

#[test]
fn something_undefined_is_reported_as_such() {
    let place = Workplace::new();
    let text = replaced(
        STAYS,
        "always (not fault.sensor_range)",
        "always (pitch.grip_force_n / roll.grip_force_n < 2)",
    );
    place.write("scenarios/stays.toml", text);
    let ran = place.run(&["prove", "--junit", "out.xml"]);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    for part in [
        "margin      undefined, worst at 0.000 s",
        "it has no value at 0.000 s (0/0,",
    ] {
        assert!(
            ran.out.contains(part),
            "`{part}` is missing in:\n{}",
            ran.out
        );
    }
    assert!(
        place
            .read("out.xml")
            .contains("message=\"margin undefined, worst at 0.000 s\"")
    );
}

#[test]
fn an_old_report_never_stays() {
    let place = place();
    let reports = ["--junit", "out.xml", "--html", "out.html"];
    let write_old = || {
        place.write("out.xml", "<?xml version=\"1.0\"?><testsuites/>");
        place.write("out.html", "<!DOCTYPE html>");
    };
    let gone = |name: &str| assert!(!place.path(name).exists(), "{name} is still there");
    let none = "--only=no-such-scenario";
    for wrong in [none, "--nonsense", "--threads=0", "--on=image:none.elf"] {
        write_old();
        let ran = place.run(&[&["prove", wrong][..], &reports].concat());
        assert_eq!(ran.code, Some(2), "{wrong}: {}", ran.err);
        gone("out.xml");
        gone("out.html");
    }
    write_old();
    let ran = place.run(&["prove", "--junit=out.xml", "--html=out.html", "--nonsense"]);
    assert_eq!(ran.code, Some(2));
    gone("out.xml");
    gone("out.html");
    // Help is no run, and another command has no reports.
    write_old();
    place.run(&[&["prove", "--help"][..], &reports].concat());
    assert!(place.path("out.xml").exists());
    // What is no report is not taken for an old one.
    let before = place.listing();
    let ran = place.run(&["prove", "--junit", "scenarios/stays.toml"]);
    assert_eq!(ran.code, Some(2));
    assert!(
        ran.err.contains("would replace a file that is no report"),
        "{}",
        ran.err
    );
    assert_eq!(place.listing(), before);
}

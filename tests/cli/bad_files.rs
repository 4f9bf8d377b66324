//! Bad scenario and rig files: a clear message, exit code 2, nothing written.

use crate::workplace::{STAYS, Workplace, assert_shown, replaced, shipped_rig, with_value};

/// Proves everything with all outputs wanted, and asserts that it is refused, silently on standard
/// output, and that nothing was written.
fn refused(name: &str, place: &Workplace, args: &[&str]) {
    let before = place.listing();
    let mut all = vec!["prove"];
    all.extend(args);
    all.extend(["--keep", "out", "--trace", "both", "--junit", "out.xml"]);
    let ran = place.run(&all);
    assert_eq!(ran.code, Some(2), "{name}: {}", ran.err);
    assert_eq!(ran.out, "", "{name}");
    assert_eq!(place.listing(), before, "{name}: something was written");
    assert_shown(name, &masked(&ran.err));
}

/// Where a rig file is shown, without what changes with the rig's other numbers: line numbers and
/// the lines around.
fn masked(shown: &str) -> String {
    let lines: Vec<&str> = shown.lines().collect();
    let mut out = String::new();
    let mut in_rig = false;
    for (index, line) in lines.iter().enumerate() {
        if let Some((before, place)) = line.split_once("/rigs/kittiwake.toml:") {
            in_rig = true;
            let column = place.split_once(':').map_or(place, |(_, column)| column);
            out.push_str(&format!(
                "{}/rigs/kittiwake.toml:N:{column}\n",
                before.trim_start()
            ));
            continue;
        }
        if in_rig && line.contains("`----") {
            in_rig = false;
            continue;
        }
        if in_rig {
            let caret = |line: &&str| {
                line.trim_start()
                    .strip_prefix(':')
                    .is_some_and(|rest| rest.contains('^'))
            };
            if caret(line) || lines.get(index + 1).is_some_and(caret) {
                let text = line.split_once(['|', ':']).map_or(*line, |(_, text)| text);
                out.push_str(&format!("N |{text}\n"));
            }
            continue;
        }
        out.push_str(&format!("{}\n", line.trim_end()));
    }
    out
}

fn scenario_refused(name: &str, text: &str) {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", text);
    // A second scenario that is right: it must not run either.
    place.write("scenarios/all-is-well.toml", STAYS);
    refused(name, &place, &[]);
}

fn formula_refused(name: &str, formula: &str) {
    scenario_refused(
        name,
        &replaced(STAYS, "always (not fault.sensor_range)", formula),
    );
}

fn rig_refused(name: &str, text: &str) {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    place.write("scenarios/rigs/kittiwake.toml", text);
    refused(name, &place, &[]);
}

#[test]
fn the_good_scenario_is_good() {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    assert_eq!(place.run(&["prove"]).code, Some(0));
}

#[test]
fn keys_of_a_scenario() {
    scenario_refused("unknown_key", &replaced(STAYS, "length_s", "lenght_s"));
    scenario_refused(
        "not_toml",
        &replaced(STAYS, "length_s = 0.2", "length_s = "),
    );
}

#[test]
fn formulas() {
    formula_refused("unknown_signal", "always (pitch.stick_dge < 5.0)");
    formula_refused("unbalanced_brackets", "always ((pitch.stick_deg < 5.0)");
    formula_refused("bracket_too_many", "always (pitch.stick_deg < 5.0))");
    formula_refused("empty_window", "always[] (pitch.stick_deg < 5.0)");
    formula_refused(
        "reversed_window",
        "always[0.15, 0.05] (pitch.stick_deg < 5.0)",
    );
    formula_refused(
        "window_past_the_end",
        "always[0.1, 5.0] (pitch.stick_deg < 5.0)",
    );
}

#[test]
fn what_is_wrong_on_two_rigs_is_reported_once() {
    let place = Workplace::new();
    let text = replaced(STAYS, "[\"kittiwake\"]", "[\"kittiwake\", \"bittern\"]");
    place.write(
        "scenarios/stays.toml",
        replaced(&text, "fault.sensor_range", "fault.sensor_rang"),
    );
    let ran = place.run(&["prove"]);
    assert_eq!(ran.code, Some(2));
    assert_eq!(ran.err.matches("unknown signal").count(), 1, "{}", ran.err);
    assert!(
        ran.err.ends_with("\n1 error; nothing was run\n"),
        "{}",
        ran.err
    );
}

#[test]
fn events() {
    let first = "[[do]]\nat_s = 0.15\nwhat = \"grip\"\n\n";
    let second = "[[do]]\nat_s = 0.1\nwhat = \"let_go_stick\"\n\n";
    let events = |text: &str| STAYS.replacen("[[expect]]", &format!("{text}[[expect]]"), 1);
    scenario_refused("events_out_of_order", &events(&format!("{first}{second}")));
    scenario_refused(
        "event_after_the_end",
        &events(&first.replace("0.15", "0.5")),
    );
}

#[test]
fn values_of_a_rig() {
    let rig = shipped_rig("kittiwake");
    rig_refused(
        "rig_unknown_key",
        &replaced(&rig, "grip_radius_m", "grip_raduis_m"),
    );
    rig_refused(
        "rig_negative_mass",
        &with_value(&rig, "frame_mass_kg", "-0.35"),
    );
    rig_refused("rig_nan", &with_value(&rig, "volts", "nan"));
    rig_refused("rig_zero_ratio", &with_value(&rig, "motor_teeth", "0"));
    rig_refused("rig_bits_0", &with_value(&rig, "bits", "0"));
    rig_refused("rig_bits_40", &with_value(&rig, "bits", "40"));
}

#[test]
fn rigs_that_are_not_there() {
    scenario_refused("rig_missing", &replaced(STAYS, "kittiwake", "kitiwake"));

    let place = Workplace::new();
    place.write("scenarios/stays.toml", replaced(STAYS, "kittiwake", "gull"));
    place.write("scenarios/rigs/gull.toml/inside.txt", "");
    refused("rig_is_a_folder", &place, &[]);

    let place = Workplace::new();
    place.write("scenarios/stays.toml", replaced(STAYS, "kittiwake", "gull"));
    place.write("scenarios/rigs/gull.toml", shipped_rig("kittiwake"));
    refused("rig_of_another_name", &place, &[]);

    let place = Workplace::new();
    place.write("lonely/stays.toml", STAYS);
    refused("no_rigs_folder", &place, &["lonely"]);
}

#[test]
fn the_choice_of_a_rig() {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    refused("unknown_rig_argument", &place, &["--rig", "kitiwake"]);
    refused("rig_that_no_scenario_names", &place, &["--rig", "bittern"]);
}

#[test]
fn the_choice_of_scenarios() {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    refused("missing_scenario", &place, &["scenarios/gone.toml"]);
    refused("glob_without_match", &place, &["scenarios/x*.toml"]);
    refused("only_without_match", &place, &["--only", "stasy"]);
    refused("bad_glob", &place, &["--only", "[a"]);
    place.write("empty/rigs/kittiwake.toml", shipped_rig("kittiwake"));
    refused("empty_folder", &place, &["empty"]);

    let place = Workplace::new();
    std::fs::rename(place.path("scenarios"), place.path("elsewhere")).unwrap();
    refused("no_scenarios_folder", &place, &[]);
}

#[test]
fn names_of_scenarios() {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    place.write("scenarios/more/stays.toml", STAYS);
    refused("two_of_one_name", &place, &[]);

    let place = Workplace::new();
    place.write("scenarios/It Stays.toml", STAYS);
    refused("bad_name", &place, &[]);
}

#[test]
fn files_that_are_no_text() {
    let place = Workplace::new();
    place.write("scenarios/huge.toml", "");
    // 50 MB with a hole in it: as long as a real one, without the wait.
    let huge = std::fs::File::options()
        .write(true)
        .open(place.path("scenarios/huge.toml"))
        .unwrap();
    huge.set_len(50_000_000).unwrap();
    refused("huge_file", &place, &[]);

    let place = Workplace::new();
    place.write("scenarios/latin.toml", b"title = \"caf\xe9\"\n");
    refused("not_utf8", &place, &[]);

    let place = Workplace::new();
    std::fs::create_dir_all(place.path("scenarios/folder.toml")).unwrap();
    refused("folder_named_as_a_file", &place, &["scenarios/folder.toml"]);
}

#[test]
fn everything_that_is_wrong_is_listed_at_once() {
    let place = Workplace::new();
    place.write(
        "scenarios/a.toml",
        replaced(STAYS, "length_s = 0.2", "length_s = -1.0"),
    );
    place.write("scenarios/b.toml", replaced(STAYS, "kittiwake", "gull"));
    place.write("scenarios/c.toml", "");
    refused("several_at_once", &place, &[]);
}

/// Keys, values and formulas of one file, each with its line and caret.
#[test]
fn all_faults_of_one_file_are_listed() {
    let place = Workplace::new();
    let text = replaced(STAYS, "length_s = 0.2", "length_s = 0.2\nsede = 3");
    let text = replaced(&text, "pitch.stick_deg <", "pitch.stik_deg <");
    let text = replaced(&text, "not fault.sensor_range", "not fault.sensor_rnge");
    let text = replaced(&text, "because =", "becuse =");
    place.write("scenarios/stays.toml", text);
    refused("all_of_one_file", &place, &[]);
}

#[test]
fn all_faulty_formulas_of_one_file_are_listed() {
    let place = Workplace::new();
    let text = replaced(STAYS, "pitch.stick_deg <", "pitch.stik_deg <");
    let text = replaced(&text, "not fault.sensor_range", "not fault.sensor_rnge");
    place.write("scenarios/stays.toml", text);
    refused("all_formulas", &place, &[]);
}

#[test]
fn arguments() {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    for args in [
        &["prove", "--nonsense"][..],
        &["prove", "--threads", "0"],
        &["prove", "--trace", "csv"],
        &["dance"],
        &[],
    ] {
        let ran = place.run(args);
        assert_eq!(ran.code, Some(2), "{args:?}");
        assert_eq!(ran.out, "", "{args:?}");
    }
    let ran = place
        .command(&["prove", "--junit", "x.xml"])
        .env("SOURCE_DATE_EPOCH", "soon")
        .output()
        .unwrap();
    assert_eq!(ran.status.code(), Some(2));
    assert!(!place.path("x.xml").exists());
}

//! Scenario files: good ones, and every bad one with its message.

mod overlaps;

use super::*;

/// A right file; each bad one differs from it in one place.
const GOOD: &str = r#"title = "Release near the aft stop"
purpose = "A release near a stop must clamp the reference inside the soft limits."
rigs = ["kittiwake", "bittern"]
length_s = 10
seed = 7

[start]
pitch_deg = 2.5

[[do]]
at_s = 1
what = "grip"
limit_n = 80

[[do]]
at_s = 2.0
what = "hold"
switch = "release"
for_s = 3.0
bounce_s = [0.002, 0.001]

[[do]]
at_s = 2.5
what = "carry"
pitch_deg = 11.5
over_s = 1.0

[[do]]
at_s = 6.0
what = "let_go_stick"

[[do]]
at_s = 7.0
what = "fault"
fault = { kind = "sensor_jump", axis = "pitch", by_deg = 4.0 }
for_s = 0.5

[[expect]]
name = "clamped"
formula = "always (pitch.reference_deg <= rig.pitch.soft_max_deg)"
because = "the soft limit is the reference's bound"
rigs = ["bittern"]
"#;

/// `GOOD` with its one occurrence of `old` replaced.
fn with(old: &str, new: &str) -> String {
    assert_eq!(GOOD.matches(old).count(), 1, "`{old}` must occur once");
    GOOD.replace(old, new)
}

/// The message, the text it points at under its line, and the help: what a user gets to see.
fn shown(text: &str) -> String {
    let error = match Scenario::parse(text) {
        Ok(_) => return "no error".to_owned(),
        Err(error) => error,
    };
    let mut shown = format!("error: {}\n", error.message);
    if let Some(span) = error.span {
        let start = text[..span.start].rfind('\n').map_or(0, |at| at + 1);
        let end = text[span.start..]
            .find('\n')
            .map_or(text.len(), |at| span.start + at);
        let number = text[..span.start].matches('\n').count() + 1;
        let width = text[span.start..span.end.min(end)].chars().count().max(1);
        let indent = " ".repeat(text[start..span.start].chars().count());
        shown += &format!(
            "{number:>4} | {}\n     | {indent}{}\n",
            &text[start..end],
            "^".repeat(width)
        );
    }
    if let Some(help) = error.help {
        shown += &format!("help: {help}\n");
    }
    shown
}

fn snapshot(name: &str, text: &str) {
    let settings = {
        let mut settings = insta::Settings::clone_current();
        settings.set_snapshot_path(concat!(env!("CARGO_MANIFEST_DIR"), "/../../snapshots"));
        settings.set_prepend_module_to_snapshot(false);
        settings.set_omit_expression(true);
        settings
    };
    settings.bind(|| insta::assert_snapshot!(format!("scenario__{name}"), shown(text)));
}

#[test]
fn a_right_file_is_read_with_its_defaults() {
    let scenario = Scenario::parse(GOOD).unwrap();
    assert_eq!(scenario.length_s, 10.0);
    assert_eq!(scenario.seed, 7);
    assert_eq!(
        scenario.start,
        Start {
            pitch_deg: 2.5,
            ..Start::default()
        }
    );
    assert!(scenario.start.supply && scenario.start.force_trim);
    let whats: Vec<_> = scenario
        .events
        .iter()
        .map(|event| (event.at_s(), event.what()))
        .collect();
    assert_eq!(
        whats,
        [
            (1.0, "grip"),
            (2.0, "hold"),
            (2.5, "carry"),
            (6.0, "let_go_stick"),
            (7.0, "fault")
        ]
    );
    let Event::Carry {
        shape,
        pitch_deg,
        roll_deg,
        ..
    } = &scenario.events[2]
    else {
        panic!("a carry")
    };
    assert_eq!(
        (*shape, *pitch_deg, *roll_deg),
        (PathShape::Smooth, Some(11.5), None)
    );
    assert_eq!(scenario.expectations_for("kittiwake").count(), 0);
    assert_eq!(
        scenario
            .expectations_for("bittern")
            .map(|(index, _)| index)
            .collect::<Vec<_>>(),
        [0]
    );
    let short =
        "title='t'\npurpose='p'\nrigs=['a']\nlength_s=1\nexpect=[{name='n', formula='true'}]\n";
    let short = Scenario::parse(short).unwrap();
    assert_eq!(
        (short.seed, short.start, short.events.len()),
        (1, Start::default(), 0)
    );
}

#[test]
fn what_was_written_reads_back() {
    let scenario = Scenario::parse(GOOD).unwrap();
    let json = serde_json::to_string(&scenario).unwrap();
    assert_eq!(serde_json::from_str::<Scenario>(&json).unwrap(), scenario);
}

/// One bad file a line: name of the snapshot, the text replaced, the text put there.
const BAD: &[(&str, &str, &str)] = &[
    ("unknown_key", "length_s = 10", "lenght_s = 10"),
    ("unknown_key_in_event", "limit_n = 80", "limt_n = 80"),
    ("unknown_key_in_fault", "by_deg = 4.0", "by_degs = 4.0"),
    ("unknown_key_in_start", "pitch_deg = 2.5", "pich_deg = 2.5"),
    ("unknown_event", "what = \"grip\"", "what = \"grap\""),
    (
        "unknown_fault",
        "kind = \"sensor_jump\"",
        "kind = \"sensor_jumps\"",
    ),
    (
        "unknown_switch",
        "switch = \"release\"",
        "switch = \"hat_up\"",
    ),
    ("unknown_axis", "axis = \"pitch\"", "axis = \"yaw\""),
    ("event_without_what", "what = \"grip\"\n", ""),
    ("event_without_time", "at_s = 1\nwhat", "what"),
    (
        "missing_title",
        "title = \"Release near the aft stop\"\n",
        "",
    ),
    ("blank_title", "\"Release near the aft stop\"", "\"  \""),
    ("string_for_number", "at_s = 6.0", "at_s = \"6.0\""),
    ("number_for_string", "name = \"clamped\"", "name = 3"),
    ("float_seed", "seed = 7", "seed = 7.5"),
    ("negative_seed", "seed = 7", "seed = -7"),
    ("huge_seed", "seed = 7", "seed = 9223372036854775808"),
    ("zero_length", "length_s = 10", "length_s = 0.0"),
    ("too_long", "length_s = 10", "length_s = 3600.5"),
    ("nan_length", "length_s = 10", "length_s = nan"),
    ("infinite_time", "at_s = 7.0", "at_s = inf"),
    ("negative_time", "at_s = 1\n", "at_s = -1\n"),
    ("zero_duration", "over_s = 1.0", "over_s = 0"),
    ("nan_duration", "for_s = 3.0", "for_s = nan"),
    ("negative_bounce", "[0.002, 0.001]", "[0.002, -0.001]"),
    (
        "bounce_longer_than_hold",
        "for_s = 3.0\nbounce_s = [0.002, 0.001]",
        "for_s = 0.5\nbounce_s = [0.4, 0.2]",
    ),
    ("out_of_order", "at_s = 6.0", "at_s = 2.4"),
    ("after_the_end", "at_s = 7.0", "at_s = 10.0"),
    ("ends_after_the_end", "for_s = 0.5", "for_s = 4.0"),
    (
        "carry_without_grip",
        "what = \"grip\"\nlimit_n = 80",
        "what = \"force_trim\"\non = true",
    ),
    ("carry_nowhere", "pitch_deg = 11.5\n", ""),
    ("grip_twice", "what = \"let_go_stick\"", "what = \"grip\""),
    (
        "let_go_without_press",
        "what = \"let_go_stick\"",
        "what = \"let_go\"\nswitch = \"hat_aft\"",
    ),
    (
        "pressed_twice",
        "what = \"carry\"\npitch_deg = 11.5\nover_s = 1.0",
        "what = \"press\"\nswitch = \"release\"",
    ),
    ("fault_value", "by_deg = 4.0", "by_deg = 400.0"),
    (
        "instant_fault_with_duration",
        "kind = \"sensor_jump\", axis = \"pitch\", by_deg = 4.0",
        "kind = \"controller_reset\"",
    ),
    ("no_rigs", "[\"kittiwake\", \"bittern\"]", "[]"),
    (
        "rig_twice",
        "[\"kittiwake\", \"bittern\"]",
        "[\"bittern\", \"bittern\"]",
    ),
    (
        "rig_with_folder",
        "[\"kittiwake\", \"bittern\"]",
        "[\"rigs/bittern.toml\"]",
    ),
    (
        "expectation_for_foreign_rig",
        "rigs = [\"bittern\"]",
        "rigs = [\"heron\"]",
    ),
    (
        "expectation_without_formula",
        "formula = \"always (pitch.reference_deg <= rig.pitch.soft_max_deg)\"\n",
        "",
    ),
    ("not_toml", "length_s = 10", "length_s = "),
    ("key_twice", "length_s = 10", "length_s = 10\nlength_s = 11"),
];

#[test]
fn bad_files_are_refused_with_the_place() {
    for (name, old, new) in BAD {
        let text = with(old, new);
        assert!(Scenario::parse(&text).is_err(), "{name}");
        snapshot(name, &text);
    }
}

#[test]
fn more_bad_files() {
    let cut = &GOOD[..GOOD.find("[[expect]]").unwrap()];
    snapshot("no_expectations", cut);
    let twice = format!("{GOOD}\n[[expect]]\nname = \"clamped\"\nformula = \"true\"\n");
    snapshot("expectation_name_twice", &twice);
    let dip = "\n[[do]]\nat_s = 7.2\nwhat = \"dip\"\nvolts = 3\nfor_s = 1\n\n[[do]]\nat_s = 7.4\nwhat = \"supply\"\nvolts = 0\n\n[[expect]]\nname = \"clamped\"";
    snapshot(
        "supply_within_dip",
        &with("\n[[expect]]\nname = \"clamped\"", dip),
    );
    let push = "\n[[do]]\nat_s = 7.2\nwhat = \"push\"\nroll_n = 3\nfor_s = 1\nrise_s = 2\n\n[[expect]]\nname = \"clamped\"";
    snapshot(
        "push_rises_too_long",
        &with("\n[[expect]]\nname = \"clamped\"", push),
    );
    let push = push.replace(
        "rise_s = 2",
        "[[do]]\nat_s = 7.5\nwhat = \"push\"\nroll_n = 3\nfor_s = 1",
    );
    snapshot(
        "push_upon_push",
        &with("\n[[expect]]\nname = \"clamped\"", &push),
    );
    assert!(shown(&" ".repeat(MAX_BYTES + 1)).contains("it may have at most 1048576"));
}

#[test]
fn a_switch_may_be_used_again_when_its_bounce_is_over() {
    let again = |at_s: &str| {
        let more = format!(
            "what = \"let_go_stick\"\n\n[[do]]\nat_s = {at_s}\nwhat = \"press\"\nswitch = \"release\""
        );
        Scenario::parse(&with(
            "at_s = 6.0\nwhat = \"let_go_stick\"",
            &format!("at_s = 5.0\n{more}"),
        ))
    };
    // The hold ends at 5 s and bounces for 3 ms.
    assert!(
        again("5.002")
            .unwrap_err()
            .message
            .contains("bouncing until")
    );
    assert!(again("5.003").is_ok());
}

#[test]
fn paths_begin_and_end_where_they_should() {
    for shape in [PathShape::Smooth, PathShape::Steady] {
        assert_eq!(
            (
                shape.share(-1.0),
                shape.share(0.0),
                shape.share(1.0),
                shape.share(2.0)
            ),
            (0.0, 0.0, 1.0, 1.0)
        );
        assert_eq!(shape.share(0.5), 0.5);
    }
    // Minimum jerk, 10 x^3 - 15 x^4 + 6 x^5 at 1/4: 10/64 - 15/256 + 6/1024 = 106/1024, exact in
    // binary.
    assert_eq!(PathShape::Smooth.share(0.25), 106.0 / 1024.0);
}

#[test]
fn events_say_what_happens() {
    let said: Vec<String> = Scenario::parse(GOOD)
        .unwrap()
        .events
        .iter()
        .map(Event::to_string)
        .collect();
    assert_eq!(
        said,
        [
            "grip the stick, 80 N at most",
            "hold release for 3 s, bouncing for [0.002, 0.001] s",
            "carry pitch to 11.5 deg in 1 s, smooth",
            "let go of the stick",
            "fault sensor_jump, axis pitch, by_deg 4.0 for 0.5 s",
        ]
    );
}

#[test]
fn names_come_from_kebab_case_stems() {
    assert_eq!(
        name_of(Path::new("a/release-near-stop.toml")).unwrap(),
        "release-near-stop"
    );
    for bad in [
        "Release.toml",
        "a_b.toml",
        "-a.toml",
        "a--b.toml",
        ".toml",
        "",
    ] {
        assert!(name_of(Path::new(bad)).is_err(), "{bad}");
    }
}

/// Every property of every table in the schema says what it means.
#[test]
fn every_key_of_the_schema_is_described() {
    fn walk(schema: &serde_json::Value, path: &str, seen: &mut usize) {
        if let Some(properties) = schema["properties"].as_object() {
            for (key, property) in properties {
                let tag = property.get("const").is_some();
                assert!(
                    tag || property["description"].is_string(),
                    "{path}.{key} has no description"
                );
                *seen += 1;
            }
            assert_eq!(
                schema["additionalProperties"],
                serde_json::json!(false),
                "{path} lets unknown keys in"
            );
        }
        match schema {
            serde_json::Value::Object(map) => map
                .iter()
                .for_each(|(key, value)| walk(value, &format!("{path}.{key}"), seen)),
            serde_json::Value::Array(list) => list.iter().for_each(|value| walk(value, path, seen)),
            _ => {}
        }
    }
    let mut seen = 0;
    walk(&schema(), "", &mut seen);
    assert!(seen > 60, "{seen}");
}

/// The guide's example must be right, and the guide must name every event, key, fault and choice.
#[test]
fn the_guide_is_complete_and_its_example_right() {
    let guide = include_str!("../../../../docs/guides/scenarios.md");
    let example = guide
        .split("```toml\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .unwrap();
    let scenario = Scenario::parse(example).unwrap();
    assert!(scenario.events.len() >= 8 && scenario.expect.len() >= 2);
    fn names(schema: &serde_json::Value, all: &mut Vec<String>) {
        match schema {
            serde_json::Value::Object(map) => {
                all.extend(
                    map.get("properties")
                        .and_then(|found| found.as_object())
                        .into_iter()
                        .flat_map(|found| found.keys().cloned()),
                );
                all.extend(
                    map.get("const")
                        .and_then(|found| found.as_str())
                        .map(str::to_owned),
                );
                map.values().for_each(|value| names(value, all));
            }
            serde_json::Value::Array(list) => list.iter().for_each(|value| names(value, all)),
            _ => {}
        }
    }
    let mut all = Vec::new();
    names(&schema(), &mut all);
    for name in all {
        assert!(
            guide.contains(&format!("`{name}`")),
            "the guide does not name `{name}`"
        );
    }
}

/// Every kind of event and every number comes back as it was.
#[test]
fn a_scenario_written_and_read_again_is_the_same() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .filter(|path| !path.ends_with(crate::laws::FILE_NAME))
        .collect();
    files.sort();
    assert!(files.len() > 60);
    let texts = files
        .iter()
        .map(|file| std::fs::read_to_string(file).unwrap());
    for text in texts.chain([GOOD.to_owned()]) {
        let scenario = Scenario::parse(&text).unwrap();
        let again = scenario.to_toml();
        match Scenario::parse(&again) {
            Ok(read) => assert_eq!(read, scenario),
            Err(error) => panic!("{error}\n{again}"),
        }
    }
}

/// Faults of one file, each by its message and the text that it points at.
fn all_faults(text: &str) -> Vec<(String, String)> {
    let faults = Scenario::parse_whole(text).unwrap_err();
    assert_eq!(Scenario::parse(text).unwrap_err(), faults[0]);
    faults
        .into_iter()
        .map(|fault| {
            let place = fault.span.map_or("", |span| &text[span]);
            (fault.message, place.to_owned())
        })
        .collect()
}

#[test]
fn all_faults_of_keys_and_values_are_found() {
    let text = GOOD
        .replace("length_s = 10", "length_s = -1")
        .replace("what = \"grip\"", "what = \"grab\"")
        .replace("limit_n = 80", "limit_n = \"eighty\"")
        .replace("over_s = 1.0", "over_s = 0\nspeed = 3")
        .replace("seed = 7", "seed = 1.5");
    let places: Vec<String> = all_faults(&text).into_iter().map(|fault| fault.1).collect();
    // A grip that is no grip cannot have its keys checked.
    assert_eq!(places, ["-1", "1.5", "\"grab\"", "0", "speed"]);
}

#[test]
fn all_faults_of_sense_are_found() {
    let text = GOOD
        .replace(
            "rigs = [\"kittiwake\", \"bittern\"]",
            "rigs = [\"Kittiwake\", \"bittern\", \"bittern\"]",
        )
        .replace("at_s = 6.0", "at_s = 2.0")
        .replace("at_s = 7.0", "at_s = 12.0");
    let messages: Vec<String> = all_faults(&text).into_iter().map(|fault| fault.0).collect();
    assert_eq!(
        messages,
        [
            "`Kittiwake` is no name of a rig",
            "rig `bittern` is named twice",
            "`at_s` is `2`, before the entry above it at `2.5` s",
            "`at_s` is `12`, it must be before the end at `10` s",
        ]
    );
}

#[test]
fn a_draft_has_what_can_be_read() {
    let draft = Draft::read(
        "rigs = [\"a\", 3]\nlength_s = \"long\"\n[[expect]]\nformula = 3\n[[expect]]\nformula = \"p\"\nrigs = [\"a\"]\n",
    );
    assert_eq!(draft.rigs, ["a"]);
    assert_eq!(draft.length_s, 3600.0);
    assert_eq!(draft.formulas.len(), 1);
    assert_eq!(
        (draft.formulas[0].index, &*draft.formulas[0].formula),
        (1, "p")
    );
    assert_eq!(draft.formulas_for("b").count(), 0);
    assert!(Draft::read("a = = 1").formulas.is_empty());
    let scenario = Scenario::parse(GOOD).unwrap();
    assert_eq!(Draft::read(GOOD), Draft::of(&scenario));
}

#[test]
fn a_scale_has_a_value_and_a_unit() {
    let with = |scale: &str| format!("{GOOD}scale = {scale}\n");
    let scenario = Scenario::parse(&with("{ value = 0.5, unit = \"deg\" }")).unwrap();
    let scale = scenario.expect.last().unwrap().scale.clone().unwrap();
    assert_eq!((scale.value, &*scale.unit), (0.5, "deg"));
    for bad in [
        "0.5",
        "{ value = 0, unit = \"deg\" }",
        "{ value = 1 }",
        "{ value = inf, unit = \"N\" }",
    ] {
        assert!(Scenario::parse(&with(bad)).is_err(), "{bad}");
    }
}

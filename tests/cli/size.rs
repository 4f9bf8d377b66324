//! `size`: its tables, its JSON, its refusals.

use crate::workplace::{Workplace, replaced, shipped_rig, with_value};
use serde_json::Value;

fn json(place: &Workplace, args: &[&str]) -> Value {
    let ran = place.run(&[&["size"], args, &["--format", "json"]].concat());
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    serde_json::from_str(&ran.out).unwrap()
}

/// Names of all fields, at any depth.
fn fields(value: &Value, found: &mut Vec<String>) {
    match value {
        Value::Object(map) => {
            for (name, inner) in map {
                found.push(name.clone());
                fields(inner, found);
            }
        }
        Value::Array(list) => list.iter().for_each(|inner| fields(inner, found)),
        _ => {}
    }
}

#[test]
fn tables_say_what_a_builder_asks_and_fit_the_page() {
    let place = Workplace::new();
    for rig in ["kittiwake", "bittern", "sanderling"] {
        let ran = place.run(&["size", rig]);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        assert_eq!(ran.err, "");
        for part in [
            "PITCH (stops",
            "ROLL (stops",
            "force at the grip",
            "holding margin over the travel",
            "motor falls by at most",
            "resolution at the grip",
            "highest nudge rate",
            "without supply",
            "what if",
            "SUPPLY, both motors",
        ] {
            assert!(
                ran.out.contains(part),
                "`{part}` is missing in:\n{}",
                ran.out
            );
        }
        for line in ran.out.lines() {
            assert!(line.chars().count() <= 100, "too wide: {line}");
        }
        assert_eq!(ran.out, place.run(&["size", rig]).out);
    }
    let measured = place.run(&["size", "kittiwake"]).out;
    assert!(measured.contains("as measured") && !measured.contains("shear stress"));
    let springs = place.run(&["size", "scenarios/rigs/bittern.toml"]).out;
    assert!(springs.contains("from wire and coil") && springs.contains("shear stress"));
}

#[test]
fn every_field_stands_in_the_guide() {
    let place = Workplace::new();
    let guide = include_str!("../../docs/guides/command-line.md");
    for rig in ["kittiwake", "bittern", "sanderling"] {
        let mut found = Vec::new();
        fields(&json(&place, &[rig]), &mut found);
        for name in found {
            let forms = [
                format!("`{name}`"),
                format!("`.{name}`"),
                format!("`{name}[]`"),
                format!("`.{name}[]`"),
                format!(".{name}`"),
                format!(".{name}[]`"),
            ];
            assert!(
                forms.iter().any(|form| guide.contains(form)),
                "the guide lacks `{name}`"
            );
        }
    }
}

/// The figures of a signals list and of the tables are the same ones.
#[test]
fn figures_agree_with_the_constants_of_the_rig() {
    let place = Workplace::new();
    let sizes = json(&place, &["kittiwake"]);
    let listed = place.run(&["signals", "kittiwake", "--format", "json"]);
    let listed: Value = serde_json::from_str(&listed.out).unwrap();
    let constant = |name: &str| {
        listed["constants"]
            .as_array()
            .unwrap()
            .iter()
            .find(|constant| constant["name"] == name)
            .unwrap()["value"]
            .as_f64()
            .unwrap()
    };
    let pitch = &sizes["axes"][0];
    for (found, name) in [
        (&pitch["cartridge"]["breakout_n"], "rig.pitch.breakout_n"),
        (
            &pitch["cartridge"]["gradient_n_per_deg"],
            "rig.pitch.gradient_n_per_deg",
        ),
        (&pitch["resolution"]["trim_deg"], "rig.pitch.microstep_deg"),
        (
            &pitch["resolution"]["sensor_deg"],
            "rig.pitch.sensor_step_deg",
        ),
    ] {
        assert!(
            (found.as_f64().unwrap() - constant(name)).abs() < 1e-12,
            "{name}"
        );
    }
    assert_eq!(pitch["holding"].as_array().unwrap().len(), 4);
    assert_eq!(pitch["holding"][0]["points"].as_array().unwrap().len(), 81);
}

#[test]
fn positions_can_be_chosen() {
    let place = Workplace::new();
    let sizes = json(&place, &["kittiwake", "--at", "-19,-3.5,3.5"]);
    let at = |axis: usize, k: usize| &sizes["axes"][axis]["forces"][k];
    assert_eq!(sizes["axes"][0]["forces"].as_array().unwrap().len(), 3);
    assert_eq!(at(0, 1)["position_deg"].as_f64(), Some(-3.5));
    let [left, right] = [1, 2].map(|k| at(1, k)["force"]["mean_n"].as_f64().unwrap());
    assert!(left < 0.0 && (left + right).abs() < 1e-9, "{left} {right}");
    // Pitch goes to -20 degrees, roll to -18 only.
    assert!(at(0, 0)["force"].is_object() && at(1, 0)["force"].is_null());
}

#[test]
fn bad_positions_are_refused() {
    let place = Workplace::new();
    for (at, part) in [
        ("25", "`--at 25` is not between the stops"),
        ("3,nan", "`--at NaN` is not between the stops"),
        ("3,,4", "--at"),
        ("far", "far"),
    ] {
        let ran = place.run(&["size", "kittiwake", "--at", at]);
        assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{at}");
        assert!(ran.err.contains(part), "{at}: {}", ran.err);
    }
    let ran = place.run(&["size", "kittiwake", "--at", "25"]);
    assert!(
        ran.err.contains("pitch goes from `-20` to `20` degrees"),
        "{}",
        ran.err
    );
}

#[test]
fn bad_rigs_are_refused_as_everywhere() {
    let place = Workplace::new();
    let ran = place.run(&["size", "kitiwake"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""));
    assert!(ran.err.contains("did you mean `kittiwake`?"), "{}", ran.err);
    let ran = place.run(&["size", "gone/gull.toml"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""));
    assert!(ran.err.contains("gone/gull.toml"), "{}", ran.err);
    let rig = shipped_rig("kittiwake");
    for (text, part) in [
        (
            with_value(&rig, "motor_teeth", "0"),
            "`pitch.drive.motor_teeth` is `0`",
        ),
        (
            replaced(&rig, "grip_radius_m", "grip_raduis_m"),
            "did you mean `grip_radius_m`?",
        ),
    ] {
        place.write("scenarios/rigs/kittiwake.toml", text);
        let ran = place.run(&["size", "kittiwake"]);
        assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""));
        assert!(
            ran.err.contains(part) && ran.err.contains("kittiwake.toml:"),
            "{}",
            ran.err
        );
    }
}

/// The report names the faults of a rig that slips, stalls and starves, in words.
#[test]
fn a_poor_rig_is_reported_in_words() {
    let place = Workplace::new();
    let mut rig = with_value(&shipped_rig("kittiwake"), "rate_n_m_per_rad", "40.0");
    rig = with_value(&rig, "bind_deg", "15.0");
    rig = with_value(&rig, "nudge_rate_mdeg_per_s", "30000");
    place.write("scenarios/rigs/kittiwake.toml", rig);
    let ran = place.run(&["size", "kittiwake"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    for part in [
        "SLIPS",
        "COILS TOUCH",
        "the drive slips first",
        "IN THE LOW-END BAND",
        "LOOKS UNINTENDED",
    ] {
        assert!(
            ran.out.contains(part),
            "`{part}` is missing in:\n{}",
            ran.out
        );
    }
}

//! `fit`: what it prints and writes, and bad input.

use crate::workplace::Workplace;
use std::fmt::Write;

/// A coarse sweep of kittiwake's pitch, worked out from its file by hand: 10.6 N·m/rad behind 0.78
/// N·m and 0.2 degrees of play, at 0.33 m; friction 0.05 N·m.
fn sweep(header: &str) -> String {
    let mut text = format!("{header}\n");
    let turns = [0.0_f64, 19.0, -19.0, 0.0];
    let mut time_s = 0.0;
    for leg in turns.windows(2) {
        let steps = ((leg[1] - leg[0]).abs() / 0.02).round() as i32;
        for i in 0..steps {
            time_s += 0.01;
            let way = (leg[1] - leg[0]).signum();
            let deg = leg[0] + way * 0.02 * f64::from(i);
            let past = (deg.abs() - 0.2).max(0.0).to_radians();
            let spring = 0.78 * (past / 0.003_4).min(1.0) + 10.4 * (past - 0.003_4).max(0.0);
            // A sensor's last digit, so that no two readings agree to the bit.
            let rough = f64::from((i * 7919) % 97) * 2e-4;
            let force = (spring.copysign(deg) + 0.05 * way) / 0.33 + rough;
            writeln!(text, "{time_s:.2},{deg:.2},{force:.4}").unwrap();
        }
    }
    text
}

const HEADER: &str = "time [s],pitch [deg],pitch force [N]";

fn place() -> Workplace {
    let place = Workplace::new();
    place.write("bench.csv", sweep(HEADER));
    place
}

#[test]
fn what_the_fit_leaves_is_drawn() {
    let place = place();
    let ran = place.run(&["fit", "kittiwake", "bench.csv", "--pictures", "drawn"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let svg = place.read("drawn/residuals-pitch-held-sweep.svg");
    for part in [
        "measured less model, N",
        "stick angle, deg",
        "standard deviation",
    ] {
        assert!(svg.contains(part), "`{part}` is missing");
    }
    // A reading is a speck in either frame; 2000 of them at most.
    let specks = svg.matches("<circle").count();
    assert!((1000..=4001).contains(&specks), "{specks}");
    assert!(place.path("drawn/residuals-pitch-held-sweep.png").is_file());
}

#[test]
fn a_sweep_is_fitted_printed_and_written() {
    let place = place();
    let ran = place.run(&["fit", "kittiwake", "bench.csv", "--write", "new-stick.toml"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    for part in [
        "Fit of kittiwake to bench.csv",
        "spring rate",
        "N·m/rad",
        "damping and inertia are not determined",
        "new-stick.toml",
    ] {
        assert!(
            ran.out.contains(part),
            "`{part}` is missing in:\n{}",
            ran.out
        );
    }
    assert!(
        ran.out.lines().all(|line| line.chars().count() <= 100),
        "{}",
        ran.out
    );
    let text = place.read("new-stick.toml");
    let rig: toml::Table = toml::from_str(&text).unwrap();
    assert_eq!(rig["name"].as_str(), Some("new-stick"));
    let rate = rig["pitch"]["cartridge"]["rate_n_m_per_rad"]
        .as_float()
        .unwrap();
    // 10.4 as drawn, plus the weight that it carries (0.08), over the drive's give: 10.68.
    assert!((rate - 10.68).abs() < 0.03, "{rate}");
    assert!(text.contains("# Weighed and swung as a pendulum"));
    // It is a rig that other commands take.
    let ran = place.run(&["signals", "new-stick.toml"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
}

#[test]
fn the_json_form_is_as_documented_and_the_same_each_time() {
    let place = place();
    let args = ["fit", "kittiwake", "bench.csv", "--format", "json"];
    let ran = place.run(&args);
    let form: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((&form["form"], &form["exit_code"]), (&1.into(), &0.into()));
    let axis = &form["axes"][0];
    let values = axis["values"].as_array().unwrap();
    assert_eq!(values.len(), 6);
    assert_eq!(values[0]["origin"], "measured");
    assert_eq!(values[5]["origin"], "taken from the rig");
    assert!(values[5]["interval_95"].is_null());
    let points = axis["measurements"][0]["points"].as_array().unwrap();
    assert!(points.len() > 1000 && points[0].as_array().unwrap().len() == 4);
    let guide = std::fs::read_to_string(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/guides/command-line.md"),
    )
    .unwrap();
    let part = &guide[guide.find("### JSON of fit").unwrap()..];
    let keys = |value: &serde_json::Value| -> Vec<String> {
        value.as_object().unwrap().keys().cloned().collect()
    };
    let all = [
        keys(&form),
        keys(axis),
        keys(&values[0]),
        keys(&axis["measurements"][0]),
    ];
    for key in all.iter().flatten() {
        assert!(part.contains(key.as_str()), "the guide lacks `{key}`");
    }
    let again = place.run(&args);
    assert_eq!(again.code, Some(0), "{}", again.err);
    assert!(again.out == ran.out, "another run prints other bytes");
}

/// Refused with code 2 and these words; nothing is written.
fn refused(place: &Workplace, args: &[&str], words: &[&str]) {
    let before = place.listing();
    let ran = place.run(args);
    assert_eq!(ran.code, Some(2), "{args:?}: {}{}", ran.out, ran.err);
    assert_eq!(ran.out, "", "{args:?}");
    for word in words {
        assert!(
            ran.err.contains(word),
            "`{word}` is missing in:\n{}",
            ran.err
        );
    }
    assert_eq!(place.listing(), before, "{args:?}");
}

/// A column in another unit than its header says: at once, with what was read and what to check, by
/// `fit` and by `feel`.
#[test]
fn a_column_in_the_wrong_unit_is_reported_at_once() {
    let place = place();
    let readings = |time: f64, deg: f64, force: f64| -> String {
        let mut text = format!("{HEADER}\n");
        for row in sweep("").lines().skip(1) {
            let cells: Vec<f64> = row.split(',').map(|cell| cell.parse().unwrap()).collect();
            let [t, x, f] = [cells[0] * time, cells[1] * deg, cells[2] * force];
            writeln!(text, "{t},{x},{f}").unwrap();
        }
        text
    };
    for (name, text, says, check) in [
        (
            "milliseconds.csv",
            readings(1000.0, 1.0, 1.0),
            "slower than any sweep by hand",
            "`time [s]` or `time [ms]`",
        ),
        (
            "kiloseconds.csv",
            readings(1e-3, 1.0, 1.0),
            "faster than any sweep by hand",
            "`time [s]` or `time [ms]`",
        ),
        (
            "radians.csv",
            readings(1.0, 0.017_453, 1.0),
            "between the stops of rig `kittiwake`",
            "check the unit of the position column",
        ),
        (
            "grams.csv",
            readings(1.0, 1.0, 1000.0),
            "no hand pushes harder",
            "check the unit of the force column",
        ),
        (
            "no-gauge.csv",
            readings(1.0, 1.0, 0.0),
            "the force is `0.0000` N in every reading",
            "force column",
        ),
    ] {
        place.write(name, text);
        refused(&place, &["fit", "kittiwake", name], &[name, says, check]);
        refused(
            &place,
            &["feel", "kittiwake", "--bench", name],
            &[name, says, check],
        );
    }
}

#[test]
fn bad_input_is_refused_before_anything_is_written() {
    let place = place();
    let fit = |bench: &'static str| ["fit", "kittiwake", bench, "--write", "new.toml"];
    refused(&place, &fit("nothing.csv"), &["nothing.csv"]);
    refused(
        &place,
        &["fit", "kittiwak", "bench.csv"],
        &["there is no rig `kittiwak`", "did you mean `kittiwake`?"],
    );
    place.write(
        "stone.csv",
        sweep("time [s],pitch [deg],pitch force [stone]"),
    );
    refused(&place, &fit("stone.csv"), &["stone", "stone.csv:1"]);
    place.write(
        "nan.csv",
        sweep(HEADER).replacen("0.05,0.08,", "0.05,nan,", 1),
    );
    refused(&place, &fit("nan.csv"), &["nan.csv:6"]);
    place.write("released.csv", {
        let rows = sweep("").trim_start().replace('\n', "\nreleased,");
        format!(
            "condition,{HEADER}\nreleased,{}\n",
            rows.trim_end_matches("released,").trim_end()
        )
    });
    refused(&place, &fit("released.csv"), &["with the trim holding"]);
    for name in ["New.toml", "new.csv", "toml"] {
        refused(
            &place,
            &["fit", "kittiwake", "bench.csv", "--write", name],
            &["is no name of a rig file", "NAME.toml"],
        );
    }
}

//! Ctrl-C in mid-run.
#![cfg(unix)]

use crate::workplace::{STAYS, Workplace, replaced};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

#[test]
fn what_is_finished_is_kept_and_listed() {
    let place = Workplace::new();
    place.write("scenarios/short.toml", STAYS);
    for name in ["long", "later"] {
        place.write(
            &format!("scenarios/{name}.toml"),
            replaced(STAYS, "length_s = 0.2", "length_s = 3600"),
        );
    }
    // One thread takes the long ones first; with three the short one ends beside two long ones.
    let args = [
        "prove",
        "--threads",
        "3",
        "--keep",
        "out",
        "--junit",
        "out.xml",
        "--format",
        "json",
    ];
    let child = place
        .command(&args)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let patience = Instant::now() + Duration::from_secs(120);
    while !place.path("out/short@kittiwake.csv").exists() {
        assert!(Instant::now() < patience, "the short scenario never ended");
        std::thread::sleep(Duration::from_millis(20));
    }
    let pid = child.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-INT", &pid])
            .status()
            .unwrap()
            .success()
    );
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(130), "{err}");
    assert!(err.contains("stopping: what is complete is kept"), "{err}");

    let verdicts: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(verdicts["exit_code"], 130);
    let runs = verdicts["runs"].as_array().unwrap();
    let of = |name: &str| runs.iter().find(|run| run["scenario"] == name).unwrap();
    assert_eq!(of("short")["verdict"], "pass");
    for name in ["long", "later"] {
        let run = of(name);
        assert_eq!(run["verdict"], "stopped");
        let ran_s = run["simulated_s"].as_f64().unwrap();
        assert!(ran_s > 0.0 && ran_s < 3600.0, "{ran_s}");
        // What there is of it is a whole file that says so.
        let kept = run["kept"][0].as_str().unwrap();
        let text = place.read(kept);
        assert!(
            text.contains("note.cut=stopped from outside"),
            "{kept} does not say that it was cut"
        );
        assert_eq!(place.run(&["compare", kept, kept]).code, Some(0));
    }
    let junit = place.read("out.xml");
    assert!(junit.contains("type=\"stopped\""), "{junit}");
}

#[test]
fn with_one_thread_the_rest_is_not_begun() {
    let place = Workplace::new();
    for name in ["a", "b"] {
        place.write(
            &format!("scenarios/{name}.toml"),
            replaced(STAYS, "length_s = 0.2", "length_s = 3600"),
        );
    }
    let child = place.command(&["prove", "--threads", "1", "--keep", "out"]);
    let mut child = { child }
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // The folder is tried just before the handler is set and the run begins.
    while !place.path("out").exists() {
        std::thread::sleep(Duration::from_millis(20));
    }
    std::thread::sleep(Duration::from_millis(500));
    let pid = child.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-TERM", &pid])
            .status()
            .unwrap()
            .success()
    );
    assert_eq!(child.wait().unwrap().code(), Some(130));
    let out = std::io::read_to_string(child.stdout.take().unwrap()).unwrap();
    assert!(
        out.contains("2 runs: 0 pass, 1 stopped, 1 not run"),
        "{out}"
    );
}

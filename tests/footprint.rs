//! Ten minutes of simulated time stay within 200 MB, and repeats do not grow.
//!
//! Peak resident memory (`VmHWM`) of the program as a user runs it. Linux only: elsewhere there is nothing to read.
#![cfg(target_os = "linux")]

use std::fmt::Write as _;
use std::io::Read as _;
use std::path::Path;
use std::process::{Command, Stdio};

/// Runs `prove` on `runs` scenarios of `length_s` one after the other and returns the peak memory, MB.
fn peak_mb(folder: &Path, runs: usize, length_s: f64) -> f64 {
    let scenarios = folder.join(format!("s{runs}-{length_s}"));
    let rigs = scenarios.join("rigs");
    std::fs::create_dir_all(&rigs).unwrap();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/rigs/kittiwake.toml");
    std::fs::copy(shipped, rigs.join("kittiwake.toml")).unwrap();
    for run in 0..runs {
        let mut text = String::new();
        write!(
            text,
            "title = \"wait\"\npurpose = \"memory\"\nrigs = [\"kittiwake\"]\nlength_s = {length_s:?}\n\
             [[expect]]\nname = \"still\"\nthat = \"always[3, end](abs(pitch.stick_deg) < 1)\"\n"
        )
        .unwrap();
        std::fs::write(scenarios.join(format!("wait-{run}.toml")), text).unwrap();
    }
    // `/proc/PID/status` is read while the program waits to write into a pipe that nobody empties: the table of
    // verdicts comes last, when everything has been held.
    let mut child = Command::new(env!("CARGO_BIN_EXE_trimproof"))
        .args(["prove", "--threads", "1", "--cards"])
        .arg(&scenarios)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak_kb = 0.0_f64;
    loop {
        if let Ok(text) = std::fs::read_to_string(&status) {
            let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
            let kb = line.and_then(|line| line.trim().split(' ').next()?.parse::<f64>().ok());
            peak_kb = peak_kb.max(kb.unwrap_or(0.0));
        }
        if let Some(done) = child.try_wait().unwrap() {
            let mut out = String::new();
            child
                .stdout
                .take()
                .unwrap()
                .read_to_string(&mut out)
                .unwrap();
            assert!(done.success(), "{out}");
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    peak_kb / 1024.0
}

#[test]
fn ten_minutes_fit_and_repeats_do_not_grow() {
    let folder = tempfile::tempdir().unwrap();
    let long = peak_mb(folder.path(), 1, 600.0);
    assert!(
        long > 50.0,
        "read {long} MB: the trace alone has more, so the reading is wrong"
    );
    assert!(long <= 200.0, "{long} MB");
    let once = peak_mb(folder.path(), 1, 60.0);
    let often = peak_mb(folder.path(), 6, 60.0);
    // A second trace alone would add 8.5 MB; the slack is the allocator's.
    assert!(often <= once + 6.0, "{once} MB once, {often} MB six times");
    println!("10 minutes: {long:.1} MB; one minute: {once:.1} MB, six times: {often:.1} MB");
}

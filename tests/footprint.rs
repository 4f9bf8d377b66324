//! Memory: flat in the length of a run that nobody keeps; ten minutes that are kept stay within 200
//! MB; repeats do not grow.
//!
//! Peak resident memory (`VmHWM`) of the program as a user runs it. Linux only: elsewhere there is
//! nothing to read.
#![cfg(target_os = "linux")]

use std::fmt::Write as _;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// One of each kind of formula: outermost windows, windows inside one another to a bound and to the
/// end, edges, `until`, looking back at what looks ahead, and conditions that look ahead. All hold
/// on a stick that centres and then stands.
const FORMULAS: [&str; 9] = [
    "always[3, end](abs(pitch.stick_deg) < 1)",
    "always(rises(state is holding) implies eventually[0, 2](pitch.drive_on))",
    "always[3, 50](always[0, end](abs(pitch.stick_deg) < 1))",
    "eventually[0, 50](always[0, end](state is holding))",
    "always[3, 50](abs(pitch.stick_deg) < 1 until[1, 5] state is holding)",
    "always[3, 50](pitch.drive_on until[end, end] state is holding)",
    "always[3, 50](historically[0, 1](eventually[0, 2](abs(pitch.stick_deg) < 9)))",
    "always[3, 50](rises(eventually[0, 1](pitch.stick_deg > 5)) implies release) or pitch.stick_deg < 9",
    "always[0, 50](always[0, 1](state is holding) implies once[0, 0.5](eventually[0, 3](pitch.drive_on)))",
];

/// What `prove` runs: so many scenarios of this length, one after the other.
#[derive(Clone, Copy)]
struct Work {
    runs: usize,
    length_s: f64,
    /// Whether cards are wanted, and with them the whole trace.
    cards: bool,
}

/// Writes what `prove` runs into a folder below `folder`, which is given.
fn scenarios(folder: &Path, work: Work) -> PathBuf {
    let Work {
        runs,
        length_s,
        cards,
    } = work;
    let scenarios = folder.join(format!("s{runs}-{length_s}-{cards}"));
    let rigs = scenarios.join("rigs");
    std::fs::create_dir_all(&rigs).unwrap();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    for file in ["rigs/kittiwake.toml", "laws.toml"] {
        std::fs::copy(shipped.join(file), scenarios.join(file)).unwrap();
    }
    for run in 0..runs {
        let mut text = format!(
            "title = \"wait\"\npurpose = \"memory\"\nrigs = [\"kittiwake\"]\nlength_s = {length_s:?}\n"
        );
        for (index, formula) in FORMULAS.iter().enumerate() {
            write!(
                text,
                "[[expect]]\nname = \"{index}\"\nformula = \"{formula}\"\n"
            )
            .unwrap();
        }
        std::fs::write(scenarios.join(format!("wait-{run}.toml")), text).unwrap();
    }
    scenarios
}

/// Runs `prove` and returns the peak memory, MB.
fn peak_mb(folder: &Path, work: Work) -> f64 {
    // `/proc/PID/status` is read while the program waits to write into a pipe that nobody empties:
    // the table of verdicts comes last, when everything has been held.
    let mut child = Command::new(env!("CARGO_BIN_EXE_trimproof"))
        .args(["prove", "--threads", "1"])
        .args(work.cards.then_some("--cards"))
        .arg(scenarios(folder, work))
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
    let peak = |runs, length_s| {
        let work = Work {
            runs,
            length_s,
            cards: true,
        };
        peak_mb(folder.path(), work)
    };
    let long = peak(1, 600.0);
    assert!(
        long > 50.0,
        "read {long} MB: the trace alone has more, so the reading is wrong"
    );
    assert!(long <= 200.0, "{long} MB");
    let once = peak(1, 60.0);
    let often = peak(6, 60.0);
    // A second trace alone would add 8.5 MB; the slack is the allocator's.
    assert!(often <= once + 6.0, "{once} MB once, {often} MB six times");
    println!("10 minutes: {long:.1} MB; one minute: {once:.1} MB, six times: {often:.1} MB");
}

/// Twenty minutes show a growth of 10 bytes a row: more than half of one stored column of margins.
#[test]
fn a_run_that_nobody_keeps_takes_the_same_memory_however_long_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let peak = |length_s| {
        let work = Work {
            runs: 1,
            length_s,
            cards: false,
        };
        peak_mb(folder.path(), work)
    };
    let (short, long) = (peak(60.0), peak(1200.0));
    println!("one minute: {short:.1} MB, twenty: {long:.1} MB");
    assert!(
        long <= short + 5.0,
        "{short} MB for a minute, {long} MB for twenty"
    );
}

/// What is not judged is not held: without the temporary file that long runs need, nothing is.
#[test]
fn without_a_temporary_file_nothing_is_held() {
    let folder = tempfile::tempdir().unwrap();
    // Some 10,000 rows: far more than stay in memory of what these formulas store.
    let work = Work {
        runs: 1,
        length_s: 60.0,
        cards: false,
    };
    let done = Command::new(env!("CARGO_BIN_EXE_trimproof"))
        .args(["prove", "--threads", "1"])
        .arg(scenarios(folder.path(), work))
        .env("TMPDIR", folder.path().join("missing"))
        .output()
        .unwrap();
    let (out, err) = (
        String::from_utf8_lossy(&done.stdout),
        String::from_utf8_lossy(&done.stderr),
    );
    assert_eq!(done.status.code(), Some(4), "{out}{err}");
    assert!(
        err.contains("the temporary file that judging it needs"),
        "{err}"
    );
    assert!(out.contains("0 of 9 expectations"), "{out}");
}

//! `--on port:NAME` with a board of this process at the other end of a pseudo-terminal.

use crate::workplace::{Ran, STAYS, Workplace, ran, replaced};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use trimproof_board::{BoardAbout, Pins};
use trimproof_link::{
    Direction, FaultyLine, Line, LineFaultKind, LineFaults, SerialLine, pty_pair, serve,
};

/// Pins that count what was done to them.
#[derive(Clone, Default)]
struct Counted {
    applied: Arc<AtomicU32>,
    off: Arc<AtomicBool>,
}

impl Pins for Counted {
    fn apply(&mut self, _: &trimproof_io::Command) {
        self.applied.fetch_add(1, Ordering::SeqCst);
        self.off.store(false, Ordering::SeqCst);
    }
    fn off(&mut self) {
        self.off.store(true, Ordering::SeqCst);
    }
    fn tick_done(&mut self) {}
}

/// A board with motors at the far end of a port.
struct AtPort {
    name: String,
    pins: Counted,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
    /// Kept open, so that the port stays one while nobody has opened it.
    _far: SerialLine,
}

impl AtPort {
    fn new(faults: Option<LineFaults>) -> Self {
        let (near, far, name) = pty_pair().unwrap();
        let (pins, stop) = (Counted::default(), Arc::new(AtomicBool::new(false)));
        let (mut own, until) = (pins.clone(), Arc::clone(&stop));
        let mut line: Box<dyn Line> = match faults {
            Some(faults) => Box::new(FaultyLine::new(Box::new(near), faults)),
            None => Box::new(near),
        };
        let about = BoardAbout {
            board: "pty",
            tick_hz: 0,
            has_motors: true,
        };
        let thread = std::thread::spawn(move || {
            // The line goes with the test.
            let _ = serve(&mut line, about, &mut own, &until);
        });
        Self {
            name,
            pins,
            stop,
            thread: Some(thread),
            _far: far,
        }
    }

    fn on(&self) -> String {
        format!("port:{}", self.name)
    }
}

impl Drop for AtPort {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }
}

fn place(length: &str) -> Workplace {
    let place = Workplace::new();
    let scenario = replaced(STAYS, "length_s = 0.2", &format!("length_s = {length}"));
    place.write("scenarios/stays.toml", scenario);
    place
}

fn json(ran: &Ran) -> serde_json::Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {}", ran.err))
}

#[test]
fn a_board_on_a_port_gives_the_same_trace_and_does_not_move() {
    let (place, board) = (place("0.2"), AtPort::new(None));
    let on = board.on();
    let logic = json(&place.run(&["prove", "--format", "json"]));
    let args = [
        "prove",
        "--on",
        &on,
        "--frames",
        "frames.txt",
        "--format",
        "json",
    ];
    let ran = place.run(&args);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.err.starts_with("caution:"), "{}", ran.err);
    let there = json(&ran);
    assert_eq!(logic["runs"][0]["hash"], there["runs"][0]["hash"]);
    assert!(logic.get("board").is_none());
    assert!(
        there["board"]["identity"]
            .as_str()
            .unwrap()
            .ends_with(" pty")
    );
    let link = &there["runs"][0]["link"];
    assert_eq!(link["ticks"], 101, "{link}");
    assert!(link["round_trip_us"]["p99"].as_u64().unwrap() > 0);
    let frames = place.read("frames.txt");
    assert!(frames.contains("> sample of tick 100 |"), "{frames}");
    assert_eq!(board.pins.applied.load(Ordering::SeqCst), 0, "it moved");

    let text = place.run(&["prove", "--on", &on]);
    assert_eq!(text.code, Some(0), "{}", text.err);
    for word in [
        "101 ticks",
        "repeats",
        "round trips: half within",
        &board.name,
    ] {
        assert!(
            text.out.contains(word),
            "`{word}` is missing in:\n{}",
            text.out
        );
    }
}

#[test]
fn a_board_that_falls_silent_cuts_the_run_and_the_trace_is_kept() {
    let place = place("0.2");
    let board = AtPort::new(Some(LineFaults {
        kind: LineFaultKind::Silence,
        direction: Direction::Both,
        share: 1.0,
        after: 60,
        seed: 1,
    }));
    let on = board.on();
    let ran = place.run(&["prove", "--on", &on, "--keep", "out", "--format", "json"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    let run = &json(&ran)["runs"][0];
    assert_eq!(run["verdict"], "aborted");
    assert_eq!(run["aborted_by"], "controller");
    let reason = run["reason"].as_str().unwrap();
    assert!(reason.contains("no answer to sample of tick"), "{reason}");
    assert!(reason.contains("6 attempts"), "{reason}");
    // Three frames went before the first tick.
    assert_eq!(run["link"]["ticks"], 57);
    assert_eq!(
        run["link"]["repeats"],
        5 + 5,
        "of the tick, and of the trip"
    );
    let kept = place.read(run["kept"][0].as_str().unwrap());
    assert!(kept.contains("note.cut="), "{kept}");
    assert!(
        ran.err.contains("has not confirmed the trip") && ran.err.contains("motor supply"),
        "{}",
        ran.err
    );
}

#[test]
fn nobody_on_the_port_ends_in_the_code_for_boards() {
    let place = place("0.2");
    let (_near, _far, name) = pty_pair().unwrap();
    place.write("made/out.html", "<!DOCTYPE html>an old one");
    let on = format!("port:{name}");
    let reports = ["--junit", "made/out.xml", "--html", "made/out.html"];
    let ran = place.run(&[&["prove", "--on", &on, "--keep", "out"][..], &reports].concat());
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    // The reports say that nothing was shown.
    let xml = place.read("made/out.xml");
    for part in ["type=\"not-run\"", "no answer to hello", "<skipped "] {
        assert!(xml.contains(part), "`{part}` is missing in:\n{xml}");
    }
    assert!(place.read("made/out.html").contains("Nothing was run: "));
    for word in ["no answer to hello", "came instead: nothing", "help:"] {
        assert!(
            ran.err.contains(word),
            "`{word}` is missing in:\n{}",
            ran.err
        );
    }
    assert!(!place.path("out").exists());
}

#[test]
fn ctrl_c_trips_the_board_and_waits_for_its_answer() {
    let (place, board) = (place("3600"), AtPort::new(None));
    let on = board.on();
    let child = place
        .command(&["prove", "--on", &on, "--allow-motion"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let patience = Instant::now() + Duration::from_secs(60);
    while board.pins.applied.load(Ordering::SeqCst) < 50 {
        assert!(Instant::now() < patience, "it never moved");
        std::thread::sleep(Duration::from_millis(5));
    }
    let killed = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(killed.success());
    let ran = ran(child.wait_with_output().unwrap());
    assert_eq!(ran.code, Some(130), "{}", ran.err);
    assert!(ran.err.contains("MOTORS MAY MOVE"), "{}", ran.err);
    assert!(
        ran.err.contains("confirmed the trip: its motors are off"),
        "{}",
        ran.err
    );
    assert!(board.pins.off.load(Ordering::SeqCst), "the motors are on");
}

#[test]
fn a_link_is_checked() {
    let (place, board) = (place("0.2"), AtPort::new(None));
    let on = board.on();
    let ran = place.run(&["link", "--check", "--on", &on, "--ticks", "300"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    for word in [
        "300 ticks, 0 repeats",
        "bytes a tick",
        "a wire of 1000000 baud carries at most",
        "ticks a second",
        "round trips, µs",
        "###",
    ] {
        assert!(
            ran.out.contains(word),
            "`{word}` is missing in:\n{}",
            ran.out
        );
    }
    let args = [
        "link", "--check", "--on", &on, "--ticks", "300", "--format", "json",
    ];
    let report = json(&place.run(&args));
    let counted: u64 = report["histogram"]
        .as_array()
        .unwrap()
        .iter()
        .map(|octave| octave["count"].as_u64().unwrap())
        .sum();
    assert_eq!(counted, 300);
    assert_eq!(report["link"]["ticks"], 300);
    assert!(report["bytes_a_tick"].as_f64().unwrap() <= 66.0, "{report}");
    assert_eq!(board.pins.applied.load(Ordering::SeqCst), 0, "it moved");
}

//! Boards that mean harm, at the other end of a pseudo-terminal: what they say of themselves,
//! silence, babble.

use crate::workplace::{Ran, STAYS, Workplace, ran, replaced};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use trimproof_board::{Board, BoardAbout};
use trimproof_link::{Line, NoPins, SerialLine, pty_pair};

/// What such a board does.
#[derive(Clone, Copy, PartialEq)]
enum Manner {
    /// As a board should, but for its name.
    Good,
    /// Answers this many requests, then never again.
    MuteAfter(u64),
    /// Answers this many requests, then sends anything without end.
    BabbleAfter(u64),
}

struct Hostile {
    name: String,
    stop: Arc<AtomicBool>,
    /// Trips that came, and when the first and the last of them did, ms since the board fell
    /// silent.
    trips: Arc<[AtomicU64; 3]>,
    thread: Option<JoinHandle<()>>,
    _far: SerialLine,
}

impl Hostile {
    fn new(identity: &'static str, manner: Manner) -> Self {
        let (mut near, far, name) = pty_pair().unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let trips = Arc::new([AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0)]);
        let (until, seen) = (Arc::clone(&stop), Arc::clone(&trips));
        let thread = std::thread::spawn(move || {
            let _ = serve(&mut near, identity, manner, &until, &seen);
        });
        Self {
            name,
            stop,
            trips,
            thread: Some(thread),
            _far: far,
        }
    }

    fn on(&self) -> String {
        format!("port:{}", self.name)
    }
}

impl Drop for Hostile {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }
}

fn serve(
    line: &mut SerialLine,
    identity: &'static str,
    manner: Manner,
    until: &AtomicBool,
    trips: &[AtomicU64; 3],
) -> std::io::Result<()> {
    let begun = Instant::now();
    let mut board = Board::new(BoardAbout {
        board: identity,
        tick_hz: 0,
        has_motors: true,
    });
    let mut decoder = trimproof_wire::Decoder::new();
    let (mut answered, mut silent_since) = (0, None);
    let mut buffer = [0; 256];
    while !until.load(Ordering::SeqCst) {
        let count = line.read(&mut buffer, Duration::from_millis(1))?;
        for byte in &buffer[..count] {
            let request = decoder.take::<trimproof_wire::Request>(*byte);
            let now_ms = begun.elapsed().as_millis() as u32;
            let frame = board.take(*byte, now_ms, &mut NoPins);
            let good = match manner {
                Manner::Good => true,
                Manner::MuteAfter(count) | Manner::BabbleAfter(count) => answered < count,
            };
            if let Some(frame) = frame
                && good
            {
                answered += 1;
                line.write_all(frame)?;
            } else if request.is_some() && !good {
                let since = *silent_since.get_or_insert_with(Instant::now);
                if let Some(Ok(trimproof_wire::Request::Trip)) = request {
                    let after_ms = since.elapsed().as_millis() as u64;
                    if trips[0].fetch_add(1, Ordering::SeqCst) == 0 {
                        trips[1].store(after_ms, Ordering::SeqCst);
                    }
                    trips[2].store(after_ms, Ordering::SeqCst);
                }
            }
        }
        if matches!(manner, Manner::BabbleAfter(_)) && silent_since.is_some() {
            // What the terminal does not take is lost: nobody waits for a board that babbles.
            let _ = line.write_all(&[0x55; 512]);
            let _ = line.write_all(&[0; 8]);
        }
    }
    Ok(())
}

fn place(length: &str) -> Workplace {
    let place = Workplace::new();
    let scenario = replaced(STAYS, "length_s = 0.2", &format!("length_s = {length}"));
    place.write("scenarios/stays.toml", scenario);
    place
}

fn assert_plain(text: &str) {
    let hidden = text.chars().find(|c| {
        *c != '\n' && (c.is_control() || matches!(c, '\u{200b}'..='\u{202e}' | '\u{fffe}'))
    });
    assert_eq!(hidden, None, "{text:?}");
    assert!(
        !text.lines().any(|line| line.starts_with("1 run: 9 held")),
        "{text}"
    );
}

fn spawned(place: &Workplace, args: &[&str]) -> Child {
    place
        .command(args)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

fn interrupt(child: Child) -> (Ran, Duration) {
    let begun = Instant::now();
    let killed = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(killed.success());
    (ran(child.wait_with_output().unwrap()), begun.elapsed())
}

#[test]
fn a_board_s_name_forges_nothing_anywhere() {
    let place = place("0.1");
    // At most 48 bytes with the controller's name in front.
    for identity in [
        "a\n1 run: 9 held",
        "\u{1b}[2J\r\u{202e}\0b",
        "\u{9b}2J\u{fffe}\u{200b}",
    ] {
        let board = Hostile::new(identity, Manner::Good);
        let on = board.on();
        for args in [
            &[
                "link",
                "--check",
                "--on",
                &on,
                "--ticks",
                "20",
                "--frames",
                "frames.txt",
            ][..],
            &[
                "link", "--check", "--on", &on, "--ticks", "20", "--format", "json",
            ],
            &[
                "prove",
                "--on",
                &on,
                "--keep",
                "out",
                "--trace",
                "both",
                "--junit",
                "out.xml",
                "--html",
                "out.html",
                "--cards",
                "--frames",
                "frames.txt",
            ],
            &["prove", "--on", &on, "--format", "json"],
        ] {
            let ran = place.run(args);
            assert_eq!(ran.code, Some(0), "{args:?}: {}", ran.err);
            assert_plain(&ran.out);
            assert_plain(&ran.err);
            if args.contains(&"json") {
                let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
                let identity_read = json["identity"]
                    .as_str()
                    .or(json["board"]["identity"].as_str())
                    .unwrap();
                assert!(
                    identity_read.ends_with(&format!(" {identity}")),
                    "{identity_read:?}"
                );
            }
        }
        for file in ["out.xml", "out.html", "frames.txt"] {
            assert_plain(&place.read(file));
        }
        roxmltree::Document::parse(&place.read("out.xml")).unwrap();
        assert_plain(&place.read("out/stays@kittiwake.csv").replace("\r\n", "\n"));
        let traces = ["out/stays@kittiwake.csv", "out/stays@kittiwake.mcap"];
        let ran = place.run(&["compare", traces[0], traces[1]]);
        assert_eq!(ran.code, Some(0), "{}{}", ran.out, ran.err);
    }
}

#[test]
fn ctrl_c_while_a_greeting_is_awaited_ends_at_once() {
    let place = place("0.1");
    let (_near, _far, name) = pty_pair().unwrap();
    let on = format!("port:{name}");
    for args in [
        &["prove", "--on", &on][..],
        &["link", "--check", "--on", &on],
    ] {
        let child = spawned(&place, args);
        // The handler is set before the port is opened; a greeting is awaited for four seconds.
        std::thread::sleep(Duration::from_millis(700));
        let (ran, waited) = interrupt(child);
        assert_eq!(ran.code, Some(130), "{args:?}: {}", ran.err);
        assert!(waited < Duration::from_millis(1000), "{args:?}: {waited:?}");
        assert!(ran.err.contains("stopped while waiting"), "{}", ran.err);
    }
}

#[test]
fn ctrl_c_while_a_tick_is_awaited_stops_the_run() {
    let place = place("0.2");
    let board = Hostile::new("mute", Manner::MuteAfter(20));
    let on = board.on();
    let child = spawned(&place, &["prove", "--on", &on, "--format", "json"]);
    std::thread::sleep(Duration::from_millis(700));
    let (ran, _) = interrupt(child);
    // On a slow machine the run may have been cut, or not begun, before.
    let known = [Some(130), Some(3)];
    assert!(known.contains(&ran.code), "{}", ran.err);
    if ran.code == Some(130) && !ran.out.is_empty() {
        let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
        assert_eq!(json["runs"][0]["verdict"], "stopped", "{}", ran.out);
    }
}

#[test]
fn a_mute_board_that_may_move_hears_of_its_trip_within_its_silence() {
    let place = place("0.2");
    let board = Hostile::new("mute", Manner::MuteAfter(20));
    let ran = place.run(&["prove", "--on", &board.on(), "--allow-motion"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    assert!(
        ran.err.contains("switch the motor supply off"),
        "{}",
        ran.err
    );
    let first_ms = board.trips[1].load(Ordering::SeqCst);
    assert_eq!(board.trips[0].load(Ordering::SeqCst), 6);
    // 100 ms, and what a busy machine takes; it was 1.2 s.
    assert!((50..600).contains(&first_ms), "{first_ms}");
}

#[test]
fn a_babbling_line_does_not_use_up_the_trip() {
    let place = place("0.2");
    let board = Hostile::new("babble", Manner::BabbleAfter(20));
    let ran = place.run(&["prove", "--on", &board.on(), "--allow-motion"]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    let [count, first_ms, last_ms] =
        [0, 1, 2].map(|which| board.trips[which].load(Ordering::SeqCst));
    assert_eq!(count, 6, "{}", ran.err);
    // The waits between them are 29, 58, 117, 234 and 400 ms; in all it was 3 ms.
    assert!(last_ms - first_ms > 500, "{first_ms} to {last_ms}");
}

//! Back to back: every shipped scenario on a board gives the outputs of the controller in this
//! process, tick by tick, and the same trace, bit for bit.
//!
//! The boards: one in this process always; emulated ones in tests that are ignored unless asked
//! for, since they need the image that `TRIMPROOF_IMAGE_CORTEX_M` or `TRIMPROOF_IMAGE_AVR` names.
//! Asked for without an image, they fail. `.ci/run` asks for them.

mod shipped;

use shipped::shipped;
use std::io::Write;
use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use trimproof_harness::run::{Beside, LogicTarget, Target, Traffic};
use trimproof_harness::suite::{Case, End, Outcome, Plan, run_suite};
use trimproof_link::{BoardLine, BoardPool, BoardTarget, Link, Options, Patience};

fn run(cases: &[Case], target: &(dyn Fn() -> Box<dyn Target> + Sync)) -> Vec<Outcome> {
    let plan = Plan {
        cards: false,
        threads: NonZeroUsize::new(2).expect("not zero"),
        keep: None,
        target,
        draw: None,
        accuracy: false,
        stop: &AtomicBool::new(false),
    };
    run_suite(cases, &plan, &mut |_, _| {})
}

/// Runs all cases on the controller in this process, and again on `board` beside it; both must
/// agree in everything.
fn back_to_back(
    what: &str,
    cases: &[Case],
    board: &(dyn Fn() -> Box<dyn Target> + Sync),
) -> Traffic {
    let logic = run(cases, &|| Box::new(LogicTarget::new()));
    let begun = Instant::now();
    let boards = run(cases, &|| {
        Box::new(Beside::new(LogicTarget::new(), board()))
    });
    let wall_s = begun.elapsed().as_secs_f64();
    let mut wrong = Vec::new();
    let mut traffic = Traffic::default();
    for (logic, board) in logic.iter().zip(&boards) {
        assert_eq!(logic.end, End::Complete, "{}", logic.label());
        match &board.end {
            End::Complete if board.hash == logic.hash => {}
            End::Complete => wrong.push(format!("{}: another hash", board.label())),
            End::Cut(reason) => wrong.push(format!("{}: {reason}", board.label())),
            other => wrong.push(format!("{}: {other:?}", board.label())),
        }
        let one = board.traffic.as_ref().expect("a board has a link");
        // The run's own ticks, but for those that the scenario itself loses.
        assert!(one.ticks > 0, "{}", board.label());
        traffic.add(one);
    }
    assert!(
        wrong.is_empty(),
        "{} of {} differ:\n{}",
        wrong.len(),
        cases.len(),
        wrong.join("\n")
    );
    let at = |percent| traffic.round_trips.percentile_us(percent).unwrap_or(0);
    say(&format!(
        "{what}: {} runs, {} ticks, 0 differ; {} repeats, {} damaged, {:.1} bytes a tick; {:.0} ticks a second on 2 threads, \
         round trip half within {} µs, 90 % {} µs, 99 % {} µs, longest {} µs",
        cases.len(),
        traffic.ticks,
        traffic.repeats,
        traffic.damaged,
        (traffic.bytes_in + traffic.bytes_out) as f64 / traffic.ticks as f64,
        traffic.ticks as f64 / wall_s,
        at(50.0),
        at(90.0),
        at(99.0),
        traffic.round_trips.max_us()
    ));
    traffic
}

/// Past the test harness, which would keep it to itself.
fn say(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}

#[test]
fn a_board_in_this_process_is_the_controller_in_every_scenario() {
    let cases = shipped();
    assert!(cases.len() >= 100, "{} cases", cases.len());
    let quick = Patience {
        first: Duration::from_secs(1),
        most: Duration::from_secs(1),
        repeats: 2,
    };
    let traffic = back_to_back("in this process", &cases, &|| {
        let link = Link::open(Box::new(BoardLine::new()), quick, quick, None).expect("it greets");
        Box::new(BoardTarget::new(link))
    });
    assert_eq!(
        (traffic.repeats, traffic.damaged, traffic.ignored),
        (0, 0, 0)
    );
    // What a line of 1 Mbaud carries in a tick of 2 ms is 200; a third of it leaves room for
    // repeats. Counted with what begins and ends the runs.
    let bytes = (traffic.bytes_in + traffic.bytes_out) as f64 / traffic.ticks as f64;
    assert!(bytes <= 64.0, "{bytes} bytes a tick");
}

/// The boards of the image that the variable names.
fn boards(variable: &str) -> std::sync::Arc<BoardPool> {
    let image = std::env::var_os(variable)
        .unwrap_or_else(|| panic!("{variable} must name an image: see src/firmware/build.sh"));
    let options = Options {
        baud: 0,
        allow_motion: false,
        frames: None,
        stop: None,
    };
    BoardPool::image(image.into(), options).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
#[ignore = "needs an image: TRIMPROOF_IMAGE_CORTEX_M"]
fn the_cortex_m_image_is_the_controller_in_every_scenario() {
    let pool = boards("TRIMPROOF_IMAGE_CORTEX_M");
    back_to_back("Cortex-M", &shipped(), &|| pool.target());
}

#[test]
#[ignore = "needs an image: TRIMPROOF_IMAGE_AVR"]
fn the_avr_image_is_the_controller_in_eight_scenarios() {
    let pool = boards("TRIMPROOF_IMAGE_AVR");
    let all = shipped();
    let every = all.len() / 8;
    let cases: Vec<Case> = all.into_iter().step_by(every).take(8).collect();
    assert_eq!(cases.len(), 8);
    back_to_back("AVR", &cases, &|| pool.target());
}

//! Silence, with a clock that the test sets.

use super::{Bench, Deed, Event, WITH_MOTORS, begin, begin_with, begun, hello, sample};
use trimproof_wire::{Answer, Refusal, Request};

const BY_SILENCE: Option<Answer> = Some(Answer::Refused(Refusal::Tripped { by_silence: true }));

#[test]
fn a_hundred_milliseconds_trip_and_ninety_nine_do_not() {
    // The clock begins anywhere and wraps: while ticks come (150), and within the silence at the end (297 ms after the
    // beginning).
    for start in [0, u32::MAX - 150, u32::MAX - 300, u32::MAX - 350, u32::MAX] {
        let mut bench = Bench::new(WITH_MOTORS);
        bench.now_ms = start;
        assert_eq!(bench.ask(&begin(1)), Some(begun(1)));
        for tick in 0..3 {
            bench.wait(99);
            assert!(bench.board.may_move(), "from {start}, tick {tick}");
            assert!(bench.outputs(1, tick).is_some());
        }
        bench.pins.0.clear();
        for _ in 0..99 {
            bench.wait(1);
        }
        assert!(bench.pins.0.is_empty());
        bench.wait(1);
        assert_eq!(bench.pins.0, [Event::Off]);
        assert!(!bench.board.may_move());
        // Once is enough; and the sample that comes now is refused, also as a repetition.
        bench.wait(1);
        assert_eq!(bench.pins.0, [Event::Off]);
        assert_eq!(bench.ask(&sample(1, 3)), BY_SILENCE);
        assert_eq!(bench.ask(&sample(1, 2)), BY_SILENCE);
        assert_eq!(bench.pins.done(), 0);
    }
}

#[test]
fn a_sample_that_comes_too_late_trips_even_if_watch_was_not_called() {
    let mut bench = Bench::moving();
    bench.outputs(1, 0).unwrap();
    bench.pins.0.clear();
    bench.now_ms += 100;
    assert_eq!(bench.ask(&sample(1, 1)), BY_SILENCE);
    assert_eq!(bench.pins.0, [Event::Off]);
}

#[test]
fn only_samples_that_are_answered_are_signs_of_life() {
    let signs: [(&str, Deed, bool); 7] = [
        ("new tick", |bench| _ = bench.outputs(1, 11), true),
        ("same tick", |bench| _ = bench.outputs(1, 10), true),
        ("older tick", |bench| _ = bench.outputs(1, 9), false),
        ("another run", |bench| _ = bench.ask(&sample(2, 11)), false),
        ("hello", |bench| _ = bench.ask(&hello()), false),
        ("garbage", |bench| _ = bench.bytes(&[7, 7, 0, 9]), false),
        ("late begin", |bench| _ = bench.ask(&begin(1)), false),
    ];
    for (name, sign, counts) in signs {
        let mut bench = Bench::moving();
        for tick in 0..=10 {
            bench.outputs(1, tick).unwrap();
        }
        bench.wait(60);
        sign(&mut bench);
        bench.wait(60);
        assert_eq!(bench.board.may_move(), counts, "{name}");
    }
}

#[test]
fn no_begin_stretches_the_silence_beyond_100_ms() {
    for (asked, trips_at) in [
        (0, 0),
        (1, 1),
        (20, 20),
        (100, 100),
        (101, 100),
        (65_535, 100),
    ] {
        let mut bench = Bench::new(WITH_MOTORS);
        assert_eq!(bench.ask(&begin_with(1, true, asked)), Some(begun(1)));
        if trips_at > 0 {
            bench.wait(trips_at - 1);
            assert!(bench.board.may_move(), "{asked}");
            bench.wait(1);
        } else {
            bench.wait(0);
        }
        assert!(!bench.board.may_move(), "{asked}");
    }
}

#[test]
fn without_motion_no_silence_trips() {
    let mut bench = Bench::new(WITH_MOTORS);
    assert_eq!(bench.ask(&begin_with(1, false, 100)), Some(begun(1)));
    for tick in 0..10 {
        bench.wait(1_000_000_000);
        assert!(bench.outputs(1, tick).is_some());
    }
    assert_eq!(
        bench
            .pins
            .0
            .iter()
            .filter(|one| **one == Event::Off)
            .count(),
        1
    );
}

#[test]
fn a_begin_whose_answer_was_lost_may_be_repeated_after_the_silence() {
    // The harness repeats after 200 ms, the board trips after 100.
    let mut bench = Bench::new(WITH_MOTORS);
    assert_eq!(bench.ask(&begin(1)), Some(begun(1)));
    for _ in 0..200 {
        bench.wait(1);
    }
    assert!(!bench.board.may_move());
    assert_eq!(bench.ask(&begin(1)), Some(begun(1)));
    assert!(bench.board.may_move());
    assert!(bench.outputs(1, 0).is_some());
    // After a tick it is final.
    bench.wait(100);
    assert_eq!(bench.ask(&begin(1)), None);
    assert_eq!(bench.ask(&sample(1, 1)), BY_SILENCE);
    assert_eq!(bench.ask(&begin(2)), Some(begun(2)));
}

#[test]
fn a_trip_by_request_after_one_by_silence_is_reported_as_such_and_final() {
    let mut bench = Bench::moving();
    bench.wait(100);
    assert_eq!(bench.ask(&Request::Trip), Some(Answer::Tripped));
    let refused = Answer::Refused(Refusal::Tripped { by_silence: false });
    assert_eq!(bench.ask(&sample(1, 0)), Some(refused));
    assert_eq!(bench.ask(&begin(1)), None);
}

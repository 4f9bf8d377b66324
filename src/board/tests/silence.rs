//! Silence, with a clock that the test sets.

use super::{BoardFixture, Deed, Event, WITH_MOTORS, begin, begin_with, begun, hello, sample};
use trimproof_wire::{Answer, Refusal, Request};

const BY_SILENCE: Option<Answer> = Some(Answer::Refused(Refusal::Tripped { by_silence: true }));

#[test]
fn a_hundred_milliseconds_trip_and_ninety_nine_do_not() {
    // The clock begins anywhere and wraps: while ticks come (150), and within the silence at the
    // end (297 ms after the beginning).
    for start in [0, u32::MAX - 150, u32::MAX - 300, u32::MAX - 350, u32::MAX] {
        let mut fixture = BoardFixture::new(WITH_MOTORS);
        fixture.now_ms = start;
        assert_eq!(fixture.ask(&begin(1)), Some(begun(1)));
        for tick in 0..3 {
            fixture.wait(99);
            assert!(fixture.board.may_move(), "from {start}, tick {tick}");
            assert!(fixture.outputs(1, tick).is_some());
        }
        fixture.pins.0.clear();
        for _ in 0..99 {
            fixture.wait(1);
        }
        assert!(fixture.pins.0.is_empty());
        fixture.wait(1);
        assert_eq!(fixture.pins.0, [Event::Off]);
        assert!(!fixture.board.may_move());
        // Once is enough; and the sample that comes now is refused, also as a repetition.
        fixture.wait(1);
        assert_eq!(fixture.pins.0, [Event::Off]);
        assert_eq!(fixture.ask(&sample(1, 3)), BY_SILENCE);
        assert_eq!(fixture.ask(&sample(1, 2)), BY_SILENCE);
        assert_eq!(fixture.pins.done(), 0);
    }
}

#[test]
fn a_sample_that_comes_too_late_trips_even_if_watch_was_not_called() {
    let mut fixture = BoardFixture::moving();
    fixture.outputs(1, 0).unwrap();
    fixture.pins.0.clear();
    fixture.now_ms += 100;
    assert_eq!(fixture.ask(&sample(1, 1)), BY_SILENCE);
    assert_eq!(fixture.pins.0, [Event::Off]);
}

#[test]
fn only_samples_that_are_answered_are_signs_of_life() {
    let signs: [(&str, Deed, bool); 7] = [
        ("new tick", |fixture| _ = fixture.outputs(1, 11), true),
        ("same tick", |fixture| _ = fixture.outputs(1, 10), true),
        ("older tick", |fixture| _ = fixture.outputs(1, 9), false),
        (
            "another run",
            |fixture| _ = fixture.ask(&sample(2, 11)),
            false,
        ),
        ("hello", |fixture| _ = fixture.ask(&hello()), false),
        ("garbage", |fixture| _ = fixture.bytes(&[7, 7, 0, 9]), false),
        ("late begin", |fixture| _ = fixture.ask(&begin(1)), false),
    ];
    for (name, sign, counts) in signs {
        let mut fixture = BoardFixture::moving();
        for tick in 0..=10 {
            fixture.outputs(1, tick).unwrap();
        }
        fixture.wait(60);
        sign(&mut fixture);
        fixture.wait(60);
        assert_eq!(fixture.board.may_move(), counts, "{name}");
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
        let mut fixture = BoardFixture::new(WITH_MOTORS);
        assert_eq!(fixture.ask(&begin_with(1, true, asked)), Some(begun(1)));
        if trips_at > 0 {
            fixture.wait(trips_at - 1);
            assert!(fixture.board.may_move(), "{asked}");
            fixture.wait(1);
        } else {
            fixture.wait(0);
        }
        assert!(!fixture.board.may_move(), "{asked}");
    }
}

#[test]
fn without_motion_no_silence_trips() {
    let mut fixture = BoardFixture::new(WITH_MOTORS);
    assert_eq!(fixture.ask(&begin_with(1, false, 100)), Some(begun(1)));
    for tick in 0..10 {
        fixture.wait(1_000_000_000);
        assert!(fixture.outputs(1, tick).is_some());
    }
    assert_eq!(
        fixture
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
    let mut fixture = BoardFixture::new(WITH_MOTORS);
    assert_eq!(fixture.ask(&begin(1)), Some(begun(1)));
    for _ in 0..200 {
        fixture.wait(1);
    }
    assert!(!fixture.board.may_move());
    assert_eq!(fixture.ask(&begin(1)), Some(begun(1)));
    assert!(fixture.board.may_move());
    assert!(fixture.outputs(1, 0).is_some());
    // After a tick it is final.
    fixture.wait(100);
    assert_eq!(fixture.ask(&begin(1)), None);
    assert_eq!(fixture.ask(&sample(1, 1)), BY_SILENCE);
    assert_eq!(fixture.ask(&begin(2)), Some(begun(2)));
}

#[test]
fn a_trip_by_request_after_one_by_silence_is_reported_as_such_and_final() {
    let mut fixture = BoardFixture::moving();
    fixture.wait(100);
    assert_eq!(fixture.ask(&Request::Trip), Some(Answer::Tripped));
    let refused = Answer::Refused(Refusal::Tripped { by_silence: false });
    assert_eq!(fixture.ask(&sample(1, 0)), Some(refused));
    assert_eq!(fixture.ask(&begin(1)), None);
}

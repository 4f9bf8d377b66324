//! Hello, begin, refused settings, end, and their repetitions.

use super::{
    BoardFixture, Event, WITH_MOTORS, begin, begin_refused, begin_with, begun, hello, inputs,
    sample,
};
use crate::BoardAbout;
use trimproof_controller::{Controller, Settings};
use trimproof_wire::{Answer, Greeting, Hello, Name, Refusal, Request, VERSION, hash_of};

fn greeting(fixture: &mut BoardFixture) -> Greeting {
    match fixture.ask(&hello()) {
        Some(Answer::Greeting(greeting)) => greeting,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_board_reports_who_it_is_and_what_it_runs() {
    let mut fixture = BoardFixture::new(WITH_MOTORS);
    let fresh = Greeting {
        version: VERSION,
        identity: Name::joined(Controller::identity(), "test"),
        tick_hz: 500,
        settings_hash: 0,
        run: 0,
        has_motors: true,
    };
    assert_eq!(greeting(&mut fixture), fresh);
    assert_eq!(fixture.ask(&begin(7)), Some(begun(7)));
    let running = Greeting {
        settings_hash: hash_of(&Settings::example()),
        run: 7,
        ..fresh
    };
    assert_eq!(greeting(&mut fixture), running);
    // Of whatever version the harness is, and in mid-run, without any effect on it.
    assert!(fixture.outputs(7, 0).is_some());
    let before = fixture.pins.0.len();
    let other = fixture.ask(&Request::Hello(Hello { version: 999 }));
    assert_eq!(other, Some(Answer::Greeting(running)));
    assert_eq!(fixture.pins.0.len(), before);
    assert!(fixture.outputs(7, 1).is_some());
}

#[test]
fn begin_that_comes_twice_is_answered_twice_until_a_tick_has_run() {
    let mut fixture = BoardFixture::new(WITH_MOTORS);
    for _ in 0..3 {
        assert_eq!(fixture.ask(&begin(1)), Some(begun(1)));
    }
    let first = fixture.outputs(1, 0).unwrap();
    assert_eq!(fixture.ask(&begin(1)), None);
    // The controller is still the one that has seen tick 0: nothing began anew.
    let mut alone = Controller::new(Settings::example()).unwrap();
    assert_eq!(alone.tick(&inputs(0)), first);
    for tick in 1..300 {
        assert_eq!(
            fixture.outputs(1, tick),
            Some(alone.tick(&inputs(tick))),
            "{tick}"
        );
    }
}

#[test]
fn only_a_newer_number_begins_a_run_across_the_wrap() {
    let mut fixture = BoardFixture::new(WITH_MOTORS);
    assert_eq!(fixture.ask(&begin(65_535)), Some(begun(65_535)));
    assert!(fixture.outputs(255, 0).is_some());
    for late in [65_534, 65_535, 40_000, 32_767] {
        assert_eq!(fixture.ask(&begin(late)), None, "{late}");
    }
    assert_eq!(fixture.ask(&begin(0)), Some(begun(0)));
    assert!(fixture.outputs(0, 0).is_some());
    for late in [65_535, 0, 32_768] {
        assert_eq!(fixture.ask(&begin(late)), None, "{late}");
    }
    assert_eq!(fixture.ask(&begin(32_767)), Some(begun(32_767)));
}

#[test]
fn a_new_run_has_a_new_controller() {
    let mut fixture = BoardFixture::moving();
    let mut alone = Controller::new(Settings::example()).unwrap();
    for tick in 0..400 {
        assert!(fixture.outputs(1, tick).is_some());
    }
    // As after a watchdog's reset in mid-scenario: ticks go on, the controller starts.
    assert_eq!(fixture.ask(&begin(2)), Some(begun(2)));
    assert_eq!(fixture.pins.0.last(), Some(&Event::Off));
    for tick in 400..800 {
        assert_eq!(
            fixture.outputs(2, tick),
            Some(alone.tick(&inputs(tick))),
            "{tick}"
        );
    }
}

#[test]
fn refused_settings_leave_no_run_and_the_motors_off() {
    let mut fixture = BoardFixture::moving();
    assert!(fixture.outputs(1, 0).is_some());
    for _ in 0..2 {
        // Repeated, it is refused again.
        fixture.pins.0.clear();
        let answer = fixture.ask(&begin_refused(2));
        assert_eq!(answer, Some(Answer::Refused(Refusal::Settings)));
        assert_eq!(fixture.pins.0, [Event::Off]);
    }
    assert!(!fixture.board.may_move());
    assert_eq!(greeting(&mut fixture).settings_hash, 0);
    assert_eq!(greeting(&mut fixture).run, 2);
    for run in [1, 2] {
        let answer = fixture.ask(&sample(run, 1));
        assert_eq!(answer, Some(Answer::Refused(Refusal::NotBegun)));
    }
    // The run before does not come back by a late repetition of its begin.
    assert_eq!(fixture.ask(&begin(1)), None);
    assert!(!fixture.board.may_move());
    // Better settings under the same number are good: nothing has come of it yet.
    assert_eq!(fixture.ask(&begin(2)), Some(begun(2)));
    assert!(fixture.outputs(2, 0).is_some());
}

#[test]
fn end_ends_its_own_run_only() {
    let mut fixture = BoardFixture::moving();
    assert!(fixture.outputs(1, 0).is_some());
    fixture.pins.0.clear();
    for other in [0, 2, 257] {
        assert_eq!(fixture.ask(&Request::End { run: other }), None, "{other}");
    }
    assert!(fixture.pins.0.is_empty() && fixture.board.may_move());
    for _ in 0..2 {
        fixture.pins.0.clear();
        let answer = fixture.ask(&Request::End { run: 1 });
        assert_eq!(answer, Some(Answer::Ended { run: 1 }));
        assert_eq!(fixture.pins.0, [Event::Off]);
    }
    assert!(!fixture.board.may_move());
    // Neither the last tick again nor the next, nor its begin.
    for tick in [0, 1] {
        let answer = fixture.ask(&sample(1, tick));
        assert_eq!(answer, Some(Answer::Refused(Refusal::Ended)));
    }
    assert_eq!(fixture.ask(&begin(1)), None);
    assert!(!fixture.board.may_move());
}

#[test]
fn an_end_before_the_first_tick_is_final_too() {
    let mut fixture = BoardFixture::moving();
    assert!(fixture.ask(&Request::End { run: 1 }).is_some());
    assert_eq!(fixture.ask(&begin(1)), None);
    assert!(!fixture.board.may_move());
    assert_eq!(fixture.ask(&begin(2)), Some(begun(2)));
}

#[test]
fn a_board_that_never_began_says_so_and_ends_in_peace() {
    let mut fixture = BoardFixture::new(BoardAbout {
        has_motors: false,
        ..WITH_MOTORS
    });
    let answer = fixture.ask(&sample(0, 0));
    assert_eq!(answer, Some(Answer::Refused(Refusal::NotBegun)));
    assert_eq!(
        fixture.ask(&Request::End { run: 9 }),
        Some(Answer::Ended { run: 9 })
    );
    assert_eq!(fixture.ask(&Request::Trip), Some(Answer::Tripped));
    assert_eq!(fixture.pins.0, [Event::Off, Event::Off]);
    // The first number may be any.
    assert_eq!(
        fixture.ask(&begin_with(50_000, false, 0)),
        Some(begun(50_000))
    );
}

//! Motors: only where begin allows it and the board has some; off on every way out.

use super::{
    BoardFixture, Deed, Event, WITH_MOTORS, begin, begin_refused, begin_with, begun, sample,
};
use crate::BoardAbout;
use trimproof_wire::{Answer, Refusal, Request};

#[test]
fn nothing_is_applied_unless_begin_allows_it_and_there_are_motors() {
    for (allow, has_motors) in [(false, false), (false, true), (true, false), (true, true)] {
        let mut fixture = BoardFixture::new(BoardAbout {
            has_motors,
            ..WITH_MOTORS
        });
        assert_eq!(fixture.ask(&begin_with(1, allow, 100)), Some(begun(1)));
        assert_eq!(fixture.board.may_move(), allow && has_motors);
        for tick in 0..50 {
            assert!(fixture.outputs(1, tick).is_some());
        }
        let applied = if allow && has_motors { 50 } else { 0 };
        assert_eq!(fixture.pins.applied(), applied, "{allow} {has_motors}");
        assert_eq!(fixture.pins.done(), 50);
    }
}

#[test]
fn what_is_applied_is_what_is_answered_and_the_watchdog_is_fed_after_it() {
    let mut fixture = BoardFixture::moving();
    for tick in 0..400 {
        fixture.pins.0.clear();
        let outputs = fixture.outputs(1, tick).unwrap();
        assert_eq!(fixture.pins.0, [Event::Apply(outputs.command), Event::Done]);
        // Nothing but a completed tick feeds it.
        fixture.pins.0.clear();
        fixture.outputs(1, tick).unwrap();
        fixture.ask(&sample(9, tick));
        fixture.wait(1);
        assert!(fixture.pins.0.is_empty());
    }
}

#[test]
fn the_motors_go_off_on_every_way_out() {
    let ways: [(&str, Deed); 5] = [
        ("trip", |fixture| {
            assert_eq!(fixture.ask(&Request::Trip), Some(Answer::Tripped));
        }),
        ("end", |fixture| {
            assert!(fixture.ask(&Request::End { run: 1 }).is_some());
        }),
        ("silence", |fixture| fixture.wait(100)),
        ("begin without motion", |fixture| {
            assert_eq!(fixture.ask(&begin_with(2, false, 100)), Some(begun(2)));
        }),
        ("refused settings", |fixture| {
            assert!(fixture.ask(&begin_refused(2)).is_some());
        }),
    ];
    for (name, way) in ways {
        let mut fixture = BoardFixture::moving();
        fixture.outputs(1, 0).unwrap();
        fixture.pins.0.clear();
        way(&mut fixture);
        assert_eq!(fixture.pins.0, [Event::Off], "{name}");
        assert!(!fixture.board.may_move(), "{name}");
        // And nothing that is left over from the run switches them on again.
        for tick in [0, 1, 2] {
            fixture.ask(&sample(1, tick));
        }
        fixture.ask(&begin(1));
        fixture.ask(&sample(1, 3));
        fixture.wait(1);
        assert!(!fixture.board.may_move(), "{name}");
        assert_eq!(fixture.pins.applied(), 0, "{name}");
    }
}

#[test]
fn a_new_run_with_motion_begins_with_the_motors_off() {
    let mut fixture = BoardFixture::moving();
    fixture.outputs(1, 0).unwrap();
    fixture.pins.0.clear();
    assert_eq!(fixture.ask(&begin(2)), Some(begun(2)));
    assert_eq!(fixture.pins.0, [Event::Off]);
    // A late sample of the run before does not reach the pins.
    assert_eq!(fixture.ask(&sample(1, 1)), None);
    assert_eq!(fixture.pins.0, [Event::Off]);
}

#[test]
fn a_trip_lasts_until_a_newer_run() {
    for ticks in [0, 1] {
        let mut fixture = BoardFixture::moving();
        for tick in 0..ticks {
            fixture.outputs(1, tick).unwrap();
        }
        // Repeated, it is answered and carried out again.
        for _ in 0..2 {
            fixture.pins.0.clear();
            assert_eq!(fixture.ask(&Request::Trip), Some(Answer::Tripped));
            assert_eq!(fixture.pins.0, [Event::Off]);
        }
        let refused = Answer::Refused(Refusal::Tripped { by_silence: false });
        assert_eq!(fixture.ask(&sample(1, ticks)), Some(refused));
        // A begin that was sent before the trip and comes late must not undo it.
        assert_eq!(fixture.ask(&begin(1)), None, "after {ticks} ticks");
        assert!(!fixture.board.may_move());
        assert_eq!(fixture.pins.done(), 0);
        assert_eq!(fixture.ask(&begin(2)), Some(begun(2)));
        assert!(fixture.board.may_move());
    }
}

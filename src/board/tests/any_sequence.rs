//! Any sequence of requests, right, repeated, late and damaged, with any waits between them.

use super::{
    BoardFixture, Event, WITH_MOTORS, begin_refused, begin_with, frame_of, hello, inputs, sample,
};
use crate::BoardAbout;
use proptest::prelude::*;
use std::collections::BTreeMap;
use trimproof_controller::{Controller, Settings};
use trimproof_io::Outputs;
use trimproof_wire::{Answer, Refusal, Request};

/// What comes over the line.
#[derive(Clone, Debug)]
enum Step {
    Frame(Request),
    /// The frame with one bit wrong.
    Damaged(Request, prop::sample::Index, u8),
    Garbage(Vec<u8>),
    Wait(u32),
}

fn request() -> impl Strategy<Value = Request> {
    prop_oneof![
        1 => Just(hello()),
        3 => (0u16..5, prop::bool::weighted(0.7), 0u16..300)
            .prop_map(|(run, allow, silence)| begin_with(run, allow, silence)),
        1 => (0u16..5).prop_map(begin_refused),
        20 => (0u8..5, 0u32..12).prop_map(|(run, tick)| sample(run, tick)),
        1 => Just(Request::Trip),
        1 => (0u16..5).prop_map(|run| Request::End { run }),
    ]
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        12 => request().prop_map(Step::Frame),
        2 => (request(), any::<prop::sample::Index>(), 0u8..8)
            .prop_map(|(request, place, bit)| Step::Damaged(request, place, bit)),
        1 => prop::collection::vec(any::<u8>(), 0..40).prop_map(Step::Garbage),
        4 => (0u32..60).prop_map(Step::Wait),
    ]
}

/// What must hold, kept beside the board from its answers alone.
#[derive(Default)]
struct Books {
    /// The run that the board says it is in, and whether motion was asked for in it.
    run: Option<(u16, bool)>,
    /// A controller of its own, fed with each tick once.
    alone: Option<Controller>,
    /// Answers of this run, by tick.
    answered: BTreeMap<u32, Outputs>,
    on: bool,
}

impl Books {
    /// Checks an answer with what reached the pins since the request.
    fn check(
        &mut self,
        request: &Request,
        answer: Option<Answer>,
        pins: &[Event],
        has_motors: bool,
    ) {
        match (request, answer) {
            (Request::Begin(begin), Some(Answer::Begun(begun))) => {
                assert_eq!(begin.run, begun.run);
                if let Some((run, _)) = self.run {
                    // The same number only while nothing has come of it.
                    assert!(begin.run > run || (begin.run == run && self.answered.is_empty()));
                }
                assert_eq!(pins, [Event::Off]);
                self.run = Some((begin.run, begin.allow_motion));
                self.alone = Controller::new(begin.settings).ok();
                self.answered.clear();
                self.on = true;
            }
            (Request::Sample(sample), Some(Answer::Command(command))) => {
                let (run, allow) = self.run.unwrap();
                let tick = sample.inputs.tick;
                assert!(self.on && command.run == run as u8 && sample.run == command.run);
                assert_eq!(command.tick, tick as u16);
                let last = self.answered.last_key_value().map(|(tick, _)| *tick);
                if let Some(outputs) = self.answered.get(&tick) {
                    // Again: the same answer, no second run of the controller.
                    assert_eq!((last, *outputs), (Some(tick), command.outputs));
                    assert_eq!(pins, []);
                } else {
                    assert!(last.is_none_or(|last| tick > last));
                    let right = self.alone.as_mut().unwrap().tick(&sample.inputs);
                    assert_eq!(right, command.outputs);
                    let apply = Event::Apply(right.command);
                    match allow && has_motors {
                        true => assert_eq!(pins, [apply, Event::Done]),
                        false => assert_eq!(pins, [Event::Done]),
                    }
                    self.answered.insert(tick, right);
                }
            }
            (Request::Begin(_), Some(Answer::Refused(Refusal::Settings))) => {
                assert_eq!(pins, [Event::Off]);
                (self.on, self.alone) = (false, None);
            }
            (Request::Trip, Some(Answer::Tripped)) => {
                assert_eq!(pins, [Event::Off]);
                self.on = false;
            }
            (Request::End { run }, Some(Answer::Ended { run: ended })) => {
                assert_eq!((pins, *run), (&[Event::Off][..], ended));
                self.on = false;
            }
            (Request::Sample(_), Some(Answer::Refused(_))) => {
                // A silence may be noticed by the sample itself.
                assert!(pins.is_empty() || pins == [Event::Off]);
                self.on = false;
            }
            (Request::Sample(_), None) => assert!(pins.is_empty() || pins == [Event::Off]),
            (Request::Hello(_), Some(Answer::Greeting(_)))
            | (Request::Begin(_) | Request::End { .. }, None) => assert_eq!(pins, []),
            other => panic!("{other:?}"),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]
    #[test]
    fn each_tick_runs_once_and_nothing_moves_that_may_not(
        steps in prop::collection::vec(step(), 1..150),
        has_motors in prop::bool::weighted(0.8),
        start_ms in any::<u32>(),
    ) {
        let mut fixture = BoardFixture::new(BoardAbout { has_motors, ..WITH_MOTORS });
        fixture.now_ms = start_ms;
        let mut books = Books::default();
        for step in steps {
            fixture.pins.0.clear();
            let could_move = fixture.board.may_move();
            match step {
                Step::Frame(request) => {
                    let answer = fixture.ask(&request);
                    books.check(&request, answer, &fixture.pins.0, has_motors);
                }
                Step::Damaged(request, place, bit) => {
                    let mut frame = frame_of(&request);
                    let place = place.index(frame.len());
                    frame[place] ^= 1 << bit;
                    // The zero byte that a repetition begins with.
                    frame.push(0);
                    prop_assert!(fixture.bytes(&frame).is_empty());
                    prop_assert_eq!(&fixture.pins.0, &[]);
                }
                Step::Garbage(bytes) => {
                    prop_assert!(fixture.bytes(&bytes).is_empty());
                    prop_assert!(fixture.bytes(&[0]).is_empty());
                    prop_assert_eq!(&fixture.pins.0, &[]);
                }
                Step::Wait(ms) => {
                    fixture.wait(ms);
                    let tripped = could_move && !fixture.board.may_move();
                    let events: &[Event] = if tripped { &[Event::Off] } else { &[] };
                    prop_assert_eq!(&fixture.pins.0, events);
                }
            }
            // Only in a run that allows it and is on, on a board with motors.
            if fixture.board.may_move() {
                prop_assert!(books.on && has_motors && books.run.is_some_and(|(_, allow)| allow));
            }
        }
    }

    /// A link that loses, repeats and damages in both directions, a harness that repeats until it
    /// is answered: the outputs are those of the controller alone.
    #[test]
    fn lockstep_over_a_bad_link_gives_the_same_outputs(
        faults in prop::collection::vec(0u8..8, 1..200),
    ) {
        let mut fixture = BoardFixture::new(WITH_MOTORS);
        fixture.ask(&begin_with(1, false, 100));
        let mut alone = Controller::new(Settings::example()).unwrap();
        let mut faults = faults.into_iter();
        let mut old: Option<Vec<u8>> = None;
        for tick in 0..100 {
            let frame = frame_of(&sample(1, tick));
            let right = alone.tick(&inputs(tick));
            loop {
                let fault = faults.next().unwrap_or(7);
                let mut sent = frame.clone();
                match fault {
                    0 => continue,
                    1 => sent[3] ^= 4,
                    2 => sent = [sent.clone(), sent].concat(),
                    3 => sent = [old.clone().unwrap_or_default(), sent].concat(),
                    4 => sent = [vec![9, 9, 9, 0], sent].concat(),
                    _ => {}
                }
                let answers = fixture.bytes(&[vec![0], sent].concat());
                if fault == 5 {
                    // The answer is lost.
                    continue;
                }
                if let Some(answer) = answers.last() {
                    let Answer::Command(command) = super::answer_in(answer) else {
                        panic!("{answer:?}");
                    };
                    prop_assert_eq!(command.tick, tick as u16);
                    prop_assert_eq!(command.outputs, right);
                    break;
                }
            }
            old = Some(frame);
        }
        prop_assert_eq!(fixture.pins.done(), 100);
        prop_assert_eq!(fixture.pins.applied(), 0);
    }
}

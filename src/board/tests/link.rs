//! Repeated, late and damaged frames, a reset, another run's samples.

use super::{BoardFixture, WITH_MOTORS, begin, begun, frame_of, hello, inputs, sample};
use trimproof_controller::{Controller, Settings};
use trimproof_io::Inputs;
use trimproof_wire::{Answer, FRAME_MAX, Refusal, Request, Sample};

#[test]
fn a_repeated_tick_is_answered_again_and_not_run_again() {
    let mut fixture = BoardFixture::moving();
    let mut alone = Controller::new(Settings::example()).unwrap();
    for tick in 0..500 {
        let right = alone.tick(&inputs(tick));
        // Every tick comes up to four times.
        for _ in 0..=tick % 4 {
            assert_eq!(fixture.outputs(1, tick), Some(right), "{tick}");
        }
    }
    assert_eq!(fixture.pins.done(), 500);
    assert_eq!(fixture.pins.applied(), 500);
}

#[test]
fn a_repetition_with_other_inputs_gets_the_first_answer() {
    let mut fixture = BoardFixture::moving();
    let first = fixture.outputs(1, 0).unwrap();
    let other = Request::Sample(Sample {
        run: 1,
        inputs: Inputs {
            sensor_counts: [1, 1],
            ..inputs(0)
        },
    });
    match fixture.ask(&other) {
        Some(Answer::Command(command)) => assert_eq!(command.outputs, first),
        answer => panic!("{answer:?}"),
    }
    assert_eq!(fixture.pins.done(), 1);
}

#[test]
fn an_older_tick_is_neither_answered_nor_run() {
    let mut fixture = BoardFixture::moving();
    for tick in 0..10 {
        fixture.outputs(1, tick).unwrap();
    }
    for old in [8, 0, u32::MAX, 9u32.wrapping_sub(1 << 31).wrapping_add(1)] {
        assert_eq!(fixture.ask(&sample(1, old)), None, "{old}");
    }
    assert_eq!(fixture.pins.done(), 10);
    // A gap is the controller's business.
    assert!(fixture.outputs(1, 12).is_some());
    assert_eq!(fixture.pins.done(), 11);
}

#[test]
fn ticks_wrap() {
    let mut fixture = BoardFixture::moving();
    for tick in [u32::MAX - 1, u32::MAX, 0, 1] {
        assert!(fixture.outputs(1, tick).is_some(), "{tick}");
        assert!(fixture.outputs(1, tick).is_some(), "{tick}");
    }
    assert_eq!(fixture.ask(&sample(1, u32::MAX)), None);
    assert_eq!(fixture.pins.done(), 4);
}

#[test]
fn samples_of_another_run_are_ignored() {
    let mut fixture = BoardFixture::moving();
    fixture.outputs(1, 0).unwrap();
    for run in [0, 2, 255] {
        assert_eq!(fixture.ask(&sample(run, 1)), None, "{run}");
    }
    assert_eq!(fixture.pins.done(), 1);
    // Of a run's number only the least byte travels with a sample.
    assert_eq!(fixture.ask(&begin(513)), Some(begun(513)));
    assert!(fixture.outputs(1, 0).is_some());
}

#[test]
fn a_reset_in_mid_run_is_reported() {
    let mut fixture = BoardFixture::moving();
    fixture.outputs(1, 0).unwrap();
    let mut reset = BoardFixture::new(WITH_MOTORS);
    let answer = reset.ask(&sample(1, 1));
    assert_eq!(answer, Some(Answer::Refused(Refusal::NotBegun)));
    assert_eq!(reset.pins.done(), 0);
    assert!(!reset.board.may_move());
}

#[test]
fn damaged_frames_are_neither_answered_nor_do_they_count() {
    let mut fixture = BoardFixture::moving();
    let frame = frame_of(&sample(1, 0));
    for bit in 0..(frame.len() - 1) * 8 {
        let mut damaged = frame.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        damaged.push(0);
        assert!(fixture.bytes(&damaged).is_empty(), "{bit}");
    }
    assert!(fixture.pins.0.is_empty());
    assert!(fixture.outputs(1, 0).is_some());
}

#[test]
fn after_any_garbage_a_zero_byte_is_enough() {
    let mut fixture = BoardFixture::moving();
    for (tick, length) in [1, 5, 18, FRAME_MAX - 1, FRAME_MAX, FRAME_MAX + 1, 10_000]
        .into_iter()
        .enumerate()
    {
        assert!(fixture.bytes(&vec![0xA5; length]).is_empty());
        assert!(fixture.bytes(&[0]).is_empty());
        assert!(fixture.outputs(1, tick as u32).is_some(), "{length}");
    }
    // Without it, the frame behind garbage is lost, and its repetition is not.
    assert!(fixture.bytes(&[1, 2, 3]).is_empty());
    assert_eq!(fixture.outputs(1, 7), None);
    assert!(fixture.outputs(1, 7).is_some());
}

#[test]
fn split_and_merged_frames_count() {
    let mut fixture = BoardFixture::moving();
    let stream: Vec<u8> = (0..5).flat_map(|tick| frame_of(&sample(1, tick))).collect();
    assert_eq!(fixture.bytes(&stream).len(), 5);
    let frame = frame_of(&sample(1, 5));
    for byte in &frame[..frame.len() - 1] {
        assert!(fixture.bytes(&[*byte]).is_empty());
        fixture.wait(1);
    }
    assert_eq!(fixture.bytes(&[0]).len(), 1);
}

#[test]
fn an_answer_that_is_echoed_to_the_board_changes_nothing() {
    let mut fixture = BoardFixture::moving();
    let mut answers = Vec::new();
    for request in [
        hello(),
        sample(1, 0),
        Request::End { run: 1 },
        Request::Trip,
    ] {
        answers.extend(fixture.bytes(&frame_of(&request)));
    }
    assert_eq!(answers.len(), 4);
    let mut fixture = BoardFixture::moving();
    for answer in answers {
        assert!(fixture.bytes(&answer).is_empty());
    }
    assert!(fixture.pins.0.is_empty() && fixture.board.may_move());
}

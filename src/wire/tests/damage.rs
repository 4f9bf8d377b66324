//! What a link does to frames: nothing that is damaged is taken for a message, and the next good
//! one is read.

use crate::tests::round_trip::{any_answer, any_request};
use crate::tests::{all_of, frame_of, hex, longest_settings, read};
use crate::{
    Answer, Begin, Decoder, FRAME_MAX, FrameError, Hello, Request, Sample, TickCommand, VERSION,
};
use proptest::prelude::*;
use trimproof_controller::Settings;
use trimproof_io::{Inputs, Outputs};

/// Frames of every kind and length.
fn some_requests() -> Vec<Request> {
    let begin = |settings| {
        Request::Begin(Begin {
            run: 1,
            allow_motion: true,
            silence_ms: 100,
            settings,
        })
    };
    vec![
        Request::Hello(Hello { version: VERSION }),
        begin(Settings::example()),
        begin(longest_settings()),
        Request::Sample(Sample {
            run: 1,
            inputs: Inputs::default(),
        }),
        Request::Sample(Sample {
            run: 200,
            inputs: Inputs {
                tick: 0x0102_0304,
                sensor_counts: [0x0506, 0x0708],
                supply_mv: 0x090A,
                ..Inputs::default()
            },
        }),
        Request::Trip,
        Request::End { run: 1 },
    ]
}

/// No damaged frame may count: not as the same message, not as another.
fn assert_none_counts(bytes: &[u8], what: &str) -> u32 {
    // A delimiter behind it, as the next frame's sender sends one: what is left over must not count
    // either.
    let stream = [bytes, &[0]].concat();
    for found in read::<Request>(&stream) {
        assert!(found.is_err(), "{what}: {found:?} of {}", hex(bytes));
    }
    1
}

#[test]
fn no_flipped_bit_is_accepted() {
    let mut tried = 0;
    for request in some_requests() {
        let frame = frame_of(&request);
        // The delimiter's own bits too: then the frame never ends, or ends with what the test sends
        // behind it.
        for bit in 0..frame.len() * 8 {
            let mut damaged = frame.clone();
            damaged[bit / 8] ^= 1 << (bit % 8);
            tried += assert_none_counts(&damaged, "bit");
        }
    }
    println!("{tried} frames with one flipped bit, none accepted");
}

#[test]
fn no_two_flipped_bits_are_accepted_in_a_tick() {
    let frame = frame_of(&some_requests()[4]);
    let mut tried = 0;
    for first in 0..frame.len() * 8 {
        for second in 0..first {
            let mut damaged = frame.clone();
            for bit in [first, second] {
                damaged[bit / 8] ^= 1 << (bit % 8);
            }
            tried += assert_none_counts(&damaged, "two bits");
        }
    }
    println!("{tried} frames with two flipped bits, none accepted");
}

#[test]
fn no_burst_up_to_16_bits_and_no_other_byte_is_accepted() {
    let mut tried = 0;
    for request in some_requests() {
        let frame = frame_of(&request);
        if frame.len() > 64 {
            continue;
        }
        for from in 0..frame.len() * 8 {
            // A burst begins and ends with a wrong bit; what lies between is all wrong, or
            // alternates.
            for length in 2..=16 {
                for pattern in [u32::MAX, 0x5555_5555] {
                    let mut damaged = frame.clone();
                    for place in 0..length {
                        let wrong = place == 0 || place == length - 1 || pattern >> place & 1 == 1;
                        if let Some(byte) = damaged.get_mut((from + place) / 8)
                            && wrong
                        {
                            *byte ^= 1 << ((from + place) % 8);
                        }
                    }
                    tried += assert_none_counts(&damaged, "burst");
                }
            }
        }
        for place in 0..frame.len() {
            for byte in 0..=255 {
                if byte != frame[place] {
                    let mut damaged = frame.clone();
                    damaged[place] = byte;
                    tried += assert_none_counts(&damaged, "byte");
                }
            }
        }
    }
    println!("{tried} frames with a burst or another byte, none accepted");
}

#[test]
fn a_lost_or_doubled_byte_is_not_accepted() {
    for request in some_requests() {
        let frame = frame_of(&request);
        // Without its delimiter a frame joins the next one; that is another test.
        for place in 0..frame.len() - 1 {
            let mut lost = frame.clone();
            lost.remove(place);
            assert_none_counts(&lost, "lost");
            // A byte doubled within equal ones is an insertion as well.
            let mut doubled = frame.clone();
            doubled.insert(place, frame[place]);
            assert_none_counts(&doubled, "doubled");
            assert_none_counts(&frame[..place], "cut");
        }
    }
}

#[test]
fn two_frames_that_lost_the_zero_between_them_are_both_lost_and_the_third_counts() {
    let frame = frame_of(&Request::Trip);
    let mut stream = frame[..frame.len() - 1].to_vec();
    stream.extend(&frame);
    stream.extend(&frame);
    let found = read::<Request>(&stream);
    assert_eq!(found.len(), 2);
    assert!(found[0].is_err());
    assert_eq!(found[1], Ok(Request::Trip));
}

#[test]
fn each_error_has_its_name() {
    let of = |bytes: &[u8]| read::<Request>(bytes);
    assert_eq!(of(&[0, 0, 0]), []);
    assert_eq!(of(&[5, 1, 0]), [Err(FrameError::Coding)]);
    assert_eq!(of(&[1, 0]), [Err(FrameError::TooShort)]);
    assert_eq!(of(&[4, 1, 2, 3, 0]), [Err(FrameError::TooShort)]);
    assert_eq!(of(&[6, 3, 1, 2, 3, 4, 0]), [Err(FrameError::Crc)]);
    let long = [vec![1; FRAME_MAX + 1], vec![0]].concat();
    assert_eq!(of(&long), [Err(FrameError::TooLong)]);
    // Any length beyond it is the same one error, and the next frame counts.
    let longer = [vec![7; 100_000], vec![0], frame_of(&Request::Trip)].concat();
    assert_eq!(of(&longer), [Err(FrameError::TooLong), Ok(Request::Trip)]);
    // Right CRC, but no message: unknown number, more behind it, a flag that is none, an empty
    // message.
    for bytes in [&[9][..], &[3, 0], &[1, 1, 2], &[]] {
        assert_eq!(
            of(&frame_of(&Raw(bytes))),
            [Err(FrameError::Message)],
            "{bytes:?}"
        );
    }
    // A switch bit, a fault bit, a state and a current that do not exist.
    let sample = frame_of(&Raw(&[2, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0x40, 0, 0]));
    assert_eq!(of(&sample), [Err(FrameError::Message)]);
    let command = |at: usize, byte: u8| {
        let mut plain = [0; 19];
        plain[0] = 5;
        plain[at] = byte;
        read::<Answer>(&frame_of(&Raw(&plain)))
    };
    let none = Answer::Command(TickCommand {
        run: 0,
        tick: 0,
        outputs: Outputs::default(),
    });
    assert_eq!(command(0, 5), [Ok(none)]);
    for (at, byte) in [(5, 0x04), (5, 0xC0), (5, 0xE0), (6, 0x0C), (6, 0xC0)] {
        assert_eq!(
            command(at, byte),
            [Err(FrameError::Message)],
            "{at} {byte:x}"
        );
    }
}

/// Bytes as they are.
struct Raw<'a>(&'a [u8]);

impl serde::Serialize for Raw<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeTuple;
        let mut tuple = serializer.serialize_tuple(self.0.len())?;
        for byte in self.0 {
            tuple.serialize_element(byte)?;
        }
        tuple.end()
    }
}

proptest! {
    /// A line that echoes gives the harness its own requests back (and the board its answers).
    #[test]
    fn no_request_is_read_as_an_answer_nor_the_other_way_round(
        request in any_request(),
        answer in any_answer(),
    ) {
        prop_assert_eq!(read::<Answer>(&frame_of(&request)), [Err(FrameError::Message)]);
        prop_assert_eq!(read::<Request>(&frame_of(&answer)), [Err(FrameError::Message)]);
    }

    #[test]
    fn any_bytes_do_no_harm_and_the_next_frame_counts(
        garbage in prop::collection::vec(any::<u8>(), 0..1000),
        request in any_request(),
        answer in any_answer(),
    ) {
        let mut decoder = Decoder::new();
        all_of::<Request>(&mut decoder, &garbage);
        all_of::<Request>(&mut decoder, &[0]);
        prop_assert_eq!(all_of::<Request>(&mut decoder, &frame_of(&request)), [Ok(request)]);
        all_of::<Answer>(&mut decoder, &garbage);
        all_of::<Answer>(&mut decoder, &[0]);
        prop_assert_eq!(all_of::<Answer>(&mut decoder, &frame_of(&answer)), [Ok(answer)]);
    }

    #[test]
    fn any_bytes_behind_a_right_crc_do_no_harm(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let frame = frame_of(&Raw(&bytes));
        prop_assert!(read::<Request>(&frame).len() == 1);
        prop_assert!(read::<Answer>(&frame).len() == 1);
    }

    #[test]
    fn damage_anywhere_in_any_frame_is_seen(
        request in any_request(),
        place in any::<prop::sample::Index>(),
        wrong in prop::collection::vec(any::<u8>(), 1..6),
    ) {
        let frame = frame_of(&request);
        let mut damaged = frame.clone();
        let from = place.index(frame.len());
        for (byte, wrong) in damaged[from..].iter_mut().zip(&wrong) {
            *byte ^= wrong;
        }
        if damaged != frame {
            for found in read::<Request>(&[&damaged[..], &[0]].concat()) {
                prop_assert!(found.is_err(), "{:?}", found);
            }
        }
    }
}

/// -32768 has no counterpart on the other side, and docs/guides/wire.md leaves it out.
#[test]
fn a_joystick_of_minus_32768_is_no_command() {
    let with = |joystick: i16, axis: usize| {
        let mut outputs = Outputs::default();
        outputs.command.axis[axis].joystick = joystick;
        let mut frame = [0; FRAME_MAX];
        let answer = Answer::Command(TickCommand {
            run: 1,
            tick: 2,
            outputs,
        });
        let length = crate::encode(&answer, &mut frame).unwrap();
        let mut decoder = Decoder::new();
        let mut taken = frame[..length]
            .iter()
            .filter_map(|byte| decoder.take::<Answer>(*byte));
        (taken.next().unwrap(), answer)
    };
    for axis in [0, 1] {
        assert_eq!(with(i16::MIN, axis).0, Err(FrameError::Message));
        for joystick in [-i16::MAX, i16::MAX] {
            let (taken, answer) = with(joystick, axis);
            assert_eq!(taken, Ok(answer));
        }
    }
}

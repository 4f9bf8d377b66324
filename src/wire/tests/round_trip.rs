//! What goes into a frame comes out of it.

use crate::tests::{any_inputs, any_outputs, any_settings, frame_of, hex, longest_settings, read};
use crate::{
    Answer, Begin, Begun, FRAME_MAX, Greeting, Hello, IDENTITY_MAX, MESSAGE_MAX, Name, Refusal,
    Request, Sample, TickCommand, encode, hash_of,
};
use proptest::prelude::*;
use trimproof_controller::Settings;

/// Any request.
pub(super) fn any_request() -> impl Strategy<Value = Request> {
    prop_oneof![
        any::<u16>().prop_map(|version| Request::Hello(Hello { version })),
        (any::<(u16, bool, u16)>(), any_settings()).prop_map(
            |((run, allow_motion, silence_ms), settings)| Request::Begin(Begin {
                run,
                allow_motion,
                silence_ms,
                settings,
            })
        ),
        (any::<u8>(), any_inputs())
            .prop_map(|(run, inputs)| Request::Sample(Sample { run, inputs })),
        Just(Request::Trip),
        any::<u16>().prop_map(|run| Request::End { run }),
    ]
}

/// Any answer.
pub(super) fn any_answer() -> impl Strategy<Value = Answer> {
    let refusal = prop_oneof![
        Just(Refusal::Settings),
        Just(Refusal::NotBegun),
        any::<bool>().prop_map(|by_silence| Refusal::Tripped { by_silence }),
        Just(Refusal::Ended),
    ];
    prop_oneof![
        (any::<String>(), any::<(u16, u16, u32, u16, bool)>()).prop_map(
            |(identity, (version, tick_hz, settings_hash, run, has_motors))| {
                Answer::Greeting(Greeting {
                    version,
                    identity: Name::new(&identity),
                    tick_hz,
                    settings_hash,
                    run,
                    has_motors,
                })
            }
        ),
        any::<(u16, u32)>()
            .prop_map(|(run, settings_hash)| Answer::Begun(Begun { run, settings_hash })),
        (any::<(u8, u16)>(), any_outputs())
            .prop_map(|((run, tick), outputs)| Answer::Command(TickCommand { run, tick, outputs })),
        Just(Answer::Tripped),
        any::<u16>().prop_map(|run| Answer::Ended { run }),
        refusal.prop_map(Answer::Refused),
    ]
}

proptest! {
    #[test]
    fn any_request_survives(request in any_request()) {
        let frame = frame_of(&request);
        prop_assert!(frame.len() <= FRAME_MAX);
        prop_assert_eq!(frame.iter().position(|byte| *byte == 0), Some(frame.len() - 1));
        prop_assert_eq!(read::<Request>(&frame), [Ok(request)]);
    }

    #[test]
    fn any_answer_survives(answer in any_answer()) {
        prop_assert_eq!(read::<Answer>(&frame_of(&answer)), [Ok(answer)]);
    }

    #[test]
    fn other_settings_have_another_hash(one in any_settings(), change in 1u16..) {
        let other = Settings { tick_hz: one.tick_hz ^ change, ..one };
        prop_assert_ne!(hash_of(&one), hash_of(&other));
        prop_assert_eq!(hash_of(&one), hash_of(&one.clone()));
    }
}

#[test]
fn the_longest_begin_fits() {
    let longest = Request::Begin(Begin {
        run: u16::MAX,
        allow_motion: true,
        silence_ms: u16::MAX,
        settings: longest_settings(),
    });
    let mut bytes = [0; 1000];
    let length = postcard::to_slice(&longest, &mut bytes).unwrap().len();
    // number 1, run 3, motion 1, silence 3; settings 11 of 3 and 2 of 5 bytes; an axis 13 of 3, 14
    // of 5 and 1 of 1.
    assert_eq!(length, 8 + 43 + 2 * 110);
    assert!(length + 4 <= MESSAGE_MAX);
    let frame = frame_of(&longest);
    // 275 bytes with the CRC, two code bytes (one more than 254 long), one zero byte.
    assert_eq!(frame.len(), 275 + 3);
    assert_eq!(read::<Request>(&frame), [Ok(longest)]);
    println!(
        "longest begin: message {length}, with CRC {}, frame {}; MESSAGE_MAX {MESSAGE_MAX}",
        length + 4,
        frame.len()
    );
    // Its hash is one of all its bytes, not that of a buffer that was too short.
    assert_ne!(hash_of(&longest_settings()), 0);
}

#[test]
fn the_longest_greeting_fits() {
    let greeting = Answer::Greeting(Greeting {
        version: u16::MAX,
        identity: Name::new(&"x".repeat(IDENTITY_MAX)),
        tick_hz: u16::MAX,
        settings_hash: u32::MAX,
        run: u16::MAX,
        has_motors: true,
    });
    assert_eq!(read::<Answer>(&frame_of(&greeting)), [Ok(greeting)]);
}

#[test]
fn too_small_a_buffer_is_an_error() {
    let frame = frame_of(&Request::Trip);
    for length in 0..frame.len() {
        assert!(
            encode(&Request::Trip, &mut vec![0; length]).is_err(),
            "{length}"
        );
    }
    assert_eq!(
        encode(&Request::Trip, &mut [0; 7]),
        Ok(7),
        "{}",
        hex(&frame)
    );
    // A text of n bytes, 128 to 16383, is n + 2 bytes long; the CRC takes 4.
    let text = "x".repeat(MESSAGE_MAX);
    let mut room = [0; FRAME_MAX];
    assert_eq!(encode(&&text[..MESSAGE_MAX - 6], &mut room), Ok(FRAME_MAX));
    assert!(encode(&&text[..MESSAGE_MAX - 5], &mut room).is_err());
}

#[test]
fn names_are_cut_at_a_letter() {
    let long = "é".repeat(IDENTITY_MAX);
    assert_eq!(Name::new(&long).as_str(), "é".repeat(IDENTITY_MAX / 2));
    let odd = format!("x{long}");
    assert_eq!(Name::new(&odd).as_str().len(), IDENTITY_MAX - 1);
    assert_eq!(Name::joined("a", "b").as_str(), "a b");
    assert_eq!(Name::joined("a", &long).as_str().len(), IDENTITY_MAX);
    assert_eq!(Name::joined(&long, "b").as_str().len(), IDENTITY_MAX);
    assert_eq!(Name::new("").as_str(), "");
}

#[test]
fn a_name_that_is_too_long_is_refused() {
    // A greeting with a longer name, from a board that does not keep to the document.
    let mut bytes = [0; MESSAGE_MAX];
    for (length, fits) in [(IDENTITY_MAX, true), (IDENTITY_MAX + 1, false)] {
        let text = "x".repeat(length);
        let greeting = (4u8, (1u16, text.as_str(), 0u16, 0u32, 0u16, false));
        let plain = postcard::to_slice(&greeting, &mut bytes).unwrap();
        assert_eq!(
            postcard::from_bytes::<Answer>(plain).is_ok(),
            fits,
            "{length}"
        );
    }
}

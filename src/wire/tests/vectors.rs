//! `tests/data/wire_vectors.txt`: the bytes of messages, for both sides of the link and for other
//! languages.
//!
//! `WRITE_WIRE_VECTORS=1 cargo test -p trimproof-wire vectors` writes the file anew; a diff is a
//! change of the protocol.

use super::joined;
use crate::tests::{frame_of, hex, longest_settings, read};
use crate::{
    Answer, Begin, Begun, Greeting, Hello, Name, Refusal, Request, Sample, TickCommand, hash_of,
};
use trimproof_controller::Settings;
use trimproof_io::{
    AxisCommand, AxisTelemetry, CurrentLevel, Fault, Faults, Inputs, Outputs, State, Switches,
};

const HEAD: &str = "\
# Bytes of messages: see docs/guides/wire.md.
# Per vector: its name; `to` who reads it; the message in words; the message's bytes (without the CRC); the whole frame
# with its zero byte. Written by a test of src/wire, which also compares it.
# Frames under `refused` must be answered by nothing and change nothing; their words say why.
";

pub(super) enum Message {
    ToBoard(Request),
    ToHarness(Answer),
}

/// Every vector: name, words, message.
pub(super) fn messages() -> Vec<(&'static str, &'static str, Message)> {
    use Message::{ToBoard, ToHarness};
    let example = Settings::example();
    let begin = |run, allow_motion, silence_ms, settings| {
        ToBoard(Request::Begin(Begin {
            run,
            allow_motion,
            silence_ms,
            settings,
        }))
    };
    let sample = |run, inputs| ToBoard(Request::Sample(Sample { run, inputs }));
    let command =
        |run, tick, outputs| ToHarness(Answer::Command(TickCommand { run, tick, outputs }));
    let refused = |refusal| ToHarness(Answer::Refused(refusal));
    vec![
        (
            "hello",
            "hello, version 1",
            ToBoard(Request::Hello(Hello { version: 1 })),
        ),
        (
            "hello_other_version",
            "hello, version 300",
            ToBoard(Request::Hello(Hello { version: 300 })),
        ),
        (
            "begin_example",
            "begin run 1, no motion, silence 100 ms, the example settings of docs/guides/wire.md",
            begin(1, false, 100, example),
        ),
        (
            "begin_longest",
            "begin run 65535, motion allowed, silence 65535 ms, every setting at its longest: u8, u16 and u32 all ones, i32 least",
            begin(u16::MAX, true, u16::MAX, longest_settings()),
        ),
        (
            "sample_zero",
            "sample of run 0: everything 0, every switch open",
            sample(0, Inputs::default()),
        ),
        (
            "sample_worked",
            "sample of run 1, tick 1000: pitch 2048, roll 2100 counts, hat aft and force trim closed, 24000 mV",
            sample(
                1,
                Inputs {
                    tick: 1000,
                    sensor_counts: [2048, 2100],
                    switches: Switches {
                        hat_aft: true,
                        force_trim: true,
                        ..Switches::default()
                    },
                    supply_mv: 24_000,
                },
            ),
        ),
        (
            "sample_ones",
            "sample of run 255: tick, counts and millivolts all ones, every switch closed",
            sample(
                255,
                Inputs {
                    tick: u32::MAX,
                    sensor_counts: [u16::MAX; 2],
                    switches: Switches {
                        release: true,
                        hat_fore: true,
                        hat_aft: true,
                        hat_left: true,
                        hat_right: true,
                        force_trim: true,
                    },
                    supply_mv: u16::MAX,
                },
            ),
        ),
        ("trip", "trip", ToBoard(Request::Trip)),
        ("end", "end of run 515", ToBoard(Request::End { run: 515 })),
        (
            "greeting",
            "greeting, version 1, `controller board`, 500 Hz, settings hash 01020304, run 7, with motors",
            ToHarness(Answer::Greeting(Greeting {
                version: 1,
                identity: Name::new("controller board"),
                tick_hz: 500,
                settings_hash: 0x0102_0304,
                run: 7,
                has_motors: true,
            })),
        ),
        (
            "begun_example",
            "begun run 1, hash of the example settings",
            ToHarness(Answer::Begun(Begun {
                run: 1,
                settings_hash: hash_of(&example),
            })),
        ),
        (
            "command_zero",
            "command of run 0, tick 0: limp, no fault, everything off and 0",
            command(0, 0, Outputs::default()),
        ),
        (
            "command_worked",
            "command of run 1, tick 1000: nudging, advice supply_low; pitch enabled at run current, rate 183251937, \
             joystick -5242, stick -4000, drive -3900, reference -3900; roll enabled at hold current, rate 0, joystick 0, \
             stick 12, drive 0, reference 0",
            command(1, 1000, worked_outputs()),
        ),
        (
            "command_differences",
            "command of run 255, tick 65535: tripped, every fault; pitch home line, rate least, joystick least, stick \
             least, drive greatest, reference least (differences modulo 2^32); roll all off, rate greatest, joystick \
             32767, stick greatest, drive least, reference greatest",
            command(255, u16::MAX, extreme_outputs()),
        ),
        ("tripped", "tripped", ToHarness(Answer::Tripped)),
        (
            "ended",
            "ended run 515",
            ToHarness(Answer::Ended { run: 515 }),
        ),
        (
            "refused_settings",
            "refused: the settings",
            refused(Refusal::Settings),
        ),
        (
            "refused_not_begun",
            "refused: no run has begun",
            refused(Refusal::NotBegun),
        ),
        (
            "refused_tripped",
            "refused: tripped by a request",
            refused(Refusal::Tripped { by_silence: false }),
        ),
        (
            "refused_silence",
            "refused: tripped by silence",
            refused(Refusal::Tripped { by_silence: true }),
        ),
        (
            "refused_ended",
            "refused: the run is over",
            refused(Refusal::Ended),
        ),
    ]
}

fn worked_outputs() -> Outputs {
    let mut faults = Faults::default();
    faults.set(Fault::SupplyLow, true);
    joined(
        [
            (
                AxisCommand {
                    enable: true,
                    step_rate: 183_251_937,
                    current: CurrentLevel::Run,
                    joystick: -5242,
                    ..AxisCommand::default()
                },
                AxisTelemetry {
                    stick_mdeg: -4000,
                    reference_mdeg: -3900,
                    drive_mdeg: -3900,
                },
            ),
            (
                AxisCommand {
                    enable: true,
                    current: CurrentLevel::Hold,
                    ..AxisCommand::default()
                },
                AxisTelemetry {
                    stick_mdeg: 12,
                    ..AxisTelemetry::default()
                },
            ),
        ],
        State::Nudging,
        faults,
    )
}

fn extreme_outputs() -> Outputs {
    let mut faults = Faults::default();
    for fault in Fault::ALL {
        faults.set(fault, true);
    }
    joined(
        [
            (
                AxisCommand {
                    home: true,
                    step_rate: i32::MIN,
                    joystick: -i16::MAX,
                    ..AxisCommand::default()
                },
                AxisTelemetry {
                    stick_mdeg: i32::MIN,
                    reference_mdeg: i32::MIN,
                    drive_mdeg: i32::MAX,
                },
            ),
            (
                AxisCommand {
                    step_rate: i32::MAX,
                    joystick: i16::MAX,
                    ..AxisCommand::default()
                },
                AxisTelemetry {
                    stick_mdeg: i32::MAX,
                    reference_mdeg: i32::MAX,
                    drive_mdeg: i32::MIN,
                },
            ),
        ],
        State::Tripped,
        faults,
    )
}

/// Frames that must be refused: name, why, bytes.
fn refused_frames() -> Vec<(&'static str, &'static str, Vec<u8>)> {
    let trip = frame_of(&Request::Trip);
    let mut flipped = trip.clone();
    flipped[1] ^= 1;
    vec![
        (
            "bad_crc",
            "trip with the least bit of its number flipped",
            flipped,
        ),
        (
            "bad_coding",
            "a code byte that points behind the frame's end",
            vec![9, 3, 0],
        ),
        (
            "too_short",
            "three bytes, shorter than a CRC",
            vec![4, 1, 2, 3, 0],
        ),
        // CRC-32 of 09 as the CRC of any byte is made; the test below checks that it is the message
        // that is refused.
        (
            "unknown_number",
            "request number 9 with its right CRC",
            frame_of(&9u8),
        ),
        (
            "more_behind",
            "trip and one byte more with their right CRC",
            frame_of(&(3u8, 0u8)),
        ),
    ]
}

fn message_of(frame: &[u8]) -> Vec<u8> {
    let mut plain = frame[..frame.len() - 1].to_vec();
    let length = cobs::decode_in_place(&mut plain).unwrap();
    plain[..length - 4].to_vec()
}

fn text() -> String {
    let mut text = String::from(HEAD);
    for (name, words, message) in messages() {
        let (to, frame) = match message {
            Message::ToBoard(request) => ("board", frame_of(&request)),
            Message::ToHarness(answer) => ("harness", frame_of(&answer)),
        };
        let plain = hex(&message_of(&frame));
        let frame = hex(&frame);
        text += &format!(
            "\nname    {name}\nto      {to}\nmeans   {words}\nmessage {plain}\nframe   {frame}\n"
        );
    }
    for (name, words, frame) in refused_frames() {
        let frame = hex(&frame);
        text += &format!("\nname    {name}\nto      board\nrefused {words}\nframe   {frame}\n");
    }
    text
}

fn file() -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/wire_vectors.txt")
}

fn bytes_of(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2)
        .map(|at| u8::from_str_radix(&hex[2 * at..2 * at + 2], 16).unwrap())
        .collect()
}

#[test]
fn the_file_of_vectors_is_what_is_encoded() {
    let text = text();
    if std::env::var_os("WRITE_WIRE_VECTORS").is_some() {
        std::fs::write(file(), &text).unwrap();
    }
    let stands = std::fs::read_to_string(file()).unwrap();
    for (stands, made) in stands.lines().zip(text.lines()) {
        assert_eq!(stands, made);
    }
    assert_eq!(stands, text);
}

#[test]
fn the_file_of_vectors_is_decoded_to_its_messages() {
    let stands = std::fs::read_to_string(file()).unwrap();
    let mut known = messages();
    let mut refused = 0;
    for block in stands.split("\n\n").skip(1) {
        let field = |key: &str| {
            block
                .lines()
                .find_map(|line| line.strip_prefix(key))
                .map(str::trim)
        };
        let name = field("name").unwrap();
        let frame = bytes_of(field("frame").unwrap());
        if field("refused").is_some() {
            let found = read::<Request>(&frame);
            assert!(matches!(found[..], [Err(_)]), "{name}: {found:?}");
            refused += 1;
            continue;
        }
        let at = known.iter().position(|(known, ..)| *known == name).unwrap();
        match known.remove(at).2 {
            Message::ToBoard(request) => {
                assert_eq!(field("to"), Some("board"), "{name}");
                assert_eq!(read::<Request>(&frame), [Ok(request)], "{name}");
            }
            Message::ToHarness(answer) => {
                assert_eq!(field("to"), Some("harness"), "{name}");
                assert_eq!(read::<Answer>(&frame), [Ok(answer)], "{name}");
            }
        }
    }
    assert!(known.is_empty());
    assert_eq!(refused, refused_frames().len());
}

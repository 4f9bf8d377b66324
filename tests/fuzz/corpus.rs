//! Writes the seeds: `corpus FOLDER` makes one small file per kind of message and of trouble below
//! FOLDER/decoder and FOLDER/hello.

mod framed;

use framed::framed;
use trimproof_controller::Settings;
use trimproof_io::{Inputs, Outputs};
use trimproof_wire::{
    Answer, Begin, Begun, FRAME_MAX, Greeting, Hello, Name, Refusal, Request, Sample, TickCommand,
    VERSION, encode,
};

fn main() -> std::io::Result<()> {
    let folder = std::env::args().nth(1).expect("usage: corpus FOLDER");
    let begin = |run| {
        Request::Begin(Begin {
            run,
            allow_motion: true,
            silence_ms: 100,
            settings: Settings::example(),
        })
    };
    let sample = |run, tick| {
        Request::Sample(Sample {
            run,
            inputs: Inputs {
                tick,
                sensor_counts: [2048, 2100],
                supply_mv: 24_000,
                ..Inputs::default()
            },
        })
    };
    let requests = [
        ("hello", Request::Hello(Hello { version: VERSION })),
        ("begin", begin(1)),
        ("sample", sample(1, 0)),
        ("trip", Request::Trip),
        ("end", Request::End { run: 1 }),
    ];
    let answers = [
        (
            "greeting",
            Answer::Greeting(Greeting {
                version: VERSION,
                identity: Name::new("a board"),
                tick_hz: 500,
                settings_hash: 7,
                run: 1,
                has_motors: true,
            }),
        ),
        (
            "begun",
            Answer::Begun(Begun {
                run: 1,
                settings_hash: 7,
            }),
        ),
        (
            "command",
            Answer::Command(TickCommand {
                run: 1,
                tick: 0,
                outputs: Outputs::default(),
            }),
        ),
        ("tripped", Answer::Tripped),
        ("ended", Answer::Ended { run: 1 }),
        (
            "refused",
            Answer::Refused(Refusal::Tripped { by_silence: true }),
        ),
    ];
    let file = |kind: &str, name: &str, bytes: &[u8]| {
        let folder = format!("{folder}/{kind}");
        std::fs::create_dir_all(&folder)?;
        std::fs::write(format!("{folder}/{name}"), bytes)
    };
    for (name, request) in &requests {
        file("decoder", name, &frame_of(request))?;
        file("decoder", &format!("{name}_bare"), &message_of(request))?;
    }
    for (name, answer) in &answers {
        file("decoder", name, &frame_of(answer))?;
        file("decoder", &format!("{name}_bare"), &message_of(answer))?;
    }
    file("decoder", "zeros", &[0; 5])?;
    file("decoder", "too_long", &[1; FRAME_MAX + 1])?;
    file("decoder", "cut", &frame_of(&begin(1))[..40])?;

    let records = |list: &[(Request, u8)]| {
        let mut bytes = vec![1];
        for (request, wait) in list {
            let message = message_of(request);
            // A record's length is a byte.
            assert!(message.len() < 256);
            bytes.extend([message.len() as u8, *wait]);
            bytes.extend(message);
        }
        bytes
    };
    let run = [(begin(1), 0), (sample(1, 0), 2), (sample(1, 1), 2)];
    file("hello", "run", &records(&run))?;
    let then = |more: &[(Request, u8)]| records(&[&run[..], more].concat());
    file(
        "hello",
        "repeated",
        &then(&[(sample(1, 1), 20), (sample(1, 2), 2)]),
    )?;
    file("hello", "silent", &then(&[(sample(1, 2), 120)]))?;
    file(
        "hello",
        "trip",
        &then(&[(Request::Trip, 1), (sample(1, 2), 1), (begin(1), 1)]),
    )?;
    file(
        "hello",
        "next",
        &then(&[(begin(2), 1), (sample(1, 2), 1), (sample(2, 2), 1)]),
    )?;
    file(
        "hello",
        "end",
        &then(&[(Request::End { run: 1 }, 1), (sample(1, 2), 1)]),
    )?;
    file(
        "hello",
        "gap",
        &then(&[(sample(1, 900), 1), (sample(1, 2), 1)]),
    )?;
    let mut bytes = vec![0];
    for (request, _) in &run {
        bytes.extend(frame_of(request));
    }
    file("hello", "frames", &bytes)?;
    file("hello", "garbage", &[0, 5, 6, 7, 0, 0, 9, 255])
}

fn frame_of(message: &impl serde::Serialize) -> Vec<u8> {
    let mut frame = [0; FRAME_MAX];
    let length = encode(message, &mut frame).expect("the seeds fit a frame");
    let frame = frame[..length].to_vec();
    assert_eq!(frame, framed(&message_of(message)));
    frame
}

fn message_of(message: &impl serde::Serialize) -> Vec<u8> {
    let mut bytes = [0; FRAME_MAX];
    postcard::to_slice(message, &mut bytes)
        .expect("the seeds fit a message")
        .to_vec()
}

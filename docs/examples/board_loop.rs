//! The loop of a board: bytes in, bytes out, pins in between. Here the line is a list of bytes and
//! the motors are counted.
//!
//! Run it with `cargo run --example board_loop`.

use trimproof_board::{Board, BoardAbout, Pins};
use trimproof_controller::Settings;
use trimproof_io::{Command, Inputs};
use trimproof_wire::{Begin, FRAME_MAX, Request, Sample, encode};

/// Pins of a board without motors.
#[derive(Default)]
struct Counted {
    ticks: u32,
}

impl Pins for Counted {
    fn apply(&mut self, _command: &Command) {
        unreachable!("motion was not allowed");
    }

    fn off(&mut self) {}

    fn tick_done(&mut self) {
        self.ticks += 1;
    }
}

fn main() {
    let mut board = Board::new(BoardAbout {
        board: "example",
        tick_hz: 0,
        has_motors: false,
    });
    let mut pins = Counted::default();
    let mut answered = 0;
    for request in requests() {
        let mut frame = [0; FRAME_MAX];
        let length = encode(&request, &mut frame).expect("every request fits a frame");
        // The five lines of a board's main loop: take a byte, send what comes of it, watch the
        // clock.
        for byte in &frame[..length] {
            let now_ms = 0;
            if let Some(answer) = board.take(*byte, now_ms, &mut pins) {
                answered += answer.len();
            }
            board.watch(now_ms, &mut pins);
        }
    }
    println!("{} ticks, {answered} bytes answered", pins.ticks);
}

fn requests() -> Vec<Request> {
    let mut requests = vec![Request::Begin(Begin {
        run: 1,
        allow_motion: false,
        silence_ms: 100,
        settings: Settings::example(),
    })];
    requests.extend((0..500).map(|tick| {
        Request::Sample(Sample {
            run: 1,
            inputs: Inputs {
                tick,
                sensor_counts: [2048; 2],
                supply_mv: 24_000,
                ..Inputs::default()
            },
        })
    }));
    requests.push(Request::End { run: 1 });
    requests
}

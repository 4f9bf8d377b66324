//! Any bytes, and any messages in right frames, into a board that has motors: nothing panics, and
//! motors move only in a run that allows it and is on.
#![no_main]

mod framed;

use framed::framed;
use libfuzzer_sys::fuzz_target;
use trimproof_board::{Board, BoardAbout, Pins};
use trimproof_io::Command;
use trimproof_wire::{Answer, Decoder, FRAME_MAX};

#[derive(Default)]
struct Counted {
    applied: u32,
    done: u32,
}

impl Pins for Counted {
    fn apply(&mut self, _: &Command) {
        self.applied += 1;
    }
    fn off(&mut self) {}
    fn tick_done(&mut self) {
        self.done += 1;
    }
}

const ABOUT: BoardAbout = BoardAbout {
    board: "fuzzed",
    tick_hz: 0,
    has_motors: true,
};

fuzz_target!(|bytes: &[u8]| {
    let mut board = Board::new(ABOUT);
    let mut pins = Counted::default();
    let mut now_ms = u32::MAX - 50;
    // First byte: as they come, or as records (length, wait in ms, message) that get right frames.
    // The hello in front shows that the board was alive before.
    let Some((kind, bytes)) = bytes.split_first() else {
        return;
    };
    feed(&mut board, &framed(&[0, 1]), &mut now_ms, &mut pins);
    if kind % 2 == 0 {
        feed(&mut board, bytes, &mut now_ms, &mut pins);
    } else {
        let mut rest = bytes;
        while let [length, wait, tail @ ..] = rest {
            let (message, tail) = tail.split_at(usize::from(*length).min(tail.len()));
            now_ms = now_ms.wrapping_add((*wait).into());
            board.watch(now_ms, &mut pins);
            feed(&mut board, &framed(message), &mut now_ms, &mut pins);
            rest = tail;
        }
    }
    assert!(pins.applied <= pins.done);
    // Whatever came, a zero byte ends it, a trip switches the motors off and a hello is answered.
    feed(&mut board, &[0], &mut now_ms, &mut pins);
    assert_eq!(feed(&mut board, &framed(&[3]), &mut now_ms, &mut pins), 1);
    assert!(!board.may_move());
    assert_eq!(
        feed(&mut board, &framed(&[0, 1]), &mut now_ms, &mut pins),
        1
    );
});

/// Feeds bytes; returns how many frames came back. Each must be an answer, and what is applied must
/// be allowed.
fn feed(board: &mut Board, bytes: &[u8], now_ms: &mut u32, pins: &mut Counted) -> u32 {
    let mut answers = 0;
    for byte in bytes {
        let before = pins.applied;
        let frame: Option<Vec<u8>> = board.take(*byte, *now_ms, pins).map(<[u8]>::to_vec);
        assert!(pins.applied == before || board.may_move());
        if let Some(frame) = frame {
            assert!(frame.len() <= FRAME_MAX);
            let mut decoder = Decoder::new();
            let answer = frame.iter().find_map(|byte| decoder.take::<Answer>(*byte));
            assert!(matches!(answer, Some(Ok(_))), "{answer:?}");
            answers += 1;
        }
    }
    answers
}

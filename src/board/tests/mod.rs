//! The loop against what a link can do to it.

mod any_sequence;
mod begin;
mod link;
mod motion;
mod silence;

use crate::{Board, BoardAbout, Pins};
use trimproof_controller::Settings;
use trimproof_io::{Inputs, Outputs};
use trimproof_wire::{
    Answer, Begin, Begun, Decoder, FRAME_MAX, Hello, Request, Sample, VERSION, encode, hash_of,
};

const WITH_MOTORS: BoardAbout = BoardAbout {
    board: "test",
    tick_hz: 500,
    has_motors: true,
};

/// What reached the pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Event {
    Apply(trimproof_io::Command),
    Off,
    Done,
}

#[derive(Default)]
struct Recorded(Vec<Event>);

impl Pins for Recorded {
    fn apply(&mut self, command: &trimproof_io::Command) {
        self.0.push(Event::Apply(*command));
    }
    fn off(&mut self) {
        self.0.push(Event::Off);
    }
    fn tick_done(&mut self) {
        self.0.push(Event::Done);
    }
}

impl Recorded {
    fn applied(&self) -> usize {
        let is = |event: &&Event| matches!(event, Event::Apply(_));
        self.0.iter().filter(is).count()
    }
    fn done(&self) -> usize {
        self.0.iter().filter(|event| **event == Event::Done).count()
    }
}

/// Something that happens to a board.
type Deed = fn(&mut BoardFixture);

/// A board with its pins and its clock.
struct BoardFixture {
    board: Board,
    pins: Recorded,
    now_ms: u32,
}

impl BoardFixture {
    fn new(about: BoardAbout) -> Self {
        Self {
            board: Board::new(about),
            pins: Recorded::default(),
            now_ms: 0,
        }
    }

    /// A board with motors in a run that allows motion.
    fn moving() -> Self {
        let mut fixture = Self::new(WITH_MOTORS);
        assert_eq!(fixture.ask(&begin(1)), Some(begun(1)));
        fixture.pins.0.clear();
        fixture
    }

    /// Every frame that comes back for these bytes.
    fn bytes(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut frames = Vec::new();
        for byte in bytes {
            let frame = self.board.take(*byte, self.now_ms, &mut self.pins);
            frames.extend(frame.map(<[u8]>::to_vec));
        }
        frames
    }

    /// The answer to a request, if there is one.
    fn ask(&mut self, request: &Request) -> Option<Answer> {
        let frames = self.bytes(&frame_of(request));
        assert!(frames.len() <= 1);
        frames.first().map(|frame| answer_in(frame))
    }

    fn wait(&mut self, ms: u32) {
        self.now_ms = self.now_ms.wrapping_add(ms);
        self.board.watch(self.now_ms, &mut self.pins);
    }

    fn outputs(&mut self, run: u8, tick: u32) -> Option<Outputs> {
        match self.ask(&sample(run, tick)) {
            Some(Answer::Command(command)) => {
                assert_eq!((command.run, command.tick), (run, tick as u16));
                Some(command.outputs)
            }
            _ => None,
        }
    }
}

fn frame_of(request: &Request) -> Vec<u8> {
    let mut frame = [0; FRAME_MAX];
    let length = encode(request, &mut frame).unwrap();
    frame[..length].to_vec()
}

fn answer_in(frame: &[u8]) -> Answer {
    let mut decoder = Decoder::new();
    let found: Vec<_> = frame
        .iter()
        .filter_map(|byte| decoder.take(*byte))
        .collect();
    assert!(matches!(found[..], [Ok(_)]), "{found:?}");
    found[0].unwrap()
}

fn hello() -> Request {
    Request::Hello(Hello { version: VERSION })
}

fn begin(run: u16) -> Request {
    begin_with(run, true, 100)
}

fn begin_with(run: u16, allow_motion: bool, silence_ms: u16) -> Request {
    Request::Begin(Begin {
        run,
        allow_motion,
        silence_ms,
        settings: Settings::example(),
    })
}

fn begin_refused(run: u16) -> Request {
    Request::Begin(Begin {
        run,
        allow_motion: true,
        silence_ms: 100,
        settings: Settings {
            tick_hz: 0,
            ..Settings::example()
        },
    })
}

fn begun(run: u16) -> Answer {
    Answer::Begun(Begun {
        run,
        settings_hash: hash_of(&Settings::example()),
    })
}

/// A stick at rest with supply and force trim on, that moves a little with the ticks.
fn inputs(tick: u32) -> Inputs {
    let mut inputs = Inputs {
        tick,
        sensor_counts: [2300 + (tick % 7) as u16, 1900],
        supply_mv: 24_000,
        ..Inputs::default()
    };
    inputs.switches.force_trim = true;
    inputs
}

fn sample(run: u8, tick: u32) -> Request {
    Request::Sample(Sample {
        run,
        inputs: inputs(tick),
    })
}

//! The board's side of the link: takes bytes in, runs the controller, gives frames back.
//!
//! `no_std`, no heap, no clock, no hardware: bytes, the time and the pins are arguments, so the
//! same loop runs in every firmware image and in the harness' tests.
//!
//! ```
//! use trimproof_board::{BoardAbout, Board, Pins};
//!
//! struct NoMotors;
//! impl Pins for NoMotors {
//!     fn apply(&mut self, _command: &trimproof_io::Command) {}
//!     fn off(&mut self) {}
//!     fn tick_done(&mut self) {}
//! }
//!
//! let mut board = Board::new(BoardAbout { board: "bench", tick_hz: 0, has_motors: false });
//! // A zero byte ends a frame; nothing was in it, so nothing is answered.
//! assert!(board.take(0, 0, &mut NoMotors).is_none());
//! ```
#![cfg_attr(not(test), no_std)]
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::unreachable
    )
)]

#[cfg(test)]
mod tests;

use trimproof_controller::Controller;
use trimproof_io as io;
use trimproof_io::{Inputs, Outputs};
use trimproof_wire::{
    Answer, Begin, Begun, Decoder, FRAME_MAX, Greeting, Name, Refusal, Request, SILENCE_MAX_MS,
    Sample, TickCommand, VERSION, encode, hash_of,
};

/// What the controller's command does on a board. In an emulated board without motors all of it
/// does nothing.
pub trait Pins {
    /// Puts a command on the drivers' lines and the step generators; called only while the run
    /// allows motion.
    fn apply(&mut self, command: &io::Command);
    /// Switches the motors off, at once.
    fn off(&mut self);
    /// A tick has been completed: the only place where a watchdog is fed.
    fn tick_done(&mut self);
}

/// What a board reports about itself.
#[derive(Clone, Copy, Debug)]
pub struct BoardAbout {
    /// Kind of board: `cortex-m3`.
    pub board: &'static str,
    /// Control ticks a second that it runs at by itself; 0: as many as it is asked for.
    pub tick_hz: u16,
    /// Whether it has motors that could move.
    pub has_motors: bool,
}

// Controller and two frames: it must leave most of a small microcontroller's 8 KiB alone.
const _: () = assert!(size_of::<Board>() <= 2048);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Status {
    Running,
    Tripped { by_silence: bool },
    Ended,
}

struct BoardRun {
    number: u16,
    settings_hash: u32,
    controller: Controller,
    allow_motion: bool,
    silence_ms: u32,
    status: Status,
    /// The last tick and what was answered.
    last: Option<(u32, Outputs)>,
}

impl BoardRun {
    /// Whether nothing has come of it yet: a second `Begin` with its number is a repetition whose
    /// answer was lost.
    fn untouched(&self) -> bool {
        self.last.is_none()
            && matches!(
                self.status,
                Status::Running | Status::Tripped { by_silence: true }
            )
    }
}

/// A board at its end of a link.
pub struct Board {
    about: BoardAbout,
    decoder: Decoder,
    /// Number of the last `Begin` that counted.
    newest: Option<u16>,
    run: Option<BoardRun>,
    heard_ms: u32,
    frame: [u8; FRAME_MAX],
}

impl Board {
    /// A board that has just started.
    pub const fn new(about: BoardAbout) -> Self {
        Self {
            about,
            decoder: Decoder::new(),
            newest: None,
            run: None,
            heard_ms: 0,
            frame: [0; FRAME_MAX],
        }
    }

    /// Takes in one byte at `now_ms` (any clock that counts milliseconds and wraps, the same as for
    /// `watch`); gives the frame to be sent, if one is due.
    #[inline(never)]
    pub fn take(&mut self, byte: u8, now_ms: u32, pins: &mut impl Pins) -> Option<&[u8]> {
        let request = self.decoder.take::<Request>(byte)?.ok()?;
        let answer = self.answer(&request, now_ms, pins)?;
        let length = encode(&answer, &mut self.frame).ok()?;
        self.frame.get(..length)
    }

    /// To be called at least every few milliseconds: trips a run that allows motion and has heard
    /// nothing for its `silence_ms`.
    pub fn watch(&mut self, now_ms: u32, pins: &mut impl Pins) {
        if let Some(run) = &mut self.run
            && run.allow_motion
            && run.status == Status::Running
            && now_ms.wrapping_sub(self.heard_ms) >= run.silence_ms
        {
            run.status = Status::Tripped { by_silence: true };
            pins.off();
        }
    }

    /// Whether the motors may be on.
    pub fn may_move(&self) -> bool {
        self.run
            .as_ref()
            .is_some_and(|run| run.allow_motion && run.status == Status::Running)
    }

    #[inline(never)]
    fn answer(&mut self, request: &Request, now_ms: u32, pins: &mut impl Pins) -> Option<Answer> {
        match request {
            Request::Hello(_) => Some(Answer::Greeting(self.greeting())),
            Request::Begin(begin) => self.begin(begin, now_ms, pins),
            Request::Sample(sample) => self.tick(sample, now_ms, pins),
            Request::Trip => {
                pins.off();
                if let Some(run) = &mut self.run {
                    run.status = Status::Tripped { by_silence: false };
                }
                Some(Answer::Tripped)
            }
            Request::End { run } => self.end(*run, pins),
        }
    }

    #[inline(never)]
    fn greeting(&self) -> Greeting {
        Greeting {
            version: VERSION,
            identity: Name::joined(Controller::identity(), self.about.board),
            tick_hz: self.about.tick_hz,
            settings_hash: self.run.as_ref().map_or(0, |run| run.settings_hash),
            run: self.newest.unwrap_or(0),
            has_motors: self.about.has_motors,
        }
    }

    #[inline(never)]
    fn begin(&mut self, begin: &Begin, now_ms: u32, pins: &mut impl Pins) -> Option<Answer> {
        if let Some(newest) = self.newest {
            let newer = begin.run.wrapping_sub(newest) as i16;
            let again = newer == 0 && self.run.as_ref().is_none_or(BoardRun::untouched);
            if newer <= 0 && !again {
                // A late repetition: it must not undo a trip or begin a controller in mid-run.
                return None;
            }
        }
        self.newest = Some(begin.run);
        pins.off();
        let Ok(controller) = Controller::new(begin.settings) else {
            self.run = None;
            return Some(Answer::Refused(Refusal::Settings));
        };
        self.heard_ms = now_ms;
        let settings_hash = hash_of(&begin.settings);
        self.run = Some(BoardRun {
            number: begin.run,
            settings_hash,
            controller,
            allow_motion: begin.allow_motion && self.about.has_motors,
            silence_ms: begin.silence_ms.min(SILENCE_MAX_MS).into(),
            status: Status::Running,
            last: None,
        });
        Some(Answer::Begun(Begun {
            run: begin.run,
            settings_hash,
        }))
    }

    #[inline(never)]
    fn tick(&mut self, sample: &Sample, now_ms: u32, pins: &mut impl Pins) -> Option<Answer> {
        // Silence counts up to this sample, however late `watch` is called.
        self.watch(now_ms, pins);
        let Some(run) = &mut self.run else {
            return Some(Answer::Refused(Refusal::NotBegun));
        };
        if sample.run != run.number as u8 {
            return None;
        }
        let Inputs { tick, .. } = sample.inputs;
        match run.status {
            Status::Running => {}
            Status::Tripped { by_silence } => {
                return Some(Answer::Refused(Refusal::Tripped { by_silence }));
            }
            Status::Ended => return Some(Answer::Refused(Refusal::Ended)),
        }
        let outputs = match run.last {
            // Asked again: the answer was lost on its way.
            Some((last, outputs)) if last == tick => outputs,
            // A late repetition of what has been answered.
            Some((last, _)) if (tick.wrapping_sub(last) as i32) < 0 => return None,
            _ => {
                let outputs = run.controller.tick(&sample.inputs);
                run.last = Some((tick, outputs));
                if run.allow_motion {
                    pins.apply(&outputs.command);
                }
                pins.tick_done();
                outputs
            }
        };
        // A late repetition, above, is no sign of life.
        self.heard_ms = now_ms;
        Some(Answer::Command(TickCommand {
            run: sample.run,
            tick: tick as u16,
            outputs,
        }))
    }

    fn end(&mut self, number: u16, pins: &mut impl Pins) -> Option<Answer> {
        if let Some(run) = &mut self.run {
            if run.number != number {
                return None;
            }
            run.status = Status::Ended;
        }
        pins.off();
        Some(Answer::Ended { run: number })
    }
}

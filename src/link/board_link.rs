//! An open line to a board: greeting, runs, ticks and trips.

use crate::error::LinkError;
use crate::exchange::{Bounded, Exchange, Patience};
use crate::frames::FrameLog;
use crate::line::Line;
use std::sync::atomic::AtomicBool;
use std::time::Duration;
use trimproof_controller::Settings;
use trimproof_harness::run::Traffic;
use trimproof_io::{Inputs, Outputs};
use trimproof_wire::{Answer, Begin, Greeting, Hello, Refusal, Request, Sample, VERSION, hash_of};

/// Silence after which a board that may move trips by itself, ms.
pub(crate) const SILENCE_MS: u16 = 100;

/// An open line to a board that has greeted.
pub struct Link {
    exchange: Exchange,
    patience: Patience,
    greeting: Greeting,
    allow_motion: bool,
}

impl Link {
    /// Says hello over `line`, for as long as `hello` says, and hears who is there.
    ///
    /// # Errors
    /// Nobody answers, or a board of another version of the protocol.
    pub fn open(
        line: Box<dyn Line>,
        patience: Patience,
        hello: Patience,
        log: Option<&FrameLog>,
    ) -> Result<Self, LinkError> {
        Self::open_until(line, patience, hello, log, None)
    }

    /// As [`Link::open`]; when `stop` is set, no answer is waited for any longer, now or later, but
    /// that to a trip or to the end of a run.
    ///
    /// # Errors
    /// As [`Link::open`]; `Stopped` if `stop` is set before the board has greeted.
    pub fn open_until(
        line: Box<dyn Line>,
        patience: Patience,
        hello: Patience,
        log: Option<&FrameLog>,
        stop: Option<&'static AtomicBool>,
    ) -> Result<Self, LinkError> {
        let mut exchange = Exchange::new(line, log, stop);
        let greeting = greet(&mut exchange, hello)?;
        Ok(Self {
            exchange,
            patience,
            greeting,
            allow_motion: false,
        })
    }

    /// The same, but the board may energise its motors in a run.
    #[cfg_attr(not(feature = "serial"), allow(dead_code))]
    pub(crate) fn allowing_motion(mut self, allow: bool) -> Self {
        self.allow_motion = allow;
        self
    }

    /// What the board said of itself last.
    pub fn greeting(&self) -> &Greeting {
        &self.greeting
    }

    /// What it is.
    pub fn description(&self) -> String {
        self.exchange.description()
    }

    /// Traffic since the last call.
    pub fn take_traffic(&mut self) -> Traffic {
        self.exchange.take_counts()
    }

    /// Begins the next run; its number.
    ///
    /// # Errors
    /// The board does not answer, is of another version or tick rate, or has other settings than it
    /// was sent.
    pub fn begin(&mut self, settings: &Settings) -> Result<u16, LinkError> {
        // Anew each time: the board may have been reset, or be another one.
        self.greeting = greet(&mut self.exchange, self.patience)?;
        let board = self.greeting.tick_hz;
        if board != 0 && board != settings.tick_hz {
            return Err(LinkError::TickRate {
                board,
                rig: settings.tick_hz,
            });
        }
        let run = self.greeting.run.wrapping_add(1);
        let ours = hash_of(settings);
        let begin = Request::Begin(Begin {
            run,
            allow_motion: self.allow_motion,
            silence_ms: SILENCE_MS,
            settings: *settings,
        });
        self.exchange
            .ask(&begin, self.run_patience(), &|answer| match answer {
                Answer::Begun(begun) if begun.run == run && begun.settings_hash == ours => {
                    Some(Ok(run))
                }
                Answer::Begun(begun) if begun.run == run => Some(Err(LinkError::SettingsHash {
                    board: begun.settings_hash,
                    ours,
                })),
                Answer::Refused(Refusal::Settings) => Some(Err(LinkError::SettingsRefused)),
                _ => None,
            })
    }

    /// How long the answer to a request of a run is waited for. A board that may move trips by
    /// itself after [`SILENCE_MS`]: after that no repetition heals anything, and its trip must not
    /// wait for more of them.
    fn run_patience(&self) -> Bounded {
        if self.allow_motion {
            self.patience
                .within(Duration::from_millis(SILENCE_MS.into()))
        } else {
            self.patience.into()
        }
    }

    /// One tick of run `run`.
    ///
    /// # Errors
    /// The board does not answer, has been reset, or has tripped.
    pub fn tick(&mut self, run: u16, inputs: &Inputs) -> Result<Outputs, LinkError> {
        // Its least byte, as samples carry it.
        let run = run as u8;
        let sample = Request::Sample(Sample {
            run,
            inputs: *inputs,
        });
        self.exchange
            .ask(&sample, self.run_patience(), &|answer| match answer {
                Answer::Command(command)
                    if command.run == run && command.tick == inputs.tick as u16 =>
                {
                    Some(Ok(command.outputs))
                }
                Answer::Refused(Refusal::NotBegun) => Some(Err(LinkError::Reset)),
                Answer::Refused(Refusal::Tripped { by_silence }) => Some(Err(LinkError::Tripped {
                    by_silence: *by_silence,
                })),
                // We have not ended it: such a refusal is late, of the run before.
                _ => None,
            })
    }

    /// Ends run `run`.
    ///
    /// # Errors
    /// The board does not answer.
    pub fn end(&mut self, run: u16) -> Result<(), LinkError> {
        self.exchange.ask(
            &Request::End { run },
            self.patience.to_the_end(),
            &|answer| match answer {
                Answer::Ended { run: ended } if *ended == run => Some(Ok(())),
                _ => None,
            },
        )
    }

    /// Has the board switch its motors off.
    ///
    /// # Errors
    /// The board does not answer.
    pub fn trip(&mut self) -> Result<(), LinkError> {
        let tripped =
            self.exchange.ask(
                &Request::Trip,
                self.patience.to_the_end(),
                &|answer| match answer {
                    Answer::Tripped => Some(Ok(())),
                    _ => None,
                },
            );
        self.exchange.flush();
        tripped
    }

    pub(crate) fn traffic(&self) -> Traffic {
        self.exchange.counts().clone()
    }
}

fn greet(exchange: &mut Exchange, patience: Patience) -> Result<Greeting, LinkError> {
    let hello = Request::Hello(Hello { version: VERSION });
    exchange.ask(&hello, patience, &|answer| match answer {
        Answer::Greeting(greeting) if greeting.version == VERSION => Some(Ok(*greeting)),
        Answer::Greeting(greeting) => Some(Err(LinkError::OtherVersion {
            board: greeting.version,
            ours: VERSION,
        })),
        _ => None,
    })
}

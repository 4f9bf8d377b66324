//! A line with faults, for rehearsals. What comes of each stands in `docs/guides/link.md`.

use crate::line::Line;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;
use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use trimproof_wire::{Answer, Decoder, FRAME_MAX, encode};

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineFaultKind {
    /// One bit of the frame is turned over.
    FlipBit,
    /// The frame is lost.
    Lose,
    /// The frame comes twice.
    Double,
    /// The frame comes in two pieces.
    Split,
    /// The frame is held until the next one and comes with it in one piece.
    Merge,
    /// The frame is held and comes after the next one.
    Delay,
    /// Up to 40 bytes of anything come before the frame.
    Garbage,
    /// Nothing passes any more, either way.
    Silence,
    /// The board is a new one that has just started.
    Reset,
    /// The board's greetings name the next version of the protocol.
    OtherVersion,
    /// The board confirms settings with another hash.
    WrongSettingsHash,
    /// The board answers for the tick after the one that was asked for.
    WrongTick,
    /// The board sends anything without end.
    Babble,
}

/// Which frames faults meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Those to the board.
    ToBoard,
    /// Those from the board.
    FromBoard,
    /// All.
    Both,
}

/// Which faults, how often, since when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineFaults {
    /// What goes wrong.
    pub kind: LineFaultKind,
    /// With which frames.
    pub direction: Direction,
    /// Share of the frames that meet it, 0 to 1.
    pub share: f64,
    /// Frames of a direction that pass before the first.
    pub after: u64,
    /// Seed of what is left to chance.
    pub seed: u64,
}

/// A line whose frames meet faults.
pub struct FaultyLine {
    inner: Box<dyn Line>,
    faults: LineFaults,
    random: Pcg32,
    struck: Arc<AtomicU64>,
    /// What the board is exchanged for by a reset.
    fresh: Option<Box<dyn Line>>,
    to_board: Way,
    from_board: Way,
    /// Bytes from the board that are no whole frame yet.
    partial: Vec<u8>,
    /// Pieces that the harness has not read yet.
    pieces: VecDeque<Vec<u8>>,
}

#[derive(Default)]
struct Way {
    frames: u64,
    held: Option<Vec<u8>>,
}

impl FaultyLine {
    /// `inner` with faults.
    pub fn new(inner: Box<dyn Line>, faults: LineFaults) -> Self {
        Self {
            inner,
            faults,
            // A stream of its own, apart from sensors and lost ticks.
            random: Pcg32::new(faults.seed, 0x6661_756c),
            struck: Arc::default(),
            fresh: None,
            to_board: Way::default(),
            from_board: Way::default(),
            partial: Vec::new(),
            pieces: VecDeque::new(),
        }
    }

    /// With the board that a [`LineFaultKind::Reset`] puts in the place of the present one.
    pub fn with_fresh(mut self, fresh: Box<dyn Line>) -> Self {
        self.fresh = Some(fresh);
        self
    }

    /// How many frames have met a fault; goes on counting.
    pub fn struck(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.struck)
    }

    /// What becomes of a frame: pieces, in order.
    fn pieces_of(&mut self, frame: &[u8], out: bool) -> Vec<Vec<u8>> {
        let way = if out {
            &mut self.to_board
        } else {
            &mut self.from_board
        };
        way.frames += 1;
        let held = way.held.take();
        let due = way.frames > self.faults.after;
        let meant = match self.faults.direction {
            Direction::ToBoard => out,
            Direction::FromBoard => !out,
            Direction::Both => true,
        };
        let whole = frame.to_vec();
        if !(due && meant && self.chance()) {
            return joined(held, whole, self.faults.kind);
        }
        let pieces = match self.faults.kind {
            LineFaultKind::FlipBit => {
                let mut flipped = whole;
                let bit = self.below(flipped.len() * 8);
                flipped[bit / 8] ^= 1 << (bit % 8);
                vec![flipped]
            }
            LineFaultKind::Lose | LineFaultKind::Silence => Vec::new(),
            LineFaultKind::Double => vec![whole.clone(), whole],
            LineFaultKind::Split => {
                let at = self.below(whole.len());
                vec![whole[..at].to_vec(), whole[at..].to_vec()]
            }
            LineFaultKind::Merge | LineFaultKind::Delay if held.is_none() => {
                let way = if out {
                    &mut self.to_board
                } else {
                    &mut self.from_board
                };
                way.held = Some(whole);
                Vec::new()
            }
            LineFaultKind::Merge | LineFaultKind::Delay => joined(held, whole, self.faults.kind),
            LineFaultKind::Garbage => vec![self.garbage(), whole],
            LineFaultKind::Reset => {
                let Some(fresh) = self.fresh.take() else {
                    return vec![whole];
                };
                self.inner = fresh;
                vec![whole]
            }
            LineFaultKind::OtherVersion
            | LineFaultKind::WrongSettingsHash
            | LineFaultKind::WrongTick => match rewritten(frame, self.faults.kind) {
                Some(other) => vec![other],
                None => return vec![whole],
            },
            LineFaultKind::Babble => return vec![whole],
        };
        self.struck.fetch_add(1, Ordering::Relaxed);
        pieces
    }

    fn chance(&mut self) -> bool {
        // Draws a number only if it matters.
        self.faults.share >= 1.0
            || f64::from(self.random.next_u32()) < self.faults.share * 4_294_967_296.0
    }

    fn below(&mut self, limit: usize) -> usize {
        self.random.next_u32() as usize % limit.max(1)
    }

    fn garbage(&mut self) -> Vec<u8> {
        let length = 1 + self.below(40);
        (0..length).map(|_| self.random.next_u32() as u8).collect()
    }

    fn babbles(&self) -> bool {
        self.faults.kind == LineFaultKind::Babble && self.to_board.frames > self.faults.after
    }
}

impl Line for FaultyLine {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        for piece in self.pieces_of(bytes, true) {
            self.inner.write_all(&piece)?;
        }
        Ok(())
    }

    fn read(&mut self, into: &mut [u8], wait: Duration) -> io::Result<usize> {
        if self.babbles() {
            self.struck.fetch_add(1, Ordering::Relaxed);
            for place in into.iter_mut() {
                *place = self.random.next_u32() as u8;
            }
            return Ok(into.len());
        }
        let deadline = Instant::now() + wait;
        loop {
            if let Some(piece) = self.pieces.front_mut() {
                let count = into.len().min(piece.len());
                into[..count].copy_from_slice(&piece[..count]);
                piece.drain(..count);
                if piece.is_empty() {
                    self.pieces.pop_front();
                }
                if count > 0 {
                    return Ok(count);
                }
                continue;
            }
            let left = deadline.saturating_duration_since(Instant::now());
            let mut buffer = [0; 512];
            let count = self.inner.read(&mut buffer, left)?;
            if count == 0 {
                return Ok(0);
            }
            self.partial.extend(&buffer[..count]);
            while let Some(end) = self.partial.iter().position(|byte| *byte == 0) {
                let frame: Vec<u8> = self.partial.drain(..=end).collect();
                let pieces = self.pieces_of(&frame, false);
                self.pieces.extend(pieces);
            }
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }

    fn description(&self) -> String {
        format!("{} with faults", self.inner.description())
    }
}

/// What was held and what has come now.
fn joined(held: Option<Vec<u8>>, now: Vec<u8>, kind: LineFaultKind) -> Vec<Vec<u8>> {
    match held {
        None => vec![now],
        Some(held) if kind == LineFaultKind::Merge => vec![[held, now].concat()],
        Some(held) => vec![now, held],
    }
}

/// The frame with another content, if it is of the kind that is changed; its CRC is right.
fn rewritten(frame: &[u8], kind: LineFaultKind) -> Option<Vec<u8>> {
    let mut decoder = Decoder::new();
    let answer = frame.iter().find_map(|byte| decoder.take::<Answer>(*byte));
    let mut answer = answer?.ok()?;
    match (&mut answer, kind) {
        (Answer::Greeting(greeting), LineFaultKind::OtherVersion) => greeting.version += 1,
        (Answer::Begun(begun), LineFaultKind::WrongSettingsHash) => begun.settings_hash ^= 1,
        (Answer::Command(command), LineFaultKind::WrongTick) => {
            command.tick = command.tick.wrapping_add(1);
        }
        _ => return None,
    }
    let mut out = [0; FRAME_MAX];
    let length = encode(&answer, &mut out).ok()?;
    Some(out[..length].to_vec())
}

//! A board in this process, for rehearsals: over nothing at all, or at the far end of any line.

use crate::line::Line;
use std::collections::VecDeque;
use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use trimproof_board::{Board, BoardAbout, Pins};
use trimproof_io::Command;

/// Pins that lead nowhere.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoPins;

impl Pins for NoPins {
    fn apply(&mut self, _: &Command) {}
    fn off(&mut self) {}
    fn tick_done(&mut self) {}
}

/// A line with a board at its end that answers before a question has been sent: no time passes on
/// it.
pub struct BoardLine {
    board: Board,
    answers: VecDeque<u8>,
}

impl BoardLine {
    /// A board that has just started, without motors.
    pub fn new() -> Self {
        Self {
            board: Board::new(BoardAbout {
                board: "in-process",
                tick_hz: 0,
                has_motors: false,
            }),
            answers: VecDeque::new(),
        }
    }
}

impl Default for BoardLine {
    fn default() -> Self {
        Self::new()
    }
}

impl Line for BoardLine {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        for byte in bytes {
            if let Some(frame) = self.board.take(*byte, 0, &mut NoPins) {
                self.answers.extend(frame);
            }
        }
        Ok(())
    }

    fn read(&mut self, into: &mut [u8], _: Duration) -> io::Result<usize> {
        let count = into.len().min(self.answers.len());
        for place in &mut into[..count] {
            *place = self.answers.pop_front().unwrap_or_default();
        }
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }

    fn description(&self) -> String {
        "board in this process".to_owned()
    }
}

/// Is a board at the far end of `line` until `stop` is set.
///
/// # Errors
/// The line is gone.
pub fn serve(
    line: &mut dyn Line,
    about: BoardAbout,
    pins: &mut impl Pins,
    stop: &AtomicBool,
) -> io::Result<()> {
    let begun = Instant::now();
    let mut board = Board::new(about);
    let mut buffer = [0; 256];
    while !stop.load(Ordering::Relaxed) {
        let count = line.read(&mut buffer, Duration::from_millis(5))?;
        // The board's clock wraps by itself.
        let now_ms = begun.elapsed().as_millis() as u32;
        for byte in &buffer[..count] {
            if let Some(frame) = board.take(*byte, now_ms, pins) {
                line.write_all(frame)?;
            }
        }
        board.watch(now_ms, pins);
    }
    Ok(())
}

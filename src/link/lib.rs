//! Boards behind a port, a socket or an emulator: the only crate that opens any.
//!
//! [`BoardPool`] makes [`BoardTarget`]s from `image:FILE` and `port:NAME`; a target speaks over a
//! [`Line`], whatever carries its bytes.
//!
//! ```
//! use trimproof_link::{BoardLine, Link, Patience};
//!
//! // A board in this process, over a line on which no time passes.
//! let link = Link::open(Box::new(BoardLine::new()), Patience::EMULATED, Patience::EMULATED, None);
//! let greeting = *link.unwrap().greeting();
//! assert!(!greeting.has_motors);
//! ```

mod board_link;
mod check;
mod emulator;
mod error;
mod exchange;
mod faulty;
mod frames;
mod image;
mod in_process;
mod line;
mod on;
mod pool;
mod ports;
mod program;
#[cfg(feature = "serial")]
mod serial;
mod target;
#[cfg(unix)]
mod unix;

#[cfg(test)]
mod tests;

pub use board_link::Link;
pub use check::{Checked, check};
pub use emulator::end_all;
pub use error::LinkError;
pub use exchange::Patience;
pub use faulty::{Direction, FaultyLine, LineFaultKind, LineFaults};
pub use frames::FrameLog;
pub use image::{Machine, machine_of};
pub use in_process::{BoardLine, NoPins, serve};
pub use line::Line;
pub use on::On;
pub use pool::{BoardPool, Options};
pub use ports::{Candidate, ports};
pub use program::{CompileError, ProgramError, ProgramOptions, Programs, read_firmware};
#[cfg(feature = "serial")]
pub use serial::SerialLine;
#[cfg(all(feature = "serial", unix))]
pub use serial::pty_pair;
pub use target::BoardTarget;

//! What harness and board say to each other, and how it is framed.
//!
//! `no_std`, no heap. A message is postcard, its CRC-32 behind it (least byte first), both
//! COBS-coded, a zero byte at the end. The document for those who write the board's side in another
//! language is `docs/guides/wire.md`; the vectors that both sides are tested with are
//! `tests/data/wire_vectors.txt`.
//!
//! ```
//! use trimproof_wire::{Decoder, FRAME_MAX, Request, encode};
//!
//! let mut frame = [0; FRAME_MAX];
//! let length = encode(&Request::End { run: 7 }, &mut frame).unwrap();
//! // The other end takes byte after byte and has a message when its frame is whole.
//! let mut decoder = Decoder::new();
//! let mut heard = frame[..length].iter().filter_map(|byte| decoder.take::<Request>(*byte));
//! assert_eq!(heard.next(), Some(Ok(Request::End { run: 7 })));
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

mod frame;
mod message;
mod pack;
#[cfg(test)]
mod tests;

pub use frame::{Decoder, EncodeError, FrameError, encode};
pub use message::{
    Answer, Begin, Begun, Greeting, Hello, IDENTITY_MAX, Name, Refusal, Request, SILENCE_MAX_MS,
    Sample, TickCommand, VERSION, hash_of,
};

/// Longest message with its CRC, bytes: `Begin` with its settings is by far the longest.
pub const MESSAGE_MAX: usize = 400;

/// Longest frame, bytes: COBS adds one in 254 begun, the zero byte one more.
pub const FRAME_MAX: usize = MESSAGE_MAX + MESSAGE_MAX / 254 + 2;

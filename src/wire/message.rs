//! The messages.
//!
//! The harness asks, the board answers; the board never speaks first. A request may come twice (the
//! harness repeats what was not answered in time), late, or damaged; so each carries what
//! distinguishes a repetition from a new one: the number of its run and, in a sample, the tick.

use crate::frame::CRC;
use serde::{Deserialize, Serialize};
use trimproof_controller::Settings;
use trimproof_io::{Inputs, Outputs};

/// Version of the messages. Boards of another version are refused; `Hello` and `Greeting` never
/// change.
pub const VERSION: u16 = 1;

/// Longest silence that a board with its motors on puts up with, ms, whatever `Begin` asks for.
pub const SILENCE_MAX_MS: u16 = 100;

/// Longest identity of a board, bytes.
pub const IDENTITY_MAX: usize = 48;

/// From harness to board. postcard numbers them in this order, from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[allow(clippy::large_enum_variant)] // Settings on a board without a heap.
pub enum Request {
    /// Who are you?
    Hello(Hello),
    /// A run begins: a new controller with these settings.
    Begin(Begin),
    /// One tick's inputs.
    Sample(Sample),
    /// Switch the motors off and stay so until a `Begin` with a newer number.
    Trip,
    /// The run of this number is over; the motors go off.
    End {
        /// Number of the run.
        run: u16,
    },
}

/// From board to harness. postcard numbers them in this order, from 0: an order in which no request
/// is also the bytes of an answer, nor the other way round, so that a line that echoes is not taken
/// for a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Answer {
    /// To `Trip`: the motors are off.
    Tripped,
    /// The request was understood and cannot be done.
    Refused(Refusal),
    /// To `Begin`.
    Begun(Begun),
    /// To `End`.
    Ended {
        /// Number of the run.
        run: u16,
    },
    /// To `Hello`.
    Greeting(Greeting),
    /// To `Sample`.
    Command(TickCommand),
}

/// First request on a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// [`VERSION`] of the harness.
    pub version: u16,
}

/// What a board says of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Greeting {
    /// [`VERSION`] of the board.
    pub version: u16,
    /// Who it is: controller's identity and board.
    pub identity: Name,
    /// Control ticks a second that the board runs at by itself; 0: as many as it is asked for.
    pub tick_hz: u16,
    /// [`hash_of`] the settings that are in force; 0 before the first `Begin` and after refused
    /// settings.
    pub settings_hash: u32,
    /// Number of the last `Begin` that counted, refused settings included; 0 before the first.
    pub run: u16,
    /// Whether the board has motors that could move: they do only if `Begin` allows it.
    pub has_motors: bool,
}

/// Begins a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Begin {
    /// Number of the run: one more than the last, as counted modulo 65536. An older one is a late
    /// repetition, and so is the same one after its first tick, `Trip` or `End`.
    pub run: u16,
    /// Whether motors may be energised. While they may, the board trips by itself after a silence
    /// of `silence_ms`; else nothing moves and nothing trips.
    pub allow_motion: bool,
    /// Silence after which the board trips, ms; more than [`SILENCE_MAX_MS`] counts as that, 0
    /// trips at once.
    pub silence_ms: u16,
    /// The controller's settings.
    pub settings: Settings,
}

/// A run has begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Begun {
    /// Number of the run.
    pub run: u16,
    /// [`hash_of`] the settings as the board has them.
    pub settings_hash: u32,
}

/// One tick's inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    /// Least byte of the run's number.
    pub run: u8,
    /// What the controller receives.
    pub inputs: Inputs,
}

/// One tick's outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TickCommand {
    /// Least byte of the run's number.
    pub run: u8,
    /// Lower half of the tick's number.
    pub tick: u16,
    /// What the controller answers.
    pub outputs: Outputs,
}

/// Why the board does not do it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// The controller refuses the settings.
    Settings,
    /// No run is on: the board has been reset, never heard `Begin`, or refused its settings.
    NotBegun,
    /// The motors have been switched off, by `Trip` or by silence.
    Tripped {
        /// Whether by silence.
        by_silence: bool,
    },
    /// The run is over.
    Ended,
}

/// A short text of fixed size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Name {
    bytes: [u8; IDENTITY_MAX],
    length: u8,
}

impl Name {
    /// A name; what does not fit is cut off.
    pub fn new(text: &str) -> Self {
        let mut length = text.len().min(IDENTITY_MAX);
        while !text.is_char_boundary(length) {
            length -= 1;
        }
        let mut bytes = [0; IDENTITY_MAX];
        for (place, byte) in bytes.iter_mut().zip(text.bytes().take(length)) {
            *place = byte;
        }
        Self {
            bytes,
            // At most IDENTITY_MAX.
            length: length as u8,
        }
    }

    /// Two texts with a blank between; what does not fit is cut off.
    pub fn joined(first: &str, second: &str) -> Self {
        let mut name = Self::new(first);
        for part in [" ", second] {
            for letter in part.chars() {
                let mut bytes = [0; 4];
                let bytes = letter.encode_utf8(&mut bytes).as_bytes();
                let from = usize::from(name.length);
                let Some(place) = name.bytes.get_mut(from..from + bytes.len()) else {
                    return name;
                };
                place.copy_from_slice(bytes);
                // At most IDENTITY_MAX.
                name.length = (from + bytes.len()) as u8;
            }
        }
        name
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        self.bytes
            .get(..usize::from(self.length))
            .and_then(|bytes| core::str::from_utf8(bytes).ok())
            .unwrap_or("")
    }
}

impl Serialize for Name {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Name {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = <&str>::deserialize(deserializer)?;
        if text.len() > IDENTITY_MAX {
            return Err(serde::de::Error::custom("too long a name"));
        }
        Ok(Self::new(text))
    }
}

/// CRC-32 of the settings as they go over the wire: harness and board must come to the same.
pub fn hash_of(settings: &Settings) -> u32 {
    let mut bytes = [0; crate::MESSAGE_MAX];
    postcard::to_slice(settings, &mut bytes).map_or(0, |bytes| CRC.checksum(bytes))
}

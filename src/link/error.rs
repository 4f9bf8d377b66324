//! What can go wrong between harness and board.

use thiserror::Error;

/// Why a board cannot be spoken to.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum LinkError {
    /// `--on` with an unknown word.
    #[error(
        "`{0}` is no place to run on; there are `logic`, `image:FILE`, `source:DIR` and `port:NAME`"
    )]
    UnknownPlace(String),
    /// An image that cannot be read.
    #[error("cannot read the image `{file}`: {why}")]
    NoImage {
        /// The file.
        file: String,
        /// The system's word for it.
        why: String,
    },
    /// A file that is no image.
    #[error("`{file}` is no firmware image: {why}")]
    NotAnImage {
        /// The file.
        file: String,
        /// What is wrong.
        why: String,
    },
    /// The emulator is not installed.
    #[error("the emulator `{program}` is not installed")]
    NoEmulator {
        /// The program.
        program: &'static str,
        /// Package that brings it.
        package: &'static str,
    },
    /// The emulator does not start.
    #[error("the emulator `{program}` did not start: {why}")]
    Emulator {
        /// The program.
        program: &'static str,
        /// What it said or did.
        why: String,
    },
    /// There is no such port.
    #[error("there is no serial port `{name}` ({why})")]
    NoPort {
        /// The port.
        name: String,
        /// The system's word for it.
        why: String,
    },
    /// A port that cannot be opened.
    #[error("cannot open the port `{name}` at {baud} baud: {why}")]
    PortUnusable {
        /// The port.
        name: String,
        /// Bits a second.
        baud: u32,
        /// The system's word for it.
        why: String,
    },
    /// This program was built without serial ports.
    #[error("this program was built without serial ports (feature `serial`)")]
    NoSerial,
    /// The system does not list its ports.
    #[error("cannot list the serial ports: {why}")]
    NoList {
        /// The system's word for it.
        why: String,
    },
    /// Motion at a rate at which a repeated request comes after the board has tripped.
    #[error(
        "{baud} baud is too slow to let motors move: a repeated request would come later than the board's {silence_ms} ms of silence"
    )]
    TooSlowToMove {
        /// Bits a second.
        baud: u32,
        /// The board's silence limit, ms.
        silence_ms: u16,
    },
    /// Bytes cannot be sent or read.
    #[error("{line}: the other end is gone ({why})")]
    Gone {
        /// The line.
        line: String,
        /// The system's word for it.
        why: String,
    },
    /// Nobody answers, or nothing that was asked for.
    #[error(
        "{line}: no answer to {request} after {attempts} attempts in {waited_ms} ms; came instead: {came}"
    )]
    NoAnswer {
        /// The line.
        line: String,
        /// What was asked.
        request: String,
        /// How often.
        attempts: u32,
        /// For how long.
        waited_ms: u64,
        /// What came instead.
        came: String,
    },
    /// The board speaks another version.
    #[error(
        "the board speaks version {board} of the protocol, this program speaks version {ours}: flash it with the image of this version"
    )]
    OtherVersion {
        /// The board's.
        board: u16,
        /// Ours.
        ours: u16,
    },
    /// The board runs at another tick rate.
    #[error(
        "the board runs at {board} ticks a second, the rig's controller at {rig}: set `tick_hz` of the rig or of the board"
    )]
    TickRate {
        /// The board's, Hz.
        board: u16,
        /// The rig's, Hz.
        rig: u16,
    },
    /// The controller on the board refuses its settings.
    #[error(
        "the board's controller refuses the rig's settings: its firmware is of another version"
    )]
    SettingsRefused,
    /// The board has other settings than it was sent.
    #[error(
        "the board has settings with hash {board:08x}, it was sent {ours:08x}: its firmware is of another version"
    )]
    SettingsHash {
        /// The board's.
        board: u32,
        /// Ours.
        ours: u32,
    },
    /// The board has forgotten the run.
    #[error("the board has been reset in mid-run: look at its supply and its watchdog")]
    Reset,
    /// The board has switched its motors off.
    #[error("the board has tripped {by}: its motors are off", by = if *by_silence { "because it heard nothing in time" } else { "on request" })]
    Tripped {
        /// Whether by silence.
        by_silence: bool,
    },
    /// The user wants to stop.
    #[error("stopped while waiting for an answer of the board")]
    Stopped,
    /// A message that does not fit a frame.
    #[error("a request does not fit a frame (a bug in trimproof)")]
    TooLong,
}

impl LinkError {
    /// Whether an argument or a file is to blame, and nothing was run.
    pub fn is_usage(&self) -> bool {
        matches!(
            self,
            Self::UnknownPlace(_)
                | Self::NoImage { .. }
                | Self::NotAnImage { .. }
                | Self::NoEmulator { .. }
                | Self::NoPort { .. }
                | Self::PortUnusable { .. }
                | Self::TooSlowToMove { .. }
                | Self::NoSerial
        )
    }

    /// What would help.
    pub fn help(&self) -> Option<String> {
        Some(match self {
            Self::NoImage { .. } => "src/firmware/README.md says how images are built".to_owned(),
            Self::NotAnImage { .. } => {
                "an image is the ELF file that the firmware's build leaves, for ARM or AVR".to_owned()
            }
            Self::NoEmulator { package, .. } => {
                format!("on Debian and Ubuntu: apt install {package}")
            }
            Self::NoPort { .. } => "`trimproof ports` lists the serial ports".to_owned(),
            Self::PortUnusable { .. } => {
                "another program may have it open, or you may not be in the group that owns it (often dialout)".to_owned()
            }
            Self::TooSlowToMove { .. } => "use 115200 baud or more".to_owned(),
            // In mid-run the board has answered before.
            Self::NoAnswer { request, .. } if request.starts_with("hello") => {
                "is this trimproof's firmware, at this baud rate, with both wires crossed over?".to_owned()
            }
            _ => return None,
        })
    }
}

//! Where boards come from: one port, or as many emulators as run at a time.

use crate::board_link::{Link, SILENCE_MS};
use crate::emulator;
use crate::error::LinkError;
use crate::exchange::Patience;
use crate::frames::FrameLog;
#[cfg(feature = "serial")]
use crate::serial::SerialLine;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use trimproof_harness::run::Traffic;
use trimproof_wire::Greeting;

/// How boards are spoken to.
#[derive(Clone)]
pub struct Options {
    /// Bits a second, on a port.
    pub baud: u32,
    /// Whether motors may be energised, on a port.
    pub allow_motion: bool,
    /// Where frames are written down.
    pub frames: Option<FrameLog>,
    /// Set when the user wants to stop: nothing is waited for any longer.
    pub stop: Option<&'static AtomicBool>,
}

enum BoardAddress {
    Image(PathBuf),
    #[cfg_attr(not(feature = "serial"), allow(dead_code))]
    Port(String),
}

/// Keeps links between runs: an emulator is started once, a port opened once.
pub struct BoardPool {
    place: BoardAddress,
    options: Options,
    idle: Mutex<Vec<Link>>,
    greeting: Greeting,
    description: String,
}

impl BoardPool {
    /// Boards with this image, each in an emulator of its own; the first is started.
    ///
    /// # Errors
    /// Image or emulator are missing or of no use, or the board does not greet.
    pub fn image(file: PathBuf, options: Options) -> Result<Arc<Self>, LinkError> {
        Self::new(BoardAddress::Image(file), options)
    }

    /// The board on this port, which is opened.
    ///
    /// # Errors
    /// The port cannot be opened, is too slow for what is wanted, or the board does not greet.
    pub fn port(name: String, options: Options) -> Result<Arc<Self>, LinkError> {
        let wait = Patience::on_port(options.baud).first;
        // One lost frame must not trip the board: its repetition has to come in time, with a third
        // to spare.
        if options.allow_motion && wait * 3 / 2 > Duration::from_millis(SILENCE_MS.into()) {
            return Err(LinkError::TooSlowToMove {
                baud: options.baud,
                silence_ms: SILENCE_MS,
            });
        }
        Self::new(BoardAddress::Port(name), options)
    }

    fn new(place: BoardAddress, options: Options) -> Result<Arc<Self>, LinkError> {
        let link = connect(&place, &options)?;
        Ok(Arc::new(Self {
            place,
            options,
            greeting: *link.greeting(),
            description: link.description(),
            idle: Mutex::new(vec![link]),
        }))
    }

    /// A link of its own: an idle one, else a new one.
    ///
    /// # Errors
    /// As when the pool was made.
    pub fn link(&self) -> Result<Link, LinkError> {
        let idle = self.idle().pop();
        idle.map_or_else(|| connect(&self.place, &self.options), Ok)
    }

    /// What the first board said of itself.
    pub fn greeting(&self) -> &Greeting {
        &self.greeting
    }

    /// What the boards are behind.
    pub fn description(&self) -> &str {
        &self.description
    }

    /// Whether the boards are behind a port.
    pub(crate) fn is_on_port(&self) -> bool {
        matches!(self.place, BoardAddress::Port(_))
    }

    pub(crate) fn give_back(&self, link: Link) {
        self.idle().push(link);
    }

    fn idle(&self) -> std::sync::MutexGuard<'_, Vec<Link>> {
        self.idle.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Bytes a tick as they went, both ways; `None` before the first.
pub(crate) fn bytes_a_tick(traffic: &Traffic) -> Option<f64> {
    let bytes = (traffic.bytes_in + traffic.bytes_out) as f64;
    (traffic.ticks > 0).then(|| bytes / traffic.ticks as f64)
}

fn connect(place: &BoardAddress, options: &Options) -> Result<Link, LinkError> {
    let log = options.frames.as_ref();
    match place {
        BoardAddress::Image(file) => {
            let line = emulator::start(file, options.stop)?;
            // It may still be on its way to `main`.
            let hello = Patience {
                repeats: 9,
                ..Patience::EMULATED
            };
            Link::open_until(line, Patience::EMULATED, hello, log, options.stop)
        }
        #[cfg(not(feature = "serial"))]
        BoardAddress::Port(_) => Err(LinkError::NoSerial),
        #[cfg(feature = "serial")]
        BoardAddress::Port(name) => {
            let line = Box::new(SerialLine::open(name, options.baud)?);
            // Opening a port resets many a board, and its boot loader may listen for two seconds
            // first.
            let hello = Patience {
                first: Duration::from_millis(200),
                most: Duration::from_millis(200),
                repeats: 19,
            };
            let patience = Patience::on_port(options.baud);
            let link = Link::open_until(line, patience, hello, log, options.stop)?;
            Ok(link.allowing_motion(options.allow_motion))
        }
    }
}

//! A serial port.

use crate::error::LinkError;
use crate::line::Line;
use serialport::{ErrorKind, SerialPort};
use std::io::{self, Read, Write};
use std::path::Path;
use std::time::{Duration, Instant};

const WRITE_WITHIN: Duration = Duration::from_secs(1);

/// An open serial port, nobody else's while it is open.
pub struct SerialLine {
    port: Box<dyn SerialPort>,
    description: String,
}

impl SerialLine {
    /// Opens a port, 8 data bits, no parity, one stop bit, no flow control.
    ///
    /// # Errors
    /// There is no such port, somebody else has it open, or it cannot run at that rate.
    pub fn open(name: &str, baud: u32) -> Result<Self, LinkError> {
        let port = serialport::new(name, baud)
            .timeout(WRITE_WITHIN)
            .open()
            .map_err(|error| match error.kind() {
                ErrorKind::NoDevice | ErrorKind::Io(io::ErrorKind::NotFound) => LinkError::NoPort {
                    name: name.to_owned(),
                    why: error.to_string(),
                },
                _ => LinkError::PortUnusable {
                    name: name.to_owned(),
                    baud,
                    why: error.to_string(),
                },
            })?;
        shorten_latency(name);
        Ok(Self {
            port,
            description: format!("port {name} at {baud} baud"),
        })
    }
}

impl Line for SerialLine {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        // The port has one time limit for both ways.
        if self.port.timeout() != WRITE_WITHIN {
            self.port.set_timeout(WRITE_WITHIN)?;
        }
        self.port.write_all(bytes)
    }

    fn read(&mut self, into: &mut [u8], wait: Duration) -> io::Result<usize> {
        let deadline = Instant::now() + wait;
        loop {
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Ok(0);
            }
            self.port.set_timeout(left)?;
            match self.port.read(into) {
                Ok(0) => return Err(io::ErrorKind::UnexpectedEof.into()),
                Ok(count) => return Ok(count),
                Err(error) if is_wait(&error) => {}
                Err(error) => return Err(error),
            }
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        self.port.flush()
    }

    fn description(&self) -> String {
        self.description.clone()
    }
}

/// Two ends of a pseudo-terminal: a serial port without a wire.
///
/// # Errors
/// The system has none to give.
#[cfg(unix)]
pub fn pty_pair() -> io::Result<(SerialLine, SerialLine, String)> {
    let (near, far) = serialport::TTYPort::pair().map_err(io::Error::from)?;
    let name = far.name().unwrap_or_default();
    let line = |port: serialport::TTYPort, end: &str| SerialLine {
        port: Box::new(port),
        description: format!("pty {name} ({end})"),
    };
    Ok((line(near, "near end"), line(far, "far end"), name.clone()))
}

/// Asks a USB converter to hand bytes on within 1 ms instead of its usual 16 ms, where it can be
/// asked and we may. If not, the link is slower and no less right.
fn shorten_latency(name: &str) {
    let Some(device) = Path::new(name).file_name() else {
        return;
    };
    let file = Path::new("/sys/bus/usb-serial/devices")
        .join(device)
        .join("latency_timer");
    if file.exists() {
        let _ = std::fs::write(file, "1");
    }
}

fn is_wait(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut | io::ErrorKind::Interrupted
    )
}

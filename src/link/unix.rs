//! A Unix socket, as an emulator's serial port is given to us.

use crate::line::Line;
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::net::UnixStream;
use std::time::{Duration, Instant};

/// How long one read waits at most; a longer wait is several reads.
const SLICE: Duration = Duration::from_millis(20);
const WRITE_WITHIN: Duration = Duration::from_secs(1);

/// A connected Unix socket.
pub(crate) struct UnixLine {
    stream: UnixStream,
    description: String,
}

impl UnixLine {
    /// # Errors
    /// The system refuses the time limits.
    pub(crate) fn new(stream: UnixStream, description: String) -> io::Result<Self> {
        stream.set_nonblocking(false)?;
        stream.set_read_timeout(Some(SLICE))?;
        stream.set_write_timeout(Some(WRITE_WITHIN))?;
        Ok(Self {
            stream,
            description,
        })
    }
}

impl Line for UnixLine {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.stream.write_all(bytes)
    }

    fn read(&mut self, into: &mut [u8], wait: Duration) -> io::Result<usize> {
        let deadline = Instant::now() + wait;
        loop {
            match self.stream.read(into) {
                Ok(0) => return Err(ErrorKind::UnexpectedEof.into()),
                Ok(count) => return Ok(count),
                Err(error) if is_wait(&error) => {
                    if Instant::now() >= deadline {
                        return Ok(0);
                    }
                }
                Err(error) => return Err(error),
            }
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        self.stream.flush()
    }

    fn description(&self) -> String {
        self.description.clone()
    }
}

/// Whether the error only says that nothing has come yet.
pub(crate) fn is_wait(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted
    )
}

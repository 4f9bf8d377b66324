//! A channel for bytes.

use std::io;
use std::time::Duration;

/// A channel for bytes, both ways, on which nothing is waited for without end.
pub trait Line: Send {
    /// Sends all bytes.
    ///
    /// # Errors
    /// They could not be sent within a second, or the other end is gone.
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Takes in what has come; 0 if nothing came for the whole of `wait`, or nothing more can come.
    ///
    /// # Errors
    /// The other end is gone.
    fn read(&mut self, into: &mut [u8], wait: Duration) -> io::Result<usize>;

    /// Waits until what was sent is on its way.
    ///
    /// # Errors
    /// As [`Line::write_all`].
    fn flush(&mut self) -> io::Result<()>;

    /// What it is, as messages name it: `port /dev/ttyACM0`.
    fn description(&self) -> String;
}

impl Line for Box<dyn Line> {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        (**self).write_all(bytes)
    }

    fn read(&mut self, into: &mut [u8], wait: Duration) -> io::Result<usize> {
        (**self).read(into, wait)
    }

    fn flush(&mut self) -> io::Result<()> {
        (**self).flush()
    }

    fn description(&self) -> String {
        (**self).description()
    }
}

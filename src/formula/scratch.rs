//! Bytes that a run needs for a while: in memory up to a fixed room, beyond it in a file without a
//! name.

use std::fs::File;
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};

/// A range of bytes from 0 on that can be written and read in any order.
///
/// The file stands in the system's folder for temporary files, is made when the room is first
/// exceeded, and is gone with the process, however it ends.
#[derive(Debug)]
pub(crate) struct Scratch {
    room: usize,
    memory: Vec<u8>,
    file: Option<File>,
}

impl Scratch {
    /// Nothing yet; the bytes below `room` stay in memory.
    pub(crate) fn new(room: usize) -> Self {
        Self {
            room,
            memory: Vec::new(),
            file: None,
        }
    }

    /// Writes `bytes` from `offset` on: all of them below the room, or none.
    ///
    /// # Errors
    /// The system makes no file, or does not write it.
    pub(crate) fn write(&mut self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        if let Some(range) = self.in_memory(offset, bytes.len()) {
            if self.memory.len() < range.end {
                self.memory.resize(range.end, 0);
            }
            self.memory[range].copy_from_slice(bytes);
            return Ok(());
        }
        let file = match &mut self.file {
            Some(file) => file,
            none => none.insert(tempfile::tempfile()?),
        };
        file.seek(SeekFrom::Start(offset))?;
        file.write_all(bytes)
    }

    /// Reads what was written from `offset` on.
    ///
    /// # Errors
    /// The system does not read the file, or nothing was written there.
    pub(crate) fn read(&mut self, offset: u64, bytes: &mut [u8]) -> io::Result<()> {
        if let Some(range) = self.in_memory(offset, bytes.len()) {
            let written = self.memory.get(range);
            bytes.copy_from_slice(written.ok_or(io::ErrorKind::UnexpectedEof)?);
            return Ok(());
        }
        let file = self.file.as_mut().ok_or(io::ErrorKind::UnexpectedEof)?;
        file.seek(SeekFrom::Start(offset))?;
        file.read_exact(bytes)
    }

    fn in_memory(&self, offset: u64, length: usize) -> Option<std::ops::Range<usize>> {
        let start = usize::try_from(offset).ok()?;
        let end = start.checked_add(length)?;
        (end <= self.room).then_some(start..end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back_from_memory_and_from_the_file() {
        let mut scratch = Scratch::new(10);
        for (offset, byte) in [(8, 3), (0, 1), (16, 5), (4, 2), (12, 4)] {
            scratch.write(offset, &[byte; 4]).unwrap();
        }
        assert!(scratch.memory.len() <= 10);
        for (offset, byte) in [(0, 1), (4, 2), (8, 3), (12, 4), (16, 5)] {
            let mut read = [0; 4];
            scratch.read(offset, &mut read).unwrap();
            assert_eq!(read, [byte; 4], "at {offset}");
        }
    }

    #[test]
    fn what_was_never_written_is_an_error() {
        let mut bytes = [0; 4];
        assert!(Scratch::new(100).read(0, &mut bytes).is_err());
        assert!(Scratch::new(0).read(0, &mut bytes).is_err());
        let mut scratch = Scratch::new(0);
        scratch.write(0, &[1; 4]).unwrap();
        assert!(scratch.read(2, &mut bytes).is_err());
    }
}

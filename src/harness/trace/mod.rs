//! Traces: one row a control tick, in memory and as CSV and MCAP files.
//!
//! Invariant: what [`Trace::read`] gives has the very bits that were pushed, or it is an error.
//! Every file carries the number of its rows and the hash of its values; a file appears whole or
//! not at all.

mod about;
mod columns;
mod csv_file;
mod data;
mod error;
mod file;
mod hash;
#[cfg(feature = "mcap")]
mod mcap_file;
mod pending;
mod row;
mod table;
#[cfg(test)]
mod tests;

use std::path::Path;

pub use about::About;
pub use columns::{ColumnInfo, PILOT_SWITCHES, bytes_per_row, is_given, signals, titled};
pub use error::TraceError;
pub use file::write_atomically;
pub(crate) use file::{PART_PREFIX, TRIAL_SUFFIX, remove_stale};

use about::Stamp;
pub(crate) use data::Data;
use error::Flaw;
pub(crate) use hash::RowHasher;
pub(crate) use pending::Pending;
pub use row::{AxisRow, ColumnKind, HandRow, Row};
pub use table::Trace;
pub(crate) use table::empty_block;

impl Trace {
    /// Writes it to `path` in the format that its ending names, `.csv` or `.mcap`; whole or not at
    /// all.
    ///
    /// # Errors
    /// Another ending, or the system refuses to write.
    pub fn write(&self, path: &Path) -> Result<(), TraceError> {
        match FileFormat::of(path)? {
            FileFormat::Csv => self.write_csv(path),
            #[cfg(feature = "mcap")]
            FileFormat::Mcap => self.write_mcap(path),
        }
    }

    /// Writes it to `path` as CSV (RFC 4180); whole or not at all.
    ///
    /// # Errors
    /// The system refuses to write; nothing is left then, and a file that was there stays as it
    /// was.
    pub fn write_csv(&self, path: &Path) -> Result<(), TraceError> {
        write_atomically(path, |file| csv_file::write(self, file))
            .map_err(|source| refused(path, source))
    }

    /// Writes it to `path` as MCAP with JSON messages; whole or not at all.
    ///
    /// # Errors
    /// The system refuses to write; nothing is left then, and a file that was there stays as it
    /// was.
    #[cfg(feature = "mcap")]
    pub fn write_mcap(&self, path: &Path) -> Result<(), TraceError> {
        write_atomically(path, |file| mcap_file::write(self, file))
            .map_err(|source| refused(path, source))
    }

    /// Reads a trace file, `.csv` or `.mcap`.
    ///
    /// # Errors
    /// Another ending, the system refuses, or the file is truncated, no trace, damaged or changed.
    pub fn read(path: &Path) -> Result<Self, TraceError> {
        let format = FileFormat::of(path)?;
        let read = || -> Result<Self, Flaw> {
            let file = open(path)?;
            match format {
                FileFormat::Csv => csv_file::read(file),
                #[cfg(feature = "mcap")]
                FileFormat::Mcap => mcap_file::read(file),
            }
        };
        read().map_err(|flaw| flaw.of(path))
    }

    /// Reads only what a trace file says of itself: where it comes from, and how many rows it has.
    ///
    /// # Errors
    /// Another ending, the system refuses, or the file is no trace or ends within what it says of
    /// itself. Damage to its rows is not seen.
    pub fn peek(path: &Path) -> Result<(About, usize), TraceError> {
        let format = FileFormat::of(path)?;
        let peek = || -> Result<Stamp, Flaw> {
            let file = open(path)?;
            match format {
                FileFormat::Csv => csv_file::about(file),
                #[cfg(feature = "mcap")]
                FileFormat::Mcap => mcap_file::about(file),
            }
        };
        let stamp = peek().map_err(|flaw| flaw.of(path))?;
        Ok((stamp.about, stamp.rows))
    }

    fn stamp(&self) -> Stamp {
        Stamp {
            about: self.about.clone(),
            rows: self.rows(),
            hash: self.hash(),
        }
    }
}

enum FileFormat {
    Csv,
    #[cfg(feature = "mcap")]
    Mcap,
}

impl FileFormat {
    fn of(path: &Path) -> Result<Self, TraceError> {
        let ending = path.extension().map(|ending| ending.to_ascii_lowercase());
        match ending.as_ref().and_then(|ending| ending.to_str()) {
            Some("csv") => Ok(Self::Csv),
            #[cfg(feature = "mcap")]
            Some("mcap") => Ok(Self::Mcap),
            #[cfg(not(feature = "mcap"))]
            Some("mcap") => Err(TraceError::NoMcap {
                path: path.to_owned(),
            }),
            _ => Err(TraceError::Ending {
                path: path.to_owned(),
            }),
        }
    }
}

/// Opens a regular file; a device or a pipe would be read, or waited for, without an end.
fn open(path: &Path) -> Result<std::fs::File, Flaw> {
    if !std::fs::metadata(path)?.is_file() {
        return Err(Flaw::Foreign("it is not a regular file".to_owned()));
    }
    Ok(std::fs::File::open(path)?)
}

fn refused(path: &Path, source: std::io::Error) -> TraceError {
    TraceError::Io {
        path: path.to_owned(),
        doing: "write",
        source,
    }
}

//! Traces: one row a control tick, in memory and as CSV and MCAP files.
//!
//! Invariant: what [`Trace::read`] gives has the very bits that were pushed, or it is an error. Every file carries
//! the number of its rows and the hash of its values; a file appears whole or not at all.

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
#[cfg(test)]
mod tests;

use std::borrow::Cow;
use std::path::Path;

use trimproof_io::{Reports, State};

pub use about::About;
pub use columns::{
    AxisRow, ColumnInfo, ColumnKind, HandRow, PILOT_SWITCHES, Row, bytes_per_row, is_given,
    signals, titled,
};
pub use error::TraceError;
pub use file::write_atomically;
pub(crate) use file::{PART_PREFIX, TRIAL_SUFFIX, remove_stale};

use about::Stamp;
pub(crate) use data::Data;
use error::Flaw;
pub(crate) use hash::RowHasher;
pub(crate) use pending::Pending;
use trimproof_formula::Signals;

/// Most rows of a trace that is read: an hour, the longest scenario, at 2000 Hz, the fastest
/// controller.
const ROWS_MAX: usize = 3600 * 2000 + 1;

/// Most things that a trace file may say of itself; ours say some twenty.
const ENTRIES_MAX: usize = 1000;

/// A table of what happened, one row a control tick.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Where it comes from.
    pub about: About,
    /// All have the same length.
    columns: Vec<Column>,
}

/// A column with its values.
#[derive(Clone, Debug, PartialEq)]
struct Column {
    info: ColumnInfo,
    /// Index in [`signals`] of what fills it.
    signal: usize,
    data: Data,
}

impl Column {
    fn new(signal: usize, capacity: usize) -> Self {
        let info = signals()[signal].clone();
        Self {
            data: Data::new(info.kind, capacity),
            info,
            signal,
        }
    }
}

impl Trace {
    /// An empty trace of a controller with these reports, with room for `capacity` rows: it has the twin's signals and
    /// those that the controller gives.
    pub fn new(about: About, reports: Reports, capacity: usize) -> Self {
        let given = signals()
            .iter()
            .enumerate()
            .filter(|(_, info)| is_given(&info.name, reports));
        Self {
            about,
            columns: given
                .map(|(index, _)| Column::new(index, capacity))
                .collect(),
        }
    }

    /// Appends a row. A number that is not a number is kept as the one NaN, so that files can give it back.
    pub fn push(&mut self, row: &Row) {
        self.push_all(std::slice::from_ref(row));
    }

    /// Appends rows, as [`Trace::push`] does one.
    fn push_all(&mut self, rows: &[Row]) {
        for column in &mut self.columns {
            columns::append(&mut column.data, column.signal, rows);
        }
    }

    /// Forgets every row; the room for them stays.
    pub(crate) fn clear(&mut self) {
        self.columns
            .iter_mut()
            .for_each(|column| column.data.clear());
    }

    /// Appends the rows of a trace with the same columns.
    pub(crate) fn append(&mut self, other: &Self) {
        for (column, other) in self.columns.iter_mut().zip(&other.columns) {
            column.data.append(&other.data);
        }
    }

    /// A hasher of traces with these columns, which takes them one after the other as if they were one.
    pub(crate) fn hasher(&self) -> RowHasher {
        RowHasher::new(&self.columns)
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.data.len())
    }

    /// The columns that it has, in the order of the files.
    pub fn columns(&self) -> impl Iterator<Item = &ColumnInfo> {
        self.columns.iter().map(|column| &column.info)
    }

    /// The column of this name; `None` if it has none: no controller or twin gave it, or the file that it was read from is
    /// of an older version.
    pub fn column(&self, name: &str) -> Option<&ColumnInfo> {
        self.columns().find(|info| info.name == name)
    }

    /// Values of a column of numbers; `None` if there is none of this name and kind.
    pub fn numbers(&self, name: &str) -> Option<&[f64]> {
        match self.data(name)? {
            Data::Number(values) => Some(values),
            _ => None,
        }
    }

    /// Values of a column of whole numbers; `None` if there is none of this name and kind.
    pub fn integers(&self, name: &str) -> Option<&[i32]> {
        match self.data(name)? {
            Data::Integer(values) => Some(values),
            _ => None,
        }
    }

    /// Values of a switch column; `None` if there is none of this name and kind.
    pub fn switches(&self, name: &str) -> Option<&[bool]> {
        match self.data(name)? {
            Data::Switch(values) => Some(values),
            _ => None,
        }
    }

    /// State of the controller in a row; `None` if there is no such row or column.
    pub fn state(&self, row: usize) -> Option<State> {
        match self.data("state")? {
            Data::State(codes) => State::ALL.get(usize::from(*codes.get(row)?)).copied(),
            _ => None,
        }
    }

    /// Simulated time of a row, s; `None` if there is no such row.
    pub fn time_s(&self, row: usize) -> Option<f64> {
        self.numbers("time_s")?.get(row).copied()
    }

    /// Hash over names and bits of all values: equal for two traces exactly when they agree bit for bit
    /// (32 hexadecimal digits, the first half of a BLAKE3 hash). [`Trace::about`] does not enter.
    ///
    /// It walks all rows: take it once.
    pub fn hash(&self) -> String {
        let mut hasher = self.hasher();
        hasher.add(self);
        hasher.finish()
    }

    /// Writes it to `path` in the format that its ending names, `.csv` or `.mcap`; whole or not at all.
    ///
    /// # Errors
    /// Another ending, or the system refuses to write.
    pub fn write(&self, path: &Path) -> Result<(), TraceError> {
        match Format::of(path)? {
            Format::Csv => self.write_csv(path),
            #[cfg(feature = "mcap")]
            Format::Mcap => self.write_mcap(path),
        }
    }

    /// Writes it to `path` as CSV (RFC 4180); whole or not at all.
    ///
    /// # Errors
    /// The system refuses to write; nothing is left then, and a file that was there stays as it was.
    pub fn write_csv(&self, path: &Path) -> Result<(), TraceError> {
        write_atomically(path, |file| csv_file::write(self, file))
            .map_err(|source| refused(path, source))
    }

    /// Writes it to `path` as MCAP with JSON messages; whole or not at all.
    ///
    /// # Errors
    /// The system refuses to write; nothing is left then, and a file that was there stays as it was.
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
        let format = Format::of(path)?;
        let read = || -> Result<Self, Flaw> {
            let file = open(path)?;
            match format {
                Format::Csv => csv_file::read(file),
                #[cfg(feature = "mcap")]
                Format::Mcap => mcap_file::read(file),
            }
        };
        read().map_err(|flaw| flaw.of(path))
    }

    /// Reads only what a trace file says of itself: where it comes from, and how many rows it has.
    ///
    /// # Errors
    /// Another ending, the system refuses, or the file is no trace or ends within what it says of itself. Damage to
    /// its rows is not seen.
    pub fn peek(path: &Path) -> Result<(About, usize), TraceError> {
        let format = Format::of(path)?;
        let peek = || -> Result<Stamp, Flaw> {
            let file = open(path)?;
            match format {
                Format::Csv => csv_file::about(file),
                #[cfg(feature = "mcap")]
                Format::Mcap => mcap_file::about(file),
            }
        };
        let stamp = peek().map_err(|flaw| flaw.of(path))?;
        Ok((stamp.about, stamp.rows))
    }

    /// An empty trace with these columns of [`signals`] only.
    fn with_signals(mut indices: Vec<usize>) -> Self {
        indices.sort_unstable();
        let columns = indices.into_iter().map(|index| Column::new(index, 0));
        Self {
            about: About::default(),
            columns: columns.collect(),
        }
    }

    fn stamp(&self) -> Stamp {
        Stamp {
            about: self.about.clone(),
            rows: self.rows(),
            hash: self.hash(),
        }
    }

    pub(crate) fn data(&self, name: &str) -> Option<&Data> {
        self.columns
            .iter()
            .find(|column| column.info.name == name)
            .map(|column| &column.data)
    }
}

impl Signals for Trace {
    fn rows(&self) -> usize {
        Trace::rows(self)
    }

    fn tick_s(&self) -> f64 {
        self.about.tick_s
    }

    fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
        Some(match self.data(name)? {
            Data::Number(values) => Cow::Borrowed(values),
            other => {
                let mut values = Vec::with_capacity(other.len());
                other.append_to(&mut values);
                Cow::Owned(values)
            }
        })
    }

    fn append_signal(&self, name: &str, values: &mut Vec<f64>) -> bool {
        let data = self.data(name);
        data.inspect(|data| data.append_to(values)).is_some()
    }
}

/// A trace without a row that says nothing of itself, with room for so many.
pub(crate) fn empty_block(tick_s: f64, reports: Reports, capacity: usize) -> Trace {
    let about = About {
        tick_s,
        ..About::default()
    };
    Trace::new(about, reports, capacity)
}

enum Format {
    Csv,
    #[cfg(feature = "mcap")]
    Mcap,
}

impl Format {
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

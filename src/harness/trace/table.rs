//! Traces in memory: one row a control tick.

use std::borrow::Cow;

use trimproof_formula::Signals;
use trimproof_io::{Reports, State};

use super::about::About;
use super::columns::{self, ColumnInfo, is_given, signals};
use super::data::Data;
use super::row::Row;

/// Most rows of a trace that is read: an hour, the longest scenario, at 2000 Hz, the fastest
/// controller.
pub(super) const ROWS_MAX: usize = 3600 * 2000 + 1;

/// Most things that a trace file may say of itself; ours say some twenty.
pub(super) const ENTRIES_MAX: usize = 1000;

/// A table of what happened, one row a control tick.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Where it comes from.
    pub about: About,
    /// All have the same length.
    pub(super) columns: Vec<Column>,
}

/// A column with its values.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Column {
    pub(super) info: ColumnInfo,
    /// Index in [`signals`] of what fills it.
    pub(super) signal: usize,
    pub(super) data: Data,
}

impl Column {
    pub(super) fn new(signal: usize, capacity: usize) -> Self {
        let info = signals()[signal].clone();
        Self {
            data: Data::new(info.kind, capacity),
            info,
            signal,
        }
    }
}

impl Trace {
    /// An empty trace of a controller with these reports, with room for `capacity` rows: it has the
    /// twin's signals and those that the controller gives.
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

    /// Appends a row. A number that is not a number is kept as the one NaN, so that files can give
    /// it back.
    pub fn push(&mut self, row: &Row) {
        self.push_all(std::slice::from_ref(row));
    }

    /// Appends rows, as [`Trace::push`] does one.
    pub(super) fn push_all(&mut self, rows: &[Row]) {
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

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.data.len())
    }

    /// The columns that it has, in the order of the files.
    pub fn columns(&self) -> impl Iterator<Item = &ColumnInfo> {
        self.columns.iter().map(|column| &column.info)
    }

    /// The column of this name; `None` if it has none: no controller or twin gave it, or the file
    /// that it was read from is of an older version.
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

    /// An empty trace with these columns of [`signals`] only.
    pub(super) fn with_signals(mut indices: Vec<usize>) -> Self {
        indices.sort_unstable();
        let columns = indices.into_iter().map(|index| Column::new(index, 0));
        Self {
            about: About::default(),
            columns: columns.collect(),
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

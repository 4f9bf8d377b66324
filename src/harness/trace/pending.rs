//! Rows on their way into a trace.

use super::row::Row;
use super::table::Trace;

/// Rows that are not in their trace yet: into the columns they go some at a time, which is faster
/// than one by one.
pub(crate) struct Pending(Vec<Row>);

impl Pending {
    /// How many go into the trace at a time.
    pub(crate) const ROWS: usize = 64;

    /// None yet.
    pub(crate) fn new() -> Self {
        Self(Vec::with_capacity(Self::ROWS))
    }

    /// Takes a row that comes into `trace`, in a while.
    pub(crate) fn push(&mut self, row: &Row, trace: &mut Trace) {
        self.0.push(*row);
        if self.0.len() == Self::ROWS {
            self.settle(trace);
        }
    }

    /// Puts all that were taken into `trace`.
    pub(crate) fn settle(&mut self, trace: &mut Trace) {
        trace.push_all(&self.0);
        self.0.clear();
    }
}

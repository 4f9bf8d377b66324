//! A block of rows, and the directions in which blocks come.

/// Part of the rows that a graph is worked out on.
#[derive(Clone, Copy, Debug)]
pub(super) struct RowBlock {
    pub start: usize,
    pub rows: usize,
    /// Rows of the whole.
    pub all: usize,
}

/// In which direction rows must come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TimeDirection {
    Either,
    Forward,
    Backward,
}

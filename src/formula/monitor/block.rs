//! A block of rows, and the directions in which blocks come.

/// Part of the rows that a graph is worked out on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    pub start: usize,
    pub rows: usize,
    /// Rows of the whole.
    pub all: usize,
}

/// In which direction rows must come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Direction {
    Either,
    Forward,
    Backward,
}

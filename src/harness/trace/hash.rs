//! The bit-hash of a trace: row after row, so that it can be taken while a run is under way.
//!
//! BLAKE3 over the names of the columns, each followed by a zero byte, then over every row in turn:
//! the bits of its values in the order of the columns, little end first; last the number of rows.
//! The first 16 bytes count.

use std::fmt::Write as _;

use super::table::{Column, Trace};

/// Rows whose columns are laid side by side at a time: they fit the first-level cache.
const BLOCK_ROWS: usize = 64;

/// Blocks that are hashed at a time: the hash is the faster the more it gets at once.
const BLOCKS: usize = 8;

impl Trace {
    /// A hasher of traces with these columns, which takes them one after the other as if they were
    /// one.
    pub(crate) fn hasher(&self) -> RowHasher {
        RowHasher::new(&self.columns)
    }

    /// Hash over names and bits of all values: equal for two traces exactly when they agree bit for
    /// bit (32 hexadecimal digits, the first half of a BLAKE3 hash). [`Trace::about`] does not
    /// enter.
    ///
    /// It walks all rows: take it once.
    pub fn hash(&self) -> String {
        let mut hasher = self.hasher();
        hasher.add(self);
        hasher.finish()
    }
}

/// Takes rows and gives their hash.
pub(crate) struct RowHasher {
    hasher: blake3::Hasher,
    blocks: Vec<u8>,
    /// Bytes of a row.
    width: usize,
    rows: u64,
}

impl RowHasher {
    /// A hasher of rows with these columns, in this order.
    pub(super) fn new(columns: &[Column]) -> Self {
        let mut hasher = blake3::Hasher::new();
        for column in columns {
            hasher.update(column.info.name.as_bytes());
            hasher.update(&[0]);
        }
        let width: usize = columns
            .iter()
            .map(|column| column.data.kind().bytes())
            .sum();
        Self {
            hasher,
            blocks: vec![0; width * BLOCK_ROWS * BLOCKS],
            width,
            rows: 0,
        }
    }

    /// Adds the rows of a trace.
    pub(crate) fn add(&mut self, trace: &Trace) {
        let (rows, width) = (trace.rows(), self.width);
        for first in (0..rows).step_by(BLOCK_ROWS * BLOCKS) {
            let end = rows.min(first + BLOCK_ROWS * BLOCKS);
            for from in (first..end).step_by(BLOCK_ROWS) {
                let to = end.min(from + BLOCK_ROWS);
                let block = &mut self.blocks[width * (from - first)..];
                let mut offset = 0;
                for Column { data, .. } in &trace.columns {
                    data.lay(from..to, block, offset, width);
                    offset += data.kind().bytes();
                }
            }
            self.hasher.update(&self.blocks[..width * (end - first)]);
            self.rows += (end - first) as u64;
        }
    }

    /// The hash of all rows so far: 32 hexadecimal digits.
    pub(crate) fn finish(mut self) -> String {
        self.hasher.update(&self.rows.to_le_bytes());
        let digest = self.hasher.finalize();
        digest
            .as_bytes()
            .iter()
            .take(16)
            .fold(String::with_capacity(32), |mut text, byte| {
                // Writing to a string cannot fail.
                let _ = write!(text, "{byte:02x}");
                text
            })
    }
}

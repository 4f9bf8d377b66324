//! The bit-hash of a trace: row after row, so that it can be taken while a run is under way.
//!
//! BLAKE3 over the names of the columns, each followed by a zero byte, then over every row in turn: the bits of its
//! values in the order of the columns, little end first; last the number of rows. The first 16 bytes count.

use std::fmt::Write as _;

use super::columns::columns;
use super::data::Data;

/// Name of the hash, as trace files carry it.
pub(super) const NAME: &str = "blake3";

/// Rows that are put together before they are hashed.
const BLOCK_ROWS: usize = 64;

/// Takes rows and gives their hash.
pub(super) struct RowHasher {
    hasher: blake3::Hasher,
    block: Vec<u8>,
    rows: u64,
}

impl RowHasher {
    /// A hasher of rows with these columns (index in [`columns`] and values, in that order).
    pub(super) fn new(held: &[(usize, Data)]) -> Self {
        let mut hasher = blake3::Hasher::new();
        for (index, _) in held {
            hasher.update(columns()[*index].name.as_bytes());
            hasher.update(&[0]);
        }
        let width: usize = held.iter().map(|(_, data)| data.kind().bytes()).sum();
        Self {
            hasher,
            block: vec![0; width * BLOCK_ROWS],
            rows: 0,
        }
    }

    /// Adds the rows from `first` on up to the end.
    pub(super) fn add(&mut self, held: &[(usize, Data)], first: usize) {
        let rows = held.first().map_or(0, |(_, data)| data.len());
        let width = self.block.len() / BLOCK_ROWS;
        let mut from = first;
        while from < rows {
            let to = (from + BLOCK_ROWS).min(rows);
            let mut offset = 0;
            for (_, data) in held {
                data.lay(from..to, &mut self.block, offset, width);
                offset += data.kind().bytes();
            }
            self.hasher.update(&self.block[..width * (to - from)]);
            self.rows += (to - from) as u64;
            from = to;
        }
    }

    /// The hash of all rows so far: 32 hexadecimal digits.
    pub(super) fn finish(mut self) -> String {
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

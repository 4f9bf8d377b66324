//! Truth values of a block, one bit a row, and windows over them.

use std::collections::VecDeque;
use std::ops::Range;

/// Rows in a word.
const WORD: usize = 64;

/// Truth values of the rows of a block; bits past the last row are 0.
#[derive(Clone, Debug, Default)]
pub(super) struct Bits {
    words: Vec<u64>,
    rows: usize,
}

impl Bits {
    /// The value in a row of the block.
    pub fn at(&self, row: usize) -> bool {
        self.words[row / WORD] >> (row % WORD) & 1 == 1
    }

    /// Whether any row is true.
    pub fn any(&self) -> bool {
        self.words.iter().any(|word| *word != 0)
    }

    /// The first row from `from` on that is `wanted`; none in a block without one.
    pub fn find(&self, from: usize, wanted: bool) -> Option<usize> {
        if from >= self.rows {
            return None;
        }
        let flip = if wanted { 0 } else { u64::MAX };
        let first = (self.words[from / WORD] ^ flip) & (u64::MAX << (from % WORD));
        let rest = self.words[from / WORD + 1..].iter().map(|word| word ^ flip);
        let (index, word) = std::iter::once(first)
            .chain(rest)
            .enumerate()
            .find(|(_, word)| *word != 0)?;
        let row = (from / WORD + index) * WORD + word.trailing_zeros() as usize;
        (row < self.rows).then_some(row)
    }

    /// The same in every row.
    pub fn fill(&mut self, rows: usize, value: bool) {
        self.clear(rows);
        if value {
            self.words.fill(u64::MAX);
            self.trim();
        }
    }

    /// Takes what `value` says of each row.
    pub fn each(&mut self, rows: usize, value: impl Fn(usize) -> bool) {
        self.clear(rows);
        for (index, word) in self.words.iter_mut().enumerate() {
            let first = index * WORD;
            let mut bytes = [0_u8; WORD];
            for (byte, row) in bytes.iter_mut().zip(first..rows) {
                *byte = u8::from(value(row));
            }
            *word = packed(&bytes);
        }
    }

    /// Takes what `value` makes of each pair of numbers.
    pub fn of_pairs(&mut self, left: &[f64], right: &[f64], value: impl Fn(f64, f64) -> bool) {
        self.clear(left.len().min(right.len()));
        let pairs = left.chunks(WORD).zip(right.chunks(WORD));
        for (word, (left, right)) in self.words.iter_mut().zip(pairs) {
            let mut bytes = [0_u8; WORD];
            for (byte, (left, right)) in bytes.iter_mut().zip(left.iter().zip(right)) {
                *byte = u8::from(value(*left, *right));
            }
            *word = packed(&bytes);
        }
    }

    /// Takes what `value` makes of each number.
    pub fn of_each(&mut self, numbers: &[f64], value: impl Fn(f64) -> bool) {
        self.clear(numbers.len());
        for (word, numbers) in self.words.iter_mut().zip(numbers.chunks(WORD)) {
            let mut bytes = [0_u8; WORD];
            for (byte, number) in bytes.iter_mut().zip(numbers) {
                *byte = u8::from(value(*number));
            }
            *word = packed(&bytes);
        }
    }

    /// Takes `op` of one, 64 rows at a time.
    pub fn of_one(&mut self, one: &Self, op: impl Fn(u64) -> u64) {
        self.rows = one.rows;
        self.words.clear();
        self.words.extend(one.words.iter().map(|one| op(*one)));
        self.trim();
    }

    /// Takes `op` of two, 64 rows at a time.
    pub fn of_two(&mut self, one: &Self, two: &Self, op: impl Fn(u64, u64) -> u64) {
        self.rows = one.rows;
        self.words.clear();
        let both = one.words.iter().zip(&two.words);
        self.words.extend(both.map(|(one, two)| op(*one, *two)));
        self.trim();
    }

    /// Takes the values of the row before each; `carry` is that before the first, and becomes the
    /// last.
    pub fn of_row_before(&mut self, other: &Self, carry: &mut bool) {
        self.rows = other.rows;
        self.words.clear();
        for word in &other.words {
            self.words.push(word << 1 | u64::from(*carry));
            *carry = word >> (WORD - 1) == 1;
        }
        if let Some(last) = other.rows.checked_sub(1) {
            *carry = other.at(last);
        }
        self.trim();
    }

    /// Makes the rows of a range true.
    pub fn paint(&mut self, range: Range<usize>) {
        let (mut from, to) = (range.start, range.end.min(self.rows));
        while from < to {
            let count = (WORD - from % WORD).min(to - from);
            let ones = u64::MAX >> (WORD - count);
            self.words[from / WORD] |= ones << (from % WORD);
            from += count;
        }
    }

    /// Makes the rows from `row` on false.
    pub fn cut(&mut self, row: usize) {
        for (index, word) in self.words.iter_mut().enumerate().skip(row / WORD) {
            *word &= match row.checked_sub(index * WORD) {
                Some(kept) => !(u64::MAX << kept),
                None => 0,
            };
        }
    }

    /// The rows in the opposite order.
    pub fn reversed(&self) -> Self {
        let mut out = Self::default();
        out.each(self.rows, |row| self.at(self.rows - 1 - row));
        out
    }

    /// No row of so many is true.
    pub fn clear(&mut self, rows: usize) {
        self.rows = rows;
        self.words.clear();
        self.words.resize(rows.div_ceil(WORD), 0);
    }

    /// Bytes that so many rows take in [`Self::save`].
    pub const fn bytes(rows: usize) -> usize {
        rows.div_ceil(WORD) * size_of::<u64>()
    }

    /// Appends its bytes.
    pub fn save(&self, bytes: &mut Vec<u8>) {
        for word in &self.words {
            bytes.extend_from_slice(&word.to_le_bytes());
        }
    }

    /// Takes what was saved of so many rows.
    pub fn load(&mut self, rows: usize, bytes: &[u8]) {
        self.rows = rows;
        self.words.clear();
        let words = bytes.as_chunks::<8>().0.iter();
        self.words
            .extend(words.map(|word| u64::from_le_bytes(*word)));
    }

    fn trim(&mut self) {
        if let Some(last) = self.words.last_mut()
            && !self.rows.is_multiple_of(WORD)
        {
            *last &= u64::MAX >> (WORD - self.rows % WORD);
        }
    }
}

/// The lowest bits of the bytes, the first byte's lowest.
fn packed(bytes: &[u8; WORD]) -> u64 {
    let mut word = 0;
    for (index, eight) in bytes.as_chunks::<8>().0.iter().enumerate() {
        // Each byte is 0 or 1: the product gathers them, the first one lowest, in its highest byte.
        let gathered = u64::from_le_bytes(*eight).wrapping_mul(0x0102_0408_1020_4080) >> 56;
        word |= gathered << (8 * index);
    }
    word
}

/// For each true row the rows `from` to `to` after it, both inside: the window of `once`, block
/// after block.
///
/// Memory: two numbers for each gap among the true rows that are less than a window ago.
#[derive(Clone, Debug, Default)]
pub(super) struct Dilation {
    from: usize,
    /// `None`: all rows from `from` on.
    to: Option<usize>,
    /// Ranges that were found and are not past yet, in order.
    ranges: VecDeque<Range<usize>>,
}

impl Dilation {
    /// Of a window of rows after the row.
    pub fn new(from: usize, to: Option<usize>) -> Self {
        Self {
            from,
            to,
            ranges: VecDeque::new(),
        }
    }

    /// Takes the next block, which begins at `start`, and gives the rows of this block.
    pub fn next(&mut self, start: usize, bits: &Bits, out: &mut Bits) {
        let mut row = 0;
        while let Some(first) = bits.find(row, true) {
            row = bits.find(first, false).unwrap_or(bits.rows);
            let end = self
                .to
                .map_or(usize::MAX, |to| (start + row).saturating_add(to));
            self.add((start + first).saturating_add(self.from)..end);
        }
        self.paint(start, bits.rows, out);
    }

    /// Adds a range that starts no earlier than the last one.
    pub fn add(&mut self, range: Range<usize>) {
        match self.ranges.back_mut() {
            Some(last) if range.start <= last.end => last.end = last.end.max(range.end),
            _ => self.ranges.push_back(range),
        }
    }

    /// Makes true what lies in so many rows from `start` on, and forgets it.
    pub fn paint(&mut self, start: usize, rows: usize, out: &mut Bits) {
        out.clear(rows);
        while let Some(range) = self.ranges.front() {
            if range.start >= start + rows {
                break;
            }
            out.paint(
                range.start.saturating_sub(start)..range.end.min(start + rows).max(start) - start,
            );
            if range.end > start + rows {
                break;
            }
            self.ranges.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bits(rows: usize, value: impl Fn(usize) -> bool) -> Bits {
        let mut bits = Bits::default();
        bits.each(rows, value);
        bits
    }

    #[test]
    fn rows_are_packed_found_and_reversed() {
        for rows in [0, 1, 7, 63, 64, 65, 200] {
            let thirds = bits(rows, |row| row % 3 == 1);
            assert!((0..rows).all(|row| thirds.at(row) == (row % 3 == 1)));
            for from in 0..=rows {
                for wanted in [true, false] {
                    let found = (from..rows).find(|row| (row % 3 == 1) == wanted);
                    assert_eq!(thirds.find(from, wanted), found, "{rows} rows from {from}");
                }
            }
            for row in 0..=rows + 1 {
                let mut cut = thirds.clone();
                cut.cut(row);
                assert!((0..rows).all(|at| cut.at(at) == (at < row && at % 3 == 1)));
            }
            let back = thirds.reversed();
            assert!((0..rows).all(|row| back.at(row) == ((rows - 1 - row) % 3 == 1)));
            let mut before = Bits::default();
            let mut carry = true;
            before.of_row_before(&thirds, &mut carry);
            assert!((0..rows).all(|row| before.at(row) == (row == 0 || row % 3 == 2)));
            assert_eq!(carry, rows == 0 || rows % 3 == 2);
            let mut saved = Vec::new();
            thirds.save(&mut saved);
            assert_eq!(saved.len(), Bits::bytes(rows));
            let mut loaded = Bits::default();
            loaded.load(rows, &saved);
            assert!((0..rows).all(|row| loaded.at(row) == thirds.at(row)));
        }
    }

    #[test]
    fn a_block_is_dilated_as_the_whole_is() {
        let set = |row: usize| row % 37 < 3 || row == 150;
        for (from, to) in [
            (0, Some(0)),
            (0, Some(5)),
            (2, Some(40)),
            (70, Some(90)),
            (3, None),
        ] {
            let inside = |row: usize, other: usize| {
                other + from <= row && to.is_none_or(|to| row <= other + to)
            };
            for block in [1, 5, 64, 100, 300] {
                let mut dilation = Dilation::new(from, to);
                let mut start = 0;
                while start < 300 {
                    let rows = block.min(300 - start);
                    let mut out = Bits::default();
                    dilation.next(start, &bits(rows, |row| set(start + row)), &mut out);
                    for row in start..start + rows {
                        let expected = (0..=row).any(|other| set(other) && inside(row, other));
                        assert_eq!(out.at(row - start), expected, "[{from}, {to:?}], row {row}");
                    }
                    start += rows;
                }
            }
        }
    }
}

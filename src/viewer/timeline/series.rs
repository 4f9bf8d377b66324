//! A signal as a plot wants it: lowest and highest of blocks of rows, so that ten minutes cost no
//! more than a screen.

use trimproof_formula::Signals;
use trimproof_harness::trace::Trace;

/// Rows in a block.
const BLOCK: usize = 64;

/// One corner of a curve: time in s, value.
pub type Spot = [f64; 2];

/// A signal with the lowest and highest value of every full block of rows. Values that are no
/// number are left out.
#[derive(Clone, Debug, Default)]
pub struct Series {
    values: Vec<f64>,
    blocks: Vec<[f64; 2]>,
    range: Option<[f64; 2]>,
}

impl Series {
    /// Takes what the trace has more than this.
    pub fn follow(&mut self, trace: &Trace, name: &str) {
        let rows = trace.rows();
        if self.values.len() >= rows {
            return;
        }
        let from = self.values.len();
        match trace.numbers(name) {
            Some(values) => self.extend(&values[from..]),
            None => {
                if let Some(values) = trace.signal(name) {
                    self.extend(&values[from..]);
                }
            }
        }
    }

    /// Appends values.
    pub fn extend(&mut self, values: &[f64]) {
        self.values.extend_from_slice(values);
        while (self.blocks.len() + 1) * BLOCK <= self.values.len() {
            let from = self.blocks.len() * BLOCK;
            self.blocks.push(span(&self.values[from..from + BLOCK]));
        }
        let fresh = span(values);
        if fresh[0] <= fresh[1] {
            let old = self.range.unwrap_or(fresh);
            self.range = Some([old[0].min(fresh[0]), old[1].max(fresh[1])]);
        }
    }

    /// Lowest and highest value of all; `None` without any.
    pub fn range(&self) -> Option<[f64; 2]> {
        self.range
    }

    /// Value of a row; `None` if there is none.
    pub fn value(&self, row: usize) -> Option<f64> {
        self.values.get(row).copied()
    }

    /// Bytes that it takes.
    pub fn bytes(&self) -> usize {
        self.values.capacity() * size_of::<f64>() + self.blocks.capacity() * size_of::<[f64; 2]>()
    }

    /// The curve from `from_s` to `to_s` in at most about `2 * pieces` corners: every row where
    /// there are few, else the lowest and the highest of each piece in the order in which they
    /// come, so that no peak is lost.
    pub fn curve(&self, tick_s: f64, from_s: f64, to_s: f64, pieces: usize) -> Vec<Spot> {
        let rows = self.values.len();
        if rows == 0 || to_s < from_s || pieces == 0 {
            return Vec::new();
        }
        // One row more on either side, so that the curve runs out of the frame.
        let first = ((from_s / tick_s).floor().max(0.0) as usize).min(rows - 1);
        let last = ((to_s / tick_s).ceil().max(0.0) as usize).min(rows - 1);
        let spot = |row: usize| [row as f64 * tick_s, self.values[row]];
        if last - first < 2 * pieces {
            return (first..=last)
                .map(spot)
                .filter(|spot| spot[1].is_finite())
                .collect();
        }
        let mut corners = Vec::with_capacity(2 * pieces + 2);
        // Pieces stand on whole multiples of their length: panning must not make the curve shimmer.
        let length = (last - first).div_ceil(pieces);
        let mut from = first / length * length;
        while from <= last {
            let to = (from + length).min(rows);
            if let Some([low, high]) = self.extremes(from, to) {
                let (a, b) = if low <= high {
                    (low, high)
                } else {
                    (high, low)
                };
                corners.push(spot(a));
                if a != b {
                    corners.push(spot(b));
                }
            }
            from += length;
        }
        corners
    }

    /// Rows of the lowest and the highest value among `from..to`; `None` if none is a number.
    fn extremes(&self, from: usize, to: usize) -> Option<[usize; 2]> {
        let mut best: Option<[usize; 2]> = None;
        let mut take = |row: usize| {
            let value = self.values[row];
            if !value.is_finite() {
                return;
            }
            match &mut best {
                None => best = Some([row, row]),
                Some([low, high]) => {
                    if value < self.values[*low] {
                        *low = row;
                    }
                    if value > self.values[*high] {
                        *high = row;
                    }
                }
            }
        };
        let mut row = from;
        let mut wide: Option<([f64; 2], [usize; 2])> = None;
        while row < to {
            let block = row / BLOCK;
            if row.is_multiple_of(BLOCK) && row + BLOCK <= to && block < self.blocks.len() {
                let [low, high] = self.blocks[block];
                if low <= high {
                    let ([least, most], [at_least, at_most]) =
                        wide.unwrap_or(([low, high], [block, block]));
                    wide = Some((
                        [least.min(low), most.max(high)],
                        [
                            if low < least { block } else { at_least },
                            if high > most { block } else { at_most },
                        ],
                    ));
                }
                row += BLOCK;
            } else {
                take(row);
                row += 1;
            }
        }
        if let Some((_, blocks)) = wide {
            for block in blocks {
                (block * BLOCK..(block + 1) * BLOCK).for_each(&mut take);
            }
        }
        best
    }
}

/// Lowest and highest of the numbers; low above high if there is none.
fn span(values: &[f64]) -> [f64; 2] {
    values
        .iter()
        .filter(|value| value.is_finite())
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], value| {
            [low.min(*value), high.max(*value)]
        })
}

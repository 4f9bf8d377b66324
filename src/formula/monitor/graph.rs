//! All parts of all formulas as one graph, and the passes over the rows in which it is worked out.
//!
//! What looks back needs its rows in order, what looks ahead needs them from the last to the first.
//! So there are passes: the first, in order, while the run is under way, works out all that does
//! not rest on a look ahead; the second, backwards, what does; and so on, as deep as formulas nest
//! the two directions. A column that a later pass needs is stored, block by block; all others are
//! gone with their block.

use std::io;
use std::ops::Range;

use super::bits::Bits;
use super::block::{RowBlock, TimeDirection};
use super::numbers::Numbers;
use super::points::{PointOp, Points, beats};
use super::truths::{TruthOp, Truths};
use crate::Signals;
use crate::node::Quantifier;
use crate::point::RowPoint;
use crate::scratch::Scratch;

/// Bytes of a stored point.
const POINT_BYTES: usize = 16;

/// The parts of formulas, and what is asked of them.
#[derive(Debug)]
pub(super) struct Graph {
    /// Rows of the whole.
    pub rows: usize,
    /// Rows of every block but the last.
    pub block_rows: usize,
    pub numbers: Numbers,
    pub points: Points,
    pub truths: Truths,
    /// Pass of each point.
    point_pass: Vec<usize>,
    /// Rows of each point that are needed.
    point_rows: Vec<Range<usize>>,
    /// Pass of each truth.
    truth_pass: Vec<usize>,
    folds: Vec<Fold>,
    anys: Vec<Any>,
    /// A point whose values in all rows are wanted, and these.
    collected: Option<(usize, Vec<RowPoint>)>,
    passes: Vec<Pass>,
    scratch: Scratch,
    /// Bytes that are stored of a whole block.
    stride: usize,
    buffer: Vec<u8>,
}

/// The decisive point of a column over some rows.
#[derive(Debug)]
struct Fold {
    point: usize,
    rows: Range<usize>,
    quantifier: Quantifier,
    best: Option<RowPoint>,
}

/// Whether a truth is true in any row.
#[derive(Debug)]
struct Any {
    truth: usize,
    found: bool,
}

/// What is worked out in one pass, by index.
#[derive(Debug, Default)]
struct Pass {
    points: Vec<usize>,
    truths: Vec<usize>,
    folds: Vec<usize>,
    anys: Vec<usize>,
    /// What is taken from earlier passes, and what is stored for later ones.
    loaded: Vec<Stored>,
    stored: Vec<Stored>,
}

/// A column that is stored, and where in the bytes of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Stored {
    column: StoredColumn,
    offset: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum StoredColumn {
    Point(usize),
    Truth(usize),
}

impl Graph {
    /// A graph without a part; of stored columns so many bytes stay in memory.
    pub fn new(rows: usize, block_rows: usize, tick_s: f64, room: usize) -> Self {
        Self {
            rows,
            block_rows,
            numbers: Numbers::new(tick_s),
            points: Points::default(),
            truths: Truths::default(),
            point_pass: Vec::new(),
            point_rows: Vec::new(),
            truth_pass: Vec::new(),
            folds: Vec::new(),
            anys: Vec::new(),
            collected: None,
            passes: Vec::new(),
            scratch: Scratch::new(room),
            stride: 0,
            buffer: Vec::new(),
        }
    }

    /// Adds a point. What it is made of is there.
    pub fn point(&mut self, op: PointOp) -> usize {
        let inputs = op.inputs().map(|input| self.point_pass[input]);
        self.point_pass.push(pass_after(op.direction(), inputs));
        self.point_rows.push(0..0);
        self.points.add(op)
    }

    /// Adds a truth, unless it is there. What it is made of is there.
    pub fn truth(&mut self, op: TruthOp) -> usize {
        let point = match op {
            TruthOp::OfPoint(point) => {
                self.need(point, 0..self.rows);
                Some(self.point_pass[point])
            }
            _ => None,
        };
        let inputs = op.inputs().map(|input| self.truth_pass[input]);
        let pass = pass_after(op.direction(), inputs.chain(point));
        let index = self.truths.add(op);
        if index == self.truth_pass.len() {
            self.truth_pass.push(pass);
        }
        index
    }

    /// Asks for the decisive point of a column over some rows; gives the index of the answer.
    pub fn fold(&mut self, point: usize, rows: Range<usize>, quantifier: Quantifier) -> usize {
        self.need(point, rows.clone());
        self.folds.push(Fold {
            point,
            rows,
            quantifier,
            best: None,
        });
        self.folds.len() - 1
    }

    /// Asks whether a truth is true in any row; gives the index of the answer.
    pub fn any(&mut self, truth: usize) -> usize {
        self.anys.push(Any {
            truth,
            found: false,
        });
        self.anys.len() - 1
    }

    /// The answer to [`Self::fold`]: `None` if no row was asked for.
    pub fn folded(&self, fold: usize) -> Option<RowPoint> {
        self.folds[fold].best
    }

    /// The answer to [`Self::any`].
    pub fn found(&self, any: usize) -> bool {
        self.anys[any].found
    }

    /// Says that a point is needed in some rows: in others it is not worked out.
    pub fn need(&mut self, point: usize, rows: Range<usize>) {
        let needed = &mut self.point_rows[point];
        if rows.start >= rows.end {
            return;
        }
        *needed = if needed.start < needed.end {
            needed.start.min(rows.start)..needed.end.max(rows.end)
        } else {
            rows
        };
    }

    /// Asks for the values of a point in all rows.
    pub fn collect(&mut self, point: usize) {
        self.need(point, 0..self.rows);
        self.collected = Some((point, vec![RowPoint::plain(false, 0); self.rows]));
    }

    /// The answer to [`Self::collect`].
    pub fn collected(self) -> Vec<RowPoint> {
        self.collected.map_or_else(Vec::new, |(_, points)| points)
    }

    /// Ends the adding: decides what is worked out in which pass, and what is stored.
    pub fn seal(&mut self) {
        // What a point is made of was there before it.
        for point in (0..self.point_rows.len()).rev() {
            let op = self.points.op(point);
            let (inputs, direction) = (op.inputs(), op.direction());
            let needed = self.point_rows[point].clone();
            if needed.start >= needed.end {
                continue;
            }
            // What goes from row to row needs all rows before.
            let rows = match direction {
                TimeDirection::Either => needed,
                TimeDirection::Forward => 0..needed.end,
                TimeDirection::Backward => needed.start..self.rows,
            };
            self.point_rows[point] = rows.clone();
            inputs.for_each(|input| self.need(input, rows.clone()));
        }
        let last = self.point_pass.iter().chain(&self.truth_pass).max();
        let mut passes: Vec<Pass> = Vec::new();
        passes.resize_with(last.map_or(1, |last| last + 1), Pass::default);
        let mut needs: Vec<(usize, StoredColumn, usize)> = Vec::new();
        for (point, pass) in self.point_pass.iter().enumerate() {
            passes[*pass].points.push(point);
            for input in self.points.op(point).inputs() {
                needs.push((*pass, StoredColumn::Point(input), self.point_pass[input]));
            }
        }
        for (truth, pass) in self.truth_pass.iter().enumerate() {
            passes[*pass].truths.push(truth);
            let op = self.truths.op(truth);
            for input in op.inputs() {
                needs.push((*pass, StoredColumn::Truth(input), self.truth_pass[input]));
            }
        }
        for (index, fold) in self.folds.iter().enumerate() {
            passes[self.point_pass[fold.point]].folds.push(index);
        }
        for (index, any) in self.anys.iter().enumerate() {
            passes[self.truth_pass[any.truth]].anys.push(index);
        }
        needs.retain(|(needed, _, made)| made < needed);
        needs.sort_unstable();
        needs.dedup();
        let mut all: Vec<Stored> = Vec::new();
        for (needed, column, made) in needs {
            let stored = match all.iter().find(|stored| stored.column == column) {
                Some(stored) => *stored,
                None => {
                    let stored = Stored {
                        column,
                        offset: self.stride,
                    };
                    self.stride += column.bytes(self.block_rows);
                    all.push(stored);
                    passes[made].stored.push(stored);
                    stored
                }
            };
            passes[needed].loaded.push(stored);
        }
        self.passes = passes;
    }

    /// The first pass over the next block, which begins at `start`.
    ///
    /// # Errors
    /// What a later pass needs cannot be stored.
    pub fn first_pass(&mut self, start: usize, signals: &dyn Signals) -> io::Result<()> {
        self.numbers.next(signals);
        self.work_out(0, self.block(start / self.block_rows.max(1)))
    }

    /// All other passes, when the last block had its first.
    ///
    /// # Errors
    /// What a pass needs cannot be stored or read.
    pub fn other_passes(&mut self) -> io::Result<()> {
        for pass in 1..self.passes.len() {
            let blocks = self.rows.div_ceil(self.block_rows);
            for index in 0..blocks {
                let index = if pass % 2 == 1 {
                    blocks - 1 - index
                } else {
                    index
                };
                self.work_out(pass, self.block(index))?;
            }
        }
        Ok(())
    }

    fn block(&self, index: usize) -> RowBlock {
        let start = index * self.block_rows;
        RowBlock {
            start,
            rows: self.block_rows.min(self.rows.saturating_sub(start)),
            all: self.rows,
        }
    }

    fn work_out(&mut self, index: usize, block: RowBlock) -> io::Result<()> {
        // Taken out while it is worked on: nothing else looks at it.
        let mut pass = std::mem::take(&mut self.passes[index]);
        let done = self.work_out_pass(&mut pass, index, block);
        self.passes[index] = pass;
        done
    }

    fn work_out_pass(&mut self, pass: &mut Pass, index: usize, block: RowBlock) -> io::Result<()> {
        for stored in &pass.loaded {
            if self.is_needed(stored.column, block) {
                self.load(*stored, block)?;
            }
        }
        for point in &pass.points {
            if self.is_needed(StoredColumn::Point(*point), block) {
                self.points.find(*point, block, &self.numbers);
            }
        }
        for truth in &pass.truths {
            self.truths.find(*truth, block, &self.numbers, &self.points);
        }
        for fold in &pass.folds {
            let fold = &mut self.folds[*fold];
            fold.take(block, self.points.of(fold.point), index % 2 == 1);
        }
        // What was found once needs no second look.
        pass.anys.retain(|any| {
            let any = &mut self.anys[*any];
            any.found = self.truths.of(any.truth).any();
            !any.found
        });
        if let Some((point, collected)) = &mut self.collected
            && self.point_pass[*point] == index
        {
            let points = self.points.of(*point);
            collected[block.start..][..points.len()].copy_from_slice(points);
        }
        for stored in &pass.stored {
            if self.is_needed(stored.column, block) {
                self.store(*stored, block)?;
            }
        }
        Ok(())
    }

    /// Whether some row of a block is needed of a column.
    fn is_needed(&self, column: StoredColumn, block: RowBlock) -> bool {
        match column {
            StoredColumn::Point(point) => {
                let rows = &self.point_rows[point];
                rows.start < block.start + block.rows && block.start < rows.end
            }
            StoredColumn::Truth(_) => true,
        }
    }

    fn place(&self, stored: Stored, block: RowBlock) -> u64 {
        (block.start / self.block_rows) as u64 * self.stride as u64 + stored.offset as u64
    }

    fn store(&mut self, stored: Stored, block: RowBlock) -> io::Result<()> {
        self.buffer.clear();
        match stored.column {
            StoredColumn::Point(point) => {
                for point in self.points.of(point) {
                    self.buffer.extend_from_slice(&point.to_bytes());
                }
            }
            StoredColumn::Truth(truth) => self.truths.of(truth).save(&mut self.buffer),
        }
        self.scratch.write(self.place(stored, block), &self.buffer)
    }

    fn load(&mut self, stored: Stored, block: RowBlock) -> io::Result<()> {
        self.buffer.clear();
        self.buffer.resize(stored.column.bytes(block.rows), 0);
        self.scratch
            .read(self.place(stored, block), &mut self.buffer)?;
        match stored.column {
            StoredColumn::Point(point) => {
                let points = self.points.of_mut(point);
                points.clear();
                let bytes = self.buffer.as_chunks::<POINT_BYTES>().0;
                points.extend(bytes.iter().map(RowPoint::from_bytes));
            }
            StoredColumn::Truth(truth) => self.truths.of_mut(truth).load(block.rows, &self.buffer),
        }
        Ok(())
    }
}

impl StoredColumn {
    /// Bytes of so many rows.
    fn bytes(self, rows: usize) -> usize {
        match self {
            Self::Point(_) => rows * POINT_BYTES,
            Self::Truth(_) => Bits::bytes(rows),
        }
    }
}

impl Fold {
    /// Takes the points of a block; of equals the earliest decides.
    fn take(&mut self, block: RowBlock, points: &[RowPoint], backward: bool) {
        let from = self.rows.start.max(block.start);
        let to = self.rows.end.min(block.start + block.rows);
        if from >= to {
            return;
        }
        let mut points = points[from - block.start..to - block.start].iter().copied();
        let Some(mut best) = points.next() else {
            return;
        };
        for point in points {
            if beats(self.quantifier, point, best) {
                best = point;
            }
        }
        let stays = self.best.is_some_and(|before| match backward {
            true => beats(self.quantifier, before, best),
            false => !beats(self.quantifier, best, before),
        });
        if !stays {
            self.best = Some(best);
        }
    }
}

/// The earliest pass of the right direction in which all that a part is made of is there; even
/// passes go forward.
fn pass_after(direction: TimeDirection, inputs: impl Iterator<Item = usize>) -> usize {
    let earliest = inputs.max().unwrap_or(0);
    match (direction, earliest % 2) {
        (TimeDirection::Forward, 1) | (TimeDirection::Backward, 0) => earliest + 1,
        _ => earliest,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_comes_in_the_first_pass_of_its_direction() {
        let after = |direction, inputs: &[usize]| pass_after(direction, inputs.iter().copied());
        assert_eq!(after(TimeDirection::Either, &[]), 0);
        assert_eq!(after(TimeDirection::Either, &[0, 1]), 1);
        assert_eq!(after(TimeDirection::Forward, &[0, 2]), 2);
        assert_eq!(after(TimeDirection::Forward, &[1]), 2);
        assert_eq!(after(TimeDirection::Backward, &[]), 1);
        assert_eq!(after(TimeDirection::Backward, &[1, 0]), 1);
        assert_eq!(after(TimeDirection::Backward, &[2]), 3);
    }

    /// What is needed of a point is one range, from the first row that anything needs to the last.
    #[test]
    fn a_point_is_needed_between_its_first_and_its_last_row() {
        let mut graph = Graph::new(20, 5, 0.002, 0);
        let point = graph.point(PointOp::Constant(true));
        let other = graph.point(PointOp::Constant(false));
        for (rows, needed) in [
            (8..8, 0..0),
            (6..8, 6..8),
            (2..2, 6..8),
            (10..12, 6..12),
            (4..7, 4..12),
            (5..9, 4..12),
        ] {
            graph.need(point, rows);
            assert_eq!(graph.point_rows[point], needed);
        }
        assert_eq!(graph.point_rows[other], 0..0);
    }
}

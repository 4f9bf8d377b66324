//! Judges formulas while the rows come in, block after block, in the same room for any number of
//! rows.
//!
//! The parts of all formulas form one graph (`graph.rs`); equal numbers and conditions are worked
//! out once. Two kinds of values: points (`points.rs`: margin and what decided it) where a verdict
//! may come from, and bits (`truths.rs`) for laws and for whether an expectation was put to the
//! test (`checks.rs`). A law that breaks gets its margin from the last rows, which are kept.
//!
//! Memory, beside some blocks: for a window within another one at most 24 bytes a row of the window
//! (in practice a few candidates), and 16 bytes a row between a window and its instant. Windows to
//! the end or back to the start take nothing, nor do outermost windows. What later passes need, 16
//! bytes a row for each part under a look ahead that is not outermost, goes to a temporary file
//! beyond a fixed room.

mod bits;
mod block;
mod checks;
mod graph;
mod numbers;
mod plan;
mod points;
mod truths;

use std::borrow::Cow;
use std::io;
use std::ops::Range;

use super::node::Truth;
use super::parts::signals_of;
use super::point::RowPoint;
use super::{Formula, Margin, Signals};
use checks::Checks;
use graph::Graph;
use plan::{RowStart, rows_back};

/// Rows of a block: its columns fit the second-level cache.
pub const BLOCK_ROWS: usize = 512;

/// Bytes of stored columns that stay in memory: most short runs never make a file.
const ROOM_BYTES: usize = 1 << 20;

/// Most rows before the present block that are kept for the margins of broken laws: 131 s at 500
/// Hz, 8 bytes a row for each signal that laws speak of which look back so far, fewer where a
/// signal does not change for a block. Laws that look back further are followed with their margins
/// all the way.
const KEPT_ROWS_MAX: usize = 128 * BLOCK_ROWS;

/// Judges expectations and laws on rows as they come.
#[derive(Debug)]
pub struct Monitor<'a> {
    expectations: Vec<MonitoredFormula<'a>>,
    laws: Vec<WatchedLaw<'a>>,
    graph: Graph,
    tick_s: f64,
    /// Rows so far.
    seen: usize,
    /// What went wrong with the temporary file, the first time.
    trouble: Option<io::Error>,
}

/// What became of all formulas, in the order in which they were given.
#[derive(Debug)]
pub struct Findings {
    /// Of each expectation, its margin.
    pub margins: Vec<Margin>,
    /// Of each law, its margin in the first row in which it is false, with the time of that row;
    /// `None` if it is true in every row.
    pub breaks: Vec<Option<Margin>>,
}

#[derive(Debug)]
struct MonitoredFormula<'a> {
    formula: &'a Formula,
    start: RowStart,
    checks: Checks,
}

#[derive(Debug)]
struct WatchedLaw<'a> {
    formula: &'a Formula,
    watched: WatchedRoot,
    broken: Option<Margin>,
}

#[derive(Clone, Copy, Debug)]
enum WatchedRoot {
    /// By the truth with this index; so many rows decide it.
    Truth(usize, usize),
    /// By the point with this index.
    Point(usize),
}

impl<'a> Monitor<'a> {
    /// A monitor of a whole of `rows` rows that come in blocks of [`BLOCK_ROWS`], the last one
    /// shorter.
    pub fn new(
        expectations: impl IntoIterator<Item = &'a Formula>,
        laws: impl IntoIterator<Item = &'a Formula>,
        rows: usize,
        tick_s: f64,
    ) -> Self {
        Self::with(
            expectations,
            laws,
            tick_s,
            Graph::new(rows, BLOCK_ROWS, tick_s, ROOM_BYTES),
        )
    }

    /// The same with an empty graph.
    fn with(
        expectations: impl IntoIterator<Item = &'a Formula>,
        laws: impl IntoIterator<Item = &'a Formula>,
        tick_s: f64,
        mut graph: Graph,
    ) -> Self {
        let expectations = expectations
            .into_iter()
            .map(|formula| MonitoredFormula {
                formula,
                start: graph.start_of(&formula.root, true),
                checks: Checks::of(&formula.root, &formula.text, &mut graph),
            })
            .collect();
        let laws = laws
            .into_iter()
            .map(|formula| WatchedLaw {
                formula,
                watched: watch(formula, &mut graph),
                broken: None,
            })
            .collect();
        graph.seal();
        Self {
            expectations,
            laws,
            graph,
            tick_s,
            seen: 0,
            trouble: None,
        }
    }

    /// Takes the next block. A run that is cut ends in a block that is too short: nothing is judged
    /// then.
    pub fn take(&mut self, block: &dyn Signals) {
        if self.trouble.is_some() || block.rows() == 0 {
            return;
        }
        let left = self.graph.rows.saturating_sub(self.seen);
        if block.rows() != left.min(self.graph.block_rows) {
            self.trouble = Some(io::Error::other("rows are missing"));
            return;
        }
        self.trouble = self.graph.first_pass(self.seen, block).err();
        for law in &mut self.laws {
            if law.broken.is_none() {
                law.look(&self.graph, self.seen, self.tick_s);
            }
        }
        self.seen += block.rows();
    }

    /// Judges, when the last block was taken.
    ///
    /// # Errors
    /// The temporary file could not be written or read, or fewer rows came than were announced.
    pub fn finish(mut self) -> io::Result<Findings> {
        if let Some(trouble) = self.trouble {
            return Err(trouble);
        }
        if self.seen != self.graph.rows {
            return Err(io::Error::other("rows are missing"));
        }
        self.graph.other_passes()?;
        let margins = self.expectations.iter().map(|one| {
            let point = one.start.point(&self.graph);
            let complete = one.formula.is_complete(self.seen, self.tick_s);
            let mut margin = one.formula.margin(point, self.tick_s, complete);
            if margin.held {
                margin.tested = one.checks.tested(&one.formula.text, &self.graph);
            }
            margin
        });
        Ok(Findings {
            margins: margins.collect(),
            breaks: self.laws.into_iter().map(|law| law.broken).collect(),
        })
    }
}

/// Judges a whole table at once.
///
/// # Errors
/// As of [`Monitor::finish`]; with all its room in memory it does not fail.
pub fn judge_whole<'a>(
    expectations: impl IntoIterator<Item = &'a Formula>,
    laws: impl IntoIterator<Item = &'a Formula>,
    signals: &dyn Signals,
) -> io::Result<Findings> {
    judge_in_blocks(expectations, laws, signals, (BLOCK_ROWS, usize::MAX))
}

/// The same with blocks and a room of other sizes.
pub(super) fn judge_in_blocks<'a>(
    expectations: impl IntoIterator<Item = &'a Formula>,
    laws: impl IntoIterator<Item = &'a Formula>,
    signals: &dyn Signals,
    (block_rows, room): (usize, usize),
) -> io::Result<Findings> {
    let (rows, tick_s) = (signals.rows(), signals.tick_s());
    let graph = Graph::new(rows, block_rows, tick_s, room);
    let mut monitor = Monitor::with(expectations, laws, tick_s, graph);
    let table = SignalTable::of(signals, monitor.graph.numbers.signals());
    for part in table.parts(rows, tick_s, block_rows) {
        monitor.take(&part);
    }
    monitor.finish()
}

/// Whether a part is true, in every row; what is undefined counts as false.
pub(super) fn truth_in_every_row(node: &Truth, signals: &dyn Signals) -> Vec<bool> {
    points_in_every_row(node, signals, (BLOCK_ROWS, usize::MAX))
        .into_iter()
        .map(RowPoint::truth)
        .collect()
}

/// The points of a part in every row, with blocks and a room of these sizes.
pub(super) fn points_in_every_row(
    node: &Truth,
    signals: &dyn Signals,
    (block_rows, room): (usize, usize),
) -> Vec<RowPoint> {
    let (rows, tick_s) = (signals.rows(), signals.tick_s());
    let mut graph = Graph::new(rows, block_rows, tick_s, room);
    let point = graph.point_of(node, true);
    graph.collect(point);
    graph.seal();
    let table = SignalTable::of(signals, graph.numbers.signals());
    let mut start = 0;
    for part in table.parts(rows, tick_s, block_rows) {
        // With all the room in memory nothing can go wrong.
        if graph.first_pass(start, &part).is_err() {
            return Vec::new();
        }
        start += part.rows();
    }
    match graph.other_passes() {
        Ok(()) => graph.collected(),
        Err(_) => Vec::new(),
    }
}

fn watch(formula: &Formula, graph: &mut Graph) -> WatchedRoot {
    match rows_back(&formula.root) {
        Some(back) if back <= KEPT_ROWS_MAX => {
            let mut names = Vec::new();
            signals_of(&formula.root, &mut names);
            for name in names {
                graph.numbers.keep(name, back, graph.block_rows);
            }
            WatchedRoot::Truth(graph.truth_of(&formula.root, true), back + 1)
        }
        _ => {
            let point = graph.point_of(&formula.root, true);
            graph.need(point, 0..graph.rows);
            WatchedRoot::Point(point)
        }
    }
}

impl WatchedLaw<'_> {
    /// Looks whether it breaks in the present block, which begins at `start`.
    fn look(&mut self, graph: &Graph, start: usize, tick_s: f64) {
        let found = match self.watched {
            WatchedRoot::Truth(truth, rows) => graph.truths.of(truth).find(0, false).map(|row| {
                let rows = rows.min(start + row + 1);
                let recent = Recent { graph, row, rows };
                (row, recent.point(&self.formula.root, tick_s))
            }),
            WatchedRoot::Point(point) => {
                let mut points = graph.points.of(point).iter().enumerate();
                points
                    .find(|(_, point)| !point.truth())
                    .map(|(row, point)| (row, *point))
            }
        };
        self.broken = found.map(|(row, point)| Margin {
            at_s: (start + row) as f64 * tick_s,
            ..self.formula.margin(point, tick_s, true)
        });
    }
}

/// The last `rows` rows up to the row `row` of the present block.
struct Recent<'a> {
    graph: &'a Graph,
    row: usize,
    rows: usize,
}

impl Recent<'_> {
    /// The point of a part in the last of them, which they decide. Its own row counts from the
    /// first of them.
    fn point(&self, node: &Truth, tick_s: f64) -> RowPoint {
        let mut names = Vec::new();
        signals_of(node, &mut names);
        let numbers = &self.graph.numbers;
        let columns: Vec<_> = names
            .iter()
            .map(|name| numbers.last(name, self.row, self.rows).map(Cow::Owned))
            .collect();
        let names: Vec<String> = names.into_iter().map(str::to_owned).collect();
        let part = MonitorPart {
            rows: 0..self.rows,
            tick_s,
            names: &names,
            columns: &columns,
        };
        // It is false there, whatever its margin.
        let last = points_in_every_row(node, &part, (BLOCK_ROWS, usize::MAX)).pop();
        last.unwrap_or_else(|| RowPoint::plain(false, self.rows - 1))
    }
}

/// The columns of a whole table that formulas speak of.
struct SignalTable<'a> {
    names: Vec<String>,
    columns: Vec<Option<Cow<'a, [f64]>>>,
}

impl<'a> SignalTable<'a> {
    fn of(signals: &'a dyn Signals, names: &[String]) -> Self {
        Self {
            names: names.to_vec(),
            columns: names
                .iter()
                .map(|name| {
                    let column = signals.signal(name);
                    column.filter(|column| column.len() == signals.rows())
                })
                .collect(),
        }
    }

    /// RowBlock after block.
    fn parts(
        &self,
        rows: usize,
        tick_s: f64,
        block_rows: usize,
    ) -> impl Iterator<Item = MonitorPart<'_>> {
        (0..rows).step_by(block_rows).map(move |start| MonitorPart {
            rows: start..rows.min(start + block_rows),
            tick_s,
            names: &self.names,
            columns: &self.columns,
        })
    }
}

/// Some rows of a table.
struct MonitorPart<'a> {
    rows: Range<usize>,
    tick_s: f64,
    names: &'a [String],
    columns: &'a [Option<Cow<'a, [f64]>>],
}

impl Signals for MonitorPart<'_> {
    fn rows(&self) -> usize {
        self.rows.len()
    }

    fn tick_s(&self) -> f64 {
        self.tick_s
    }

    fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
        let index = self.names.iter().position(|known| known == name)?;
        let column = self.columns[index].as_ref()?;
        column.get(self.rows.clone()).map(Cow::Borrowed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::names;

    /// Rows of a number `a` that counts them.
    struct Counted(Range<usize>);

    impl Signals for Counted {
        fn rows(&self) -> usize {
            self.0.len()
        }
        fn tick_s(&self) -> f64 {
            0.5
        }
        fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
            (name == "a").then(|| self.0.clone().map(|row| row as f64).collect())
        }
    }

    #[test]
    fn a_run_with_fewer_rows_than_were_announced_is_not_judged() {
        let formula = Formula::parse("always(a >= 0)", &names(1.0, 0.5)).unwrap();
        let judged = |parts: &[Range<usize>]| {
            let mut monitor = Monitor::new([&formula], [], 600, 0.5);
            for part in parts {
                monitor.take(&Counted(part.clone()));
            }
            monitor.finish()
        };
        assert!(judged(&[0..512, 512..600]).unwrap().margins[0].held);
        assert!(judged(&[]).is_err());
        assert!(judged(&[0..512, 512..599]).is_err());
        assert!(judged(&[0..100, 100..600]).is_err());
    }

    /// A law that looks back further than rows are kept, and one that looks back to the start.
    #[test]
    fn a_law_breaks_with_the_same_margin_however_far_it_looks_back() {
        let far = KEPT_ROWS_MAX + 100;
        let names = names(1e5, 0.5);
        let table = Counted(0..far + 2 * BLOCK_ROWS);
        for back in [3, KEPT_ROWS_MAX - 1, far] {
            let text = format!("once[0, {}](a <= 0.25)", back as f64 * 0.5);
            let law = Formula::parse_law(&text, &names).unwrap();
            let broken = law.first_broken(&table).unwrap();
            // The last row that was good is out of reach; the nearest to it of those in reach
            // decides.
            assert_eq!(broken.at_s, (back + 1) as f64 * 0.5, "{text}");
            assert_eq!(broken.value, -0.75, "{text}");
            assert_eq!(broken.decided_by, "a <= 0.25");
        }
        let law = Formula::parse_law("not once(a >= 700)", &names).unwrap();
        let broken = law.first_broken(&table).unwrap();
        assert_eq!((broken.at_s, broken.value), (350.0, 0.0));
    }

    /// What is kept of the rows for the margins of laws has a bound, however far a law looks back
    /// (M1).
    #[test]
    fn rows_are_kept_up_to_a_bound() {
        let names = names(1e5, 0.5);
        let followed = |back: usize| {
            let text = format!("once[0, {}](a <= 0.25)", back as f64 * 0.5);
            let law = Formula::parse_law(&text, &names).unwrap();
            watch(&law, &mut Graph::new(10, BLOCK_ROWS, 0.5, ROOM_BYTES))
        };
        for back in [3, KEPT_ROWS_MAX - 1, KEPT_ROWS_MAX] {
            let found = followed(back);
            assert!(
                matches!(found, WatchedRoot::Truth(_, rows) if rows == back + 1),
                "{back}: {found:?}"
            );
        }
        let found = followed(KEPT_ROWS_MAX + 1);
        assert!(matches!(found, WatchedRoot::Point(_)), "{found:?}");
    }

    /// A column that is too short, or that is not there, has no value in any row of the block.
    #[test]
    fn a_column_that_is_too_short_is_undefined() {
        struct Short(usize);
        impl Signals for Short {
            fn rows(&self) -> usize {
                100
            }
            fn tick_s(&self) -> f64 {
                0.5
            }
            fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
                (name == "a").then(|| Cow::Owned(vec![1.0; self.0]))
            }
        }
        for (text, rows, is_undefined) in [
            ("a > 0", 100, false),
            ("a > 0", 99, true),
            ("a > 0", 101, true),
            ("b > 0", 100, true),
        ] {
            let formula = Formula::parse(text, &names(50.0, 0.5)).unwrap();
            let mut monitor = Monitor::new([&formula], [], 100, 0.5);
            monitor.take(&Short(rows));
            let margin = monitor.finish().unwrap().margins.remove(0);
            assert_eq!(
                (margin.undefined, margin.held),
                (is_undefined, !is_undefined),
                "{text} {rows}"
            );
        }
    }
}

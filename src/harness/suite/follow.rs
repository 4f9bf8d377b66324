//! Follows a run row by row: hash, verdicts and, where someone wants it, the trace.
//!
//! The memory that it takes does not grow with the run, but for a trace that is wanted.

use crate::judge::{Expectations, Given, Judgement};
use crate::laws::{LawJudgement, verdicts};
use crate::run::{Target, empty_trace, rows_of};
use crate::suite::Case;
use crate::trace::{Pending, Row, RowHasher, Trace, TraceError, empty_block};
use trimproof_formula::{BLOCK_ROWS, Formula, Monitor};

/// What follows a run.
pub(super) struct Follower<'a> {
    /// The rows that are not in the block yet.
    pending: Pending,
    /// The rows that came since the last block was full.
    block: Trace,
    hasher: RowHasher,
    monitor: Monitor<'a>,
    whole: Option<Trace>,
    rows: usize,
}

/// What came of a run, complete or not.
pub(super) struct Followed<'a> {
    /// Rows that it has.
    pub rows: usize,
    /// Hash of its trace.
    pub hash: String,
    /// Its trace, if it was wanted.
    pub trace: Option<Trace>,
    monitor: Monitor<'a>,
}

/// The verdicts on a complete run.
pub(super) struct Judged {
    pub judgements: Vec<Judgement>,
    pub laws: Vec<LawJudgement>,
    /// Why it could not be judged; no expectation counts as held then.
    pub trouble: Option<TraceError>,
}

// A block is full just when pending rows come into it.
const _: () = assert!(BLOCK_ROWS.is_multiple_of(Pending::ROWS));

impl<'a> Follower<'a> {
    /// Follows a run of `case` against `target`, which has what is `given`.
    pub fn new(
        case: &'a Case,
        expectations: &'a Expectations<'a>,
        given: &Given<'_>,
        target: &dyn Target,
        keep: bool,
    ) -> Self {
        let rows = rows_of(&case.rig, &case.scenario);
        let laws: Vec<&Formula> = case.laws.formulas_given(given).collect();
        let block = empty_block(case.rig.tick_s(), target.reports(), BLOCK_ROWS.min(rows));
        Self {
            pending: Pending::new(),
            hasher: block.hasher(),
            block,
            monitor: Monitor::new(expectations.formulas(), laws, rows, case.rig.tick_s()),
            whole: keep.then(|| empty_trace(&case.rig, &case.scenario, target)),
            rows: 0,
        }
    }

    /// Takes the next row.
    pub fn row(&mut self, row: &Row) {
        self.pending.push(row, &mut self.block);
        if self.block.rows() == BLOCK_ROWS {
            self.flush();
        }
    }

    /// Ends the following, wherever the run ended.
    pub fn finish(mut self) -> Followed<'a> {
        self.pending.settle(&mut self.block);
        self.flush();
        Followed {
            rows: self.rows,
            hash: self.hasher.finish(),
            trace: self.whole,
            monitor: self.monitor,
        }
    }

    fn flush(&mut self) {
        self.rows += self.block.rows();
        self.hasher.add(&self.block);
        self.monitor.take(&self.block);
        if let Some(whole) = &mut self.whole {
            whole.append(&self.block);
        }
        self.block.clear();
    }
}

impl Followed<'_> {
    /// Judges a complete run; gives the trace, if it was wanted, along.
    pub fn judge(
        self,
        case: &Case,
        expectations: &Expectations<'_>,
        given: &Given<'_>,
    ) -> (Judged, Option<Trace>) {
        let judged = match self.monitor.finish() {
            Ok(findings) => Judged {
                judgements: expectations.judgements(findings.margins),
                laws: verdicts(&case.laws, &case.scenario, given, findings.breaks),
                trouble: None,
            },
            Err(source) => Judged {
                judgements: expectations.unjudged(&source.to_string()),
                laws: Vec::new(),
                trouble: Some(TraceError::Scratch { source }),
            },
        };
        (judged, self.trace)
    }
}

//! Who sits beside a run.

use crate::scenario::Event;
use crate::trace::Row;

/// Sits beside a run: it is asked before every tick, may act as the pilot, and gets every row.
pub trait Attend {
    /// Called before the tick at `now_s`, simulated s; `false` stops the run.
    fn go_on(&mut self, now_s: f64) -> bool;

    /// What the pilot does at this very tick beside what the scenario says. Times before `now_s`
    /// mean now: the same events in a scenario file, at the times that they carry here, give the
    /// same trace.
    fn act(&mut self, _now_s: f64) -> Vec<Event> {
        Vec::new()
    }

    /// The row of the tick, as it stands in the trace.
    fn row(&mut self, _row: &Row) {}
}

/// Only watches the clock.
pub(super) struct ClockWatch<'a>(pub &'a mut dyn FnMut(f64) -> bool);

impl Attend for ClockWatch<'_> {
    fn go_on(&mut self, now_s: f64) -> bool {
        (self.0)(now_s)
    }
}

//! What is shown: a rig, the trace so far, the scenario's expectations and what became of them. No
//! drawing here.

mod clock;
mod expectation_view;
mod instant;
mod lanes;
mod series;
mod signals;
pub(crate) mod travel;

pub use clock::{Clock, SPEEDS};
pub use expectation_view::{ExpectationView, expectation_views, judge_whole};
pub use instant::{AxisInstant, Instant};
pub use lanes::{Lanes, TimelineLane, word};
pub use series::{Series, Spot};
pub use signals::{SignalName, USUAL};
pub use travel::ShownTravel;

use std::collections::BTreeMap;
use std::sync::Arc;

use bevy::prelude::Resource;
use trimproof_harness::judge::Judgement;
use trimproof_harness::rig::RigFile;
use trimproof_harness::scenario::Scenario;
use trimproof_harness::trace::{About, Row, Trace};
use trimproof_io::Reports;

/// What is shown, as far as it is known yet.
#[derive(Resource)]
pub struct Timeline {
    /// The rig.
    pub rig: Arc<RigFile>,
    /// The scenario; `None` for a trace whose scenario is not at hand, and for a stick that is
    /// flown by hand.
    pub scenario: Option<Arc<Scenario>>,
    /// What has happened so far.
    pub trace: Trace,
    /// Expectations, in the order of the file; without a judgement until the run is complete.
    pub expectations: Vec<ExpectationView>,
    /// What the source of the trace is doing.
    pub source_state: SourceState,
    /// Simulated length that is to come in all, s; `None` while it is not known.
    pub length_s: Option<f64>,
    /// States and switches over time.
    pub lanes: Lanes,
    /// How far stick and trim have gone.
    pub travel: ShownTravel,
    series: BTreeMap<SignalName, Series>,
}

/// What the source of a trace is doing.
#[derive(Clone, Debug, PartialEq)]
pub enum SourceState {
    /// A file is being read.
    Reading,
    /// The twin runs.
    Running,
    /// Everything is there.
    Complete,
    /// The run was cut short: the controller under test failed; why.
    Cut(String),
    /// The run was aborted: the twin could not compute it; when, which part and why.
    Aborted(String),
    /// There will be no trace; why.
    Failed(String),
}

impl Timeline {
    /// How the run of a whole trace ended, as its notes say.
    pub fn end_of(trace: &Trace) -> SourceState {
        match trace.about.notes.get("cut") {
            Some(why) => SourceState::Cut(why.clone()),
            None => SourceState::Complete,
        }
    }

    /// A timeline of which nothing has happened yet.
    pub fn new(
        rig: Arc<RigFile>,
        scenario: Option<Arc<Scenario>>,
        source_state: SourceState,
    ) -> Self {
        let about = About {
            rig: rig.name.clone(),
            scenario: scenario
                .as_ref()
                .map(|scenario| scenario.name.clone())
                .unwrap_or_default(),
            tick_s: rig.tick_s(),
            ..About::default()
        };
        let expectations = scenario
            .as_ref()
            .map(|scenario| expectation_views(&rig, scenario))
            .unwrap_or_default();
        let length_s = scenario.as_ref().map(|scenario| scenario.length_s);
        Self {
            rig,
            scenario,
            trace: Trace::new(about, Reports::ALL, 0),
            expectations,
            source_state,
            length_s,
            lanes: Lanes::default(),
            travel: ShownTravel::default(),
            series: BTreeMap::new(),
        }
    }

    /// A timeline of a trace that is complete, with its judgements if there are any.
    pub fn of_trace(
        rig: Arc<RigFile>,
        scenario: Option<Arc<Scenario>>,
        trace: Trace,
        judgements: &[Judgement],
    ) -> Self {
        let mut timeline = Self::new(rig, scenario, Self::end_of(&trace));
        let mut lanes = Lanes::default();
        lanes.follow(&trace);
        timeline.take_trace(trace, lanes);
        timeline.take_judgements(judgements);
        timeline
    }

    /// Takes a whole trace and its lanes in place of what was there.
    pub fn take_trace(&mut self, trace: Trace, lanes: Lanes) {
        self.travel = ShownTravel::default();
        self.travel.follow(&trace);
        self.trace = trace;
        self.lanes = lanes;
        self.length_s = Some(self.head_s());
        self.series.clear();
    }

    /// A run of a controller with these reports begins: nothing has happened yet.
    pub fn begin(&mut self, reports: Reports) {
        let trace = Trace::new(self.trace.about.clone(), reports, 0);
        let length_s = self.length_s;
        self.take_trace(trace, Lanes::default());
        self.length_s = length_s;
    }

    /// Appends what has happened since.
    pub fn take_rows(&mut self, rows: &[Row]) {
        for row in rows {
            self.trace.push(row);
        }
        self.lanes.follow(&self.trace);
        self.travel.follow(&self.trace);
    }

    /// Takes what became of the expectations.
    pub fn take_judgements(&mut self, judgements: &[Judgement]) {
        for view in &mut self.expectations {
            let of = judgements.iter().find(|one| one.name == view.name);
            view.judgement = of.cloned();
        }
    }

    /// Why there is less than was asked for, in one line; `None` if nothing is missing. A board or
    /// a file may have said it: control characters are left out, and it is no longer than a few
    /// lines of a small picture.
    pub fn what_is_missing(&self) -> Option<String> {
        const MOST: usize = 300;
        let (what, why) = match &self.source_state {
            SourceState::Cut(why) | SourceState::Aborted(why) => {
                ("aborted, nothing is judged", why)
            }
            SourceState::Failed(why) => ("no trace", why),
            SourceState::Reading | SourceState::Running | SourceState::Complete => return None,
        };
        let mut letters = why.chars().filter(|letter| !letter.is_control());
        let mut kept: String = letters.by_ref().take(MOST).collect();
        if letters.next().is_some() {
            kept.push_str("...");
        }
        Some(format!("{what}: {kept}"))
    }

    /// Judgements of the expectations that fail, in the order of the file.
    pub fn failed(&self) -> impl Iterator<Item = &Judgement> {
        self.expectations
            .iter()
            .filter(|view| view.fails())
            .filter_map(|view| view.judgement.as_ref())
    }

    /// Time from one row to the next, s.
    pub fn tick_s(&self) -> f64 {
        self.trace.about.tick_s
    }

    /// Time of the last row, s; 0 without any.
    pub fn head_s(&self) -> f64 {
        self.trace.rows().saturating_sub(1) as f64 * self.tick_s()
    }

    /// The last row at or before `at_s`; `None` without rows.
    pub fn row_at(&self, at_s: f64) -> Option<usize> {
        let last = self.trace.rows().checked_sub(1)?;
        // A nanosecond: sums of decimal ticks must not fall a row back.
        let row = ((at_s + 1e-9) / self.tick_s()).floor().max(0.0);
        Some((row as usize).min(last))
    }

    /// What is true at `at_s`; `None` without rows.
    pub fn instant(&self, at_s: f64) -> Option<Instant> {
        self.row_at(at_s)
            .map(|row| Instant::of(&self.trace, &self.rig, row))
    }

    /// The signal of this name as a plot wants it, up to date with the trace; `None` if there is
    /// none.
    pub fn series(&mut self, name: &str) -> Option<&Series> {
        let info = self.trace.column(name)?;
        let series = self.series.entry(info.name.clone()).or_default();
        series.follow(&self.trace, &info.name);
        Some(series)
    }

    /// Bytes that trace and plotted signals take, about.
    pub fn bytes(&self) -> usize {
        let columns = self.trace.columns();
        self.trace.rows() * columns.map(|info| info.kind.bytes()).sum::<usize>()
            + self.series.values().map(Series::bytes).sum::<usize>()
    }
}

#[cfg(test)]
pub(crate) mod tests;

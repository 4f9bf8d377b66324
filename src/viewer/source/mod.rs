//! Where the trace comes from: a thread that runs the twin or reads a file, and sends what happened
//! over a channel.
//!
//! The channel has no bound and nothing comes back over it but what the pilot does: a slow window
//! can neither slow a run nor change it. Only here does the viewer know a wall clock, and only to
//! fly by hand in real time.

mod flight;
mod pace;

pub use flight::{Act, FARTHEST_DEG, Flight, Session, session_scenario};
pub use pace::Pace;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use bevy::prelude::Resource;
use crossbeam_channel::{Receiver, Sender, unbounded};
use trimproof_harness::judge::{Judgement, judge};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Attend, Cut, Ending, Run, RunEnd, Target, run_attended};
use trimproof_harness::scenario::{Event, Scenario};
use trimproof_harness::trace::{Row, Trace};
use trimproof_io::Reports;

use crate::timeline::{Lanes, SourceState, Timeline, judge_whole};

/// Most rows that travel together: a twelfth of a second at 500 Hz. A flight sends each before it
/// waits for the next.
const BATCH: usize = 40;

/// Makes the controller under test, on the thread that runs it.
pub type MakeTarget = Box<dyn FnOnce() -> Box<dyn Target> + Send>;

/// What happened.
pub enum News {
    /// A run begins, of a controller with these reports: they decide which columns the trace has.
    Begun(Reports),
    /// Rows, in their order.
    Rows(Vec<Row>),
    /// A whole trace with its lanes, so that the window need not go through all of it between two
    /// frames.
    Whole(Box<(Trace, Lanes)>),
    /// The run is over: how it ended.
    Over(Box<Finished>),
    /// There will be nothing: why.
    Failed(String),
}

/// A run that is over.
#[derive(Clone, Debug, Default)]
pub struct Finished {
    /// Bit-hash of the trace.
    pub hash: String,
    /// Rows of the trace.
    pub rows: usize,
    /// How it ended. It is stopped if the window closed or the pilot ended it.
    pub end: RunEnd,
    /// Judgements; empty unless it is complete.
    pub judgements: Vec<Judgement>,
    /// What the user must hear of how the controller took the end.
    pub farewell: Option<String>,
    /// What was flown, if it was a flight.
    pub session: Option<Session>,
}

/// What to show.
pub enum Source {
    /// Run a scenario now.
    Run {
        /// The scenario.
        scenario: Arc<Scenario>,
        /// The controller.
        target: MakeTarget,
    },
    /// Fly by hand.
    Fly {
        /// The controller.
        target: MakeTarget,
        /// How fast.
        pace: Pace,
    },
    /// Read a trace file.
    File {
        /// The file.
        path: PathBuf,
        /// The scenario that its expectations are taken from.
        scenario: Option<Arc<Scenario>>,
    },
}

impl Source {
    /// The scenario whose expectations are shown, if one is at hand.
    pub fn scenario(&self) -> Option<&Arc<Scenario>> {
        match self {
            Self::Run { scenario, .. } => Some(scenario),
            Self::File { scenario, .. } => scenario.as_ref(),
            Self::Fly { .. } => None,
        }
    }
}

/// The thread behind a window, and the window's end of the channel.
#[derive(Resource)]
pub struct SourceThread {
    news: Receiver<News>,
    acts: Option<Sender<Act>>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
    /// How the run ended, once it has.
    pub finished: Option<Finished>,
}

impl SourceThread {
    /// Starts the thread.
    pub fn start(rig: Arc<RigFile>, source: Source) -> Self {
        let (sender, news) = unbounded();
        let stop = Arc::new(AtomicBool::new(false));
        let halt = Arc::clone(&stop);
        let (acts, thread) = match source {
            Source::Run { scenario, target } => {
                let thread =
                    std::thread::spawn(move || run(&rig, &scenario, target, &sender, &halt));
                (None, thread)
            }
            Source::Fly { target, pace } => {
                let (acts, pilot) = unbounded();
                let thread = std::thread::spawn(move || {
                    let flight = Flight::new(&rig, pilot, pace);
                    fly(&rig, flight, target, &sender, &halt);
                });
                (Some(acts), thread)
            }
            Source::File { path, scenario } => {
                let thread = std::thread::spawn(move || {
                    let _ = sender.send(match Trace::read(&path) {
                        Ok(trace) => {
                            let judgements = judge_whole(&rig, scenario.as_deref(), &trace);
                            let finished = Finished {
                                rows: trace.rows(),
                                judgements,
                                ..Finished::default()
                            };
                            let mut lanes = Lanes::default();
                            lanes.follow(&trace);
                            let _ = sender.send(News::Whole(Box::new((trace, lanes))));
                            News::Over(Box::new(finished))
                        }
                        Err(error) => News::Failed(error.to_string()),
                    });
                });
                (None, thread)
            }
        };
        Self {
            news,
            acts,
            stop,
            thread: Some(thread),
            finished: None,
        }
    }

    /// Sends what the pilot does to the thread; does nothing unless the stick is flown.
    pub fn act(&self, act: Act) {
        if let Some(acts) = &self.acts {
            // A flight that is over needs no pilot.
            let _ = acts.send(act);
        }
    }

    /// Whether the stick is flown by hand now.
    pub fn is_flown(&self) -> bool {
        self.acts.is_some() && self.finished.is_none()
    }

    /// What was flown, once a flight is over.
    pub fn session(&self) -> Option<&Session> {
        self.finished.as_ref()?.session.as_ref()
    }

    /// Takes everything that has come into the timeline; whether there was anything.
    pub fn drain(&mut self, timeline: &mut Timeline) -> bool {
        let mut any = false;
        while let Ok(news) = self.news.try_recv() {
            any = true;
            match news {
                News::Begun(reports) => timeline.begin(reports),
                News::Rows(rows) => timeline.take_rows(&rows),
                News::Whole(whole) => {
                    let (trace, lanes) = *whole;
                    timeline.take_trace(trace, lanes);
                }
                News::Over(finished) => {
                    timeline.source_state = match finished.end.cut() {
                        // A flight is over when its pilot says so.
                        Some(cut) if cut.is_stop() && self.acts.is_some() => SourceState::Complete,
                        Some(Cut::Aborted(abort)) => SourceState::Aborted(abort.to_string()),
                        Some(cut) => SourceState::Cut(cut.to_string()),
                        // A trace that is read may be one of a run that was cut short.
                        None => Timeline::end_of(&timeline.trace),
                    };
                    timeline.length_s = Some(timeline.head_s());
                    timeline.take_judgements(&finished.judgements);
                    self.finished = Some(*finished);
                }
                News::Failed(why) => timeline.source_state = SourceState::Failed(why),
            }
        }
        any
    }

    /// Stops the thread and waits for it.
    pub fn end(&mut self, timeline: &mut Timeline) {
        self.stop.store(true, Ordering::Relaxed);
        self.act(Act::End);
        if let Some(thread) = self.thread.take()
            && let Err(panic) = thread.join()
        {
            std::panic::resume_unwind(panic);
        }
        self.drain(timeline);
    }
}

impl Drop for SourceThread {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.act(Act::End);
    }
}

/// Sends rows in batches; stops the run on request.
struct RowSender<'a> {
    news: &'a Sender<News>,
    stop: &'a AtomicBool,
    batch: Vec<Row>,
}

impl<'a> RowSender<'a> {
    fn new(news: &'a Sender<News>, stop: &'a AtomicBool) -> Self {
        Self {
            news,
            stop,
            batch: Vec::new(),
        }
    }

    fn take(&mut self, row: &Row) {
        self.batch.push(*row);
        if self.batch.len() >= BATCH {
            self.flush();
        }
    }

    fn flush(&mut self) {
        if self.batch.is_empty() {
            return;
        }
        let rows = std::mem::take(&mut self.batch);
        // A window that is gone misses nothing.
        let _ = self.news.send(News::Rows(rows));
    }
}

impl Attend for RowSender<'_> {
    fn go_on(&mut self, _now_s: f64) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }

    fn row(&mut self, row: &Row) {
        self.take(row);
    }
}

fn run(
    rig: &RigFile,
    scenario: &Scenario,
    target: MakeTarget,
    news: &Sender<News>,
    stop: &AtomicBool,
) {
    let mut target = target();
    let _ = news.send(News::Begun(target.reports()));
    let mut rows = RowSender::new(news, stop);
    let run = run_attended(rig, scenario, target.as_mut(), &mut rows);
    rows.flush();
    let judgements = if run.end.is_complete() {
        judge(rig, scenario, &run.trace)
    } else {
        Vec::new()
    };
    finish(&run, judgements, None, target.as_mut(), news);
}

/// A flight whose rows are sent.
struct Flown<'a> {
    flight: Flight,
    rows: RowSender<'a>,
}

impl Attend for Flown<'_> {
    fn go_on(&mut self, now_s: f64) -> bool {
        // What is to be seen goes out before the thread sleeps.
        if self.flight.waits(now_s) {
            self.rows.flush();
        }
        // The window's end is the flight's: it ends as if the pilot had said so.
        if self.rows.stop.load(Ordering::Relaxed) {
            self.flight.end();
        }
        self.flight.go_on(now_s)
    }

    fn act(&mut self, now_s: f64) -> Vec<Event> {
        self.flight.act(now_s)
    }

    fn row(&mut self, row: &Row) {
        self.rows.take(row);
    }
}

fn fly(rig: &RigFile, flight: Flight, target: MakeTarget, news: &Sender<News>, stop: &AtomicBool) {
    let mut target = target();
    let _ = news.send(News::Begun(target.reports()));
    let rows = RowSender::new(news, stop);
    let mut flown = Flown { flight, rows };
    let scenario = flight::open_scenario(rig);
    let run = run_attended(rig, &scenario, target.as_mut(), &mut flown);
    flown.rows.flush();
    finish(&run, Vec::new(), Some(&flown.flight), target.as_mut(), news);
}

fn finish(
    run: &Run,
    judgements: Vec<Judgement>,
    flight: Option<&Flight>,
    target: &mut dyn Target,
    news: &Sender<News>,
) {
    let farewell = target.end(if run.end.is_complete() {
        Ending::Complete
    } else {
        Ending::Broken
    });
    let hash = run.trace.hash();
    let _ = news.send(News::Over(Box::new(Finished {
        session: flight.map(|flight| flight.session(run, hash.clone())),
        hash,
        rows: run.trace.rows(),
        end: run.end.clone(),
        judgements,
        farewell,
    })));
}

#[cfg(test)]
mod tests;

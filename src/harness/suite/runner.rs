//! Runs the cases of a suite, several at a time; what comes out does not depend on how many.

use super::follow::Follower;
use super::load::Case;
use crate::card;
use crate::judge::{Expectations, Given, Judgement, Verdict};
use crate::laws::LawJudgement;
use crate::run::{Accuracy, Cut, Ending, Recorder, RunEnd, Target, Traffic, accuracy, run_rows};
use crate::trace::{Row, Trace, TraceError};
use crossbeam_channel::{Receiver, Sender, unbounded};
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use trimproof_io::Outputs;

/// How much simulated time passes between two reports of progress, s.
const REPORT_EVERY_S: f64 = 0.25;

/// How a suite is run.
pub struct Plan<'a> {
    /// How many cases run at a time.
    pub threads: NonZeroUsize,
    /// Folder and file extensions (`csv`, `mcap`) under which traces are kept; `None` keeps none.
    pub keep: Option<(&'a Path, &'a [&'a str])>,
    /// Makes the controller under test, one for each case.
    pub target: &'a (dyn Fn() -> Box<dyn Target> + Sync),
    /// Whether the cards of complete runs are wanted.
    pub cards: bool,
    /// Draws complete runs while their trace is at hand; `None` draws none. Called on the threads
    /// of the runs.
    pub draw: Option<&'a Draw<'a>>,
    /// Whether each complete run is made again at half steps, to say how far it is from it.
    pub accuracy: bool,
    /// Set from outside to stop: nothing new starts, running cases are cut at their present tick.
    pub stop: &'a AtomicBool,
}

impl Plan<'_> {
    /// Whether something is made of whole traces; otherwise no run keeps its rows.
    fn needs_traces(&self) -> bool {
        self.keep.is_some() || self.cards || self.draw.is_some() || self.accuracy
    }
}

/// Draws a complete run.
pub type Draw<'a> = dyn Fn(&Case, &Trace, &[Judgement]) -> Vec<Picture> + Sync + 'a;

/// A picture of a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Index of the judgement that it is about; `None` if it is about the whole run.
    pub of: Option<usize>,
    /// The picture as SVG, or why there is none.
    pub svg: Result<String, String>,
}

/// What became of one case.
#[derive(Debug)]
pub struct Outcome {
    /// Name of the scenario.
    pub name: String,
    /// Name of the rig.
    pub rig_name: String,
    /// How the run ended.
    pub end: End,
    /// Simulated time that the trace covers, s.
    pub simulated_s: f64,
    /// A judgement for every expectation, in the order of the file; empty unless the run is
    /// complete.
    pub judgements: Vec<Judgement>,
    /// What became of every law, in the order of their file; empty unless the run is complete.
    pub laws: Vec<LawJudgement>,
    /// Bit-hash of the trace; `None` if there is none.
    pub hash: Option<String>,
    /// The readable card; `None` unless the run is complete and cards are wanted.
    pub card: Option<String>,
    /// Largest differences to the run at half steps, or why there are none; `None` unless it was
    /// asked for and the run is complete.
    pub accuracy: Option<Result<Accuracy, String>>,
    /// Pictures that were drawn of it; none unless the run is complete.
    pub pictures: Vec<Picture>,
    /// Trace files that were written.
    pub kept: Vec<PathBuf>,
    /// Why a trace could not be written.
    pub write_error: Option<TraceError>,
    /// What went over the link; `None` if there is none.
    pub traffic: Option<Traffic>,
    /// What the user must hear of how the controller took the end.
    pub farewell: Option<String>,
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum End {
    /// It ran its whole length.
    Complete,
    /// The controller under test failed; the reason. The trace so far is kept.
    Cut(String),
    /// The twin could not compute the run; instant, part and reason. The trace so far is kept,
    /// nothing is judged.
    Aborted(String),
    /// It was stopped from outside. The trace so far is kept.
    Stopped,
    /// It had not begun when the suite was stopped.
    NotRun,
}

impl Outcome {
    /// `scenario@rig`.
    pub fn label(&self) -> String {
        format!("{}@{}", self.name, self.rig_name)
    }

    /// The verdict on the run: `Fail` if an expectation or a law fails, `NotJudged` if no
    /// expectation and no law could be judged, else `Pass`. `None` unless the run is complete.
    pub fn verdict(&self) -> Option<Verdict> {
        if self.end != End::Complete {
            return None;
        }
        let laws = self.laws.iter().map(LawJudgement::verdict);
        let fails = self.judgements.iter().any(Judgement::fails)
            || laws.clone().any(|verdict| verdict == Verdict::Fail);
        let expectations = self.judgements.iter().map(|one| one.verdict);
        let is_judged = expectations
            .chain(laws.clone())
            .any(|verdict| verdict != Verdict::NotJudged);
        // A run without laws and expectations has nothing that it could fail to judge.
        let is_bare = self.judgements.is_empty() && self.laws.is_empty();
        Some(match (fails, is_judged || is_bare) {
            (true, _) => Verdict::Fail,
            (false, true) => Verdict::Pass,
            (false, false) => Verdict::NotJudged,
        })
    }

    /// Whether the run is complete and nothing that was judged fails.
    pub fn passes(&self) -> bool {
        self.verdict() == Some(Verdict::Pass)
    }

    /// How many laws pass; those that the scenario breaks on purpose count.
    pub fn laws_passed(&self) -> usize {
        self.laws.iter().filter(|law| law.passes()).count()
    }

    /// How many expectations pass.
    pub fn passed_count(&self) -> usize {
        self.judgements.iter().filter(|one| one.passes()).count()
    }

    /// The expectations and laws that are not judged: how many.
    pub fn not_judged_count(&self) -> usize {
        let expectations = self.judgements.iter().map(|one| one.verdict);
        let all = expectations.chain(self.laws.iter().map(LawJudgement::verdict));
        all.filter(|verdict| *verdict == Verdict::NotJudged).count()
    }

    /// The judgement that is closest to its limit: the smallest share of its scale or limit, the
    /// broken ones first. After those come equalities, whose margin is a tolerance, and last those
    /// that have neither scale nor limit, by their number. `None` if no expectation has a finite
    /// margin.
    pub fn tightest(&self) -> Option<&Judgement> {
        let rank = |judgement: &Judgement| {
            let kind = match (judgement.passes(), judgement.share, judgement.equality) {
                (false, _, _) => 0,
                (true, Some(_), false) => 1,
                (true, Some(_), true) => 2,
                (true, None, _) => 3,
            };
            (kind, judgement.share.unwrap_or(judgement.margin))
        };
        self.judgements
            .iter()
            .filter(|judgement| judgement.margin.is_finite())
            .min_by(|a, b| {
                let ((kind_a, a), (kind_b, b)) = (rank(a), rank(b));
                kind_a.cmp(&kind_b).then(a.total_cmp(&b))
            })
    }

    /// The judgement that a run's line shows: the first that is broken without a number, else the
    /// tightest.
    pub fn shown(&self) -> Option<&Judgement> {
        let yes_or_no = self
            .judgements
            .iter()
            .find(|judgement| judgement.fails() && !judgement.margin.is_finite());
        yes_or_no.or_else(|| self.tightest())
    }

    /// The judgements that hold but were never put to the test.
    pub fn never_tested(&self) -> impl Iterator<Item = &Judgement> {
        self.judgements
            .iter()
            .filter(|judgement| judgement.passes() && !judgement.tested.is_yes())
    }

    /// A case that has not been run.
    pub fn not_run(case: &Case) -> Self {
        blank(case, End::NotRun)
    }
}

/// Runs every case and judges it.
///
/// The outcomes come in the order of `cases`, whatever the number of threads. `progress` is called
/// on the calling thread with the simulated seconds that were run since the last call, and the
/// label of each case as it ends.
///
/// # Panics
/// Goes on with the panic of a worker, if one panicked, when all others have ended.
pub fn run_suite(
    cases: &[Case],
    plan: &Plan<'_>,
    progress: &mut dyn FnMut(f64, Option<&Outcome>),
) -> Vec<Outcome> {
    let (work, queue) = unbounded();
    for index in longest_first(cases) {
        // Cannot fail: `queue` is alive.
        let _ = work.send(index);
    }
    drop(work);
    let (news, reports) = unbounded();
    let mut outcomes: Vec<Option<Outcome>> = cases.iter().map(|_| None).collect();
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..plan.threads.get().min(cases.len().max(1)))
            .map(|_| {
                let (queue, news) = (queue.clone(), news.clone());
                scope.spawn(move || work_off(cases, plan, &queue, &news))
            })
            .collect();
        drop(news);
        for report in reports {
            match report {
                SuiteNews::Ran(seconds) => progress(seconds, None),
                SuiteNews::Ended(index, outcome) => {
                    progress(0.0, Some(&outcome));
                    outcomes[index] = Some(*outcome);
                }
            }
        }
        for worker in workers {
            if let Err(panic) = worker.join() {
                std::panic::resume_unwind(panic);
            }
        }
    });
    outcomes
        .into_iter()
        .zip(cases)
        .map(|(outcome, case)| outcome.unwrap_or_else(|| blank(case, End::NotRun)))
        .collect()
}

enum SuiteNews {
    Ran(f64),
    Ended(usize, Box<Outcome>),
}

/// Indices of the cases, the longest first: the last to end are then short, and no core waits long.
fn longest_first(cases: &[Case]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..cases.len()).collect();
    order.sort_by(|a, b| {
        cases[*b]
            .scenario
            .length_s
            .total_cmp(&cases[*a].scenario.length_s)
    });
    order
}

fn work_off(cases: &[Case], plan: &Plan<'_>, queue: &Receiver<usize>, news: &Sender<SuiteNews>) {
    for index in queue {
        if plan.stop.load(Ordering::Relaxed) {
            return;
        }
        let outcome = run_case(&cases[index], plan, &mut |seconds| {
            let _ = news.send(SuiteNews::Ran(seconds));
        });
        let _ = news.send(SuiteNews::Ended(index, Box::new(outcome)));
    }
}

fn run_case(case: &Case, plan: &Plan<'_>, ran: &mut dyn FnMut(f64)) -> Outcome {
    let mut target = (plan.target)();
    let mut reported_s = 0.0;
    let mut watch = |now_s: f64| {
        if now_s - reported_s >= REPORT_EVERY_S {
            ran(now_s - reported_s);
            reported_s = now_s;
        }
        !plan.stop.load(Ordering::Relaxed)
    };
    let given = Given::by_reports(&case.rig, target.reports());
    let expectations = Expectations::read(&case.scenario, &given);
    let mut follower = Follower::new(
        case,
        &expectations,
        &given,
        target.as_ref(),
        plan.needs_traces(),
    );
    let mut row = |row: &Row| follower.row(row);
    let (run, answers) = if plan.accuracy {
        let mut recorder = Recorder::new(target.as_mut());
        let run = run_rows(
            &case.rig,
            &case.scenario,
            &mut recorder,
            &mut watch,
            &mut row,
        );
        (run, recorder.answers())
    } else {
        let target = target.as_mut();
        let run = run_rows(&case.rig, &case.scenario, target, &mut watch, &mut row);
        (run, Vec::new())
    };
    let followed = follower.finish();
    let end = match &run {
        RunEnd::Complete => End::Complete,
        RunEnd::Cut(cut) if cut.is_stop() => End::Stopped,
        RunEnd::Cut(Cut::Aborted(abort)) => End::Aborted(abort.to_string()),
        RunEnd::Cut(cut) => End::Cut(cut.to_string()),
    };
    let farewell = target.end(if end == End::Complete {
        Ending::Complete
    } else {
        Ending::Broken
    });
    let mut outcome = blank(case, end);
    outcome.farewell = farewell;
    outcome.traffic = target.traffic();
    // The board is free for the next run while this one is judged.
    drop(target);
    // The first row is the start.
    outcome.simulated_s = followed.rows.saturating_sub(1) as f64 * case.rig.tick_s();
    ran((outcome.simulated_s - reported_s).max(0.0));
    let hash = followed.hash.clone();
    let trace = if outcome.end == End::Complete {
        let (judged, trace) = followed.judge(case, &expectations, &given);
        outcome.judgements = judged.judgements;
        outcome.laws = judged.laws;
        outcome.write_error = judged.trouble;
        if let Some(trace) = &trace {
            look_at(case, trace, plan, answers, &hash, &mut outcome);
        }
        trace
    } else {
        followed.trace
    };
    outcome.hash = Some(hash);
    let end = match &outcome.end {
        End::Cut(reason) => Some(reason.clone()),
        End::Aborted(reason) => Some(format!("the twin cannot compute the run: {reason}")),
        End::Stopped => Some("stopped from outside".to_owned()),
        End::Complete | End::NotRun => None,
    };
    if let Some(mut trace) = trace {
        if let Some(end) = end {
            trace.about.notes.insert("cut".to_owned(), end);
        }
        keep(&trace, plan, &mut outcome);
    }
    outcome
}

/// Makes what needs the whole trace of a complete run: card, accuracy, pictures.
fn look_at(
    case: &Case,
    trace: &Trace,
    plan: &Plan<'_>,
    answers: Vec<Outputs>,
    hash: &str,
    outcome: &mut Outcome,
) {
    outcome.card = plan
        .cards
        .then(|| card::render(case, trace, &outcome.judgements, &outcome.laws, hash));
    if plan.accuracy {
        outcome.accuracy = Some(accuracy(
            &case.rig,
            &case.scenario,
            trace,
            &answers,
            &mut |_| !plan.stop.load(Ordering::Relaxed),
        ));
    }
    if let Some(draw) = plan.draw {
        outcome.pictures = draw(case, trace, &outcome.judgements);
    }
}

/// Writes the trace in every form wanted; the first failure ends it and is noted.
fn keep(trace: &Trace, plan: &Plan<'_>, outcome: &mut Outcome) {
    let Some((folder, extensions)) = plan.keep else {
        return;
    };
    for extension in extensions {
        let file = folder.join(format!("{}.{extension}", outcome.label()));
        match trace.write(&file) {
            Ok(()) => outcome.kept.push(file),
            Err(error) => {
                outcome.write_error = Some(error);
                return;
            }
        }
    }
}

fn blank(case: &Case, end: End) -> Outcome {
    Outcome {
        name: case.name.clone(),
        rig_name: case.rig_name.clone(),
        end,
        simulated_s: 0.0,
        judgements: Vec::new(),
        laws: Vec::new(),
        hash: None,
        card: None,
        accuracy: None,
        pictures: Vec::new(),
        kept: Vec::new(),
        write_error: None,
        traffic: None,
        farewell: None,
    }
}

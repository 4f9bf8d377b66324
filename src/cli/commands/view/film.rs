//! `film`: the same pictures without a display.

use super::subject::{self, Subject, unusable};
use crate::args::FilmArgs;
use crate::exit::Exit;
use crate::output::emit;
use crate::report::{CommandResult, Failure};
use crate::stop;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{IsTerminal, Write as _};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;
use trimproof_diagnostics::line;
use trimproof_diagnostics::nearest;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Cut, LogicTarget, RunEnd, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::{list, try_folder, write_whole};
use trimproof_harness::trace::Trace;
use trimproof_plant::TwinAbort;
use trimproof_viewer::film::{
    Animation, Shot, contact_sheet, encode_png, for_sheet, frames_of, key_instants,
};
use trimproof_viewer::timeline::{SourceState, judge_whole};
use trimproof_viewer::{Film, Studio, Timeline, View};

/// Pictures of a run from which the colours of its animation are chosen.
const SAMPLES: usize = 9;

/// Runs the command.
///
/// # Errors
/// If a file or an argument cannot be used, there is no driver, or a picture cannot be written.
pub fn run(args: &FilmArgs) -> CommandResult {
    let begun = Instant::now();
    let subject = Subject::find(&args.subject)?;
    let (signals, view) = (
        subject::signals(&args.subject.look.signal)?,
        subject::view(args.subject.look.view.as_deref(), View::Across)?,
    );
    let stop = stop::on_signal();
    let Some(timeline) = timeline_of(&subject, &mut || !stop.load(Ordering::Relaxed))? else {
        return Ok(Exit::Stopped);
    };
    let chosen = match &args.expect {
        Some(name) => Some(expectation(&timeline, name)?),
        None => None,
    };
    let work = FilmWork::of(args, &timeline, chosen)?;
    let is_aborted = matches!(timeline.source_state, SourceState::Aborted(_));
    let missing = timeline.what_is_missing();
    let mut studio = Studio::open(Film {
        timeline,
        signals,
        view,
        size: args.size.map_or(work.usual_size(), |size| size.0),
        chosen,
        begun,
    })?;
    // Last of all: where anything is wrong, nothing is written.
    try_folder(&args.into)
        .map_err(|error| Failure::cannot_write(args.into.display().to_string(), &error))?;
    let label = subject.label();
    let mut made = Vec::new();
    let bar = bar(work.count());
    let mut go_on = || {
        bar.inc(1);
        !stop.load(Ordering::Relaxed)
    };
    let mut write = |name: String, bytes: Vec<u8>| -> Result<(), Failure> {
        let file = args.into.join(name);
        write_whole(&file, &bytes)
            .map_err(|error| Failure::cannot_write(file.display().to_string(), &error))?;
        made.push(file);
        Ok(())
    };
    if !work.stills_s.is_empty() {
        let shots = take(&mut studio, &work.stills_s, &mut go_on)?;
        for (at_s, shot) in work.stills_s.iter().zip(&shots) {
            write(format!("{label}-{at_s:.3}s.png"), encode_png(shot)?)?;
        }
    }
    if !work.sheet_s.is_empty() {
        let mut shots = Vec::with_capacity(work.sheet_s.len());
        studio.take(&work.sheet_s, &mut |_, shot| {
            shots.push(for_sheet(shot));
            go_on()
        })?;
        if shots.len() == work.sheet_s.len()
            && let Some(sheet) = contact_sheet(&shots)
        {
            write(format!("{label}-sheet.png"), encode_png(&sheet)?)?;
        }
    }
    if !work.frames_s.is_empty() {
        let stopped = || stop.load(Ordering::Relaxed);
        let animation = animation(&mut studio, &work.frames_s, args.fps, &stopped, &mut go_on)?;
        if let Some(bytes) = animation {
            write(format!("{label}.gif"), bytes)?;
        }
    }
    bar.finish_and_clear();
    let mut out: String = made
        .iter()
        .map(|file: &PathBuf| format!("{}\n", line(&file.display().to_string())))
        .collect();
    if args.costs {
        let timing = studio.timing();
        out.push_str(&format!(
            "{} pictures in {:.1} s, the first after {:.2} s; {:.0} ms a frame, our own systems {:.1} ms, at most {:.1} ms\n",
            work.count(),
            timing.elapsed_s(),
            timing.first_frame_s.unwrap_or_default(),
            1e3 * timing.frame.mean_s(),
            1e3 * timing.own.mean_s(),
            1e3 * timing.own.worst_s
        ));
    }
    if let Some(why) = missing {
        // It stands in the pictures too.
        let _ = writeln!(std::io::stderr(), "note: {label}: {}", why.escape_debug());
    }
    emit(&out)?;
    Ok(if stop.load(Ordering::Relaxed) {
        Exit::Stopped
    } else if is_aborted {
        Exit::Twin
    } else {
        Exit::Pass
    })
}

/// The animated file of these instants; `None` if it was stopped.
fn animation(
    studio: &mut Studio,
    frames_s: &[f64],
    frames_per_s: f64,
    stopped: &dyn Fn() -> bool,
    go_on: &mut dyn FnMut() -> bool,
) -> Result<Option<Vec<u8>>, Failure> {
    // First a look at the whole run, for its colours.
    let samples_s: Vec<f64> = (0..SAMPLES)
        .filter_map(|index| frames_s.get(index * frames_s.len() / SAMPLES).copied())
        .collect();
    let samples = take(studio, &samples_s, &mut || !stopped())?;
    if samples.len() < samples_s.len() {
        return Ok(None);
    }
    let mut animation = Animation::new(&samples, frames_per_s)?;
    let mut refused = None;
    studio.take(frames_s, &mut |_, shot| {
        refused = animation.push(shot).err();
        refused.is_none() && go_on()
    })?;
    match refused {
        Some(error) => Err(error.into()),
        None if stopped() => Ok(None),
        None => Ok(Some(animation.finish()?)),
    }
}

/// The timeline of the subject: the scenario is run, the trace is read. `None` if it was stopped.
fn timeline_of(
    subject: &Subject,
    go_on: &mut dyn FnMut() -> bool,
) -> Result<Option<Timeline>, Failure> {
    let (rig, scenario) = (subject.rig(), subject.scenario());
    let trace = match subject {
        Subject::Scenario(case) => {
            let run = run_scenario(rig, &case.scenario, &mut LogicTarget::new(), &mut |_| {
                go_on()
            });
            match run.end {
                RunEnd::Complete => run.trace,
                RunEnd::Cut(Cut::Aborted(abort)) if run.trace.rows() == 0 => {
                    return Err(Failure::Twin {
                        what: format!("{} cannot be filmed", case.label()),
                        abort,
                    });
                }
                RunEnd::Cut(Cut::Aborted(abort)) => {
                    return Ok(Some(aborted(rig, scenario, run.trace, &abort)));
                }
                RunEnd::Cut(cut) if cut.is_stop() => return Ok(None),
                RunEnd::Cut(cut) => {
                    return Err(Failure::Argument {
                        message: format!("`{}` cannot be filmed: {cut}", case.label()),
                        help: Some(
                            "`film` runs our controller; for another firmware keep a trace by `prove --on ... --keep DIR` and film that"
                                .to_owned(),
                        ),
                    });
                }
            }
        }
        Subject::Trace { file, .. } => Trace::read(file).map_err(|error| unusable(file, &error))?,
    };
    let judgements = judge_whole(rig, scenario.map(AsRef::as_ref), &trace);
    Ok(Some(Timeline::of_trace(
        Arc::clone(rig),
        scenario.cloned(),
        trace,
        &judgements,
    )))
}

/// The timeline of a run that the twin could not compute to its end: what there is of it, without a
/// judgement.
fn aborted(
    rig: &Arc<RigFile>,
    scenario: Option<&Arc<Scenario>>,
    trace: Trace,
    abort: &TwinAbort,
) -> Timeline {
    let mut timeline = Timeline::of_trace(Arc::clone(rig), scenario.cloned(), trace, &[]);
    timeline.source_state = SourceState::Aborted(abort.to_string());
    timeline
}

/// Instants of everything that is to be made, s.
struct FilmWork {
    stills_s: Vec<f64>,
    sheet_s: Vec<f64>,
    frames_s: Vec<f64>,
}

impl FilmWork {
    fn of(args: &FilmArgs, timeline: &Timeline, chosen: Option<usize>) -> Result<Self, Failure> {
        let end_s = timeline.head_s();
        if let Some(late) = args
            .at
            .iter()
            .find(|at_s| !(0.0..=end_s + 1e-9).contains(*at_s))
        {
            return Err(Failure::Argument {
                message: format!("`--at {late}` is outside the run, which is from 0 to {end_s} s"),
                help: None,
            });
        }
        let sheet_s = args
            .sheet
            .map(|count| key_instants(timeline, count as usize))
            .unwrap_or_default();
        let frames_s = if args.gif {
            frames_of(end_s, args.fps)
        } else {
            Vec::new()
        };
        let mut stills_s = args.at.clone();
        if stills_s.is_empty() && sheet_s.is_empty() && frames_s.is_empty() {
            // Nothing asked for: the worst instant of what is looked at, else of what fails first,
            // else the end.
            let worst_s = |index: usize| timeline.expectations.get(index)?.worst_s();
            let first_s = || timeline.failed().next().map(|judgement| judgement.at_s);
            stills_s.push(chosen.and_then(worst_s).or_else(first_s).unwrap_or(end_s));
        }
        Ok(Self {
            stills_s,
            sheet_s,
            frames_s,
        })
    }

    /// Pictures on a sheet are small from the start: made smaller afterwards, their words could not
    /// be read.
    fn usual_size(&self) -> [u32; 2] {
        if self.stills_s.is_empty() && self.frames_s.is_empty() {
            [640, 360]
        } else {
            [1280, 720]
        }
    }

    fn count(&self) -> usize {
        self.stills_s.len() + self.sheet_s.len() + self.frames_s.len()
    }
}

fn take(
    studio: &mut Studio,
    instants_s: &[f64],
    go_on: &mut dyn FnMut() -> bool,
) -> Result<Vec<Shot>, Failure> {
    let mut shots = Vec::with_capacity(instants_s.len());
    studio.take(instants_s, &mut |_, shot| {
        shots.push(shot);
        go_on()
    })?;
    Ok(shots)
}

/// The expectation of this name.
fn expectation(timeline: &Timeline, name: &str) -> Result<usize, Failure> {
    let found = timeline
        .expectations
        .iter()
        .position(|one| one.name == name);
    found.ok_or_else(|| {
        let names: Vec<String> = timeline
            .expectations
            .iter()
            .map(|one| one.name.clone())
            .collect();
        let near = nearest(name, names.iter().map(String::as_str));
        Failure::Argument {
            message: format!("there is no expectation `{name}`"),
            help: Some(match near {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("there are: {}", list(&names)),
            }),
        }
    })
}

fn bar(count: usize) -> ProgressBar {
    let target = if std::io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(count as u64), target);
    // The template is fixed; if it could not be read, the plain bar does.
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos} of {len} pictures, {eta} to go")
    {
        bar.set_style(style);
    }
    bar
}

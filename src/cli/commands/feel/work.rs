//! Measuring twins with all cores, with a bar on a terminal.

use crate::output::say;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::num::NonZeroUsize;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;
use trimproof_feel::measure::{
    Job, MeasureError, Measured, Piece, SWEEP_DEG_PER_S, assemble, plan,
};
use trimproof_feel::record::Condition;
use trimproof_harness::rig::RigFile;

/// Simulated time between two movements of the bar, s.
const REPORT_S: f64 = 0.2;

/// Measures the twin of every rig; the jobs of all of them are shared out among the cores, the
/// results do not depend on how.
///
/// # Errors
/// The first failure in the order of the jobs, with the rig's name; `Stopped` if `stop` was set.
pub fn measure_all<'a>(
    rigs: &[&'a RigFile],
    stop: &AtomicBool,
) -> Result<Vec<Measured>, (&'a str, MeasureError)> {
    let jobs: Vec<(&RigFile, Job)> = rigs
        .iter()
        .flat_map(|rig| plan().into_iter().map(|job| (*rig, job)))
        .collect();
    let bar = bar(jobs.iter().map(|(rig, job)| job.about_s(rig)).sum());
    let next = AtomicUsize::new(0);
    let failed = AtomicBool::new(false);
    let done: Mutex<Vec<(usize, Result<Piece, MeasureError>)>> = Mutex::new(Vec::new());
    let cores = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
    std::thread::scope(|scope| {
        for _ in 0..cores.min(jobs.len()) {
            scope.spawn(|| {
                while let Some((index, (rig, job))) = {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    jobs.get(index).map(|job| (index, *job))
                } {
                    let piece = run(job, rig, &bar, || {
                        stop.load(Ordering::Relaxed) || failed.load(Ordering::Relaxed)
                    });
                    if piece.is_err() {
                        failed.store(true, Ordering::Relaxed);
                    }
                    // A thread that panicked takes the whole program down; the list is whole either
                    // way.
                    done.lock()
                        .unwrap_or_else(std::sync::PoisonError::into_inner)
                        .push((index, piece));
                }
            });
        }
    });
    bar.finish_and_clear();
    let mut done = done
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|(index, _)| *index);
    gather(rigs, done)
}

/// Puts the pieces together, rig by rig. Of several failures the one that is not just a stop is
/// reported.
fn gather<'a>(
    rigs: &[&'a RigFile],
    done: Vec<(usize, Result<Piece, MeasureError>)>,
) -> Result<Vec<Measured>, (&'a str, MeasureError)> {
    let a_rig = plan().len();
    let mut pieces: Vec<Vec<Piece>> = rigs.iter().map(|_| Vec::new()).collect();
    let mut stopped = None;
    for (index, piece) in done {
        let which = index / a_rig;
        match piece {
            Ok(piece) => pieces[which].push(piece),
            Err(MeasureError::Stopped) => stopped = Some(which),
            Err(error) => return Err((&rigs[which].name, error)),
        }
    }
    if let Some(which) = stopped {
        return Err((&rigs[which].name, MeasureError::Stopped));
    }
    rigs.iter()
        .zip(pieces)
        .map(|(rig, pieces)| assemble(rig, pieces).map_err(|error| (rig.name.as_str(), error)))
        .collect()
}

fn run(
    job: Job,
    rig: &RigFile,
    bar: &ProgressBar,
    stop: impl Fn() -> bool,
) -> Result<Piece, MeasureError> {
    let mut reported_s = 0.0;
    bar.set_message(format!("{} {}", rig.name, job.name()));
    let piece = job.run(rig, &mut |now_s| {
        if now_s - reported_s >= REPORT_S {
            bar.inc(millis(now_s - reported_s));
            reported_s = now_s;
        }
        !stop()
    });
    bar.inc(millis((job.about_s(rig) - reported_s).max(0.0)));
    piece
}

fn bar(total_s: f64) -> ProgressBar {
    let target = if std::io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(millis(total_s)), target);
    // The template is fixed; if it could not be read, the plain bar does.
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {percent:>3} %, {eta} to go  {msg}") {
        bar.set_style(style);
    }
    bar
}

/// What the sweeps' rate does to the forces.
pub fn damping_note(measured: &Measured) -> String {
    let of = |condition: Condition| {
        let index = Condition::ALL
            .iter()
            .position(|known| *known == condition)
            .unwrap_or(0);
        let [pitch, roll] = measured.damping_n[index];
        format!("{pitch:.3} N in pitch and {roll:.3} N in roll")
    };
    format!(
        "swept at {SWEEP_DEG_PER_S} deg/s: damping adds {} to the friction while held, {} while released or unpowered",
        of(Condition::Held),
        of(Condition::Released)
    )
}

/// Says on standard error how long it took; nothing if nothing was measured.
pub fn say_elapsed(measured: &[Measured], elapsed: Duration) {
    let simulated_s: f64 = measured.iter().map(|measured| measured.simulated_s).sum();
    let wall_s = elapsed.as_secs_f64();
    if simulated_s > 0.0 && wall_s > 0.0 {
        say(&format!(
            "{simulated_s:.1} s simulated in {wall_s:.1} s, {:.0} simulated seconds a second\n",
            simulated_s / wall_s
        ));
    }
}

fn millis(seconds: f64) -> u64 {
    // Saturates; negative and NaN give 0.
    (seconds * 1000.0).round() as u64
}

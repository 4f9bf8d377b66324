//! `watch`: a scenario as it runs, or a trace, in a window.

use super::subject::{self, Subject};
use crate::args::WatchArgs;
use crate::board::TargetSource;
use crate::exit::Exit;
use crate::output::{emit, say};
use crate::report::{CommandResult, Failure};
use crate::stop;
use std::fmt::Write as _;
use std::sync::Arc;
use std::time::Instant;
use trimproof_diagnostics::{MESSAGE_MAX, brief};
use trimproof_harness::judge::Verdict;
use trimproof_harness::run::Cut;
use trimproof_link::On;
use trimproof_viewer::{Finished, MakeTarget, Source, View, Watch, WindowSeen, watch};

/// Runs the command.
///
/// # Errors
/// If a file or an argument cannot be used, or there is nothing to show it on.
pub fn run(args: &WatchArgs) -> CommandResult {
    let begun = Instant::now();
    let mut subject = Subject::find(&args.subject)?;
    let (signals, view) = (
        subject::signals(&args.subject.look.signal)?,
        subject::view(args.subject.look.view.as_deref(), View::Whole)?,
    );
    let targets = match &subject {
        Subject::Scenario(_) => Some(Arc::new(TargetSource::open_target(&args.target, None)?)),
        Subject::Trace { .. } => {
            refuse_board(&args.target.on)?;
            None
        }
    };
    if let (Subject::Scenario(case), Some(targets)) = (&mut subject, &targets) {
        targets.set_firmware_of(Arc::make_mut(&mut case.rig));
    }
    let source = match (&subject, &targets) {
        (Subject::Scenario(case), Some(targets)) => Source::Run {
            scenario: Arc::clone(&case.scenario),
            target: maker(targets),
        },
        _ => Source::File {
            path: args.subject.what.clone(),
            scenario: subject.scenario().cloned(),
        },
    };
    let seen = watch(Watch {
        rig: Arc::clone(subject.rig()),
        source,
        speed: args.speed,
        view,
        signals,
        size: args.window.size.0,
        at_s: args.at,
        close_after_s: args.window.close_after,
        stop: stop::on_signal(),
        promise: None,
        save: None,
        begun,
    })?;
    print_farewell(&seen);
    let mut out = String::new();
    let mut exit = Exit::Pass;
    if let (Some(finished), Subject::Scenario(case)) = (&seen.finished, &subject) {
        exit = write_verdicts(&mut out, &case.label(), finished);
    }
    if args.window.costs {
        write_costs(&mut out, &seen);
    }
    emit(&out)?;
    if let Some(targets) = targets {
        finish_log(&targets)?;
    }
    Ok(exit)
}

/// Makes the controller under test on the thread that runs it.
pub fn maker(targets: &Arc<TargetSource>) -> MakeTarget {
    let targets = Arc::clone(targets);
    Box::new(move || targets.target())
}

/// Ends the log of frames.
pub fn finish_log(targets: &TargetSource) -> Result<(), Failure> {
    targets
        .finish_log()
        .map_err(|(what, why)| Failure::CannotWrite { what, why })
}

/// Says how a board took the end, where that must be known: whoever stands beside a motor hears it
/// first.
pub fn print_farewell(seen: &WindowSeen) {
    let farewell = seen
        .finished
        .as_ref()
        .and_then(|finished| finished.farewell.as_ref());
    if let Some(farewell) = farewell {
        say(&format!("note: {}\n", brief(farewell, MESSAGE_MAX)));
    }
}

/// What the view cost, for those who want to know.
pub fn write_costs(out: &mut String, seen: &WindowSeen) {
    let timing = &seen.timing;
    let second = |at: Option<f64>| at.map_or("never".to_owned(), |at| format!("{at:.2} s"));
    let _ = writeln!(
        out,
        "first frame after {}, first frame with the trace after {}",
        second(timing.first_frame_s),
        second(timing.first_trace_s)
    );
    let rate = 1.0 / timing.frame.mean_s().max(1e-9);
    let _ = writeln!(
        out,
        "{} frames, {rate:.1} a second, the longest {:.0} ms; our own systems {:.1} ms a frame, at most {:.1} ms",
        timing.frame.count,
        1e3 * timing.frame.worst_s,
        1e3 * timing.own.mean_s(),
        1e3 * timing.own.worst_s
    );
    let _ = writeln!(
        out,
        "trace and plots take {:.1} MB of memory",
        1e-6 * seen.bytes as f64
    );
}

fn refuse_board(on: &On) -> Result<(), Failure> {
    if matches!(on, On::Logic) {
        return Ok(());
    }
    Err(Failure::Argument {
        message: "`--on` says where a controller runs; a trace has run already".to_owned(),
        help: Some("leave it away, or name a scenario".to_owned()),
    })
}

/// What became of the run and its expectations.
fn write_verdicts(out: &mut String, label: &str, finished: &Finished) -> Exit {
    if let Some(cut) = finished.end.cut() {
        let why = cut.to_string();
        let why = brief(&why, MESSAGE_MAX);
        let (text, exit) = match cut {
            cut if cut.is_stop() => (why.to_string(), Exit::Stopped),
            Cut::Aborted(_) => (format!("aborted, {why}; nothing was judged"), Exit::Twin),
            _ => (format!("aborted, {why}; nothing was judged"), Exit::Target),
        };
        let _ = writeln!(out, "{label}: {text}");
        return exit;
    }
    let judgements = &finished.judgements;
    let count = |verdict: Verdict| {
        let of = judgements.iter().filter(|one| one.verdict == verdict);
        of.count()
    };
    let (pass, not_judged) = (count(Verdict::Pass), count(Verdict::NotJudged));
    let verdict = if count(Verdict::Fail) > 0 {
        Verdict::Fail
    } else if pass == 0 && not_judged > 0 {
        Verdict::NotJudged
    } else {
        Verdict::Pass
    };
    let more = match not_judged {
        0 => String::new(),
        count => format!(", {count} not judged"),
    };
    let _ = writeln!(
        out,
        "{label}: {}, {pass} of {} expectations pass{more}",
        verdict.word(),
        judgements.len()
    );
    for judgement in judgements {
        let name = brief(&judgement.name, MESSAGE_MAX);
        let _ = match judgement.verdict {
            Verdict::Pass => Ok(()),
            Verdict::Fail => writeln!(out, "  FAIL at {} s: {name}", judgement.at_s),
            Verdict::NotJudged => writeln!(
                out,
                "  not judged: {name}: {}",
                judgement.missing_text().unwrap_or_default()
            ),
        };
    }
    let _ = writeln!(out, "hash {}", finished.hash);
    match verdict {
        Verdict::Pass => Exit::Pass,
        // As in `prove`: a run of which nothing could be judged is not fine.
        Verdict::Fail | Verdict::NotJudged => Exit::Fail,
    }
}

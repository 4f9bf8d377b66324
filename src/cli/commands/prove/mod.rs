//! `prove`: run scenarios on the twin, judge them, report.

mod draw;
mod json;
mod table;
mod watch;

use crate::args::{Format, ProveArgs};
use crate::board::TargetSource;
use crate::exit::Exit;
use crate::output::{Paint, emit, emit_json};
use crate::report::{self, CommandResult, Failure};
use crate::{find, stop};
use std::ffi::OsString;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::Instant;
use trimproof_harness::judge::Judgement;
use trimproof_harness::junit;
use trimproof_harness::suite::{
    Case, End, Outcome, Plan, load, plain, remove_old, run_suite, try_file, try_folder, warnings,
    write_whole,
};
use trimproof_harness::trace::{Trace, TraceError};
use trimproof_link::On;

#[cfg(test)]
pub use table::render;

/// Runs the command.
///
/// # Errors
/// If a file or an argument cannot be used (nothing was run or written then), or a result cannot be
/// written.
pub fn run(args: &ProveArgs, paint: Paint) -> CommandResult {
    if args.accuracy && matches!(args.target.on, On::Source(_)) {
        return Err(Failure::Argument {
            message: "`--accuracy` needs a controller that is asked tick by tick".to_owned(),
            help: Some("leave it away with `--on source:DIR`".to_owned()),
        });
    }
    // First of all: whatever becomes of this command, an earlier report is not taken for its own.
    remove_old_reports(args)?;
    let mut files = find::scenario_files(&args.paths)?;
    if let Some(only) = &args.only {
        files = find::keep_only(files, only)?;
    }
    let mut cases = load(&files, args.rig.as_deref()).map_err(Failure::Files)?;
    cases
        .iter_mut()
        .for_each(|case| case.raise_seed(args.seed_offset));
    let epoch_s = source_date_epoch()?;
    let warnings = warnings(&cases);
    if args.strict && !warnings.is_empty() {
        return Err(Failure::Files(warnings));
    }
    let targets = TargetSource::open_target(&args.target, args.threads)
        .inspect_err(|failure| report_nothing_run(&cases, args, epoch_s, failure, paint))?;
    for case in &mut cases {
        targets.set_firmware_of(std::sync::Arc::make_mut(&mut case.rig));
    }
    try_places(args)?;
    report::warn(&warnings, paint);
    watch::say_advice(&cases);

    let begun = Instant::now();
    let outcomes = run_all(&cases, args, &targets);
    let elapsed = begun.elapsed();

    let mut exit = exit_of(&outcomes);
    if args.strict
        && outcomes
            .iter()
            .any(|one| one.never_tested().next().is_some() || one.not_judged_count() > 0)
    {
        exit = exit.worse(Exit::Fail);
    }
    let mut cannot_write = |what: String, why: String| {
        report::print(&Failure::CannotWrite { what, why }, paint);
        exit = exit.worse(Exit::CannotWrite);
    };
    if let Err((what, why)) = targets.finish_log() {
        cannot_write(what, why);
    }
    for (what, why) in write_reports(&cases, &outcomes, args, epoch_s, &targets.identity(), None) {
        cannot_write(what, why);
    }
    if let Some(folder) = &args.pictures {
        for (what, why) in draw::write_all(folder, &outcomes) {
            cannot_write(what, why);
        }
    }
    for outcome in &outcomes {
        if let Some(error) = &outcome.write_error {
            let part = match error {
                TraceError::Scratch { .. } => "rows",
                _ => "trace",
            };
            let what = format!("the {part} of {}", outcome.label());
            report::print(
                &Failure::CannotWrite {
                    what,
                    why: error.to_string(),
                },
                paint,
            );
        }
    }
    match args.format {
        Format::Json => emit_json(&json::Verdicts::of(
            &cases, &outcomes, exit, args.cards, &targets,
        ))?,
        Format::Text => emit(&table::render(&outcomes, args, &targets, paint))?,
    }
    watch::say_farewells(&outcomes);
    watch::say_elapsed(&outcomes, elapsed);
    Ok(exit)
}

fn run_all(cases: &[Case], args: &ProveArgs, targets: &TargetSource) -> Vec<Outcome> {
    let make = || targets.target();
    let draw = |case: &Case, trace: &Trace, judgements: &[Judgement]| {
        draw::pictures(
            case,
            trace,
            judgements,
            args.html.is_some(),
            args.pictures.is_some(),
        )
    };
    let plan = Plan {
        threads: targets.threads(),
        keep: args
            .keep
            .as_deref()
            .map(|folder| (folder, args.trace.extensions())),
        target: &make,
        cards: args.cards,
        draw: (args.html.is_some() || args.pictures.is_some()).then_some(&draw),
        accuracy: args.accuracy,
        stop: stop::on_signal(),
    };
    let bar = watch::Bar::new(cases);
    let outcomes = run_suite(cases, &plan, &mut |seconds, ended| {
        bar.advance(seconds, ended)
    });
    bar.finish();
    outcomes
}

/// Writes the reports that are wanted; gives what could not be written and why.
fn write_reports(
    cases: &[Case],
    outcomes: &[Outcome],
    args: &ProveArgs,
    epoch_s: Option<u32>,
    controller: &str,
    trouble: Option<&str>,
) -> Vec<(String, String)> {
    let mut failed = Vec::new();
    let mut write = |file: &Path, text: String| {
        // The folder may be missing where nothing was run.
        let written = try_file(file).and_then(|()| write_whole(file, text.as_bytes()));
        if let Err(error) = written {
            failed.push((file.display().to_string(), plain(&error)));
        }
    };
    if let Some(file) = &args.junit {
        write(file, junit::render(cases, outcomes, epoch_s, trouble));
    }
    if let Some(file) = &args.html {
        write(file, draw::page(cases, outcomes, controller, trouble));
    }
    failed
}

/// Where the controller under test does not answer at all: reports that say so. Wrong arguments
/// make none.
fn report_nothing_run(
    cases: &[Case],
    args: &ProveArgs,
    epoch_s: Option<u32>,
    failure: &Failure,
    paint: Paint,
) {
    if failure.exit() != Exit::Target {
        return;
    }
    let outcomes: Vec<Outcome> = cases.iter().map(Outcome::not_run).collect();
    let trouble = failure.to_string();
    let unknown = "unknown: it did not answer";
    let failed = write_reports(cases, &outcomes, args, epoch_s, unknown, Some(&trouble));
    for (what, why) in failed {
        report::print(&Failure::CannotWrite { what, why }, paint);
    }
}

/// Removes reports of an earlier run.
fn remove_old_reports(args: &ProveArgs) -> Result<(), Failure> {
    let wanted = [("--junit", &args.junit), ("--html", &args.html)];
    for (option, file) in wanted {
        let Some(file) = file else { continue };
        remove_old(file).map_err(|error| {
            let name = file.display();
            match error.kind() {
                ErrorKind::InvalidData => Failure::Argument {
                    message: format!("`{option} {name}` would replace a file that is no report"),
                    help: Some("name another file, or remove this one".to_owned()),
                },
                _ => Failure::cannot_write(name.to_string(), &error),
            }
        })?;
    }
    Ok(())
}

/// Removes reports of an earlier run where the arguments are refused before they are understood:
/// those that are named by `--junit` and `--html` as they stand.
pub fn remove_old_reports_of(args: &[OsString]) {
    if args.get(1).is_none_or(|command| command != "prove") {
        return;
    }
    for (index, arg) in args.iter().enumerate() {
        let arg = arg.to_string_lossy();
        for option in ["--junit", "--html"] {
            let file = match arg.strip_prefix(option) {
                Some("") => args.get(index + 1).map(PathBuf::from),
                Some(rest) => rest.strip_prefix('=').map(PathBuf::from),
                None => None,
            };
            if let Some(file) = file {
                // What cannot be removed is reported once the arguments are right.
                let _ = remove_old(&file);
            }
        }
    }
}

/// Tries the places of results, so that a long run does not end without them.
fn try_places(args: &ProveArgs) -> Result<(), Failure> {
    let fail = |place: &Path, error: std::io::Error| {
        Failure::cannot_write(place.display().to_string(), &error)
    };
    for folder in [&args.keep, &args.pictures].into_iter().flatten() {
        try_folder(folder).map_err(|error| fail(folder, error))?;
    }
    for file in [&args.junit, &args.html].into_iter().flatten() {
        try_file(file).map_err(|error| fail(file, error))?;
    }
    Ok(())
}

/// The worst of all outcomes, as an exit code.
fn exit_of(outcomes: &[Outcome]) -> Exit {
    outcomes.iter().fold(Exit::Pass, |exit, outcome| {
        let ended = match outcome.end {
            End::Complete if outcome.passes() => Exit::Pass,
            End::Complete => Exit::Fail,
            End::Cut(_) => Exit::Target,
            End::Aborted(_) => Exit::Twin,
            End::Stopped | End::NotRun => Exit::Stopped,
        };
        let written = if outcome.write_error.is_some() {
            Exit::CannotWrite
        } else {
            Exit::Pass
        };
        exit.worse(ended).worse(written)
    })
}

/// The time that reports carry, from the variable that reproducible builds use.
fn source_date_epoch() -> Result<Option<u32>, Failure> {
    let Some(value) = std::env::var_os("SOURCE_DATE_EPOCH") else {
        return Ok(None);
    };
    let value = value.to_string_lossy().into_owned();
    value.parse().map(Some).map_err(|_| Failure::Argument {
        message: format!(
            "the variable SOURCE_DATE_EPOCH is `{value}`, it must be whole seconds since 1970"
        ),
        help: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ended(end: End) -> Outcome {
        Outcome {
            name: "a".to_owned(),
            rig_name: "b".to_owned(),
            end,
            simulated_s: 1.0,
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

    #[test]
    fn the_worst_outcome_decides() {
        let cut = || End::Cut("no answer".to_owned());
        assert_eq!(exit_of(&[]), Exit::Pass);
        assert_eq!(exit_of(&[ended(End::Complete)]), Exit::Pass);
        assert_eq!(exit_of(&[ended(cut()), ended(End::Complete)]), Exit::Target);
        assert_eq!(exit_of(&[ended(End::NotRun), ended(cut())]), Exit::Stopped);
        assert_eq!(exit_of(&[ended(End::Stopped)]), Exit::Stopped);
        let aborted = || ended(End::Aborted("rig at 1 s: no number".to_owned()));
        assert_eq!(exit_of(&[aborted()]), Exit::Twin);
        for other in [ended(cut()), ended(End::Complete)] {
            assert_eq!(exit_of(&[other, aborted()]), Exit::Twin);
        }
        assert_eq!(exit_of(&[aborted(), ended(End::Stopped)]), Exit::Stopped);
        let mut unwritten = ended(cut());
        unwritten.write_error = Some(TraceError::Ending { path: "x".into() });
        assert_eq!(exit_of(&[aborted(), unwritten]), Exit::CannotWrite);
    }
}

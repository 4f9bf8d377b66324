//! `prove`: run scenarios on the twin, judge them, report.

mod draw;
mod json;
mod table;
mod watch;

use crate::args::{Format, ProveArgs};
use crate::board::Place;
use crate::exit::Exit;
use crate::output::{Paint, emit, emit_json};
use crate::report::{self, Failure};
use crate::{CommandResult, find, stop};
use std::path::Path;
use std::time::Instant;
use trimproof_harness::judge::Judgement;
use trimproof_harness::suite::{
    Case, End, Outcome, Plan, load, plain, run_suite, try_file, try_folder, write_whole,
};
use trimproof_harness::trace::Trace;

/// Runs the command.
///
/// # Errors
/// If a file or an argument cannot be used (nothing was run or written then), or a result cannot be written.
pub fn run(args: &ProveArgs, paint: Paint) -> CommandResult {
    let mut files = find::scenario_files(&args.paths)?;
    if let Some(only) = &args.only {
        files = find::keep_only(files, only)?;
    }
    let cases = load(&files, args.rig.as_deref()).map_err(Failure::Files)?;
    let epoch_s = source_date_epoch()?;
    let place = Place::open_target(&args.target, args.threads)?;
    try_places(args)?;
    watch::say_advice(&cases);

    let begun = Instant::now();
    let outcomes = run_all(&cases, args, &place);
    let elapsed = begun.elapsed();

    let mut exit = exit_of(&outcomes);
    let mut cannot_write = |what: String, why: String| {
        report::print(&Failure::CannotWrite { what, why }, paint);
        exit = exit.worse(Exit::CannotWrite);
    };
    if let Err((what, why)) = place.finish_log() {
        cannot_write(what, why);
    }
    if let Some(file) = &args.junit {
        let written = trimproof_harness::junit::render(&outcomes, epoch_s)
            .map_err(|error| error.to_string())
            .and_then(|xml| write_whole(file, xml.as_bytes()).map_err(|error| plain(&error)));
        if let Err(why) = written {
            cannot_write(file.display().to_string(), why);
        }
    }
    if let Some(file) = &args.html {
        let page = draw::page(&cases, &outcomes, &place.identity());
        if let Err(error) = write_whole(file, page.as_bytes()) {
            cannot_write(file.display().to_string(), plain(&error));
        }
    }
    if let Some(folder) = &args.pictures {
        for (what, why) in draw::write_all(folder, &outcomes) {
            cannot_write(what, why);
        }
    }
    for outcome in &outcomes {
        if let Some(error) = &outcome.write_error {
            let what = format!("the trace of {}", outcome.label());
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
            &cases, &outcomes, exit, args.cards, &place,
        ))?,
        Format::Text => emit(&table::render(&outcomes, args, &place, paint))?,
    }
    watch::say_farewells(&outcomes);
    watch::say_elapsed(&outcomes, elapsed);
    Ok(exit)
}

fn run_all(cases: &[Case], args: &ProveArgs, place: &Place) -> Vec<Outcome> {
    let make = || place.target();
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
        threads: place.threads(),
        keep: args
            .keep
            .as_deref()
            .map(|folder| (folder, args.trace.extensions())),
        target: &make,
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
    outcomes.iter().fold(Exit::Held, |exit, outcome| {
        let ended = match outcome.end {
            End::Complete if outcome.held() => Exit::Held,
            End::Complete => Exit::Broken,
            End::Cut(_) => Exit::Target,
            End::Aborted(_) => Exit::Twin,
            End::Stopped | End::NotBegun => Exit::Stopped,
        };
        let written = if outcome.write_error.is_some() {
            Exit::CannotWrite
        } else {
            Exit::Held
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
        assert_eq!(exit_of(&[]), Exit::Held);
        assert_eq!(exit_of(&[ended(End::Complete)]), Exit::Held);
        assert_eq!(exit_of(&[ended(cut()), ended(End::Complete)]), Exit::Target);
        assert_eq!(
            exit_of(&[ended(End::NotBegun), ended(cut())]),
            Exit::Stopped
        );
        assert_eq!(exit_of(&[ended(End::Stopped)]), Exit::Stopped);
        let aborted = || ended(End::Aborted("rig at 1 s: no number".to_owned()));
        assert_eq!(exit_of(&[aborted()]), Exit::Twin);
        for other in [ended(cut()), ended(End::Complete)] {
            assert_eq!(exit_of(&[other, aborted()]), Exit::Twin);
        }
        assert_eq!(exit_of(&[aborted(), ended(End::Stopped)]), Exit::Stopped);
        let mut unwritten = ended(cut());
        unwritten.write_error =
            Some(trimproof_harness::trace::TraceError::Ending { path: "x".into() });
        assert_eq!(exit_of(&[aborted(), unwritten]), Exit::CannotWrite);
    }
}

//! `feel`: measure a stick at the grip, on its twin or as the bench did, and judge it.

mod draw;
mod figures;
mod json;
mod report;
mod text;
mod verdicts;
mod work;

use report::{FeelReport, Stick};

use crate::args::{FeelArgs, Format};
use crate::commands::signals::rig_file;
use crate::exit::Exit;
use crate::output::{Paint, emit, emit_json};
use crate::report::{CommandResult, Failure, print};
use crate::stop;
use std::path::Path;
use std::time::Instant;
use trimproof_diagnostics::FileError;
use trimproof_feel::measure::MeasureError;
use trimproof_feel::plausible::plausible;
use trimproof_feel::{bench_csv, extract};
use trimproof_harness::rig::RigFile;
use trimproof_harness::suite::{
    Problem, load_rig, plain, read_text_within, try_file, try_folder, write_whole,
};

/// Where a stick's figures come from.
enum RecordSource<'a> {
    /// A measurement of the bench.
    Bench(Box<Stick>),
    /// The twin of a rig, still to be measured.
    Twin(&'a RigFile),
}

/// Runs the command.
///
/// # Errors
/// If a file or an argument cannot be used (nothing was measured or written then), or a result
/// cannot be written.
pub fn run(args: &FeelArgs, paint: Paint) -> CommandResult {
    let rig = load_rig(&rig_file(&args.rig)?)?;
    let bench = match &args.bench {
        Some(file) => Some(Box::new(read_bench(file, &rig)?)),
        None => None,
    };
    let (mut other_rig, mut other) = (None, None);
    match &args.against {
        Some(file) if is_bench(file) => {
            other = Some(RecordSource::Bench(Box::new(read_bench(file, &rig)?)))
        }
        Some(named) => other_rig = Some(load_rig(&rig_file(named)?)?),
        None => {}
    }
    if let Some(other_rig) = &other_rig {
        other = Some(RecordSource::Twin(other_rig));
    }
    for file in [&args.keep, &args.html].into_iter().flatten() {
        try_file(file)
            .map_err(|error| Failure::cannot_write(file.display().to_string(), &error))?;
    }
    if let Some(folder) = &args.pictures {
        try_folder(folder)
            .map_err(|error| Failure::cannot_write(folder.display().to_string(), &error))?;
    }

    let subject = bench.map_or(RecordSource::Twin(&rig), RecordSource::Bench);
    let Some((stick, other)) = take(subject, other)? else {
        return Ok(Exit::Stopped);
    };
    let report = FeelReport::of(&rig, &stick, other.as_ref());
    if let Some(other) = &other
        && report.table.iter().all(|verdict| verdict.value.is_none())
    {
        return Err(Failure::Argument {
            message: format!(
                "`{}` and `{}` have no measurement in common",
                stick.record.source, other.record.source
            ),
            help: Some("compared are sweeps of the same axis and condition, trim rates, and responses of the held stick from the same side".to_owned()),
        });
    }
    let mut exit = report.exit();
    if let Some(file) = &args.keep
        && let Err(error) = write_whole(file, bench_csv::write(&stick.record).as_bytes())
    {
        let failure = Failure::cannot_write(file.display().to_string(), &error);
        print(&failure, paint);
        exit = failure.exit();
    }
    for (what, why) in draw_all(args, &report) {
        let failure = Failure::CannotWrite { what, why };
        print(&failure, paint);
        exit = failure.exit();
    }
    match args.format {
        Format::Json => emit_json(&json::FeelForm::of(&report, exit))?,
        Format::Text => emit(&text::render(&report, paint))?,
    }
    Ok(exit)
}

/// Draws and writes what was asked for; gives what could not be, and why.
fn draw_all(args: &FeelArgs, report: &FeelReport<'_>) -> Vec<(String, String)> {
    if args.pictures.is_none() && args.html.is_none() {
        return Vec::new();
    }
    let pictures = match draw::pictures(report) {
        Ok(pictures) => pictures,
        Err(error) => return vec![("the pictures".to_owned(), error.to_string())],
    };
    let mut failed = Vec::new();
    if let Some(folder) = &args.pictures {
        failed.extend(draw::write_all(folder, &pictures));
    }
    if let Some(file) = &args.html
        && let Err(error) = write_whole(file, draw::page(report, pictures).as_bytes())
    {
        failed.push((file.display().to_string(), plain(&error)));
    }
    failed
}

/// Measures the twins among the two sources, side by side; none if the user stopped it.
fn take(
    subject: RecordSource<'_>,
    other: Option<RecordSource<'_>>,
) -> Result<Option<(Stick, Option<Stick>)>, Failure> {
    let sources: Vec<RecordSource<'_>> = std::iter::once(subject).chain(other).collect();
    let rigs: Vec<&RigFile> = sources
        .iter()
        .filter_map(|source| match source {
            RecordSource::Twin(rig) => Some(*rig),
            RecordSource::Bench(_) => None,
        })
        .collect();
    let begun = Instant::now();
    let measured = match work::measure_all(&rigs, stop::on_signal()) {
        Ok(measured) => measured,
        Err((_, MeasureError::Stopped)) => return Ok(None),
        Err((name, MeasureError::Twin(abort))) => {
            return Err(Failure::Twin {
                what: format!("rig `{name}` cannot be measured"),
                abort,
            });
        }
        Err((name, error)) => {
            return Err(Failure::Argument {
                message: format!("the twin of rig `{name}` cannot be measured: {error}"),
                help: Some("`trimproof prove` shows what its controller does".to_owned()),
            });
        }
    };
    work::say_elapsed(&measured, begun.elapsed());
    let mut measured = measured.into_iter();
    let mut sticks = sources.into_iter().filter_map(|source| match source {
        RecordSource::Bench(stick) => Some(*stick),
        RecordSource::Twin(rig) => measured
            .next()
            .map(|measured| Stick::of_twin(rig, measured)),
    });
    let subject = sticks.next();
    let other = sticks.next();
    Ok(subject.map(|subject| (subject, other)))
}

/// Whether it is a measurement, going by its name.
fn is_bench(file: &Path) -> bool {
    file.extension()
        .is_some_and(|extension| extension.eq_ignore_ascii_case("csv"))
}

/// Reads a measurement of the bench, taken at the rig's grip, and its figures.
fn read_bench(file: &Path, rig: &RigFile) -> Result<Stick, Failure> {
    let text = read_text_within(file, bench_csv::BYTES_MAX)?;
    let mut record = bench_csv::read(&text, rig.stick.grip_radius_m)
        .map_err(|error| Problem::within(file, &text, error))?;
    record.source = file
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    plausible(rig, &record).map_err(|error| {
        let help = error.check;
        Problem::new(file, FileError::new(error.to_string()).with_help(help))
    })?;
    let figures = extract::figures(&record)
        .map_err(|error| Problem::new(file, FileError::new(error.to_string())))?;
    Ok(Stick {
        record,
        figures,
        notes: Vec::new(),
    })
}

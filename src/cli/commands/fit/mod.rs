//! `fit`: a rig's values from what was measured on the bench.

mod draw;
mod json;
mod shown;
mod text;

use shown::FitShown;

use crate::args::{FitArgs, Format};
use crate::commands::signals::rig_file;
use crate::exit::Exit;
use crate::output::{Paint, emit, emit_json};
use crate::report::{self, CommandResult, Failure};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::path::Path;
use std::time::Duration;
use trimproof_diagnostics::FileError;
use trimproof_feel::bench_csv;
use trimproof_feel::fit::{FitError, Progress, fit_watched, written};
use trimproof_feel::record::Record;
use trimproof_harness::suite::{
    Problem, load_rig, read_text, read_text_within, try_file, try_folder, write_whole,
};

/// Identifies, prints and writes.
///
/// # Errors
/// If a file or an argument cannot be used, the measurement gives nothing, or a result cannot be
/// written.
pub fn run(args: &FitArgs, paint: Paint) -> CommandResult {
    let rig_file = rig_file(&args.rig)?;
    let rig = load_rig(&rig_file)?;
    let name = args.write.as_deref().map(rig_name).transpose()?;
    let record = read_bench(&args.bench, rig.stick.grip_radius_m)?;
    if let Some(file) = &args.write {
        try_file(file)
            .map_err(|error| Failure::cannot_write(file.display().to_string(), &error))?;
    }
    if let Some(folder) = &args.pictures {
        try_folder(folder)
            .map_err(|error| Failure::cannot_write(folder.display().to_string(), &error))?;
    }
    let bar = FitBar::new();
    let fit = fit_watched(&rig, &record, &mut |progress| bar.show(progress));
    bar.finish();
    let fit = fit.map_err(|error| useless(&args.bench, &error))?;
    let written = match &name {
        Some(name) => {
            let text = read_text(&rig_file)?;
            let new = written(&text, &fit, name)
                .map_err(|error| Problem::new(&args.bench, unwritable(&error)))?;
            Some(new)
        }
        None => None,
    };
    let mut exit = Exit::Pass;
    if let (Some(file), Some(new)) = (&args.write, &written)
        && let Err(error) = write_whole(file, new.text.as_bytes())
    {
        let failure = Failure::cannot_write(file.display().to_string(), &error);
        report::print(&failure, paint);
        exit = failure.exit();
    }
    if let Some(folder) = &args.pictures {
        for (what, why) in draw::write_all(folder, &rig.name, &fit) {
            let failure = Failure::CannotWrite { what, why };
            report::print(&failure, paint);
            exit = failure.exit();
        }
    }
    let shown = FitShown {
        rig: &rig.name,
        fit: &fit,
        written: args.write.as_deref().zip(written.as_ref()),
    };
    match args.format {
        Format::Json => emit_json(&json::FitForm::of(&shown, exit))?,
        Format::Text => emit(&text::render(&shown))?,
    }
    Ok(exit)
}

/// A bar on standard error if that is a terminal; it turns while a search takes its time.
struct FitBar(ProgressBar);

impl FitBar {
    fn new() -> Self {
        let target = if std::io::stderr().is_terminal() {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(1), target);
        // The template is fixed; if it could not be read, the plain bar does.
        if let Ok(style) = ProgressStyle::with_template("{spinner} {bar:30} {elapsed}  {msg}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        Self(bar)
    }

    /// Moves on; never stops the fit.
    fn show(&self, progress: Progress) -> bool {
        self.0.set_length(u64::from(progress.most));
        self.0.set_position(u64::from(progress.done));
        self.0.set_message(format!(
            "{}: search {} of at most {}",
            progress.axis.name(),
            progress.done + 1,
            progress.most
        ));
        true
    }

    fn finish(&self) {
        self.0.finish_and_clear();
    }
}

/// Name of the rig that a file will hold.
fn rig_name(file: &Path) -> Result<String, Failure> {
    let stem = file.file_stem().and_then(|stem| stem.to_str());
    let is_toml = file.extension().is_some_and(|end| end == "toml");
    let name = stem.unwrap_or_default();
    let kebab = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if is_toml && !name.is_empty() && name.chars().all(kebab) {
        return Ok(name.to_owned());
    }
    Err(Failure::Argument {
        message: format!("`--write {}` is no name of a rig file", file.display()),
        help: Some(
            "a rig file is called NAME.toml, the name of lower-case letters, digits and hyphens"
                .to_owned(),
        ),
    })
}

fn read_bench(file: &Path, grip_radius_m: f64) -> Result<Record, Failure> {
    let text = read_text_within(file, bench_csv::BYTES_MAX)?;
    let mut record = bench_csv::read(&text, grip_radius_m)
        .map_err(|error| Problem::within(file, &text, error))?;
    record.source = file
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    Ok(record)
}

/// A measurement that gives nothing.
fn useless(file: &Path, error: &FitError) -> Failure {
    let help = match error {
        FitError::NothingHeld => {
            "sweep the stick, or let it go from a deflection, while the trim holds: `condition` is `held`, or no such column"
        }
        FitError::TooFew { .. } => {
            "readings within half a degree after a turn, at a stop and of a stick at rest do not count"
        }
        FitError::Implausible(implausible) => implausible.check,
        FitError::Unusable { .. }
        | FitError::NoMinimum { .. }
        | FitError::TooLong { .. }
        | FitError::Stopped => {
            "check the units of the columns; the guide docs/guides/feel.md says how to measure"
        }
    };
    Problem::new(file, FileError::new(error.to_string()).with_help(help)).into()
}

/// What was measured makes no rig; the place in the rig's text is of a text that nobody has.
fn unwritable(error: &FileError) -> FileError {
    FileError::new(format!(
        "what was measured makes no valid rig: {}",
        error.message
    ))
    .with_help("without `--write` the values are printed all the same")
}

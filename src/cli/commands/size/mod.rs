//! `size`: the drawing board's questions about a rig.

mod draw;
mod listing;
mod motion;
mod text;

use crate::args::{Format, SizeArgs};
use crate::commands::signals::rig_file;
use crate::exit::Exit;
use crate::output::{Paint, emit, emit_json};
use crate::report::{self, CommandResult, Failure};
use serde::Serialize;
use trimproof_harness::rig::RigFile;
use trimproof_harness::suite::{load_rig, try_folder};
use trimproof_size::{Sizes, size, size_at};

/// Version of the JSON form: it rises when a field changes its meaning or goes.
const FORM: u32 = 1;

#[cfg(test)]
pub use text::render;

#[derive(Serialize)]
struct SizeReport<'a> {
    form: u32,
    #[serde(flatten)]
    sizes: &'a Sizes,
}

/// Works out and prints the sizes.
///
/// # Errors
/// If the rig cannot be found or used, a position is beyond the stops of both axes, or standard
/// output or the folder cannot be written.
pub fn run(args: &SizeArgs, paint: Paint) -> CommandResult {
    let rig = load_rig(&rig_file(&args.rig)?)?;
    let sizes = if args.at.is_empty() {
        size(&rig)
    } else {
        check_positions(&rig, &args.at)?;
        size_at(&rig, &args.at)
    }
    .map_err(|error| Failure::Argument {
        message: error.to_string(),
        help: None,
    })?;
    let mut exit = Exit::Pass;
    if let Some(folder) = &args.pictures {
        try_folder(folder)
            .map_err(|error| Failure::cannot_write(folder.display().to_string(), &error))?;
        for (what, why) in draw::write_all(folder, &sizes) {
            let failure = Failure::CannotWrite { what, why };
            report::print(&failure, paint);
            exit = failure.exit();
        }
    }
    match args.format {
        Format::Json => emit_json(&SizeReport {
            form: FORM,
            sizes: &sizes,
        })?,
        Format::Text => emit(&text::render(&sizes))?,
    }
    Ok(exit)
}

fn check_positions(rig: &RigFile, at_deg: &[f64]) -> Result<(), Failure> {
    let stops = [&rig.pitch.stops, &rig.roll.stops];
    let inside = |deg: f64| {
        stops
            .iter()
            .any(|stop| deg >= stop.min_deg && deg <= stop.max_deg)
    };
    match at_deg.iter().find(|deg| !inside(**deg)) {
        None => Ok(()),
        Some(deg) => Err(Failure::Argument {
            message: format!("`--at {deg}` is not between the stops of either axis"),
            help: Some(format!(
                "pitch goes from `{}` to `{}` degrees, roll from `{}` to `{}`",
                stops[0].min_deg, stops[0].max_deg, stops[1].min_deg, stops[1].max_deg
            )),
        }),
    }
}

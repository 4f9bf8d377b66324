//! `fly`: the stick in the user's own hand, against the controller, in real time; the flight can be
//! kept as a scenario.

use super::{subject, watch};
use crate::args::FlyArgs;
use crate::board::TargetSource;
use crate::commands::signals::rig_file;
use crate::exit::Exit;
use crate::output::emit;
use crate::report::{self, CommandResult, Failure};
use crate::stop;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;
use trimproof_diagnostics::FileError;
use trimproof_diagnostics::{MESSAGE_MAX, brief};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::Cut;
use trimproof_harness::scenario::name_of;
use trimproof_harness::suite::{Problem, load, load_rig, plain, try_file, write_whole};
use trimproof_viewer::{Pace, Save, Session, Source, View, Watch, session_scenario};

/// What a kept flight is called unless the user says otherwise.
const USUAL: &str = "flown";

/// Runs the command.
///
/// # Errors
/// If a file or an argument cannot be used, or there is nothing to show it on.
pub fn run(args: &FlyArgs, paint: crate::output::Paint) -> CommandResult {
    let begun = Instant::now();
    let stop = stop::on_signal();
    let rig_path = rig_file(&args.rig)?;
    let mut rig = Arc::new(load_rig(&rig_path)?);
    let (signals, view) = (
        subject::signals(&args.look.signal)?,
        subject::view(args.look.view.as_deref(), View::Whole)?,
    );
    if let Some(file) = &args.save {
        name_of(file).map_err(|error| Failure::from(Problem::new(file, error)))?;
        let refuse = |message: &str, help: &str| {
            let error = FileError::new(message).with_help(help);
            Err(Failure::from(Problem::new(file, error)))
        };
        if file.extension().is_none_or(|ending| ending != "toml") {
            return refuse("is no name of a scenario", "a scenario is a file NAME.toml");
        }
        if file.exists() {
            // A flight cannot be had again.
            return refuse("is there already", "choose another name, or move it away");
        }
        try_file(file)
            .map_err(|error| Failure::cannot_write(file.display().to_string(), &error))?;
    }
    let targets = Arc::new(TargetSource::open_target(&args.target, None)?);
    targets.set_firmware_of(Arc::make_mut(&mut rig));
    let seen = trimproof_viewer::watch(Watch {
        rig: Arc::clone(&rig),
        source: Source::Fly {
            target: watch::maker(&targets),
            pace: Pace::Real { speed: 1.0 },
        },
        speed: 1.0,
        view,
        signals,
        size: args.window.size.0,
        at_s: None,
        close_after_s: args.window.close_after,
        stop,
        promise: args
            .save
            .as_ref()
            .map(|file| format!("kept as {} when the window is closed", file.display())),
        save: Some(saver(&rig, &rig_path)),
        begun,
    })?;
    watch::print_farewell(&seen);
    let mut out = String::new();
    let mut exit = if stop.load(Ordering::Relaxed) {
        Exit::Stopped
    } else {
        Exit::Pass
    };
    let session = seen
        .finished
        .as_ref()
        .and_then(|finished| finished.session.as_ref());
    if let Some(session) = session {
        out.push_str(&format!(
            "flown for {} s, {} events, hash {}\n",
            session.length_s,
            session.events.len(),
            session.hash
        ));
        if let Some(cut) = &session.cut {
            let why = cut.to_string();
            out.push_str(&format!(
                "the flight was aborted: {}\n",
                brief(&why, MESSAGE_MAX)
            ));
            exit = match cut {
                Cut::Aborted(_) => Exit::Twin,
                _ => Exit::Target,
            };
        }
        // Asked for beforehand: kept without another question.
        if let Some(file) = &args.save {
            match save(&rig, file, session) {
                Ok(message) => out.push_str(&format!("{}\n", brief(&message, MESSAGE_MAX))),
                Err(why) => {
                    let what = file.display().to_string();
                    report::print(&Failure::CannotWrite { what, why }, paint);
                    exit = Exit::CannotWrite;
                }
            }
        }
    }
    if args.window.costs {
        watch::write_costs(&mut out, &seen);
    }
    emit(&out)?;
    watch::finish_log(&targets)?;
    Ok(exit)
}

/// Saves beside the folder of the rig, where `prove` finds the rig again, under a name that is
/// free.
fn saver(rig: &Arc<RigFile>, rig_path: &Path) -> Save {
    let rig = Arc::clone(rig);
    let folder = rig_path.parent().unwrap_or(Path::new(""));
    let home = if folder.file_name().is_some_and(|name| name == "rigs") {
        folder.parent().unwrap_or(Path::new("")).to_owned()
    } else {
        PathBuf::new()
    };
    Box::new(move |session| save(&rig, &free_name(&home), session))
}

/// The first of `flown.toml`, `flown-2.toml` ... that is not there.
fn free_name(folder: &Path) -> PathBuf {
    let first = folder.join(format!("{USUAL}.toml"));
    let others = (2_u32..).map(|number| folder.join(format!("{USUAL}-{number}.toml")));
    std::iter::once(first.clone())
        .chain(others)
        .find(|file| !file.exists())
        .unwrap_or(first)
}

/// Writes a flight as a scenario; gives the message for the user.
fn save(rig: &RigFile, file: &Path, session: &Session) -> Result<String, String> {
    let name = name_of(file).map_err(|error| error.message)?;
    let text = session_scenario(rig, &name, session).to_toml();
    write_whole(file, text.as_bytes()).map_err(|error| plain(&error))?;
    let mut message = format!("kept as {}", file.display());
    if let Err(problems) = load(&[file.to_owned()], None) {
        let why = problems
            .first()
            .map(|problem| problem.error.message.clone())
            .unwrap_or_default();
        message.push_str(&format!(
            "; to prove it, put it into a folder that has `rigs/{}.toml` in it or beside it: {why}",
            rig.name
        ));
    }
    Ok(message)
}

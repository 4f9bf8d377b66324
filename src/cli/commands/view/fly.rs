//! `fly`: the stick in the user's own hand, against the controller, in real time; the flight can be kept as a scenario.

use super::{subject, watch};
use crate::CommandResult;
use crate::args::FlyArgs;
use crate::board::Place;
use crate::commands::signals::rig_file;
use crate::exit::Exit;
use crate::output::emit;
use crate::report::Failure;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;
use trimproof_harness::scenario::name_of;
use trimproof_harness::suite::{Problem, load_rig, plain, try_file, write_whole};
use trimproof_plant::Rig;
use trimproof_viewer::{Pace, Save, Session, Source, Watch, session_scenario};

/// Where a flight is kept unless the user says otherwise.
const USUAL: &str = "flown.toml";

/// Runs the command.
///
/// # Errors
/// If a file or an argument cannot be used, or there is nothing to show it on.
pub fn run(args: &FlyArgs) -> CommandResult {
    let begun = Instant::now();
    let rig = Arc::new(load_rig(&rig_file(&args.rig)?)?);
    let (signals, view) = (
        subject::signals(&args.look.signal)?,
        subject::view(args.look.view.as_deref())?,
    );
    let file = args.save.clone().unwrap_or_else(|| PathBuf::from(USUAL));
    name_of(&file).map_err(|error| Failure::from(Problem::new(&file, error)))?;
    if args.save.is_some() {
        try_file(&file)
            .map_err(|error| Failure::cannot_write(file.display().to_string(), &error))?;
    }
    let place = Arc::new(Place::open_target(&args.target, None)?);
    let seen = trimproof_viewer::watch(Watch {
        rig: Arc::clone(&rig),
        scenario: None,
        source: Source::Fly {
            target: watch::maker(&place),
            pace: Pace::Real { speed: 1.0 },
        },
        speed: 1.0,
        view,
        signals,
        size: args.window.size.0,
        at_s: None,
        close_after_s: args.window.close_after,
        save: Some(saver(&rig, &file)),
        begun,
    })?;
    let mut out = String::new();
    if let (Some(session), Some(file)) = (&seen.session, &args.save) {
        // Asked for beforehand: kept without another question.
        let told = save(&rig, file, session).map_err(|why| Failure::CannotWrite {
            what: file.display().to_string(),
            why,
        })?;
        out.push_str(&format!("{told}\n"));
    }
    if let Some(session) = &seen.session {
        out.push_str(&format!(
            "flown for {} s, {} events, hash {}\n",
            session.length_s,
            session.events.len(),
            session.hash
        ));
    }
    if args.window.costs {
        watch::tell_costs(&mut out, &seen);
    }
    emit(&out)?;
    watch::finish_log(&place)?;
    let cut = seen.finished.and_then(|finished| finished.cut);
    Ok(match cut {
        Some(why) if !why.starts_with("stopped at") => {
            emit(&format!("the flight was cut short: {why}\n"))?;
            Exit::Target
        }
        _ => Exit::Held,
    })
}

fn saver(rig: &Arc<Rig>, file: &Path) -> Save {
    let (rig, file) = (Arc::clone(rig), file.to_owned());
    Box::new(move |session| save(&rig, &file, session))
}

/// Writes a flight as a scenario; gives what to tell the user.
fn save(rig: &Rig, file: &Path, session: &Session) -> Result<String, String> {
    let name = name_of(file).map_err(|error| error.message)?;
    let text = session_scenario(rig, &name, session).to_toml();
    write_whole(file, text.as_bytes()).map_err(|error| plain(&error))?;
    Ok(format!("kept as {}", file.display()))
}

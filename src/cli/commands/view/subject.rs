//! What is to be seen: a scenario to be run, or a trace with the rig and the scenario that it was
//! made of.

use crate::args::SubjectArgs;
use crate::commands::signals::rig_file;
use crate::output::say;
use crate::report::Failure;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use trimproof_diagnostics::{CELL_MAX, brief};
use trimproof_diagnostics::{FileError, nearest};
use trimproof_harness::rig::RigFile;
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::{Case, Problem, list, load, load_rig, rigs_in};
use trimproof_harness::trace::{About, Trace, TraceError, signals as known_signals};
use trimproof_viewer::{SignalName, View, ViewError};

/// Folder in which a scenario is looked for by name.
const SCENARIO_FOLDER: &str = "scenarios";

/// What is to be seen.
pub enum Subject {
    /// A scenario on a rig.
    Scenario(Box<Case>),
    /// A trace file.
    Trace {
        /// The file.
        file: PathBuf,
        /// The rig that it was made on.
        rig: Arc<RigFile>,
        /// Its scenario, if it is at hand.
        scenario: Option<Arc<Scenario>>,
    },
}

impl Subject {
    /// Finds and checks what the user names.
    ///
    /// # Errors
    /// A file cannot be used, or the rig is not the trace's.
    pub fn find(args: &SubjectArgs) -> Result<Self, Failure> {
        let ending = args
            .what
            .extension()
            .map(|ending| ending.to_ascii_lowercase());
        let is_trace = ending.is_some_and(|ending| ending == "csv" || ending == "mcap");
        if is_trace {
            of_trace(args)
        } else {
            of_scenario(args)
        }
    }

    /// The rig.
    pub fn rig(&self) -> &Arc<RigFile> {
        match self {
            Self::Scenario(case) => &case.rig,
            Self::Trace { rig, .. } => rig,
        }
    }

    /// The scenario, if one is at hand.
    pub fn scenario(&self) -> Option<&Arc<Scenario>> {
        match self {
            Self::Scenario(case) => Some(&case.scenario),
            Self::Trace { scenario, .. } => scenario.as_ref(),
        }
    }

    /// A name for files: `scenario@rig`, or the trace's.
    pub fn label(&self) -> String {
        match self {
            Self::Scenario(case) => case.label(),
            Self::Trace { file, .. } => file
                .file_stem()
                .map(|stem| stem.to_string_lossy().into_owned())
                .unwrap_or_default(),
        }
    }
}

/// Signals by their names, for the plots.
///
/// # Errors
/// One is not known or is no number.
pub fn signals(names: &[String]) -> Result<Vec<SignalName>, Failure> {
    names
        .iter()
        .map(|name| {
            let found = known_signals().iter().find(|info| info.name == *name);
            if found.is_some_and(|info| !info.kind.is_number()) {
                return Err(Failure::Argument {
                    message: format!("`{name}` is no number, it has its lane below the plots"),
                    help: Some("leave it away".to_owned()),
                });
            }
            found.map(|info| info.name.clone()).ok_or_else(|| {
                let near = nearest(name, known_signals().iter().map(|info| &*info.name));
                Failure::Argument {
                    message: format!("there is no signal `{name}`"),
                    help: Some(match near {
                        Some(near) => {
                            format!("did you mean `{near}`? `trimproof signals` lists them")
                        }
                        None => "`trimproof signals` lists them".to_owned(),
                    }),
                }
            })
        })
        .collect()
}

/// The view of this name, `usual` if there is none.
///
/// # Errors
/// It is not known.
pub fn view(name: Option<&str>, usual: View) -> Result<View, Failure> {
    name.map_or(Ok(usual), |name| {
        name.parse().map_err(|message| Failure::Argument {
            message,
            help: None,
        })
    })
}

fn of_scenario(args: &SubjectArgs) -> Result<Subject, Failure> {
    if let Some(other) = &args.scenario {
        return Err(Failure::Argument {
            message: format!(
                "`--scenario {}` is for a trace, `{}` is a scenario itself",
                other.display(),
                args.what.display()
            ),
            help: Some("leave it away".to_owned()),
        });
    }
    let file = scenario_file(&args.what);
    suggest(&args.what, &file)?;
    let cases =
        load(&[file], args.rig.as_deref().and_then(Path::to_str)).map_err(Failure::Files)?;
    cases
        .into_iter()
        .next()
        .map(|case| Subject::Scenario(Box::new(case)))
        .ok_or_else(|| Failure::Argument {
            message: format!("`{}` is on no rig", args.what.display()),
            help: None,
        })
}

/// For a scenario that is named by name and is not there: the nearest that is.
fn suggest(named: &Path, file: &Path) -> Result<(), Failure> {
    if file.exists() || named.components().count() > 1 || named.extension().is_some() {
        return Ok(());
    }
    // The scenarios' names are found as the rigs' are.
    let known = rigs_in(Path::new(SCENARIO_FOLDER));
    let name = named.to_string_lossy();
    Err(Failure::Argument {
        message: format!("there is no scenario `{name}`"),
        help: Some(match nearest(&name, known.iter().map(String::as_str)) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!(
                "name a file, or one of the {} in `{SCENARIO_FOLDER}`",
                known.len()
            ),
        }),
    })
}

/// A scenario that is named by path or, in the folder of scenarios, by name.
fn scenario_file(named: &Path) -> PathBuf {
    let is_path = named.components().count() > 1 || named.extension().is_some() || named.exists();
    let by_name = Path::new(SCENARIO_FOLDER)
        .join(named)
        .with_extension("toml");
    if !is_path && by_name.is_file() {
        by_name
    } else {
        named.to_owned()
    }
}

fn of_trace(args: &SubjectArgs) -> Result<Subject, Failure> {
    let file = args.what.clone();
    let (about, rows) = Trace::peek(&file).map_err(|error| unusable(&file, &error))?;
    if rows == 0 {
        return Err(ViewError::Empty.into());
    }
    let rig = Arc::new(match &args.rig {
        Some(named) => load_rig(&rig_file(named)?)?,
        None => load_rig(&rig_of(&about, &file)?)?,
    });
    check_fit(&about, &rig, &file)?;
    let scenario = match &args.scenario {
        Some(named) => Some(own_scenario(named, &about)?),
        None => scenario_of(&about),
    };
    Ok(Subject::Trace {
        file,
        rig,
        scenario,
    })
}

/// A trace that cannot be used, as a failure.
pub fn unusable(file: &Path, error: &TraceError) -> Failure {
    let text = error.to_string();
    let name = format!("`{}` ", file.display());
    Problem::new(
        file,
        FileError::new(text.strip_prefix(&name).unwrap_or(&text)),
    )
    .into()
}

/// The rig that a trace names: beside the trace, or where rigs stand.
fn rig_of(about: &About, file: &Path) -> Result<PathBuf, Failure> {
    let name = format!("{}.toml", about.rig);
    let folder = file.parent().unwrap_or(Path::new(""));
    for beside in [folder.join(&name), folder.join("rigs").join(&name)] {
        if beside.is_file() {
            return Ok(beside);
        }
    }
    rig_file(Path::new(&about.rig))
}

/// Refuses a rig that the trace was not made on.
fn check_fit(about: &About, rig: &RigFile, file: &Path) -> Result<(), Failure> {
    let refuse = |message: String, help: &str| {
        Err(Failure::Argument {
            message,
            help: Some(help.to_owned()),
        })
    };
    if about.rig != rig.name {
        return refuse(
            format!(
                "`{}` was made on the rig `{}`, not on `{}`",
                file.display(),
                about.rig,
                rig.name
            ),
            "leave `--rig` away, or name the rig that it was made on",
        );
    }
    if (about.tick_s - rig.tick_s()).abs() > 1e-9 {
        return refuse(
            format!(
                "`{}` has a row every `{}` s, the controller of the rig `{}` has a tick every `{}` s",
                file.display(),
                about.tick_s,
                rig.name,
                rig.tick_s()
            ),
            "the rig's file has changed since: show the trace with the rig as it was, by `--rig FILE`",
        );
    }
    Ok(())
}

/// The scenario that the user names for a trace.
fn own_scenario(named: &Path, about: &About) -> Result<Arc<Scenario>, Failure> {
    let file = scenario_file(named);
    let cases = load(std::slice::from_ref(&file), None).map_err(Failure::Files)?;
    let rigs: Vec<String> = cases.iter().map(|case| case.rig_name.clone()).collect();
    if let Some(case) = cases.first()
        && case.name != about.scenario
    {
        say(&format!(
            "note: the trace is of the scenario `{}`, its expectations are those of `{}`\n",
            brief(&about.scenario, CELL_MAX),
            case.name
        ));
    }
    cases
        .into_iter()
        .find(|case| case.rig_name == about.rig)
        .map(|case| case.scenario)
        .ok_or_else(|| Failure::Argument {
            message: format!(
                "`{}` is not for the rig `{}` of the trace",
                file.display(),
                about.rig
            ),
            help: Some(format!("it is for {}", list(&rigs))),
        })
}

/// The scenario that a trace names, if it is where scenarios stand and can be used; else a note,
/// for the trace is there all the same.
fn scenario_of(about: &About) -> Option<Arc<Scenario>> {
    let file = scenario_file(Path::new(&about.scenario));
    let exists = file.is_file();
    let found = load(&[file], None)
        .ok()
        .and_then(|cases| cases.into_iter().find(|case| case.rig_name == about.rig));
    if found.is_none() {
        let why = if exists {
            "cannot be used"
        } else {
            "is not at hand"
        };
        say(&format!(
            "note: the scenario `{}` {why}, so no expectations are shown; `--scenario FILE` names it\n",
            brief(&about.scenario, CELL_MAX)
        ));
    }
    found.map(|case| case.scenario)
}

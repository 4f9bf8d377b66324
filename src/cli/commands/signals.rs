//! `signals`: what formulas may speak of.

use crate::args::{Format, SignalsArgs};
use crate::exit::Exit;
use crate::output::{emit, emit_json};
use crate::report::{CommandResult, Failure};
use serde::Serialize;
use std::path::{Path, PathBuf};
use trimproof_diagnostics::{FileError, nearest};
use trimproof_harness::card::text::table;
use trimproof_harness::rig::RigFile;
use trimproof_harness::suite::{Problem, list, load_rig, rigs_in};
use trimproof_harness::trace::{ColumnInfo, signals};
use trimproof_io::State;

/// Folders in which a rig is looked for by name.
const RIG_FOLDERS: [&str; 2] = ["scenarios/rigs", "rigs"];

/// Prints the list.
///
/// # Errors
/// If the rig cannot be found or used, or standard output cannot be written.
pub fn run(args: &SignalsArgs) -> CommandResult {
    let rig = match &args.rig {
        Some(named) => Some(load_rig(&rig_file(named)?)?),
        None => None,
    };
    match args.format {
        Format::Json => emit_json(&Listing::of(rig.as_ref()))?,
        Format::Text => emit(&text(rig.as_ref()))?,
    }
    Ok(Exit::Pass)
}

#[derive(Serialize)]
struct Listing {
    signals: &'static [ColumnInfo],
    states: Vec<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    constants: Option<Vec<Constant>>,
}

#[derive(Serialize)]
struct Constant {
    name: String,
    value: f64,
}

impl Listing {
    fn of(rig: Option<&RigFile>) -> Self {
        let constant = |(name, value)| Constant { name, value };
        Self {
            signals: signals(),
            states: State::ALL.map(State::name).to_vec(),
            constants: rig.map(|rig| rig.constants().into_iter().map(constant).collect()),
        }
    }
}

fn text(rig: Option<&RigFile>) -> String {
    let listing = Listing::of(rig);
    let mut rows = vec![
        ["signal", "unit", "kind", "meaning"]
            .map(str::to_owned)
            .to_vec(),
    ];
    rows.extend(listing.signals.iter().map(|info| {
        vec![
            info.name.to_string(),
            info.unit.to_string(),
            info.kind.name().to_owned(),
            info.meaning.to_string(),
        ]
    }));
    let mut out = table(&rows, &[], 0);
    out.push_str(&format!("\nstates: {}\n", listing.states.join(", ")));
    if let Some(constants) = listing.constants {
        let mut rows = vec![vec!["constant".to_owned(), "value".to_owned()]];
        rows.extend(
            constants
                .into_iter()
                .map(|constant| vec![constant.name, shown(constant.value)]),
        );
        out.push('\n');
        out.push_str(&table(&rows, &[false, true], 0));
    }
    out
}

/// Six significant digits: enough to recognise a setting, no noise of a conversion.
fn shown(value: f64) -> String {
    format!("{value:.5e}")
        .parse::<f64>()
        .map_or_else(|_| value.to_string(), |rounded| rounded.to_string())
}

/// The file of a rig that is named by path or by name.
///
/// # Errors
/// If it is named by name and no folder holds it.
pub fn rig_file(named: &Path) -> Result<PathBuf, Failure> {
    let is_path = named.components().count() > 1 || named.extension().is_some();
    if is_path || named.is_file() {
        return Ok(named.to_owned());
    }
    let name = named.to_string_lossy();
    let folders = RIG_FOLDERS.map(Path::new);
    if let Some(file) = folders
        .iter()
        .map(|folder| folder.join(format!("{name}.toml")))
        .find(|file| file.exists())
    {
        return Ok(file);
    }
    let known: Vec<String> = folders.iter().flat_map(|folder| rigs_in(folder)).collect();
    let help = match nearest(&name, known.iter().map(String::as_str)) {
        Some(near) => format!("did you mean `{near}`? there are: {}", list(&known)),
        None => format!(
            "looked in {}; there are: {}",
            RIG_FOLDERS.join(" and "),
            list(&known)
        ),
    };
    Err(Problem::new(
        named,
        FileError::new(format!("there is no rig `{name}`")).with_help(help),
    )
    .into())
}

//! From scenario files to the cases of a suite: everything is checked before anything is run.

use super::files::{Problem, read_text};
use super::inherit::laws_for;
use crate::judge::{self, check_formulas, check_scenario};
use crate::laws::{self, LawFile, LawSet};
use crate::rig::RigFile;
use crate::scenario::{Draft, Scenario, in_order, is_kebab, name_of};
use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;
use trimproof_diagnostics::{FileError, nearest};

/// One scenario on one rig.
#[derive(Clone, Debug)]
pub struct Case {
    /// Name of the scenario: the stem of its file.
    pub name: String,
    /// Name of the rig: the stem of its file.
    pub rig_name: String,
    /// File of the scenario.
    pub file: PathBuf,
    /// The scenario.
    pub scenario: Arc<Scenario>,
    /// The rig.
    pub rig: Arc<RigFile>,
    /// Line of every expectation's formula in the file, from 1; empty if there is no file.
    pub lines: Arc<[usize]>,
    /// What is allowed in the file but hardly meant.
    pub warnings: Vec<Problem>,
    /// The laws that the scenario inherits, read for the rig; none where no folder above has a file
    /// of them.
    pub laws: Arc<LawSet>,
}

impl Case {
    /// Adds to the scenario's seed, wrapping: the same case with other noise.
    pub fn raise_seed(&mut self, by: u64) {
        if by != 0 {
            let scenario = Arc::make_mut(&mut self.scenario);
            scenario.seed = scenario.seed.wrapping_add(by);
        }
    }

    /// `scenario@rig`, the name of the case in file names and lists.
    pub fn label(&self) -> String {
        format!("{}@{}", self.name, self.rig_name)
    }

    /// Line in the file, from 1, of the expectation with this index in [`Scenario::expect`]; `None`
    /// if it is not known.
    pub fn line(&self, index: usize) -> Option<usize> {
        self.lines.get(index).copied()
    }
}

/// The warnings about all cases, each once: a scenario runs on several rigs.
pub fn warnings(cases: &[Case]) -> Vec<Problem> {
    let mut found: Vec<Problem> = Vec::new();
    for warning in cases.iter().flat_map(|case| &case.warnings) {
        let known = |other: &Problem| other.file == warning.file && other.error == warning.error;
        if !found.iter().any(known) {
            found.push(warning.clone());
        }
    }
    found
}

/// Reads and checks scenario files and the rigs that they name.
///
/// A rig `r` is the file `rigs/r.toml` in the scenario's folder, else in the folder above. With
/// `only_rig`, scenarios that do not name this rig give no case, but are checked all the same. The
/// cases come in order of scenario name, then in the order in which the scenario lists its rigs.
///
/// # Errors
/// Everything that is wrong with any of the files, in the order of the files; also two scenarios of
/// the same name, and an `only_rig` that no scenario names. Nothing is run, nothing written.
pub fn load(files: &[PathBuf], only_rig: Option<&str>) -> Result<Vec<Case>, Vec<Problem>> {
    let mut loader = Loader::default();
    for file in files {
        loader.take(file);
    }
    loader.finish(only_rig)
}

/// Reads and checks one rig file.
///
/// # Errors
/// If it cannot be read, is no valid rig, or its `name` is not the stem of the file.
pub fn load_rig(file: &Path) -> Result<RigFile, Problem> {
    let text = read_text(file)?;
    let rig = RigFile::parse(&text).map_err(|error| Problem::within(file, &text, error))?;
    let stem = file
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned())
        .unwrap_or_default();
    if rig.name != stem {
        let message = format!(
            "the rig's name `{}` is not the name of its file, `{stem}`",
            rig.name
        );
        return Err(Problem::within(
            file,
            &text,
            FileError::at(&text, "name", message),
        ));
    }
    Ok(rig)
}

/// Names of the rig files in a folder, sorted.
pub fn rigs_in(folder: &Path) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut names: Vec<String> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| {
            path.extension()
                .is_some_and(|extension| extension == "toml")
        })
        .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
        .collect();
    names.sort();
    names
}

/// `a`, `b` or `c`, each in backticks; "none" if there are none.
pub fn list(names: &[String]) -> String {
    if names.is_empty() {
        return "none".to_owned();
    }
    names
        .iter()
        .map(|name| format!("`{name}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

#[derive(Default)]
struct Loader {
    problems: Vec<Problem>,
    cases: Vec<Case>,
    first_of_name: BTreeMap<String, PathBuf>,
    /// By file: a rig that several scenarios name is read, and complained of, once.
    rigs: BTreeMap<PathBuf, Option<Arc<RigFile>>>,
    /// By file: laws are read, and complained of, once.
    law_files: BTreeMap<PathBuf, Option<(LawFile, Arc<str>)>>,
    /// By file and rig.
    law_sets: BTreeMap<(PathBuf, String), Option<Arc<LawSet>>>,
}

impl Loader {
    fn take(&mut self, file: &Path) {
        let Some(name) = self.name(file) else { return };
        let text = match read_text(file) {
            Ok(text) => text,
            Err(problem) => return self.problems.push(problem),
        };
        let scenario = match Scenario::parse_whole(&text) {
            Ok(scenario) => Arc::new(Scenario {
                name: name.clone(),
                ..scenario
            }),
            Err(faults) => return self.refuse(file, &text, faults),
        };
        let lines = lines_of(&text, scenario.expect.len());
        for (index, rig_name) in scenario.rigs.iter().enumerate() {
            let rig = match self.rig(file, rig_name) {
                Ok(rig) => rig,
                Err(None) => continue,
                Err(Some(mut error)) => {
                    error.span = trimproof_diagnostics::locate(&text, &format!("rigs[{index}]"));
                    self.problems.push(Problem::within(file, &text, error));
                    continue;
                }
            };
            let Some(laws) = self.laws(file, &rig) else {
                continue;
            };
            let checked = check_scenario(&rig, &scenario, &text).and_then(|()| {
                check_exceptions(&laws, &scenario, rig_name, &text).map_err(|fault| vec![fault])
            });
            match checked {
                Ok(()) => self.cases.push(Case {
                    name: name.clone(),
                    rig_name: rig_name.clone(),
                    file: file.to_owned(),
                    scenario: Arc::clone(&scenario),
                    lines: Arc::clone(&lines),
                    warnings: judge::warnings(&rig, &scenario, &text)
                        .into_iter()
                        .map(|warning| Problem::within(file, &text, warning))
                        .collect(),
                    rig,
                    laws,
                }),
                Err(faults) => self.complain(file, &text, faults),
            }
        }
    }

    /// A file that cannot be read: its faults, and those of its formulas as far as they can be
    /// found.
    fn refuse(&mut self, file: &Path, text: &Arc<str>, mut faults: Vec<FileError>) {
        let draft = Draft::read(text);
        for rig_name in &draft.rigs {
            // A rig that there is not is complained of once the file reads.
            if let Ok(rig) = self.rig(file, rig_name) {
                for fault in check_formulas(&rig, &draft, text) {
                    if !faults.contains(&fault) {
                        faults.push(fault);
                    }
                }
            }
        }
        self.complain(file, text, in_order(faults));
    }

    /// Notes faults of a file. What is wrong on one rig is mostly wrong on all: once is enough.
    fn complain(&mut self, file: &Path, text: &Arc<str>, faults: Vec<FileError>) {
        for fault in faults {
            let known = |one: &Problem| one.file == file && one.error == fault;
            if !self.problems.iter().any(known) {
                self.problems.push(Problem::within(file, text, fault));
            }
        }
    }

    /// The scenario's name, if the file can have one and no other file has it.
    fn name(&mut self, file: &Path) -> Option<String> {
        let stem = match name_of(file) {
            Ok(stem) => stem,
            Err(error) => {
                self.problems.push(Problem::new(file, error));
                return None;
            }
        };
        if let Some(first) = self.first_of_name.get(&stem) {
            let error =
                FileError::new(format!("a second scenario of the name `{stem}`")).with_help(
                    format!("the first is {}; rename one of them", first.display()),
                );
            self.problems.push(Problem::new(file, error));
            return None;
        }
        self.first_of_name.insert(stem.clone(), file.to_owned());
        Some(stem)
    }

    /// The rig of this name for a scenario file; `Err(None)` if its file was complained of before.
    fn rig(&mut self, scenario: &Path, name: &str) -> Result<Arc<RigFile>, Option<FileError>> {
        if !is_kebab(name) {
            return Err(Some(
                FileError::new(format!("cannot be a rig's name: `{name}`")).with_help(
                    "use lower-case letters, digits and single hyphens, such as `kittiwake`",
                ),
            ));
        }
        let folders = rig_folders(scenario);
        let Some(file) = folders
            .iter()
            .map(|folder| folder.join(format!("{name}.toml")))
            .find(|file| file.exists())
        else {
            return Err(Some(unknown_rig(name, &folders)));
        };
        if let Some(known) = self.rigs.get(&file) {
            return known.clone().ok_or(None);
        }
        let rig = match load_rig(&file) {
            Ok(rig) => Some(Arc::new(rig)),
            Err(problem) => {
                self.problems.push(problem);
                None
            }
        };
        self.rigs.insert(file, rig.clone());
        rig.ok_or(None)
    }

    /// The laws that a scenario file inherits, for a rig; `None` if their file was complained of.
    fn laws(&mut self, scenario: &Path, rig: &RigFile) -> Option<Arc<LawSet>> {
        let Some(file) = laws_for(scenario) else {
            return Some(Arc::default());
        };
        if !self.law_files.contains_key(&file) {
            let read = read_text(&file).and_then(|text| match LawFile::parse(&text) {
                Ok(laws) => Ok((laws, text)),
                Err(error) => Err(Problem::within(&file, &text, error)),
            });
            let read = read.map_err(|problem| self.problems.push(problem)).ok();
            self.law_files.insert(file.clone(), read);
        }
        let key = (file, rig.name.clone());
        if let Some(known) = self.law_sets.get(&key) {
            return known.clone();
        }
        let (laws, text) = self.law_files.get(&key.0)?.as_ref()?;
        let set = match laws.read_for(rig, text) {
            Ok(set) => Some(Arc::new(set)),
            Err(error) => {
                let problem = Problem::within(&key.0, text, error);
                if !self
                    .problems
                    .iter()
                    .any(|one| one.file == problem.file && one.error == problem.error)
                {
                    self.problems.push(problem);
                }
                None
            }
        };
        self.law_sets.insert(key, set.clone());
        set
    }

    fn finish(mut self, only_rig: Option<&str>) -> Result<Vec<Case>, Vec<Problem>> {
        if !self.problems.is_empty() {
            return Err(self.problems);
        }
        if let Some(wanted) = only_rig {
            let mut named: Vec<String> = self
                .cases
                .iter()
                .map(|case| case.rig_name.clone())
                .collect();
            named.sort();
            named.dedup();
            self.cases.retain(|case| case.rig_name == wanted);
            if self.cases.is_empty() {
                let near = nearest(wanted, named.iter().map(String::as_str));
                let help = match near {
                    Some(near) => format!("did you mean `{near}`? they name: {}", list(&named)),
                    None => format!("they name: {}", list(&named)),
                };
                let error = FileError::new(format!("no chosen scenario names the rig `{wanted}`"))
                    .with_help(help);
                return Err(vec![Problem::new(Path::new("--rig"), error)]);
            }
        }
        // Stable: the rigs of a scenario stay in the order of its list.
        self.cases.sort_by(|a, b| a.name.cmp(&b.name));
        Ok(self.cases)
    }
}

/// Lines of the formulas of a scenario file, from 1.
fn lines_of(text: &str, count: usize) -> Arc<[usize]> {
    (0..count)
        .map(|index| {
            let value = trimproof_diagnostics::locate(text, &format!("expect[{index}].formula"));
            let before = value.and_then(|value| text.get(..value.start));
            1 + before.map_or(0, |before| before.matches('\n').count())
        })
        .collect()
}

/// Exceptions name laws that there are.
fn check_exceptions(
    laws: &LawSet,
    scenario: &Scenario,
    rig: &str,
    text: &str,
) -> Result<(), FileError> {
    for (index, exception) in scenario.except.iter().enumerate() {
        let for_rig = exception
            .rigs
            .as_ref()
            .is_none_or(|rigs| rigs.iter().any(|name| name == rig));
        if !for_rig || laws.names().any(|name| name == exception.law) {
            continue;
        }
        let path = format!("except[{index}].law");
        let error = FileError::at(text, &path, format!("there is no law `{}`", exception.law));
        return Err(if laws.is_empty() {
            error.with_help(format!(
                "no `{}` stands in the scenario's folder or in one above",
                laws::FILE_NAME
            ))
        } else {
            match nearest(&exception.law, laws.names()) {
                Some(near) => error.with_help(format!("did you mean `{near}`?")),
                None => error.with_help(
                    "a law of an axis is named with it, as `NAME: pitch`; `prove --format json` lists all",
                ),
            }
        });
    }
    Ok(())
}

/// Folders in which the rigs of a scenario may stand, nearest first.
fn rig_folders(scenario: &Path) -> Vec<PathBuf> {
    let folder = scenario.parent().unwrap_or(Path::new(""));
    // The parent by name where there is one, so that messages read `scenarios/rigs`, not
    // `scenarios/x/../rigs`.
    let above = match folder.components().next_back() {
        Some(Component::Normal(_)) => folder.parent().unwrap_or(Path::new("")).to_owned(),
        _ => folder.join(".."),
    };
    vec![folder.join("rigs"), above.join("rigs")]
}

fn unknown_rig(name: &str, folders: &[PathBuf]) -> FileError {
    let known: Vec<String> = folders.iter().flat_map(|folder| rigs_in(folder)).collect();
    let error = FileError::new(format!("there is no rig `{name}`"));
    if known.is_empty() {
        let looked = folders
            .iter()
            .map(|folder| folder.display().to_string())
            .collect::<Vec<_>>()
            .join(" and ");
        return error.with_help(format!("looked for {name}.toml in {looked}"));
    }
    match nearest(name, known.iter().map(String::as_str)) {
        Some(near) => error.with_help(format!(
            "did you mean `{near}`? there are: {}",
            list(&known)
        )),
        None => error.with_help(format!("there are: {}", list(&known))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_kebab_case() {
        for good in ["a", "release-near-stop", "dip-24v", "7"] {
            assert!(is_kebab(good), "{good}");
        }
        for bad in ["", "-a", "a-", "a--b", "A", "a_b", "a b", "ä"] {
            assert!(!is_kebab(bad), "{bad}");
        }
    }

    #[test]
    fn rigs_are_looked_for_beside_and_above() {
        assert_eq!(
            rig_folders(Path::new("s/x.toml")),
            [PathBuf::from("s/rigs"), PathBuf::from("rigs")]
        );
        assert_eq!(
            rig_folders(Path::new("a/s/x.toml")),
            [PathBuf::from("a/s/rigs"), PathBuf::from("a/rigs")]
        );
        assert_eq!(
            rig_folders(Path::new("../x.toml")),
            [PathBuf::from("../rigs"), PathBuf::from("../../rigs")]
        );
        assert_eq!(
            rig_folders(Path::new("x.toml")),
            [PathBuf::from("rigs"), PathBuf::from("../rigs")]
        );
    }
}

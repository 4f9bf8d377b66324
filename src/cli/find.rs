//! From paths, folders and globs to scenario files.

use crate::report::Failure;
use std::collections::BTreeSet;
use std::path::{Component, Path, PathBuf};
use trimproof_diagnostics::{FileError, nearest};
use trimproof_harness::suite::{Problem, list};
use trimproof_harness::{firmware, laws};

/// Where scenarios are looked for if no path is given.
const DEFAULT_FOLDER: &str = "scenarios";

/// Folder of scenarios that take minutes: they run only where it is named.
const LONG_FOLDER: &str = "long";

/// Folders are searched so deep; a loop of links ends there.
const DEEPEST: usize = 16;

/// Finds the scenario files that the user means, in order, each once.
///
/// A folder stands for every `*.toml` in it and below, save files called `laws.toml` or
/// `firmware.toml`, folders called `rigs` or `long`, and hidden ones. A path that does not exist and
/// has `*`, `?`, `[` or `{` in it is a glob. What exists is taken as it is.
///
/// # Errors
/// If a folder or glob gives no file, or one cannot be listed.
pub fn scenario_files(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let default = [PathBuf::from(DEFAULT_FOLDER)];
    let paths = if paths.is_empty() {
        if !default[0].is_dir() {
            return Err(Failure::Argument {
                message: format!("there is no folder `{DEFAULT_FOLDER}` here"),
                help: Some(
                    "name scenario files or folders, or change to the folder that holds it"
                        .to_owned(),
                ),
            });
        }
        &default
    } else {
        paths
    };
    let (mut found, mut seen, mut problems) = (Vec::new(), BTreeSet::new(), Vec::new());
    for path in paths {
        match files_of(path) {
            Ok(files) => {
                let fresh = files
                    .into_iter()
                    .filter(|file| seen.insert(file.canonicalize().unwrap_or(file.clone())));
                found.extend(fresh);
            }
            Err(problem) => problems.push(problem),
        }
    }
    if problems.is_empty() {
        Ok(found)
    } else {
        Err(Failure::Files(problems))
    }
}

/// Keeps the files whose scenario name contains `only`, or matches it if it is a glob.
///
/// # Errors
/// If `only` is no valid glob or keeps nothing.
pub fn keep_only(files: Vec<PathBuf>, only: &str) -> Result<Vec<PathBuf>, Failure> {
    let name = |file: &PathBuf| {
        file.file_stem()
            .map(|stem| stem.to_string_lossy().into_owned())
            .unwrap_or_default()
    };
    let names: Vec<String> = files.iter().map(name).collect();
    let glob = if is_glob(only) {
        Some(matcher(only).map_err(|message| bad_glob(only, &message))?)
    } else {
        None
    };
    let wanted = |name: &String| match &glob {
        Some(glob) => glob.is_match(name),
        None => name.contains(only),
    };
    let kept: Vec<PathBuf> = files
        .into_iter()
        .filter(|file| wanted(&name(file)))
        .collect();
    if kept.is_empty() {
        let help = match nearest(only, names.iter().map(String::as_str)) {
            Some(near) => format!("did you mean `{near}`?"),
            None if names.len() <= 12 => format!("there are: {}", list(&names)),
            None => format!(
                "there are {} scenarios: {} ...",
                names.len(),
                list(&names[..12])
            ),
        };
        return Err(Failure::Argument {
            message: format!("no scenario is meant by `--only {only}`"),
            help: Some(help),
        });
    }
    Ok(kept)
}

fn files_of(path: &Path) -> Result<Vec<PathBuf>, Problem> {
    let fail = |message: String| Problem::new(path, FileError::new(message));
    let text = path.to_string_lossy();
    let (root, glob) = if path.exists() || !is_glob(&text) {
        if !path.is_dir() {
            // A file, or nothing: reading it will show which.
            return Ok(vec![path.to_owned()]);
        }
        (path.to_owned(), None)
    } else {
        (
            plain_part(path),
            Some(matcher(&text).map_err(|message| fail(format!("is no valid glob: {message}")))?),
        )
    };
    let mut files = Vec::new();
    collect(&root, 0, &mut BTreeSet::new(), &mut files).map_err(|error| {
        let folder = if root.as_os_str().is_empty() {
            Path::new(".")
        } else {
            &root
        };
        Problem::new(
            folder,
            FileError::new(format!(
                "cannot be listed: {}",
                trimproof_harness::suite::plain(&error)
            )),
        )
    })?;
    if let Some(glob) = &glob {
        files.retain(|file| glob.is_match(file));
    }
    if files.is_empty() {
        return Err(match glob {
            Some(_) => fail("matches no scenario file".to_owned()),
            None => Problem::new(
                path,
                FileError::new("holds no scenario")
                    .with_help("a scenario is a file NAME.toml, here or in a folder below that is not called `rigs` or `long`"),
            ),
        });
    }
    Ok(files)
}

/// Adds every `*.toml` below `folder`, sorted by name at each level; a folder that is reached
/// twice, by a link, counts once.
fn collect(
    folder: &Path,
    depth: usize,
    seen: &mut BTreeSet<PathBuf>,
    files: &mut Vec<PathBuf>,
) -> std::io::Result<()> {
    let listed = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    if !seen.insert(listed.canonicalize()?) {
        return Ok(());
    }
    let mut names = Vec::new();
    for entry in std::fs::read_dir(listed)? {
        names.push(entry?.file_name());
    }
    names.sort();
    for name in names {
        let path = folder.join(&name);
        let hidden = name.to_string_lossy().starts_with('.');
        if path.is_dir() {
            if !hidden && name != "rigs" && name != LONG_FOLDER && depth < DEEPEST {
                collect(&path, depth + 1, seen, files)?;
            }
        } else if !hidden
            && name != laws::FILE_NAME
            && name != firmware::FILE_NAME
            && path
                .extension()
                .is_some_and(|extension| extension == "toml")
        {
            files.push(path);
        }
    }
    Ok(())
}

/// The part of a glob before its first component with a special character.
fn plain_part(glob: &Path) -> PathBuf {
    glob.components()
        .take_while(
            |part| !matches!(part, Component::Normal(name) if is_glob(&name.to_string_lossy())),
        )
        .collect()
}

fn is_glob(text: &str) -> bool {
    text.contains(['*', '?', '[', '{'])
}

/// A valid glob.
struct Glob(String);

impl Glob {
    /// Whether it matches the whole of a path; `*` and `?` do not match a separator.
    fn is_match(&self, path: impl AsRef<Path>) -> bool {
        let path = path.as_ref().to_string_lossy();
        fast_glob::glob_match(&self.0, path.as_bytes())
    }
}

/// Reads a glob; the library takes anything, so what never matches for want of a bracket is found
/// here.
fn matcher(glob: &str) -> Result<Glob, String> {
    let mut open: Vec<char> = Vec::new();
    let mut characters = glob.chars();
    while let Some(character) = characters.next() {
        match (character, open.last()) {
            ('\\', _) => {
                characters.next();
            }
            (']', Some('[')) | ('}', Some('{')) => {
                open.pop();
            }
            // Nothing is special in a class.
            (_, Some('[')) => {}
            ('[' | '{', _) => open.push(character),
            _ => {}
        }
    }
    match open.last() {
        None => Ok(Glob(glob.to_owned())),
        Some('[') => Err("unclosed character class; missing ']'".to_owned()),
        Some(_) => Err("unclosed alternate group; missing '}'".to_owned()),
    }
}

fn bad_glob(text: &str, message: &str) -> Failure {
    Failure::Argument {
        message: format!("`--only {text}` is no valid glob: {message}"),
        help: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tree() -> tempfile::TempDir {
        let root = tempfile::tempdir().unwrap();
        for file in [
            "b.toml",
            "a.toml",
            "note.md",
            "rigs/r.toml",
            "deep/c.toml",
            "deep/rigs/r.toml",
            ".h/x.toml",
        ] {
            let file = root.path().join(file);
            std::fs::create_dir_all(file.parent().unwrap()).unwrap();
            std::fs::write(file, "").unwrap();
        }
        root
    }

    fn found(root: &Path, patterns: &[&str]) -> Vec<String> {
        let paths: Vec<PathBuf> = patterns.iter().map(|pattern| root.join(pattern)).collect();
        let files = scenario_files(&paths).unwrap();
        files
            .iter()
            .map(|file| file.strip_prefix(root).unwrap().display().to_string())
            .collect()
    }

    #[test]
    fn a_folder_stands_for_its_scenarios_without_rigs_and_hidden_ones() {
        let root = tree();
        assert_eq!(
            found(root.path(), &[""]),
            ["a.toml", "b.toml", "deep/c.toml"]
        );
    }

    #[cfg(unix)]
    #[test]
    fn links_that_lead_back_are_followed_once() {
        let root = tree();
        // Ten links back to the top: followed to the end they would be 10^16 folders.
        for index in 0..10 {
            let link = root.path().join(format!("deep/back-{index}"));
            std::os::unix::fs::symlink(root.path(), link).unwrap();
        }
        assert_eq!(
            found(root.path(), &[""]),
            ["a.toml", "b.toml", "deep/c.toml"]
        );
    }

    #[test]
    fn globs_match_whole_paths() {
        let root = tree();
        assert_eq!(found(root.path(), &["*.toml"]), ["a.toml", "b.toml"]);
        assert_eq!(
            found(root.path(), &["**/*.toml"]),
            ["a.toml", "b.toml", "deep/c.toml"]
        );
        assert_eq!(
            found(root.path(), &["{b,deep/c}.toml"]),
            ["b.toml", "deep/c.toml"]
        );
    }

    #[test]
    fn a_file_named_twice_counts_once() {
        let root = tree();
        assert_eq!(
            found(root.path(), &["b.toml", "", "deep/../b.toml"]),
            ["b.toml", "a.toml", "deep/c.toml"]
        );
    }

    #[test]
    fn only_takes_text_or_a_glob() {
        let files = || {
            ["release-fast", "release-slow", "nudge"]
                .map(|name| PathBuf::from(format!("{name}.toml")))
                .into()
        };
        assert_eq!(keep_only(files(), "lease").unwrap().len(), 2);
        assert_eq!(
            keep_only(files(), "*-slow").unwrap(),
            [PathBuf::from("release-slow.toml")]
        );
        let Failure::Argument { help, .. } = keep_only(files(), "nugde").unwrap_err() else {
            panic!("no argument")
        };
        assert_eq!(help.unwrap(), "did you mean `nudge`?");
        assert!(keep_only(files(), "[").is_err());
    }
}

//! Source text: which files there are, and what in them is code.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Every file below a folder of the repository with one of these extensions, sorted.
pub fn files(folder: &str, extensions: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![root().join(folder)];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(&folder)
            .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        {
            let path = entry.unwrap().path();
            if path.is_dir() {
                if path.file_name().is_none_or(|name| name != "target") {
                    open.push(path);
                }
            } else if path
                .extension()
                .is_some_and(|e| extensions.iter().any(|known| e == *known))
            {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

pub fn short(path: &Path) -> String {
    path.strip_prefix(root())
        .unwrap_or(path)
        .display()
        .to_string()
}

/// Source text without comments and string contents, and without the unit tests at its end, so that
/// words in prose and in tests do not count.
pub fn code_of(text: &str) -> String {
    let mut out = String::new();
    let mut chars = before_tests(text).chars().peekable();
    while let Some(c) = chars.next() {
        match (c, chars.peek()) {
            ('/', Some('/')) => {
                chars.by_ref().find(|c| *c == '\n');
                out.push('\n');
            }
            ('"', _) => {
                out.push_str("\"\"");
                while let Some(c) = chars.next() {
                    match c {
                        '\\' => drop(chars.next()),
                        '"' => break,
                        '\n' => out.push('\n'),
                        _ => {}
                    }
                }
            }
            // A quote as a character literal does not open a string.
            ('\'', Some('"')) => {
                chars.next();
            }
            _ => out.push(c),
        }
    }
    // Checked when it is compiled: it cannot fail on a board.
    out.replace("const _: () = assert!(", "")
}

/// The text up to the first test module that stands in it. Nothing but tests may follow one (a
/// clippy lint).
pub fn before_tests(text: &str) -> &str {
    let mark = "\n#[cfg(test)]\nmod ";
    let mut from = 0;
    while let Some(at) = text[from..].find(mark).map(|at| at + from) {
        let line = text[at + mark.len()..].lines().next().unwrap_or_default();
        if line.trim_end().ends_with('{') {
            return &text[..at];
        }
        from = at + mark.len();
    }
    text
}

/// Files and folders that are modules for tests only: `#[cfg(test)] mod NAME;` in a file of the
/// folder.
pub fn test_modules(folder: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for file in files(folder, &["rs"]) {
        let text = read(&file);
        let home = match file.file_stem().and_then(|stem| stem.to_str()) {
            Some("lib" | "mod" | "main") => file.parent().unwrap().to_owned(),
            _ => file.with_extension(""),
        };
        for part in text.split("#[cfg(test)]\n").skip(1) {
            let line = part
                .lines()
                .next()
                .unwrap_or_default()
                .trim()
                .trim_start_matches("pub(crate) ");
            if let Some(name) = line
                .strip_prefix("mod ")
                .and_then(|rest| rest.strip_suffix(';'))
            {
                found.push(home.join(format!("{name}.rs")));
                found.push(home.join(name));
            }
        }
    }
    found
}

/// Whether the word stands in the code on its own, not as a part of a longer name.
pub fn has_word(code: &str, word: &str) -> bool {
    let is_name = |c: char| c.is_alphanumeric() || c == '_';
    code.match_indices(word).any(|(at, _)| {
        let before = code[..at]
            .chars()
            .next_back()
            .is_some_and(|c| is_name(c) && word.starts_with(is_name));
        let after = code[at + word.len()..]
            .chars()
            .next()
            .is_some_and(|c| is_name(c) && word.ends_with(is_name));
        !before && !after
    })
}

/// Asserts that none of the words stands in the code below a folder, save in test files and in
/// `except`.
pub fn forbid(folder: &str, words: &[&str], except: &[&str]) {
    let mut faults = Vec::new();
    let tests = test_modules(folder);
    for file in files(folder, &["rs"]) {
        let name = short(&file);
        let is_test = tests.iter().any(|test| file.starts_with(test));
        if is_test || except.iter().any(|prefix| name.starts_with(prefix)) {
            continue;
        }
        let code = code_of(&read(&file));
        for (number, line) in code.lines().enumerate() {
            for word in words.iter().filter(|word| has_word(line, word)) {
                faults.push(format!("{name}:{}: `{word}`", number + 1));
            }
        }
    }
    assert!(faults.is_empty(), "walls broken:\n{}", faults.join("\n"));
}

/// Names in a table of dependencies of a member's manifest.
pub fn dependencies(member: &str, table: &str) -> BTreeSet<String> {
    let manifest: toml::Table =
        toml::from_str(&read(&root().join(member).join("Cargo.toml"))).unwrap();
    manifest
        .get(table)
        .and_then(toml::Value::as_table)
        .map(|t| t.keys().cloned().collect())
        .unwrap_or_default()
}

pub fn members() -> Vec<String> {
    let manifest: toml::Table = toml::from_str(&read(&root().join("Cargo.toml"))).unwrap();
    let list = manifest["workspace"]["members"].as_array().unwrap();
    list.iter()
        .map(|member| member.as_str().unwrap().to_owned())
        .collect()
}

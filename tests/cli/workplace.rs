//! A folder with a rig or two in which the program is run.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// A scenario that holds on any rig: the stick stands where it is for a moment.
pub const STAYS: &str = r#"title = "Nobody touches the stick"
purpose = "A scenario for the tests of the command line: short, and true of every rig."
rigs = ["kittiwake"]
length_s = 0.2

[[expect]]
name = "the stick stays inside its stops"
formula = "always (pitch.stick_deg < rig.pitch.stop_max_deg + 1.0)"

[[expect]]
name = "no fault of a sensor"
formula = "always (not fault.sensor_range)"
because = "nothing is wrong with it"
"#;

/// A scenario whose second expectation cannot hold.
pub const BREAKS: &str = r#"title = "Nobody touches the stick"
purpose = "A scenario for the tests of the command line: its second expectation is wrong on purpose."
rigs = ["kittiwake"]
length_s = 0.2

[[expect]]
name = "the stick stays inside its stops"
formula = "always (pitch.stick_deg < rig.pitch.stop_max_deg + 1.0)"

[[expect]]
name = "the stick is where nobody put it"
formula = "eventually (pitch.stick_deg > 90.0)"
because = "it is meant to break"
"#;

/// A folder of its own for one test, with `scenarios/rigs` as shipped and no scenario.
pub struct Workplace {
    root: TempDir,
}

/// What a run of the program left.
pub struct Ran {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Workplace {
    pub fn new() -> Self {
        let place = Self {
            root: tempfile::tempdir().unwrap(),
        };
        for rig in ["kittiwake", "bittern", "sanderling"] {
            place.write(&format!("scenarios/rigs/{rig}.toml"), shipped_rig(rig));
        }
        place
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    pub fn write(&self, name: &str, contents: impl AsRef<[u8]>) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, contents).unwrap();
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    /// Every file and folder, with lengths, sorted: two listings are equal if nothing was written.
    pub fn listing(&self) -> Vec<String> {
        let mut found = Vec::new();
        walk(self.root.path(), self.root.path(), &mut found);
        found.sort();
        found
    }

    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_trimproof"));
        command
            .current_dir(self.root.path())
            .args(args)
            .stdin(Stdio::null());
        command
            .env_remove("SOURCE_DATE_EPOCH")
            .env_remove("NO_COLOR");
        command
    }

    pub fn run(&self, args: &[&str]) -> Ran {
        ran(self.command(args).output().unwrap())
    }
}

pub fn ran(output: Output) -> Ran {
    Ran {
        code: output.status.code(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

pub fn shipped_rig(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/rigs/{name}.toml"));
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// `text` with the value of the first line `key = ...` replaced.
pub fn with_value(text: &str, key: &str, value: &str) -> String {
    let mut done = false;
    let lines: Vec<String> = text
        .lines()
        .map(|line| {
            if !done
                && line
                    .split('=')
                    .next()
                    .is_some_and(|name| name.trim() == key)
            {
                done = true;
                format!("{key} = {value}")
            } else {
                line.to_owned()
            }
        })
        .collect();
    assert!(done, "there is no key `{key}` in:\n{text}");
    lines.join("\n") + "\n"
}

/// `text` with its one occurrence of `old` replaced.
pub fn replaced(text: &str, old: &str, new: &str) -> String {
    assert_eq!(text.matches(old).count(), 1, "`{old}` must occur once");
    text.replace(old, new)
}

/// Compares `shown` with the reviewed snapshot `snapshots/cli__NAME.snap`.
pub fn assert_shown(name: &str, shown: &str) {
    insta::with_settings!({
        snapshot_path => "../../snapshots",
        prepend_module_to_snapshot => false,
        omit_expression => true,
    }, {
        insta::assert_snapshot!(format!("cli__{name}"), shown);
    });
}

fn walk(root: &Path, folder: &Path, found: &mut Vec<String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.strip_prefix(root).unwrap().display().to_string();
        if path.is_dir() {
            found.push(format!("{name}/"));
            walk(root, &path, found);
        } else {
            found.push(format!("{name} {}", path.metadata().unwrap().len()));
        }
    }
}

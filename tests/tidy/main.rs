//! The walls of the design, checked on the source text: what may use what, and where files stand.

mod circles;
mod modules;
mod source;

use source::{code_of, dependencies, files, forbid, has_word, members, read, root, short};
use std::collections::{BTreeMap, BTreeSet};

/// Longest source file, lines; above it, split.
const MOST_LINES: usize = 600;

/// What may stand at the top of the repository.
const TOP_LEVEL: [&str; 18] = [
    ".cargo",
    ".ci",
    ".git",
    ".gitattributes",
    ".github",
    ".gitignore",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "README.md",
    "benches",
    "docs",
    "rust-toolchain.toml",
    "rustfmt.toml",
    "shared",
    "target",
];

/// Folders at the top that hold the work.
const TOP_FOLDERS: [&str; 4] = ["scenarios", "snapshots", "src", "tests"];

#[test]
fn the_word_finder_sees_code_and_only_code() {
    let code = code_of(
        "let a = 1; // std::fs\nlet b = \"f64 \\\" f32\"; let q = '\"'; f64::MAX\n#[cfg(test)]\nmod tests {\n f32 }",
    );
    assert!(has_word(&code, "f64"));
    assert!(!has_word(&code, "f32"));
    assert!(!has_word(&code, "std::"));
    assert!(!has_word("let f64s = 1; my_std::x", "f64"));
    assert!(!has_word("my_std::x", "std::"));
    assert!(has_word("use std::fs;", "std::"));
}

/// What is flashed has no std, no float, no heap and no panic path.
const NOT_ON_A_BOARD: [&str; 16] = [
    "std::",
    "alloc::",
    "f32",
    "f64",
    "unsafe",
    "Vec",
    "Box",
    "String",
    "format!",
    "println!",
    "unwrap",
    "expect",
    "panic!",
    "unreachable!",
    "todo!",
    "assert!",
];

#[test]
fn the_controller_is_no_std_integers_without_heap_or_panic() {
    forbid("src/controller", &NOT_ON_A_BOARD, &[]);
    forbid(
        "src/controller",
        &["trimproof_plant", "trimproof_harness"],
        &[],
    );
    let lib = read(&root().join("src/controller/lib.rs"));
    assert!(
        lib.contains("no_std"),
        "src/controller/lib.rs must be no_std"
    );
    let allowed: BTreeSet<String> = ["trimproof-io", "serde", "schemars"]
        .map(str::to_owned)
        .into();
    let used = dependencies("src/controller", "dependencies");
    assert!(
        used.is_subset(&allowed),
        "the controller may depend on {allowed:?} only, it has {used:?}"
    );
}

#[test]
fn wire_and_board_are_no_std_integers_without_heap_or_panic() {
    for (member, may) in [
        (
            "src/wire",
            &[
                "trimproof-io",
                "trimproof-controller",
                "cobs",
                "crc",
                "postcard",
                "serde",
            ][..],
        ),
        (
            "src/board",
            &["trimproof-io", "trimproof-controller", "trimproof-wire"][..],
        ),
        ("src/io", &["serde"][..]),
    ] {
        forbid(member, &NOT_ON_A_BOARD, &[]);
        forbid(
            member,
            &[
                "Instant",
                "SystemTime",
                "trimproof_plant",
                "trimproof_harness",
                "trimproof_link",
            ],
            &[],
        );
        let lib = read(&root().join(member).join("lib.rs"));
        assert!(lib.contains("no_std"), "{member}/lib.rs must be no_std");
        let allowed: BTreeSet<String> = may.iter().map(|name| (*name).to_owned()).collect();
        let used = dependencies(member, "dependencies");
        assert!(
            used.is_subset(&allowed),
            "{member} may depend on {allowed:?} only, it has {used:?}"
        );
    }
}

/// What each crate may reach among ours, by whatever way.
#[test]
fn crates_reach_only_what_they_may() {
    let reach = |member: &str| {
        let mut reached = BTreeSet::new();
        let mut open = vec![member.to_owned()];
        while let Some(one) = open.pop() {
            for name in dependencies(&one, "dependencies") {
                if let Some(name) = name.strip_prefix("trimproof-")
                    && reached.insert(name.to_owned())
                {
                    open.push(format!("src/{name}"));
                }
            }
        }
        reached.into_iter().collect::<Vec<_>>().join(" ")
    };
    for (member, may) in [
        ("diagnostics", ""),
        ("io", ""),
        ("controller", "io"),
        ("formula", "diagnostics"),
        ("plant", "diagnostics io"),
        ("harness", "controller diagnostics formula io plant"),
    ] {
        assert_eq!(reach(&format!("src/{member}")), may, "{member}");
    }
}

#[test]
fn only_the_link_opens_ports_sockets_and_processes() {
    for member in members().iter().filter(|member| *member != "src/link") {
        forbid(
            member,
            &["serialport", "UnixStream", "TcpStream", "process::Command"],
            &[],
        );
        for name in ["serialport", "mio", "tokio"] {
            assert!(
                !dependencies(member, "dependencies").contains(name),
                "{member} depends on {name}"
            );
        }
    }
}

/// By which a program reaches the world outside.
const IO_AND_CLOCK: [&str; 7] = [
    "std::fs",
    "std::net",
    "std::process",
    "std::time",
    "std::io",
    "std::thread",
    "std::env",
];

#[test]
fn the_plant_has_no_io_and_no_clock() {
    // How many random rigs its test draws comes from outside.
    forbid("src/plant", &IO_AND_CLOCK, &["src/plant/tests/"]);
    forbid("src/plant", &["trimproof_harness"], &[]);
    assert!(!dependencies("src/plant", "dependencies").contains("trimproof-harness"));
}

#[test]
fn the_harness_has_no_clock_and_no_port_and_reads_files_in_two_places() {
    forbid(
        "src/harness",
        &[
            "Instant",
            "SystemTime",
            "std::net",
            "std::process",
            "std::env",
            "HashMap",
            "HashSet",
            "serialport",
        ],
        &[],
    );
    forbid(
        "src/harness",
        &["std::fs", "File::open", "File::create"],
        &["src/harness/trace/", "src/harness/suite/"],
    );
}

#[test]
fn the_feel_crate_has_no_io_and_no_clock() {
    forbid("src/feel", &IO_AND_CLOCK, &[]);
    forbid("src/feel", &["HashMap", "HashSet"], &[]);
}

#[test]
fn nothing_that_feeds_a_trace_walks_a_hash_map() {
    forbid("src/plant", &["HashMap", "HashSet"], &[]);
    forbid("src/controller", &["HashMap", "HashSet"], &[]);
}

#[test]
fn what_feeds_a_trace_takes_its_functions_from_libm() {
    // The std versions of these differ between platforms; + - * / and sqrt do not.
    let functions = [
        ".sin()",
        ".cos()",
        ".tan()",
        ".sin_cos()",
        ".asin()",
        ".acos()",
        ".atan()",
        ".atan2(",
        ".exp()",
        ".exp_m1()",
        ".ln()",
        ".ln_1p()",
        ".log10()",
        ".log2()",
        ".powf(",
        ".powi(",
        ".cbrt()",
        ".hypot(",
        ".sinh()",
        ".cosh()",
        ".tanh()",
        ".mul_add(",
    ];
    forbid("src/plant", &functions, &[]);
    forbid("src/feel", &functions, &[]);
    forbid("src/harness/run", &functions, &[]);
}

#[test]
fn only_the_link_opens_ports_and_sockets_and_starts_processes() {
    let words = [
        "serialport",
        "std::net",
        "std::os::unix::net",
        "UnixStream",
        "UnixListener",
        "process::Command",
        "Stdio",
    ];
    for folder in members()
        .iter()
        .map(String::as_str)
        .filter(|member| *member != "src/link")
        .chain(["src/cli"])
    {
        forbid(folder, &words, &[]);
    }
    for member in members().iter().filter(|member| *member != "src/link") {
        let used = dependencies(member, "dependencies");
        for name in ["serialport", "trimproof-link"] {
            assert!(!used.contains(name), "{member} depends on {name}");
        }
    }
    forbid("src/link", &["println!", "eprintln!", "HashMap"], &[]);
}

#[test]
fn text_reaches_a_terminal_through_one_file() {
    // In tests and in the progress bars, which draw labels of ours, it may be otherwise.
    forbid(
        "src/cli",
        &["println!", "eprintln!", "print!", "eprint!", "stdout()"],
        &["src/cli/output.rs"],
    );
    for member in [
        "src/harness",
        "src/formula",
        "src/feel",
        "src/plant",
        "src/diagnostics",
    ] {
        forbid(
            member,
            &["println!", "eprintln!", "print!", "eprint!"],
            &["src/plant/tests/"],
        );
    }
    let used = dependencies("src/diagnostics", "dependencies");
    let allowed = ["strsim", "thiserror", "toml"].map(str::to_owned).into();
    assert!(used.is_subset(&allowed), "src/diagnostics has {used:?}");
    forbid("src/diagnostics", &IO_AND_CLOCK, &[]);
}

#[test]
fn the_formulas_know_nothing_of_sticks() {
    let ours: Vec<String> = dependencies("src/formula", "dependencies")
        .into_iter()
        .filter(|name| name.starts_with("trimproof-"))
        .collect();
    assert_eq!(ours, ["trimproof-diagnostics"]);
    // A temporary file is all that they may open.
    let outside = IO_AND_CLOCK.iter().filter(|name| **name != "std::io");
    forbid(
        "src/formula",
        &outside.copied().collect::<Vec<_>>(),
        &["src/formula/scratch.rs"],
    );
    forbid("src/formula", &["HashMap", "HashSet"], &[]);
}

#[test]
fn bevy_stays_in_the_viewer() {
    for member in members()
        .iter()
        .filter(|member| *member != "src/viewer")
        .map(String::as_str)
        .chain(["."])
    {
        for table in ["dependencies", "dev-dependencies", "build-dependencies"] {
            let bevy: Vec<String> = dependencies(member, table)
                .into_iter()
                .filter(|name| name.starts_with("bevy"))
                .collect();
            assert!(bevy.is_empty(), "{member} depends on {bevy:?}");
        }
    }
}

#[test]
fn the_viewer_is_never_in_the_default_build() {
    let manifest: toml::Table = toml::from_str(&read(&root().join("Cargo.toml"))).unwrap();
    let defaults = manifest["workspace"]["default-members"].as_array().unwrap();
    assert!(
        defaults
            .iter()
            .all(|member| member.as_str() != Some("src/viewer"))
    );
    let viewer = &manifest["dependencies"]["trimproof-viewer"];
    assert_eq!(viewer["optional"].as_bool(), Some(true));
    let features = manifest["features"].as_table().unwrap();
    let defaults = features["default"].as_array().unwrap();
    assert!(
        defaults.iter().all(|one| one.as_str() != Some("viewer")),
        "{features:?}"
    );
    for member in members().iter().filter(|member| *member != "src/viewer") {
        for table in ["dependencies", "dev-dependencies"] {
            assert!(
                !dependencies(member, table).contains("trimproof-viewer"),
                "{member}"
            );
        }
    }
}

#[test]
fn the_viewer_writes_nothing_and_knows_no_inside_of_the_controller() {
    forbid(
        "src/viewer",
        &[
            "std::fs",
            "std::net",
            "std::process",
            "File::create",
            "println!",
            "eprintln!",
            "Controller",
            "Settings",
            "Inputs",
            "Outputs",
            "trimproof_link",
            "HashMap",
            "HashSet",
        ],
        &[],
    );
    // A wall clock only where people look or fly.
    forbid(
        "src/viewer/timeline",
        &["SystemTime", "std::time", "thread"],
        &[],
    );
    forbid(
        "src/viewer/scene",
        &["SystemTime", "std::time", "thread"],
        &[],
    );
}

/// A source that a reader cannot get is none: files outside the repository are never cited.
#[test]
fn nothing_cites_a_document_that_is_not_here() {
    // Written apart, so that this file does not cite them itself.
    let outside = [
        concat!("check", "_values"),
        concat!("shared", "/"),
        concat!("shared ", "notes"),
        concat!("notes", "/"),
        concat!("(notes", ", "),
        concat!("design", ", section"),
        concat!("design", ".md"),
    ];
    let mut found = Vec::new();
    let top = ["README.md", "DEVELOPERS.md", "Cargo.toml", ".ci/run"].map(|name| root().join(name));
    let below = ["src", "tests", "docs", "scenarios"]
        .into_iter()
        .flat_map(|folder| files(folder, &["rs", "md", "toml", "py", "sh"]));
    for file in top.into_iter().chain(below) {
        for (number, line) in read(&file).lines().enumerate() {
            if outside.iter().any(|word| line.contains(word)) {
                found.push(format!("{}:{}: {}", short(&file), number + 1, line.trim()));
            }
        }
    }
    assert!(
        found.is_empty(),
        "cited but not in the repository:\n{}",
        found.join("\n")
    );
}

#[test]
fn no_source_file_is_too_long() {
    let mut long = Vec::new();
    for file in files("src", &["rs"])
        .into_iter()
        .chain(files("tests", &["rs"]))
    {
        let lines = read(&file).lines().count();
        if lines > MOST_LINES {
            long.push(format!("{}: {lines} lines", short(&file)));
        }
    }
    assert!(
        long.is_empty(),
        "longer than {MOST_LINES} lines, split them:\n{}",
        long.join("\n")
    );
}

#[test]
fn no_source_stands_directly_in_src_and_the_top_is_as_listed() {
    for entry in std::fs::read_dir(root().join("src")).unwrap() {
        let path = entry.unwrap().path();
        assert!(path.is_dir(), "{} stands directly in src/", short(&path));
    }
    for entry in std::fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        // What git does not see is the worker's own.
        let hidden =
            name.starts_with('.') && ![".ci", ".github", ".cargo"].contains(&name.as_str());
        let known = TOP_LEVEL.contains(&name.as_str()) || TOP_FOLDERS.contains(&name.as_str());
        assert!(
            hidden || known,
            "`{name}` at the top is not in the list of tests/tidy/main.rs"
        );
    }
}

#[test]
fn every_member_is_in_the_developers_map() {
    let map = read(&root().join("DEVELOPERS.md"));
    for member in members() {
        assert!(
            map.contains(&format!("{member}/")),
            "DEVELOPERS.md does not list `{member}/`"
        );
    }
}

#[test]
fn every_snapshot_belongs_to_a_test() {
    let mut sources = String::new();
    for file in files("src", &["rs"])
        .into_iter()
        .chain(files("tests", &["rs"]))
    {
        sources.push_str(&read(&file));
    }
    // Each scenario's name, and its line that names its rigs where it has one.
    let scenarios: BTreeMap<String, Option<String>> = files("scenarios", &["toml"])
        .iter()
        .filter(|file| !short(file).contains("/rigs/"))
        .map(|file| {
            let name = file.file_stem().unwrap().to_string_lossy().into_owned();
            let text = read(file);
            let rigs = text.lines().find(|line| line.starts_with("rigs = "));
            (name, rigs.map(str::to_owned))
        })
        .collect();
    let mut orphans = Vec::new();
    for file in files("snapshots", &["snap"]) {
        let stem = file.file_stem().unwrap().to_string_lossy().into_owned();
        let name = stem
            .split_once("__")
            .map_or(stem.as_str(), |(_, name)| name);
        let card = stem
            .strip_prefix("card__")
            .and_then(|card| card.split_once("__"));
        let referenced = match card {
            // A card: scenario and rig must both exist, and the one run on the other.
            Some((scenario, rig)) => {
                let runs_on = |rigs: &Option<String>| {
                    rigs.as_ref()
                        .is_none_or(|line| line.contains(&format!("\"{rig}\"")))
                };
                scenarios.get(scenario).is_some_and(runs_on)
                    && root().join(format!("scenarios/rigs/{rig}.toml")).is_file()
            }
            None => [format!("\"{name}\""), format!("\"{stem}\"")]
                .iter()
                .any(|form| sources.contains(form)),
        };
        if !referenced {
            orphans.push(short(&file));
        }
    }
    assert!(
        orphans.is_empty(),
        "no test makes these snapshots; delete them:\n{}",
        orphans.join("\n")
    );
    let strays: Vec<String> = files("src", &["snap"])
        .iter()
        .chain(&files("tests", &["snap"]))
        .map(|f| short(f))
        .collect();
    assert!(
        strays.is_empty(),
        "snapshots belong in snapshots/:\n{}",
        strays.join("\n")
    );
}

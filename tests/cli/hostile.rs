//! Names, paths, arguments and boards that mean harm: no control character and no line that is not
//! ours gets out.

use crate::workplace::{Ran, STAYS, Workplace, replaced};

/// What a reader would take for the last line of a good run.
const FORGED: &str = "1 run: 1 held; 13 of 13 expectations held";

/// A forged verdict line, an escape sequence, a carriage return, marks of the direction of writing.
const NASTY: &str = "x\n1 run: 1 held; 13 of 13 expectations held\n\u{1b}[2J\u{1b}]0;t\u{7}\r\u{202e}\u{85}\u{2028}\u{200b}";

/// Nothing is hidden in what was printed, and no line of it is the forged one.
fn assert_plain(ran: &Ran) {
    for text in [&ran.out, &ran.err] {
        let hidden = text.chars().find(|c| {
            *c != '\n' && (c.is_control() || matches!(c, '\u{200b}'..='\u{202e}' | '\u{fffe}'))
        });
        assert_eq!(hidden, None, "{text:?}");
        assert!(!text.lines().any(|line| line == FORGED), "{text}");
    }
}

fn place() -> Workplace {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    place
}

#[test]
fn arguments_are_quoted_on_their_line() {
    let place = place();
    let path = format!("{NASTY}.toml");
    let csv = format!("{NASTY}.csv");
    let on = format!("image:{NASTY}");
    let port = format!("port:{NASTY}");
    for args in [
        &["prove", &path][..],
        &["prove", "--only", NASTY],
        &["prove", "--rig", NASTY],
        &["prove", "--on", NASTY],
        &["prove", "--on", &on],
        &["prove", "--on", &port],
        &["prove", "--threads", NASTY],
        &["prove", "--format", NASTY],
        &["prove", "--junit", "scenarios", NASTY],
        &["prove", NASTY, "--what", NASTY],
        &[NASTY],
        &["compare", &csv, &csv],
        &["signals", NASTY],
        &["size", NASTY],
        &["size", "kittiwake", "--at", NASTY],
        &["feel", NASTY],
        &["fit", "kittiwake", &csv],
        &["schema", NASTY],
        &["completions", NASTY],
        &["link", "--check", "--on", &on],
    ] {
        // A shell cannot pass a NUL; all else it can.
        let ran = place.run(args);
        assert_ne!(ran.code, Some(0), "{args:?}");
        assert_plain(&ran);
        assert!(!ran.err.is_empty(), "{args:?}");
    }
    let ran = place.run(&["signals", &"x".repeat(100_000)]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.len() < 5000, "{}", ran.err.len());
    let mut command = place.command(&["prove", "--junit", "out.xml"]);
    command.env("SOURCE_DATE_EPOCH", NASTY);
    let ran = crate::workplace::ran(command.output().unwrap());
    assert_eq!(ran.code, Some(2));
    assert_plain(&ran);
}

#[test]
fn strings_that_hide_something_are_refused_where_they_stand() {
    let place = place();
    let escaped = "x\\n1 run: 1 held\\u001B[2J";
    for (old, new) in [
        ("title = \"Nobody", format!("title = \"{escaped}Nobody")),
        ("name = \"no fault", format!("name = \"{escaped}no fault")),
        (
            "because = \"nothing",
            format!("because = \"{escaped}nothing"),
        ),
        (
            "rigs = [\"kittiwake",
            format!("rigs = [\"{escaped}kittiwake"),
        ),
        ("length_s", format!("\"{escaped}\" = 1\nlength_s")),
        ("title", "# \u{202e}\u{1b}[2J\n?title".to_owned()),
    ] {
        place.write("scenarios/stays.toml", replaced(STAYS, old, &new));
        let ran = place.run(&["prove"]);
        assert_eq!(ran.code, Some(2), "{new}: {}", ran.err);
        assert_plain(&ran);
        assert!(ran.err.contains("stays.toml:"), "{}", ran.err);
    }
    let rig = crate::workplace::shipped_rig("kittiwake");
    let title = rig.lines().find(|line| line.starts_with("title")).unwrap();
    place.write("scenarios/stays.toml", STAYS);
    place.write(
        "scenarios/rigs/kittiwake.toml",
        replaced(&rig, title, &format!("title = \"{escaped}\"")),
    );
    for args in [
        &["prove"][..],
        &["size", "kittiwake"],
        &["signals", "kittiwake"],
    ] {
        let ran = place.run(args);
        assert_eq!(ran.code, Some(2), "{}", ran.err);
        assert_plain(&ran);
    }
}

#[test]
fn a_line_of_half_a_megabyte_makes_no_message_of_half_a_megabyte() {
    let place = place();
    let long = "a".repeat(500_000);
    for text in [
        replaced(STAYS, "length_s", &format!("{long} = 1\nlength_s")),
        replaced(STAYS, "kittiwake", &long),
        format!("x = [{}", "[".repeat(500_000)),
        format!("x = \"{long}"),
        replaced(STAYS, "title = \"", &format!("title = \"{long}")),
        replaced(
            STAYS,
            "always (not fault",
            &format!("{} not fault", "(".repeat(3_000)),
        ),
    ] {
        place.write("scenarios/stays.toml", text);
        let ran = place.run(&["prove"]);
        assert_eq!(ran.code, Some(2), "{}", &ran.err[..ran.err.len().min(2000)]);
        assert!(ran.err.len() < 8000, "{}", ran.err.len());
    }
}

#[cfg(unix)]
#[test]
fn folders_and_files_with_such_names_are_named_on_their_line() {
    let place = place();
    let folder = format!("dir{}", NASTY.replace('/', "-"));
    let scenario = format!("{folder}/stays.toml");
    place.write(&scenario, STAYS);
    place.write(
        &format!("{folder}/rigs/kittiwake.toml"),
        crate::workplace::shipped_rig("kittiwake"),
    );
    let keep = format!("{folder}/out");
    let html = format!("{folder}/page.html");
    let ran = place.run(&[
        "prove", &scenario, "--keep", &keep, "--html", &html, "--cards",
    ]);
    assert_eq!(ran.code, Some(0), "{}{}", ran.out, ran.err);
    assert_plain(&ran);
    let ran = place.run(&["prove", &scenario, "--format", "json"]);
    assert_plain(&ran);
    let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(json["runs"][0]["file"], scenario);
    let trace = format!("{keep}/stays@kittiwake.csv");
    let ran = place.run(&["compare", &trace, &trace]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    // A measurement is called by its file.
    let bench = format!("{folder}/bench{NASTY}.csv");
    place.write(
        &bench,
        "time [s],pitch [deg],pitch force [N]\n0,0,0\n1,1,1\n2,0,0\n",
    );
    for args in [
        &["feel", "kittiwake", "--against", &bench][..],
        &["feel", &bench, "--rig", "kittiwake"],
        &["fit", "kittiwake", &bench],
    ] {
        let ran = place.run(args);
        assert_plain(&ran);
    }
}

/// Streams into which nothing fits: exit code 4, whatever is printed.
#[cfg(unix)]
#[test]
fn everything_that_is_printed_needs_room() {
    let place = place();
    place.run(&["prove", "--keep", "out"]);
    let trace = "out/stays@kittiwake.csv";
    for args in [
        &["--help"][..],
        &["--version"],
        &["help"],
        &["help", "prove"],
        &["prove", "--help"],
        &["prove", "-h"],
        &["prove"],
        &["prove", "--format", "json"],
        &["compare", trace, trace],
        &["compare", trace, trace, "--format", "json"],
        &["signals"],
        &["signals", "kittiwake", "--format", "json"],
        &["schema", "rig"],
        &["completions", "bash"],
        &["size", "kittiwake"],
        &["ports", "--format", "json"],
        &["ports"],
    ] {
        let full = std::fs::File::options()
            .write(true)
            .open("/dev/full")
            .unwrap();
        let output = place.command(args).stdout(full).output().unwrap();
        let err = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(4), "{args:?}: {err}");
        assert!(
            err.contains("cannot write standard output"),
            "{args:?}: {err}"
        );
    }
    // With room all is well.
    for args in [&["--help"][..], &["--version"], &["prove", "--help"]] {
        let ran = place.run(args);
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{args:?}");
        assert!(!ran.out.is_empty());
    }
}

/// Pipes and devices in places where files are meant: nothing waits for their other end.
#[cfg(unix)]
#[test]
fn pipes_and_devices_are_refused_at_once() {
    let place = place();
    let made = std::process::Command::new("mkfifo")
        .args(["pipe.csv", "pipe.toml", "pipe.elf", "pipe.mcap"].map(|name| place.path(name)))
        .status()
        .unwrap();
    assert!(made.success());
    std::os::unix::fs::symlink("/dev/zero", place.path("zero.csv")).unwrap();
    for (args, code) in [
        (&["prove", "pipe.toml"][..], 2),
        (&["prove", "--on", "image:pipe.elf"], 2),
        (&["prove", "--junit", "pipe.csv"], 4),
        (&["prove", "--html", "/dev/null"], 4),
        (&["prove", "--keep", "pipe.csv"], 4),
        (
            &["prove", "--on", "port:/dev/null", "--frames", "pipe.csv"],
            4,
        ),
        (&["prove", "--on", "port:pipe.csv"], 2),
        (&["compare", "pipe.csv", "pipe.mcap"], 2),
        (&["compare", "zero.csv", "zero.csv"], 2),
        (&["fit", "kittiwake", "pipe.csv"], 2),
        (&["feel", "kittiwake", "--against", "zero.csv"], 2),
        (&["size", "pipe.toml"], 2),
    ] {
        let ran = place.run(args);
        assert_eq!(ran.code, Some(code), "{args:?}: {}", ran.err);
    }
}

/// Files that ask for more memory than there is: a message, no abort.
#[cfg(unix)]
#[test]
fn hostile_traces_are_refused_under_a_memory_limit() {
    use std::io::{Seek, SeekFrom, Write};
    let place = place();
    place.run(&["prove", "--keep", "out", "--trace", "both"]);
    let good = std::fs::read(place.path("out/stays@kittiwake.mcap")).unwrap();
    // The first metadata record: the length of its name.
    let mut at = 8;
    while good[at] != 0x0c {
        at += 9 + u64::from_le_bytes(good[at + 1..at + 9].try_into().unwrap()) as usize;
    }
    let mut bad = good.clone();
    bad[at + 9..at + 13].copy_from_slice(&[0xff; 4]);
    place.write("string.mcap", bad);
    let mut bad = good;
    bad[at + 1..at + 9].copy_from_slice(&[0, 0, 0, 0x40, 0, 0, 0, 0]);
    place.write("record.mcap", bad);
    for (name, head) in [
        ("endless.csv", "time_s,"),
        ("bench.csv", "time [s],pitch [deg],pitch force [N]\n"),
    ] {
        let mut file = std::fs::File::create(place.path(name)).unwrap();
        file.write_all(head.as_bytes()).unwrap();
        // A hole of zeros, which takes no room on the disk.
        file.seek(SeekFrom::Start(1 << 30)).unwrap();
        file.write_all(b"\n").unwrap();
    }
    place.write("line.csv", format!("time [s],{}\n1\n", "x".repeat(4 << 20)));
    let limited = |args: &str| {
        let script = format!(
            "ulimit -v 400000; exec '{}' {args}",
            env!("CARGO_BIN_EXE_trimproof")
        );
        let mut command = std::process::Command::new("bash");
        command.args(["-c", &script]).current_dir(place.path(""));
        crate::workplace::ran(command.output().unwrap())
    };
    for (args, word) in [
        ("compare string.mcap string.mcap", "is damaged"),
        ("compare record.mcap record.mcap", "is "),
        ("compare endless.csv endless.csv", "more than 65536 bytes"),
        ("fit kittiwake bench.csv", "is too large"),
        ("fit kittiwake line.csv", "it may have at most 4096"),
        (
            "feel kittiwake --against line.csv",
            "it may have at most 4096",
        ),
    ] {
        let ran = limited(args);
        assert_eq!(ran.code, Some(2), "{args}: {}", ran.err);
        assert!(ran.err.contains(word), "{args}: {}", ran.err);
    }
}

/// What a killed run left is gone after the next one in that folder; what others left stays.
#[test]
fn the_next_run_cleans_up_after_a_killed_one() {
    let place = place();
    let old = |name: &str| {
        place.write(name, "half");
        let file = std::fs::File::options()
            .write(true)
            .open(place.path(name))
            .unwrap();
        let now = file.metadata().unwrap().modified().unwrap();
        file.set_modified(now - std::time::Duration::from_secs(3600))
            .unwrap();
    };
    for name in [
        "out/.trimproof-abc.part",
        ".trimproof-def.part",
        "out/mine.part",
    ] {
        old(name);
    }
    let ran = place.run(&["prove", "--keep", "out", "--junit", "out.xml"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(!place.path("out/.trimproof-abc.part").exists());
    assert!(!place.path(".trimproof-def.part").exists());
    assert!(place.path("out/mine.part").exists());
}

//! Places that cannot be written: exit code 4, found out before the run where that is possible.

use crate::workplace::{STAYS, Workplace, assert_shown, ran};
use std::process::{Command, Stdio};

fn place() -> Workplace {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    place
}

#[test]
fn a_file_in_the_way_of_a_folder() {
    let place = place();
    place.write("out", "already here");
    let before = place.listing();
    let ran = place.run(&["prove", "--keep", "out"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(4), ""));
    assert_eq!(place.listing(), before);
    assert_shown("keep_is_a_file", &ran.err);
    let ran = place.run(&["prove", "--junit", "out/verdicts.xml"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(4), ""));
    assert_eq!(place.listing(), before);
}

#[test]
fn a_folder_in_the_way_of_a_file() {
    let place = place();
    let ran = place.run(&["prove", "--junit", "scenarios"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(4), ""));
    assert_shown("junit_is_a_folder", &ran.err);
}

#[cfg(unix)]
#[test]
fn a_read_only_folder() {
    use std::os::unix::fs::PermissionsExt;
    let place = place();
    let folder = place.path("sealed");
    std::fs::create_dir(&folder).unwrap();
    std::fs::set_permissions(&folder, std::fs::Permissions::from_mode(0o555)).unwrap();
    // The superuser writes anywhere, so a folder that not even it can write in stands in for it.
    let sealed = if std::fs::write(folder.join("trial"), "").is_ok() {
        "/proc/sys"
    } else {
        "sealed"
    };
    for args in [
        ["prove", "--keep", sealed],
        ["prove", "--junit", &format!("{sealed}/x.xml")],
    ] {
        let ran = place.run(&args);
        assert_eq!((ran.code, ran.out.as_str()), (Some(4), ""), "{}", ran.err);
        assert!(ran.err.starts_with("error: cannot write "), "{}", ran.err);
    }
}

/// A limit on the size of files stands in for a full disk: the system refuses to write on in the
/// same way.
#[cfg(unix)]
#[test]
fn a_disk_that_fills_up() {
    let place = place();
    let program = env!("CARGO_BIN_EXE_trimproof");
    let limited = |blocks: u32| {
        // Blocks of 1024 bytes in bash; without the signal, writing fails instead of killing.
        let script = format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec '{program}' prove --keep out --junit out.xml"
        );
        let mut command = Command::new("bash");
        command
            .args(["-c", &script])
            .current_dir(place.path(""))
            .stdin(Stdio::null());
        ran(command.output().unwrap())
    };
    // Too little for the trial: found out before the run.
    let ran = limited(4);
    assert_eq!((ran.code, ran.out.as_str()), (Some(4), ""), "{}", ran.err);
    // Enough for the trial, too little for the trace: the verdict is printed all the same.
    let ran = limited(10);
    assert_eq!(ran.code, Some(4), "{}", ran.err);
    assert!(ran.out.contains("1 run: 1 pass"), "{}", ran.out);
    assert!(
        ran.err
            .contains("cannot write the trace of stays@kittiwake"),
        "{}",
        ran.err
    );
    let left = std::fs::read_dir(place.path("out")).unwrap().count();
    assert_eq!(left, 0, "half a trace was left");
}

#[cfg(unix)]
#[test]
fn standard_output_that_is_full_or_gone() {
    let place = place();
    let full = std::fs::File::options()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let ran = place.command(&["prove"]).stdout(full).output().unwrap();
    assert_eq!(ran.status.code(), Some(4));

    // A reader that has gone away is no error.
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let ran = place
        .command(&["schema", "scenario"])
        .stdout(writer)
        .output()
        .unwrap();
    assert_eq!(
        ran.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&ran.stderr)
    );
}

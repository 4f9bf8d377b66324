//! `--on`, `link` and `ports`: what cannot be used, and what is said of it.

use crate::workplace::{STAYS, Workplace};

/// The head of an ELF file for ARM; enough to be recognised, too little to run.
fn elf(machine: u8) -> Vec<u8> {
    let mut head = vec![0; 64];
    head[..5].copy_from_slice(b"\x7fELF\x01");
    head[18] = machine;
    head
}

fn place() -> Workplace {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    place.write("arm.elf", elf(40));
    place.write("avr.elf", elf(83));
    place.write("pc.elf", elf(62));
    place.write("text.elf", "hello");
    place
}

/// Runs `prove` with these arguments: it must end in `code`, say all of `words`, and write nothing.
fn refused(place: &Workplace, args: &[&str], code: i32, words: &[&str]) {
    let before = place.listing();
    let ran = place.run(args);
    assert_eq!(ran.code, Some(code), "{args:?}\n{}{}", ran.out, ran.err);
    for word in words {
        assert!(
            ran.err.contains(word),
            "{args:?}: `{word}` is missing in:\n{}",
            ran.err
        );
    }
    assert_eq!(ran.out, "", "{args:?}");
    assert_eq!(place.listing(), before, "{args:?} wrote something");
}

#[test]
fn an_unknown_place_lists_those_there_are() {
    let place = place();
    for on in ["board", "image", "port:", "Logic"] {
        for command in [
            vec!["prove", "--on", on],
            vec!["link", "--check", "--on", on],
        ] {
            refused(&place, &command, 2, &["logic", "image:FILE", "port:NAME"]);
        }
    }
}

#[test]
fn images_that_are_missing_or_none() {
    let place = place();
    for (image, words) in [
        ("none.elf", ["no such file", "help: src/firmware"]),
        ("text.elf", ["no ELF file", "help: an image is"]),
        ("pc.elf", ["machine 62", "ARM (40) and AVR (83)"]),
    ] {
        let on = format!("image:{image}");
        let args = ["prove", "--on", on.as_str(), "--keep", "out"];
        refused(&place, &args, 2, &[words[0], words[1], image]);
    }
}

#[test]
#[cfg(unix)]
fn a_missing_emulator_names_its_package() {
    let place = place();
    for (image, program, package) in [
        ("arm.elf", "qemu-system-arm", "apt install qemu-system-arm"),
        ("avr.elf", "qemu-system-avr", "apt install qemu-system-misc"),
    ] {
        let on = format!("image:{image}");
        let mut command = place.command(&["prove", "--on", on.as_str(), "--keep", "out"]);
        command.env("PATH", place.path("scenarios"));
        let ran = crate::workplace::ran(command.output().unwrap());
        assert_eq!(ran.code, Some(2), "{}", ran.err);
        for word in [program, package, "not installed"] {
            assert!(
                ran.err.contains(word),
                "`{word}` is missing in:\n{}",
                ran.err
            );
        }
        assert!(!place.path("out").exists());
    }
}

#[test]
#[cfg(unix)]
fn an_emulator_that_ends_at_once_is_quoted() {
    use std::os::unix::fs::PermissionsExt;
    let place = place();
    place.write(
        "bin/qemu-system-arm",
        "#!/bin/sh\necho 'no such machine today' >&2\nexit 1\n",
    );
    let program = place.path("bin/qemu-system-arm");
    std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
    let mut command = place.command(&["prove", "--on", "image:arm.elf"]);
    command.env("PATH", place.path("bin"));
    let ran = crate::workplace::ran(command.output().unwrap());
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    for word in ["did not start", "exit status: 1", "no such machine today"] {
        assert!(
            ran.err.contains(word),
            "`{word}` is missing in:\n{}",
            ran.err
        );
    }
}

#[test]
fn arguments_that_do_not_go_together() {
    let place = place();
    let port = "port:/dev/none";
    for (args, words) in [
        (vec!["--allow-motion"], ["--allow-motion", "no motor"]),
        (
            vec!["--allow-motion", "--on", "image:arm.elf"],
            ["--allow-motion", "no motor"],
        ),
        (vec!["--baud", "115200"], ["--baud", "port"]),
        (vec!["--frames", "log"], ["--frames", "no link"]),
        (
            vec!["--threads", "2", "--on", port],
            ["one board", "--threads"],
        ),
        (vec!["--baud", "300", "--on", port], ["300", "1200"]),
        (
            vec!["--allow-motion", "--baud", "9600", "--on", port],
            ["too slow", "115200"],
        ),
    ] {
        let args: Vec<&str> = ["prove"].into_iter().chain(args).collect();
        refused(&place, &args, 2, &words);
    }
    refused(&place, &["link", "--on", port], 2, &["--check"]);
    refused(
        &place,
        &["link", "--check", "--on", "logic"],
        2,
        &["no link to check"],
    );
}

#[test]
fn a_missing_port_is_said_after_the_cautions() {
    let place = place();
    for command in [vec!["prove"], vec!["link", "--check"]] {
        let args: Vec<&str> = command
            .into_iter()
            .chain(["--on", "port:/dev/none"])
            .collect();
        let words = [
            "keep hands clear of the stick",
            "emergency stop",
            "current limit",
            "local electrical code and licensed practice",
            "ordered to keep its motors off",
            "`/dev/none`",
            "trimproof ports",
        ];
        refused(&place, &args, 2, &words);
        let err = place.run(&args).err;
        assert!(err.find("caution:") < err.find("error:"), "{err}");
    }
}

#[test]
fn ports_are_listed() {
    let place = place();
    let ran = place.run(&["ports"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.out.contains("port:") || ran.out.contains("no serial port"));
    let ran = place.run(&["ports", "--format", "json"]);
    let list: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(list["form"], 1);
    assert!(list["ports"].is_array());
}

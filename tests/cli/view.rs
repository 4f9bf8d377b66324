//! `watch`, `fly` and `film` from outside: without the feature `viewer` they say how to get it,
//! with it they refuse what cannot be.

use crate::workplace::{STAYS, Workplace};

#[test]
fn the_help_lists_the_commands_of_the_view_where_the_build_has_it() {
    let place = Workplace::new();
    let ran = place.run(&["--help"]);
    for command in ["  watch", "  fly", "  film"] {
        let is_built = cfg!(feature = "viewer");
        assert_eq!(ran.out.contains(command), is_built, "{command}");
    }
    let ran = place.run(&["film", "a", "--size", "12x5"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("160 to 3840"), "{}", ran.err);
    let ran = place.run(&["watch", "a", "--view", "side"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("whole, left, behind"), "{}", ran.err);
    let ran = place.run(&["watch", "a", "--speed", "9"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("0.05 to 4"), "{}", ran.err);
}

#[cfg(not(feature = "viewer"))]
#[test]
fn a_build_without_the_view_says_how_to_get_it() {
    let place = Workplace::new();
    place.write("scenarios/stays.toml", STAYS);
    for args in [["watch", "stays"], ["film", "stays"], ["fly", "kittiwake"]] {
        let before = place.listing();
        let ran = place.run(&args);
        assert_eq!(ran.code, Some(2));
        for part in [
            "made without the view",
            "--features viewer",
            "docs/guides/view.md",
        ] {
            assert!(
                ran.err.contains(part),
                "`{part}` is missing in: {}",
                ran.err
            );
        }
        assert_eq!(place.listing(), before);
    }
}

#[cfg(feature = "viewer")]
mod here {
    use super::*;
    use crate::workplace::{Ran, ran};

    /// Runs the program without a display.
    fn blind(place: &Workplace, args: &[&str]) -> Ran {
        let mut command = place.command(args);
        command.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY");
        ran(command.output().unwrap())
    }

    fn place() -> Workplace {
        let place = Workplace::new();
        place.write("scenarios/stays.toml", STAYS);
        let kept = place.run(&["prove", "--keep", "kept"]);
        assert_eq!(kept.code, Some(0), "{}", kept.err);
        place
    }

    /// Refused with these words, and nothing written.
    fn refused(place: &Workplace, args: &[&str], parts: &[&str]) {
        let before = place.listing();
        let ran = blind(place, args);
        assert_eq!(ran.code, Some(2), "{args:?}: {}", ran.err);
        for part in parts {
            assert!(
                ran.err.contains(part),
                "{args:?}: `{part}` is missing in: {}",
                ran.err
            );
        }
        assert_eq!(place.listing(), before, "{args:?}");
    }

    #[test]
    fn without_a_display_film_is_named() {
        let place = place();
        for args in [
            &["watch", "stays"][..],
            &["watch", "kept/stays@kittiwake.csv"],
            &["fly", "bittern"],
        ] {
            refused(&place, args, &["there is no display", "trimproof film"]);
        }
        let mut command = place.command(&["watch", "stays"]);
        command
            .env("DISPLAY", ":7999")
            .env_remove("WAYLAND_DISPLAY");
        let ran = ran(command.output().unwrap());
        assert_eq!(ran.code, Some(2));
        assert!(
            ran.err.contains("does not answer") && ran.err.contains("trimproof film"),
            "{}",
            ran.err
        );
    }

    #[test]
    fn without_a_driver_it_says_what_to_install() {
        let place = place();
        let mut command = place.command(&["film", "stays"]);
        for name in ["VK_DRIVER_FILES", "VK_ICD_FILENAMES"] {
            command.env(name, "/nowhere/at/all.json");
        }
        let ran = ran(command.output().unwrap());
        assert_eq!(ran.code, Some(2), "{}", ran.err);
        for part in ["no Vulkan driver", "apt-get install mesa-vulkan-drivers"] {
            assert!(
                ran.err.contains(part),
                "`{part}` is missing in: {}",
                ran.err
            );
        }
    }

    #[test]
    fn a_trace_that_is_none_or_not_whole_is_reported() {
        let place = place();
        let whole = place.read("kept/stays@kittiwake.csv");
        place.write("cut.csv", &whole[..whole.len() / 2]);
        place.write("begun.csv", &whole[..40]);
        place.write("foreign.csv", "a,b\n1,2\n");
        place.write("changed.csv", whole.replacen("24.0,", "23.0,", 1));
        for command in ["film", "watch"] {
            refused(&place, &[command, "missing.csv"], &["missing.csv"]);
            refused(&place, &[command, "begun.csv"], &["begun.csv", "truncated"]);
            refused(
                &place,
                &[command, "foreign.csv"],
                &["foreign.csv", "is no trace"],
            );
        }
        // Only seen when the rows are read.
        for (file, word) in [
            ("cut.csv", "truncated"),
            ("changed.csv", "was changed after it was written"),
        ] {
            let ran = blind(&place, &["film", file]);
            assert_eq!(ran.code, Some(2), "{}", ran.err);
            assert!(
                ran.err.contains(word) && ran.err.contains(file),
                "{}",
                ran.err
            );
        }
    }

    #[test]
    fn a_rig_that_is_not_the_traces_is_refused() {
        let place = place();
        let trace = "kept/stays@kittiwake.csv";
        let parts = [
            "was made on the rig `kittiwake`, not on `bittern`",
            "leave `--rig` away",
        ];
        refused(&place, &["film", trace, "--rig", "bittern"], &parts);
        refused(&place, &["watch", trace, "--rig", "bittern"], &parts);
        let slower = place
            .read("scenarios/rigs/kittiwake.toml")
            .replace("tick_hz = 500", "tick_hz = 250");
        place.write("other/kittiwake.toml", slower);
        refused(
            &place,
            &["film", trace, "--rig", "other/kittiwake.toml"],
            &["a row every `0.002` s", "a tick every `0.004` s"],
        );
        place.write("scenarios/rigs/kittiwake.toml", "name = 1\n");
        refused(&place, &["film", trace], &["kittiwake.toml"]);
        std::fs::remove_file(place.path("scenarios/rigs/kittiwake.toml")).unwrap();
        refused(&place, &["film", trace], &["there is no rig `kittiwake`"]);
    }

    #[test]
    fn what_does_not_go_together_is_refused() {
        let place = place();
        refused(
            &place,
            &["film", "stay"],
            &["there is no scenario `stay`", "did you mean `stays`?"],
        );
        refused(
            &place,
            &["fly", "kittiwake", "--save", "scenarios/stays.toml"],
            &["is there already"],
        );
        refused(
            &place,
            &["fly", "kittiwake", "--save", "x.txt"],
            &["a scenario is a file NAME.toml"],
        );
        let trace = "kept/stays@kittiwake.csv";
        refused(
            &place,
            &["film", "stays", "--signal", "pitch.stik_deg"],
            &["no signal `pitch.stik_deg`", "pitch.stick_deg"],
        );
        refused(&place, &["film", "nothing.toml"], &["nothing.toml"]);
        refused(
            &place,
            &["film", "stays", "--rig", "bittern"],
            &["no chosen scenario names the rig `bittern`"],
        );
        refused(
            &place,
            &["film", "stays", "--scenario", "x.toml"],
            &["is a scenario itself"],
        );
        refused(
            &place,
            &["watch", trace, "--on", "image:x.elf"],
            &["a trace has run already"],
        );
        refused(
            &place,
            &["fly", "kittiwake", "--save", "Bad Name.toml"],
            &["is no name for a scenario"],
        );
        refused(&place, &["fly", "puffin"], &["there is no rig `puffin`"]);
        let ran = blind(&place, &["film", "stays", "--at", "7"]);
        assert_eq!(ran.code, Some(2));
        assert!(
            ran.err.contains("`--at 7` is outside the run"),
            "{}",
            ran.err
        );
        let ran = blind(
            &place,
            &["film", "stays", "--expect", "no fault of a senso"],
        );
        assert_eq!(ran.code, Some(2));
        assert!(
            ran.err.contains("did you mean `no fault of a sensor`?"),
            "{}",
            ran.err
        );
    }
}

//! Pictures of shipped scenarios, made without a display: right size, not blank, the ghost and the
//! arrow where they should be.
//!
//! Needs the feature `viewer` and a Vulkan driver; one that draws on the processor does.

mod shipped;

use std::path::Path;
use std::process::Command;
use std::sync::{Arc, Mutex};
use std::time::Instant;

use trimproof_harness::judge::judge;
use trimproof_harness::run::{LogicTarget, run_scenario};
use trimproof_harness::suite::Case;
use trimproof_viewer::film::{Marks, Shot, decode_png, key_instants};
use trimproof_viewer::{Film, Studio, Timeline, View};

/// One studio at a time: drawing on the processor takes all of it anyway.
static TURN: Mutex<()> = Mutex::new(());

const SIZE: [u32; 2] = [960, 540];
/// Share of the scene in which two pictures of a sheet must differ.
const LEAST_CHANGED: f64 = 0.002;
/// How far the grip must be seen to go on a sheet's picture of 640 x 360, px.
const LEAST_PX: f32 = 12.0;

fn case(scenario: &str, rig: &str) -> Case {
    shipped::shipped()
        .into_iter()
        .find(|case| case.name == scenario && case.rig_name == rig)
        .unwrap_or_else(|| panic!("{scenario} on {rig} is not shipped"))
}

fn studio(case: &Case, view: View) -> Studio {
    studio_of(timeline(case), view, SIZE)
}

fn timeline(case: &Case) -> Timeline {
    let run = run_scenario(
        &case.rig,
        &case.scenario,
        &mut LogicTarget::new(),
        &mut |_| true,
    );
    let judgements = judge(&case.rig, &case.scenario, &run.trace);
    Timeline::of_trace(
        Arc::clone(&case.rig),
        Some(Arc::clone(&case.scenario)),
        run.trace,
        &judgements,
    )
}

fn studio_of(timeline: Timeline, view: View, size: [u32; 2]) -> Studio {
    let film = Film {
        timeline,
        signals: Vec::new(),
        view,
        size,
        chosen: None,
        begun: Instant::now(),
    };
    Studio::open(film)
        .unwrap_or_else(|error| panic!("{error}: {}", error.help().unwrap_or_default()))
}

fn picture(studio: &mut Studio, at_s: f64) -> (Shot, Marks) {
    let mut taken = None;
    studio
        .take(&[at_s], &mut |_, shot| {
            taken = Some(shot);
            true
        })
        .unwrap();
    (taken.unwrap(), studio.marks())
}

/// Mean colour of a square of 5 px around a place.
fn around(shot: &Shot, [x, y]: [f32; 2]) -> [f32; 3] {
    let mut sum = [0.0; 3];
    for dy in -2..=2 {
        for dx in -2..=2 {
            let column = (x as i32 + dx).clamp(0, shot.size[0] as i32 - 1) as usize;
            let row = (y as i32 + dy).clamp(0, shot.size[1] as i32 - 1) as usize;
            let from = 3 * (row * shot.size[0] as usize + column);
            for (part, sum) in shot.rgb[from..from + 3].iter().zip(&mut sum) {
                *sum += f32::from(*part) / 25.0;
            }
        }
    }
    sum
}

/// Share of the commonest colour in the scene, and how many colours there are.
fn variety(shot: &Shot, scene: [f32; 4]) -> (f32, usize) {
    let mut counts = std::collections::BTreeMap::new();
    let mut all = 0;
    for y in scene[1] as usize..scene[3] as usize {
        for x in scene[0] as usize..scene[2] as usize {
            let from = 3 * (y * shot.size[0] as usize + x);
            *counts.entry(&shot.rgb[from..from + 3]).or_insert(0_usize) += 1;
            all += 1;
        }
    }
    let most = counts.values().copied().max().unwrap_or(0);
    (most as f32 / all as f32, counts.len())
}

/// What must be seen in a picture.
struct Wanted {
    scenario: &'static str,
    rig: &'static str,
    at_s: f64,
    view: View,
    /// The ghost stands clear of the stick.
    ghost: bool,
    /// The hand pushes.
    arrow: bool,
}

/// Four scenarios, with what the pilot does in them at that time.
const WANTED: [Wanted; 4] = [
    // Leaned on with 45 N against the stop, trimmed in the middle.
    Wanted {
        scenario: "stop-leaning",
        rig: "kittiwake",
        at_s: 2.2,
        view: View::Whole,
        ghost: true,
        arrow: true,
    },
    // Over the edge of the seat.
    Wanted {
        scenario: "obstacle-knee",
        rig: "bittern",
        at_s: 2.6,
        view: View::Left,
        ghost: true,
        arrow: true,
    },
    // Pushed fore while the trim has gone aft.
    Wanted {
        scenario: "nudge-while-pushing",
        rig: "kittiwake",
        at_s: 5.0,
        view: View::Left,
        ghost: true,
        arrow: true,
    },
    // Let go at its new place: stick and ghost are one, and nobody pushes.
    Wanted {
        scenario: "release-reposition-slow",
        rig: "kittiwake",
        at_s: 5.5,
        view: View::Behind,
        ghost: false,
        arrow: false,
    },
];

#[test]
fn four_scenarios_show_what_happens_in_them() {
    let _turn = TURN.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    for wanted in WANTED {
        let name = format!("{} on {}", wanted.scenario, wanted.rig);
        let mut studio = studio(&case(wanted.scenario, wanted.rig), wanted.view);
        let (shot, marks) = picture(&mut studio, wanted.at_s);
        assert_eq!((shot.size, shot.rgb.len()), (SIZE, 3 * 960 * 540), "{name}");
        let (most, colours) = variety(&shot, marks.scene);
        assert!(
            most < 0.85 && colours > 400,
            "{name} is blank: {most} {colours}"
        );
        let (grip, ghost) = (marks.grip.unwrap(), marks.ghost.unwrap());
        let apart = (grip[0] - ghost[0]).hypot(grip[1] - ghost[1]);
        // The upper left corner of the scene shows nothing but the background.
        let background = around(&shot, [marks.scene[0] + 8.0, marks.scene[1] + 60.0]);
        // The trimmed position has the colour of its curve, orange, and the hand's force that of
        // its, blue.
        let orange = |colour: [f32; 3]| colour[0] - colour[2];
        // The grip is nearly black.
        let dark = around(&shot, [grip[0], grip[1] - 6.0]);
        assert!(
            dark.iter().sum::<f32>() < 330.0,
            "{name}: no grip at {grip:?}: {dark:?}"
        );
        if wanted.ghost {
            // Farther than the grip is thick there, so that the ghost's middle is not behind the
            // stick.
            assert!(apart > 16.0, "{name}: {apart}");
            let seen = around(&shot, ghost);
            assert!(
                orange(seen) > orange(background) + 12.0,
                "{name}: no ghost at {ghost:?}: {seen:?} {background:?}"
            );
        } else {
            assert!(apart < 4.0, "{name}: {apart}");
        }
        if wanted.arrow {
            let tip = marks.arrow.unwrap();
            // On the shaft, three fifths of the way to the point.
            let on = [0, 1].map(|k| grip[k] + 0.6 * (tip[k] - grip[k]));
            let seen = around(&shot, on);
            assert!(
                seen[2] > 120.0 && seen[2] - seen[0] > 60.0,
                "{name}: no arrow at {on:?}: {seen:?}"
            );
        } else {
            assert_eq!(marks.arrow, None, "{name}");
        }
    }
}

/// Share of the scene's pixels that differ by more than a tenth of full scale in any colour.
fn changed(one: &Shot, other: &Shot, scene: [f32; 4]) -> f64 {
    let (mut all, mut different) = (0_usize, 0_usize);
    for y in scene[1] as usize..scene[3] as usize {
        for x in scene[0] as usize..scene[2] as usize {
            let from = 3 * (y * one.size[0] as usize + x);
            let parts = one.rgb[from..from + 3]
                .iter()
                .zip(&other.rgb[from..from + 3]);
            all += 1;
            different += usize::from(parts.map(|(a, b)| a.abs_diff(*b)).max() > Some(25));
        }
    }
    different as f64 / all as f64
}

/// The job that the stick is made for, 6 degrees aft and 4 to the left: on a sheet's small pictures
/// the grip is seen to move, and no two pictures look alike. The usual view looks along this
/// motion.
#[test]
fn the_pictures_of_a_sheet_can_be_distinguished() {
    const COUNT: usize = 6;
    let _turn = TURN.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    for rig in ["kittiwake", "bittern"] {
        let timeline = timeline(&case("release-reposition-slow", rig));
        let instants_s = key_instants(&timeline, COUNT);
        let mut studio = studio_of(timeline, View::Across, [640, 360]);
        let pictures: Vec<(Shot, Marks)> = instants_s
            .iter()
            .map(|at_s| picture(&mut studio, *at_s))
            .collect();
        let grip = |marks: &Marks| marks.grip.unwrap();
        let mut farthest = 0.0_f32;
        for (index, (shot, marks)) in pictures.iter().enumerate() {
            for (other_index, (other, other_marks)) in pictures[..index].iter().enumerate() {
                let [[x, y], [other_x, other_y]] = [grip(marks), grip(other_marks)];
                farthest = farthest.max((x - other_x).hypot(y - other_y));
                let share = changed(shot, other, marks.scene);
                println!(
                    "{rig} {other_index} {index} {:?} {share:.4}",
                    instants_s[index]
                );
                assert!(
                    share > LEAST_CHANGED,
                    "{rig}: {share} between {} s and {} s",
                    instants_s[other_index],
                    instants_s[index]
                );
            }
        }
        assert!(farthest > LEAST_PX, "{rig}: {farthest} px");
    }
}

#[test]
fn the_same_instant_gives_the_same_picture() {
    let _turn = TURN.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    let case = case("nudge-tap", "bittern");
    let mut first = studio(&case, View::Pitch);
    let (once, _) = picture(&mut first, 1.4);
    // Going elsewhere and back leaves no trace; nor does another studio.
    let (other, _) = picture(&mut first, 3.0);
    let (again, _) = picture(&mut first, 1.4);
    assert!(once != other, "nothing moves");
    assert!(
        once == again,
        "the picture depends on what was shown before"
    );
    let (elsewhere, _) = picture(&mut studio(&case, View::Pitch), 1.4);
    assert!(once == elsewhere, "two studios differ");
}

#[test]
fn the_command_writes_stills_a_sheet_and_an_animation() {
    let _turn = TURN.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    let folder = tempfile::tempdir().unwrap();
    let into = folder.path().join("pictures");
    let output = Command::new(env!("CARGO_BIN_EXE_trimproof"))
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")))
        .args([
            "film",
            "release-tapped",
            "--rig",
            "kittiwake",
            "--size",
            "240x160",
            "--at",
            "0.5,1.25",
        ])
        .args(["--sheet", "4", "--gif", "--fps", "2", "--into"])
        .arg(&into)
        .env_remove("DISPLAY")
        .output()
        .unwrap();
    let messages = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{messages}");
    let mut names: Vec<String> = std::fs::read_dir(&into)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(
        names,
        [
            "release-tapped@kittiwake-0.500s.png",
            "release-tapped@kittiwake-1.250s.png",
            "release-tapped@kittiwake-sheet.png",
            "release-tapped@kittiwake.gif"
        ]
    );
    let listed = String::from_utf8(output.stdout).unwrap();
    assert!(names.iter().all(|name| listed.contains(name)), "{listed}");
    let read = |name: &str| std::fs::read(into.join(name)).unwrap();
    assert_eq!(decode_png(&read(&names[0])).unwrap().size, [240, 160]);
    // Two by two with white between.
    assert_eq!(
        decode_png(&read(&names[2])).unwrap().size,
        [2 * 246 + 6, 2 * 166 + 6]
    );
    assert!(read(&names[3]).starts_with(b"GIF89a"));
}

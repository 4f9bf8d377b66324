//! Every picture, drawn from what the twin did: well-formed, legible, the same each time, proof
//! against hostile names.

mod samples;
mod shipped;

use super::canvas::Frame;
use super::png::read;
use super::*;
use proptest::prelude::*;
use resvg::{tiny_skia, usvg};
use samples::{HOSTILE, all, response_of_the_twin, sweep_of_the_twin, usual};
use trimproof_feel::figures::{Discontinuity, ResponseFigures, SweepFigures};
use trimproof_feel::record::{Condition, Response, ResponseSample, Sweep, SweepSample};
use trimproof_plant::AxisName;

/// Set to a folder, this variable has the pictures written there: those in `docs/guides/pictures`
/// are made so.
const FOLDER: &str = "TRIMPROOF_PICTURES";

/// Every text of a picture with its box, px.
fn texts(svg: &str) -> Vec<(String, Frame)> {
    fn walk(group: &usvg::Group, found: &mut Vec<(String, Frame)>) {
        for node in group.children() {
            match node {
                usvg::Node::Group(group) => walk(group, found),
                usvg::Node::Text(text) => {
                    let words: String = text.chunks().iter().map(|chunk| chunk.text()).collect();
                    let rect = text.abs_bounding_box();
                    let frame = Frame {
                        left: rect.left().into(),
                        top: rect.top().into(),
                        right: rect.right().into(),
                        bottom: rect.bottom().into(),
                    };
                    found.push((words.trim().to_owned(), frame));
                }
                _ => {}
            }
        }
    }
    let mut found = Vec::new();
    walk(read(svg).unwrap().root(), &mut found);
    found
}

/// Asserts that every text lies on the sheet and covers no other.
fn assert_legible(name: &str, svg: &str) {
    let tree = read(svg).unwrap();
    let sheet = Frame {
        left: 0.0,
        top: 0.0,
        right: tree.size().width().into(),
        bottom: tree.size().height().into(),
    };
    let found = texts(svg);
    assert!(found.len() > 8, "{name}: only {} texts", found.len());
    for (index, (text, frame)) in found.iter().enumerate() {
        assert!(
            sheet.holds(frame),
            "{name}: `{text}` is cut off: {frame:?} on {sheet:?}"
        );
        for (other, place) in &found[index + 1..] {
            assert!(
                !frame.meets(place),
                "{name}: `{text}` and `{other}` overlap: {frame:?} {place:?}"
            );
        }
    }
    for part in svg.split("font-size=\"").skip(1) {
        let size: f64 = part.split('"').next().unwrap().parse().unwrap();
        // Four units are a px.
        assert!(size / 4.0 >= 12.0, "{name}: text of {} px", size / 4.0);
    }
}

#[test]
fn every_picture_is_legible_and_has_an_image() {
    let folder = std::env::var_os(FOLDER).map(std::path::PathBuf::from);
    for (name, svg) in usual() {
        let image = png(&svg).unwrap();
        if let Some(folder) = &folder {
            std::fs::write(folder.join(format!("{name}.svg")), &svg).unwrap();
            std::fs::write(folder.join(format!("{name}.png")), &image).unwrap();
        }
        assert_legible(name, &svg);
        let size = read(&svg).unwrap().size();
        let image = tiny_skia::Pixmap::decode_png(&image).unwrap();
        assert_eq!(image.width(), (2.0 * size.width()).ceil() as u32, "{name}");
        assert_eq!(
            image.height(),
            (2.0 * size.height()).ceil() as u32,
            "{name}"
        );
        let parts = |p: &tiny_skia::PremultipliedColorU8| [p.red(), p.green(), p.blue()];
        let mut colours: Vec<_> = image.pixels().iter().map(parts).collect();
        colours.sort_unstable();
        colours.dedup();
        assert!(colours.len() > 30, "{name}: {} colours", colours.len());
        assert!(svg.len() < 120_000, "{name}: {} bytes", svg.len());
    }
}

#[test]
fn pictures_say_what_they_must() {
    let pictures: std::collections::BTreeMap<_, _> = usual().into_iter().collect();
    for (name, wanted) in [
        (
            "force",
            &[
                "breakout",
                "lb)",
                "stop -",
                "position at the grip, in",
                "force, lb",
                "wanted",
                "step of the force, 1 found",
                "within 4.45 N (1.0 lb) or 10 %",
            ][..],
        ),
        (
            "response",
            &[
                "P0",
                "A1",
                "residual band",
                "steady state",
                "time from the release, s",
            ],
        ),
        (
            "holding",
            &[
                "torque at the stick, N m",
                "least margin",
                "held at run current",
                "trim at the far soft limit",
                // Kittiwake's drive slips there, as `size` says.
                "the drive SLIPS",
                "slips: 0.87 N m too little",
            ],
        ),
        (
            "run",
            &[
                "state",
                "holding",
                "pitch.grip_force_n",
                "time, s",
                "0 of 3 expectations pass",
            ],
        ),
        (
            "broken-number",
            &[
                "must be lower: abs(pitch.grip_force_n)",
                "must be higher: 5.5",
                "looks: 1.2 to 25.4 s",
                "worst instant",
                "put to the test where abs(pitch.stick_deg) &lt;= 8",
                "worst: 6.32 N, margin -0.822 N at 3.172 s",
                "pitch.stick_deg",
                "pitch.estimated_deg",
            ],
        ),
        (
            "broken-window",
            &[
                "looks: 28.2 to 29 s",
                "a part of the run of 33 s",
                "angle, deg",
            ],
        ),
        (
            "broken-switch",
            &["release", "FAIL: a switch or a state decided"],
        ),
    ] {
        for text in wanted {
            assert!(pictures[name].contains(text), "{name} lacks `{text}`");
        }
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    assert_eq!(usual(), usual());
}

#[test]
fn a_signal_has_one_colour_in_all_panels() {
    let pictures: std::collections::BTreeMap<_, _> = usual().into_iter().collect();
    let blue = "#0072B2";
    // The force of the hand in the panel of the sides and in that of forces, the angle in that of
    // angles: blue, on pitch.
    assert!(pictures["broken-number"].matches(blue).count() >= 2);
    assert!(pictures["run"].matches(blue).count() >= 2);
    // The tint of a state is that of the palette.
    let [r, g, b] = trimproof_harness::palette::state(trimproof_io::State::Holding);
    let tint = format!("#{r:02X}{g:02X}{b:02X}");
    for name in ["run", "broken-number", "broken-window", "broken-switch"] {
        assert!(pictures[name].contains(&tint), "{name} lacks {tint}");
    }
}

/// The worst instant is drawn after everything else, wider than every curve, in a colour that no
/// signal has.
#[test]
fn nothing_is_drawn_over_the_worst_instant() {
    let [r, g, b] = trimproof_harness::palette::WORST;
    let ink = format!("#{r:02X}{g:02X}{b:02X}");
    for (name, svg) in usual() {
        if !(name == "run" || name.starts_with("broken")) {
            continue;
        }
        let lines: Vec<&str> = svg.lines().collect();
        let last_curve = lines.iter().rposition(|line| {
            line.starts_with("<polyline") && !line.contains(&ink) && !line.contains("#FFFFFF")
        });
        let marks: Vec<usize> = (0..lines.len())
            .filter(|line| lines[*line].starts_with("<polyline") && lines[*line].contains(&ink))
            .collect();
        let after = marks
            .iter()
            .filter(|mark| Some(**mark) > last_curve)
            .count();
        assert!(after >= 2, "{name}: {after} of {} marks", marks.len());
        let box_text = lines
            .iter()
            .rposition(|line| line.contains(" s</text>") || line.trim_end().ends_with(" s"));
        assert!(box_text > last_curve, "{name}: the label is not on top");
    }
}

/// A renderer for which `sans-serif` is one certain font that is not there: every text is drawn all
/// the same, and every picture has the list that makes it so.
#[test]
fn text_does_not_hang_on_what_a_machine_calls_sans_serif() {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(epaint_default_fonts::UBUNTU_LIGHT.to_vec());
    fonts.set_sans_serif_family("no such font");
    fonts.set_serif_family("no such font");
    fonts.set_monospace_family("no such font");
    let have = fonts.faces().next().unwrap().families[0].0.clone();
    let options = usvg::Options {
        fontdb: std::sync::Arc::new(fonts),
        ..usvg::Options::default()
    };
    for (name, svg) in usual() {
        assert_eq!(
            svg.matches("<text").count(),
            svg.matches("sans-serif").count(),
            "{name}"
        );
        // The font of the test stands in for one of those in the list.
        let svg = svg.replace("Ubuntu,", &format!("{have},"));
        let tree = usvg::Tree::from_str(&svg, &options).unwrap();
        let mut drawn = 0;
        let mut groups = vec![tree.root()];
        while let Some(group) = groups.pop() {
            for node in group.children() {
                match node {
                    usvg::Node::Group(group) => groups.push(group),
                    usvg::Node::Text(text) => drawn += usize::from(!text.layouted().is_empty()),
                    _ => {}
                }
            }
        }
        assert_eq!(drawn, svg.matches("<text").count(), "{name}");
    }
}

#[test]
fn hostile_names_stay_text() {
    for (name, svg) in all(HOSTILE, HOSTILE) {
        assert!(!svg.contains("<script"), "{name}");
        assert!(svg.contains("&lt;script"), "{name}");
        assert!(svg.chars().all(|c| c == '\n' || !c.is_control()), "{name}");
        png(&svg).unwrap();
    }
}

#[test]
fn inside_a_page_a_picture_names_no_address() {
    for (name, svg) in usual() {
        assert_eq!(svg.matches("http").count(), 1, "{name}");
        let inside = inline(&svg);
        assert!(!inside.contains("http"), "{name}");
        assert!(inside.starts_with("<svg width=\"760\""), "{name}");
    }
}

#[test]
fn nothing_to_draw_is_reported() {
    let (mut sweep, _) = sweep_of_the_twin();
    sweep.samples.truncate(1);
    let plot = ForceLoop {
        title: "",
        reference: Loop {
            name: "",
            sweep: &sweep,
            figures: None,
        },
        other: None,
        tolerance: None,
        targets: &[],
    };
    assert!(matches!(force_loop(&plot), Err(PictureError::Nothing(_))));
    assert!(matches!(
        trace(&TracePlot::default()),
        Err(PictureError::Nothing(_))
    ));
    let holding = Holding {
        title: "",
        position_deg: &[0.0, 1.0],
        cartridge_n_m: &[0.0],
        far_n_m: &[],
        holds: &[],
    };
    assert!(matches!(
        holding_margin(&holding),
        Err(PictureError::Nothing(_))
    ));
    assert!(matches!(png("<html/>"), Err(PictureError::NoSvg(_))));
    assert!(matches!(png("<svg"), Err(PictureError::NoSvg(_))));
}

#[test]
fn the_band_holds_what_is_inside_the_tolerance_and_no_more() {
    let tolerance = ForceTolerance::PART_60;
    // 14 CFR part 60, appendix C, table C2A, 2.a.1: 1.0 lb or 10 %, the larger.
    assert_eq!(tolerance.of(-20.0), LB_N);
    assert_eq!(tolerance.of(100.0), 10.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Any sweep at all, with gaps and figures that do not fit it: a picture, and a legible one.
    #[test]
    fn any_sweep_is_drawn_legibly(
        samples in prop::collection::vec((-20.0..20.0, prop_oneof![8 => -80.0..80.0, 1 => Just(f64::NAN)]), 2..200),
        breakout in prop::array::uniform2(0.0..20.0),
        stops in (-20.0..-1.0, 1.0..20.0),
        largest in prop::array::uniform2(0.1..80.0),
        steps in prop::collection::vec((-20.0..20.0, -9.0..9.0), 0..12),
        radius in 0.05..0.9,
    ) {
        let samples = samples.into_iter().enumerate().map(|(index, (position_deg, force_n))| SweepSample {
            time_s: index as f64,
            position_deg,
            force_n,
        });
        let (_, figures) = sweep_of_the_twin();
        let sweep = Sweep { axis: AxisName::Roll, condition: Condition::Unpowered, grip_radius_m: radius, samples: samples.collect() };
        let figures = SweepFigures {
            breakout_n: breakout,
            stop_deg: [stops.0, stops.1],
            largest_n: largest,
            discontinuities: steps.into_iter().map(|(at_deg, step_n)| Discontinuity { at_deg, step_n }).collect(),
            ..figures
        };
        let svg = force_loop(&ForceLoop {
            title: "any",
            reference: Loop { name: "any", sweep: &sweep, figures: Some(&figures) },
            other: None,
            tolerance: Some(ForceTolerance::PART_60),
            targets: &[],
        }).unwrap();
        assert_legible("any sweep", &svg);
    }

    /// Any response at all, with any figures.
    #[test]
    fn any_response_is_drawn_legibly(
        ratio in 0.01..1.5_f64,
        pull in 0.5..20.0_f64,
        period in 0.05..2.0_f64,
        periods in prop::collection::vec(0.01..0.5, 0..9),
        p0 in prop::option::of(0.0..0.4),
    ) {
        let samples = (0..800).map(|index| {
            let time_s = f64::from(index) * 0.005;
            let phase = std::f64::consts::TAU / period * time_s;
            ResponseSample { time_s, position_deg: pull * libm::exp(-ratio * phase) * libm::cos(phase) }
        });
        let (_, figures) = response_of_the_twin();
        let twin = Response { axis: AxisName::Roll, condition: Condition::Released, samples: samples.collect() };
        let figures = ResponseFigures {
            steady_deg: 0.0,
            initial_deg: pull,
            residual_deg: 0.05 * pull,
            p0_s: p0,
            overshoots_deg: periods.iter().map(|_| 0.1 * pull).collect(),
            periods_s: periods,
            ..figures
        };
        let svg = response(&Step {
            title: "any",
            reference: FreeResponse { name: "any", response: &twin, figures: Some(&figures) },
            other: None,
        }).unwrap();
        assert_legible("any response", &svg);
    }

    /// Any curves at all: huge, tiny, constant, with gaps.
    #[test]
    fn any_run_is_drawn_legibly(
        scale in -9_i32..9,
        offset in prop_oneof![Just(0.0), -1e5..1e5_f64],
        shape in prop::collection::vec(prop_oneof![6 => -1.0..1.0_f64, 1 => Just(f64::NAN), 3 => Just(0.0)], 2..60),
        codes in prop::collection::vec(0_usize..7, 2..60),
        name in "\\PC{0,160}",
        windows in prop::collection::vec((0.0..1.0_f64, 0.0..9.0_f64), 0..5),
        part in prop::option::of(0.0..0.2_f64),
    ) {
        let factor = libm::pow(10.0, f64::from(scale));
        let values: Vec<f64> = shape.iter().map(|value| offset + factor * value).collect();
        let curve = |name: &str, limit| Curve { name: name.to_owned(), values: values.clone(), limit, colour: [0, 0x72, 0xb2] };
        let svg = trace(&TracePlot {
            title: name.clone(),
            below: name.clone(),
            tick_s: 0.01,
            shown_s: part.map(|from| [from, from + 0.05]),
            lanes: vec![
                Lane { name: name.clone(), codes: codes.clone(), kind: LaneKind::State },
                Lane { name: "switch".to_owned(), codes: codes.clone(), kind: LaneKind::Switch },
                Lane { name: name.clone(), codes: codes.clone(), kind: LaneKind::Fault },
                Lane { name: "put to the test".to_owned(), codes, kind: LaneKind::Tested },
            ],
            notes: vec![name.clone()],
            tested_where: name.clone(),
            panels: vec![
                Panel { title: name.clone(), curves: vec![curve(&name, false), curve("b", true)], least: 0.0 },
                Panel { title: "force, N".to_owned(), curves: vec![curve("c", false)], least: 0.5 },
            ],
            windows_s: windows.into_iter().map(|(from, long)| [from, from + long]).collect(),
            worst: Some(Worst { at_s: 0.1, margin: name.clone(), value: values.get(10).copied() }),
        }).unwrap();
        assert_legible("any run", &svg);
    }
}

//! Every picture, drawn from what the twin did: well-formed, legible, the same each time, proof against hostile names.

mod samples;

use super::canvas::Frame;
use super::png::read;
use super::*;
use crate::figures::{Discontinuity, ResponseFigures, SweepFigures};
use crate::record::{Condition, Response, ResponseSample, Sweep, SweepSample};
use proptest::prelude::*;
use resvg::{tiny_skia, usvg};
use samples::{HOSTILE, all, response_of_the_twin, sweep_of_the_twin, usual};
use trimproof_plant::AxisName;

/// Set to a folder, this variable has the pictures written there: `docs/guides/pictures` are made so.
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
            ],
        ),
        (
            "run",
            &[
                "state",
                "holding",
                "pitch.grip_force_n",
                "time, s",
                "0 of 3 expectations held",
            ],
        ),
        (
            "broken-number",
            &[
                "must be lower: abs(pitch.grip_force_n)",
                "must be higher: 5.5",
                "looks: 1.2 to 25.4 s",
                "worst instant",
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
            &["release", "broken: a switch or a state decided"],
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
fn nothing_to_draw_is_told() {
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
        cartridge_nm: &[0.0],
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
        let curve = |name: &str, limit| Curve { name: name.to_owned(), values: values.clone(), limit };
        let words = ["limp", "centring", "holding", "released", "nudging", "tripped"];
        let svg = trace(&TracePlot {
            title: name.clone(),
            below: name.clone(),
            tick_s: 0.01,
            shown_s: part.map(|from| [from, from + 0.05]),
            lanes: vec![
                Lane { name: name.clone(), codes: codes.clone(), words: words.map(str::to_owned).to_vec() },
                Lane { name: "switch".to_owned(), codes, words: vec![String::new(), "on".to_owned()] },
            ],
            panels: vec![
                Panel { title: name.clone(), curves: vec![curve(&name, false), curve("b", true)] },
                Panel { title: "force, N".to_owned(), curves: vec![curve("c", false)] },
            ],
            windows_s: windows.into_iter().map(|(from, long)| [from, from + long]).collect(),
            worst_s: Some(0.1),
        }).unwrap();
        assert_legible("any run", &svg);
    }
}

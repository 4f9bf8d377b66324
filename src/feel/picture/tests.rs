//! Every picture, drawn from what the twin did: well-formed, legible, the same each time, proof against hostile names.

use super::canvas::Frame;
use super::png::read;
use super::*;
use crate::figures::{Discontinuity, ResponseFigures, SweepFigures};
use crate::record::{Condition, Response, ResponseSample, Sweep, SweepSample};
use proptest::prelude::*;
use resvg::{tiny_skia, usvg};
use std::sync::{Arc, LazyLock};
use trimproof_harness::judge::{Judgement, judge};
use trimproof_harness::run::{LogicTarget, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::Case;
use trimproof_harness::trace::Trace;
use trimproof_plant::{AxisName, Rig};

/// Set to a folder, this variable has the pictures written there: `docs/guides/pictures` are made so.
const FOLDER: &str = "TRIMPROOF_PICTURES";

const HOSTILE: &str = "<script>alert('&\"x\"')</script>\u{0}\u{1b}]]>-- \u{202e}名前 ünïcode ";

/// The stick is carried slowly to both stops and back, then let go from 8 degrees.
const SWEEP: &str = r#"
title = "A slow sweep to both stops, then let go"
purpose = "Data for pictures."
rigs = ["kittiwake"]
length_s = 33.0
do = [
    { at_s = 1.0, what = "grip" },
    { at_s = 1.2, what = "carry", pitch_deg = 23.5, over_s = 6.0, shape = "steady" },
    { at_s = 7.3, what = "carry", pitch_deg = -23.5, over_s = 12.0, shape = "steady" },
    { at_s = 19.4, what = "carry", pitch_deg = 0.0, over_s = 6.0, shape = "steady" },
    { at_s = 26.0, what = "carry", pitch_deg = 8.0, over_s = 1.0, shape = "smooth" },
    { at_s = 28.0, what = "let_go_stick" },
]
[[expect]]
name = "the grip is never pulled harder than a light stick should ask"
that = "always[1.2, 25.4](abs(pitch.stick_deg) <= 8 implies abs(pitch.grip_force_n) <= 5.5)"
because = "made to break, for the pictures"
[[expect]]
name = "the stick is at rest a second after it was let go"
that = "always[28.2, 29](abs(pitch.stick_deg) <= 0.5)"
[[expect]]
name = "nobody presses the release"
that = "eventually(release)"
"#;

struct Twin {
    case: Case,
    trace: Trace,
    judgements: Vec<Judgement>,
}

static TWIN: LazyLock<Twin> = LazyLock::new(|| {
    let rig = Rig::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let scenario = Scenario {
        name: "slow-sweep".to_owned(),
        ..Scenario::parse(SWEEP).unwrap()
    };
    let trace = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true).trace;
    let judgements = judge(&rig, &scenario, &trace);
    assert!(judgements.iter().all(|judgement| !judgement.held));
    let case = Case {
        name: scenario.name.clone(),
        rig_name: rig.name.clone(),
        file: "slow-sweep.toml".into(),
        scenario: Arc::new(scenario),
        rig: Arc::new(rig),
    };
    Twin {
        case,
        trace,
        judgements,
    }
});

fn rows(twin: &Twin, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
    let row = |s: f64| (s / twin.trace.about.tick_s).round() as usize;
    row(from_s)..row(to_s)
}

fn sweep_of_the_twin() -> (Sweep, SweepFigures) {
    let twin = &*TWIN;
    let numbers = |name: &str| twin.trace.numbers(name).unwrap();
    let (position, force) = (numbers("pitch.stick_deg"), numbers("pitch.grip_force_n"));
    let samples = rows(twin, 1.2, 25.4).map(|row| SweepSample {
        time_s: twin.trace.time_s(row).unwrap(),
        position_deg: position[row],
        force_n: force[row],
    });
    let rig = &twin.case.rig;
    let constant = |name: &str| {
        let constants = rig.constants();
        constants.iter().find(|c| c.0 == name).unwrap().1
    };
    let breakout = constant("rig.pitch.breakout_n") + constant("rig.pitch.friction_n");
    let stops = ["rig.pitch.stop_min_deg", "rig.pitch.stop_max_deg"].map(constant);
    let samples: Vec<SweepSample> = samples.collect();
    let largest = |stop: f64| {
        let inside = samples.iter().filter(|sample| {
            sample.position_deg * stop > 0.0 && sample.position_deg.abs() < stop.abs() - 0.3
        });
        inside
            .map(|sample| sample.force_n.abs())
            .fold(0.0, f64::max)
    };
    let figures = SweepFigures {
        axis: AxisName::Pitch,
        condition: Condition::Held,
        grip_radius_m: 0.33,
        breakout_n: [breakout; 2],
        first_inch_n_per_deg: [constant("rig.pitch.gradient_n_per_deg"); 2],
        beyond_n_per_deg: [None; 2],
        friction_n: constant("rig.pitch.friction_n"),
        free_play_deg: 2.0 * constant("rig.pitch.free_play_deg"),
        centring_error_deg: [0.0; 2],
        stop_deg: stops,
        largest_n: stops.map(largest),
        discontinuities: vec![Discontinuity {
            at_deg: 9.0,
            step_n: 0.6,
        }],
        slipped_at_deg: None,
    };
    let sweep = Sweep {
        axis: AxisName::Pitch,
        condition: Condition::Held,
        grip_radius_m: 0.33,
        samples,
    };
    (sweep, figures)
}

/// As measured on a bench: a little stiffer, with noise, and with free play.
fn bench_of(sweep: &Sweep) -> Sweep {
    let mut bench = sweep.clone();
    for (index, sample) in bench.samples.iter_mut().enumerate() {
        // A fixed pattern stands in for noise.
        let noise = ((index * 7919) % 1000) as f64 / 1000.0 - 0.5;
        sample.force_n = 1.07 * sample.force_n + 0.25 * noise;
    }
    bench
}

fn force_picture(title: &str, name: &str) -> String {
    let (sweep, figures) = sweep_of_the_twin();
    let bench = bench_of(&sweep);
    force_loop(&ForceLoop {
        title,
        reference: Loop {
            name,
            sweep: &sweep,
            figures: Some(&figures),
        },
        other: Some(Loop {
            name: "bench.csv",
            sweep: &bench,
            figures: Some(&figures),
        }),
        tolerance: Some(ForceTolerance::PART_60),
        targets: &[ForceTarget {
            position_deg: 10.0,
            least_n: 6.5,
            most_n: 9.0,
        }],
    })
    .unwrap()
}

fn response_of_the_twin() -> (Response, ResponseFigures) {
    let twin = &*TWIN;
    let position = twin.trace.numbers("pitch.stick_deg").unwrap();
    let samples = rows(twin, 28.0, 33.0).map(|row| ResponseSample {
        time_s: twin.trace.time_s(row).unwrap() - 28.0,
        position_deg: position[row],
    });
    let samples: Vec<ResponseSample> = samples.collect();
    let steady = samples.last().unwrap().position_deg;
    let residual = 0.05 * (samples[0].position_deg - steady).abs();
    let crossings: Vec<f64> = samples
        .windows(2)
        .filter(|pair| (pair[0].position_deg - steady) * (pair[1].position_deg - steady) < 0.0)
        .map(|pair| pair[1].time_s)
        .collect();
    let mut overshoots = Vec::new();
    for pair in crossings.windows(2) {
        let between = samples
            .iter()
            .filter(|s| (pair[0]..pair[1]).contains(&s.time_s));
        let peak = between
            .map(|s| (s.position_deg - steady).abs())
            .fold(0.0, f64::max);
        if peak > residual {
            overshoots.push(peak);
        }
    }
    let whole: Vec<f64> = crossings.iter().copied().step_by(2).collect();
    let figures = ResponseFigures {
        axis: AxisName::Pitch,
        condition: Condition::Held,
        initial_deg: samples[0].position_deg - steady,
        steady_deg: steady,
        p0_s: crossings.first().copied(),
        periods_s: whole
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .take(overshoots.len() / 2 + 1)
            .collect(),
        overshoots_deg: overshoots,
        to_90_percent_s: 0.09,
        damping_ratio: Some(0.15),
        residual_deg: residual,
    };
    let response = Response {
        axis: AxisName::Pitch,
        condition: Condition::Held,
        samples,
    };
    (response, figures)
}

fn response_picture(title: &str, name: &str) -> String {
    let (twin, figures) = response_of_the_twin();
    let mut bench = twin.clone();
    for sample in &mut bench.samples {
        sample.time_s *= 1.06;
        sample.position_deg = 0.9 * sample.position_deg + 0.3;
    }
    let bench_figures = ResponseFigures {
        steady_deg: 0.9 * figures.steady_deg + 0.3,
        ..figures.clone()
    };
    response(&Step {
        title,
        reference: FreeResponse {
            name,
            response: &twin,
            figures: Some(&figures),
        },
        other: Some(FreeResponse {
            name: "bench.csv",
            response: &bench,
            figures: Some(&bench_figures),
        }),
    })
    .unwrap()
}

fn holding_picture(title: &str, name: &str) -> String {
    let twin = &*TWIN;
    let numbers = |name: &str| twin.trace.numbers(name).unwrap();
    let (deflection, torque) = (
        numbers("pitch.deflection_deg"),
        numbers("pitch.cartridge_nm"),
    );
    // From stop to stop.
    let inside = rows(twin, 8.0, 19.0);
    let mut pairs: Vec<(f64, f64)> = inside
        .step_by(20)
        .map(|row| (deflection[row], torque[row]))
        .collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (position, torque): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
    let axis = &twin.case.rig.axis(0);
    let held = axis.motor.holding_nm * axis.drive.ratio();
    holding_margin(&Holding {
        title,
        position_deg: &position,
        cartridge_nm: &torque,
        holds: &[("run current", 1.0), (name, 0.7)].map(|(name, share)| HoldingLine {
            name: name.to_owned(),
            torque_nm: vec![share * held; position.len()],
        }),
    })
    .unwrap()
}

/// Every picture, by the name of its file.
fn all(title: &str, name: &str) -> Vec<(&'static str, String)> {
    let twin = &*TWIN;
    let mut case = twin.case.clone();
    let mut scenario = (*case.scenario).clone();
    if name == HOSTILE {
        case.name = HOSTILE.to_owned();
        scenario.title = HOSTILE.to_owned();
        case.scenario = Arc::new(scenario);
    }
    let of = |index: usize| {
        let mut judgement = twin.judgements[index].clone();
        if name == HOSTILE {
            judgement.name = HOSTILE.to_owned();
        }
        expectation(&case, &twin.trace, &judgement).unwrap()
    };
    vec![
        ("force", force_picture(title, name)),
        ("response", response_picture(title, name)),
        ("holding", holding_picture(title, name)),
        (
            "run",
            overview(&case, &twin.trace, &twin.judgements).unwrap(),
        ),
        ("broken-number", of(0)),
        ("broken-window", of(1)),
        ("broken-switch", of(2)),
    ]
}

fn usual() -> Vec<(&'static str, String)> {
    all("Kittiwake, pitch, trim holding", "twin of kittiwake")
}

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
}

//! What the pictures of the tests show: a run of the twin, and bench data made up from it.

use super::*;
use std::sync::{Arc, LazyLock};
use trimproof_feel::fit::{Residual, Residuals};
use trimproof_harness::judge::{Judgement, judge};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::Case;
use trimproof_harness::trace::Trace;

pub const HOSTILE: &str = "<script>alert('&\"x\"')</script>\u{0}\u{1b}]]>-- \u{202e}名前 ünïcode ";

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
formula = "always[1.2, 25.4](abs(pitch.stick_deg) <= 8 implies abs(pitch.grip_force_n) <= 5.5)"
because = "made to break, for the pictures"
[[expect]]
name = "the stick is at rest a second after it was let go"
formula = "always[28.2, 29](abs(pitch.stick_deg) <= 0.5)"
[[expect]]
name = "nobody presses the release"
formula = "eventually(release)"
"#;

struct Twin {
    case: Case,
    trace: Trace,
    judgements: Vec<Judgement>,
}

static TWIN: LazyLock<Twin> = LazyLock::new(|| {
    let rig = RigFile::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let scenario = Scenario {
        name: "slow-sweep".to_owned(),
        ..Scenario::parse(SWEEP).unwrap()
    };
    let trace = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true).trace;
    let judgements = judge(&rig, &scenario, &trace);
    assert!(judgements.iter().all(|judgement| judgement.fails()));
    let case = Case {
        name: scenario.name.clone(),
        rig_name: rig.name.clone(),
        file: "slow-sweep.toml".into(),
        scenario: Arc::new(scenario),
        rig: Arc::new(rig),
        lines: Arc::default(),
        warnings: Vec::new(),
        laws: Arc::default(),
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

pub fn sweep_of_the_twin() -> (Sweep, SweepFigures) {
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
        ripple: None,
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

pub fn response_of_the_twin() -> (Response, ResponseFigures) {
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
    let sizes = trimproof_size::size(&TWIN.case.rig).unwrap();
    let curve = &sizes.axes[0].holding[0];
    let of = |value: fn(&trimproof_size::HoldingPoint) -> f64| -> Vec<f64> {
        curve.points.iter().map(value).collect()
    };
    holding_margin(&Holding {
        title,
        position_deg: &of(|point| point.position_deg),
        cartridge_n_m: &of(|point| point.cartridge_n_m),
        far_n_m: &of(|point| point.far_cartridge_n_m),
        holds: &[("run current", 1.03), (name, 1.0)].map(|(name, share)| HoldingLine {
            name: name.to_owned(),
            torque_n_m: vec![share * curve.slips_at_n_m; curve.points.len()],
        }),
    })
    .unwrap()
}

fn residual_picture(title: &str, name: &str) -> String {
    let points = (0..400)
        .map(|i| {
            let time_s = 0.05 * f64::from(i);
            let position_deg = 18.0 * libm::sin(0.3 * time_s);
            let model = 0.55 * position_deg;
            Residual {
                time_s,
                position_deg,
                measured: model + 0.04 * libm::sin(1.7 * f64::from(i * i)),
                model,
            }
        })
        .collect();
    residual_plot(&ResidualPlot {
        title,
        residuals: &Residuals {
            name: name.to_owned(),
            unit: "N",
            points,
            deviation: 0.03,
            correlation_length: 1.0,
            left_out: 2,
        },
    })
    .unwrap()
}

/// Every picture, by the name of its file.
pub fn all(title: &str, name: &str) -> Vec<(&'static str, String)> {
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
        (
            "holding",
            holding_picture(
                title,
                if name == HOSTILE {
                    name
                } else {
                    "hold current"
                },
            ),
        ),
        ("residuals", residual_picture(title, name)),
        (
            "run",
            overview(&case, &twin.trace, &twin.judgements).unwrap(),
        ),
        ("broken-number", of(0)),
        ("broken-window", of(1)),
        ("broken-switch", of(2)),
    ]
}

pub fn usual() -> Vec<(&'static str, String)> {
    all("Kittiwake, pitch, trim holding", "twin of kittiwake")
}

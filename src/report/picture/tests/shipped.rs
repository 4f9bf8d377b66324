//! What the pictures of shipped scenarios show and leave out.

use super::*;
use std::sync::Arc;
use trimproof_harness::judge::{Judgement, judge};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::Case;
use trimproof_harness::trace::Trace;

fn run(name: &str, text: &str) -> (Case, Trace, Vec<Judgement>) {
    let rig = RigFile::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let scenario = Scenario {
        name: name.to_owned(),
        ..Scenario::parse(text).unwrap()
    };
    let trace = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true).trace;
    let judgements = judge(&rig, &scenario, &trace);
    let case = Case {
        name: name.to_owned(),
        rig_name: rig.name.clone(),
        file: format!("{name}.toml").into(),
        scenario: Arc::new(scenario),
        rig: Arc::new(rig),
        lines: Arc::default(),
        warnings: Vec::new(),
        laws: Arc::default(),
    };
    (case, trace, judgements)
}

macro_rules! shipped {
    ($name:literal) => {
        run(
            $name,
            include_str!(concat!("../../../../scenarios/", $name, ".toml")),
        )
    };
}

fn whole((case, trace, judgements): &(Case, Trace, Vec<Judgement>)) -> String {
    let svg = overview(case, trace, judgements).unwrap();
    assert_legible(&case.name, &svg);
    svg
}

fn shows(svg: &str, present: &[&str], absent: &[&str]) {
    for text in present {
        assert!(svg.contains(text), "`{text}` is missing");
    }
    for text in absent {
        assert!(!svg.contains(text), "`{text}` is there");
    }
}

/// Nothing moves by more than a hair and nobody touches the stick: the angles are there all the
/// same, and one line says that there is no force.
#[test]
fn a_run_in_which_nothing_moves_has_its_angles_and_no_empty_panel() {
    let svg = whole(&shipped!("power-up-from-centre"));
    shows(
        &svg,
        &[
            "angle, deg",
            "pitch.stick_deg",
            "roll.stick_deg",
            "no force: ",
        ],
        &["force, N", "voltage, V", "contact"],
    );
    // A resting angle does not fill its panel with the last digit of the sensor: half a degree each
    // way at least, about 0.
    shows(&svg, &["0.0"], &["0.05"]);
}

#[test]
fn supply_and_faults_are_drawn_where_they_matter() {
    let svg = whole(&shipped!("supply-dip-deep"));
    shows(
        &svg,
        &[
            "voltage, V",
            "supply_v",
            "fault.supply_low",
            "pitch.stick_deg",
            "no force: ",
        ],
        &["force, N", "fault.hat_stuck"],
    );
}

#[test]
fn the_estimated_angle_stands_beside_the_true_one_where_they_differ() {
    let svg = whole(&shipped!("sensor-short"));
    shows(
        &svg,
        &["estimated_deg", "stick_deg", "fault.sensor_range"],
        &[],
    );
}

/// Every expectation of a run: an angle, the colour of the window, the worst instant on top; the
/// guard wherever there is an implication.
#[test]
fn every_expectation_shows_an_angle_and_where_it_is_put_to_the_test() {
    for run in [
        shipped!("release-tapped"),
        shipped!("sensor-open"),
        shipped!("supply-dip-deep"),
    ] {
        let (case, trace, judgements) = &run;
        assert!(judgements.len() > 8);
        for judgement in judgements {
            let svg = expectation(case, trace, judgement).unwrap();
            let name = format!("{}: {}", case.name, judgement.name);
            assert_legible(&name, &svg);
            assert!(svg.contains("_deg"), "{name}: no angle");
            assert_eq!(
                judgement.formula.contains("implies"),
                svg.contains("put to the test where"),
                "{name}: {}",
                judgement.formula
            );
            assert!(svg.contains("worst instant, "), "{name}");
        }
    }
}

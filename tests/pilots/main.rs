//! Random pilots on every rig keep the laws of `scenarios/laws.toml`.
//!
//! A normal run flies a few seeds; `cargo test --test pilots -- --ignored` flies 500. A pilot that
//! breaks a law is made as short as still breaks it and printed as a scenario file, which
//! `trimproof prove FILE` runs to the same trace. `TRIMPROOF_PILOTS=FIRST..END` chooses the seeds
//! of the long run, and `TRIMPROOF_PILOTS_DIR=DIR` has it write them as files instead, for a
//! program with a bug in it.

mod generate;

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use trimproof_harness::laws::LawFile;
use trimproof_harness::run::{LogicTarget, Target};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::{Case, End, Outcome, Plan, load_rig, rigs_in, run_suite};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios")
}

/// The case of a seed, read back from the text of its file: what a user would run.
fn case(seed: u64, rig_name: &str) -> Case {
    let rig = load_rig(&folder().join(format!("rigs/{rig_name}.toml"))).expect("a shipped rig");
    let text = std::fs::read_to_string(folder().join("laws.toml")).expect("the laws are there");
    let laws = LawFile::parse(&text)
        .and_then(|file| file.read_for(&rig, &text))
        .expect("the laws can be read");
    let made = generate::scenario(&rig, seed);
    read_back(&Case {
        name: format!("{}-{rig_name}", made.name),
        rig_name: rig_name.to_owned(),
        file: format!("{}.toml", made.name).into(),
        scenario: Arc::new(made),
        rig: Arc::new(rig),
        laws: Arc::new(laws),
        lines: Arc::default(),
        warnings: Vec::new(),
    })
    .unwrap_or_else(|| panic!("seed {seed} on {rig_name} makes no legal scenario"))
}

/// The case from its scenario's file; `None` if that is not legal.
fn read_back(case: &Case) -> Option<Case> {
    let text = case.scenario.to_toml();
    match Scenario::parse(&text) {
        Ok(scenario) => Some(Case {
            scenario: Arc::new(Scenario {
                name: case.name.clone(),
                ..scenario
            }),
            ..case.clone()
        }),
        Err(error) => {
            eprintln!("{error}: {text}");
            None
        }
    }
}

fn fly(cases: &[Case]) -> Vec<Outcome> {
    let target = || -> Box<dyn Target> { Box::new(LogicTarget::new()) };
    let plan = Plan {
        cards: false,
        accuracy: false,
        threads: std::thread::available_parallelism().expect("there is a processor"),
        keep: None,
        target: &target,
        draw: None,
        stop: &AtomicBool::new(false),
    };
    run_suite(cases, &plan, &mut |_, _| {})
}

/// Names of the laws that a run breaks.
fn broken(outcome: &Outcome) -> Vec<&str> {
    let broken = outcome.laws.iter().filter(|law| law.fails());
    broken.map(|law| law.name.as_str()).collect()
}

/// The same pilot with every event taken away that the broken law does not need.
fn shortened(case: &Case, law: &str) -> Case {
    let mut case = case.clone();
    let mut index = 0;
    while index < case.scenario.events.len() {
        let mut scenario = (*case.scenario).clone();
        scenario.events.remove(index);
        let shorter = read_back(&Case {
            scenario: Arc::new(scenario),
            ..case.clone()
        });
        match shorter {
            Some(shorter) if broken(&fly(std::slice::from_ref(&shorter))[0]).contains(&law) => {
                case = shorter;
            }
            _ => index += 1,
        }
    }
    case
}

fn every_law_is_kept(seeds: Range<u64>) {
    let rigs = rigs_in(&folder().join("rigs"));
    assert!(rigs.len() >= 2, "{rigs:?}");
    let cases: Vec<Case> = seeds
        .flat_map(|seed| rigs.iter().map(move |rig| case(seed, rig)))
        .collect();
    let mut report = String::new();
    let mut failed = 0;
    for (case, outcome) in cases.iter().zip(fly(&cases)) {
        assert_eq!(outcome.end, End::Complete, "{}", case.label());
        assert!(!outcome.laws.is_empty());
        let Some(first) = broken(&outcome).first().map(|name| (*name).to_owned()) else {
            continue;
        };
        failed += 1;
        report += &format!("\n# {} breaks {:?}\n", case.label(), broken(&outcome));
        if failed <= 5 {
            let law = outcome.laws.iter().find(|law| law.name == first);
            report += &format!("# {law:?}\n");
            report += &shortened(case, &first).scenario.to_toml();
        }
    }
    assert!(failed == 0, "{failed} of {} pilots:\n{report}", cases.len());
}

#[test]
fn a_few_random_pilots_keep_every_law() {
    every_law_is_kept(1..16);
}

#[test]
#[ignore = "a minute; `cargo test --test pilots -- --ignored`"]
fn five_hundred_random_pilots_keep_every_law() {
    let seeds = match std::env::var("TRIMPROOF_PILOTS") {
        Ok(text) => {
            let (first, end) = text.split_once("..").expect("FIRST..END");
            first.parse().expect("a seed")..end.parse().expect("a seed")
        }
        Err(_) => 1..501,
    };
    if let Ok(folder) = std::env::var("TRIMPROOF_PILOTS_DIR") {
        for seed in seeds {
            for rig in rigs_in(&self::folder().join("rigs")) {
                let case = case(seed, &rig);
                let file = Path::new(&folder).join(format!("{}.toml", case.name));
                std::fs::write(file, case.scenario.to_toml()).expect("the folder can be written");
            }
        }
        return;
    }
    every_law_is_kept(seeds);
}

/// Pilots differ, and together they do everything that a scenario may do to a sound rig.
#[test]
fn pilots_do_everything() {
    let rig = load_rig(&folder().join("rigs/kittiwake.toml")).expect("a shipped rig");
    let all: Vec<Scenario> = (1..60).map(|seed| generate::scenario(&rig, seed)).collect();
    let text: String = all.iter().map(Scenario::to_toml).collect();
    for what in [
        "grip",
        "carry",
        "let_go_stick",
        "push",
        "hold",
        "force_trim",
        "supply",
        "dip",
        "fault",
    ] {
        assert!(text.contains(&format!("what = \"{what}\"")), "{what}");
    }
    for kind in [
        "sensor_open",
        "sensor_short",
        "sensor_stuck",
        "sensor_jump",
        "controller_reset",
        "link_loss",
        "link_corruption",
    ] {
        assert!(text.contains(&format!("kind = \"{kind}\"")), "{kind}");
    }
    for switch in ["release", "hat_fore", "hat_aft", "hat_left", "hat_right"] {
        assert!(text.contains(&format!("switch = \"{switch}\"")), "{switch}");
    }
    assert_eq!(generate::scenario(&rig, 7), generate::scenario(&rig, 7));
    assert_ne!(
        generate::scenario(&rig, 7).events,
        generate::scenario(&rig, 8).events
    );
}

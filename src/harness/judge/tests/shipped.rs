//! The verdicts on shipped runs, expectations and laws, against those of the whole trace at once.

use std::path::{Path, PathBuf};

use crate::judge::names_for;
use crate::laws;
use crate::run::{LogicTarget, run_scenario};
use crate::suite::{Case, load};
use trimproof_formula::{Formula, judge_whole, whole};

/// Longest run of the ordinary test, s.
const SHORT_S: f64 = 12.0;

/// Every shipped case, those of minutes too.
fn shipped() -> Vec<Case> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios");
    let mut cases = Vec::new();
    for folder in [folder.clone(), folder.join("long")] {
        let entries = std::fs::read_dir(folder).expect("a folder of scenarios");
        let mut files: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
        files.retain(|file| {
            file.extension()
                .is_some_and(|extension| extension == "toml")
                && file.file_name() != Some(laws::FILE_NAME.as_ref())
        });
        files.sort();
        cases.extend(load(&files, None).unwrap_or_else(|problems| panic!("{problems:?}")));
    }
    cases
}

/// Runs a case with another seed, so that here and there something breaks, and holds the verdicts
/// to the reference; gives how many expectations and laws broke.
fn check(case: &Case, seed: u64) -> (usize, usize) {
    let mut scenario = (*case.scenario).clone();
    scenario.seed += seed;
    let run = run_scenario(&case.rig, &scenario, &mut LogicTarget::new(), &mut |_| true);
    let names = names_for(&case.rig, scenario.length_s);
    let expectations: Vec<Formula> = scenario
        .expectations_for(&case.rig_name)
        .map(|(_, expectation)| Formula::parse(&expectation.formula, &names).unwrap())
        .collect();
    let laws: Vec<&Formula> = case.laws.formulas().collect();
    let found = judge_whole(&expectations, laws.iter().copied(), &run.trace).unwrap();
    let label = format!("{} on {}, seed + {seed}", case.name, case.rig_name);
    for (formula, margin) in expectations.iter().zip(&found.margins) {
        assert_eq!(*margin, whole::margin(formula, &run.trace), "{label}");
    }
    for (law, broken) in laws.iter().zip(&found.breaks) {
        assert_eq!(*broken, whole::first_broken(law, &run.trace), "{label}");
    }
    assert_eq!(found.margins.len(), expectations.len());
    assert_eq!(found.breaks.len(), laws.len());
    (
        found.margins.iter().filter(|margin| !margin.held).count(),
        found.breaks.iter().flatten().count(),
    )
}

#[test]
fn shipped_runs_are_judged_as_the_whole_trace_says() {
    let cases = shipped();
    let short = cases
        .iter()
        .filter(|case| case.scenario.length_s <= SHORT_S);
    let mut broken = 0;
    for case in short.step_by(6) {
        broken += check(case, 0).1;
    }
    // Those on purpose, with exceptions.
    assert!(broken > 0, "no law is broken in these runs");
}

#[test]
#[ignore = "minutes: every shipped run"]
fn all_shipped_runs_are_judged_as_the_whole_trace_says() {
    for case in &shipped() {
        check(case, 0);
        if case.scenario.length_s <= SHORT_S {
            check(case, 3);
        }
    }
}

//! A controller that reports nothing about itself: it is our own, gagged.
//!
//! The law behind it: what a controller does not say changes nothing of what the twin sees. So
//! every expectation and law that can be judged without telemetry has the very verdict and margin
//! that it has with telemetry, and all others are `not judged`, never passed.

mod shipped;

use shipped::shipped;
use std::num::NonZeroUsize;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use trimproof_harness::judge::Verdict;
use trimproof_harness::junit;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, Target, TargetError, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::{Case, Outcome, Picture, Plan, run_suite};
use trimproof_io::{Inputs, Outputs, Reports, Telemetry};
use trimproof_report::{page, picture};

/// Our controller, its telemetry withheld.
#[derive(Default)]
struct Silent(LogicTarget);

impl Target for Silent {
    fn identity(&self) -> String {
        "silent 1.0".to_owned()
    }

    fn reports(&self) -> Reports {
        Reports::NONE
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.0.begin(rig)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        let outputs = self.0.tick(inputs)?;
        Ok(Outputs {
            telemetry: Telemetry::default(),
            ..outputs
        })
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.0.reset()
    }
}

fn silent() -> Box<dyn Target> {
    Box::new(Silent::default())
}

fn talking() -> Box<dyn Target> {
    Box::new(LogicTarget::new())
}

fn run(cases: &[Case], target: fn() -> Box<dyn Target>) -> Vec<Outcome> {
    let draw = |case: &Case, trace: &_, judgements: &[_]| {
        let svg = picture::overview(case, trace, judgements);
        let whole = Picture {
            of: None,
            svg: svg.map_err(|error| error.to_string()),
        };
        vec![whole]
    };
    let plan = Plan {
        cards: true,
        threads: NonZeroUsize::MIN.saturating_add(1),
        keep: None,
        target: &target,
        draw: Some(&draw),
        accuracy: false,
        stop: &AtomicBool::new(false),
    };
    run_suite(cases, &plan, &mut |_, _| {})
}

/// Every twelfth shipped case: all rigs, all kinds of events.
fn some() -> Vec<Case> {
    shipped().into_iter().step_by(12).collect()
}

#[test]
fn what_can_be_judged_has_the_same_margin_and_the_rest_is_not_judged() {
    let cases = some();
    assert!(cases.len() > 20, "{} cases", cases.len());
    let (mut judged, mut withheld) = (0, 0);
    for (full, less) in run(&cases, talking).iter().zip(run(&cases, silent)) {
        let pairs = full.judgements.iter().zip(&less.judgements);
        for (known, found) in pairs {
            if found.verdict == Verdict::NotJudged {
                assert!(
                    !found.missing.is_empty(),
                    "{}: {}",
                    less.label(),
                    found.name
                );
                assert!(
                    found
                        .missing
                        .iter()
                        .all(|name| found.formula.contains(name))
                );
                withheld += 1;
            } else {
                assert_eq!(known, found, "{}", less.label());
                judged += 1;
            }
        }
        for (known, found) in full.laws.iter().zip(&less.laws) {
            assert!(
                found.verdict() == Verdict::NotJudged || known == found,
                "{}: {}",
                less.label(),
                found.name
            );
        }
        assert!(less.passes(), "{}", less.label());
    }
    // Both kinds are there, or the test would say nothing.
    assert!(
        judged > 30 && withheld > 30,
        "{judged} judged, {withheld} not"
    );
}

#[test]
fn a_trace_without_telemetry_has_no_columns_of_it() {
    let case = shipped().swap_remove(0);
    let trace = |target: &mut dyn Target| {
        run_scenario(&case.rig, &case.scenario, target, &mut |_| true).trace
    };
    let (full, less) = (
        trace(&mut LogicTarget::new()),
        trace(&mut Silent::default()),
    );
    let missing: Vec<&str> = full
        .columns()
        .map(|info| &*info.name)
        .filter(|name| less.column(name).is_none())
        .collect();
    // State, ten faults; reference, drive, estimated angle and joystick of both axes.
    assert_eq!(missing.len(), 1 + 10 + 2 * 4, "{missing:?}");
    for name in [
        "state",
        "fault.sensor_range",
        "roll.reference_deg",
        "pitch.joystick",
    ] {
        assert!(missing.contains(&name), "{name}");
    }
    for info in less.columns() {
        assert_eq!(less.numbers(&info.name), full.numbers(&info.name));
    }
    // Files and comparisons cope.
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["a.csv", "a.mcap"] {
        let file = folder.path().join(name);
        less.write(&file).expect("it can be written");
        let back = trimproof_harness::trace::Trace::read(&file).expect("it can be read");
        assert_eq!(back, less, "{name}");
    }
    let comparison = trimproof_harness::compare::compare(&less, &full);
    assert_eq!(comparison.only_right.len(), missing.len());
    assert!(comparison.first.is_none(), "what both have agrees");
}

#[test]
fn cards_reports_pages_and_pictures_say_what_is_not_judged() {
    let cases = some();
    let outcomes = run(&cases, silent);
    for outcome in &outcomes {
        let card = outcome.card.as_deref().expect("it is complete");
        let held_back = outcome.not_judged_count() > 0;
        assert_eq!(card.contains("not judged"), held_back, "{card}");
        let svg = outcome.pictures[0].svg.as_ref();
        assert!(svg.is_ok_and(|svg| !svg.contains(">state<")), "{svg:?}");
    }
    let not_judged: usize = outcomes.iter().map(Outcome::not_judged_count).sum();
    let report = junit::render(&cases, &outcomes, None, None);
    assert_eq!(report.matches("<skipped").count(), not_judged);
    assert!(report.contains("not judged: this run does not have `state`"));
    let page = page::prove(&cases, &outcomes, "silent 1.0", "0", None);
    assert!(page.contains(&format!("{not_judged} are not judged")));
}

/// A run of which nothing can be judged proves nothing: it does not pass.
#[test]
fn a_run_of_which_nothing_is_judged_does_not_pass() {
    let mut case = shipped().swap_remove(0);
    case.laws = Arc::default();
    let scenario = Scenario::parse(
        "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 0.1\n\
         [[expect]]\nname = \"e\"\nformula = \"always(state is limp)\"\n",
    );
    case.scenario = Arc::new(scenario.expect("it is valid"));
    let cases = [case];
    let outcome = run(&cases, silent).swap_remove(0);
    assert_eq!(outcome.verdict(), Some(Verdict::NotJudged));
    assert!(!outcome.passes());
    let report = junit::render(&cases, &[outcome], None, None);
    assert!(report.contains("type=\"not-judged\""), "{report}");
    assert!(run(&cases, talking)[0].passes());
}

/// A rig without `[controller]`: what speaks of its settings is not judged, the rest is as ever.
#[test]
fn without_settings_what_speaks_of_them_is_not_judged() {
    let text = include_str!("../scenarios/rigs/kittiwake.toml");
    let bare = text.split("[controller]").next().unwrap_or_default();
    let rig = Arc::new(RigFile::parse(bare).expect("its mechanics are whole"));

    /// Asks for nothing, ever.
    struct Idle;
    impl Target for Idle {
        fn identity(&self) -> String {
            "idle".to_owned()
        }
        fn reports(&self) -> Reports {
            Reports::NONE
        }
        fn begin(&mut self, _rig: &RigFile) -> Result<(), TargetError> {
            Ok(())
        }
        fn tick(&mut self, _inputs: &Inputs) -> Result<Outputs, TargetError> {
            Ok(Outputs::default())
        }
        fn reset(&mut self) -> Result<(), TargetError> {
            Ok(())
        }
    }

    let mut cases: Vec<Case> = some();
    cases.retain(|case| case.rig_name == "kittiwake");
    for case in &mut cases {
        case.rig = rig.clone();
    }
    let outcomes = run(&cases, || Box::new(Idle));
    let settings = |name: &String| name.starts_with("rig.");
    let spoke = outcomes
        .iter()
        .flat_map(|outcome| &outcome.judgements)
        .filter(|judgement| judgement.missing.iter().any(settings));
    assert!(spoke.count() > 0);
    // Our controller needs its settings, and says so.
    let run = run_scenario(
        &rig,
        &cases[0].scenario,
        &mut LogicTarget::new(),
        &mut |_| true,
    );
    let cut = run.end.cut().expect("it cannot run").to_string();
    assert!(cut.contains("has no `[controller]`"), "{cut}");
}

//! The runner against controllers that fail.

use super::*;
use crate::judge::{Judgement, Verdict};
use crate::junit;
use crate::rig::RigFile;
use crate::run::{LogicTarget, Target, TargetError};
use crate::scenario::Scenario;
use crate::trace::Trace;
use std::num::NonZeroUsize;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use trimproof_formula::Tested;
use trimproof_io::{Inputs, Outputs};

const TICKS_UNTIL_IT_FAILS: u32 = 50;

/// A controller that answers for a while.
struct Failing(LogicTarget, fn() -> TargetError);

impl Target for Failing {
    fn identity(&self) -> String {
        self.0.identity()
    }
    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.0.begin(rig)
    }
    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        if inputs.tick == TICKS_UNTIL_IT_FAILS {
            Err(self.1())
        } else {
            self.0.tick(inputs)
        }
    }
    fn reset(&mut self) -> Result<(), TargetError> {
        self.0.reset()
    }
}

fn cases(lengths_s: &[f64]) -> Vec<Case> {
    let rig = Arc::new(
        RigFile::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap(),
    );
    let case = |(index, length_s): (usize, &f64)| {
        let text = format!(
            "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = {length_s:?}\n\
             [[expect]]\nname = \"e\"\nformula = \"always (pitch.stick_deg < 90.0)\"\n"
        );
        let name = format!("case-{index}");
        Case {
            name: name.clone(),
            rig_name: "kittiwake".to_owned(),
            file: format!("{name}.toml").into(),
            scenario: Arc::new(Scenario {
                name,
                ..Scenario::parse(&text).unwrap()
            }),
            rig: Arc::clone(&rig),
            lines: Arc::default(),
            warnings: Vec::new(),
            laws: Arc::default(),
        }
    };
    lengths_s.iter().enumerate().map(case).collect()
}

fn run(
    cases: &[Case],
    threads: usize,
    target: &(dyn Fn() -> Box<dyn Target> + Sync),
    stop: bool,
) -> Vec<Outcome> {
    let stop = AtomicBool::new(stop);
    let plan = Plan {
        cards: true,
        threads: NonZeroUsize::new(threads).unwrap(),
        keep: None,
        target,
        draw: None,
        accuracy: false,
        stop: &stop,
    };
    run_suite(cases, &plan, &mut |_, _| {})
}

fn good() -> Box<dyn Target> {
    Box::new(LogicTarget::new())
}

/// Hash and verdicts are made while the run goes on; they are those of its trace, whether it is
/// kept or not.
#[test]
fn a_run_without_a_trace_is_judged_like_its_trace() {
    // Three blocks and some rows.
    let mut case = cases(&[3.2]).remove(0);
    let mut scenario = (*case.scenario).clone();
    for (index, formula) in [
        "eventually(always[0, end](state is holding or state is centring))",
        "always(rises(pitch.drive_on) implies eventually[0, 1](historically[0, 0.5](pitch.drive_on)))",
        "always[0, 2](not pitch.drive_on until[0.1, 1.2] supply_v > 20)",
        "always(pitch.stick_deg < 0)",
    ]
    .into_iter()
    .enumerate()
    {
        let mut expectation = scenario.expect[0].clone();
        expectation.name = index.to_string();
        expectation.formula = formula.to_owned();
        scenario.expect.push(expectation);
    }
    case.scenario = Arc::new(scenario);
    let laws = "[[law]]\nname = \"holds\"\nformula = \"time_s >= 0\"\nbecause = \"b\"\n\
                [[law]]\nname = \"breaks in the third block\"\nformula = \"once[0, 2.4](time_s <= 0)\"\nbecause = \"b\"\n";
    let laws = crate::laws::LawFile::parse(laws)
        .unwrap()
        .read_for(&case.rig, laws)
        .unwrap();
    case.laws = Arc::new(laws);
    let stop = AtomicBool::new(false);
    let of = |cards| {
        let plan = Plan {
            cards,
            threads: NonZeroUsize::MIN,
            keep: None,
            target: &|| Box::new(LogicTarget::new()),
            draw: None,
            accuracy: false,
            stop: &stop,
        };
        run_suite(std::slice::from_ref(&case), &plan, &mut |_, _| {}).remove(0)
    };
    let run = crate::run::run_scenario(
        &case.rig,
        &case.scenario,
        &mut LogicTarget::new(),
        &mut |_| true,
    );
    let judgements = crate::judge::judge(&case.rig, &case.scenario, &run.trace);
    let laws = crate::laws::judge_laws(&case.laws, &case.scenario, &case.rig, &run.trace);
    assert!(laws[0].broken.is_none());
    assert_eq!(laws[1].broken.as_ref().unwrap().at_s, 1201.0 * 0.002);
    for cards in [false, true] {
        let outcome = of(cards);
        assert_eq!(outcome.card.is_some(), cards);
        assert_eq!(outcome.hash, Some(run.trace.hash()));
        assert_eq!(outcome.simulated_s, 3.2);
        assert_eq!(outcome.judgements, judgements);
        assert_eq!(outcome.laws, laws);
    }
    let held: Vec<bool> = judgements
        .iter()
        .map(|judgement| judgement.passes())
        .collect();
    assert!(held.contains(&true) && held.contains(&false), "{held:?}");
}

#[test]
fn outcomes_come_in_the_order_of_the_cases_whatever_the_threads() {
    let cases = cases(&[0.05, 0.3, 0.1, 0.2]);
    let seen = |threads| {
        let outcomes = run(&cases, threads, &good, false);
        outcomes
            .iter()
            .map(|o| (o.label(), o.hash.clone(), o.card.clone(), o.passes()))
            .collect::<Vec<_>>()
    };
    let one = seen(1);
    assert_eq!(
        one.iter().map(|seen| seen.0.as_str()).collect::<Vec<_>>(),
        [
            "case-0@kittiwake",
            "case-1@kittiwake",
            "case-2@kittiwake",
            "case-3@kittiwake"
        ]
    );
    assert!(one.iter().all(|seen| seen.3));
    assert_eq!(one, seen(2));
    assert_eq!(one, seen(9));
}

#[test]
fn progress_adds_up_to_the_simulated_time() {
    let cases = cases(&[0.05, 0.6]);
    let stop = AtomicBool::new(false);
    let plan = Plan {
        cards: true,
        threads: NonZeroUsize::MIN,
        keep: None,
        target: &good,
        draw: None,
        accuracy: false,
        stop: &stop,
    };
    let (mut seconds, mut ended) = (0.0, 0);
    run_suite(&cases, &plan, &mut |ran_s, outcome| {
        seconds += ran_s;
        ended += usize::from(outcome.is_some());
    });
    assert!((seconds - 0.65).abs() < 1e-9, "{seconds}");
    assert_eq!(ended, 2);
}

#[test]
fn a_controller_that_fails_leaves_its_trace_so_far() {
    let folder = tempfile::tempdir().unwrap();
    let target =
        || -> Box<dyn Target> { Box::new(Failing(LogicTarget::new(), || TargetError::NotBegun)) };
    let stop = AtomicBool::new(false);
    let extensions: &[&str] = &["csv"];
    let keep = Some((folder.path(), extensions));
    let plan = Plan {
        cards: true,
        threads: NonZeroUsize::MIN,
        keep,
        target: &target,
        draw: None,
        accuracy: false,
        stop: &stop,
    };
    let outcomes = run_suite(&cases(&[1.0]), &plan, &mut |_, _| {});
    let outcome = &outcomes[0];
    let End::Cut(reason) = &outcome.end else {
        panic!("{:?}", outcome.end)
    };
    assert_eq!(reason, "tick 50: the controller was not started");
    assert!(!outcome.passes() && outcome.judgements.is_empty() && outcome.card.is_none());
    let trace = Trace::read(&outcome.kept[0]).unwrap();
    assert_eq!(trace.rows(), 50);
    assert_eq!(trace.about.notes.get("cut"), Some(reason));
    let xml = junit::render(&cases(&[1.0]), &outcomes, None, None);
    // The expectation that was not judged, and the run that did not end.
    for part in [
        "tests=\"2\"",
        "errors=\"1\"",
        "skipped=\"1\"",
        "type=\"aborted\"",
    ] {
        assert!(xml.contains(part), "`{part}` is missing in:\n{xml}");
    }
}

#[test]
fn a_folder_that_is_gone_is_noted_and_the_verdict_stands() {
    let folder = tempfile::tempdir().unwrap();
    let gone = folder.path().join("gone");
    let stop = AtomicBool::new(false);
    let keep: Option<(&std::path::Path, &[&str])> = Some((&gone, &["csv"]));
    let plan = Plan {
        cards: true,
        threads: NonZeroUsize::MIN,
        keep,
        target: &good,
        draw: None,
        accuracy: false,
        stop: &stop,
    };
    let outcomes = run_suite(&cases(&[0.05]), &plan, &mut |_, _| {});
    assert!(outcomes[0].passes());
    assert!(
        outcomes[0]
            .write_error
            .as_ref()
            .is_some_and(crate::trace::TraceError::is_write)
    );
}

#[test]
fn nothing_begins_after_a_stop() {
    let outcomes = run(&cases(&[0.05, 0.05]), 2, &good, true);
    assert!(
        outcomes
            .iter()
            .all(|outcome| outcome.end == End::NotRun && outcome.hash.is_none())
    );
}

#[test]
fn a_stop_in_mid_run_cuts_at_the_tick() {
    static STOP: AtomicBool = AtomicBool::new(false);
    // The controller itself asks for the stop: at a known tick.
    let target = || -> Box<dyn Target> { Box::new(Stopping(LogicTarget::new())) };
    struct Stopping(LogicTarget);
    impl Target for Stopping {
        fn identity(&self) -> String {
            self.0.identity()
        }
        fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
            self.0.begin(rig)
        }
        fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
            STOP.store(inputs.tick >= 100, Ordering::Relaxed);
            self.0.tick(inputs)
        }
        fn reset(&mut self) -> Result<(), TargetError> {
            self.0.reset()
        }
    }
    let plan = Plan {
        cards: true,
        threads: NonZeroUsize::MIN,
        keep: None,
        target: &target,
        draw: None,
        accuracy: false,
        stop: &STOP,
    };
    let outcomes = run_suite(&cases(&[1.0]), &plan, &mut |_, _| {});
    assert_eq!(outcomes[0].end, End::Stopped);
    // Row 100 is the last: 100 ticks of 2 ms after the first.
    assert!(
        (outcomes[0].simulated_s - 0.2).abs() < 1e-9,
        "{}",
        outcomes[0].simulated_s
    );
}

/// Closest to its limit, not smallest as a number; equalities only where there is nothing else.
#[test]
fn the_tightest_is_the_smallest_share_and_equalities_come_after() {
    let judgement = |name: &str, held, margin, share, equality| Judgement {
        name: name.to_owned(),
        formula: String::new(),
        because: None,
        verdict: if held { Verdict::Pass } else { Verdict::Fail },
        missing: Vec::new(),
        margin,
        unit: "deg".to_owned(),
        at_s: 0.0,
        decided_by: String::new(),
        undefined: false,
        share,
        equality,
        tested: Tested::Yes,
    };
    let all = [
        judgement("by nothing", true, 1e-9, None, false),
        judgement("equal", true, 0.001, Some(1.0), true),
        judgement("less equal", true, 0.0005, Some(0.5), true),
        judgement("far", true, 0.01, Some(0.8), false),
        judgement("close", true, 3.0, Some(0.7), false),
        judgement("yes", true, f64::INFINITY, None, false),
        judgement("off", false, -0.1, Some(-0.01), false),
        judgement("far off", false, -0.001, Some(-1.0), true),
        judgement("no", false, f64::NEG_INFINITY, None, false),
    ];
    let mut outcome = Outcome::not_run(&cases(&[1.0])[0]);
    outcome.end = End::Complete;
    let mut shown = Vec::new();
    // From the last on, the one that is shown is taken away.
    outcome.judgements = all.to_vec();
    while let Some(first) = outcome.shown().map(|shown| shown.name.clone()) {
        outcome.judgements.retain(|other| other.name != first);
        shown.push(first);
    }
    assert_eq!(
        shown,
        [
            "no",
            "far off",
            "off",
            "close",
            "far",
            "less equal",
            "equal",
            "by nothing"
        ]
    );
    assert_eq!(
        outcome.judgements.len(),
        1,
        "what is only held or not has no margin"
    );
}

#[test]
fn a_panic_of_a_worker_is_passed_on() {
    let target = || -> Box<dyn Target> {
        Box::new(Failing(LogicTarget::new(), || panic!("made for this test")))
    };
    let ended = std::panic::catch_unwind(|| run(&cases(&[1.0, 0.05]), 2, &target, false));
    let payload = ended.expect_err("the panic was swallowed");
    assert_eq!(payload.downcast_ref::<&str>(), Some(&"made for this test"));
}

#[test]
fn complete_runs_are_drawn_while_their_trace_is_at_hand_and_no_others() {
    let cases = cases(&[0.05, 0.1]);
    let draw = |case: &Case, trace: &Trace, judgements: &[Judgement]| {
        vec![Picture {
            of: judgements.len().checked_sub(1),
            svg: Ok(format!("{} {}", case.name, trace.rows())),
        }]
    };
    let stop = AtomicBool::new(false);
    let plan = |stop| Plan {
        accuracy: false,
        cards: true,
        threads: NonZeroUsize::new(2).unwrap(),
        keep: None,
        target: &good,
        draw: Some(&draw),
        stop,
    };
    let outcomes = run_suite(&cases, &plan(&stop), &mut |_, _| {});
    for (outcome, case) in outcomes.iter().zip(&cases) {
        let rows = (case.scenario.length_s / case.rig.tick_s()).round() as usize + 1;
        let [picture] = outcome.pictures.as_slice() else {
            panic!("{:?}", outcome.pictures)
        };
        assert_eq!(picture.of, outcome.judgements.len().checked_sub(1));
        assert_eq!(picture.svg, Ok(format!("{} {rows}", case.name)));
    }
    let stopped = AtomicBool::new(true);
    let outcomes = run_suite(&cases, &plan(&stopped), &mut |_, _| {});
    assert!(outcomes.iter().all(|outcome| outcome.pictures.is_empty()));
}

/// A user's folder with a rig, a scenario and, if given, laws.
fn folder_of(laws: Option<&str>, except: &str) -> (tempfile::TempDir, std::path::PathBuf) {
    let root = tempfile::tempdir().unwrap();
    std::fs::create_dir(root.path().join("rigs")).unwrap();
    let rig = include_str!("../../../../scenarios/rigs/kittiwake.toml");
    std::fs::write(root.path().join("rigs/kittiwake.toml"), rig).unwrap();
    let file = root.path().join("x.toml");
    let text = format!(
        "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 0.1\n\
         [[expect]]\nname = \"e\"\nformula = \"always(time_s >= 0)\"\n{except}"
    );
    std::fs::write(&file, text).unwrap();
    if let Some(laws) = laws {
        std::fs::write(root.path().join("laws.toml"), laws).unwrap();
    }
    (root, file)
}

const A_LAW: &str = "[[law]]\nname = \"n\"\nformula = \"axis.stick_deg < -1\"\nbecause = \"b\"\n";

#[test]
fn a_folder_without_laws_is_judged_by_none_and_one_with_laws_by_them() {
    let (_root, file) = folder_of(None, "");
    let cases = load(std::slice::from_ref(&file), None).unwrap();
    let outcome = &run(&cases, 1, &good, false)[0];
    assert!(outcome.passes() && outcome.laws.is_empty());
    let (_root, file) = folder_of(Some(A_LAW), "");
    let cases = load(std::slice::from_ref(&file), None).unwrap();
    let outcome = &run(&cases, 1, &good, false)[0];
    assert!(!outcome.passes() && outcome.passed_count() == 1);
    assert_eq!((outcome.laws.len(), outcome.laws_passed()), (2, 0));
    let card = outcome.card.as_ref().unwrap();
    assert!(
        card.contains("laws: 0 of 2 pass") && card.contains("n: roll"),
        "{card}"
    );
    let xml = junit::render(&cases, std::slice::from_ref(outcome), None, None);
    assert!(
        xml.contains("law: n: pitch") && xml.contains("failures=\"2\""),
        "{xml}"
    );
}

#[test]
fn an_exception_names_a_law_that_there_is() {
    let except = |law: &str| format!("[[except]]\nlaw = \"{law}\"\nbecause = \"b\"\n");
    let problem = |laws: Option<&str>, law: &str| {
        let (_root, file) = folder_of(laws, &except(law));
        let problems = load(std::slice::from_ref(&file), None).unwrap_err();
        assert_eq!(problems.len(), 1);
        (
            problems[0].error.message.clone(),
            problems[0].error.help.clone().unwrap(),
        )
    };
    let (message, help) = problem(Some(A_LAW), "n: rol");
    assert_eq!(message, "there is no law `n: rol`");
    assert_eq!(help, "did you mean `n: roll`?");
    assert!(problem(None, "n: roll").1.contains("no `laws.toml` stands"));
    let (_root, file) = folder_of(Some(A_LAW), &(except("n: roll") + &except("n: pitch")));
    assert!(run(&load(&[file], None).unwrap(), 1, &good, false)[0].passes());
    let bad = A_LAW.replace("stick_deg", "stick_dge");
    let (root, file) = folder_of(Some(&bad), "");
    let problems = load(&[file], None).unwrap_err();
    assert_eq!(problems.len(), 1);
    assert_eq!(problems[0].file, root.path().join("laws.toml"));
}

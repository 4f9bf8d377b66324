//! Tables and reports of the commands with names that mean harm: no control character, no line too
//! many.

use crate::args::{Cli, CliCommand, ProveArgs};
use crate::board::TargetSource;
use crate::commands;
use crate::output::Paint;
use clap::Parser;
use std::collections::VecDeque;
use std::io;
use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;
use trimproof_board::{Board, BoardAbout};
use trimproof_controller::Settings;
use trimproof_diagnostics::{hostile_text, is_invisible};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::LogicTarget;
use trimproof_harness::scenario::Scenario;
use trimproof_harness::suite::{Case, End, Outcome, Plan, run_suite};
use trimproof_link::{Candidate, Line, Link, NoPins, On, Patience, check};

/// Texts that go through each report.
const TEXTS: u64 = 10_000;

const PLAIN: Paint = Paint {
    out: false,
    err: false,
};

/// Nothing but line feeds is hidden in a text, and it has so many lines.
fn assert_lines(text: &str, lines: usize, seed: u64) {
    let hidden = text.chars().find(|c| *c != '\n' && is_invisible(*c));
    assert_eq!(hidden, None, "{seed}: {text:?}");
    assert_eq!(text.lines().count(), lines, "{seed}: {text:?}");
}

fn rig() -> RigFile {
    RigFile::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap()
}

/// Two complete runs of a scenario of which one expectation holds and one does not.
fn outcomes() -> Vec<Outcome> {
    let text = "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 0.01\n\
                [[expect]]\nname = \"e\"\nformula = \"always (pitch.stick_deg < 90.0)\"\n\
                [[expect]]\nname = \"f\"\nformula = \"always (pitch.stick_deg > 90.0)\"\n";
    let case = Case {
        name: "case".to_owned(),
        rig_name: "kittiwake".to_owned(),
        file: "case.toml".into(),
        scenario: Arc::new(Scenario::parse(text).unwrap()),
        rig: Arc::new(rig()),
        lines: Arc::default(),
        warnings: Vec::new(),
        laws: Arc::default(),
    };
    let stop = AtomicBool::new(false);
    let plan = Plan {
        threads: NonZeroUsize::MIN,
        accuracy: false,
        cards: true,
        keep: None,
        target: &|| Box::new(LogicTarget::new()),
        draw: None,
        stop: &stop,
    };
    run_suite(&[case.clone(), case], &plan, &mut |_, _| {})
}

fn prove_args(keep: &str) -> ProveArgs {
    let cli = Cli::try_parse_from(["trimproof", "prove", "--keep", keep]).unwrap();
    let CliCommand::Prove(args) = cli.command else {
        panic!("another command")
    };
    args
}

#[test]
fn the_verdicts_stay_on_their_lines() {
    let args = prove_args("plain");
    let targets = TargetSource::open(&On::Logic, &args.target.wire, false, None).unwrap();
    let mut outcomes = outcomes();
    outcomes[1].end = End::Cut("why".to_owned());
    outcomes[1].judgements.clear();
    for judgement in &mut outcomes[0].judgements {
        // It takes as many lines as it needs.
        judgement.because = None;
        judgement.formula = "formula".to_owned();
        judgement.decided_by = "it".to_owned();
    }
    let render = |outcomes: &[Outcome], args: &ProveArgs| {
        commands::prove::render(outcomes, args, &targets, PLAIN)
    };
    let lines = render(&outcomes, &args).lines().count();
    for seed in 0..TEXTS / 5 {
        let text = |part: u64| hostile_text(8 * seed + part);
        for outcome in &mut outcomes {
            (outcome.name, outcome.rig_name) = (text(0), text(1));
            if let End::Cut(why) = &mut outcome.end {
                *why = text(2);
            }
            for judgement in &mut outcome.judgements {
                judgement.name = text(3);
            }
        }
        let args = ProveArgs {
            keep: Some(PathBuf::from(text(4))),
            ..prove_args("plain")
        };
        let shown = render(&outcomes, &args);
        assert_lines(&shown, lines, seed);
        let sums = shown
            .lines()
            .filter(|line| line.starts_with("1 run: ") || line.starts_with("2 runs: "));
        assert_eq!(sums.count(), 1, "{seed}: {shown:?}");
    }
    // What may take several lines takes none that looks like another.
    for seed in 0..TEXTS / 3 + 1 {
        for judgement in &mut outcomes[0].judgements {
            judgement.formula = hostile_text(3 * seed);
            judgement.because = Some(hostile_text(3 * seed + 1));
            judgement.decided_by = hostile_text(3 * seed + 2);
        }
        let shown = render(&outcomes, &args);
        assert!(
            !shown.contains(|c| c != '\n' && is_invisible(c)),
            "{seed}: {shown:?}"
        );
        assert_eq!(
            shown
                .lines()
                .filter(|line| line.contains(" run: 1 held; 13") && !line.starts_with(' '))
                .count(),
            shown
                .lines()
                .filter(|line| line.contains(" run: 1 held; 13") && line.contains("\\n1 run"))
                .count(),
            "{seed}: {shown}"
        );
    }
}

/// A line with a board at its end that says of itself what it likes.
struct Named(Board, VecDeque<u8>);

impl Line for Named {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        for byte in bytes {
            if let Some(frame) = self.0.take(*byte, 0, &mut NoPins) {
                self.1.extend(frame);
            }
        }
        Ok(())
    }
    fn read(&mut self, into: &mut [u8], _: Duration) -> io::Result<usize> {
        let count = into.len().min(self.1.len());
        for place in &mut into[..count] {
            *place = self.1.pop_front().unwrap();
        }
        Ok(count)
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
    fn description(&self) -> String {
        "port /dev/x\n1 run: 1 held\u{1b}".to_owned()
    }
}

#[test]
fn the_report_on_a_link_stays_on_its_lines() {
    let wait = Duration::from_millis(100);
    let patience = Patience {
        first: wait,
        most: wait,
        repeats: 2,
    };
    let shown = |name: &'static str| {
        let board = Board::new(BoardAbout {
            board: name,
            tick_hz: 0,
            has_motors: false,
        });
        let line = Box::new(Named(board, VecDeque::new()));
        let mut link = Link::open(line, patience, patience, None).unwrap();
        let mut checked = check(&mut link, &Settings::example(), 1, &|| true);
        assert_eq!(checked.failed, None);
        // Times differ from run to run, and with them the lines of the histogram.
        checked.traffic.round_trips = Default::default();
        commands::link::render(&link, &checked, 1_000_000)
    };
    let lines = shown("plain").lines().count();
    for seed in 0..TEXTS {
        // A board's name stands in its firmware: it lives as long as the program.
        let name: &'static str = Box::leak(hostile_text(seed).into_boxed_str());
        assert_lines(&shown(name), lines, seed);
    }
}

#[test]
fn lists_have_a_line_for_each_entry() {
    for seed in 0..TEXTS / 4 {
        let port = |part: u64| Candidate {
            name: format!("x{}", hostile_text(4 * seed + 2 * part)),
            about: hostile_text(4 * seed + 2 * part + 1),
        };
        assert_lines(&commands::ports::render(&[port(0), port(1)]), 2, seed);
    }
    let mut sizes = trimproof_size::size(&rig()).unwrap();
    let lines = commands::size::render(&sizes).lines().count();
    for seed in 0..TEXTS / 50 {
        (sizes.rig, sizes.title) = (hostile_text(2 * seed), hostile_text(2 * seed + 1));
        assert_lines(&commands::size::render(&sizes), lines, seed);
    }
}

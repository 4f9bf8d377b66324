//! The verdicts for programs; documented in docs/guides/command-line.md.

use crate::board::{LinkTraffic, TargetSource};
use crate::exit::Exit;
use serde::Serialize;
use trimproof_harness::judge::Verdict;
use trimproof_harness::laws::LawJudgement;
use trimproof_harness::run::Accuracy;
use trimproof_harness::suite::{Case, End, Outcome};

/// Version of the form: it rises when a field changes its meaning or goes.
const FORM: u32 = 1;

/// All verdicts of a suite.
#[derive(Serialize)]
pub struct Verdicts<'a> {
    form: u32,
    exit_code: u8,
    simulated_s: f64,
    never_put_to_test: usize,
    not_judged: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    board: Option<BoardJson<'a>>,
    runs: Vec<RunVerdict<'a>>,
}

#[derive(Serialize)]
struct BoardJson<'a> {
    on: &'a str,
    identity: String,
}

#[derive(Serialize)]
struct RunVerdict<'a> {
    scenario: &'a str,
    rig: &'a str,
    file: String,
    verdict: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    aborted_by: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<&'a str>,
    simulated_s: f64,
    hash: Option<&'a str>,
    kept: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    write_error: Option<String>,
    expectations: Vec<ExpectationVerdict<'a>>,
    laws: Vec<LawVerdict<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    link: Option<LinkTraffic>,
    #[serde(skip_serializing_if = "Option::is_none")]
    accuracy: Option<&'a Accuracy>,
    #[serde(skip_serializing_if = "Option::is_none")]
    accuracy_error: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    card: Option<&'a str>,
}

#[derive(Serialize)]
struct ExpectationVerdict<'a> {
    name: &'a str,
    formula: &'a str,
    because: Option<&'a str>,
    verdict: &'static str,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    missing: &'a [String],
    margin: Option<f64>,
    unit: &'a str,
    at_s: f64,
    decided_by: &'a str,
    undefined: bool,
    share: Option<f64>,
    equality: bool,
    put_to_test: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    untested_because: Option<&'a str>,
}

#[derive(Serialize)]
struct LawVerdict<'a> {
    name: &'a str,
    formula: &'a str,
    because: &'a str,
    verdict: &'static str,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    missing: &'a [String],
    #[serde(skip_serializing_if = "Option::is_none")]
    excepted: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    broken: Option<LawBreak<'a>>,
}

#[derive(Serialize)]
struct LawBreak<'a> {
    margin: Option<f64>,
    unit: &'a str,
    at_s: f64,
    decided_by: &'a str,
}

fn law_verdict(law: &LawJudgement) -> LawVerdict<'_> {
    LawVerdict {
        name: &law.name,
        formula: &law.formula,
        because: &law.because,
        verdict: word(law.verdict()),
        missing: &law.missing,
        excepted: law.excepted.as_deref(),
        broken: law.broken.as_ref().map(|broken| LawBreak {
            margin: broken.margin.is_finite().then_some(broken.margin),
            unit: &broken.unit,
            at_s: broken.at_s,
            decided_by: &broken.decided_by,
        }),
    }
}

impl<'a> Verdicts<'a> {
    /// Verdicts of `outcomes`, which came of `cases` in this order; with cards if wanted.
    pub fn of(
        cases: &'a [Case],
        outcomes: &'a [Outcome],
        exit: Exit,
        cards: bool,
        targets: &'a TargetSource,
    ) -> Self {
        Self {
            form: FORM,
            exit_code: exit.code(),
            simulated_s: outcomes.iter().map(|outcome| outcome.simulated_s).sum(),
            never_put_to_test: outcomes.iter().flat_map(Outcome::never_tested).count(),
            not_judged: outcomes.iter().map(Outcome::not_judged_count).sum(),
            board: targets.description().map(|on| BoardJson {
                on,
                identity: targets.identity(),
            }),
            runs: cases
                .iter()
                .zip(outcomes)
                .map(|(case, outcome)| run_verdict(case, outcome, cards))
                .collect(),
        }
    }
}

/// The verdict on a run as one word.
pub fn verdict(outcome: &Outcome) -> &'static str {
    match outcome.end {
        End::Complete => word(outcome.verdict().unwrap_or(Verdict::NotJudged)),
        End::Cut(_) | End::Aborted(_) => "aborted",
        End::Stopped => "stopped",
        End::NotRun => "not-run",
    }
}

/// A verdict as one word.
fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
        Verdict::NotJudged => "not-judged",
    }
}

fn run_verdict<'a>(case: &'a Case, outcome: &'a Outcome, cards: bool) -> RunVerdict<'a> {
    let expectations = outcome
        .judgements
        .iter()
        .map(|judgement| ExpectationVerdict {
            name: &judgement.name,
            formula: &judgement.formula,
            because: judgement.because.as_deref(),
            verdict: word(judgement.verdict),
            missing: &judgement.missing,
            // JSON has no infinity: a margin that is no number is null.
            margin: judgement.margin.is_finite().then_some(judgement.margin),
            unit: &judgement.unit,
            at_s: judgement.at_s,
            decided_by: &judgement.decided_by,
            undefined: judgement.undefined,
            share: judgement.share,
            equality: judgement.equality,
            put_to_test: judgement.tested.is_yes(),
            untested_because: judgement.never_tested(),
        });
    RunVerdict {
        scenario: &outcome.name,
        rig: &outcome.rig_name,
        file: case.file.display().to_string(),
        verdict: verdict(outcome),
        aborted_by: match &outcome.end {
            End::Cut(_) => Some("controller"),
            End::Aborted(_) => Some("twin"),
            _ => None,
        },
        reason: match &outcome.end {
            End::Cut(reason) | End::Aborted(reason) => Some(reason),
            _ => None,
        },
        simulated_s: outcome.simulated_s,
        hash: outcome.hash.as_deref(),
        kept: outcome
            .kept
            .iter()
            .map(|file| file.display().to_string())
            .collect(),
        write_error: outcome.write_error.as_ref().map(ToString::to_string),
        expectations: expectations.collect(),
        laws: outcome.laws.iter().map(law_verdict).collect(),
        link: outcome.traffic.as_ref().map(LinkTraffic::of),
        accuracy: outcome
            .accuracy
            .as_ref()
            .and_then(|found| found.as_ref().ok()),
        accuracy_error: outcome
            .accuracy
            .as_ref()
            .and_then(|found| found.as_ref().err().map(String::as_str)),
        card: if cards { outcome.card.as_deref() } else { None },
    }
}

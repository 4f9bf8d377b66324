//! Verdicts as JUnit XML, for CI servers.
//!
//! One `testsuite` for each scenario and rig, one `testcase` for each expectation and each law. A
//! broken one is a `failure` of type `fail`; one that speaks of what the run does not have is
//! `skipped`: not judged. A run that did not end is an `error` of type `aborted`, `stopped` or
//! `not-run`, and all its expectations are `skipped`; so is, as type `not-judged`, a run of which
//! nothing could be judged. Times are **simulated** seconds, so that the file is the same every
//! time.
//!
//! The report is valid by both strict schemas that are published, read in November 2026: that of
//! the xUnit plugin of the Jenkins server (`junit-10.xsd` in its repository jenkinsci/xunit-plugin)
//! and that of the reports of Apache Ant's JUnit task (`JUnit.xsd` in windyroad/JUnit-Schema).
//! Neither allows a `file`, a `line` or a property at a test case, and the second wants a
//! timestamp: so those stand among the properties of the suite, by the expectation's name, and
//! again in the text of a failure and in `system-out`. `tests/mod.rs` holds every report to both.

#[cfg(test)]
mod tests;
mod xml;

use crate::card::text::margin;
use crate::card::text::{fixed, share};
use crate::judge::{Judgement, Verdict, missing_text};
use crate::laws::LawJudgement;
use crate::suite::{Case, End, Outcome};
use xml::{Writer, attributes};

/// Value of `package`, which one of the schemas wants.
const PACKAGE: &str = "trimproof";

/// Renders the outcomes of a suite, which came of `cases` in this order.
///
/// `epoch_s` is the time written as every suite's `timestamp`, seconds since 1970 in UTC, as in the
/// variable `SOURCE_DATE_EPOCH`; `None` writes that of second 0, for one must stand there.
/// `trouble` is why nothing could be run at all; it becomes a suite of its own with an error.
pub fn render(
    cases: &[Case],
    outcomes: &[Outcome],
    epoch_s: Option<u32>,
    trouble: Option<&str>,
) -> String {
    let timestamp = timestamp(epoch_s.unwrap_or(0));
    let mut suites: Vec<Suite> = cases
        .iter()
        .zip(outcomes)
        .map(|(case, outcome)| suite(case, outcome))
        .collect();
    if let Some(trouble) = trouble {
        suites.insert(0, trouble_suite(trouble));
    }
    let mut out = Writer::new();
    out.open("testsuites", &[]);
    for (id, suite) in suites.iter().enumerate() {
        suite.write(&mut out, id, &timestamp);
    }
    out.close("testsuites");
    out.finish()
}

/// What one `testsuite` says.
struct Suite {
    name: String,
    time_s: f64,
    properties: Vec<(String, String)>,
    cases: Vec<TestCase>,
    system_out: String,
}

struct TestCase {
    name: String,
    time_s: f64,
    result: CaseResult,
}

enum CaseResult {
    Passed,
    Failed { message: String, text: String },
    Errored { kind: &'static str, message: String },
    Skipped { message: String },
}

impl Suite {
    fn count(&self, which: impl Fn(&CaseResult) -> bool) -> String {
        let cases = self.cases.iter();
        cases.filter(|case| which(&case.result)).count().to_string()
    }

    fn write(&self, out: &mut Writer, id: usize, timestamp: &str) {
        out.open(
            "testsuite",
            &attributes([
                ("name", &self.name),
                ("package", PACKAGE),
                ("id", &id.to_string()),
                ("timestamp", timestamp),
                // The verdict depends on no host.
                ("hostname", "localhost"),
                ("tests", &self.cases.len().to_string()),
                (
                    "failures",
                    &self.count(|result| matches!(result, CaseResult::Failed { .. })),
                ),
                (
                    "errors",
                    &self.count(|result| matches!(result, CaseResult::Errored { .. })),
                ),
                (
                    "skipped",
                    &self.count(|result| matches!(result, CaseResult::Skipped { .. })),
                ),
                ("time", &fixed(self.time_s, 3)),
            ]),
        );
        out.open("properties", &[]);
        for (name, value) in &self.properties {
            out.empty("property", &attributes([("name", name), ("value", value)]));
        }
        out.close("properties");
        for case in &self.cases {
            case.write(out, &self.name);
        }
        out.text("system-out", &[], &self.system_out);
        out.text("system-err", &[], "");
        out.close("testsuite");
    }
}

impl TestCase {
    fn write(&self, out: &mut Writer, class: &str) {
        let time = fixed(self.time_s, 3);
        let head = attributes([("name", &self.name), ("classname", class), ("time", &time)]);
        if matches!(self.result, CaseResult::Passed) {
            return out.empty("testcase", &head);
        }
        out.open("testcase", &head);
        match &self.result {
            CaseResult::Passed => {}
            CaseResult::Failed { message, text } => {
                let how = attributes([("type", "fail"), ("message", message)]);
                out.text("failure", &how, text);
            }
            CaseResult::Errored { kind, message } => {
                let how = attributes([("type", kind), ("message", message)]);
                out.text("error", &how, message);
            }
            CaseResult::Skipped { message } => {
                out.empty("skipped", &attributes([("message", message)]));
            }
        }
        out.close("testcase");
    }
}

fn suite(case: &Case, outcome: &Outcome) -> Suite {
    let file = case.file.display().to_string();
    let mut suite = Suite {
        name: outcome.label(),
        time_s: outcome.simulated_s,
        properties: vec![
            ("scenario".to_owned(), outcome.name.clone()),
            ("rig".to_owned(), outcome.rig_name.clone()),
            ("file".to_owned(), file.clone()),
        ],
        cases: Vec::new(),
        system_out: String::new(),
    };
    if let Some(hash) = &outcome.hash {
        suite.properties.push(("hash".to_owned(), hash.clone()));
    }
    let interruption = interruption(outcome);
    let expectations = case.scenario.expectations_for(&case.rig_name).enumerate();
    for (at, (index, expectation)) in expectations {
        let name = &expectation.name;
        let line = case.line(index);
        let place = match line {
            Some(line) => format!("{file}:{line}"),
            None => file.clone(),
        };
        let mut property = |what: &str, value: String| {
            suite.properties.push((format!("{name}: {what}"), value));
        };
        property("file", file.clone());
        if let Some(line) = line {
            property("line", line.to_string());
        }
        let (result, summary) = match (outcome.judgements.get(at), &interruption) {
            (Some(judgement), _) => {
                if judgement.verdict != Verdict::NotJudged {
                    property("margin", judgement.margin_text());
                }
                if judgement.share.is_some() {
                    property("share", share(judgement.share));
                }
                if let Some(why) = judgement.never_tested() {
                    property("never put to the test", why.to_owned());
                }
                (result(judgement, &place), summary(judgement))
            }
            (None, reason) => {
                let reason = reason
                    .as_ref()
                    .map_or("the run is not judged", |(_, why)| why);
                let message = format!("not judged: {reason}");
                (
                    CaseResult::Skipped {
                        message: message.clone(),
                    },
                    message,
                )
            }
        };
        suite
            .system_out
            .push_str(&format!("{place}: {name}: {summary}\n"));
        suite.cases.push(TestCase {
            name: name.clone(),
            time_s: 0.0,
            result,
        });
    }
    for law in &outcome.laws {
        let (result, summary) = law_result(law);
        suite
            .system_out
            .push_str(&format!("law: {}: {summary}\n", law.name));
        suite.cases.push(TestCase {
            name: format!("law: {}", law.name),
            time_s: 0.0,
            result,
        });
    }
    if outcome.verdict() == Some(Verdict::NotJudged) {
        suite.cases.push(TestCase {
            name: "something is judged".to_owned(),
            time_s: 0.0,
            result: CaseResult::Errored {
                kind: "not-judged",
                message: "nothing of this run could be judged".to_owned(),
            },
        });
    }
    if let Some((kind, message)) = interruption {
        suite.cases.push(TestCase {
            name: "the run ends".to_owned(),
            time_s: outcome.simulated_s,
            result: CaseResult::Errored { kind, message },
        });
    }
    suite
}

fn trouble_suite(trouble: &str) -> Suite {
    Suite {
        name: "trimproof".to_owned(),
        time_s: 0.0,
        properties: Vec::new(),
        cases: vec![TestCase {
            name: "the runs can begin".to_owned(),
            time_s: 0.0,
            result: CaseResult::Errored {
                kind: "not-run",
                message: trouble.to_owned(),
            },
        }],
        system_out: format!("{trouble}\n"),
    }
}

fn result(judgement: &Judgement, place: &str) -> CaseResult {
    match judgement.verdict {
        Verdict::Pass => return CaseResult::Passed,
        Verdict::NotJudged => {
            let message = summary(judgement);
            return CaseResult::Skipped { message };
        }
        Verdict::Fail => {}
    }
    let because = judgement
        .because
        .as_ref()
        .map_or_else(String::new, |because| format!("\nbecause {because}"));
    let decided = match judgement.decided_text() {
        none if none.is_empty() => none,
        decided => format!("\ndecided by {decided}"),
    };
    CaseResult::Failed {
        message: margin_at(judgement),
        text: format!("{place}\n{}{decided}{because}", judgement.formula),
    }
}

fn margin_at(judgement: &Judgement) -> String {
    format!(
        "margin {}, worst at {} s",
        judgement.margin_text(),
        fixed(judgement.at_s, 3)
    )
}

fn summary(judgement: &Judgement) -> String {
    if let Some(why) = judgement.missing_text() {
        return format!("not judged: {why}");
    }
    let word = if judgement.passes() { "pass" } else { "fail" };
    let share = match share(judgement.share) {
        none if none.is_empty() => none,
        share => format!(", {share} of the limit"),
    };
    let never = judgement
        .never_tested()
        .map_or_else(String::new, |why| format!("; never put to the test: {why}"));
    format!("{word}, {}{share}{never}", margin_at(judgement))
}

fn law_result(law: &LawJudgement) -> (CaseResult, String) {
    if law.verdict() == Verdict::NotJudged {
        let message = format!("not judged: {}", missing_text(&law.missing));
        return (
            CaseResult::Skipped {
                message: message.clone(),
            },
            message,
        );
    }
    let summary = match &law.broken {
        None => "true in every row".to_owned(),
        Some(broken) => format!(
            "first false at {} s, margin there {}",
            fixed(broken.at_s, 3),
            margin(broken.margin, &broken.unit)
        ),
    };
    if law.passes() {
        let summary = match &law.excepted {
            Some(because) => format!("{summary}; excepted because {because}"),
            None => summary,
        };
        return (CaseResult::Passed, summary);
    }
    let result = CaseResult::Failed {
        message: summary.clone(),
        text: format!("{}\nbecause {}", law.formula, law.because),
    };
    (result, summary)
}

fn interruption(outcome: &Outcome) -> Option<(&'static str, String)> {
    let at = fixed(outcome.simulated_s, 3);
    match &outcome.end {
        End::Complete => None,
        End::Cut(reason) => Some(("aborted", format!("aborted at {at} s: {reason}"))),
        End::Aborted(reason) => Some((
            "aborted",
            format!("aborted at {at} s, the twin cannot compute the run: {reason}"),
        )),
        End::Stopped => Some(("stopped", format!("stopped at {at} s"))),
        End::NotRun => Some(("not-run", "not run".to_owned())),
    }
}

/// ISO 8601 without a zone, in UTC.
fn timestamp(epoch_s: u32) -> String {
    let (mut days, second) = (epoch_s / 86_400, epoch_s % 86_400);
    let mut year = 1970;
    loop {
        let length = if is_leap(year) { 366 } else { 365 };
        if days < length {
            break;
        }
        days -= length;
        year += 1;
    }
    let mut month = 0;
    let lengths = [
        31,
        if is_leap(year) { 29 } else { 28 },
        31,
        30,
        31,
        30,
        31,
        31,
        30,
        31,
        30,
        31,
    ];
    while days >= lengths[month] {
        days -= lengths[month];
        month += 1;
    }
    let (hour, minute) = (second / 3600, second / 60 % 60);
    format!(
        "{year:04}-{:02}-{:02}T{hour:02}:{minute:02}:{:02}",
        month + 1,
        days + 1,
        second % 60
    )
}

fn is_leap(year: u32) -> bool {
    year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
}

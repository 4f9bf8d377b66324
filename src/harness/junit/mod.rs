//! Verdicts as JUnit XML, for CI servers.
//!
//! One `testsuite` for each scenario and rig, one `testcase` for each expectation. A broken expectation is a `failure`
//! of type `broken`; a run that did not end is an `error` of type `cut`, `aborted`, `stopped` or `not-begun`. Times are
//! **simulated** seconds, so that the file is the same every time; there is a `timestamp` only if one is given.

use crate::card::text::{fixed, margin};
use crate::judge::Judgement;
use crate::suite::{End, Outcome};
use quick_junit::{
    NonSuccessKind, Property, Report, SerializeError, TestCase, TestCaseStatus, TestSuite,
};
use std::time::Duration;

/// Renders the outcomes of a suite.
///
/// `epoch_s` is the time written as every suite's `timestamp`, seconds since 1970 in UTC, as in the
/// variable `SOURCE_DATE_EPOCH`; `None` writes none.
///
/// # Errors
/// If the XML writer fails, which writing to memory never does.
pub fn render(outcomes: &[Outcome], epoch_s: Option<u32>) -> Result<String, SerializeError> {
    let mut report = Report::new("trimproof");
    let mut total_s = 0.0;
    for outcome in outcomes {
        total_s += outcome.simulated_s;
        report.add_test_suite(suite(outcome, epoch_s));
    }
    report.set_time(duration(total_s));
    report.to_string()
}

fn suite(outcome: &Outcome, epoch_s: Option<u32>) -> TestSuite {
    let mut suite = TestSuite::new(outcome.label());
    suite.set_time(duration(outcome.simulated_s));
    // The strict form wants a host; the verdict depends on none.
    suite.extra.insert("hostname".into(), "localhost".into());
    if let Some(epoch_s) = epoch_s {
        suite
            .extra
            .insert("timestamp".into(), timestamp(epoch_s).into());
    }
    suite.add_property(Property::new("scenario", &*outcome.name));
    suite.add_property(Property::new("rig", &*outcome.rig_name));
    if let Some(hash) = &outcome.hash {
        suite.add_property(Property::new("hash", &**hash));
    }
    for judgement in &outcome.judgements {
        suite.add_test_case(test_case(outcome, judgement));
    }
    if let Some((kind, message)) = interruption(outcome) {
        let mut status = TestCaseStatus::non_success(NonSuccessKind::Error);
        status.set_type(kind).set_message(message);
        let mut case = TestCase::new("the run ends", status);
        case.set_classname(outcome.label())
            .set_time(duration(outcome.simulated_s));
        suite.add_test_case(case);
    }
    suite
}

fn test_case(outcome: &Outcome, judgement: &Judgement) -> TestCase {
    let margin = margin(judgement.margin, &judgement.unit);
    let status = if judgement.held {
        TestCaseStatus::success()
    } else {
        let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
        status.set_type("broken").set_message(format!(
            "margin {margin}, worst at {} s",
            fixed(judgement.at_s, 3)
        ));
        let because = judgement
            .because
            .as_ref()
            .map_or_else(String::new, |because| format!("\nbecause {because}"));
        status.set_description(format!("{}{because}", judgement.that));
        status
    };
    let mut case = TestCase::new(&*judgement.name, status);
    case.set_classname(outcome.label()).set_time(Duration::ZERO);
    case.set_system_out(format!(
        "margin {margin}, worst at {} s",
        fixed(judgement.at_s, 3)
    ));
    case
}

fn interruption(outcome: &Outcome) -> Option<(&'static str, String)> {
    let at = fixed(outcome.simulated_s, 3);
    match &outcome.end {
        End::Complete => None,
        End::Cut(reason) => Some(("cut", format!("cut at {at} s: {reason}"))),
        End::Aborted(reason) => Some((
            "aborted",
            format!("aborted at {at} s, the twin cannot compute the run: {reason}"),
        )),
        End::Stopped => Some(("stopped", format!("stopped at {at} s"))),
        End::NotBegun => Some(("not-begun", "not begun".to_owned())),
    }
}

fn duration(seconds: f64) -> Duration {
    Duration::try_from_secs_f64(seconds).unwrap_or_default()
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

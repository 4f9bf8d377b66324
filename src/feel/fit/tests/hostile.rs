//! SyntheticStick records that no hand and no stick can have made: each gets its own message at
//! once, and no search runs without an end.

use trimproof_plant::AxisName;

use super::synthetic::{SyntheticStick, kittiwake};
use crate::extract::Chance;
use crate::fit::problem::STEPS_MOST;
use crate::fit::{FitError, Progress, fit, fit_watched, fit_within};
use crate::record::{Record, Response, Sweep};

fn record() -> Record {
    SyntheticStick::of_kittiwake(AxisName::Pitch).record(&mut Chance::new(3))
}

/// The record with its readings changed.
fn changed(sweep: impl Fn(&mut Sweep), response: impl Fn(&mut Response)) -> Record {
    let mut record = record();
    record.sweeps.iter_mut().for_each(sweep);
    record.responses.iter_mut().for_each(response);
    record
}

fn times(by: f64, from: f64) -> Record {
    changed(
        |sweep| {
            for sample in &mut sweep.samples {
                sample.time_s = by * sample.time_s + from;
            }
        },
        |response| {
            for sample in &mut response.samples {
                sample.time_s = by * sample.time_s + from;
            }
        },
    )
}

fn positions(by: f64) -> Record {
    changed(
        |sweep| {
            for sample in &mut sweep.samples {
                sample.position_deg *= by;
            }
        },
        |response| {
            for sample in &mut response.samples {
                sample.position_deg *= by;
            }
        },
    )
}

fn forces(of: impl Fn(f64) -> f64 + Copy) -> Record {
    changed(
        |sweep| {
            for sample in &mut sweep.samples {
                sample.force_n = of(sample.force_n);
            }
        },
        |_| {},
    )
}

fn responses_only(mut record: Record) -> Record {
    record.sweeps.clear();
    record
}

/// What the fit says, and what to check.
fn refused(record: &Record) -> (String, &'static str) {
    match fit(&kittiwake(), record) {
        Err(FitError::Implausible(error)) => (error.to_string(), error.check),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_wrong_unit_is_named_with_what_was_read() {
    // [record, what the message says, what to check]
    let degree = 1_f64.to_radians();
    let cases: [(&str, Record, &[&str], &str); 11] = [
        (
            "milliseconds in a column of seconds",
            times(1000.0, 0.0),
            &[
                "sweep of pitch, held",
                "degrees a second, slower than any sweep",
            ],
            "time [ms]",
        ),
        (
            "the same of a release",
            responses_only(times(1000.0, 0.0)),
            &[
                "response 1 of pitch, held",
                "229 readings over `934.",
                "several times a second",
            ],
            "time [ms]",
        ),
        (
            "seconds in a column of milliseconds",
            times(1e-3, 0.0),
            &["sweep of pitch", "faster than any sweep"],
            "time [s]",
        ),
        (
            "the same of a release",
            responses_only(times(1e-3, 0.0)),
            &["response 1", "no stick swings within 0.02 s"],
            "time [s]",
        ),
        (
            "time of day",
            responses_only(times(1.0, 1.7e9)),
            &["response 1", "is `1700000000.0000` s after the release"],
            "subtract the instant of the release",
        ),
        (
            "degrees in a column of radians",
            positions(1.0 / degree),
            &["sweep", "there are 40 between the stops of rig `kittiwake`"],
            "`[rad]`",
        ),
        (
            "radians in a column of degrees",
            positions(degree),
            &["sweep", "of the 40 degrees between the stops"],
            "`[deg]`",
        ),
        (
            "millimetres in a column of metres",
            responses_only(positions(1000.0)),
            &["the stick covers", "degrees, there are 40"],
            "`[mm]`",
        ),
        (
            "a sensor that is not plugged in",
            positions(0.0),
            &["the position is the same in every reading"],
            "position column",
        ),
        (
            "a gauge that is not plugged in",
            forces(|_| 0.4),
            &["the force is `0.4000` N in every reading"],
            "force column",
        ),
        (
            "grams in a column of newtons",
            forces(|force| force * 1000.0 / 9.806_65 * 10.0),
            &["no hand pushes harder than 2000 N"],
            "`[g]`",
        ),
    ];
    for (what, record, says, check) in cases {
        let (message, help) = refused(&record);
        for part in says {
            assert!(
                message.contains(part),
                "{what}: `{part}` is not in: {message}"
            );
        }
        assert!(help.contains(check), "{what}: {help}");
    }
}

#[test]
fn what_is_no_number_and_no_time_is_named_with_its_reading() {
    let mut nan = record();
    nan.responses[0].samples[4].position_deg = f64::NAN;
    let mut huge = record();
    huge.sweeps[0].samples[4].force_n = f64::INFINITY;
    let mut back = record();
    back.responses[0].samples.reverse();
    let mut one = responses_only(record());
    one.responses.truncate(1);
    one.responses[0].samples.truncate(1);
    for record in [nan, huge, back, one] {
        let message = fit(&kittiwake(), &record).unwrap_err().to_string();
        assert!(
            [
                "is not a finite number",
                "is not after the one before it",
                "the same in every reading",
                "no hand pushes",
                "no stick swings",
            ]
            .iter()
            .any(|part| message.contains(part)),
            "{message}"
        );
        assert!(
            !message.contains("User(") && !message.contains("residuals"),
            "{message}"
        );
    }
}

/// However long a search would take, it ends after the steps that it is given, and says so.
#[test]
fn the_work_is_bounded() {
    let mut calls = 0;
    let found = fit_within(&kittiwake(), &record(), 100_000, &mut |_| {
        calls += 1;
        true
    });
    let Err(FitError::TooLong { axis, steps }) = found else {
        panic!("{found:?}")
    };
    assert_eq!(axis, AxisName::Pitch);
    // What is begun is finished: at most one model of everything in a record more, for each unknown
    // twice.
    assert!((100_000..10_000_000).contains(&steps), "{steps}");
    assert!(calls >= 1);
}

/// Noise instead of a stick let go: a message, or values with wide intervals, never an error of the
/// library's own.
#[test]
fn noise_gives_no_internal_error() {
    let mut chance = Chance::new(11);
    let mut noise = responses_only(record());
    for response in &mut noise.responses {
        for sample in &mut response.samples {
            sample.position_deg = chance.between(-8.0, 8.0);
        }
    }
    if let Err(error) = fit(&kittiwake(), &noise) {
        let message = error.to_string();
        assert!(
            !message.contains("User(") && !message.contains("residuals"),
            "{message}"
        );
    }
}

#[test]
fn the_caller_sees_each_search_and_can_stop_it() {
    let mut seen: Vec<Progress> = Vec::new();
    let found = fit_watched(&kittiwake(), &record(), &mut |progress| {
        seen.push(progress);
        true
    });
    assert!(found.is_ok());
    assert!(seen.len() >= 8, "{seen:?}");
    for (number, progress) in seen.iter().enumerate() {
        assert_eq!(
            (progress.axis, progress.done as usize),
            (AxisName::Pitch, number)
        );
        assert!(progress.done < progress.most, "{progress:?}");
    }
    let mut calls = 0;
    let stopped = fit_watched(&kittiwake(), &record(), &mut |_| {
        calls += 1;
        calls < 3
    });
    assert_eq!((stopped, calls), (Err(FitError::Stopped), 3));
}

/// An ordinary record takes a small share of the work that is allowed.
#[test]
fn an_ordinary_fit_is_far_from_the_bound() {
    for seed in 0..3 {
        let mut chance = Chance::new(seed);
        let bench = SyntheticStick::random(&mut chance);
        let record = bench.record(&mut chance);
        let found = fit_within(&bench.rig, &record, STEPS_MOST / 25, &mut |_| true);
        assert!(found.is_ok(), "{seed}: {found:?}");
    }
}

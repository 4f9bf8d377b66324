use trimproof_io::{Reports, State};

use super::*;
use crate::trace::{About, Row};

const TICK_S: f64 = 0.002;

fn row(index: usize) -> Row {
    let mut row = Row {
        time_s: index as f64 * TICK_S,
        state: State::Holding,
        ..Row::default()
    };
    row.axis[0].stick_deg = index as f64 * 0.25;
    row
}

fn trace(rows: usize, change: impl Fn(usize, &mut Row)) -> Trace {
    let mut trace = Trace::new(
        About {
            tick_s: TICK_S,
            rig: "kittiwake".to_owned(),
            ..About::default()
        },
        Reports::ALL,
        rows,
    );
    for index in 0..rows {
        let mut row = row(index);
        change(index, &mut row);
        trace.push(&row);
    }
    trace
}

#[test]
fn a_trace_agrees_with_itself() {
    let trace = trace(10, |_, _| {});
    let comparison = compare(&trace, &trace);
    assert!(comparison.same && comparison.first.is_none() && comparison.differences.is_empty());
    assert_eq!((comparison.rows, comparison.compared), ([10, 10], 10));
    assert_eq!(
        comparison.to_string(),
        "the traces agree bit for bit: 10 rows\n"
    );
}

#[test]
fn the_first_divergence_and_the_largest_differences_are_found() {
    let left = trace(10, |_, _| {});
    let right = trace(10, |index, row| {
        // Roll parts first, by a little; pitch later, most in row 7; the state in rows 6 to 9.
        if index >= 4 {
            row.axis[1].trim_deg = -1e-9;
        }
        if index == 6 || index == 7 {
            row.axis[0].stick_deg -= 0.5 * (index - 5) as f64;
        }
        if index >= 6 {
            row.state = State::Tripped;
        }
    });
    let comparison = compare(&left, &right);
    assert!(!comparison.same);
    let first = comparison.first.as_ref().unwrap();
    assert_eq!((first.row, first.time_s), (4, 4.0 * TICK_S));
    let pair = TracePair {
        name: "roll.trim_deg".into(),
        unit: "deg".into(),
        left: "0.0".into(),
        right: "-1e-9".into(),
    };
    assert_eq!(first.columns, [pair]);
    let names: Vec<_> = comparison
        .differences
        .iter()
        .map(|one| (one.name.as_str(), one.largest, one.rows))
        .collect();
    assert_eq!(
        names,
        [
            ("state", Some(1.0), 4),
            ("pitch.stick_deg", Some(1.0), 2),
            ("roll.trim_deg", Some(1e-9), 6)
        ]
    );
    let pitch = &comparison.differences[1];
    assert_eq!(
        (pitch.largest_row, pitch.largest_at_s, pitch.first_at_s),
        (7, 7.0 * TICK_S, 6.0 * TICK_S)
    );
    assert_eq!(
        (pitch.left.as_str(), pitch.right.as_str()),
        ("1.75", "0.75")
    );
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path(concat!(env!("CARGO_MANIFEST_DIR"), "/../../snapshots"));
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!("trace__comparison", comparison.to_string()));
}

#[test]
fn a_difference_in_the_last_row_and_in_one_bit_is_found() {
    let left = trace(10, |_, _| {});
    let right = trace(10, |index, row| {
        if index == 9 {
            row.supply_v = -0.0;
        }
    });
    let comparison = compare(&left, &right);
    assert_eq!(comparison.first.unwrap().row, 9);
    assert_eq!(
        (
            comparison.differences[0].largest,
            comparison.differences[0].rows
        ),
        (Some(0.0), 1)
    );
}

#[test]
fn what_is_not_finite_is_the_largest() {
    let with = |values: [f64; 3]| trace(3, move |index, row| row.supply_v = values[index]);
    let comparison = compare(&with([1.0, f64::NAN, 5.0]), &with([1.0, 2.0, 500.0]));
    assert_eq!(
        (
            comparison.differences[0].largest,
            comparison.differences[0].largest_row
        ),
        (None, 1)
    );
    assert!(compare(&with([f64::NAN; 3]), &with([f64::NAN; 3])).same);
}

#[test]
fn lengths_and_origins_are_reported() {
    let left = trace(10, |_, _| {});
    let mut right = trace(8, |_, _| {});
    right.about.rig = "bittern".to_owned();
    right
        .about
        .notes
        .insert("cut".to_owned(), "stopped by the user".to_owned());
    let comparison = compare(&left, &right);
    assert!(!comparison.same && comparison.first.is_none());
    assert_eq!((comparison.rows, comparison.compared), ([10, 8], 8));
    let keys: Vec<_> = comparison
        .about
        .iter()
        .map(|one| (one.key.as_str(), one.left.as_deref()))
        .collect();
    assert_eq!(keys, [("rig", Some("kittiwake")), ("note.cut", None)]);
    let text = comparison.to_string();
    assert!(
        text.starts_with("the traces differ: 10 rows left, 8 rows right, 8 compared\n"),
        "{text}"
    );
    assert!(text.contains("what both have agrees bit for bit"), "{text}");
    let json = serde_json::to_value(&comparison).unwrap();
    assert_eq!(json["rows"], serde_json::json!([10, 8]));
}

#[test]
fn columns_of_only_one_are_named() {
    let left = trace(3, |_, _| {});
    let right = left.without_column("contact");
    let comparison = compare(&left, &right);
    assert!(!comparison.same && comparison.first.is_none());
    assert_eq!(
        (comparison.only_left, comparison.only_right.len()),
        (vec!["contact".to_owned()], 0)
    );
    assert_eq!(compare(&right, &left).only_right, ["contact"]);
}

//! Published vectors of the quantitative semantics.
//!
//! Source: the project's notes on check values, section 6 ("an open STL library's discrete-time
//! tests", read there); semantics after Donzé and Maler 2010 and Fainekos and Pappas, TCS 410
//! (2009) 4262-4291.

use super::{Columns, every_row, margin};

/// First set: the two columns of the tests.
fn first_set() -> Columns {
    Columns {
        tick_s: 1.0,
        columns: vec![
            ("a", vec![100.0, -1.0, -2.0, 5.0, -1.0]),
            ("b", vec![20.0, -2.0, 10.0, 4.0, -1.0]),
        ],
    }
}

/// The margin of a column itself is that of the column against zero.
const FIRST_SET: [(&str, [f64; 5]); 14] = [
    ("a > 0 and b > 0", [20.0, -2.0, -2.0, 4.0, -1.0]),
    ("a > 0 or b > 0", [100.0, -1.0, 10.0, 5.0, -1.0]),
    ("a > 0 implies b > 0", [20.0, 1.0, 10.0, 4.0, 1.0]),
    ("always(a > 0)", [-2.0, -2.0, -2.0, -1.0, -1.0]),
    ("always[0,1](a > 0)", [-1.0, -2.0, -2.0, -1.0, -1.0]),
    ("eventually(a > 0)", [100.0, 5.0, 5.0, 5.0, -1.0]),
    ("eventually[0,1](a > 0)", [100.0, -1.0, 5.0, 5.0, -1.0]),
    ("once[0,1](a > 0)", [100.0, 100.0, -1.0, 5.0, 5.0]),
    ("historically[0,1](a > 0)", [100.0, -1.0, -2.0, -2.0, -1.0]),
    // Left argument over the half-open [t, t').
    ("a > 0 until b > 0", [20.0, -1.0, 10.0, 4.0, -1.0]),
    ("rises(a > 0)", [100.0, -100.0, -2.0, 2.0, -5.0]),
    ("falls(a > 0)", [-100.0, 1.0, -1.0, -5.0, 1.0]),
    ("a <= b", [-80.0, -1.0, 12.0, -1.0, 0.0]),
    ("not (a > 0)", [-100.0, 1.0, 2.0, -5.0, 1.0]),
];

#[test]
fn first_set_in_every_row() {
    for (text, expected) in FIRST_SET {
        let values: Vec<f64> = every_row(text, &first_set())
            .iter()
            .map(|(value, _)| *value)
            .collect();
        assert_eq!(values, expected, "{text}");
    }
}

#[test]
fn second_set_at_the_first_row() {
    let columns = Columns {
        tick_s: 1.0,
        columns: vec![("x", vec![2.0, 4.0, 6.0, 4.0, 2.0])],
    };
    for (text, expected) in [
        ("eventually[1,3](x > 5)", 1.0),
        ("always[1,3](x > 3)", 1.0),
        ("(x < 3) until[0,2] (x > 5)", -1.0),
    ] {
        assert_eq!(margin(text, &columns).value, expected, "{text}");
    }
}

/// Empty window: eventually minus infinity, always plus infinity (same source).
#[test]
fn empty_windows() {
    let values = every_row("eventually[3,4](a > 0)", &first_set());
    assert_eq!(values[4], (f64::NEG_INFINITY, false));
    let values = every_row("always[3,4](a > 0)", &first_set());
    assert_eq!(values[4], (f64::INFINITY, true));
    let values = every_row("once[3,4](a > 0)", &first_set());
    assert_eq!(values[0], (f64::NEG_INFINITY, false));
    let values = every_row("historically[3,4](a > 0)", &first_set());
    assert_eq!(values[0], (f64::INFINITY, true));
}

//! What margins say, beyond the published vectors.

use super::{Columns, Formula, margin, names};

fn columns(columns: Vec<(&'static str, Vec<f64>)>) -> Columns {
    Columns {
        tick_s: 0.002,
        columns,
    }
}

#[test]
fn margin_zero_holds_with_or_equal_only() {
    let columns = columns(vec![("a", vec![3.0, 2.0]), ("b", vec![3.0, 5.0])]);
    for (text, held) in [
        ("always(a <= b)", true),
        ("always(a < b)", false),
        ("not (a <= b)", false),
        ("not (a < b)", true),
        ("a <= b and a < b", false),
        ("a < b or a <= b", true),
    ] {
        let margin = margin(text, &columns);
        assert_eq!((margin.value, margin.held), (0.0, held), "{text}");
        assert!(margin.value.is_sign_positive(), "{text}");
    }
}

#[test]
fn the_margin_names_instant_unit_and_comparison() {
    let mut stick = vec![0.0; 500];
    stick[120] = 4.5;
    stick[300] = -4.75;
    let columns = columns(vec![("pitch.stick_deg", stick), ("p", vec![1.0; 500])]);
    let margin = margin("p and always[0.1, 0.9](abs(pitch.stick_deg) < 5)", &columns);
    assert!(margin.held && margin.complete);
    assert_eq!(margin.value, 0.25);
    assert_eq!(margin.at_s, 300.0 * 0.002);
    assert_eq!(margin.unit, "deg");
    assert_eq!(margin.decided_by, "abs(pitch.stick_deg) < 5");
}

#[test]
fn of_equally_bad_instants_the_first_is_named() {
    let switch = [1.0, 1.0, 0.0, 1.0, 0.0, 0.0].to_vec();
    let margin = margin("always(p)", &columns(vec![("p", switch)]));
    assert!(!margin.held);
    assert_eq!(margin.value, f64::NEG_INFINITY);
    assert_eq!(margin.at_s, 2.0 * 0.002);
    assert_eq!(
        (margin.unit.as_str(), margin.decided_by.as_str()),
        ("", "p")
    );
}

#[test]
fn of_equal_margins_in_a_junction_the_earlier_decides() {
    let columns = columns(vec![("x", vec![1.0; 5])]);
    let (early, late) = ("always[0, 0](x > 0)", "always[0.004, 0.004](x > 0)");
    for op in ["and", "or"] {
        for text in [
            format!("{early} {op} {late}"),
            format!("{late} {op} {early}"),
        ] {
            assert_eq!(margin(&text, &columns).at_s, 0.0, "{text}");
        }
    }
}

#[test]
fn units_follow_arithmetic() {
    let numbers = columns(vec![
        ("pitch.stick_deg", vec![1.0; 10]),
        ("pitch.grip_force_n", vec![2.0; 10]),
        ("x", vec![2.0; 10]),
    ]);
    for (text, unit) in [
        ("2 * pitch.stick_deg + 1 < 9", "deg"),
        ("rate(pitch.stick_deg) < 9", "deg/s"),
        ("pitch.grip_force_n * x < 9", "N·m"),
        ("pitch.grip_force_n / pitch.stick_deg < 9", "N/(deg)"),
        ("x / x < 9", ""),
        ("abs(pitch.grip_force_n) < rig.pitch.breakout_n", "N"),
        // Only its name knows the unit of a constant.
        ("pitch.grip_force_n * rig.pitch.breakout_n < 9", ""),
        ("max(x, -x) >= prev(x)", "m"),
    ] {
        assert_eq!(margin(text, &numbers).unit, unit, "{text}");
    }
}

#[test]
fn rate_change_and_prev_look_one_row_back() {
    let columns = columns(vec![("x", vec![1.0, 1.5, 1.25]), ("a", vec![0.0; 3])]);
    for (text, value) in [
        ("change(x) > 0", 0.0),
        ("always[0.002, 0.002](change(x) > 0)", 0.5),
        ("always[0.004, 0.004](rate(x) > 0)", -0.25 / 0.002),
        ("always[0.004, 0.004](prev(x) > 0)", 1.5),
        ("prev(x) > 0", 1.0),
    ] {
        assert_eq!(margin(text, &columns).value, value, "{text}");
    }
}

#[test]
fn precedence_is_as_documented() {
    // Truth for (p, q) = (0, 0), (0, 1), (1, 0), (1, 1).
    let rows = [(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)];
    let table = [
        ("p or q and not p", [false, true, true, true]),
        ("q and p or p", [false, false, true, true]),
        ("p or p and q", [false, false, true, true]),
        ("not p and q", [false, true, false, false]),
        ("not p or p", [true, true, true, true]),
        ("p and q implies q", [true, true, true, true]),
        ("p implies q or p", [true, true, true, true]),
        // To the right; the next line is the other reading.
        ("p implies q implies p", [true, true, true, true]),
        ("(p implies q) implies p", [false, false, true, true]),
        // until binds tighter than and.
        ("p until q and p", [false, false, false, true]),
        ("q and p until q", [false, true, false, true]),
        ("not a < 3 and p", [false, false, true, true]),
        ("a - 2 * 3 - 1 <= 0 and p", [false, false, true, true]),
        (
            "a / 7 * 2 > 1.5 and -a < -6 and q",
            [false, true, false, true],
        ),
    ];
    for ((p, q), row) in rows.into_iter().zip(0..) {
        let columns = columns(vec![("p", vec![p]), ("q", vec![q]), ("a", vec![7.0])]);
        for (text, truth) in table {
            assert_eq!(
                margin(text, &columns).held,
                truth[row],
                "{text}, p {p}, q {q}"
            );
        }
    }
}

#[test]
fn what_is_undefined_counts_against() {
    let columns = columns(vec![
        ("a", vec![0.0, 0.0]),
        ("b", vec![1.0, 0.0]),
        ("p", vec![1.0, 0.0]),
    ]);
    for text in [
        "always(a / b < 3)",
        "not eventually(a / b >= 3)",
        "not (not always(a / b < 3))",
        "eventually[0.002, 0.002](rises(a / b < 3) or falls(a / b < 3))",
        "eventually[0.002, 0.002](min(a / b, 1) < 3)",
        // A column that the trace lacks, whichever way it is asked.
        "release",
        "not release",
        "release == p",
        "release != p",
        "x < 1",
        "not (x < 1)",
    ] {
        let margin = margin(text, &columns);
        assert!(!margin.held, "{text}");
        assert_eq!(margin.value, f64::NEG_INFINITY, "{text}");
    }
    // Where a guard shuts it out, it does no harm.
    assert!(margin("always(b > 0.5 implies a / b < 3)", &columns).held);
}

#[test]
fn nothing_holds_on_a_trace_that_is_too_short() {
    let names = names(0.02, 0.002);
    let cut = |rows| columns(vec![("x", vec![1.0; rows])]);
    for (text, rows_needed) in [
        ("always[0.004, 0.008](x > 0)", 5),
        ("always(x > 0)", 10),
        ("eventually[0, 0.002](always[0.002, 0.004](x > 0))", 4),
        ("x > 0 until[0, 0.01] x > 0.5", 6),
        ("once(x > 0)", 1),
    ] {
        let formula = Formula::parse(text, &names).unwrap();
        let (short, enough) = (
            formula.evaluate(&cut(rows_needed - 1)),
            formula.evaluate(&cut(rows_needed)),
        );
        assert!(!short.held && !short.complete, "{text}");
        assert!(enough.held && enough.complete, "{text}");
        assert_eq!(formula.needed_s(), rows_needed as f64 * 0.002, "{text}");
    }
    let other_tick = Columns {
        tick_s: 0.001,
        columns: vec![("x", vec![1.0; 40])],
    };
    let formula = Formula::parse("always(x > 0)", &names).unwrap();
    assert!(!formula.evaluate(&other_tick).held);
}

/// An instant whose inner window is cut off by the end must not make an `eventually` true for
/// nothing.
#[test]
fn windows_cut_off_by_the_end_prove_nothing() {
    let mut x = vec![-1.0; 20];
    x[19] = 1.0;
    let columns = columns(vec![("x", x)]);
    for text in [
        "eventually(always[0, 0.004](x > 0))",
        "eventually[0, 0.036](always[0.004, 0.004](x > 2))",
        "true until always[0.002, 0.004](x > 0)",
    ] {
        assert!(!margin(text, &columns).held, "{text}");
    }
}

#[test]
fn windows_take_the_ticks_inside_them() {
    // A row every 0.002 s; 0.02 / 0.002 is not exactly 10 in binary.
    let mut x = vec![1.0; 20];
    x[10] = -1.0;
    let columns = columns(vec![("x", x)]);
    for (text, held) in [
        ("always[0, 0.02](x > 0)", false),
        ("always[0, 0.0199](x > 0)", true),
        ("always[0.02, 0.03](x > 0)", false),
        ("always[0.0201, 0.03](x > 0)", true),
        ("always[0.02, 0.02](x > 0)", false),
        ("always[0, 2 * rig.debounce_press_s](x > 0)", false),
        ("always[0.022, end](x > 0)", true),
        ("always[0.02, end](x > 0)", false),
    ] {
        assert_eq!(margin(text, &columns).held, held, "{text}");
    }
}

#[test]
fn a_long_trace_takes_a_linear_number_of_steps() {
    // 10 minutes at 500 Hz. With windows of a minute, rows times window is 9e9 steps: hours in this
    // build.
    let rows = 300_000;
    let wave = |period: usize| {
        (0..rows)
            .map(|row| (row % period) as f64)
            .collect::<Vec<f64>>()
    };
    let switch = (0..rows)
        .map(|row| f64::from(u8::from(row % 7000 < 90)))
        .collect();
    let columns = columns(vec![("a", wave(5003)), ("b", wave(7001)), ("p", switch)]);
    for text in [
        "always(a + b < 20000)",
        "always(rises(p) implies eventually[0, 60](a > 4000))",
        "always[60, 500](once[0, 60](a > 4000) and historically[0, 60](b >= 0))",
        "always[0, 500](a >= 0 until[10, 60] b > 6000)",
        "always(abs(change(a)) < 6000 or rate(b) > 0 or falls(p))",
    ] {
        assert!(margin(text, &columns).held, "{text}");
    }
}

/// The row of an edge is the one after it, but what decides may stand in the row before: there it
/// is named.
#[test]
fn an_edge_names_the_row_that_decided() {
    let columns = columns(vec![
        ("a", vec![0.0, 0.0, 2.75, 3.5, 4.0, 4.0]),
        ("p", vec![0.0, 0.0, 1.0, 1.0, 0.0, 0.0]),
    ]);
    // It rises through 3 between rows 2 and 3: 0.25 before, 0.5 after.
    for (text, value, row) in [
        ("eventually(rises(a > 3))", 0.25, 2),
        ("eventually(rises(a > 3.25))", 0.25, 3),
        ("always(not rises(a > 3))", -0.25, 2),
        ("always[0.006, 0.006](rises(a > 3))", 0.25, 2),
        ("always[0.006, 0.006](not falls(a < 3))", -0.25, 2),
        // Both sides decide alike: the row of the edge.
        ("eventually(rises(p))", f64::INFINITY, 2),
        ("eventually[0.002, end](falls(p))", f64::INFINITY, 4),
    ] {
        let margin = margin(text, &columns);
        assert_eq!(
            (margin.value, margin.at_s),
            (value, f64::from(row) * 0.002),
            "{text}"
        );
    }
}

#[test]
fn what_is_undefined_says_so_and_where() {
    let columns = columns(vec![("a", vec![0.0, 0.0, 0.0]), ("b", vec![1.0, 0.0, 1.0])]);
    for (text, comparison, row) in [
        ("always(a / b < 3)", "a / b < 3", 1),
        ("not eventually(a / b >= 3)", "a / b >= 3", 1),
        (
            "always(b >= 0 and not (b < 0 or a / b >= 3))",
            "a / b >= 3",
            1,
        ),
        ("always(not release)", "release", 0),
        ("always(x < 1)", "x < 1", 0),
    ] {
        let margin = margin(text, &columns);
        assert!(margin.undefined && !margin.held, "{text}");
        assert_eq!(margin.decided_by, comparison, "{text}");
        assert_eq!(margin.at_s, f64::from(row) * 0.002, "{text}");
    }
    let plain = margin("always(b > 0 implies a / b < 3)", &columns);
    assert!(plain.held && !plain.undefined);
}

#[test]
fn end_twice_is_the_last_row_wherever_it_is_looked_from() {
    let mut x = vec![0.0; 10];
    x[9] = 1.0;
    x[8] = 2.0;
    let columns = columns(vec![("x", x), ("a", (0..10).map(f64::from).collect())]);
    for (text, value) in [
        ("always[end, end](x >= 0)", 1.0),
        ("eventually[end, end](x >= 0)", 1.0),
        ("always(eventually[end, end](x > 0))", 1.0),
        // The last instant from which the window inside is whole.
        ("always[end, end](eventually[0, 0.002](x > 0))", 2.0),
        ("x >= 0 until[end, end] x > 0.25", 0.0),
        ("x >= -0.5 until[end, end] x > 0.25", 0.5),
        ("a < 3 until[end, end] x > 0", -5.0),
    ] {
        assert_eq!(margin(text, &columns).value, value, "{text}");
    }
    // On a trace that is cut short there is no such row.
    let formula = Formula::parse("always[end, end](x >= 0)", &names(0.04, 0.002)).unwrap();
    assert!(!formula.evaluate(&columns).held);
}

/// Against clipping at the end of the trace: instants with a cut inner window are not asked. So
/// "always" is laxer and "eventually" is stricter than it.
#[test]
fn instants_with_a_cut_window_inside_are_not_asked() {
    let mut x = vec![1.0; 20];
    x[19] = -1.0;
    let columns = columns(vec![("x", x)]);
    let formula = "eventually[0.002, 0.004](x > 0)";
    // Clipped, the last instants would have nothing to find and fail.
    assert!(margin(&format!("always({formula})"), &columns).held);
    // Clipped, the last instants would have nothing to fail and hold.
    let inner = "always[0.002, 0.004](x < 0)";
    assert!(!margin(&format!("eventually({inner})"), &columns).held);
    let inside = |row: usize| naive_clipped(&columns.columns[0].1, row);
    assert!((0..20).any(|row| !inside(row)), "clipping would fail here");
}

/// `eventually[0.002, 0.004](x > 0)` in one row with its window clipped at the end of the trace, as
/// published.
fn naive_clipped(x: &[f64], row: usize) -> bool {
    (row + 1..=row + 2).any(|row| x.get(row).is_some_and(|x| *x > 0.0))
}

#[test]
fn the_limit_is_what_does_not_change() {
    let columns = columns(vec![
        ("a", vec![1.0; 4]),
        ("b", vec![2.0; 4]),
        ("p", vec![1.0; 4]),
        ("pitch.grip_force_n", vec![0.5; 4]),
    ]);
    for (text, limit) in [
        ("always(a < 5)", Some(5.0)),
        ("always(-5 < a)", Some(5.0)),
        ("always(abs(a - b) <= 4)", Some(4.0)),
        ("always(a <= b + 3)", Some(3.0)),
        ("always(2 * (a - 1) <= b + 1)", Some(3.0)),
        ("always((a + 6) / 2 < 2 * (b + 4))", Some(5.0)),
        ("always(prev(a) - 0.5 <= b + 1)", Some(1.5)),
        (
            "always(pitch.grip_force_n < 2 * rig.pitch.breakout_n)",
            Some(8.0),
        ),
        // Nothing is left but what changes.
        ("always(a <= b)", None),
        ("always(a >= 0)", None),
        ("always(a * b <= abs(b + 3))", None),
        ("p", None),
        // Nothing changes.
        ("1 < 2", None),
    ] {
        let margin = margin(text, &columns);
        assert!(margin.held, "{text}");
        assert_eq!(margin.limit, limit, "{text}");
        assert!(!margin.equality, "{text}");
    }
}

#[test]
fn a_tolerance_of_a_thousandth_stands_for_an_equality() {
    let columns = columns(vec![("a", vec![1.0; 4]), ("b", vec![1.0; 4])]);
    for (text, equality) in [
        ("always(abs(a - b) <= 0.001)", true),
        ("always(abs(a - b) < 1e-6)", true),
        ("always(0.001 >= abs(a - 1))", true),
        ("always(abs(a - b) <= 0.002)", false),
        ("always(a - b <= 0.001)", false),
        ("always(abs(a) >= 0.001)", false),
    ] {
        assert_eq!(margin(text, &columns).equality, equality, "{text}");
    }
}

#[test]
fn parts_without_a_window_are_judged_in_the_first_row_only() {
    let names = names(6.0, 0.002);
    for (text, parts) in [
        ("a < 3", &["a < 3"][..]),
        ("rises(p) or once(q)", &["rises(p) or once(q)"]),
        ("p and always(a < 3)", &["p"]),
        ("not p and always(a < 3)", &["not p"]),
        (
            "((a < 3) or (rises(p))) and always(q)",
            &["(a < 3) or (rises(p))"],
        ),
        (
            "always(p) and (a < 3 and eventually(q)) and b > 1",
            &["a < 3", "b > 1"],
        ),
        ("always[0, 0](p)", &[]),
        ("p until q", &[]),
        ("a < 3 implies always(p)", &[]),
        ("rig.pitch.breakout_n > 1", &[]),
        ("true", &[]),
    ] {
        let formula = Formula::parse(text, &names).unwrap();
        let found: Vec<&str> = formula
            .first_row_only()
            .into_iter()
            .map(|span| &text[span])
            .collect();
        assert_eq!(found, parts, "{text}");
    }
}

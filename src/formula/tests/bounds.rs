//! Bounds of what a formula may be and of what it is judged on, each on both sides.

use super::{Columns, names};
use crate::Formula;

fn refusal(text: &str, length_s: f64, tick_s: f64) -> Option<String> {
    let read = Formula::parse(text, &names(length_s, tick_s));
    read.err().map(|error| error.message)
}

#[test]
fn a_scenario_has_at_least_one_tick() {
    assert_eq!(refusal("p", 0.002, 0.002), None);
    let message = |length_s: f64, tick_s: f64| {
        format!("a scenario of `{length_s}` s has no whole tick of `{tick_s}` s to judge")
    };
    for (length_s, tick_s) in [
        (0.0019, 0.002),
        (0.0, 0.002),
        (1.0, 0.0),
        (-1.0, -0.002),
        (f64::INFINITY, 0.002),
        (f64::NAN, 0.002),
    ] {
        assert_eq!(
            refusal("p", length_s, tick_s),
            Some(message(length_s, tick_s))
        );
    }
}

/// A window may reach the end of the scenario, the millionth part of a tick included, and no
/// farther.
#[test]
fn a_window_ends_with_the_scenario() {
    for text in [
        "always[0, 6](p)",
        "always[5.998, 6](p)",
        "always[0, 6.000000001](p)",
    ] {
        assert_eq!(refusal(text, 6.0, 0.002), None, "{text}");
    }
    // The last row stands a tick before the end.
    assert_eq!(
        refusal("always[6, 6](p)", 6.0, 0.002).as_deref(),
        Some("window starts at `6` s, where the scenario ends")
    );
    assert_eq!(
        refusal("always[0, 6.0001](p)", 6.0, 0.002).as_deref(),
        Some("window reaches `6.0001` s, the scenario ends at `6` s")
    );
    // Rows stand at 2 ms and at 4 ms: nothing lies between them.
    assert_eq!(refusal("always[0.002, 0.002](p)", 6.0, 0.002), None);
    assert_eq!(
        refusal("always[0.0021, 0.0039](p)", 6.0, 0.002).as_deref(),
        Some("window `[0.0021, 0.0039]` is empty: no tick falls into it")
    );
}

/// Five rows are 0 to 8 ms: a window to 8 ms needs them all, and one row more looks past them.
#[test]
fn a_formula_needs_the_rows_of_its_windows() {
    for (text, needed_s) in [
        ("p", 0.002),
        ("once[0, 1](p)", 0.002),
        ("always[0, 0.008](p)", 0.01),
        ("always[0, 0.004](eventually[0, 0.004](p))", 0.01),
        ("p implies always[0.004, 0.006](q)", 0.008),
        ("p until[0, 0.01] q", 0.012),
        ("always[0, 6](p)", 6.0),
        ("always(p)", 6.0),
        ("always[1, end](p)", 6.0),
    ] {
        let formula = Formula::parse(text, &names(6.0, 0.002)).unwrap();
        let found = formula.needed_s();
        assert!((found - needed_s).abs() < 1e-9, "{text}: {found} s");
    }
    let formula = Formula::parse("always[0, 0.008](p)", &names(6.0, 0.002)).unwrap();
    let complete = |rows: usize, tick_s: f64| {
        let columns = vec![("p", vec![1.0; rows])];
        let margin = formula.evaluate(&Columns { tick_s, columns });
        assert_eq!(margin.held, margin.complete);
        margin.complete
    };
    assert!(complete(5, 0.002) && complete(6, 0.002) && !complete(4, 0.002));
    // Another tick than the one that the windows were counted in; its own rounding is none.
    assert!(complete(5, 0.002 * (1.0 + 1e-12)) && complete(5, 0.002 * (1.0 - 1e-12)));
    assert!(!complete(5, 0.002 * (1.0 + 1e-8)) && !complete(5, 0.002 * (1.0 - 1e-8)));
}

#[test]
fn a_law_looks_back_only() {
    let law = |text: &str| Formula::parse_law(text, &names(6.0, 0.002)).is_ok();
    assert!(law("p") && law("once[0, 1](p)") && law("historically(p)") && law("always[0, 0](p)"));
    assert!(!law("always[0, 0.002](p)") && !law("always[end, end](p)") && !law("always(p)"));
}

#[test]
fn units_come_once_and_in_order() {
    let units = |text: &str| {
        let formula = Formula::parse(text, &names(6.0, 0.002)).unwrap();
        let units = formula.units().into_iter().map(str::to_owned);
        units.collect::<Vec<_>>()
    };
    assert_eq!(
        units("pitch.grip_force_n < 3 and pitch.stick_deg < 5 and pitch.grip_force_n > 1"),
        ["N", "deg"]
    );
    assert_eq!(units("p and not q"), [""; 0]);
    assert_eq!(units("a < 3"), [""]);
}

/// Parts stand in each other sixty deep, and no deeper, whatever they are.
#[test]
fn a_formula_is_nested_to_a_depth() {
    type Nested = fn(usize) -> String;
    let kinds: [Nested; 3] = [
        |depth| format!("{}p{}", "(".repeat(depth), ")".repeat(depth)),
        |depth| format!("{}p", "not ".repeat(depth)),
        |depth| format!("a < {}1", "-".repeat(depth)),
    ];
    for nested in kinds {
        assert_eq!(refusal(&nested(60), 6.0, 0.002), None);
        assert_ne!(refusal(&nested(61), 6.0, 0.002), None);
    }
}

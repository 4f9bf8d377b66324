//! Whether an expectation was put to the test: forms that an engineer writes, on columns that he
//! can follow.

use super::{BLOCKS, Columns, margin, names};
use crate::monitor::judge_in_blocks;
use crate::{Formula, Tested};

/// `p` is on in rows 4 to 6 of 12, `q` never, `a` counts the rows.
fn columns() -> Columns {
    let rows = 0..12_u8;
    Columns {
        tick_s: 0.002,
        columns: vec![
            ("a", rows.clone().map(f64::from).collect()),
            (
                "p",
                rows.map(|row| f64::from(u8::from((4..=6).contains(&row))))
                    .collect(),
            ),
            ("q", vec![0.0; 12]),
        ],
    }
}

#[track_caller]
fn check(text: &str, never: Option<&str>) {
    let margin = margin(text, &columns());
    assert!(margin.held, "`{text}` does not hold: {margin:?}");
    assert_eq!(margin.tested.never(), never, "`{text}`");
}

#[test]
fn a_condition_that_is_met_once_is_enough() {
    for text in [
        "always(p implies a > 3)",
        "always(rises(p) implies eventually[0, 0.006](not p))",
        "always(falls(p) implies a >= 0)",
        "always[0.008, 0.012](p)",
        "always(not p or a > 3)",
        "always(a < 20)",
        "eventually(rises(p))",
        "always(once[0.006, 0.01](p) implies a > 6)",
        "not p until p",
        // An implication that must not hold has no condition of its own.
        "always(a < 20 or not (q implies p))",
    ] {
        check(text, None);
    }
}

#[test]
fn a_condition_that_is_never_met_shows_nothing() {
    for (text, part) in [
        ("always(q implies a > 100)", "`q`"),
        ("always((q and p) implies a > 100)", "`q and p`"),
        (
            "always(rises(q) implies eventually[0, 0.004](p))",
            "`rises(q)`",
        ),
        ("always[0.014, end](p implies a > 100)", "`p`"),
        ("always[0.01, end](rises(p) implies a > 100)", "`rises(p)`"),
        ("q implies always(a > 100)", "`q`"),
        // Inside another, and only where the outer one lets it be looked at.
        ("always(p implies (q implies a > 100))", "`q`"),
        ("always(a > 8 implies (p implies a > 100))", "`p`"),
        ("eventually(q implies a > 100)", "`q`"),
        ("always(a < 20) and always(q implies p)", "`q`"),
        ("(q implies a > 100) until p", "`q`"),
        (
            "always(once[0, 0.004](q) implies a > 100)",
            "`once[0, 0.004](q)`",
        ),
        ("not eventually(not (q implies p))", "`q`"),
        ("0 / (0 * 1 + 1) > 3 implies p", "`0 / (0 * 1 + 1) > 3`"),
    ] {
        let why = format!("{part} was never true where it was looked at");
        check(text, Some(&why));
    }
}

#[test]
fn an_implication_in_other_words_is_one() {
    for text in [
        "not q or a > 100",
        "a > 100 or not q",
        "not (q and not (a > 100))",
    ] {
        let why = match text.starts_with("not (") {
            true => "the condition in `q and not (a > 100)` was never true".to_owned(),
            false => format!("the condition in `always({text})` was never true"),
        };
        check(&format!("always({text})"), Some(&why));
    }
    // Both must be met at once where both are conditions of the same.
    check(
        "always(not p or not (a < 3) or a > 100)",
        Some("the condition in `always(not p or not (a < 3) or a > 100)` was never true"),
    );
    // What must not come together may be read either way: one part met is enough.
    check("always(not (p and q))", None);
    check(
        "always(not (q and rises(q)))",
        Some("no part of `q and rises(q)` was ever true"),
    );
    // No condition: two things of which one must be.
    check("always(a < 6 or a > 5)", None);
    // What must not be has been looked for.
    check("always(not q)", None);
    check("always(not rises(q))", None);
}

#[test]
fn a_window_that_looks_at_nothing_shows_nothing() {
    check(
        "historically[0.01, 0.02](a > 100)",
        Some("`historically[0.01, 0.02](a > 100)` looked at nothing"),
    );
    check(
        "a > 100 until a >= 0",
        Some("the left side of `a > 100 until a >= 0` was never needed"),
    );
    check("a >= 0 until[0.002, 0.006] a >= 0", None);
    check("always[end, end](a > 10)", None);
}

/// Where a window looks back into blocks before, what is looked at there counts: `p` is met in rows
/// 4 to 6 alone, and blocks have five rows. The window looks at rows 4 and 5 from rows 8 and 9, or
/// at rows 7 to 9, where `p` is not met.
#[test]
fn a_look_back_goes_over_blocks() {
    for (text, is_met) in [
        (
            "always[0.016, 0.018](once[0.008, 0.008](p implies a > 3))",
            true,
        ),
        (
            "always[0.018, 0.018](once[0.006, 0.01](p implies a > 3))",
            true,
        ),
        (
            "always[0.022, 0.022](historically[0.01, 0.014](p implies a > 3))",
            true,
        ),
        (
            "always[0.018, 0.022](once[0, 0.004](p implies a > 3))",
            false,
        ),
        // From rows 4 to 6, where `p` is met, four rows back: rows 0 to 2, row 1 out of the next
        // block.
        (
            "always(p implies once[0.008, 0.008]((a > 0 and a < 2) implies a >= 0))",
            true,
        ),
        (
            "always(p implies once[0.008, 0.008]((a > 2 and a < 4) implies a >= 0))",
            false,
        ),
        (
            "always[0.022, 0.022](historically[0.004, 0.008](p implies a > 3))",
            false,
        ),
    ] {
        let columns = columns();
        let formula = Formula::parse(text, &names(0.024, 0.002)).unwrap();
        for blocks in [BLOCKS, (512, usize::MAX)] {
            let found = judge_in_blocks([&formula], [], &columns, blocks).unwrap();
            assert!(found.margins[0].held, "{text}");
            assert_eq!(found.margins[0].tested.is_yes(), is_met, "{text}");
        }
    }
}

/// A condition without a value was not met.
#[test]
fn what_is_undefined_meets_no_condition() {
    let why = "`not (a / (a - a) >= 3)` was never true where it was looked at";
    let margin = margin("always[0, 0](a / (a - a) < 3 implies a >= 0)", &columns());
    assert!(margin.held);
    assert_eq!(
        margin.tested.never(),
        Some("`a / (a - a) < 3` was never true where it was looked at")
    );
    let margin = super::margin(
        "always[0, 0](not (a / (a - a) >= 3) implies a >= 0)",
        &columns(),
    );
    assert!(margin.held);
    assert_eq!(margin.tested.never(), Some(why));
}

/// What is broken was put to the test, whatever else did not come.
#[test]
fn what_is_broken_was_put_to_the_test() {
    let margin = margin("always(q implies p) and always(a < 3)", &columns());
    assert!(!margin.held);
    assert_eq!(margin.tested, Tested::Yes);
}

//! Random formulas on random columns.

use std::collections::BTreeSet;

use proptest::prelude::*;

use crate::Formula;

use super::{BLOCKS, Columns, Signals, every_row, naive, names, whole};
use crate::monitor::{judge_in_blocks, points_in_every_row};

const ROWS: usize = 24;
const TICK_S: f64 = 0.25;

/// Small whole numbers, so that equal values and margins of exactly zero are common.
fn columns() -> BoxedStrategy<Columns> {
    let numbers = || prop::collection::vec((-3..4_i8).prop_map(f64::from), ROWS);
    let switches =
        || prop::collection::vec(any::<bool>().prop_map(|on| f64::from(u8::from(on))), ROWS);
    let states = prop::collection::vec((0..6_u8).prop_map(f64::from), ROWS);
    (numbers(), numbers(), switches(), switches(), states)
        .prop_map(|(a, b, p, q, state)| Columns {
            tick_s: TICK_S,
            columns: vec![("a", a), ("b", b), ("p", p), ("q", q), ("state", state)],
        })
        .boxed()
}

fn number() -> BoxedStrategy<String> {
    let leaf = prop_oneof![
        Just("a".to_owned()),
        Just("b".to_owned()),
        (0..4_u8).prop_map(|value| value.to_string()),
    ];
    leaf.prop_recursive(2, 6, 2, |inner| {
        prop_oneof![
            (
                inner.clone(),
                inner.clone(),
                prop::sample::select(vec!["+", "-", "*"])
            )
                .prop_map(|(left, right, op)| format!("({left} {op} {right})")),
            (
                inner.clone(),
                inner.clone(),
                prop::sample::select(vec!["min", "max"])
            )
                .prop_map(|(left, right, op)| format!("{op}({left}, {right})")),
            (
                inner,
                prop::sample::select(vec!["abs", "prev", "change", "rate", "-"])
            )
                .prop_map(|(child, op)| format!("{op}({child})")),
        ]
    })
    .boxed()
}

/// A window of at most 3 ticks from at most 2: three of them inside one another stay within the
/// columns.
fn window() -> BoxedStrategy<String> {
    prop_oneof![
        2 => Just(String::new()),
        3 => (0..3_u8, 0..4_u8).prop_map(|(from, width)| {
            let (from, to) = (f64::from(from) * TICK_S, f64::from(from + width) * TICK_S);
            format!("[{from}, {to}]")
        }),
        1 => (0..3_u8).prop_map(|from| format!("[{}, end]", f64::from(from) * TICK_S)),
        1 => Just("[end, end]".to_owned()),
    ]
    .boxed()
}

fn past_window() -> BoxedStrategy<String> {
    window()
        .prop_map(|window| window.replace("end", "5"))
        .boxed()
}

fn comparison() -> BoxedStrategy<String> {
    prop_oneof![
        4 => (number(), prop::sample::select(vec!["<", "<=", ">", ">="]), number())
            .prop_map(|(left, op, right)| format!("({left} {op} {right})")),
        2 => prop::sample::select(vec![
            "p", "q", "p == q", "p != q", "state is holding", "state is not limp", "true", "false",
        ])
        .prop_map(|text| format!("({text})")),
    ]
    .boxed()
}

/// Formulas that only look back; some break, some do not.
fn law() -> BoxedStrategy<String> {
    comparison()
        .prop_recursive(3, 16, 2, |inner| {
            prop_oneof![
                1 => inner.clone().prop_map(|child| format!("(not {child})")),
                3 => (
                    inner.clone(),
                    prop::sample::select(vec!["and", "or", "or", "implies"]),
                    inner.clone()
                )
                    .prop_map(|(left, op, right)| format!("({left} {op} {right})")),
                2 => (
                    prop::sample::select(vec!["once", "historically"]),
                    past_window(),
                    inner.clone()
                )
                    .prop_map(|(op, window, child)| format!("{op}{window}({child})")),
                1 => (prop::sample::select(vec!["rises", "falls"]), inner)
                    .prop_map(|(op, child)| format!("{op}({child})")),
            ]
        })
        .boxed()
}

fn formula() -> BoxedStrategy<String> {
    comparison()
        .prop_recursive(3, 12, 2, |inner| {
            prop_oneof![
                inner.clone().prop_map(|child| format!("(not {child})")),
                (
                    inner.clone(),
                    prop::sample::select(vec!["and", "or", "implies"]),
                    inner.clone()
                )
                    .prop_map(|(left, op, right)| format!("({left} {op} {right})")),
                (
                    prop::sample::select(vec!["always", "eventually"]),
                    window(),
                    inner.clone()
                )
                    .prop_map(|(op, window, child)| format!("{op}{window}({child})")),
                (
                    prop::sample::select(vec!["once", "historically"]),
                    past_window(),
                    inner.clone()
                )
                    .prop_map(|(op, window, child)| format!("{op}{window}({child})")),
                (inner.clone(), window(), inner.clone())
                    .prop_map(|(left, window, right)| format!("({left} until{window} {right})")),
                (prop::sample::select(vec!["rises", "falls"]), inner)
                    .prop_map(|(op, child)| format!("{op}({child})")),
            ]
        })
        .boxed()
}

/// Formulas of `always`, `and` and implications alone.
#[derive(Clone, Debug)]
enum Guarded {
    Plain(String),
    Both(Box<Guarded>, Box<Guarded>),
    Always(String, Box<Guarded>),
    If(String, Box<Guarded>),
}

impl Guarded {
    fn implications(&self) -> usize {
        match self {
            Self::Plain(_) => 0,
            Self::Both(left, right) => left.implications() + right.implications(),
            Self::Always(_, child) => child.implications(),
            Self::If(_, right) => 1 + right.implications(),
        }
    }

    /// The text, with the right side of one implication replaced by `false`.
    fn text(&self, replaced: Option<usize>) -> String {
        match self {
            Self::Plain(text) => text.clone(),
            Self::Both(left, right) => {
                let later = replaced.and_then(|index| index.checked_sub(left.implications()));
                format!("({} and {})", left.text(replaced), right.text(later))
            }
            Self::Always(window, child) => format!("always{window}({})", child.text(replaced)),
            // It stays as far-reaching as it was, so that the same instants are asked.
            Self::If(left, right) if replaced == Some(0) => {
                format!("({left} implies (false and {}))", right.text(None))
            }
            Self::If(left, right) => {
                let inner = replaced.and_then(|index| index.checked_sub(1));
                format!("({left} implies {})", right.text(inner))
            }
        }
    }
}

fn guarded() -> impl Strategy<Value = Guarded> {
    let plain = || {
        prop::sample::select(vec![
            "a <= 3",
            "a < 3",
            "b > -4",
            "p",
            "state is not limp",
            "a < b",
            "true",
            "rises(q)",
        ])
        .prop_map(str::to_owned)
    };
    plain()
        .prop_map(Guarded::Plain)
        .prop_recursive(4, 12, 2, move |inner| {
            prop_oneof![
                1 => (inner.clone(), inner.clone())
                    .prop_map(|(left, right)| Guarded::Both(Box::new(left), Box::new(right))),
                2 => (window(), inner.clone())
                    .prop_map(|(window, child)| Guarded::Always(window, Box::new(child))),
                2 => (plain(), inner).prop_map(|(left, right)| Guarded::If(left, Box::new(right))),
            ]
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]

    #[test]
    fn linear_time_gives_what_the_definition_gives(text in formula(), columns in columns()) {
        let names = names(ROWS as f64 * TICK_S, TICK_S);
        let formula = Formula::parse(&text, &names)
            .unwrap_or_else(|error| panic!("`{text}`: {error:?}"));
        let points = points_in_every_row(&formula.root, &columns, BLOCKS);
        for (row, point) in points.iter().enumerate() {
            prop_assert_eq!(point.value, naive::value(&formula.root, &columns, row), "value, row {}", row);
            prop_assert_eq!(point.truth(), naive::holds(&formula.root, &columns, row), "truth, row {}", row);
        }
        prop_assert_eq!(points.len(), columns.rows());
    }

    /// Block by block comes what comes of the whole trace at once, to the bit: value, truth, row
    /// and comparison of every row, verdict and whether it was put to the test; undefined values
    /// included, whatever the blocks, in memory or not.
    #[test]
    fn block_by_block_gives_what_the_whole_gives(
        text in formula(), columns in columns(), undefined in any::<bool>(),
        block_rows in prop::sample::select(vec![1, 2, 7, ROWS - 1, ROWS, 64]), in_memory in any::<bool>(),
    ) {
        let names = names(ROWS as f64 * TICK_S, TICK_S);
        let formula = Formula::parse(&text, &names).unwrap();
        let mut columns = columns;
        if undefined {
            columns.columns.retain(|(name, _)| *name != "b" && *name != "q");
        }
        let blocks = (block_rows, if in_memory { usize::MAX } else { 0 });
        prop_assert_eq!(
            points_in_every_row(&formula.root, &columns, blocks),
            whole::evaluate::rows(&formula.root, &columns)
        );
        let found = judge_in_blocks([&formula], [], &columns, blocks).unwrap();
        prop_assert_eq!(&found.margins, &[whole::margin(&formula, &columns)]);
    }

    /// The same for laws, several at once: the first row that breaks each, and its margin there.
    #[test]
    fn laws_block_by_block_break_where_the_whole_breaks(
        texts in prop::collection::vec(law(), 1..4), columns in columns(), undefined in any::<bool>(),
        block_rows in prop::sample::select(vec![1, 2, 7, ROWS - 1, ROWS, 64]),
    ) {
        let names = names(ROWS as f64 * TICK_S, TICK_S);
        let laws: Vec<Formula> = texts
            .iter()
            .map(|text| Formula::parse_law(text, &names).unwrap_or_else(|error| panic!("`{text}`: {error:?}")))
            .collect();
        let mut columns = columns;
        if undefined {
            columns.columns.retain(|(name, _)| *name != "b" && *name != "q");
        }
        let found = judge_in_blocks([], &laws, &columns, (block_rows, 0)).unwrap();
        let expected: Vec<_> = laws.iter().map(|law| whole::first_broken(law, &columns)).collect();
        prop_assert_eq!(found.breaks, expected);
    }

    #[test]
    fn the_sign_says_whether_it_holds(text in formula(), columns in columns()) {
        for (value, truth) in every_row(&text, &columns) {
            prop_assert!(!value.is_nan());
            if value != 0.0 {
                prop_assert_eq!(value > 0.0, truth);
            }
        }
    }

    #[test]
    fn the_opposite_of_always_is_eventually_not(child in formula(), window in window(), columns in columns()) {
        let always = every_row(&format!("not always{window}({child})"), &columns);
        let eventually = every_row(&format!("eventually{window}(not {child})"), &columns);
        prop_assert_eq!(always, eventually);
    }

    #[test]
    fn the_opposite_of_historically_is_once_not(
        child in formula(), window in past_window(), columns in columns()
    ) {
        let historically = every_row(&format!("not historically{window}({child})"), &columns);
        let once = every_row(&format!("once{window}(not {child})"), &columns);
        prop_assert_eq!(historically, once);
    }

    #[test]
    fn eventually_is_true_until(child in formula(), window in window(), columns in columns()) {
        let eventually = every_row(&format!("eventually{window}({child})"), &columns);
        let until = every_row(&format!("true until{window} ({child})"), &columns);
        prop_assert_eq!(eventually, until);
    }

    /// The instant and the comparison that a margin names have the value that it states.
    #[test]
    fn the_worst_instant_is_where_it_says(
        window in window(), columns in columns(), limit in 0..4_u8
    ) {
        for (left, op, right) in [("a", "<=", "b"), ("abs(a)", "<", "b"), ("a * b", ">", "1")] {
            let compared = format!("{left} {op} {right} + {limit}");
            let margin = super::margin(&format!("always{window}({compared})"), &columns);
            prop_assert_eq!(&margin.decided_by, &compared);
            let row = (margin.at_s / TICK_S).round() as usize;
            prop_assert_eq!(every_row(&compared, &columns)[row], (margin.value, margin.held));
        }
    }

    /// Whatever decided, edges and windows and all: in the row that a margin names the comparison
    /// that it names is as far from its limit as the margin says.
    #[test]
    fn the_deciding_comparison_has_the_margin_in_the_row_that_is_named(
        text in formula(), columns in columns()
    ) {
        let names = names(ROWS as f64 * TICK_S, TICK_S);
        let formula = Formula::parse(&text, &names).unwrap();
        let margin = formula.evaluate(&columns);
        prop_assert!(!margin.undefined);
        if margin.value.is_finite() {
            let row = (margin.at_s / TICK_S).round() as usize;
            let sides = formula.sides(&margin.decided_by, &columns).expect("a comparison");
            let distance = (sides.high[row] - sides.low[row]).abs();
            prop_assert_eq!(distance, margin.value.abs(), "`{}`", margin.decided_by);
        }
    }

    #[test]
    fn put_to_the_test_is_what_the_definition_says(text in formula(), columns in columns()) {
        let names = names(ROWS as f64 * TICK_S, TICK_S);
        let formula = Formula::parse(&text, &names).unwrap();
        let margin = formula.evaluate(&columns);
        let never = naive::never_tested(&formula.root, true, &columns, &BTreeSet::from([0]));
        prop_assert_eq!(margin.tested.is_yes(), !(margin.held && never), "{:?}", margin.tested);
    }

    /// Among `always`, `and` and implications of plain comparisons it is the notion of the papers:
    /// a formula that holds is vacuous just if it still holds with the right side of some
    /// implication replaced by `false`.
    #[test]
    fn vacuous_is_what_holds_whatever_the_right_side_says(form in guarded(), columns in columns()) {
        let margin = super::margin(&form.text(None), &columns);
        if margin.held {
            let vacuous = (0..form.implications()).any(|index| {
                super::margin(&form.text(Some(index)), &columns).held
            });
            prop_assert_eq!(margin.tested.is_yes(), !vacuous, "{}", form.text(None));
        }
    }

    /// Whatever is written, reading it ends with a formula or an error whose span lies in the text.
    #[test]
    fn any_text_at_all_is_read_or_refused(
        parts in prop::collection::vec(
            prop::sample::select(vec![
                "a", "p", "state", "is", "not", "and", "until", "always", "rises", "abs", "min", "end", "true",
                "(", ")", "[", "]", ",", "<", "<=", "==", "-", "+", "/", "0", "1", "1.5", "limp", "é", ".", "!",
                "1e999", "x.y", "",
            ]),
            0..14,
        )
    ) {
        let text = parts.join(" ");
        if let Err(error) = Formula::parse(&text, &names(6.0, TICK_S)) {
            let span = error.span.expect("a span");
            prop_assert!(text.get(span).is_some());
        }
    }
}

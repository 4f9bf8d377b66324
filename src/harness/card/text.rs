//! Numbers as people read them: rounded, with a sign where the sign says something, never `-0`.

use trimproof_io::State;

use std::fmt::Write;
use trimproof_diagnostics::{CELL_MAX, brief, line};

/// Greatest width of a card, characters.
pub const WIDTH: usize = 100;

/// `value` with a fixed number of decimals.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // A value that rounds to nothing has no sign.
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|byte| byte == b'0' || byte == b'.') => rest.to_owned(),
        _ => text,
    }
}

/// `value` with three significant digits and its sign; below a millionth in powers of ten.
pub fn signed(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !value.is_finite() {
        return format!("{value:+}");
    }
    let scientific = format!("{value:+.2e}");
    let Some((_, exponent)) = scientific.split_once('e') else {
        return scientific;
    };
    match exponent.parse::<i32>() {
        Ok(exponent) if (-5..=8).contains(&exponent) => {
            let decimals = usize::try_from(2 - exponent).unwrap_or(0);
            format!("{value:+.decimals$}")
        }
        _ => scientific,
    }
}

/// A margin with its unit: `+0.123 deg`; `yes` or `no` for an expectation that only holds or not,
/// whose margin is infinite.
pub fn margin(value: f64, unit: &str) -> String {
    if value == f64::INFINITY {
        return "yes".to_owned();
    }
    if value == f64::NEG_INFINITY {
        return "no".to_owned();
    }
    with_unit(&signed(value), unit)
}

/// A share for people: `12 %`, with a decimal below 10 %; empty if there is none.
pub fn share(value: Option<f64>) -> String {
    let Some(percent) = value.map(|share| share * 100.0) else {
        return String::new();
    };
    match percent.abs() {
        small if small < 9.95 => format!("{} %", fixed(percent, 1)),
        _ => format!("{} %", fixed(percent, 0)),
    }
}

/// A number and its unit, without a trailing space where there is no unit.
pub fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() {
        number.to_owned()
    } else {
        format!("{number} {unit}")
    }
}

/// A plain number in few digits, for times and settings as a user wrote them: `0.5`, `12`.
pub fn plain(value: f64) -> String {
    format!("{value}")
}

/// Appends `text` broken into lines of at most `width` characters, each after `indent` spaces.
/// Words longer than a line stand alone. Line ends in `text` count as blanks; what cannot be seen
/// in it is shown.
pub fn wrap_into(out: &mut String, text: &str, indent: usize, width: usize) {
    let room = width.saturating_sub(indent).max(1);
    let mut row = String::new();
    for word in text.split_whitespace() {
        let word = line(word);
        if !row.is_empty() && row.chars().count() + 1 + word.chars().count() > room {
            let _ = writeln!(out, "{:indent$}{row}", "");
            row.clear();
        }
        if !row.is_empty() {
            row.push(' ');
        }
        row.push_str(&word);
    }
    if !row.is_empty() {
        let _ = writeln!(out, "{:indent$}{row}", "");
    }
}

/// A table: every column as wide as its widest cell, two spaces between columns.
///
/// `right` says which columns are set to the right (numbers). Lines carry no trailing spaces. A row
/// is one line whatever stands in its cells: what cannot be seen is shown, and of a very long cell
/// only the beginning.
pub fn table(rows: &[Vec<String>], right: &[bool], indent: usize) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let rows: Vec<Vec<_>> = rows
        .iter()
        .map(|row| row.iter().map(|cell| brief(cell, CELL_MAX)).collect())
        .collect();
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut out = String::new();
    for row in &rows {
        let mut line = " ".repeat(indent);
        for (column, cell) in row.iter().enumerate() {
            let gap = " ".repeat(widths[column].saturating_sub(cell.chars().count()));
            if right.get(column).copied().unwrap_or(false) {
                line.push_str(&gap);
                line.push_str(cell);
            } else {
                line.push_str(cell);
                line.push_str(&gap);
            }
            line.push_str("  ");
        }
        let _ = writeln!(out, "{}", line.trim_end());
    }
    out
}

/// Name of a state by its code in a trace.
pub(super) fn state_name(code: Option<f64>) -> String {
    let index = code.map_or(usize::MAX, |code| code as usize);
    State::ALL
        .get(index)
        .map_or("?", |state| state.name())
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_rounds_to_nothing_has_no_sign() {
        assert_eq!(fixed(-0.004, 2), "0.00");
        assert_eq!(fixed(-0.006, 2), "-0.01");
        assert_eq!(fixed(-0.0, 0), "0");
        assert_eq!(fixed(12.345, 1), "12.3");
    }

    #[test]
    fn three_significant_digits() {
        for (value, text) in [
            (0.0, "0"),
            (0.123_456, "+0.123"),
            (-12.345_6, "-12.3"),
            (999.96, "+1000"),
            (-0.000_012_345, "-0.0000123"),
            (1.0e-9, "+1.00e-9"),
            (1.0e12, "+1.00e12"),
        ] {
            assert_eq!(signed(value), text);
        }
    }

    #[test]
    fn a_share_is_a_percentage_with_two_digits() {
        for (value, text) in [
            (None, ""),
            (Some(0.0), "0.0 %"),
            (Some(0.012_34), "1.2 %"),
            (Some(0.0995), "10 %"),
            (Some(-0.5), "-50 %"),
            (Some(12.0), "1200 %"),
        ] {
            assert_eq!(share(value), text);
        }
    }

    #[test]
    fn a_margin_without_a_number_is_yes_or_no() {
        assert_eq!(margin(f64::INFINITY, ""), "yes");
        assert_eq!(margin(f64::NEG_INFINITY, ""), "no");
        assert_eq!(margin(-0.5, "deg"), "-0.500 deg");
        assert_eq!(margin(2.0, ""), "+2.00");
    }

    #[test]
    fn long_text_is_broken_between_words() {
        let mut out = String::new();
        wrap_into(&mut out, "one two three overlongword x", 2, 10);
        assert_eq!(out, "  one two\n  three\n  overlongword\n  x\n");
    }

    #[test]
    fn columns_line_up_and_lines_end_without_spaces() {
        let rows = [
            vec!["a".to_owned(), "1".to_owned()],
            vec!["long".to_owned(), "23".to_owned()],
            vec!["b".to_owned()],
        ];
        assert_eq!(
            table(&rows, &[false, true], 1),
            " a      1\n long  23\n b\n"
        );
    }
}

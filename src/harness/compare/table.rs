//! The comparison as text.

use std::fmt;

use trimproof_diagnostics::{CELL_MAX, brief as shortened, line as shown};

use super::Comparison;

/// A summary line, the first divergence, a table of the largest differences, and what else is not
/// alike.
impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [left, right] = self.rows;
        if self.same {
            writeln!(f, "the traces agree bit for bit: {left} rows")?;
        } else {
            writeln!(
                f,
                "the traces differ: {left} rows left, {right} rows right, {} compared",
                self.compared
            )?;
        }
        if let Some(first) = &self.first {
            writeln!(
                f,
                "\nfirst divergence: row {} at {} s",
                first.row,
                brief(first.time_s)
            )?;
            let rows = first.columns.iter().map(|pair| {
                vec![
                    pair.name.clone(),
                    pair.unit.clone(),
                    pair.left.clone(),
                    pair.right.clone(),
                ]
            });
            write_table(f, &["signal", "unit", "left", "right"], rows.collect())?;
        } else if !self.same && self.compared > 0 {
            writeln!(f, "\nwhat both have agrees bit for bit")?;
        }
        if !self.differences.is_empty() {
            writeln!(f, "\nlargest differences")?;
            let rows = self.differences.iter().map(|one| {
                vec![
                    one.name.clone(),
                    one.unit.clone(),
                    one.largest.map_or("not finite".to_owned(), brief),
                    brief(one.largest_at_s),
                    short(&one.left),
                    short(&one.right),
                    brief(one.first_at_s),
                    one.rows.to_string(),
                ]
            });
            let head = [
                "signal",
                "unit",
                "largest",
                "at s",
                "left",
                "right",
                "first at s",
                "rows",
            ];
            write_table(f, &head, rows.collect())?;
        }
        for (side, columns) in [("left", &self.only_left), ("right", &self.only_right)] {
            if !columns.is_empty() {
                writeln!(
                    f,
                    "\nonly the {side} one has: {}",
                    shown(&columns.join(", "))
                )?;
            }
        }
        if !self.about.is_empty() {
            writeln!(f, "\nwhere they come from")?;
            let said = |side: &Option<String>| side.clone().unwrap_or_else(|| "-".to_owned());
            let rows = self
                .about
                .iter()
                .map(|one| vec![one.key.clone(), said(&one.left), said(&one.right)]);
            write_table(f, &["about", "left", "right"], rows.collect())?;
        }
        Ok(())
    }
}

/// A number with 6 significant digits at most.
fn brief(value: f64) -> String {
    let rounded: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    // Plain digits where they are short, a power of ten elsewhere.
    let plain = rounded == 0.0 || (1e-4..1e7).contains(&rounded.abs());
    if plain {
        rounded.to_string()
    } else {
        format!("{rounded:e}")
    }
}

/// A value as in a CSV file, with 6 significant digits at most if it is a number with a fraction.
fn short(text: &str) -> String {
    match text.parse::<f64>() {
        Ok(value) if text.parse::<i64>().is_err() => brief(value),
        _ => text.to_owned(),
    }
}

/// One line a row: what a file says of itself may hold anything.
fn write_table(f: &mut fmt::Formatter<'_>, head: &[&str], rows: Vec<Vec<String>>) -> fmt::Result {
    let rows: Vec<Vec<_>> = rows
        .iter()
        .map(|row| row.iter().map(|cell| shortened(cell, CELL_MAX)).collect())
        .collect();
    let length = |text: &str| text.chars().count();
    let widths: Vec<usize> = (0..head.len())
        .map(|column| {
            rows.iter()
                .map(|row| length(&row[column]))
                .chain([length(head[column])])
                .max()
                .unwrap_or(0)
        })
        .collect();
    let line = |cells: Vec<&str>| {
        let padded = cells
            .iter()
            .zip(&widths)
            .map(|(cell, width)| format!("{cell:width$}"));
        padded.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    writeln!(f, "  {}", line(head.to_vec()))?;
    rows.iter().try_for_each(|row| {
        writeln!(
            f,
            "  {}",
            line(row.iter().map(|cell| cell.as_ref()).collect())
        )
    })
}

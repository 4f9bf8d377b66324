//! Two traces side by side: where they first part, and how far apart they get.

mod table;
#[cfg(test)]
mod tests;

use serde::Serialize;

use crate::trace::{ColumnInfo, ColumnKind, Data, Trace};

/// What [`compare`] found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// Whether both have the same columns and rows with the same bits. What they say about
    /// themselves does not count.
    pub same: bool,
    /// Number of rows, left and right.
    pub rows: [usize; 2],
    /// Number of rows that both have: those that were compared, by their number.
    pub compared: usize,
    /// Where they first part, `None` if all compared rows agree.
    pub first: Option<Divergence>,
    /// Every column that differs somewhere, in the order of the columns.
    pub differences: Vec<Difference>,
    /// Columns that only the left one has.
    pub only_left: Vec<String>,
    /// Columns that only the right one has.
    pub only_right: Vec<String>,
    /// What they say differently about where they come from.
    pub about: Vec<AboutDifference>,
}

/// The first row with a difference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Divergence {
    /// Number of the row, from 0.
    pub row: usize,
    /// Time of the row in the left trace, s.
    pub time_s: f64,
    /// The columns that differ in it.
    pub columns: Vec<TracePair>,
}

/// Two values of a column in the same row.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TracePair {
    /// Name of the column.
    pub name: String,
    /// Unit of the column; empty for a switch, a state and a bare number.
    pub unit: String,
    /// Value on the left, as in a CSV file.
    pub left: String,
    /// Value on the right, as in a CSV file.
    pub right: String,
}

/// How a column differs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Name of the column.
    pub name: String,
    /// Unit of the column; empty for a switch, a state and a bare number.
    pub unit: String,
    /// Largest distance of the two values, in the column's unit; 1 for a switch or a state that
    /// differs; `None` if one of the values is not a finite number and the other is another.
    pub largest: Option<f64>,
    /// Number of the first row with that distance.
    pub largest_row: usize,
    /// Time of that row in the left trace, s.
    pub largest_at_s: f64,
    /// Value on the left in that row, as in a CSV file.
    pub left: String,
    /// Value on the right in that row, as in a CSV file.
    pub right: String,
    /// Time of the first row that differs, s.
    pub first_at_s: f64,
    /// How many rows differ.
    pub rows: usize,
}

/// Something that the two say differently about where they come from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AboutDifference {
    /// What it is about, as in a CSV file's last column.
    pub key: String,
    /// What the left one says, `None` if nothing.
    pub left: Option<String>,
    /// What the right one says, `None` if nothing.
    pub right: Option<String>,
}

/// Compares two traces row by row and bit by bit; a zero and a negative zero differ, by a distance
/// of 0.
pub fn compare(left: &Trace, right: &Trace) -> Comparison {
    let rows = [left.rows(), right.rows()];
    let compared = rows[0].min(rows[1]);
    let time_s = |row| left.time_s(row).unwrap_or(0.0);
    let mut differences = Vec::new();
    let mut first_row = None;
    for (info, a, b) in common(left, right) {
        let Some((first, difference)) = differ(info, (a, b), compared, &time_s) else {
            continue;
        };
        first_row = Some(first_row.map_or(first, |row: usize| row.min(first)));
        differences.push(difference);
    }
    let first = first_row.map(|row| {
        let differing = common(left, right).filter(|(_, a, b)| !a.same_bits(b, row));
        let columns = differing.map(|(info, a, b)| TracePair {
            name: info.name.to_string(),
            unit: info.unit.to_string(),
            left: a.text(row),
            right: b.text(row),
        });
        Divergence {
            row,
            time_s: time_s(row),
            columns: columns.collect(),
        }
    });
    let (only_left, only_right) = (missing(left, right), missing(right, left));
    let same =
        rows[0] == rows[1] && first.is_none() && only_left.is_empty() && only_right.is_empty();
    Comparison {
        same,
        rows,
        compared,
        first,
        differences,
        only_left,
        only_right,
        about: about(left, right),
    }
}

/// The columns that both have.
fn common<'a>(
    left: &'a Trace,
    right: &'a Trace,
) -> impl Iterator<Item = (&'a ColumnInfo, &'a Data, &'a Data)> {
    left.columns()
        .filter_map(|info| Some((info, left.data(&info.name)?, right.data(&info.name)?)))
}

/// Columns that `one` has and `other` has not.
fn missing(one: &Trace, other: &Trace) -> Vec<String> {
    one.columns()
        .filter(|info| other.data(&info.name).is_none())
        .map(|info| info.name.to_string())
        .collect()
}

/// First row that differs and the whole difference, `None` if all rows agree.
fn differ(
    info: &ColumnInfo,
    (left, right): (&Data, &Data),
    compared: usize,
    time_s: &dyn Fn(usize) -> f64,
) -> Option<(usize, Difference)> {
    let first = (0..compared).find(|&row| !left.same_bits(right, row))?;
    let (mut largest, mut largest_row, mut rows) = (-1.0, first, 0);
    for row in (first..compared).filter(|&row| !left.same_bits(right, row)) {
        rows += 1;
        let distance = distance(info.kind, left.as_number(row), right.as_number(row));
        if distance > largest {
            (largest, largest_row) = (distance, row);
        }
    }
    let difference = Difference {
        name: info.name.to_string(),
        unit: info.unit.to_string(),
        largest: Some(largest).filter(|largest| largest.is_finite()),
        largest_row,
        largest_at_s: time_s(largest_row),
        left: left.text(largest_row),
        right: right.text(largest_row),
        first_at_s: time_s(first),
        rows,
    };
    Some((first, difference))
}

/// Distance of two values whose bits differ; infinite if one is not finite.
fn distance(kind: ColumnKind, left: f64, right: f64) -> f64 {
    match kind {
        ColumnKind::Switch | ColumnKind::State => 1.0,
        _ if left.is_finite() && right.is_finite() => (left - right).abs(),
        _ => f64::INFINITY,
    }
}

fn about(left: &Trace, right: &Trace) -> Vec<AboutDifference> {
    let (left, right) = (left.about.entries(), right.about.entries());
    let value = |entries: &[(String, String)], key: &str| {
        entries
            .iter()
            .find(|(known, _)| known == key)
            .map(|(_, value)| value.clone())
    };
    let mut keys: Vec<&String> = left.iter().map(|(key, _)| key).collect();
    keys.extend(
        right
            .iter()
            .map(|(key, _)| key)
            .filter(|key| value(&left, key).is_none()),
    );
    keys.into_iter()
        .map(|key| AboutDifference {
            key: key.clone(),
            left: value(&left, key),
            right: value(&right, key),
        })
        .filter(|one| one.left != one.right)
        .collect()
}

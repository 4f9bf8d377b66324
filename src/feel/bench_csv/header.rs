//! The header row: what each column holds, and in which unit.

use trimproof_diagnostics::FileError;
use trimproof_plant::AxisName;

use super::lines::{BenchLine, TextCell, offer};

/// What a column of numbers holds; the factor turns its unit into ours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum HeaderColumn {
    /// Time, to s.
    Time(f64),
    /// Angle, to degrees.
    Angle(f64),
    /// Travel at the grip along its way, to m.
    Travel(f64),
    /// Force of the hand, to N.
    Force(f64),
    /// Trim rate of an axis, degrees per second.
    TrimRate(AxisName),
    /// Name of the axis.
    Axis,
    /// What the drives did.
    Condition,
    /// Sweep or response.
    Kind,
}

/// A header row.
#[derive(Clone, Debug)]
pub(super) struct Header {
    /// What each column holds.
    pub columns: Vec<HeaderColumn>,
    /// The axis, where the header names it.
    pub axis: Option<AxisName>,
}

/// Units of time, and how many seconds each is.
const TIME: [(&str, f64); 2] = [("s", 1.0), ("ms", 1e-3)];

/// Units of angle, in degrees.
const ANGLE: [(&str, f64); 2] = [("deg", 1.0), ("rad", 180.0 / std::f64::consts::PI)];

/// Units of travel at the grip, in metres.
const TRAVEL: [(&str, f64); 4] = [("mm", 1e-3), ("cm", 1e-2), ("m", 1.0), ("in", 25.4e-3)];

/// Units of force, in newtons; kg and g are the weight of that mass under standard gravity.
const FORCE: [(&str, f64); 5] = [
    ("N", 1.0),
    ("daN", 10.0),
    ("lb", crate::judge::N_PER_LB),
    ("kg", 9.806_65),
    ("g", 9.806_65e-3),
];

/// Unit of the trim rate.
const RATE: [(&str, f64); 1] = [("deg/s", 1.0)];

/// Every name that a column may have.
const NAMES: [&str; 15] = [
    "time",
    "position",
    "pitch",
    "roll",
    "position at grip",
    "pitch at grip",
    "roll at grip",
    "force",
    "pitch force",
    "roll force",
    "pitch trim rate",
    "roll trim rate",
    "axis",
    "condition",
    "kind",
];

impl Header {
    /// Reads a header row.
    pub fn read(line: &BenchLine<'_>) -> Result<Self, FileError> {
        let first = line.text.trim_start();
        let number = line.number;
        if first.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c)) {
            return Err(FileError::new(format!(
                "no header: line {number} begins with a number, `{}`",
                first.split(',').next().unwrap_or_default().trim()
            ))
            .with_span(line.span())
            .with_help(
                "the first row of each block names its columns, such as `time [s],pitch [deg],pitch force [N]`; an empty line ends a block",
            ));
        }
        if !first.contains(',') && (first.contains(';') || first.contains('\t')) {
            return Err(FileError::new(format!(
                "the columns of line {number} are not parted by commas"
            ))
            .with_span(line.span())
            .with_help("columns are parted by `,`, decimals by `.`"));
        }
        let mut header = Self {
            columns: Vec::new(),
            axis: None,
        };
        let mut generic = None;
        for cell in line.cells() {
            let (column, axis) = column(&cell)?;
            let twice = |known: &HeaderColumn| match (known, &column) {
                (HeaderColumn::TrimRate(one), HeaderColumn::TrimRate(other)) => one == other,
                _ => {
                    is_position(known) && is_position(&column)
                        || std::mem::discriminant(known) == std::mem::discriminant(&column)
                }
            };
            if header.columns.iter().any(twice) {
                return Err(FileError::new(format!(
                    "`{}` in line {number} is a column too many: there is one like it before",
                    cell.text
                ))
                .with_span(cell.span())
                .with_help("a block measures one axis; another one stands in a block of its own, after an empty line"));
            }
            let measures = is_position(&column) || matches!(column, HeaderColumn::Force(_));
            match (axis, header.axis) {
                (Some(axis), Some(known)) if measures && axis != known => {
                    return Err(FileError::new(format!(
                        "`{}` in line {number} is of another axis than the columns before it",
                        cell.text
                    ))
                    .with_span(cell.span())
                    .with_help("a block measures one axis"));
                }
                (Some(axis), _) if measures => header.axis = Some(axis),
                (None, _) if measures => generic = Some(cell),
                _ => {}
            }
            header.columns.push(column);
        }
        header.complete(line, generic)?;
        Ok(header)
    }

    /// Whether there is such a column.
    pub fn has(&self, wanted: impl Fn(&HeaderColumn) -> bool) -> bool {
        self.columns.iter().any(wanted)
    }

    /// Whether this is a block of trim rates.
    pub fn is_trim_rate(&self) -> bool {
        self.has(|column| matches!(column, HeaderColumn::TrimRate(_)))
    }

    /// Whether there is a force, without which there is no sweep.
    pub fn has_force(&self) -> bool {
        self.has(|column| matches!(column, HeaderColumn::Force(_)))
    }

    /// What a block needs is there.
    fn complete(
        &self,
        line: &BenchLine<'_>,
        generic: Option<TextCell<'_>>,
    ) -> Result<(), FileError> {
        let number = line.number;
        let missing = |what: &str, help: &str| {
            Err(
                FileError::new(format!("line {number} lacks a column: {what}"))
                    .with_span(line.span())
                    .with_help(help),
            )
        };
        if self.is_trim_rate() {
            if self.has(|column| !matches!(column, HeaderColumn::TrimRate(_))) {
                return Err(FileError::new(format!(
                    "line {number} has a trim rate beside other columns"
                ))
                .with_span(line.span())
                .with_help(
                    "trim rates stand in a block of their own, after an empty line, in one row",
                ));
            }
            return Ok(());
        }
        if !self.has(|column| matches!(column, HeaderColumn::Time(_))) {
            return missing("`time`", "add `time [s]` or `time [ms]`");
        }
        if !self.has(is_position) {
            return missing(
                "a position",
                "add one such as `pitch [deg]`, `roll [rad]`, `pitch at grip [mm]` or, with a column `axis`, `position [deg]`",
            );
        }
        match (self.has(|column| *column == HeaderColumn::Axis), generic) {
            (false, Some(cell)) if self.axis.is_none() => Err(FileError::new(format!(
                "`{}` in line {number} is of no axis",
                cell.text
            ))
            .with_span(cell.span())
            .with_help("name the axis, as in `pitch [deg]`, or add a column `axis`")),
            (true, _) if self.axis.is_some() => Err(FileError::new(format!(
                "line {number} names the axis and has a column `axis` too"
            ))
            .with_span(line.span())
            .with_help("with a column `axis` the others are `position` and `force`")),
            _ => Ok(()),
        }
    }
}

fn is_position(column: &HeaderColumn) -> bool {
    matches!(column, HeaderColumn::Angle(_) | HeaderColumn::Travel(_))
}

/// One cell of the header: what it holds and of which axis.
fn column(cell: &TextCell<'_>) -> Result<(HeaderColumn, Option<AxisName>), FileError> {
    let (name, unit) = match cell.text.split_once('[') {
        Some((name, rest)) => match rest.strip_suffix(']') {
            Some(unit) => (name.trim(), Some(unit.trim())),
            None => {
                return Err(FileError::new(format!(
                    "`{}` in line {} has no `]`",
                    cell.text, cell.line
                ))
                .with_span(cell.span())
                .with_help("a column is named as in `time [s]`"));
            }
        },
        None => (cell.text, None),
    };
    if !NAMES.contains(&name) {
        return Err(
            FileError::new(format!("unknown column `{name}` in line {}", cell.line))
                .with_span(cell.span())
                .with_help(offer(name, &NAMES)),
        );
    }
    let of_axis = |axis: AxisName| name.strip_prefix(axis.name());
    let (axis, rest) = AxisName::ALL
        .into_iter()
        .find_map(|axis| Some((Some(axis), of_axis(axis)?.trim_start())))
        .unwrap_or((None, name));
    let number = |units: &[(&str, f64)]| factor(cell, name, unit, units);
    let column = match rest {
        "time" => HeaderColumn::Time(number(&TIME)?),
        "" | "position" => HeaderColumn::Angle(number(&ANGLE)?),
        "at grip" | "position at grip" => HeaderColumn::Travel(number(&TRAVEL)?),
        "force" => HeaderColumn::Force(number(&FORCE)?),
        "trim rate" => {
            number(&RATE)?;
            HeaderColumn::TrimRate(axis.unwrap_or(AxisName::Pitch))
        }
        word => {
            if let Some(unit) = unit {
                return Err(FileError::new(format!(
                    "`{word}` in line {} holds names, it has no unit `{unit}`",
                    cell.line
                ))
                .with_span(cell.span()));
            }
            match word {
                "axis" => HeaderColumn::Axis,
                "condition" => HeaderColumn::Condition,
                _ => HeaderColumn::Kind,
            }
        }
    };
    Ok((column, axis))
}

/// The factor of a column's unit, or an error that lists the units it may have.
fn factor(
    cell: &TextCell<'_>,
    name: &str,
    unit: Option<&str>,
    units: &[(&str, f64)],
) -> Result<f64, FileError> {
    let list = units
        .iter()
        .map(|(unit, _)| format!("`{name} [{unit}]`"))
        .collect::<Vec<_>>()
        .join(", ");
    let found = unit.and_then(|unit| units.iter().find(|(known, _)| *known == unit));
    match (found, unit) {
        (Some((_, factor)), _) => Ok(*factor),
        (None, Some(unit)) => Err(FileError::new(format!(
            "unknown unit `{unit}` of `{name}` in line {}",
            cell.line
        ))
        .with_span(cell.span())
        .with_help(format!("known here: {list}"))),
        (None, None) => Err(
            FileError::new(format!("`{name}` in line {} has no unit", cell.line))
                .with_span(cell.span())
                .with_help(format!("known here: {list}")),
        ),
    }
}

//! The rows of a block, parted into measurements.

use std::ops::Range;

use trimproof_diagnostics::FileError;
use trimproof_plant::AxisName;

use crate::record::{Condition, ResponseSample, SweepSample};

use super::header::{Header, HeaderColumn};
use super::lines::{BenchLine, Lines, ROWS_MAX, TextCell, axis, choice, condition};

/// What a measurement is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum RowKind {
    /// Force against position.
    Sweep,
    /// Position after the release.
    Response,
}

impl RowKind {
    const ALL: [Self; 2] = [Self::Sweep, Self::Response];

    /// Name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sweep => "sweep",
            Self::Response => "response",
        }
    }
}

/// One measurement's rows.
#[derive(Clone, Debug)]
pub(super) struct BenchRows {
    pub kind: RowKind,
    pub axis: AxisName,
    pub condition: Condition,
    pub sweep: Vec<SweepSample>,
    pub response: Vec<ResponseSample>,
    /// Bytes of its first and last row.
    pub first: Range<usize>,
    pub last: Range<usize>,
    /// Number of its first line.
    pub line: usize,
}

/// What the cells of one row say.
#[derive(Clone, Copy, Debug, Default)]
struct BenchRow<'a> {
    time: Option<(f64, TextCell<'a>)>,
    position_deg: Option<f64>,
    force_n: Option<f64>,
    axis: Option<AxisName>,
    condition: Option<Condition>,
    kind: Option<RowKind>,
}

/// Reads the rows of a block up to its end. A change of axis, condition or kind begins a new
/// measurement.
pub(super) fn read(
    header: &Header,
    lines: &mut Lines<'_>,
    grip_radius_m: f64,
    rows_left: &mut usize,
) -> Result<Vec<BenchRows>, FileError> {
    let mut found: Vec<BenchRows> = Vec::new();
    let mut before = f64::MIN;
    while let Some(line) = lines.next_row() {
        *rows_left = rows_left.checked_sub(1).ok_or_else(|| {
            FileError::new(format!(
                "line {} is a row too many: a file has at most `{ROWS_MAX}` rows",
                line.number
            ))
            .with_span(line.span())
            .with_help("read the gauge less often, or average neighbouring readings")
        })?;
        let row = row(header, &line, grip_radius_m)?;
        let axis = row.axis.or(header.axis).unwrap_or(AxisName::Pitch);
        let condition = row.condition.unwrap_or(Condition::Held);
        let kind = row.kind.unwrap_or(if header.has_force() {
            RowKind::Sweep
        } else {
            RowKind::Response
        });
        let same = found
            .last()
            .is_some_and(|rows| (rows.axis, rows.condition, rows.kind) == (axis, condition, kind));
        if !same {
            before = f64::MIN;
            found.push(BenchRows {
                kind,
                axis,
                condition,
                sweep: Vec::new(),
                response: Vec::new(),
                first: line.span(),
                last: line.span(),
                line: line.number,
            });
        }
        let (time_s, cell) = row.time.unwrap_or_default();
        if time_s <= before {
            return Err(FileError::new(format!(
                "time `{}` in line {} is not after the time before it, `{before}` s",
                cell.text, line.number
            ))
            .with_span(cell.span())
            .with_help("time rises from row to row; another measurement begins after an empty line, with a header"));
        }
        before = time_s;
        let position_deg = row.position_deg.unwrap_or_default();
        if let Some(rows) = found.last_mut() {
            rows.last = line.span();
            match kind {
                RowKind::Response => rows.response.push(ResponseSample {
                    time_s,
                    position_deg,
                }),
                RowKind::Sweep => rows.sweep.push(SweepSample {
                    time_s,
                    position_deg,
                    force_n: row.force_n.ok_or_else(|| {
                        FileError::new(format!("the sweep in line {} has no force", line.number))
                            .with_span(line.span())
                            .with_help("every row of a sweep has a force, as in `pitch force [N]`; a response has the kind `response`")
                    })?,
                }),
            }
        }
    }
    Ok(found)
}

/// The one row of a block of trim rates, `[pitch, roll]`; none if the block is of another kind.
pub(super) fn trim_rates(
    header: &Header,
    line: &BenchLine<'_>,
    lines: &mut Lines<'_>,
) -> Result<Option<[Option<f64>; 2]>, FileError> {
    if !header.is_trim_rate() {
        return Ok(None);
    }
    let (Some(row), None) = (lines.next_row(), lines.next_row()) else {
        return Err(FileError::new(format!(
            "the trim rates of line {} take one row, no more and no less",
            line.number
        ))
        .with_span(line.span()));
    };
    counted(header, &row)?;
    let mut rates = [None; 2];
    for (column, cell) in header.columns.iter().zip(row.cells()) {
        if let HeaderColumn::TrimRate(axis) = column
            && !cell.text.is_empty()
        {
            rates[axis.index()] = Some(number(&cell)?);
        }
    }
    Ok(Some(rates))
}

fn row<'a>(
    header: &Header,
    line: &BenchLine<'a>,
    grip_radius_m: f64,
) -> Result<BenchRow<'a>, FileError> {
    let mut row = BenchRow::default();
    let mut columns = header.columns.iter();
    for cell in line.cells() {
        let Some(column) = columns.next() else {
            return Err(uneven(header, line));
        };
        match column {
            HeaderColumn::Time(factor) => row.time = Some((factor * number(&cell)?, cell)),
            HeaderColumn::Angle(factor) => row.position_deg = Some(factor * number(&cell)?),
            HeaderColumn::Travel(factor) => {
                row.position_deg = Some((factor * number(&cell)? / grip_radius_m).to_degrees());
            }
            // A response needs none; a sweep without one is reported below.
            HeaderColumn::Force(_) if cell.text.is_empty() => {}
            HeaderColumn::Force(factor) => row.force_n = Some(factor * number(&cell)?),
            HeaderColumn::Axis => row.axis = Some(axis(&cell)?),
            HeaderColumn::Condition => row.condition = Some(condition(&cell)?),
            HeaderColumn::Kind => {
                row.kind = Some(choice(
                    &cell,
                    "kind",
                    &RowKind::ALL.map(|kind| (kind.name(), kind)),
                )?);
            }
            HeaderColumn::TrimRate(_) => {}
        }
    }
    if columns.next().is_some() {
        return Err(uneven(header, line));
    }
    Ok(row)
}

/// A row has as many cells as the header.
fn counted(header: &Header, line: &BenchLine<'_>) -> Result<(), FileError> {
    if line.cells().count() == header.columns.len() {
        Ok(())
    } else {
        Err(uneven(header, line))
    }
}

fn uneven(header: &Header, line: &BenchLine<'_>) -> FileError {
    FileError::new(format!(
        "line {} has `{}` cells, its header has `{}`",
        line.number,
        line.cells().count(),
        header.columns.len()
    ))
    .with_span(line.span())
    .with_help("cells are parted by `,`, decimals by `.`")
}

/// A finite number.
fn number(cell: &TextCell<'_>) -> Result<f64, FileError> {
    let value: f64 = cell.text.parse().map_err(|_| {
        let what = if cell.text.is_empty() {
            format!("a cell of line {} is empty", cell.line)
        } else {
            format!("`{}` in line {} is not a number", cell.text, cell.line)
        };
        FileError::new(what)
            .with_span(cell.span())
            .with_help("numbers are written as in `-1.25`; a new block begins after an empty line")
    })?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err(FileError::new(format!(
            "`{}` in line {} is not a finite number",
            cell.text, cell.line
        ))
        .with_span(cell.span()))
    }
}

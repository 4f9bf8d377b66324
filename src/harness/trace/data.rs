//! The values of one column, stored by their type.

use std::ops::Range;

use trimproof_io::State;

use super::row::{Cell, ColumnKind, Row};

/// Values of one column.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Data {
    /// Numbers; never any NaN but `f64::NAN`.
    Number(Vec<f64>),
    Integer(Vec<i32>),
    Switch(Vec<bool>),
    /// Codes: indices in `State::ALL`.
    State(Vec<u8>),
}

impl Data {
    pub(super) fn new(kind: ColumnKind, capacity: usize) -> Self {
        match kind {
            ColumnKind::Number => Self::Number(Vec::with_capacity(capacity)),
            ColumnKind::Integer => Self::Integer(Vec::with_capacity(capacity)),
            ColumnKind::Switch => Self::Switch(Vec::with_capacity(capacity)),
            ColumnKind::State => Self::State(Vec::with_capacity(capacity)),
        }
    }

    /// Appends a value; the table of columns makes sure that it is of the column's kind.
    pub(super) fn push(&mut self, cell: Cell) {
        match (self, cell) {
            (Self::Number(values), Cell::Number(value)) => values.push(one_nan(value)),
            (Self::Integer(values), Cell::Integer(value)) => values.push(value),
            (Self::Switch(values), Cell::Switch(value)) => values.push(value),
            (Self::State(codes), Cell::State(state)) => codes.push(code(state)),
            (data, cell) => unreachable!("a {cell:?} in a column of {:?}", data.kind()),
        }
    }

    /// Appends a value of each row; the table of columns makes sure that it is of the column's
    /// kind.
    pub(super) fn append_rows(&mut self, rows: &[Row], cell: impl Fn(&Row) -> Cell) {
        macro_rules! values {
            ($values:ident, $kind:ident, $value:expr) => {
                $values.extend(rows.iter().map(|row| match cell(row) {
                    Cell::$kind(value) => $value(value),
                    other => unreachable!("a {other:?} in a column of {}s", stringify!($kind)),
                }))
            };
        }
        match self {
            Self::Number(values) => values!(values, Number, one_nan),
            Self::Integer(values) => values!(values, Integer, i32::from),
            Self::Switch(values) => values!(values, Switch, bool::from),
            Self::State(codes) => values!(codes, State, code),
        }
    }

    /// Forgets every value.
    pub(super) fn clear(&mut self) {
        match self {
            Self::Number(values) => values.clear(),
            Self::Integer(values) => values.clear(),
            Self::Switch(values) => values.clear(),
            Self::State(codes) => codes.clear(),
        }
    }

    /// Appends the values of a column of the same kind.
    pub(super) fn append(&mut self, other: &Self) {
        match (self, other) {
            (Self::Number(values), Self::Number(other)) => values.extend_from_slice(other),
            (Self::Integer(values), Self::Integer(other)) => values.extend_from_slice(other),
            (Self::Switch(values), Self::Switch(other)) => values.extend_from_slice(other),
            (Self::State(codes), Self::State(other)) => codes.extend_from_slice(other),
            (data, other) => unreachable!("a {:?} in a column of {:?}", other.kind(), data.kind()),
        }
    }

    pub(crate) fn kind(&self) -> ColumnKind {
        match self {
            Self::Number(_) => ColumnKind::Number,
            Self::Integer(_) => ColumnKind::Integer,
            Self::Switch(_) => ColumnKind::Switch,
            Self::State(_) => ColumnKind::State,
        }
    }

    pub(crate) fn len(&self) -> usize {
        match self {
            Self::Number(values) => values.len(),
            Self::Integer(values) => values.len(),
            Self::Switch(values) => values.len(),
            Self::State(values) => values.len(),
        }
    }

    /// The value as a number: switches 0 and 1, states their code.
    pub(crate) fn as_number(&self, row: usize) -> f64 {
        match self {
            Self::Number(values) => values[row],
            Self::Integer(values) => f64::from(values[row]),
            Self::Switch(values) => f64::from(u8::from(values[row])),
            Self::State(values) => f64::from(values[row]),
        }
    }

    /// Appends all values as numbers, as [`Data::as_number`] gives them.
    pub(super) fn append_to(&self, numbers: &mut Vec<f64>) {
        match self {
            Self::Number(values) => numbers.extend_from_slice(values),
            Self::Integer(values) => numbers.extend(values.iter().map(|value| f64::from(*value))),
            Self::Switch(values) => {
                numbers.extend(values.iter().map(|on| f64::from(u8::from(*on))));
            }
            Self::State(codes) => numbers.extend(codes.iter().map(|code| f64::from(*code))),
        }
    }

    /// The value as it stands in a CSV file: shortest digits that give the same bits, 0 and 1,
    /// state names.
    pub(crate) fn text(&self, row: usize) -> String {
        match self {
            Self::Number(values) => format!("{:?}", values[row]),
            Self::Integer(values) => values[row].to_string(),
            Self::Switch(values) => (if values[row] { "1" } else { "0" }).to_owned(),
            Self::State(codes) => state_name(codes[row]).to_owned(),
        }
    }

    /// Appends a value in the form of [`Data::text`]; `Err` says what it must be.
    pub(super) fn push_text(&mut self, text: &str) -> Result<(), String> {
        match self {
            Self::Number(_) => {
                let value = text.parse().map_err(|_| "it must be a number".to_owned())?;
                self.push(Cell::Number(value));
            }
            Self::Integer(values) => values.push(
                text.parse()
                    .map_err(|_| "it must be a whole number".to_owned())?,
            ),
            Self::Switch(values) => match text {
                "0" => values.push(false),
                "1" => values.push(true),
                _ => return Err("it must be `0` or `1`".to_owned()),
            },
            Self::State(codes) => codes.push(state_code(text)?),
        }
        Ok(())
    }

    /// Lays the bits of these rows' values, little end first, into `block`: at `offset` of each row
    /// of `width` bytes.
    pub(super) fn lay(&self, rows: Range<usize>, block: &mut [u8], offset: usize, width: usize) {
        match self {
            Self::Number(values) => lay_all(
                &values[rows],
                |value| value.to_bits().to_le_bytes(),
                block,
                offset,
                width,
            ),
            Self::Integer(values) => {
                lay_all(&values[rows], i32::to_le_bytes, block, offset, width);
            }
            Self::Switch(values) => lay_all(
                &values[rows],
                |value| [u8::from(value)],
                block,
                offset,
                width,
            ),
            Self::State(codes) => lay_all(&codes[rows], |code| [code], block, offset, width),
        }
    }

    /// Whether the bits of two values agree.
    pub(crate) fn same_bits(&self, other: &Self, row: usize) -> bool {
        match (self, other) {
            (Self::Number(left), Self::Number(right)) => {
                left[row].to_bits() == right[row].to_bits()
            }
            _ => self.as_number(row) == other.as_number(row),
        }
    }
}

/// The one NaN for any: files can give that one back.
fn one_nan(value: f64) -> f64 {
    if value.is_nan() { f64::NAN } else { value }
}

/// Code of a state: its index in `State::ALL`.
pub(super) fn code(state: State) -> u8 {
    // `State::ALL` is in the order of the declaration (tested), and there are far fewer than 256.
    state as u8
}

/// Name of the state with this code.
pub(super) fn state_name(code: u8) -> &'static str {
    State::ALL
        .get(usize::from(code))
        .map_or("unknown", |state| state.name())
}

/// Code of the state with this name; `Err` says what it must be.
pub(super) fn state_code(name: &str) -> Result<u8, String> {
    State::ALL
        .iter()
        .copied()
        .find(|state| state.name() == name)
        .map(code)
        .ok_or_else(|| {
            let names: Vec<_> = State::ALL
                .iter()
                .map(|state| format!("`{}`", state.name()))
                .collect();
            format!("it must be one of {}", names.join(", "))
        })
}

fn lay_all<T: Copy, const N: usize>(
    values: &[T],
    bytes: impl Fn(T) -> [u8; N],
    block: &mut [u8],
    offset: usize,
    width: usize,
) {
    for (value, row) in values.iter().zip(block.chunks_exact_mut(width)) {
        row[offset..offset + N].copy_from_slice(&bytes(*value));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_code_of_a_state_is_its_place() {
        for (index, state) in State::ALL.iter().enumerate() {
            assert_eq!(usize::from(code(*state)), index);
            assert_eq!(state_name(code(*state)), state.name());
            assert_eq!(state_code(state.name()), Ok(code(*state)));
        }
    }
}

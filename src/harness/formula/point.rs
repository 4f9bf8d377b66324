//! The margin of one subformula in one row, packed into 16 bytes.

use std::cmp::Ordering;

/// Value, truth, the row and the comparison that decided.
///
/// Points are ordered by value and, at equal values, false before true. A value above 0 is always true and
/// one below 0 always false, so the lesser of two points carries exactly the truth of "and".
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub value: f64,
    pub row: u32,
    /// Index of the atom plus one, shifted left twice; the second bit says that the atom was
    /// undefined, the lowest is the truth.
    tag: u32,
}

impl Point {
    /// A point that the atom of this index decided.
    pub fn new(value: f64, truth: bool, row: usize, atom: usize) -> Self {
        Self {
            value,
            row: small(row),
            tag: (small(atom) + 1) << 2 | u32::from(truth),
        }
    }

    /// A point whose atom has no value there, put on the given side.
    pub fn undefined(truth: bool, row: usize, atom: usize) -> Self {
        let mut point = Self::new(infinite(truth), truth, row, atom);
        point.tag |= UNDEFINED;
        point
    }

    /// Plain truth that no comparison decided.
    pub fn plain(truth: bool, row: usize) -> Self {
        Self {
            value: infinite(truth),
            row: small(row),
            tag: u32::from(truth),
        }
    }

    /// Whether it holds.
    pub fn truth(self) -> bool {
        self.tag & 1 == 1
    }

    /// Index of the deciding atom; past every index if none decided.
    pub fn atom(self) -> usize {
        (self.tag >> 2).wrapping_sub(1) as usize
    }

    /// Whether the deciding atom was undefined.
    pub fn is_undefined(self) -> bool {
        self.tag & UNDEFINED != 0
    }

    /// Its opposite.
    pub fn negated(self) -> Self {
        Self {
            value: -self.value,
            row: self.row,
            tag: self.tag ^ 1,
        }
    }

    /// The order of margins.
    pub fn rank(self, other: Self) -> Ordering {
        self.value
            .partial_cmp(&other.value)
            .unwrap_or(Ordering::Equal)
            .then(self.truth().cmp(&other.truth()))
    }

    /// "And": the lesser; of equals the earlier, then `self`.
    pub fn and(self, other: Self) -> Self {
        self.choose(other, Ordering::Less)
    }

    /// An edge: `self` is the row after it, `before` the row before. The lesser decides; of equals
    /// the row after, where the edge is.
    pub fn edge(self, before: Self) -> Self {
        match self.rank(before) {
            Ordering::Greater => before,
            _ => self,
        }
    }

    /// "Or": the greater; of equals the earlier, then `self`.
    pub fn or(self, other: Self) -> Self {
        self.choose(other, Ordering::Greater)
    }

    fn choose(self, other: Self, wanted: Ordering) -> Self {
        match self.rank(other) {
            Ordering::Equal if other.row < self.row => other,
            Ordering::Equal => self,
            order if order == wanted => self,
            _ => other,
        }
    }
}

/// The bit of a tag that says that the atom was undefined.
const UNDEFINED: u32 = 2;

/// Margin of plain truth.
pub(super) fn infinite(truth: bool) -> f64 {
    if truth {
        f64::INFINITY
    } else {
        f64::NEG_INFINITY
    }
}

/// Rows and atoms fit easily: a trace of 2^32 rows lasts 99 days at 500 Hz, and texts are short.
fn small(index: usize) -> u32 {
    u32::try_from(index).unwrap_or(u32::MAX)
}

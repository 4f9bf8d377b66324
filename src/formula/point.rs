//! The margin of one subformula in one row, packed into 16 bytes.

/// Value, truth, the row and the comparison that decided.
///
/// Points are ordered by value and, at equal values, false before true. A value above 0 is always
/// true and one below 0 always false, so the lesser of two points carries exactly the truth of
/// "and".
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RowPoint {
    /// Never a NaN.
    pub value: f64,
    /// From the highest bit: the truth; 32 bits of the row; the index of the atom plus one; whether
    /// the atom was undefined. So of equal values those bits alone say which decides.
    rest: u64,
}

/// The bit of the truth.
const TRUE: u64 = 1 << 63;

/// Where the row begins.
const ROW_SHIFT: u32 = 31;

/// The bit that says that the deciding atom was undefined.
const UNDEFINED: u64 = 1;

/// Most atoms that fit; texts are short.
const ATOMS_MAX: u64 = (1 << (ROW_SHIFT - 1)) - 1;

impl RowPoint {
    /// A point that the atom of this index decided.
    pub fn new(value: f64, truth: bool, row: usize, atom: usize) -> Self {
        let atom = (atom as u64 + 1).min(ATOMS_MAX) << 1;
        Self {
            value,
            rest: u64::from(truth) << 63 | small(row) << ROW_SHIFT | atom,
        }
    }

    /// A point whose atom has no value there, put on the given side.
    pub fn undefined(truth: bool, row: usize, atom: usize) -> Self {
        let mut point = Self::new(infinite(truth), truth, row, atom);
        point.rest |= UNDEFINED;
        point
    }

    /// Plain truth that no comparison decided.
    pub fn plain(truth: bool, row: usize) -> Self {
        Self {
            value: infinite(truth),
            rest: u64::from(truth) << 63 | small(row) << ROW_SHIFT,
        }
    }

    /// Whether it holds.
    pub fn truth(self) -> bool {
        self.rest & TRUE != 0
    }

    /// The row that decided.
    pub fn row(self) -> usize {
        (self.rest >> ROW_SHIFT) as u32 as usize
    }

    /// Index of the deciding atom; past every index if none decided.
    pub fn atom(self) -> usize {
        ((self.rest >> 1 & ATOMS_MAX) as usize).wrapping_sub(1)
    }

    /// Whether the deciding atom was undefined.
    pub fn is_undefined(self) -> bool {
        self.rest & UNDEFINED != 0
    }

    /// Its opposite.
    pub fn negated(self) -> Self {
        Self {
            value: -self.value,
            rest: self.rest ^ TRUE,
        }
    }

    /// "And": the lesser; of equals the earlier, then `self`.
    pub fn and(self, other: Self) -> Self {
        *self.lesser(&other)
    }

    /// [`Self::and`] without a copy.
    pub fn lesser<'a>(&'a self, other: &'a Self) -> &'a Self {
        // Without jumps: which of two is less changes from row to row.
        let earlier = other.rest >> ROW_SHIFT < self.rest >> ROW_SHIFT;
        let takes = (other.value < self.value) | ((other.value == self.value) & earlier);
        if takes { other } else { self }
    }

    /// An edge: `self` is the row after it, `before` the row before. The lesser decides; of equals
    /// the row after, where the edge is.
    pub fn edge(self, before: Self) -> Self {
        if before.is_less(&self) { before } else { self }
    }

    /// "Or": the greater; of equals the earlier, then `self`.
    pub fn or(self, other: Self) -> Self {
        *self.greater(&other)
    }

    /// [`Self::or`] without a copy.
    pub fn greater<'a>(&'a self, other: &'a Self) -> &'a Self {
        // True comes first here.
        let earlier = (other.rest ^ TRUE) >> ROW_SHIFT < (self.rest ^ TRUE) >> ROW_SHIFT;
        let takes = (other.value > self.value) | ((other.value == self.value) & earlier);
        if takes { other } else { self }
    }

    /// Whether it comes before another in the order of margins, strictly.
    pub fn is_less(&self, other: &Self) -> bool {
        let less = self.rest & TRUE < other.rest & TRUE;
        (self.value < other.value) | ((self.value == other.value) & less)
    }

    /// Its bits.
    pub fn to_bytes(self) -> [u8; 16] {
        let bits = u128::from(self.rest) << 64 | u128::from(self.value.to_bits());
        bits.to_le_bytes()
    }

    /// The point with these bits.
    pub fn from_bytes(bytes: &[u8; 16]) -> Self {
        let bits = u128::from_le_bytes(*bytes);
        Self {
            value: f64::from_bits(bits as u64),
            rest: (bits >> 64) as u64,
        }
    }
}

/// Margin of plain truth.
pub(super) fn infinite(truth: bool) -> f64 {
    if truth {
        f64::INFINITY
    } else {
        f64::NEG_INFINITY
    }
}

/// Rows fit easily: a trace of 2^32 of them lasts 99 days at 500 Hz.
fn small(row: usize) -> u64 {
    u64::from(u32::try_from(row).unwrap_or(u32::MAX))
}

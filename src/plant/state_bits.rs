//! A state as its bits, and what is known by them of the last tick. `rest.rs` compares them.

/// A state, bit for bit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct StateBits(Vec<u64>);

impl StateBits {
    /// Notes numbers; 0 and −0 differ.
    pub(crate) fn numbers(&mut self, values: &[f64]) {
        self.0.extend(values.iter().map(|value| value.to_bits()));
    }

    /// Notes a count or a choice.
    pub(crate) fn count(&mut self, value: u64) {
        self.0.push(value);
    }

    pub(crate) fn clear(&mut self) {
        self.0.clear();
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// What is known of the tick that was computed last.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rest {
    /// State at the start of that tick; empty if something moved.
    pub(crate) start: StateBits,
    /// State at its end, or at the start of the tick to come.
    pub(crate) other: StateBits,
    /// Whether that tick changed nothing.
    pub(crate) is_fixed: bool,
}

impl Rest {
    /// Forgets what was known: something has changed in the middle.
    pub(crate) fn clear(&mut self) {
        self.start.clear();
        self.is_fixed = false;
    }
}

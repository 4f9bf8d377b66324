//! Tests of the crate as a whole.

mod hostile;

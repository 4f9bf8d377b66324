//! The seam at the pins, against programs in this process.

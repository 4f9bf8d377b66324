//! Pictures and pages: what was run, measured and sized, for people who would rather look than read.
//!
//! Comes in: traces, judgements, records, figures. Goes out: SVG, PNG (feature `png`), HTML; all as text or bytes, no file
//! is written here. The same input gives the same bytes on every machine: fonts are built in, nothing asks the system.

pub mod page;
pub mod picture;

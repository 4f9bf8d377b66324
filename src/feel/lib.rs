//! Feel: what the pilot's hand meets, measured as the trade measures it, and the drawing board's questions.
//!
//! A [`record::Record`] is what was measured at the grip, on the twin or on the bench; [`figures::Figures`] are what it
//! comes down to. Texts and rigs are arguments: no files, no ports, no clock.

pub mod bench_csv;
pub mod extract;
pub mod figures;
pub mod fit;
pub mod judge;
pub mod measure;
pub mod page;
pub mod picture;
pub mod plausible;
pub mod record;
pub mod size;

//! Feel: what the pilot's hand meets, measured as the trade measures it, judged, and what a record
//! says of a rig.
//!
//! A [`record::Record`] is what was measured at the grip, on the twin or on the bench;
//! [`figures::Figures`] are what it comes down to. Texts and rigs are arguments: no files, no
//! ports, no clock.
//!
//! ```
//! use trimproof_feel::bench_csv;
//!
//! // A record without a heading is refused, with what it must begin with; the grip is 0.33 m from the pivot.
//! assert!(bench_csv::read("1,2,3\n", 0.33).is_err());
//! ```

pub mod bench_csv;
pub mod extract;
pub mod figures;
pub mod fit;
pub mod judge;
pub mod measure;
pub mod plausible;
pub mod record;

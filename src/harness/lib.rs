//! Scenarios, runs, traces, expectations and verdicts.
//!
//! A scenario drives the twin of a rig and a controller in a closed loop; the trace of it is judged by formulas
//! with margins, kept as CSV or MCAP, shown as a card and compared with others.

pub mod card;
pub mod compare;
pub mod judge;
pub mod junit;
pub mod laws;
pub mod palette;
pub mod rig;
pub mod run;
pub mod scenario;
pub mod suite;
pub mod trace;

#[cfg(test)]
mod test_hostile;

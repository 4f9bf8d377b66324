//! Scenarios, runs, traces, expectations and verdicts.
//!
//! A scenario drives the twin of a rig and a controller in a closed loop; the trace of it is judged
//! by formulas with margins, kept as CSV or MCAP, shown as a card and compared with others.
//!
//! ```
//! use trimproof_harness::{judge::judge, rig::RigFile, run::LogicTarget, run::run_scenario, scenario::Scenario};
//!
//! let rig = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../scenarios/rigs/kittiwake.toml"));
//! let rig = RigFile::parse(rig).unwrap();
//! let scenario = Scenario::parse(r#"
//! title = "Power-up"
//! purpose = "The drives hold the stick after a second."
//! rigs = ["kittiwake"]
//! length_s = 1.5
//! [[expect]]
//! name = "holds"
//! formula = "always[1.2, 1.5] (state is holding)"
//! "#).unwrap();
//! let run = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true);
//! assert!(run.end.is_complete());
//! assert!(judge(&rig, &scenario, &run.trace)[0].passes());
//! ```

pub mod card;
pub mod compare;
pub mod firmware;
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
mod tests;

//! A suite: many scenarios on many rigs, checked together, run in parallel, reported in order.

mod files;
mod follow;
mod inherit;
mod load;
mod place;
mod runner;
#[cfg(test)]
mod tests;

pub use files::{MAX_FILE_BYTES, Problem, plain, read_text, read_text_within};
pub use load::{Case, list, load, load_rig, rigs_in, warnings};
pub use place::{remove_old, try_file, try_folder, write_whole};
pub use runner::{Draw, End, Outcome, Picture, Plan, run_suite};

//! Keeps the trace of a run as a file, reads it back and asks it what it has.
//!
//! Run it with `cargo run --example read_trace`.

use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, run_scenario};
use trimproof_harness::scenario::Scenario;
use trimproof_harness::trace::Trace;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let rig = std::fs::read_to_string("scenarios/rigs/kittiwake.toml")?;
    let rig = RigFile::parse(&rig).map_err(|error| error.message)?;
    let scenario = std::fs::read_to_string("scenarios/nudge-tap.toml")?;
    let scenario = Scenario::parse(&scenario).map_err(|error| error.message)?;
    let run = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true);

    let folder = tempfile::tempdir()?;
    let file = folder.path().join("nudge-tap.csv");
    run.trace.write(&file)?;
    let trace = Trace::read(&file)?;
    // What is read has the very bits that were written.
    assert_eq!(trace.hash(), run.trace.hash());
    println!("{} rows, {} columns", trace.rows(), trace.columns().count());

    let stick_deg = trace.numbers("pitch.stick_deg").unwrap_or_default();
    let highest_deg = stick_deg.iter().copied().fold(f64::MIN, f64::max);
    println!("pitch.stick_deg is {highest_deg:.2} at most");
    // A controller that reports no state gives no such column.
    match trace.column("state") {
        Some(info) => println!("state: {}", info.meaning),
        None => println!("the controller reports no state"),
    }
    Ok(())
}

//! Runs a scenario that stands in this file against the controller in this process, and judges it.
//!
//! Run it with `cargo run --example own_scenario`.

use trimproof_harness::judge::judge;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, run_scenario};
use trimproof_harness::scenario::Scenario;

const SCENARIO: &str = r#"
title = "The stick is let go 5 degrees aft"
purpose = "It comes back to the trimmed position."
rigs = ["kittiwake"]
length_s = 5.0

[[do]]
what = "grip"
at_s = 3.0

[[do]]
what = "carry"
at_s = 3.0
pitch_deg = 5.0
over_s = 0.5

[[do]]
what = "let_go_stick"
at_s = 4.0

[[expect]]
name = "back within a degree"
formula = "always[4.8, 5.0] (abs(pitch.stick_deg - pitch.reference_deg) < 1.0)"
because = "breakout is far above friction"
"#;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let text = std::fs::read_to_string("scenarios/rigs/kittiwake.toml")?;
    let rig = RigFile::parse(&text).map_err(|error| error.message)?;
    let scenario = Scenario::parse(SCENARIO).map_err(|error| error.message)?;
    let run = run_scenario(&rig, &scenario, &mut LogicTarget::new(), &mut |_| true);
    if let Some(cut) = run.end.cut() {
        return Err(cut.to_string().into());
    }
    for judgement in judge(&rig, &scenario, &run.trace) {
        println!(
            "{} {}: margin {}, worst at {:.3} s",
            judgement.verdict.word(),
            judgement.name,
            judgement.margin_text(),
            judgement.at_s
        );
    }
    Ok(())
}

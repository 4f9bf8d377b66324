//! What a scenario must keep to on a rig: a start that the stops leave, and events that are seen at
//! its ticks.

use crate::rig::RigFile;
use trimproof_diagnostics::FileError;
use trimproof_plant::{AxisName, StartConflict};

use super::{Event, Scenario};

/// Slack of times, s: the rounding of decimal fractions.
const SLACK_S: f64 = 1e-9;

/// Checks what needs the rig's numbers, formulas left out. `text` is the scenario file's.
///
/// # Errors
/// A start beyond a stop or inside an obstacle; a hold, a dip or a fault that is over at the tick
/// at which it begins.
pub(crate) fn check(rig: &RigFile, scenario: &Scenario, text: &str) -> Result<(), FileError> {
    start(rig, scenario, text)?;
    for (index, event) in scenario.events.iter().enumerate() {
        let for_s = match event {
            Event::Hold { for_s, .. } | Event::Dip { for_s, .. } => *for_s,
            Event::Fault {
                for_s: Some(for_s), ..
            } => *for_s,
            _ => continue,
        };
        let tick_hz = f64::from(rig.board.tick_hz);
        let tick = |at_s: f64| ((at_s - SLACK_S) * tick_hz).ceil().max(0.0);
        if tick(event.at_s()) >= tick(event.at_s() + for_s) {
            let message = format!(
                "`{}` for `{for_s}` s from `{}` s on begins and ends between two ticks of `{}`, 1/{} s apart: nothing would come of it",
                event.what(),
                event.at_s(),
                rig.name,
                rig.board.tick_hz,
            );
            let path = format!("do[{index}].for_s");
            return Err(
                FileError::at(text, &path, message).with_help("make it a tick long or longer")
            );
        }
    }
    Ok(())
}

fn start(rig: &RigFile, scenario: &Scenario, text: &str) -> Result<(), FileError> {
    let start = &scenario.start;
    let angle_deg = [start.pitch_deg, start.roll_deg];
    match rig.start_conflict(angle_deg) {
        None => Ok(()),
        Some(StartConflict::BeyondStop { axis, range_deg }) => {
            let (path, deg) = match axis {
                AxisName::Pitch => ("start.pitch_deg", start.pitch_deg),
                AxisName::Roll => ("start.roll_deg", start.roll_deg),
            };
            // Cut towards zero: what is offered is inside.
            let [low, high] = range_deg.map(|deg| (deg * 100.0).trunc() / 100.0);
            let message = format!(
                "`{path}` is `{deg}`, beyond a stop of `{}`: it must be `{low}` to `{high}`",
                rig.name
            );
            let error = FileError::at(text, path, message);
            Err(if axis == AxisName::Roll && start.pitch_deg != 0.0 {
                error.with_help(format!(
                    "that is what the roll stops leave at `start.pitch_deg` `{}`: tan(roll) = tan(stop) cos(pitch)",
                    start.pitch_deg
                ))
            } else {
                error
            })
        }
        Some(StartConflict::InsideObstacle { name, clear_deg }) => {
            let (path, deg) = if start.pitch_deg.abs() >= start.roll_deg.abs() {
                ("start.pitch_deg", start.pitch_deg)
            } else {
                ("start.roll_deg", start.roll_deg)
            };
            let message = format!(
                "`{path}` is `{deg}`, inside the obstacle `{name}` of `{}`",
                rig.name
            );
            let error = FileError::at(text, path, message);
            Err(match clear_deg {
                Some([pitch_deg, roll_deg]) => error.with_help(format!(
                    "on the way there from the middle the stick is clear up to pitch `{pitch_deg}`, roll `{roll_deg}`"
                )),
                None => error,
            })
        }
    }
}

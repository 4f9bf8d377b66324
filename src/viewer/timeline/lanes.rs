//! States and switches over time, as stretches: what a lane under the plots shows.

use trimproof_harness::trace::{PILOT_SWITCHES, Trace};
use trimproof_io::State;

use super::SignalName;

/// A lane.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimelineLane {
    /// Its signal.
    pub name: SignalName,
    /// First row and code of every stretch: 0 or 1 (of `force_trim`, 1 is off), or the state's
    /// place in `State::ALL`.
    pub stretches: Vec<(usize, u8)>,
}

/// A lane for each of its signals that the trace has, followed as the trace grows.
#[derive(Clone, Debug, Default)]
pub struct Lanes {
    lanes: Vec<TimelineLane>,
    rows: usize,
}

impl Lanes {
    /// Takes what the trace has more than this.
    pub fn follow(&mut self, trace: &Trace) {
        if self.lanes.is_empty() {
            let faults = trace
                .columns()
                .map(|info| info.name.clone())
                .filter(|name| name.starts_with("fault."));
            self.lanes = std::iter::once("state")
                .chain(PILOT_SWITCHES)
                .chain(["force_trim"])
                .map(SignalName::from)
                .filter(|name| trace.column(name).is_some())
                .chain(faults)
                .map(|name| TimelineLane {
                    name,
                    stretches: Vec::new(),
                })
                .collect();
        }
        let rows = trace.rows();
        for lane in &mut self.lanes {
            let switches = trace.switches(&lane.name);
            for row in self.rows..rows {
                let code = if lane.name == "state" {
                    // The order of the states is fixed, and there are few.
                    trace.state(row).map_or(0, |state| state as u8)
                } else {
                    let on = switches.is_some_and(|values| values[row]);
                    // That the force trim is off is what counts.
                    u8::from(on != (lane.name == "force_trim"))
                };
                if lane.stretches.last().is_none_or(|(_, last)| *last != code) {
                    lane.stretches.push((row, code));
                }
            }
        }
        self.rows = rows;
    }

    /// The state, if it is reported, then the switches and faults that were closed at any time, at
    /// most `most` in all.
    pub fn shown(&self, most: usize) -> impl Iterator<Item = &TimelineLane> {
        self.lanes
            .iter()
            .filter(|lane| {
                lane.name == "state" || lane.stretches.iter().any(|(_, code)| *code != 0)
            })
            .take(most)
    }
}

/// What stands in a stretch: the state's name; nothing for a switch, whose bar says it.
pub fn word(lane: &TimelineLane, code: u8) -> &'static str {
    match State::ALL.get(usize::from(code)) {
        Some(state) if lane.name == "state" => state.name(),
        _ => "",
    }
}

//! The events of a scenario as cues on control ticks, and how each cue changes the twin.

use trimproof_plant::{FaultKind, HandFeel, Plant, SwitchName};

use crate::scenario::{Event, PathShape, Scenario};

/// One change at one tick.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cue {
    Grip {
        stiffness_n_per_m: Option<f64>,
        damping_n_s_per_m: Option<f64>,
        limit_n: Option<f64>,
    },
    Carry {
        to_deg: [Option<f64>; 2],
        over_s: f64,
        shape: PathShape,
    },
    LetGoStick,
    Push {
        force_n: [f64; 2],
        rise_s: f64,
        for_s: f64,
    },
    Switch {
        name: SwitchName,
        closed: bool,
        bounce_s: Vec<f64>,
    },
    ForceTrim(bool),
    Supply {
        volts: f64,
        over_s: f64,
    },
    DipBegins {
        volts: f64,
    },
    DipEnds,
    Fault {
        fault: FaultKind,
        on: bool,
    },
}

/// Cues in order of time; those of one tick in the order of the file.
#[derive(Default)]
pub(super) struct Script {
    cues: Vec<(u32, Cue)>,
    next: usize,
    before_dip_v: Vec<f64>,
}

impl Script {
    /// The cues of `scenario`: each event falls on the first tick at or after its time.
    pub(super) fn new(scenario: &Scenario, tick_s: f64) -> Self {
        let mut cues: Vec<(u32, Cue)> = Vec::new();
        for event in &scenario.events {
            cues.extend(cues_of(event, tick_s));
        }
        // Stable: cues of one tick keep the order of the file.
        cues.sort_by_key(|(tick, _)| *tick);
        Self {
            cues,
            next: 0,
            before_dip_v: Vec::new(),
        }
    }

    /// Adds an event of now or later; of one tick, what was added last comes last.
    pub(super) fn add(&mut self, event: &Event, tick_s: f64) {
        for (tick, cue) in cues_of(event, tick_s) {
            let waiting = &self.cues[self.next..];
            let place = self.next + waiting.partition_point(|(at, _)| *at <= tick);
            self.cues.insert(place, (tick, cue));
        }
    }

    /// Takes the cues that are due at `tick`.
    pub(super) fn due(&mut self, tick: u32) -> Vec<Cue> {
        let from = self.next;
        while self.cues.get(self.next).is_some_and(|(at, _)| *at <= tick) {
            self.next += 1;
        }
        self.cues[from..self.next]
            .iter()
            .map(|(_, cue)| cue.clone())
            .collect()
    }

    /// Plays a cue on the twin.
    pub(super) fn play(&mut self, cue: &Cue, plant: &mut Plant) {
        match cue {
            Cue::Grip {
                stiffness_n_per_m,
                damping_n_s_per_m,
                limit_n,
            } => {
                let usual = plant.usual_feel();
                plant.grip(Some(HandFeel {
                    stiffness_n_per_m: stiffness_n_per_m.unwrap_or(usual.stiffness_n_per_m),
                    damping_n_s_per_m: damping_n_s_per_m.unwrap_or(usual.damping_n_s_per_m),
                    limit_n: limit_n.unwrap_or(usual.limit_n),
                }));
            }
            Cue::Carry {
                to_deg,
                over_s,
                shape,
            } => {
                plant.carry(to_deg.map(|deg| deg.map(f64::to_radians)), *over_s, *shape);
            }
            Cue::LetGoStick => plant.let_go(),
            Cue::Push {
                force_n,
                rise_s,
                for_s,
            } => plant.push(*force_n, *rise_s, *for_s),
            Cue::Switch {
                name,
                closed,
                bounce_s,
            } => plant.set_switch(*name, *closed, bounce_s),
            Cue::ForceTrim(on) => plant.set_force_trim(*on),
            Cue::Supply { volts, over_s } => plant.set_supply(*volts, *over_s),
            Cue::DipBegins { volts } => {
                self.before_dip_v.push(plant.source_v());
                plant.set_supply(*volts, 0.0);
            }
            Cue::DipEnds => {
                if let Some(volts) = self.before_dip_v.pop() {
                    plant.set_supply(volts, 0.0);
                }
            }
            Cue::Fault { fault, on } => plant.set_fault(fault, *on),
        }
    }
}

/// The cues of an event and their ticks.
fn cues_of(event: &Event, tick_s: f64) -> Vec<(u32, Cue)> {
    let mut cues = Vec::new();
    let mut at = |at_s: f64, cue: Cue| cues.push((tick_at(at_s, tick_s), cue));
    let switched = |name: SwitchName, closed: bool, bounce_s: Vec<f64>| Cue::Switch {
        name,
        closed,
        bounce_s,
    };
    let at_s = event.at_s();
    match event.clone() {
        Event::Grip {
            stiffness_n_per_m,
            damping_n_s_per_m,
            limit_n,
            ..
        } => {
            at(
                at_s,
                Cue::Grip {
                    stiffness_n_per_m,
                    damping_n_s_per_m,
                    limit_n,
                },
            );
        }
        Event::Carry {
            pitch_deg,
            roll_deg,
            over_s,
            shape,
            ..
        } => {
            at(
                at_s,
                Cue::Carry {
                    to_deg: [pitch_deg, roll_deg],
                    over_s,
                    shape,
                },
            );
        }
        Event::LetGoStick { .. } => at(at_s, Cue::LetGoStick),
        Event::Push {
            pitch_n,
            roll_n,
            rise_s,
            for_s,
            ..
        } => {
            let force_n = [pitch_n.unwrap_or(0.0), roll_n.unwrap_or(0.0)];
            at(
                at_s,
                Cue::Push {
                    force_n,
                    rise_s,
                    for_s,
                },
            );
        }
        Event::Press {
            switch, bounce_s, ..
        } => at(at_s, switched(switch, true, bounce_s)),
        Event::LetGo {
            switch, bounce_s, ..
        } => at(at_s, switched(switch, false, bounce_s)),
        Event::Hold {
            switch,
            for_s,
            bounce_s,
            ..
        } => {
            at(at_s, switched(switch, true, bounce_s.clone()));
            at(at_s + for_s, switched(switch, false, bounce_s));
        }
        Event::ForceTrim { on, .. } => at(at_s, Cue::ForceTrim(on)),
        Event::Supply { volts, over_s, .. } => at(at_s, Cue::Supply { volts, over_s }),
        Event::Dip { volts, for_s, .. } => {
            at(at_s, Cue::DipBegins { volts });
            at(at_s + for_s, Cue::DipEnds);
        }
        Event::Fault { fault, for_s, .. } => {
            at(
                at_s,
                Cue::Fault {
                    fault: fault.clone(),
                    on: true,
                },
            );
            if let Some(for_s) = for_s {
                at(at_s + for_s, Cue::Fault { fault, on: false });
            }
        }
    }
    cues
}

/// The first tick at or after `at_s`; a nanosecond of rounding in decimal times does not cost a
/// tick.
pub(super) fn tick_at(at_s: f64, tick_s: f64) -> u32 {
    ((at_s - 1e-9) / tick_s).ceil().max(0.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Start;

    #[test]
    fn events_fall_on_the_first_tick_at_or_after_their_time() {
        for (at_s, tick) in [
            (0.0, 0),
            (0.002, 1),
            (0.003, 2),
            (0.6, 300),
            (0.1 + 0.2, 150),
        ] {
            assert_eq!(tick_at(at_s, 0.002), tick, "{at_s}");
        }
    }

    /// What a pilot does at its very tick makes the same cues as a file that has it from the start.
    #[test]
    fn events_added_as_they_come_make_the_same_script() {
        let hold = |at_s: f64, switch: SwitchName, for_s: f64| Event::Hold {
            at_s,
            switch,
            for_s,
            bounce_s: Vec::new(),
        };
        let events = vec![
            Event::ForceTrim {
                at_s: 0.0,
                on: false,
            },
            hold(0.1, SwitchName::Release, 0.3),
            hold(0.2, SwitchName::HatFore, 0.2),
            Event::Dip {
                at_s: 0.25,
                volts: 3.0,
                for_s: 0.15,
            },
            Event::LetGoStick { at_s: 0.4 },
            Event::Press {
                at_s: 0.4,
                switch: SwitchName::HatAft,
                bounce_s: Vec::new(),
            },
        ];
        let scenario = Scenario {
            name: String::new(),
            title: String::new(),
            purpose: String::new(),
            rigs: Vec::new(),
            length_s: 1.0,
            seed: 1,
            start: Start::default(),
            events: events.clone(),
            expect: Vec::new(),
            except: Vec::new(),
        };
        let mut whole = Script::new(&scenario, 0.002);
        let mut grown = Script::new(
            &Scenario {
                events: Vec::new(),
                ..scenario
            },
            0.002,
        );
        let mut coming = events.into_iter().peekable();
        for tick in 0..500 {
            while coming
                .peek()
                .is_some_and(|event| tick_at(event.at_s(), 0.002) <= tick)
            {
                grown.add(&coming.next().unwrap(), 0.002);
            }
            assert_eq!(grown.due(tick), whole.due(tick), "{tick}");
        }
        assert_eq!(grown.next, 9);
    }
}

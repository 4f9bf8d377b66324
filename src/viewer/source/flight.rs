//! Flying by hand: what the pilot does at the window becomes events of a scenario, at ticks, so
//! that the same scenario gives the same trace again.

use crossbeam_channel::Receiver;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Attend, Cut, Run};
use trimproof_harness::scenario::{Event, Expectation, PathShape, Scenario, Start};
use trimproof_plant::SwitchName;

use super::Pace;
use super::pace::Wall;

/// Shortest and longest piece of the hand's path, s: shorter than a hand can change its mind, and
/// as long as a slow window needs from one look at the pointer to the next, so that the hand does
/// not go by jerks.
const CARRY_S: [f64; 2] = [0.04, 0.24];
/// A target that differs by less is the same, deg.
const SAME_DEG: f64 = 0.005;
/// A flight ends at this length, s, or when a scenario file of at most 1 MiB could not hold more
/// events.
const LONGEST_S: f64 = 900.0;
pub(super) const MOST_EVENTS: usize = 8_500;
/// The hand is led at most so far, deg: beyond any stop.
pub const FARTHEST_DEG: f64 = 60.0;

/// What the pilot does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// Takes the grip.
    Grip,
    /// Leads the gripping hand towards an angle, deg.
    Lead {
        /// Pitch, positive aft.
        pitch_deg: f64,
        /// Roll, positive right.
        roll_deg: f64,
    },
    /// Lets go of the stick.
    LetGo,
    /// Presses a switch or lets it go.
    Switch(SwitchName, bool),
    /// Puts the force-trim switch on or off.
    ForceTrim(bool),
    /// Connects the motor supply or takes it away.
    Supply(bool),
    /// Ends the flight.
    End,
}

/// What was flown.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Session {
    /// The events.
    pub events: Vec<Event>,
    /// Length, s.
    pub length_s: f64,
    /// Bit-hash of the trace.
    pub hash: String,
    /// Why it was cut short, if the controller under test failed or the twin could not compute it:
    /// then the trace is shorter than the scenario.
    pub cut: Option<Cut>,
}

/// A flight: sits beside a run as the pilot.
pub struct Flight {
    pilot: Receiver<Act>,
    wall: Wall,
    tick_s: f64,
    supply_v: f64,
    gripping: bool,
    closed: [bool; SwitchName::ALL.len()],
    force_trim: bool,
    supplied: bool,
    wanted_deg: Option<[f64; 2]>,
    sent_deg: Option<[f64; 2]>,
    carry_until_s: f64,
    /// When the last of all events is over, s.
    busy_until_s: f64,
    /// When the pilot last led the hand, and how long after the time before, s.
    led_s: [f64; 2],
    events: Vec<Event>,
    ending: bool,
}

impl Flight {
    /// A flight of `rig` with what comes over `pilot`.
    pub fn new(rig: &RigFile, pilot: Receiver<Act>, pace: Pace) -> Self {
        Self {
            pilot,
            wall: Wall::new(pace),
            tick_s: rig.tick_s(),
            supply_v: rig.supply.volts,
            gripping: false,
            closed: [false; SwitchName::ALL.len()],
            force_trim: true,
            supplied: true,
            wanted_deg: None,
            sent_deg: None,
            carry_until_s: 0.0,
            busy_until_s: 0.0,
            led_s: [0.0; 2],
            events: Vec::new(),
            ending: false,
        }
    }

    /// Whether the next tick is not due yet.
    pub(super) fn waits(&mut self, now_s: f64) -> bool {
        !self.wall.until(now_s).is_zero()
    }

    /// Ends the flight as soon as what is under way is over.
    pub(super) fn end(&mut self) {
        self.ending = true;
    }

    /// What was flown, in this run of it, whose trace has this hash.
    pub(super) fn session(&self, run: &Run, hash: String) -> Session {
        let flown_s = tidy(run.trace.rows().saturating_sub(1) as f64 * self.tick_s);
        let cut = run.end.cut().filter(|cut| !cut.is_stop()).cloned();
        // What was under way when the board failed needs its time in a scenario all the same.
        let length_s = if cut.is_some() {
            tidy(flown_s.max(self.busy_until_s) + 2.0 * self.tick_s)
        } else {
            flown_s
        };
        Session {
            events: self.events.clone(),
            length_s,
            hash,
            cut,
        }
    }

    fn take(&mut self, act: Act, at_s: f64, events: &mut Vec<Event>) {
        match act {
            Act::Grip if !self.gripping => {
                self.gripping = true;
                self.wanted_deg = None;
                self.sent_deg = None;
                self.carry_until_s = at_s;
                events.push(Event::Grip {
                    at_s,
                    stiffness_n_per_m: None,
                    damping_n_s_per_m: None,
                    limit_n: None,
                });
            }
            Act::Lead {
                pitch_deg,
                roll_deg,
            } if self.gripping => {
                let within = |deg: f64| {
                    // Thousandths: what a file shows is what was flown.
                    (deg.clamp(-FARTHEST_DEG, FARTHEST_DEG) * 1000.0).round() / 1000.0
                };
                if at_s > self.led_s[0] {
                    self.led_s = [at_s, at_s - self.led_s[0]];
                }
                if pitch_deg.is_finite() && roll_deg.is_finite() {
                    self.wanted_deg = Some([within(pitch_deg), within(roll_deg)]);
                }
            }
            Act::LetGo if self.gripping => {
                self.gripping = false;
                self.wanted_deg = None;
                events.push(Event::LetGoStick { at_s });
            }
            Act::Switch(switch, closed) if self.closed[switch.index()] != closed => {
                self.closed[switch.index()] = closed;
                let bounce_s = Vec::new();
                events.push(if closed {
                    Event::Press {
                        at_s,
                        switch,
                        bounce_s,
                    }
                } else {
                    Event::LetGo {
                        at_s,
                        switch,
                        bounce_s,
                    }
                });
            }
            Act::ForceTrim(on) if on != self.force_trim => {
                self.force_trim = on;
                events.push(Event::ForceTrim { at_s, on });
            }
            Act::Supply(on) if on != self.supplied => {
                self.supplied = on;
                let volts = if on { self.supply_v } else { 0.0 };
                events.push(Event::Supply {
                    at_s,
                    volts,
                    over_s: 0.0,
                });
            }
            Act::End => self.ending = true,
            // What is the case already.
            _ => {}
        }
    }

    /// The next piece of the hand's path, if it is due.
    fn carry(&mut self, at_s: f64, events: &mut Vec<Event>) {
        let Some(wanted) = self.wanted_deg else {
            return;
        };
        let same = |sent: [f64; 2]| {
            sent.iter()
                .zip(wanted)
                .all(|(sent, wanted)| (sent - wanted).abs() < SAME_DEG)
        };
        if at_s < self.carry_until_s - 1e-9 || self.sent_deg.is_some_and(same) {
            return;
        }
        let ticks = (self.led_s[1].clamp(CARRY_S[0], CARRY_S[1]) / self.tick_s).round();
        let over_s = tidy(ticks.max(1.0) * self.tick_s);
        self.sent_deg = Some(wanted);
        self.carry_until_s = at_s + over_s;
        events.push(Event::Carry {
            at_s,
            pitch_deg: Some(wanted[0]),
            roll_deg: Some(wanted[1]),
            over_s,
            shape: PathShape::Steady,
        });
    }
}

impl Attend for Flight {
    fn go_on(&mut self, now_s: f64) -> bool {
        let wait = self.wall.until(now_s);
        if !wait.is_zero() {
            std::thread::sleep(wait);
        }
        if now_s >= LONGEST_S || self.events.len() >= MOST_EVENTS {
            self.ending = true;
        }
        // One tick more than what is under way takes: an event must lie before the end.
        !(self.ending && now_s > self.busy_until_s + 1.5 * self.tick_s)
    }

    fn act(&mut self, now_s: f64) -> Vec<Event> {
        let at_s = tidy(now_s);
        let mut events = Vec::new();
        while !self.ending {
            let Ok(act) = self.pilot.try_recv() else {
                break;
            };
            self.take(act, at_s, &mut events);
        }
        if !self.ending {
            self.carry(at_s, &mut events);
        }
        for event in &events {
            self.busy_until_s = self.busy_until_s.max(at_s + event.lasts_s());
        }
        self.events.extend_from_slice(&events);
        events
    }
}

/// A scenario in which nothing happens, long enough for any flight.
pub(super) fn open_scenario(rig: &RigFile) -> Scenario {
    Scenario {
        name: "flown".to_owned(),
        title: "Flown by hand".to_owned(),
        purpose: "A session at the window.".to_owned(),
        rigs: vec![rig.name.clone()],
        length_s: LONGEST_S + 2.0,
        seed: 1,
        start: Start::default(),
        events: Vec::new(),
        expect: Vec::new(),
        except: Vec::new(),
    }
}

/// The session as a scenario that `prove` runs to the same trace. Its expectations are laws that
/// hold for any stick that is well handled; whoever keeps the file adds what this flight was about.
pub fn session_scenario(rig: &RigFile, name: &str, session: &Session) -> Scenario {
    let expect = |name: &str, formula: String, because: &str| Expectation {
        name: name.to_owned(),
        formula,
        because: Some(because.to_owned()),
        rigs: None,
        scale: None,
    };
    let axes = |each: &dyn Fn(&str) -> String| [each("pitch"), each("roll")].join(" and ");
    Scenario {
        name: name.to_owned(),
        events: session.events.clone(),
        length_s: session.length_s,
        purpose: match &session.cut {
            None => format!(
                "Flown by hand at the window, so that a firmware change can be tried against the same hand. The session's trace has the hash {}.",
                session.hash
            ),
            Some(cut) => format!(
                "Flown by hand at the window, until {}: {}",
                match cut {
                    Cut::Aborted(_) => "the twin could not go on",
                    _ => "the controller failed",
                },
                // A purpose has a limit, and so has what a board can say.
                cut.to_string().chars().take(1000).collect::<String>()
            ),
        },
        expect: vec![
            expect(
                "the trimmed position stays inside the soft limits",
                format!(
                    "always({})",
                    axes(&|axis| format!(
                        "{axis}.reference_deg >= rig.{axis}.soft_min_deg and {axis}.reference_deg <= rig.{axis}.soft_max_deg"
                    ))
                ),
                "a drive that runs into a stop loses steps",
            ),
            expect(
                "no steps are lost",
                format!("always({})", axes(&|axis| format!("abs({axis}.lag_steps) < 2"))),
                "beyond two full steps the rotor falls into another cycle",
            ),
            expect(
                "nothing is reported",
                "always(not (fault.sensor_range or fault.sensor_rate or fault.sensor_stuck or fault.ticks_lost or fault.hat_stuck or fault.hat_conflict or fault.release_stuck or fault.steps_slipped or fault.position_doubt))".to_owned(),
                "nothing was broken in the session",
            ),
        ],
        ..open_scenario(rig)
    }
}

/// A sum of decimal ticks without the rounding in its last digits.
fn tidy(seconds: f64) -> f64 {
    (seconds * 1e9).round() / 1e9
}

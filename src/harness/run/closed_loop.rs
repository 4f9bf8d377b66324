//! The closed loop of twin and controller: the one place where the order of a tick stands.
//!
//! [`ClosedLoop::step`]: cues of the scenario, sensors and switches sampled, controller, what is
//! seen, command on the drivers' lines, twin advanced to the next tick.

use trimproof_io::Outputs;
use trimproof_plant::{FaultKind, Numerics, Plant, StartPose};

use super::link::Loss;
use super::pins::{PinLoop, PinSeen};
use super::script::{Cue, Script};
use super::{Cut, Target, TargetError};
use crate::rig::RigFile;
use crate::scenario::{Event, Scenario};

/// A twin and what passes between it and a controller.
pub struct ClosedLoop {
    plant: Plant,
    script: Script,
    loss: Loss,
    seed: u64,
    tick: u32,
    last: Outputs,
    /// The controller has started again and not answered since.
    was_reset: bool,
    /// What lies between the twin and a program that is run at its pins.
    pins: Option<Box<PinLoop>>,
}

/// What is true in a tick, between the controller's answer and its effect.
pub struct Seen<'a> {
    /// The twin at the instant of the tick.
    pub plant: &'a Plant,
    /// The controller's last answer: this tick's, unless it is lost.
    pub outputs: &'a Outputs,
    /// Whether the tick's message never reached the controller.
    pub is_lost: bool,
    /// Whether the controller has started again since its last answer.
    pub was_reset: bool,
    /// What is seen at the pins; nothing of it counts unless the controller is run at them.
    pub pins: PinSeen,
}

impl ClosedLoop {
    /// The twin of `rig` standing as `start` says, with sensor noise and link losses from `seed`,
    /// and no event to come.
    pub fn new(rig: &RigFile, seed: u64, numerics: Numerics, start: StartPose) -> Self {
        Self {
            plant: Plant::new(rig, seed, numerics, start),
            script: Script::default(),
            loss: Loss::new(seed),
            seed,
            tick: 0,
            last: Outputs::default(),
            was_reset: false,
            pins: None,
        }
    }

    /// The twin of `rig` at the start of `scenario`, with its events to come.
    pub fn of_scenario(rig: &RigFile, scenario: &Scenario, numerics: Numerics) -> Self {
        let start = StartPose {
            angle_rad: [
                scenario.start.pitch_deg.to_radians(),
                scenario.start.roll_deg.to_radians(),
            ],
            supply_v: if scenario.start.supply {
                rig.supply.volts
            } else {
                0.0
            },
            force_trim: scenario.start.force_trim,
        };
        let mut closed = Self::new(rig, scenario.seed, numerics, start);
        closed.script = Script::new(scenario, closed.plant.tick_s());
        closed
    }

    /// The twin.
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// The twin, for whoever acts on it between two ticks without a script.
    pub fn plant_mut(&mut self) -> &mut Plant {
        &mut self.plant
    }

    /// Time, s: exact multiples of the control tick.
    pub fn now_s(&self) -> f64 {
        self.plant.now_s()
    }

    /// Adds an event of now or later.
    pub fn add(&mut self, event: &Event) {
        self.script.add(event, self.plant.tick_s());
    }

    /// One control tick, in the order that the head of this file states. `seen` is called between
    /// the controller's answer and its effect.
    ///
    /// # Errors
    /// The controller fails, or the twin cannot compute what follows.
    pub fn step(
        &mut self,
        target: &mut dyn Target,
        seen: &mut dyn FnMut(&Seen<'_>),
    ) -> Result<(), Cut> {
        let answered = self.ask(target, seen)?;
        if let (Some(pins), Some(target)) = (&mut self.pins, target.pins()) {
            pins.advance(&mut self.plant, target)
                .map_err(|end| end.at(self.tick))?;
        } else {
            if answered {
                self.plant.command(&self.last.command);
            }
            self.plant.advance().map_err(Cut::Aborted)?;
        }
        self.tick += 1;
        Ok(())
    }

    /// The last tick of a run: as [`ClosedLoop::step`], but nothing comes of the answer any more.
    ///
    /// # Errors
    /// The controller fails.
    pub fn finish(
        &mut self,
        target: &mut dyn Target,
        seen: &mut dyn FnMut(&Seen<'_>),
    ) -> Result<(), Cut> {
        self.ask(target, seen).map(|_| ())
    }

    /// The first half of a tick; whether the controller has answered.
    fn ask(
        &mut self,
        target: &mut dyn Target,
        seen: &mut dyn FnMut(&Seen<'_>),
    ) -> Result<bool, Cut> {
        for cue in self.script.due(self.tick) {
            self.play(&cue, target)?;
        }
        if self.pins.is_none()
            && let Some(target) = target.pins()
        {
            let pins =
                PinLoop::new(target.firmware(), &mut self.plant, self.seed).map_err(Cut::Start)?;
            self.pins = Some(Box::new(pins));
        }
        let inputs = self.plant.sample();
        if let Some(pins) = &mut self.pins {
            let (outputs, at_pins, was_reset) = pins.seen(&self.plant);
            self.last = outputs;
            seen(&Seen {
                plant: &self.plant,
                outputs: &self.last,
                is_lost: false,
                was_reset: was_reset || self.was_reset,
                pins: at_pins,
            });
            self.was_reset = false;
            return Ok(true);
        }
        let is_lost = self.loss.takes();
        if !is_lost {
            self.last = target.tick(&inputs).map_err(|error| Cut::Tick {
                tick: inputs.tick,
                error,
            })?;
        }
        seen(&Seen {
            plant: &self.plant,
            outputs: &self.last,
            is_lost,
            was_reset: self.was_reset,
            pins: PinSeen::default(),
        });
        self.was_reset &= is_lost;
        Ok(!is_lost)
    }

    fn play(&mut self, cue: &Cue, target: &mut dyn Target) -> Result<(), Cut> {
        if let Cue::Fault { fault, on } = cue {
            match fault {
                FaultKind::LinkLoss {} | FaultKind::LinkCorruption { .. }
                    if *on && target.pins().is_some() =>
                {
                    return Err(Cut::Start(TargetError::NoLink));
                }
                FaultKind::ControllerReset {} => {
                    match (&mut self.pins, target.pins()) {
                        (Some(pins), Some(target)) => {
                            pins.restart(&self.plant, target).map_err(Cut::Start)?
                        }
                        _ => target.reset().map_err(Cut::Start)?,
                    }
                    self.was_reset = true;
                }
                FaultKind::LinkLoss {} => self.loss.set_silent(*on),
                FaultKind::LinkCorruption { share } => {
                    self.loss.set_share(if *on { *share } else { 0.0 });
                }
                _ => {}
            }
        }
        self.script.play(cue, &mut self.plant);
        Ok(())
    }
}

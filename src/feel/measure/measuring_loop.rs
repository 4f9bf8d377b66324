//! The measuring loop: twin and controller in a closed loop, and what a measuring engineer does to
//! them.

use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{ClosedLoop, LogicTarget, Seen, Target};
use trimproof_io::{Fault, State};
use trimproof_plant::{AxisName, HandFeel, Numerics, Plant, Readings, StartPose, SwitchName};

use super::error::MeasureError;
use crate::record::Condition;

/// Seed of the sensors' noise: one and the same for every measurement.
const SEED: u64 = 1;
/// Natural frequency of the measuring hand on the stick's mass at the grip, rad/s: far above the
/// stick's own, far below what the integrator's step of 100 µs resolves.
const HAND_RAD_PER_S: f64 = 300.0;
/// Largest force of the measuring hand, N.
const HAND_LIMIT_N: f64 = 2000.0;
/// How long a state of the controller is waited for, simulated s: centring from a stop takes a few.
const WAIT_MAX_S: f64 = 20.0;
/// How long the stick is left alone before a measurement, s.
const SETTLE_S: f64 = 1.0;

/// Twin, controller and clock of one measurement.
pub(super) struct MeasuringLoop<'a> {
    closed: ClosedLoop,
    target: LogicTarget,
    watch: &'a mut dyn FnMut(f64) -> bool,
    state: State,
    faults: Vec<&'static str>,
    hand: HandFeel,
}

impl<'a> MeasuringLoop<'a> {
    /// The rig upright in the middle, in the condition to be measured, settled, with nobody's hand
    /// on it.
    pub(super) fn new(
        rig: &RigFile,
        condition: Condition,
        watch: &'a mut dyn FnMut(f64) -> bool,
    ) -> Result<Self, MeasureError> {
        let powered = condition != Condition::Unpowered;
        let start = StartPose {
            supply_v: if powered { rig.supply.volts } else { 0.0 },
            force_trim: true,
            ..StartPose::default()
        };
        let mut target = LogicTarget::new();
        target.begin(rig).map_err(MeasureError::Controller)?;
        let mut measuring = Self {
            closed: ClosedLoop::new(rig, SEED, Numerics::default(), start),
            target,
            watch,
            state: State::Limp,
            faults: Vec::new(),
            hand: measuring_hand(rig),
        };
        if powered {
            measuring.wait_for(State::Holding)?;
        }
        measuring.run(SETTLE_S)?;
        if condition == Condition::Released {
            measuring.plant().set_switch(SwitchName::Release, true, &[]);
            measuring.wait_for(State::Released)?;
            measuring.run(SETTLE_S)?;
        }
        // What the controller had to say on the way here is not about the measurement.
        measuring.faults.clear();
        Ok(measuring)
    }

    /// The twin, for what a measuring engineer does to it.
    pub(super) fn plant(&mut self) -> &mut Plant {
        self.closed.plant_mut()
    }

    /// Time, s.
    pub(super) fn now_s(&self) -> f64 {
        self.closed.now_s()
    }

    /// What the controller does.
    pub(super) fn state(&self) -> State {
        self.state
    }

    /// Faults that the controller reported since the measurement began, in the order in which they
    /// came.
    pub(super) fn faults(&self) -> &[&'static str] {
        &self.faults
    }

    /// The measuring hand takes the grip: stiff, so that it follows its path whatever the stick
    /// does.
    pub(super) fn grip(&mut self) {
        let hand = self.hand;
        self.plant().grip(Some(hand));
    }

    /// What is true now.
    pub(super) fn read(&self) -> Readings {
        self.closed.plant().readings()
    }

    /// One control tick: sample, controller, command, twin.
    pub(super) fn tick(&mut self) -> Result<(), MeasureError> {
        if !(self.watch)(self.closed.now_s()) {
            return Err(MeasureError::Stopped);
        }
        let (state, faults) = (&mut self.state, &mut self.faults);
        let mut seen = |seen: &Seen<'_>| {
            let telemetry = &seen.outputs.telemetry;
            *state = telemetry.state;
            for fault in Fault::ALL {
                if telemetry.faults.has(fault) && !faults.contains(&fault.name()) {
                    faults.push(fault.name());
                }
            }
        };
        self.closed
            .step(&mut self.target, &mut seen)
            .map_err(MeasureError::from)
    }

    /// Lets time go by.
    pub(super) fn run(&mut self, seconds: f64) -> Result<(), MeasureError> {
        let end_s = self.now_s() + seconds;
        while self.now_s() < end_s {
            self.tick()?;
        }
        Ok(())
    }

    fn wait_for(&mut self, wanted: State) -> Result<(), MeasureError> {
        let end_s = self.now_s() + WAIT_MAX_S;
        while self.state != wanted {
            if self.now_s() >= end_s {
                return Err(MeasureError::NotReached {
                    wanted: wanted.name(),
                    state: self.state.name(),
                    after_s: WAIT_MAX_S,
                    faults: faults_reported(&self.faults),
                });
            }
            self.tick()?;
        }
        Ok(())
    }
}

/// `, with the faults a, b` or nothing.
fn faults_reported(faults: &[&str]) -> String {
    if faults.is_empty() {
        String::new()
    } else {
        format!(", with the faults {}", faults.join(", "))
    }
}

/// Mass that the hand feels at the grip, J/r², kg, `[pitch, roll]`: stick and frame, no drive.
pub(super) fn effective_mass_kg(rig: &RigFile) -> [f64; 2] {
    let mass = rig.stick.mass.properties();
    let radius_m = rig.stick.grip_radius_m;
    AxisName::ALL.map(|axis| mass.axis_inertia_kg_m2(axis.index()) / (radius_m * radius_m))
}

/// Critically damped on the lighter axis.
fn measuring_hand(rig: &RigFile) -> HandFeel {
    let [pitch, roll] = effective_mass_kg(rig);
    let mass_kg = pitch.min(roll);
    HandFeel {
        stiffness_n_per_m: mass_kg * HAND_RAD_PER_S * HAND_RAD_PER_S,
        damping_n_s_per_m: 2.0 * mass_kg * HAND_RAD_PER_S,
        limit_n: HAND_LIMIT_N,
    }
}

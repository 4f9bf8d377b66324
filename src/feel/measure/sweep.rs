//! The slow sweep: middle, upper stop, lower stop, middle, without a pause.

use trimproof_harness::rig::RigFile;
use trimproof_io::{Fault, State};
use trimproof_plant::{AxisName, PathShape};

use super::error::{MeasureError, Slip};
use super::measuring_loop::MeasuringLoop;
use crate::record::{Condition, Sweep, SweepSample};

/// Rate of the hand's path, degrees per second: slow enough that damping is a small share of
/// friction.
pub const SWEEP_DEG_PER_S: f64 = 1.0;
/// Time between two readings that are kept, s: 0.02° apart.
const KEEP_S: f64 = 0.02;
/// Push beyond the largest force of the gradient at which a stop counts as met and the hand turns,
/// N.
const TURN_N: f64 = 60.0;
/// How far beyond the stop's angle the hand's path goes at most, degrees.
const BEYOND_DEG: f64 = 4.0;
/// A rotor that lags by more than this has lost its place: its unstable equilibrium is at two full
/// steps (Jones, "Stepping motors", University of Iowa).
const SLIP_STEPS: f64 = 2.0;

/// A sweep and what happened on the way.
pub(super) struct Swept {
    pub(super) sweep: Sweep,
    pub(super) slip: Option<Slip>,
    pub(super) notes: Vec<String>,
}

/// Sweeps one axis.
pub(super) fn sweep(
    rig: &RigFile,
    axis: AxisName,
    condition: Condition,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<Swept, MeasureError> {
    let mut measuring = MeasuringLoop::new(rig, condition, watch)?;
    let index = axis.index();
    let stops = &rig.axis(index).stops;
    let cartridge = rig.axis(index).cartridge.cartridge();
    let radius_m = rig.stick.grip_radius_m;
    let throw_deg = stops.max_deg.max(-stops.min_deg);
    let turn_n = TURN_N + cartridge.torque_n_m(throw_deg.to_radians()) / radius_m;
    let mut hand = SweepRecorder {
        index,
        begun_s: measuring.now_s(),
        every: (KEEP_S / measuring.plant().tick_s()).round().max(1.0) as u32,
        ticks: 0,
        samples: Vec::new(),
        extremes: None,
        keeps_extremes: condition != Condition::Held,
        slip: None,
        other_state: None,
        expected: match condition {
            Condition::Held => State::Holding,
            Condition::Released => State::Released,
            Condition::Unpowered => State::Limp,
        },
    };
    measuring.grip();
    hand.keep(&measuring);
    for (goal_deg, sense) in [
        (stops.max_deg + BEYOND_DEG, 1.0),
        (stops.min_deg - BEYOND_DEG, -1.0),
    ] {
        let end_s = carry(&mut measuring, index, goal_deg);
        while measuring.now_s() < end_s {
            let force_n = hand.tick(&mut measuring)?;
            if sense * force_n >= turn_n {
                break;
            }
        }
    }
    let end_s = carry(&mut measuring, index, 0.0);
    while measuring.now_s() < end_s {
        hand.tick(&mut measuring)?;
    }
    let lost = lost_cycles(&measuring, index);
    let mut notes = Vec::new();
    let label = format!("{} {}", axis.name(), condition.name());
    let slip = hand.slip.map(|at_deg| Slip {
        axis,
        condition,
        at_deg,
        lost_full_steps: 4 * lost,
    });
    if let Some(slip) = &slip {
        notes.push(format!(
            "{label}: the motor slipped at {:.1} deg, the sweep ended {} full steps away; what is beyond that angle is not the gradient",
            slip.at_deg, slip.lost_full_steps
        ));
    }
    if let Some((state, at_deg)) = hand.other_state {
        notes.push(format!(
            "{label}: the controller went to `{state}` at {at_deg:.1} deg of the sweep"
        ));
    }
    // The button is held longer than a pilot would: that is the measurement's doing.
    let faults: Vec<_> = measuring
        .faults()
        .iter()
        .filter(|name| condition != Condition::Released || **name != Fault::ReleaseStuck.name())
        .copied()
        .collect();
    if !faults.is_empty() && condition != Condition::Unpowered {
        notes.push(format!(
            "{label}: the controller reported {} during the sweep",
            faults.join(", ")
        ));
    }
    Ok(Swept {
        sweep: Sweep {
            axis,
            condition,
            grip_radius_m: radius_m,
            samples: hand.samples,
        },
        slip,
        notes,
    })
}

/// Damping felt at the sweep's rate as a force at the grip, N: how much it widens the loop each
/// way. Pivot and cartridge move against the held drive; without it stick and trim shaft go
/// together, and the rotor's own losses come in.
pub(super) fn damping_n(rig: &RigFile, index: usize, condition: Condition) -> f64 {
    let axis = rig.axis(index);
    let ratio = axis.drive.ratio();
    let with_n_m_s = if condition == Condition::Held {
        axis.cartridge.cartridge().damping_n_m_s_per_rad
    } else {
        axis.motor.viscous_n_m_s_per_rad * ratio * ratio
    };
    (axis.friction.viscous_n_m_s_per_rad + with_n_m_s) * SWEEP_DEG_PER_S.to_radians()
        / rig.stick.grip_radius_m
}

/// Sends the hand to an angle at the sweep's rate; returns when it will be there, s.
fn carry(measuring: &mut MeasuringLoop<'_>, index: usize, goal_deg: f64) -> f64 {
    let from_deg = measuring.read().hand_rad[index].to_degrees();
    let over_s = (goal_deg - from_deg).abs() / SWEEP_DEG_PER_S;
    let mut to_rad = [None; 2];
    to_rad[index] = Some(goal_deg.to_radians());
    measuring.plant().carry(to_rad, over_s, PathShape::Steady);
    measuring.now_s() + over_s
}

/// Electrical cycles between command and rotor at the end; none if the drive is off.
fn lost_cycles(measuring: &MeasuringLoop<'_>, index: usize) -> i32 {
    (measuring.read().axis[index].lag_steps / 4.0).round() as i32
}

struct SweepRecorder {
    index: usize,
    begun_s: f64,
    every: u32,
    ticks: u32,
    samples: Vec<SweepSample>,
    /// Lowest and highest force since the last reading that was kept.
    extremes: Option<[SweepSample; 2]>,
    /// Of a limp stick these two are kept instead of every so many: the rotor jumps over its detent
    /// within a few ticks, and how far the force falls and rises there is a figure.
    keeps_extremes: bool,
    slip: Option<f64>,
    other_state: Option<(&'static str, f64)>,
    expected: State,
}

impl SweepRecorder {
    /// Advances a tick, keeps a reading if it is time; returns the hand's force, N.
    fn tick(&mut self, measuring: &mut MeasuringLoop<'_>) -> Result<f64, MeasureError> {
        measuring.tick()?;
        self.ticks += 1;
        if self.keeps_extremes {
            self.note(measuring);
        } else if self.ticks.is_multiple_of(self.every) {
            self.keep(measuring);
        }
        let axis = measuring.read().axis[self.index];
        let at_deg = axis.stick_rad.to_degrees();
        if self.slip.is_none() && axis.lag_steps.abs() > SLIP_STEPS {
            self.slip = Some(at_deg);
        }
        if self.other_state.is_none() && measuring.state() != self.expected {
            self.other_state = Some((measuring.state().name(), at_deg));
        }
        Ok(axis.grip_force_n)
    }

    /// Notes a reading; keeps lowest and highest of the last few, in the order of time, if it is
    /// time.
    fn note(&mut self, measuring: &MeasuringLoop<'_>) {
        let sample = self.reading(measuring);
        let [low, high] = self.extremes.unwrap_or([sample; 2]);
        let extremes = [
            if sample.force_n < low.force_n {
                sample
            } else {
                low
            },
            if sample.force_n > high.force_n {
                sample
            } else {
                high
            },
        ];
        self.extremes = Some(extremes);
        if self.ticks.is_multiple_of(self.every) {
            let [first, second] = if extremes[0].time_s <= extremes[1].time_s {
                extremes
            } else {
                [extremes[1], extremes[0]]
            };
            self.samples.push(first);
            if second.time_s > first.time_s {
                self.samples.push(second);
            }
            self.extremes = None;
        }
    }

    fn keep(&mut self, measuring: &MeasuringLoop<'_>) {
        let sample = self.reading(measuring);
        self.samples.push(sample);
    }

    fn reading(&self, measuring: &MeasuringLoop<'_>) -> SweepSample {
        let axis = measuring.read().axis[self.index];
        SweepSample {
            time_s: measuring.now_s() - self.begun_s,
            position_deg: axis.stick_rad.to_degrees(),
            force_n: axis.grip_force_n,
        }
    }
}

//! A drive that stands still, and for how long its windings go on as they did.

use crate::dynamics::{Phase, Substep, TrainDrive, TrainState};

/// What is known of a drive that stands still, within a tick: nobody else changes a drive then.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Standstill {
    pub(crate) phase: [Phase; 2],
    /// The least supply that gives the windings what they need, V.
    pub(crate) needed_v: f64,
    pub(crate) mesh_n_m: f64,
    pub(crate) power_w: f64,
}

impl Standstill {
    /// Of a drive that `work` left as it was; none if its windings would feel another supply.
    pub(crate) fn of(train: &TrainState, drive: &TrainDrive, work: &Substep) -> Option<Self> {
        let mut needed_v = 0.0_f64;
        for ((phase, current_a), volts) in drive.phase.iter().zip(train.current_a).zip(work.volts) {
            match phase {
                Phase::Chopped(_) => {
                    let most_v = volts[0].abs().max(volts[1].abs());
                    // At the supply itself it may be all that the supply gives.
                    if most_v >= drive.supply_v {
                        return None;
                    }
                    needed_v = needed_v.max(most_v);
                }
                Phase::Open if current_a != 0.0 => return None,
                Phase::Open | Phase::Broken => {}
            }
        }
        Some(Self {
            phase: drive.phase,
            needed_v,
            mesh_n_m: work.mesh_n_m,
            power_w: work.power_w,
        })
    }

    /// Whether the windings go on as they did.
    #[inline]
    pub(crate) fn goes_on(&self, drive: &TrainDrive) -> bool {
        self.needed_v <= drive.supply_v
            && self.phase[0].is_same(drive.phase[0])
            && self.phase[1].is_same(drive.phase[1])
    }
}

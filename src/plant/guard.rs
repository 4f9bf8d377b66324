//! What a rig can hold: beyond it, the twin's numbers are none.
//!
//! Looked at after every stick step: the stick's angles and rates. Once a tick: energy, in which
//! every state takes part. docs/model/accuracy.md derives the bounds.

use trimproof_io::AXES;

use crate::abort::{AbortReason, Quantity, TwinAbort, TwinPart};
use crate::account::{Account, WORK_SLACK};
use crate::dynamics::Pose;
use crate::fault::AxisName;
use crate::twin::Plant;

/// Largest angle of the stick on either axis, rad. Stops stand within ±60°; at 90° of roll pitch
/// has no lever at all.
const LARGEST_ANGLE_RAD: f64 = std::f64::consts::FRAC_PI_2;
/// Energy that raises no alarm, J: that of a stick's weight over its travel; a diverging state
/// passes it within a few steps.
const ENERGY_SLACK_J: f64 = 2.0;

impl Plant {
    /// Opens the account of the twin as it stands.
    pub(crate) fn open_account(&mut self) {
        let detent_j: f64 = self
            .axis
            .iter()
            .map(|axis| 0.5 * axis.params.detent_n_m / axis.params.rotor_teeth)
            .sum();
        self.account = Account {
            start_j: self.energies_j().iter().sum(),
            put_in_j: 0.0,
            tick_j: 0.0,
            slack_j: ENERGY_SLACK_J + detent_j + WORK_SLACK * self.gimbal.largest_fall_j(),
        };
    }

    /// Changes something that stores energy, and counts what it stores more as put in.
    pub(crate) fn with_account(&mut self, change: impl FnOnce(&mut Self)) {
        let before: f64 = self.energies_j().iter().sum();
        change(self);
        let after: f64 = self.energies_j().iter().sum();
        self.account.put_in_at_once(after - before);
    }

    /// Energy of stick, pitch drive and roll drive, J; what is stored in contacts is left out.
    fn energies_j(&self) -> [f64; 1 + AXES] {
        self.energies_at(&Pose::at(self.stick.angle_rad))
    }

    fn energies_at(&self, pose: &Pose) -> [f64; 1 + AXES] {
        let drive = |i: usize| {
            let axis = &self.axis[i];
            axis.params.energy_j(&axis.train, self.stick.angle_rad[i])
        };
        [self.gimbal.energy_at(pose, &self.stick), drive(0), drive(1)]
    }

    /// Whether the stick stands where a rig can hold it and its rates are numbers. What is no
    /// number in a drive is found at the end of the tick.
    #[inline]
    pub(crate) fn guard_step(&self, end_s: f64) -> Result<(), TwinAbort> {
        let [a, b] = self.stick.angle_rad;
        let fits = a.abs() <= LARGEST_ANGLE_RAD && b.abs() <= LARGEST_ANGLE_RAD;
        let sum = self.stick.rate_rad_per_s[0] + self.stick.rate_rad_per_s[1];
        if fits && sum.is_finite() {
            return Ok(());
        }
        Err(self.blame(end_s))
    }

    /// Whether the twin has no more energy than it had and was given.
    pub(crate) fn guard_tick(&mut self, end_s: f64) -> Result<(), TwinAbort> {
        let pose = self.mid.follow(self.stick.angle_rad);
        let parts = self.energies_at(&pose);
        let found: f64 = parts.iter().sum();
        self.account.end_tick();
        let limit = self.account.limit_j();
        if found <= limit && self.supply.volts().is_finite() {
            return Ok(());
        }
        if !found.is_finite() || !self.supply.volts().is_finite() {
            return Err(self.blame(end_s));
        }
        let part = if parts[0] >= parts[1].max(parts[2]) {
            TwinPart::Rig
        } else if parts[1] >= parts[2] {
            TwinPart::Drive(AxisName::Pitch)
        } else {
            TwinPart::Drive(AxisName::Roll)
        };
        Err(TwinAbort {
            at_s: end_s,
            part,
            reason: AbortReason::Beyond {
                quantity: Quantity::Energy,
                found,
                limit,
            },
        })
    }

    /// The first part that is wrong.
    #[cold]
    fn blame(&self, at_s: f64) -> TwinAbort {
        let abort = |part, reason| TwinAbort { at_s, part, reason };
        let not_finite = |part, quantity| abort(part, AbortReason::NotFinite { quantity });
        // Drives first: a drive that diverges takes the stick with it.
        for name in AxisName::ALL {
            let train = &self.axis[name.index()].train;
            for (quantity, value) in [
                (Quantity::Angle, train.shaft_rad + train.rotor_rad),
                (
                    Quantity::Rate,
                    train.shaft_rad_per_s + train.rotor_rad_per_s,
                ),
                (Quantity::Current, train.current_a[0] + train.current_a[1]),
            ] {
                if !value.is_finite() {
                    return not_finite(TwinPart::Drive(name), quantity);
                }
            }
        }
        for name in AxisName::ALL {
            let (angle, rate) = (
                self.stick.angle_rad[name.index()],
                self.stick.rate_rad_per_s[name.index()],
            );
            if !angle.is_finite() {
                return not_finite(TwinPart::Stick(name), Quantity::Angle);
            }
            if !rate.is_finite() {
                return not_finite(TwinPart::Stick(name), Quantity::Rate);
            }
            if angle.abs() > LARGEST_ANGLE_RAD {
                return abort(
                    TwinPart::Stick(name),
                    AbortReason::Beyond {
                        quantity: Quantity::Angle,
                        found: angle.to_degrees(),
                        limit: LARGEST_ANGLE_RAD.to_degrees(),
                    },
                );
            }
        }
        if !self.supply.volts().is_finite() {
            return not_finite(TwinPart::Supply, Quantity::Voltage);
        }
        // Every number is one, their sum is not: the largest of them are beyond any rig.
        not_finite(TwinPart::Rig, Quantity::Energy)
    }
}

#[cfg(test)]
mod tests;

//! What a rig can hold: beyond it, the twin's numbers are none.
//!
//! Looked at after every stick step: the stick's angles and rates. Once a tick: energy, in which every state takes part.
//! docs/model/accuracy.md derives the bounds.

use trimproof_io::AXES;

use crate::abort::{AbortReason, Quantity, TwinAbort, TwinPart};
use crate::dynamics::Pose;
use crate::fault::AxisName;
use crate::twin::Plant;

/// Largest angle of the stick on either axis, rad. Stops stand within ±60°; at 90° of roll pitch has no lever at all.
const LARGEST_ANGLE_RAD: f64 = std::f64::consts::FRAC_PI_2;
/// Share by which what is put in is counted too high, so that the scheme's own error raises no alarm.
const WORK_SLACK: f64 = 0.1;
/// Energy that raises no alarm, J: that of a stick's weight over its travel; a diverging state passes it within a few
/// steps.
const ENERGY_SLACK_J: f64 = 2.0;

/// Energy of the twin: what it had, what was put in.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Account {
    /// Energy at the beginning, J.
    start_j: f64,
    /// Work of hand, pushes, supply and faults, where positive, J.
    put_in_j: f64,
    /// The same over the tick that is being computed, or was last, J.
    tick_j: f64,
    /// What the bound has beside them, J.
    slack_j: f64,
}

impl Account {
    /// Adds work done on the twin, J; what it gives back is not taken off, as friction may have had it before.
    #[inline]
    pub(crate) fn put_in(&mut self, work_j: f64) {
        self.tick_j += work_j.max(0.0);
    }

    /// Adds work done between two ticks, J.
    fn put_in_at_once(&mut self, work_j: f64) {
        self.put_in_j += work_j.max(0.0);
    }

    /// A tick begins.
    pub(crate) fn begin_tick(&mut self) {
        self.tick_j = 0.0;
    }

    /// A tick is over; called alone, it was one like the last.
    pub(crate) fn end_tick(&mut self) {
        self.put_in_j += self.tick_j;
    }

    fn limit_j(&self) -> f64 {
        self.start_j + (1.0 + WORK_SLACK) * self.put_in_j + self.slack_j
    }
}

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

    /// Whether the stick stands where a rig can hold it and its rates are numbers. What is no number in a drive is
    /// found at the end of the tick.
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
mod tests {
    use super::*;
    use crate::rig::Rig;
    use crate::twin::{Numerics, StartPose};

    fn plant() -> Plant {
        let rig = Rig::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap();
        let start = StartPose {
            supply_v: 24.0,
            ..StartPose::default()
        };
        Plant::new(&rig, 1, Numerics::default(), start)
    }

    fn aborts(spoil: impl FnOnce(&mut Plant)) -> TwinAbort {
        let mut plant = plant();
        plant.advance().unwrap();
        spoil(&mut plant);
        let abort = plant.advance().unwrap_err();
        assert_eq!(
            plant.advance(),
            Err(abort.clone()),
            "nothing comes after an abort"
        );
        abort
    }

    #[test]
    fn a_rig_that_is_left_alone_is_never_aborted() {
        let mut plant = plant();
        plant.push([40.0, -30.0], 0.1, 0.4);
        for _ in 0..500 {
            plant.advance().unwrap();
        }
    }

    #[test]
    fn what_is_no_number_is_found_in_the_step_and_in_the_part() {
        let abort = aborts(|plant| plant.axis[1].train.current_a[0] = f64::NAN);
        assert_eq!(abort.part, TwinPart::Drive(AxisName::Roll));
        assert!(matches!(abort.reason, AbortReason::NotFinite { .. }));
        // Dry friction hides it from the stick: it is found at the end of the second tick, 4 ms.
        assert!((abort.at_s - 0.004).abs() < 1e-9, "{abort}");
        // The drive of the axis sees the stick's rate in the same step.
        let abort = aborts(|plant| plant.stick.rate_rad_per_s[0] = f64::INFINITY);
        assert!(matches!(abort.reason, AbortReason::NotFinite { .. }));
        assert!(abort.at_s < 0.0022, "{abort}");
    }

    #[test]
    fn an_angle_that_no_stop_allows_is_found() {
        let abort = aborts(|plant| plant.stick.angle_rad[1] = -1.6);
        assert_eq!(abort.part, TwinPart::Stick(AxisName::Roll));
        assert!(
            matches!(
                abort.reason,
                AbortReason::Beyond {
                    quantity: Quantity::Angle,
                    limit: 90.0,
                    ..
                }
            ),
            "{abort}"
        );
    }

    /// Rotor inertia 3e-5 kg·m² at 1000 rad/s is 15 J, which nobody put in.
    #[test]
    fn energy_from_nowhere_is_found_in_the_drive_that_has_it() {
        let abort = aborts(|plant| plant.axis[0].train.rotor_rad_per_s = 1000.0);
        assert_eq!(abort.part, TwinPart::Drive(AxisName::Pitch));
        assert!(
            matches!(
                abort.reason,
                AbortReason::Beyond {
                    quantity: Quantity::Energy,
                    ..
                }
            ),
            "{abort}"
        );
    }

    /// Stick inertia of some 0.05 kg·m² at 30 rad/s is 20 J; in a tick of 2 ms it turns by 0.06 rad.
    #[test]
    fn energy_from_nowhere_is_found_in_roll_and_in_the_stick() {
        let abort = aborts(|plant| plant.axis[1].train.rotor_rad_per_s = 1000.0);
        assert_eq!(abort.part, TwinPart::Drive(AxisName::Roll), "{abort}");
        let abort = aborts(|plant| plant.stick.rate_rad_per_s[0] = 30.0);
        assert_eq!(abort.part, TwinPart::Rig, "{abort}");
    }

    /// What a push puts in is force times way: 20 N on 0.33 m in pitch, 10 N the other way in roll; and what the drives draw
    /// where nothing moves is what their windings burn, R I² an axis.
    #[test]
    fn what_is_put_in_is_work() {
        let rig = Rig::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap();
        let mut plant = Plant::new(&rig, 1, Numerics::default(), StartPose::default());
        plant.push([20.0, -10.0], 0.0, 1.0);
        for _ in 0..25 {
            plant.advance().unwrap();
        }
        let [pitch, roll] = plant.stick.angle_rad;
        assert!(pitch > 0.02 && roll < -0.01);
        let work_j = 0.33 * (20.0 * pitch - 10.0 * roll);
        let found = plant.account.put_in_j;
        // The lever in pitch shortens with cos φ, by less than φ²/2.
        assert!(
            (found / work_j - 1.0).abs() < 0.5 * roll * roll + 1e-3,
            "{found} J for {work_j} J"
        );

        let mut plant = self::plant();
        let mut outputs = trimproof_io::Command::default();
        for out in &mut outputs.axis {
            out.enable = true;
            out.current = trimproof_io::CurrentLevel::Hold;
        }
        for _ in 0..300 {
            plant.command(&outputs);
            plant.advance().unwrap();
        }
        let burnt_j = 0.002 * 0.9 * (3.65 * 3.65 + 3.25 * 3.25);
        let found = plant.account.tick_j;
        assert!(
            (found / burnt_j - 1.0).abs() < 1e-3,
            "{found} J for {burnt_j} J"
        );
    }

    /// Of what is put in, a tenth more is allowed for; what is given back is not taken off, and a tick that is skipped
    /// was one like the last.
    #[test]
    fn an_account_allows_for_what_was_put_in() {
        let mut account = Account {
            start_j: 5.0,
            slack_j: 2.0,
            ..Account::default()
        };
        let expect = |account: &Account, put_in_j: f64| {
            let found = account.limit_j();
            assert!((found - (7.0 + 1.1 * put_in_j)).abs() < 1e-12, "{found}");
        };
        account.put_in_at_once(3.0);
        account.put_in_at_once(-1.0);
        expect(&account, 3.0);
        account.begin_tick();
        account.put_in(0.5);
        account.put_in(-0.25);
        expect(&account, 3.0);
        account.end_tick();
        expect(&account, 3.5);
        account.end_tick();
        expect(&account, 4.0);
        account.begin_tick();
        account.put_in(0.0);
        account.end_tick();
        expect(&account, 4.0);
    }

    /// What a change between two ticks stores more is put in, what it stores less is not taken off: 3e-5 kg·m² at
    /// 100 rad/s is 0.15 J.
    #[test]
    fn a_change_puts_in_what_it_stores() {
        let mut plant = plant();
        plant.with_account(|_| {});
        assert_eq!(plant.account.put_in_j, 0.0);
        plant.with_account(|plant| plant.axis[1].train.rotor_rad_per_s = 100.0);
        assert!((plant.account.put_in_j - 0.15).abs() < 1e-12);
        plant.with_account(|plant| plant.axis[1].train.rotor_rad_per_s = 0.0);
        assert!((plant.account.put_in_j - 0.15).abs() < 1e-12);
    }

    /// The account begins with what the parts have; the detents, which no energy counts, are in the slack with all that
    /// they can give: the work of T sin(4 N x) from a crest to the next trough.
    #[test]
    fn an_account_begins_with_the_energy_of_its_parts() {
        let plant = plant();
        let energies = plant.energies_j();
        assert!(energies[0] != 0.0);
        let sum = energies[0] + energies[1] + energies[2];
        assert!((plant.account.start_j - sum).abs() < 1e-12);
        assert_eq!((plant.account.put_in_j, plant.account.tick_j), (0.0, 0.0));
        let mut expected = 2.0 + 0.1 * plant.gimbal.largest_fall_j();
        for axis in &plant.axis {
            let (detent_n_m, teeth) = (axis.params.detent_n_m, axis.params.rotor_teeth);
            let part = std::f64::consts::PI / (4.0 * teeth) / 1000.0;
            let work: f64 = (0..1000)
                .map(|k| detent_n_m * libm::sin(4.0 * teeth * (f64::from(k) + 0.5) * part) * part)
                .sum();
            assert!(work > 0.0);
            expected += work;
        }
        let found = plant.account.slack_j;
        // Midpoints of 1000 parts of a half wave are off by π²/24e6 of it.
        assert!((found - expected).abs() < 1e-6, "{found} for {expected}");
    }

    /// What is found, is found at the end of a step: a stick that stands beyond a right angle in the first of the tick, one
    /// that slams into its stop in some whole step of 0.1 ms.
    #[test]
    fn an_abort_is_at_the_end_of_its_step() {
        let abort = aborts(|plant| plant.stick.angle_rad[1] = -1.6);
        assert!((abort.at_s - 0.0021).abs() < 1e-9, "{abort}");
        let abort = aborts(|plant| {
            plant.account.put_in_at_once(1e9);
            plant.stick.angle_rad[0] = 19.0_f64.to_radians();
            plant.stick.rate_rad_per_s[0] = 200.0;
        });
        assert!(
            matches!(
                abort.part,
                TwinPart::Stop {
                    axis: AxisName::Pitch,
                    upper: true
                }
            ),
            "{abort}"
        );
        let steps = (abort.at_s - 0.002) / 1e-4;
        assert!((steps - steps.round()).abs() < 1e-6 && (1.0..=20.0).contains(&steps.round()));
    }

    /// Each number that can stop being one, and what is then said of it; numbers that are only large are none of them.
    #[test]
    fn what_is_no_number_is_named() {
        use crate::supply::Supply;
        type Spoil = fn(&mut Plant);
        let (pitch, roll) = (AxisName::Pitch, AxisName::Roll);
        let cases: [(Spoil, TwinPart, Quantity); 12] = [
            (
                |plant| plant.axis[0].train.shaft_rad = f64::NAN,
                TwinPart::Drive(pitch),
                Quantity::Angle,
            ),
            (
                |plant| plant.axis[1].train.rotor_rad = f64::INFINITY,
                TwinPart::Drive(roll),
                Quantity::Angle,
            ),
            (
                |plant| plant.axis[0].train.rotor_rad_per_s = f64::NAN,
                TwinPart::Drive(pitch),
                Quantity::Rate,
            ),
            (
                |plant| plant.axis[1].train.shaft_rad_per_s = f64::NEG_INFINITY,
                TwinPart::Drive(roll),
                Quantity::Rate,
            ),
            (
                |plant| plant.axis[0].train.current_a[1] = f64::NAN,
                TwinPart::Drive(pitch),
                Quantity::Current,
            ),
            (
                |plant| plant.stick.angle_rad[1] = f64::NAN,
                TwinPart::Stick(roll),
                Quantity::Angle,
            ),
            (
                |plant| plant.stick.rate_rad_per_s[0] = f64::NAN,
                TwinPart::Stick(pitch),
                Quantity::Rate,
            ),
            (
                |plant| plant.supply = Supply::new(0.1, 1e-3, f64::NAN, 1e-4),
                TwinPart::Supply,
                Quantity::Voltage,
            ),
            // Products of these are beyond all numbers, but they are not.
            (
                |plant| {
                    plant.axis[0].train.shaft_rad = 1e200;
                    plant.axis[0].train.rotor_rad = 1e200;
                },
                TwinPart::Rig,
                Quantity::Energy,
            ),
            (
                |plant| plant.axis[1].train.current_a = [1e200; 2],
                TwinPart::Rig,
                Quantity::Energy,
            ),
            (
                |plant| {
                    plant.axis[1].train.shaft_rad_per_s = 1e200;
                    plant.axis[1].train.rotor_rad_per_s = 1e200;
                },
                TwinPart::Rig,
                Quantity::Energy,
            ),
            (
                |plant| plant.stick.rate_rad_per_s = [1e200; 2],
                TwinPart::Rig,
                Quantity::Energy,
            ),
        ];
        for (spoil, part, quantity) in cases {
            let mut plant = plant();
            spoil(&mut plant);
            let abort = plant.blame(0.25);
            assert_eq!((abort.part, abort.at_s), (part.clone(), 0.25));
            assert_eq!(abort.reason, AbortReason::NotFinite { quantity }, "{part}");
        }
    }

    /// At a quarter turn a stick is let be, beyond it on either axis it is not; nor is one whose rates are no numbers.
    #[test]
    fn a_step_is_guarded_on_both_axes() {
        let at = |angle_rad: [f64; 2], rate: [f64; 2]| {
            let mut plant = plant();
            plant.stick.angle_rad = angle_rad;
            plant.stick.rate_rad_per_s = rate;
            plant.guard_step(0.0)
        };
        let right = std::f64::consts::FRAC_PI_2;
        assert_eq!(at([right, -right], [1e200, 1e200]), Ok(()));
        for angle_rad in [[1.6, 0.0], [-1.6, 0.0], [0.0, 1.6], [0.0, -1.6]] {
            let abort = at(angle_rad, [0.0; 2]).unwrap_err();
            let axis = AxisName::ALL[usize::from(angle_rad[0] == 0.0)];
            assert_eq!(abort.part, TwinPart::Stick(axis));
        }
        assert!(at([0.0; 2], [0.0, f64::NAN]).is_err());
        assert!(at([0.0; 2], [f64::INFINITY, 0.0]).is_err());
    }

    #[test]
    fn a_gear_that_slips_is_no_energy_from_nowhere() {
        let mut plant = plant();
        let slip = crate::FaultKind::GearSlip {
            axis: AxisName::Pitch,
            teeth: 40,
        };
        plant.set_fault(&slip, true);
        for _ in 0..100 {
            plant.advance().unwrap();
        }
    }
}

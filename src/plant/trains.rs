//! Both drives through one stick step, and what they do to the supply.
//!
//! Most drives stand still most of the time, held by friction and by their windings, while the
//! stick moves against them. A substep that left every bit of a drive as it was does so again for
//! as long as windings, supply and friction hold it: until then only its cartridge is worked out,
//! and no bit of a trace differs.

use trimproof_io::AXES;

use crate::dynamics::{StickPath, TrainDrive, TrainLoad};
use crate::standstill::Standstill;
use crate::twin::{DriveAxis, Plant};

impl Plant {
    /// Runs both drives through a stick step; what they do on average.
    #[inline]
    pub(crate) fn run_trains(
        &mut self,
        drive: &[TrainDrive; AXES],
        path: &[StickPath; AXES],
    ) -> [TrainLoad; AXES] {
        let mut load = [TrainLoad::default(); AXES];
        for (axis, drive) in self.axis.iter_mut().zip(drive) {
            axis.standstill.take_if(|known| !known.goes_on(drive));
        }
        // Both axes' substeps in turn, not one axis after the other: their chains of arithmetic
        // overlap.
        for k in 0..self.substeps {
            for (i, axis) in self.axis.iter_mut().enumerate() {
                if k < axis.substeps {
                    axis.substep(&drive[i], &path[i], k, &mut load[i]);
                }
            }
        }
        for (load, axis) in load.iter_mut().zip(&self.axis) {
            load.cartridge_n_m *= axis.share;
            load.power_w *= axis.share;
        }
        load
    }

    /// A driver has just switched its windings: a trial of the step shows what that does to the
    /// supply.
    #[cold]
    pub(crate) fn foresee_supply(
        &mut self,
        drive: &mut [TrainDrive; AXES],
        path: &[StickPath; AXES],
        now_s: f64,
    ) {
        let trains = [self.axis[0].train, self.axis[1].train];
        let load = self.run_trains(drive, path);
        for (axis, train) in self.axis.iter_mut().zip(trains) {
            axis.train = train;
            axis.standstill = None;
        }
        let supply_v = self
            .supply
            .foresee_v(load[0].power_w + load[1].power_w, now_s);
        for drive in drive {
            drive.supply_v = supply_v;
        }
    }
}

impl DriveAxis {
    #[inline]
    fn substep(&mut self, drive: &TrainDrive, path: &StickPath, k: u32, load: &mut TrainLoad) {
        if let Some(known) = &self.standstill {
            let shaft_rad = self.train.shaft_rad;
            if let Some(cartridge_n_m) =
                self.params
                    .held_n_m(&self.reciprocals, shaft_rad, known.mesh_n_m, path, k)
            {
                load.cartridge_n_m += cartridge_n_m;
                load.power_w += known.power_w;
                return;
            }
            self.standstill = None;
        }
        if self.train.is_still() {
            return self.substep_at_rest(drive, path, k, load);
        }
        load.add(
            &self
                .params
                .substep(&self.reciprocals, &mut self.train, drive, path, k),
        );
    }

    /// The substep of a drive that stands still, after which it is known whether it goes on so.
    #[inline(never)]
    fn substep_at_rest(
        &mut self,
        drive: &TrainDrive,
        path: &StickPath,
        k: u32,
        load: &mut TrainLoad,
    ) {
        let before = self.train.bits();
        let work = self
            .params
            .substep(&self.reciprocals, &mut self.train, drive, path, k);
        load.add(&work);
        if self.train.bits() == before {
            self.standstill = Standstill::of(&self.train, drive, &work);
        }
    }
}

#[cfg(test)]
mod tests {
    //! The law: a drive that is not worked out while it stands still is one that always is, bit for
    //! bit, however the stick moves against it, whatever its windings do and whenever the supply
    //! falls short of what they need.

    use proptest::prelude::*;

    use super::*;
    use crate::dynamics::Phase;
    use crate::rig::Rig;
    use crate::scheme::Numerics;
    use crate::twin::StartPose;

    fn plant() -> Plant {
        let rig = Rig::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap();
        Plant::new(&rig, 1, Numerics::default(), StartPose::default())
    }

    #[derive(Clone, Copy, Debug)]
    struct Stretch {
        steps: u32,
        amps: [Option<f64>; 2],
        supply_v: f64,
        to_rad: f64,
    }

    impl Stretch {
        fn drive(&self) -> TrainDrive {
            TrainDrive {
                phase: self
                    .amps
                    .map(|amps| amps.map_or(Phase::Open, Phase::Chopped)),
                supply_v: self.supply_v,
            }
        }
    }

    fn stretch() -> impl Strategy<Value = Stretch> {
        let amps = || prop_oneof![Just(None), Just(Some(0.0)), (-1.0..1.0).prop_map(Some)];
        let volts = prop_oneof![Just(24.0), Just(0.0), 0.0..5.0];
        let to_rad = prop_oneof![Just(0.0), -0.002..0.002, -0.3..0.3];
        (1_u32..400, [amps(), amps()], volts, to_rad).prop_map(|(steps, amps, supply_v, to_rad)| {
            Stretch {
                steps,
                amps,
                supply_v,
                to_rad,
            }
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        #[test]
        fn a_drive_at_rest_is_one_that_is_worked_out(stretches in prop::collection::vec(stretch(), 1..8)) {
            let (mut rests, mut computes) = (plant(), plant());
            let mut angle_rad = 0.0;
            for stretch in stretches {
                let drive = [stretch.drive(); AXES];
                let rate_rad_per_s = (stretch.to_rad - angle_rad) / (f64::from(stretch.steps) * 1e-4);
                for _ in 0..stretch.steps {
                    let path = [StickPath { angle_rad, rate_rad_per_s, accel_rad_per_s2: 0.0 }; AXES];
                    let found = rests.run_trains(&drive, &path);
                    let mut wanted = [TrainLoad::default(); AXES];
                    for (i, axis) in computes.axis.iter_mut().enumerate() {
                        for k in 0..axis.substeps {
                            wanted[i].add(&axis.params.substep(&axis.reciprocals, &mut axis.train, &drive[i], &path[i], k));
                        }
                        wanted[i].cartridge_n_m *= axis.share;
                        wanted[i].power_w *= axis.share;
                    }
                    // Numbers are printed with all their digits, and −0 as it is.
                    prop_assert_eq!(format!("{found:?}"), format!("{wanted:?}"));
                    for (one, other) in rests.axis.iter().zip(&computes.axis) {
                        prop_assert_eq!(one.train.bits(), other.train.bits());
                    }
                    angle_rad += 1e-4 * rate_rad_per_s;
                }
            }
        }
    }

    /// 0.1 rad off its cartridge, below what friction and windings hold: all but the first steps
    /// are known.
    #[test]
    fn a_drive_that_holds_a_spring_is_known_to_stand_still() {
        let mut plant = plant();
        let stretch = Stretch {
            steps: 0,
            amps: [Some(0.7), Some(0.7)],
            supply_v: 24.0,
            to_rad: 0.0,
        };
        let mut known = 0;
        for step in 0..3000 {
            let angle_rad = 0.1 * (f64::from(step) / 1000.0).min(1.0);
            let path = StickPath {
                angle_rad,
                ..StickPath::default()
            };
            plant.run_trains(&[stretch.drive(); AXES], &[path; AXES]);
            known += u32::from(plant.axis.iter().all(|axis| axis.standstill.is_some()));
        }
        assert!(known > 1000, "{known} of 3000 steps");
    }

    /// It stands still at 24 V; then the supply falls below what its windings need, and nothing
    /// else changes.
    #[test]
    fn a_drive_whose_supply_falls_short_is_worked_out() {
        let mut plant = plant();
        let stretch = |supply_v: f64| Stretch {
            steps: 0,
            amps: [Some(0.7), Some(0.7)],
            supply_v,
            to_rad: 0.0,
        };
        let path = [StickPath::default(); AXES];
        for _ in 0..3000 {
            plant.run_trains(&[stretch(24.0).drive(); AXES], &path);
        }
        let known = plant.axis[0].standstill.expect("it stands still");
        // 0.7 A through 0.9 ohms.
        assert!((known.needed_v - 0.63).abs() < 1e-6, "{known:?}");
        plant.run_trains(&[stretch(0.64).drive(); AXES], &path);
        assert_eq!(plant.axis[0].train.current_a, [0.7; 2]);
        plant.run_trains(&[stretch(0.1).drive(); AXES], &path);
        assert!(plant.axis[0].train.current_a[0] < 0.7);
    }
}

//! Both drives through one stick step, and what they do to the supply.

use trimproof_controller::AXES;

use crate::dynamics::{StickPath, TrainDrive, TrainLoad};
use crate::twin::Plant;

impl Plant {
    /// Runs both drives through a stick step; what they do on average.
    #[inline]
    pub(crate) fn run_trains(
        &mut self,
        drive: &[TrainDrive; AXES],
        path: &[StickPath; AXES],
    ) -> [TrainLoad; AXES] {
        let mut load = [TrainLoad::default(); AXES];
        // Both axes' substeps in turn, not one axis after the other: their chains of arithmetic overlap.
        for k in 0..self.substeps {
            for (i, axis) in self.axis.iter_mut().enumerate() {
                if k < axis.substeps {
                    axis.law.substep(
                        &axis.per,
                        &mut axis.train,
                        &drive[i],
                        &path[i],
                        k,
                        &mut load[i],
                    );
                }
            }
        }
        for (load, axis) in load.iter_mut().zip(&self.axis) {
            load.cartridge_nm *= axis.share;
            load.power_w *= axis.share;
        }
        load
    }

    /// A driver has just switched its windings: a trial of the step shows what that does to the supply.
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
        }
        let supply_v = self
            .supply
            .foresee_v(load[0].power_w + load[1].power_w, now_s);
        for drive in drive {
            drive.supply_v = supply_v;
        }
    }
}

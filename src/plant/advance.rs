//! The twin, advanced tick by tick: what a tick is made of, in its order.

use trimproof_io::{AXES, CurrentLevel};

use crate::abort::{AbortReason, TwinAbort, TwinPart};
use crate::contact::{Overload, Pressed};
use crate::dynamics::{CURVE, Phase, StickPath, TrainDrive};
use crate::fault::AxisName;
use crate::lines::DriverEdge;
use crate::twin::{DriveAxis, Plant};

impl Plant {
    /// Advances to the end of the control tick, with what [`Plant::command`] has set.
    ///
    /// # Errors
    /// The twin cannot compute this tick. What it stands at is then of no use, and every later call
    /// gives the same error.
    pub fn advance(&mut self) -> Result<(), TwinAbort> {
        self.silent_for += 1;
        if self.silent_for > self.silence_ticks {
            // The board's watchdog: no command for too long, drivers off.
            for axis in &mut self.axis {
                axis.driver.set_lines(false, CurrentLevel::Off);
            }
        }
        self.advance_by(self.periods - self.period, None)
    }

    /// Advances by so many periods of the generator, not beyond the end of the tick, with these
    /// changes of the drivers' inputs in order of time. The step generator is not asked: whoever
    /// calls this makes the steps.
    ///
    /// # Errors
    /// As [`Plant::advance`].
    pub fn advance_with(&mut self, periods: u32, edges: &[DriverEdge]) -> Result<(), TwinAbort> {
        self.advance_by(periods.min(self.periods - self.period), Some(edges))
    }

    fn advance_by(&mut self, periods: u32, edges: Option<&[DriverEdge]>) -> Result<(), TwinAbort> {
        if let Some(abort) = &self.aborted {
            return Err(abort.clone());
        }
        let advanced = self.advance_stretch(periods, edges);
        if let Err(abort) = &advanced {
            self.aborted = Some(abort.clone());
        }
        advanced
    }

    fn advance_stretch(
        &mut self,
        periods: u32,
        edges: Option<&[DriverEdge]>,
    ) -> Result<(), TwinAbort> {
        if self.period == 0 {
            for axis in &mut self.axis {
                axis.counted_before = axis.driver.counted();
            }
        }
        let is_quiet = edges.is_none_or(<[DriverEdge]>::is_empty);
        if self.rests(periods) && is_quiet {
            self.supply_low_v = self.supply_low_v.min(self.supply.volts());
            self.pass(periods);
            self.account.end_tick();
            return Ok(());
        }
        for axis in &mut self.axis {
            // Faults, commands and events may have changed the drive.
            axis.standstill = None;
        }
        self.account.begin_tick();
        let begin_s = f64::from(self.tick) * self.tick_s;
        let per_tick = self.periods * self.steps;
        let first = self.period;
        let mut to_come = edges.unwrap_or_default();
        for period in first..first + periods {
            self.supply_low_v = self.supply_low_v.min(self.supply.volts());
            let mut drive = [TrainDrive {
                phase: [Phase::Open; 2],
                supply_v: 0.0,
            }; AXES];
            let mut has_switched = false;
            for (axis, drive) in self.axis.iter_mut().zip(&mut drive) {
                axis.driver.watch_supply(self.supply.volts());
                if edges.is_none() {
                    let pulse = axis.generator.period();
                    axis.driver.step(pulse);
                }
                has_switched |= axis.note_engagement();
                drive.phase = axis.driver.phases();
                axis.driver.wait(self.steps);
            }
            for step in 0..self.steps {
                let number = (period - first) * self.steps + step;
                let due = to_come.partition_point(|edge| edge.step <= number);
                let mut switches = has_switched && step == 0;
                if due > 0 {
                    let (now, later) = to_come.split_at(due);
                    to_come = later;
                    switches |= self.change_lines(now, &mut drive);
                }
                let share = f64::from(period * self.steps + step) / f64::from(per_tick);
                for drive in &mut drive {
                    drive.supply_v = self.supply.ahead_v();
                }
                self.step(drive, switches, begin_s + share * self.tick_s)?;
            }
        }
        self.pass(periods);
        self.guard_tick(self.now_s())?;
        if is_quiet {
            self.note_rest();
        } else {
            self.rest.clear();
        }
        Ok(())
    }

    /// The clock goes on.
    fn pass(&mut self, periods: u32) {
        self.period += periods;
        if self.period >= self.periods {
            self.period = 0;
            self.tick = self.tick.wrapping_add(1);
        }
    }

    /// The abort of a contact that was pressed harder than it stands.
    fn broke(&self, overload: &Overload, at_s: f64) -> TwinAbort {
        let part = match overload.contact {
            Pressed::Stop { axis, is_upper } => TwinPart::Stop {
                axis: AxisName::ALL[axis],
                upper: is_upper,
            },
            Pressed::Obstacle(index) => {
                let name = self.obstacle_names.get(index).cloned();
                TwinPart::Obstacle(name.unwrap_or_default())
            }
        };
        TwinAbort {
            at_s,
            part,
            reason: AbortReason::Broke {
                force_n: overload.force_n,
                limit_n: overload.limit_n,
            },
        }
    }

    /// One drift-kick-drift step of the stick with its drive trains substepped inside.
    fn step(
        &mut self,
        mut drive: [TrainDrive; AXES],
        has_switched: bool,
        now_s: f64,
    ) -> Result<(), TwinAbort> {
        let h = self.step_s;
        let half = 0.5 * h;
        let rate = self.stick.rate_rad_per_s;
        let mid: [f64; AXES] = std::array::from_fn(|i| self.stick.angle_rad[i] + half * rate[i]);
        let path: [StickPath; AXES] = std::array::from_fn(|i| StickPath {
            angle_rad: self.stick.angle_rad[i],
            rate_rad_per_s: rate[i],
            accel_rad_per_s2: self.accel[i],
        });
        if has_switched {
            self.foresee_supply(&mut drive, &path, now_s);
        }
        let load = self.run_trains(&drive, &path);
        let mut torque: [f64; AXES] = std::array::from_fn(|i| -load[i].cartridge_n_m);
        let power_w = load[0].power_w + load[1].power_w;
        // Forces are taken where the angles' curvature has them (`CURVE`).
        let bend = CURVE * h * h;
        let pose = self
            .mid
            .follow([mid[0] + bend * self.accel[0], mid[1] + bend * self.accel[1]]);
        let (push, grip) = self.hand.pull_next(&pose, now_s + half);
        let mid_rate: [f64; AXES] = std::array::from_fn(|i| rate[i] + half * self.accel[i]);
        let firm = grip.as_ref().map_or([0.0; AXES], |grip| grip.firm_n_m());
        self.surroundings
            .note_others(std::array::from_fn(|i| torque[i] + push[i] + firm[i]));
        self.contact = self.surroundings.load(&self.gimbal, mid_rate, &pose, h);
        for (i, torque) in torque.iter_mut().enumerate() {
            *torque += push[i] + self.contact.torque_n_m[i];
        }
        let mut hand = push;
        if let Some(grip) = &grip {
            let pull = self
                .gimbal
                .kick_gripped(&pose, &mut self.stick, torque, grip, h);
            hand[0] += pull[0];
            hand[1] += pull[1];
        } else {
            self.gimbal.kick_at(&pose, &mut self.stick, torque, h);
        }
        let mut hand_w = 0.0;
        for i in 0..AXES {
            let next = self.stick.rate_rad_per_s[i];
            self.accel[i] = (next - rate[i]) / h;
            self.stick.angle_rad[i] = mid[i] + half * next - self.contact.early_rad[i];
            hand_w += 0.5 * hand[i] * (rate[i] + next);
        }
        self.account.put_in(h * hand_w);
        self.account.put_in(h * power_w);
        self.supply.advance(power_w, now_s);
        if let Some(overload) = self.contact.broken {
            return Err(self.broke(&overload, now_s + h));
        }
        self.guard_step(now_s + h)
    }
}

impl DriveAxis {
    /// When the drive comes on, the rotor falls to the nearest equilibrium: whole cycles do not
    /// count as lag. Whether it has come on or gone off.
    pub(crate) fn note_engagement(&mut self) -> bool {
        let driving = self.driver.is_driving();
        if driving && !self.was_driving {
            let lag = self.driver.electrical_rad() - self.params.electrical_rad(&self.train);
            let cycle = std::f64::consts::TAU;
            self.lag_zero_rad = (lag / cycle).round() * cycle;
        }
        let has_switched = driving != self.was_driving;
        self.was_driving = driving;
        has_switched
    }
}

//! The twin: one rig's stick, drives, contacts, hand, sensors, switches and supply, advanced tick by tick.

use trimproof_io::{AXES, Command, CurrentLevel, Inputs, StepGenerator, Switches};

use crate::abort::{AbortReason, TwinAbort, TwinPart};
use crate::assembly;
use crate::contact::{ContactLoad, Overload, Pressed, Surroundings};
use crate::driver::Driver;
use crate::dynamics::{
    CURVE, GimbalParams, GimbalState, Pose, PoseAnchor, Reciprocals, StickPath, TrainDrive,
    TrainParams, TrainState,
};
use crate::fault::{AxisName, Coil, FaultKind, SwitchName};
use crate::guard::Account;
use crate::hand::{Hand, HandFeel, PathShape};
use crate::rest::Rest;
use crate::rig::{Cartridge, Rig};
use crate::sensor::{AngleSensor, SensorFaults};
use crate::supply::Supply;
use crate::switch::{Switch, SwitchFaults};
use crate::trains::Standstill;

/// Step sizes of the integrator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numerics {
    /// Longest stick step, s; a generator period is cut into equal steps no longer than this.
    pub stick_step_s: f64,
    /// Least drive-train substeps in a stick step; a stiff rig gets more ([`crate::Scheme`]).
    pub train_substeps: u32,
    /// Stick steps between two looks at a contact in reach.
    pub contact_steps: u32,
    /// Cuts every step that a rig gets into so many equal ones: 2 is the run at half steps.
    pub refine: u32,
}

impl Default for Numerics {
    /// 100 µs for the stick, 25 µs for the drive trains, contacts in reach looked up each step: measured in
    /// docs/model/accuracy.md.
    fn default() -> Self {
        Self {
            stick_step_s: 1.0e-4,
            train_substeps: 4,
            contact_steps: 1,
            refine: 1,
        }
    }
}

/// How the twin stands when the run begins.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StartPose {
    /// Stick angles, rad; the trim shafts stand there too, in the middle of their play.
    pub angle_rad: [f64; AXES],
    /// Motor supply at the start, V; zero is disconnected.
    pub supply_v: f64,
    /// Force-trim switch.
    pub force_trim: bool,
}

/// What is true of one axis at an instant, as a trace wants it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AxisReading {
    /// Stick angle, rad.
    pub stick_rad: f64,
    /// Stick rate, rad/s.
    pub stick_rad_per_s: f64,
    /// Trim shaft angle, rad.
    pub trim_rad: f64,
    /// Hand force along the axis at the grip, N.
    pub grip_force_n: f64,
    /// Cartridge torque on the stick, N·m, without its damping.
    pub cartridge_n_m: f64,
    /// Torque of all contacts, as a force at the grip, N.
    pub stop_force_n: f64,
    /// Size of the winding current vector, A.
    pub current_a: f64,
    /// Commanded less actual rotor position, full steps; 0 while the drive is off.
    pub lag_steps: f64,
    /// Rotor angle at the motor shaft, rad.
    pub rotor_rad: f64,
    /// The driver's index in its microstep table.
    pub microstep_index: u32,
    /// Fraction of a microstep that has gathered in the step generator, times 2^32.
    pub step_fraction: u32,
    /// Sensor reading of the last sample.
    pub sensor_counts: u16,
    /// Whether the driver drives its windings.
    pub driving: bool,
}

/// What is true of the twin at an instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Readings {
    /// Per axis, `[pitch, roll]`.
    pub axis: [AxisReading; AXES],
    /// Whether the hand holds the grip.
    pub gripping: bool,
    /// Hand's target, rad; the stick's angles when it does not grip.
    pub hand_rad: [f64; AXES],
    /// Supply at the drivers, V.
    pub supply_v: f64,
    /// Supply current, A.
    pub supply_a: f64,
    /// Switch levels of the last sample.
    pub switches: Switches,
    /// Whether the stick touches a stop or an obstacle.
    pub touching: bool,
}

#[derive(Clone)]
pub(crate) struct Axis {
    pub params: TrainParams,
    pub reciprocals: Reciprocals,
    pub train: TrainState,
    /// What is known of it while it stands still.
    pub standstill: Option<Standstill>,
    pub driver: Driver,
    pub generator: StepGenerator,
    /// Substeps in a stick step, and one divided by them.
    pub substeps: u32,
    pub share: f64,
    pub sensor: AngleSensor,
    pub cartridge: Cartridge,
    pub broken_springs: u32,
    pub tooth_rad: f64,
    /// Whole electrical cycles between command and rotor when the drive last came on, rad.
    pub lag_zero_rad: f64,
    pub was_driving: bool,
    pub counts: u16,
}

/// The physics twin of one rig. A copy goes on from where the original stands, bit for bit.
#[derive(Clone)]
pub struct Plant {
    pub(crate) gimbal: GimbalParams,
    pub(crate) stick: GimbalState,
    pub(crate) accel: [f64; AXES],
    pub(crate) mid: PoseAnchor,
    pub(crate) axis: [Axis; AXES],
    pub(crate) surroundings: Surroundings,
    /// Names of the rig's obstacles, for an abort.
    pub(crate) obstacle_names: Vec<String>,
    pub(crate) hand: Hand,
    pub(crate) feel: HandFeel,
    pub(crate) supply: Supply,
    /// Lowest supply since the last sample, as the board's generator interrupt reads it, V.
    pub(crate) supply_low_v: f64,
    pub(crate) switches: [Switch; SwitchName::ALL.len()],
    pub(crate) bounce_s: Vec<f64>,
    pub(crate) force_trim: bool,
    pub(crate) grip_radius_m: f64,
    pub(crate) tick: u32,
    pub(crate) tick_s: f64,
    pub(crate) periods: u32,
    pub(crate) steps: u32,
    pub(crate) step_s: f64,
    /// The larger of both axes' substeps.
    pub(crate) substeps: u32,
    pub(crate) silence_ticks: u32,
    pub(crate) silent_for: u32,
    pub(crate) levels: Switches,
    pub(crate) contact: ContactLoad,
    pub(crate) account: Account,
    pub(crate) rest: Rest,
    /// Why nothing can be computed any more.
    pub(crate) aborted: Option<TwinAbort>,
}

impl Plant {
    /// The twin of `rig`, with sensor noise from `seed`, standing as `start` says.
    pub fn new(rig: &Rig, seed: u64, numerics: Numerics, start: StartPose) -> Self {
        assembly::assemble(rig, seed, numerics, start)
    }

    /// Time, s: exact multiples of the control tick.
    pub fn now_s(&self) -> f64 {
        f64::from(self.tick) * self.tick_s
    }

    /// Length of a control tick, s.
    pub fn tick_s(&self) -> f64 {
        self.tick_s
    }

    /// What the controller receives at this instant. Call once a tick: it draws sensor noise.
    pub fn sample(&mut self) -> Inputs {
        let now = self.now_s();
        let mut levels = Switches {
            force_trim: self.force_trim,
            ..Switches::default()
        };
        for name in SwitchName::ALL {
            *name.level_in(&mut levels) = self.switches[name.index()].level(now);
        }
        self.levels = levels;
        for (axis, angle) in self.axis.iter_mut().zip(self.stick.angle_rad) {
            axis.counts = axis.sensor.sample(angle.to_degrees());
        }
        let millivolts = (self.supply_low_v.min(self.supply.volts()) * 1000.0)
            .round()
            .clamp(0.0, f64::from(u16::MAX));
        self.supply_low_v = self.supply.volts();
        Inputs {
            tick: self.tick,
            sensor_counts: std::array::from_fn(|i| self.axis[i].counts),
            switches: levels,
            supply_mv: millivolts as u16,
        }
    }

    /// Puts a command on the drivers' lines, as the board does at the end of its tick.
    pub fn command(&mut self, command: &Command) {
        self.silent_for = 0;
        for (axis, out) in self.axis.iter_mut().zip(&command.axis) {
            if out.home {
                axis.driver.home();
                axis.generator.home();
            }
            axis.driver.set_lines(out.enable, out.current);
            axis.generator.refresh(out.step_rate);
        }
    }

    /// Advances one control tick.
    ///
    /// # Errors
    /// The twin cannot compute this tick. What it stands at is then of no use, and every later call gives the same error.
    pub fn advance(&mut self) -> Result<(), TwinAbort> {
        if let Some(abort) = &self.aborted {
            return Err(abort.clone());
        }
        let advanced = self.advance_tick();
        if let Err(abort) = &advanced {
            self.aborted = Some(abort.clone());
        }
        advanced
    }

    fn advance_tick(&mut self) -> Result<(), TwinAbort> {
        self.silent_for += 1;
        if self.silent_for > self.silence_ticks {
            // The board's watchdog: no command for too long, drivers off.
            for axis in &mut self.axis {
                axis.driver.set_lines(false, CurrentLevel::Off);
            }
        }
        if self.rests() {
            self.supply_low_v = self.supply_low_v.min(self.supply.volts());
            self.tick = self.tick.wrapping_add(1);
            self.account.end_tick();
            return Ok(());
        }
        for axis in &mut self.axis {
            // Faults, commands and events may have changed the drive.
            axis.standstill = None;
        }
        self.account.begin_tick();
        let begin_s = self.now_s();
        let per_tick = self.periods * self.steps;
        for period in 0..self.periods {
            self.supply_low_v = self.supply_low_v.min(self.supply.volts());
            let mut drive = [TrainDrive {
                phase: [crate::dynamics::Phase::Open; 2],
                supply_v: 0.0,
            }; AXES];
            let mut has_switched = false;
            for (axis, drive) in self.axis.iter_mut().zip(&mut drive) {
                axis.driver.watch_supply(self.supply.volts());
                let pulse = axis.generator.period();
                axis.driver.step(pulse);
                has_switched |= axis.note_engagement();
                drive.phase = axis.driver.phases();
            }
            for step in 0..self.steps {
                let share = f64::from(period * self.steps + step) / f64::from(per_tick);
                for drive in &mut drive {
                    drive.supply_v = self.supply.ahead_v();
                }
                let has_switched = has_switched && step == 0;
                self.step(drive, has_switched, begin_s + share * self.tick_s)?;
            }
        }
        self.tick = self.tick.wrapping_add(1);
        self.guard_tick(self.now_s())?;
        self.note_rest();
        Ok(())
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

    /// What is true now.
    pub fn readings(&self) -> Readings {
        let now = self.now_s();
        let pose = Pose::at(self.stick.angle_rad);
        let grip_n_m = self.hand.torque_n_m(&pose, self.stick.rate_rad_per_s, now);
        let reach = [self.grip_radius_m * pose.roll.1, self.grip_radius_m];
        Readings {
            axis: std::array::from_fn(|i| {
                let axis = &self.axis[i];
                let [a, b] = axis.train.current_a;
                AxisReading {
                    stick_rad: self.stick.angle_rad[i],
                    stick_rad_per_s: self.stick.rate_rad_per_s[i],
                    trim_rad: axis.train.shaft_rad,
                    grip_force_n: grip_n_m[i] / reach[i],
                    cartridge_n_m: -axis
                        .params
                        .cartridge
                        .spring_n_m(self.stick.angle_rad[i] - axis.train.shaft_rad),
                    stop_force_n: self.contact.torque_n_m[i] / reach[i],
                    current_a: (a * a + b * b).sqrt(),
                    lag_steps: axis.lag_steps(),
                    rotor_rad: axis.train.rotor_rad,
                    microstep_index: axis.driver.index() as u32,
                    step_fraction: axis.generator.fraction(),
                    sensor_counts: axis.counts,
                    driving: axis.driver.is_driving(),
                }
            }),
            gripping: self.hand.is_gripping(),
            hand_rad: self
                .hand
                .target(now)
                .map_or(self.stick.angle_rad, |(angle, _)| angle),
            supply_v: self.supply.volts(),
            supply_a: self.supply.current_a(),
            switches: self.levels,
            touching: self.contact.touching,
        }
    }

    /// Stick state, for checks against references.
    pub fn stick(&self) -> GimbalState {
        self.stick
    }

    /// Drive train of an axis, for checks against references.
    pub fn train(&self, axis: usize) -> &TrainState {
        &self.axis[axis].train
    }

    /// The hand takes the grip where the stick is; `feel` overrides the rig's hand.
    pub fn grip(&mut self, feel: Option<HandFeel>) {
        let now = self.now_s();
        self.hand
            .take(feel.unwrap_or(self.feel), self.stick.angle_rad, now);
    }

    /// The rig's usual hand.
    pub fn usual_feel(&self) -> HandFeel {
        self.feel
    }

    /// Carries the hand to new angles, rad; `None` leaves an axis.
    pub fn carry(&mut self, to_rad: [Option<f64>; AXES], over_s: f64, shape: PathShape) {
        let now = self.now_s();
        self.hand.carry(to_rad, over_s, shape, now);
    }

    /// The hand leaves the grip.
    pub fn let_go(&mut self) {
        self.hand.let_go();
    }

    /// A plain force at the grip, N per axis.
    pub fn push(&mut self, force_n: [f64; AXES], rise_s: f64, for_s: f64) {
        let now = self.now_s();
        self.hand.push(force_n, rise_s, for_s, now);
    }

    /// Presses or lets go a switch, with alternating bounce durations that start with the new level;
    /// the rig's pattern where none is given.
    pub fn set_switch(&mut self, name: SwitchName, closed: bool, bounce_s: &[f64]) {
        let now = self.now_s();
        let bounce_s = if bounce_s.is_empty() {
            &self.bounce_s
        } else {
            bounce_s
        };
        self.switches[name.index()].set(closed, now, bounce_s);
    }

    /// Turns the force-trim switch.
    pub fn set_force_trim(&mut self, on: bool) {
        self.force_trim = on;
    }

    /// Brings the supply's source to `volts` over `over_s`; zero disconnects it.
    pub fn set_supply(&mut self, volts: f64, over_s: f64) {
        let now = self.now_s();
        self.supply.set(volts, over_s, now);
    }

    /// Open-circuit voltage of the supply's source, V.
    pub fn source_v(&self) -> f64 {
        self.supply.source_v(self.now_s())
    }

    /// Breaks something (`on`) or mends it. Faults of the controller and of the link are the harness's own
    /// and change nothing here; a slipped gear cannot be mended.
    pub fn set_fault(&mut self, fault: &FaultKind, on: bool) {
        match fault {
            FaultKind::SpringBroken { axis, count } => {
                self.with_account(|plant| {
                    let axis = &mut plant.axis[axis.index()];
                    axis.broken_springs = if on {
                        axis.broken_springs.saturating_add(*count)
                    } else {
                        axis.broken_springs.saturating_sub(*count)
                    };
                    let left = axis.cartridge.with_broken(axis.broken_springs);
                    axis.params.cartridge = assembly::cartridge_params(&left);
                    axis.reciprocals = axis.params.reciprocals();
                });
            }
            FaultKind::LeadBroken { axis, coil } => {
                self.axis[axis.index()]
                    .driver
                    .set_broken(if *coil == Coil::A { 0 } else { 1 }, on);
            }
            FaultKind::DriverDead { axis } => self.axis[axis.index()].driver.set_dead(on),
            FaultKind::GearSlip { axis, teeth } => {
                if on {
                    self.with_account(|plant| plant.axis[axis.index()].slip_teeth(*teeth));
                }
            }
            FaultKind::SwitchStuck { switch, closed } => {
                self.mend_switch(*switch, |faults| faults.stuck = on.then_some(*closed));
            }
            FaultKind::SwitchBounce { switch, pattern_s } => {
                self.mend_switch(*switch, |faults| {
                    faults.bounce_s = on.then(|| pattern_s.clone())
                });
            }
            FaultKind::SensorOpen { axis } => self.mend_sensor(*axis, |faults| faults.open = on),
            FaultKind::SensorShort { axis } => self.mend_sensor(*axis, |faults| faults.short = on),
            FaultKind::SensorStuck { axis } => self.mend_sensor(*axis, |faults| faults.stuck = on),
            FaultKind::SensorJump { axis, by_deg } => {
                self.mend_sensor(*axis, |faults| {
                    faults.jump_deg += if on { *by_deg } else { -by_deg }
                });
            }
            FaultKind::SensorNoise { axis, rms_deg } => {
                self.mend_sensor(*axis, |faults| faults.noise_deg = on.then_some(*rms_deg));
            }
            FaultKind::ControllerReset {}
            | FaultKind::LinkLoss {}
            | FaultKind::LinkCorruption { .. } => {}
        }
    }

    fn mend_sensor(&mut self, axis: AxisName, change: impl FnOnce(&mut SensorFaults)) {
        let sensor = &mut self.axis[axis.index()].sensor;
        let mut faults = sensor.faults();
        change(&mut faults);
        sensor.set_faults(faults);
    }

    fn mend_switch(&mut self, name: SwitchName, change: impl FnOnce(&mut SwitchFaults)) {
        let switch = &mut self.switches[name.index()];
        let mut faults = switch.faults().clone();
        change(&mut faults);
        switch.set_faults(faults);
    }
}

impl Axis {
    /// The trim shaft jumps over teeth of its gear: shaft and mesh shift together, the motor stays.
    fn slip_teeth(&mut self, teeth: i32) {
        let jump = f64::from(teeth) * self.tooth_rad;
        self.train.shaft_rad += jump;
        self.train.slipped_rad += jump;
    }

    /// Commanded less actual electrical angle, full steps; counted from the whole cycles at engagement.
    fn lag_steps(&self) -> f64 {
        if !self.driver.is_driving() {
            return 0.0;
        }
        let lag = self.driver.electrical_rad()
            - self.params.electrical_rad(&self.train)
            - self.lag_zero_rad;
        lag / std::f64::consts::FRAC_PI_2
    }

    /// When the drive comes on, the rotor falls to the nearest equilibrium: whole cycles do not count as lag. Whether it
    /// has come on or gone off.
    fn note_engagement(&mut self) -> bool {
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

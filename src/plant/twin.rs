//! The twin: one rig's stick, drives, contacts, hand, sensors, switches and supply. What acts on
//! it, and what it shows.

use trimproof_io::{AXES, Command, Inputs, StepGenerator, Switches};

use crate::abort::TwinAbort;
use crate::account::Account;
use crate::contact::{ContactLoad, Surroundings};
use crate::driver::Driver;
use crate::dynamics::{
    GimbalParams, GimbalState, Pose, PoseAnchor, Reciprocals, TrainParams, TrainState,
};
use crate::fault::SwitchName;
use crate::hand::{Hand, HandFeel, PathShape};
use crate::rig::{Cartridge, SensorRig};
use crate::sensor::AngleSensor;
use crate::standstill::Standstill;
use crate::state_bits::Rest;
use crate::supply::Supply;
use crate::switch::Switch;

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
    /// Where the driver's count puts the trim shaft, rad: while the drive is off, the equilibrium
    /// that the rotor would fall to.
    pub command_rad: f64,
    /// Rate of the driver's count over the last tick, rad/s at the trim shaft.
    pub command_rad_per_s: f64,
    /// Steps that the driver has counted since the start, backward ones taken off, microsteps.
    pub steps: i64,
    /// The sensor's signal as a share of its converter's scale, before it is converted.
    pub sensor_share: f64,
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
pub(crate) struct DriveAxis {
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
    pub sensor_rig: SensorRig,
    pub sensor_seed: u64,
    pub cartridge: Cartridge,
    pub broken_springs: u32,
    pub tooth_rad: f64,
    /// Whole electrical cycles between command and rotor when the drive last came on, rad.
    pub lag_zero_rad: f64,
    pub was_driving: bool,
    pub counts: u16,
    /// What the driver had counted at the start of the tick.
    pub counted_before: i64,
}

/// The physics twin of one rig. A copy goes on from where the original stands, bit for bit.
#[derive(Clone)]
pub struct Plant {
    pub(crate) gimbal: GimbalParams,
    pub(crate) stick: GimbalState,
    pub(crate) accel: [f64; AXES],
    pub(crate) mid: PoseAnchor,
    pub(crate) axis: [DriveAxis; AXES],
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
    /// Periods of the generator that have gone by in the tick.
    pub(crate) period: u32,
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
    /// Time, s: exact multiples of the control tick, but for stretches of a tick.
    pub fn now_s(&self) -> f64 {
        let begin_s = f64::from(self.tick) * self.tick_s;
        if self.period == 0 {
            return begin_s;
        }
        begin_s + f64::from(self.period) / f64::from(self.periods) * self.tick_s
    }

    /// Periods of the generator in a control tick.
    pub fn periods(&self) -> u32 {
        self.periods
    }

    /// Stick steps in a period of the generator.
    pub fn steps_in_period(&self) -> u32 {
        self.steps
    }

    /// Length of a control tick, s.
    pub fn tick_s(&self) -> f64 {
        self.tick_s
    }

    /// What the controller receives at this instant. Call once a tick: it draws sensor noise.
    pub fn sample(&mut self) -> Inputs {
        let now = self.now_s();
        let levels = self.levels_at(now);
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
                    command_rad: axis.command_rad(),
                    command_rad_per_s: axis
                        .driver
                        .turned_rad(axis.driver.counted() - axis.counted_before)
                        / (axis.params.rotor_teeth * axis.params.ratio * self.tick_s),
                    steps: axis.driver.counted(),
                    sensor_share: axis.sensor.share(),
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

    /// Raw switch levels at `at_s`, which lies at or after the present instant.
    pub fn levels_at(&self, at_s: f64) -> Switches {
        let mut levels = Switches {
            force_trim: self.force_trim,
            ..Switches::default()
        };
        for name in SwitchName::ALL {
            *name.level_in(&mut levels) = self.switches[name.index()].level(at_s);
        }
        levels
    }

    /// Supply at the drivers, V.
    pub fn supply_v(&self) -> f64 {
        self.supply.volts()
    }

    /// The signal of an axis's sensor at its last sample, as a share of the converter's scale.
    pub fn sensor_share(&self, axis: usize) -> f64 {
        self.axis[axis].sensor.share()
    }

    /// Microsteps a full step of an axis's driver.
    pub fn microsteps(&self, axis: usize) -> u32 {
        self.axis[axis].driver.microsteps()
    }

    /// The instant that lies so many periods of the generator after the start, ns.
    pub fn period_ns(&self, tick: u32, period: u32) -> u64 {
        let periods = u64::from(tick) * u64::from(self.periods) + u64::from(period);
        // At most an hour: far below 2^64 ns, and exact for every whole number of nanoseconds.
        (periods as f64 * (self.tick_s / f64::from(self.periods)) * 1e9).round() as u64
    }

    /// Number of the tick and periods of the generator that have gone by in it.
    pub fn clock(&self) -> (u32, u32) {
        (self.tick, self.period)
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

    /// Presses or lets go a switch, with alternating bounce durations that start with the new
    /// level; the rig's pattern where none is given.
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
}

impl DriveAxis {
    /// Where the driver's count puts the trim shaft, rad.
    fn command_rad(&self) -> f64 {
        let electrical_rad = if self.driver.is_driving() {
            self.driver.electrical_rad() - self.lag_zero_rad
        } else {
            let ahead = self.driver.electrical_rad() - self.params.electrical_rad(&self.train);
            let cycle = std::f64::consts::TAU;
            self.driver.electrical_rad() - (ahead / cycle).round() * cycle
        };
        (electrical_rad - self.params.rotor_zero_rad)
            / (self.params.rotor_teeth * self.params.ratio)
    }

    /// Commanded less actual electrical angle, full steps; counted from the whole cycles at
    /// engagement.
    fn lag_steps(&self) -> f64 {
        if !self.driver.is_driving() {
            return 0.0;
        }
        let lag = self.driver.electrical_rad()
            - self.params.electrical_rad(&self.train)
            - self.lag_zero_rad;
        lag / std::f64::consts::FRAC_PI_2
    }
}

//! One axis: its sensor, its drive's movement, its position.

use crate::Settings;
use crate::motion::{Motion, MotionLimits};
use crate::sensing::{Sensing, SensorConfig};
use crate::settings::AxisSettings;
use crate::settings_check::rate_of;
use crate::step_loss::{StepLossConfig, StepLossWatch};
use crate::units::{Ratio, clamp, nearest, quotient, ticks};
use trimproof_io::{AxisCommand, AxisTelemetry, CurrentLevel};

/// Running current is kept for this long after a movement or an engagement, so that ringing dies
/// out.
const RUN_ON_MS: u32 = 200;

/// What an axis is made of, in the controller's units.
#[derive(Clone, Copy, Debug)]
pub(crate) struct AxisConfig {
    pub(crate) sensor: SensorConfig,
    step_loss: StepLossConfig,
    ratio: Ratio,
    microsteps: u16,
    phase_zero: u16,
    soft_min_mdeg: i32,
    soft_max_mdeg: i32,
    soft_min: i32,
    soft_max: i32,
    pub(crate) glide: MotionLimits,
    pub(crate) nudge: MotionLimits,
    increment: i32,
    hat_hold_ticks: u32,
    hold_on_mdeg: i32,
    hold_off_ticks: u32,
    deflection_max_mdeg: i32,
    stuck_travel_mdeg: i32,
    joystick_full_mdeg: i32,
    run_on_ticks: u32,
}

impl AxisConfig {
    /// From checked settings.
    pub(crate) fn new(axis: &AxisSettings, whole: &Settings) -> Self {
        let ratio = Ratio::new(axis);
        let hz = u64::from(whole.generator_hz);
        let rate = |mdeg_per_s: i32| rate_of(ratio.q32_rate(mdeg_per_s.unsigned_abs(), hz));
        let limits = |mdeg_per_s: i32| MotionLimits {
            rate: rate(mdeg_per_s),
            accel: rate_of(ratio.q32_rate(
                axis.accel_mdeg_per_s2.unsigned_abs(),
                hz * u64::from(whole.tick_hz),
            )),
            periods: whole.generator_hz.checked_div(whole.tick_hz).unwrap_or(1),
            timeout_ticks: whole.command_timeout_ticks,
        };
        Self {
            sensor: SensorConfig::new(axis, whole.tick_hz),
            step_loss: StepLossConfig::new(axis, whole.tick_hz),
            ratio,
            microsteps: axis.microsteps,
            phase_zero: axis.phase_zero_usteps,
            soft_min_mdeg: axis.soft_min_mdeg,
            soft_max_mdeg: axis.soft_max_mdeg,
            soft_min: ratio.usteps_above(axis.soft_min_mdeg),
            soft_max: ratio.usteps_below(axis.soft_max_mdeg),
            glide: limits(axis.glide_rate_mdeg_per_s),
            nudge: limits(axis.nudge_rate_mdeg_per_s),
            increment: ratio.usteps(axis.nudge_increment_mdeg).max(1),
            hat_hold_ticks: ticks(whole.hat_hold_delay_ms.into(), whole.tick_hz),
            hold_on_mdeg: axis.hold_on_mdeg,
            hold_off_ticks: ticks(axis.hold_off_ms.into(), whole.tick_hz),
            deflection_max_mdeg: axis.deflection_max_mdeg,
            stuck_travel_mdeg: axis.sensor_stuck_travel_mdeg,
            joystick_full_mdeg: axis.joystick_full_mdeg,
            run_on_ticks: ticks(RUN_ON_MS, whole.tick_hz),
        }
    }

    /// Microsteps of an electrical cycle.
    fn cycle(&self) -> i32 {
        i32::from(self.microsteps).saturating_mul(4)
    }
}

/// How the hat steers the axis.
#[derive(Clone, Copy, Debug, Default)]
struct Steering {
    direction: i8,
    ticks: u32,
    running: bool,
}

/// One axis' history.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Axis {
    pub(crate) sensing: Sensing,
    motion: Motion,
    step_loss: StepLossWatch,
    steering: Steering,
    /// Sense in which the drive must not advance, because the deflection is at its largest: -1, 0
    /// or 1.
    blocked: i8,
    /// Side on which the drive, its position unsure, has carried the stick past its soft limit: it
    /// must not go on outwards there. -1, 0 or 1.
    carried_out: i8,
    /// Whether the stick was inside its soft limits at the last tick.
    inside: bool,
    /// Least deflection since the sensor's reading last changed, and whether it looks stuck.
    least_mdeg: i32,
    stuck: bool,
    /// Lost steps have been booked since the axis was last trimmed.
    slipped: bool,
    /// Ticks until a pilot who held on while centring counts as off.
    held_ticks: u32,
    run_on: u32,
}

impl Axis {
    pub(crate) fn new() -> Self {
        Self {
            sensing: Sensing::NEW,
            motion: Motion::default(),
            step_loss: StepLossWatch::default(),
            steering: Steering::default(),
            blocked: 0,
            carried_out: 0,
            inside: true,
            least_mdeg: 0,
            stuck: false,
            slipped: false,
            held_ticks: 0,
            run_on: 0,
        }
    }

    /// Takes in what has happened in the last `elapsed_ticks` ticks, with the drive `on` or off.
    pub(crate) fn observe(
        &mut self,
        counts: u16,
        elapsed_ticks: u32,
        on: bool,
        config: &AxisConfig,
    ) {
        self.motion.advance(elapsed_ticks, &config.glide);
        self.sensing.step(counts, elapsed_ticks, &config.sensor);
        self.watch_stuck(on, config);
        let deflection = self.deflection_mdeg(config);
        let most = config.deflection_max_mdeg;
        if on {
            self.step_loss.strain(deflection);
        }
        // What the deflection comes to if the drive brakes now and the stick stays.
        let braking_mdeg = config.ratio.mdeg(self.motion.braking_usteps(&config.glide));
        let coming = deflection.saturating_sub(braking_mdeg);
        if coming.saturating_abs() >= most {
            self.blocked = if coming > 0 { -1 } else { 1 };
        } else if coming.saturating_abs() < most - most / 8 {
            self.blocked = 0;
        }
        self.watch_limits(braking_mdeg, config);
        let held = deflection.saturating_abs() > config.hold_on_mdeg;
        self.held_ticks = if held {
            config.hold_off_ticks
        } else {
            self.held_ticks.saturating_sub(1)
        };
    }

    /// Sees whether a drive whose position is unsure carries the stick out past a soft limit. A
    /// stick that was out there already is held there by a pilot, who may well trim after it. Over
    /// once the stick is well inside, so that noise does not make the drive stutter.
    fn watch_limits(&mut self, braking_mdeg: i32, config: &AxisConfig) {
        let stick = self.sensing.mdeg();
        // Where the stick comes to when it is carried along while the drive brakes.
        let coming = stick.saturating_add(braking_mdeg);
        let (low, high) = (config.soft_min_mdeg, config.soft_max_mdeg);
        let band = config.step_loss.band_mdeg;
        let unsure = self.step_loss.unsure(&config.step_loss);
        let side = i32::from(coming > high.saturating_add(band))
            - i32::from(coming < low.saturating_sub(band));
        let well_inside = stick < high.saturating_sub(band) && stick > low.saturating_add(band);
        if !unsure || well_inside {
            self.carried_out = 0;
        }
        if unsure && self.inside && side == self.motion.rate().signum() {
            self.carried_out = side as i8;
        }
        self.inside = side == 0;
    }

    fn watch_stuck(&mut self, on: bool, config: &AxisConfig) {
        let apart = self
            .sensing
            .raw_mdeg()
            .saturating_sub(self.drive_mdeg(config))
            .saturating_abs();
        if self.sensing.changed() {
            self.stuck = false;
        }
        if !on || self.sensing.changed() || config.stuck_travel_mdeg == 0 {
            self.least_mdeg = apart;
            return;
        }
        self.least_mdeg = self.least_mdeg.min(apart);
        self.stuck |= apart.saturating_sub(self.least_mdeg) >= config.stuck_travel_mdeg;
    }

    /// The driver's reset line is being pulled: index and fraction are 0.
    pub(crate) fn home(&mut self, config: &AxisConfig) {
        self.motion.home(-i32::from(config.phase_zero));
    }

    /// Drive off and position unknown: no pulses.
    pub(crate) fn rest(&mut self) {
        self.motion.rest();
        self.off();
    }

    /// Drive off, driver at home before: its index follows the stick, so that the drive can engage
    /// at once.
    pub(crate) fn follow(&mut self, config: &AxisConfig) {
        let stick = self.usteps_to_stick(config);
        let cycle = config.cycle();
        let cycles = nearest(stick.into(), cycle.into()) as i32;
        self.motion.shift(cycles.saturating_mul(cycle));
        let target = self
            .motion
            .usteps()
            .saturating_add(stick)
            .saturating_sub(cycles.saturating_mul(cycle));
        self.motion.follow(target, &config.glide);
        self.off();
    }

    fn off(&mut self) {
        self.step_loss.unsettle();
        self.steering = Steering::default();
        self.blocked = 0;
        self.slipped = false;
        self.run_on = 0;
    }

    /// Whether the driver's phase is within an eighth of a full step of the stick, or one microstep
    /// where that is more.
    pub(crate) fn aligned(&self, config: &AxisConfig) -> bool {
        let stick = self.usteps_to_stick(config);
        let cycle = config.cycle();
        let cycles = nearest(stick.into(), cycle.into()) as i32;
        let rest = stick.saturating_sub(cycles.saturating_mul(cycle));
        rest.saturating_abs() <= i32::from(config.microsteps / 8).max(1)
    }

    /// Microsteps from the estimated position to the stick.
    fn usteps_to_stick(&self, config: &AxisConfig) -> i32 {
        let (raw, filtered) = (self.sensing.raw_mdeg(), self.sensing.mdeg());
        // The filter is quieter at rest, the last reading is nearer in movement.
        let full_step = config.ratio.mdeg(i32::from(config.microsteps));
        let moving = raw.saturating_sub(filtered).saturating_abs() > full_step / 2;
        config
            .ratio
            .usteps(if moving { raw } else { filtered })
            .saturating_sub(self.motion.usteps())
    }

    /// The drive goes on where the stick is; the trimmed position is the nearest one inside the
    /// soft limits.
    pub(crate) fn engage(&mut self, config: &AxisConfig) {
        let stick = self.usteps_to_stick(config);
        let cycle = config.cycle();
        let cycles = nearest(stick.into(), cycle.into()) as i32;
        self.motion.shift(cycles.saturating_mul(cycle));
        self.motion.rest();
        self.settle(config);
        self.step_loss.engage();
        self.held_ticks = config.hold_off_ticks;
        self.run_on = config.run_on_ticks;
    }

    /// Makes the nearest position where the drive can stop the goal, inside the soft limits.
    pub(crate) fn settle(&mut self, config: &AxisConfig) {
        self.motion.stop(&config.glide);
        let inside = clamp(self.motion.goal(), config.soft_min, config.soft_max);
        if inside != self.motion.goal() {
            self.motion.set_goal(inside);
        }
    }

    /// Makes the centre the goal.
    pub(crate) fn centre(&mut self) {
        self.motion.set_goal(0);
    }

    /// Lets the hat steer: a press adds one increment, held longer it runs to the limit, let go it
    /// stops.
    pub(crate) fn steer(&mut self, direction: i8, config: &AxisConfig) {
        if direction == self.steering.direction {
            if direction == 0 {
                return;
            }
            self.steering.ticks = self.steering.ticks.saturating_add(1);
            if self.steering.ticks >= config.hat_hold_ticks {
                self.steering.running = true;
                self.motion.set_goal(if direction > 0 {
                    config.soft_max
                } else {
                    config.soft_min
                });
            }
            return;
        }
        if self.steering.running {
            self.settle(config);
        }
        self.steering = Steering {
            direction,
            ticks: 0,
            running: false,
        };
        if direction != 0 {
            self.slipped = false;
            let goal = self
                .motion
                .goal()
                .saturating_add(config.increment.saturating_mul(direction.into()));
            self.motion
                .set_goal(clamp(goal, config.soft_min, config.soft_max));
        }
    }

    /// Chooses the drive's next rate. `halt` brings it to rest for now; so does a deflection at its
    /// largest.
    pub(crate) fn drive(
        &mut self,
        limits: &MotionLimits,
        halt: bool,
        elapsed_ticks: u32,
        config: &AxisConfig,
    ) {
        self.motion
            .plan(limits, halt || self.held_back(), elapsed_ticks);
        if self.motion.rate() != 0 {
            self.run_on = config.run_on_ticks;
        } else if self.deflection_mdeg(config).saturating_abs() < config.deflection_max_mdeg / 2 {
            self.run_on = self.run_on.saturating_sub(1);
        } else {
            self.run_on = config.run_on_ticks;
        }
    }

    fn held_back(&self) -> bool {
        let sense = self.motion.sense();
        sense != 0 && (sense == i64::from(self.blocked) || sense == i64::from(self.carried_out))
    }

    /// Compares stick and drive while the drive is at rest, at its goal or waiting for a hand to
    /// go; takes note of lost steps that were found and booked, and returns whether there were any.
    pub(crate) fn watch_for_lost_steps(&mut self, config: &AxisConfig) -> bool {
        if self.motion.rate() != 0 || self.steering.direction != 0 {
            self.step_loss.unsettle();
            return false;
        }
        let (stick, drive) = (self.sensing.mdeg(), self.drive_mdeg(config));
        let cycles = self.step_loss.judge(
            stick,
            drive,
            config.ratio.mdeg(config.cycle()),
            &config.step_loss,
        );
        if cycles == 0 {
            return false;
        }
        self.motion.shift(cycles.saturating_mul(config.cycle()));
        self.settle(config);
        self.least_mdeg = i32::MAX;
        self.slipped = true;
        true
    }

    /// Whether the drive is at rest at its goal.
    pub(crate) fn reached(&self) -> bool {
        self.motion.reached()
    }

    /// Whether a nudge has come to its end.
    pub(crate) fn nudged(&self) -> bool {
        self.steering.direction == 0
            && (self.reached() || (self.motion.rate() == 0 && self.held_back()))
    }

    /// Whether the pilot holds on, or has not been off for long enough.
    pub(crate) const fn held(&self) -> bool {
        self.held_ticks > 0
    }

    /// Whether the sensor looks stuck.
    pub(crate) const fn stuck(&self) -> bool {
        self.stuck
    }

    /// Whether lost steps have been booked since the axis was last trimmed.
    pub(crate) const fn slipped(&self) -> bool {
        self.slipped
    }

    /// Whether stick and drive disagree for an unknown reason.
    pub(crate) const fn doubt(&self) -> bool {
        self.step_loss.doubt()
    }

    #[cfg(test)]
    pub(crate) fn position_parts(&self) -> (i32, u32) {
        self.motion.parts()
    }

    fn drive_mdeg(&self, config: &AxisConfig) -> i32 {
        config.ratio.mdeg(self.motion.usteps())
    }

    fn deflection_mdeg(&self, config: &AxisConfig) -> i32 {
        self.sensing.mdeg().saturating_sub(self.drive_mdeg(config))
    }

    /// What the axis asks for, with the drive `on` or off.
    pub(crate) fn command(&self, on: bool, home: bool, config: &AxisConfig) -> AxisCommand {
        let current = match (on, self.run_on) {
            (false, _) => CurrentLevel::Off,
            (true, 0) => CurrentLevel::Hold,
            (true, _) => CurrentLevel::Run,
        };
        let full = i64::from(i16::MAX);
        let joystick = quotient(
            i64::from(self.sensing.mdeg()) * full,
            config.joystick_full_mdeg.into(),
        );
        AxisCommand {
            enable: on,
            home,
            step_rate: self.motion.rate(),
            current,
            joystick: joystick.max(-full).min(full) as i16,
        }
    }

    /// What the axis reports, with the drive `on` or off.
    pub(crate) fn telemetry(&self, on: bool, config: &AxisConfig) -> AxisTelemetry {
        let stick_mdeg = self.sensing.mdeg();
        // With the drive off the trim shaft is carried along by the stick.
        let drive_mdeg = if on {
            self.drive_mdeg(config)
        } else {
            stick_mdeg
        };
        AxisTelemetry {
            stick_mdeg,
            reference_mdeg: clamp(drive_mdeg, config.soft_min_mdeg, config.soft_max_mdeg),
            drive_mdeg,
        }
    }
}

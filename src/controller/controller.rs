//! The whole controller: one call per tick.
//!
//! The outputs of tick n act over the interval from tick n to tick n + 1; at tick n + 1 the
//! controller first takes note of the pulses that its rates have caused.

use crate::Settings;
use crate::axis::{Axis, AxisConfig};
use crate::panel::{PanelConfig, SwitchPanel};
use crate::power::{Power, PowerLimits};
use crate::sensing::SensorFault;
use crate::settings_check::SettingsError;
use crate::units::ticks;
use trimproof_io::{AXES, Fault, Faults, Inputs, Outputs, State};

/// Longest wait for the driver's phase to catch up with a moving stick before the drive goes on all
/// the same.
const ALIGN_MS: u32 = 20;
/// Shortest time for which the drives stay off. A shaft that was under load when they went off is
/// still on its way to the stick: engaged before, its rotor falls into another electrical cycle
/// than the one that the stick's angle says. On the slowest example rig it takes 43 ms from the
/// largest deflection and 90 ms from 28 deg; as the way grows with the square of the time, 105 ms
/// from the stop to the opposite soft limit.
const OFF_MS: u32 = 120;

// The state must fit a small microcontroller.
const _: () = assert!(size_of::<Controller>() <= 1024);

/// Everything that stays the same while running.
#[derive(Clone, Copy, Debug)]
struct Config {
    axes: [AxisConfig; AXES],
    panel: PanelConfig,
    power: PowerLimits,
    ticks_lost_max: u32,
    align_ticks: u32,
    off_ticks: u32,
}

/// The controller of a two-axis force-feel stick.
///
/// - Switching on: `limp` until the supply is steady, the sensors are good and force trim is on;
///   then the drivers are homed, their phase is brought to where the stick is, the drives go on
///   there and glide to centre (`centring`). If force trim is off at that time, no glide is owed
///   any more: switched on later, the drives hold where the stick is.
/// - A fault that trips keeps the drives off (`tripped`). It is acknowledged by switching force
///   trim off and on again when its cause is gone. A supply that fails meanwhile does not wipe the
///   reason.
/// - A hat press while centring ends the centring: the pilot has taken over.
#[derive(Clone, Debug)]
pub struct Controller {
    config: Config,
    axes: [Axis; AXES],
    panel: SwitchPanel,
    power: Power,
    state: State,
    tripped: Faults,
    last_tick: Option<u32>,
    homed: bool,
    centring_owed: bool,
    aligning_ticks: u32,
    /// Ticks for which the drives have been off.
    off_ticks: u32,
}

impl Controller {
    /// A controller that has just been switched on.
    ///
    /// # Errors
    /// The first setting that is out of range.
    pub fn new(settings: Settings) -> Result<Self, SettingsError> {
        settings.check()?;
        let config = Config {
            axes: [
                AxisConfig::new(&settings.pitch, &settings),
                AxisConfig::new(&settings.roll, &settings),
            ],
            panel: PanelConfig::new(&settings),
            power: PowerLimits {
                min_mv: settings.supply_min_mv,
                lost_mv: settings.supply_lost_mv,
                steady_ticks: ticks(settings.supply_steady_ms.into(), settings.tick_hz),
            },
            ticks_lost_max: settings.ticks_lost_max.into(),
            align_ticks: ticks(ALIGN_MS, settings.tick_hz),
            off_ticks: ticks(OFF_MS, settings.tick_hz),
        };
        Ok(Self {
            config,
            axes: [Axis::new(), Axis::new()],
            panel: SwitchPanel::NEW,
            power: Power::default(),
            state: State::Limp,
            tripped: Faults::default(),
            last_tick: None,
            homed: false,
            centring_owed: true,
            aligning_ticks: 0,
            off_ticks: 0,
        })
    }

    /// Name and version of this controller, as it stands in traces.
    pub const fn identity() -> &'static str {
        concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"))
    }

    /// One control tick: takes in what the sensors and switches say and answers what the drives
    /// must do until the next one.
    pub fn tick(&mut self, inputs: &Inputs) -> Outputs {
        let elapsed_ticks = self
            .last_tick
            .map_or(1, |last| inputs.tick.wrapping_sub(last));
        self.last_tick = Some(inputs.tick);
        // A tick number that stands still or runs back is as bad as a large elapsed_ticks.
        let lost = elapsed_ticks == 0 || elapsed_ticks > self.config.ticks_lost_max;
        let on = drives_on(self.state);
        self.off_ticks = if on {
            0
        } else {
            self.off_ticks.saturating_add(elapsed_ticks)
        };
        self.power.step(inputs.supply_mv, self.config.power);
        self.panel.step(&inputs.switches, &self.config.panel);
        for ((axis, config), counts) in self
            .axes
            .iter_mut()
            .zip(&self.config.axes)
            .zip(inputs.sensor_counts)
        {
            axis.observe(counts, elapsed_ticks, on, config);
        }
        self.find_trips(lost);
        let home = self.change_state(lost);
        self.act(home, elapsed_ticks);
        self.outputs(home)
    }

    /// Where the drives are estimated to be: whole microsteps and fraction.
    #[cfg(test)]
    pub(crate) fn places(&self) -> [(i32, u32); AXES] {
        self.axes.map(|axis| axis.position_parts())
    }

    fn find_trips(&mut self, lost: bool) {
        let mut trip = |fault, is| {
            if is {
                self.tripped.set(fault, true);
            }
        };
        for axis in &self.axes {
            trip(
                Fault::SensorRange,
                axis.sensing.fault() == Some(SensorFault::Range),
            );
            trip(
                Fault::SensorRate,
                axis.sensing.fault() == Some(SensorFault::Rate),
            );
            trip(Fault::SensorStuck, axis.stuck());
        }
        trip(Fault::TicksLost, lost);
        if self.tripped.bits() != 0 {
            self.state = State::Tripped;
            self.homed = false;
        }
    }

    /// Moves to the next state; returns whether the drivers go to their home in this tick.
    fn change_state(&mut self, lost: bool) -> bool {
        if !self.power.steady() {
            self.homed = false;
            self.centring_owed = true;
            if self.state != State::Tripped {
                self.state = State::Limp;
            }
        }
        if self.state == State::Tripped {
            self.acknowledge(lost);
            return false;
        }
        if !self.power.steady() {
            return false;
        }
        if !self.homed {
            self.homed = self.axes.iter().all(|axis| axis.sensing.good());
            self.aligning_ticks = 0;
            return self.homed;
        }
        if !self.panel.force_trim() {
            self.state = State::Limp;
            self.centring_owed = false;
            self.aligning_ticks = 0;
            return false;
        }
        self.state = self.next_state();
        false
    }

    /// The next state while supply and sensors are good and force trim is on.
    fn next_state(&mut self) -> State {
        let steering = self.panel.directions() != [0; AXES];
        match self.state {
            _ if self.panel.release() => {
                self.centring_owed = false;
                self.aligning_ticks = 0;
                State::Released
            }
            State::Limp | State::Released => self.engage(),
            State::Centring | State::Holding if steering => {
                if self.state == State::Centring {
                    self.settle();
                }
                State::Nudging
            }
            State::Centring if self.axes.iter().all(Axis::reached) => State::Holding,
            State::Nudging if !steering && self.axes.iter().all(Axis::nudged) => {
                self.settle();
                State::Holding
            }
            same => same,
        }
    }

    /// Switches the drives on as soon as both drivers' phases agree with the stick.
    fn engage(&mut self) -> State {
        if self.off_ticks < self.config.off_ticks {
            return self.state;
        }
        let aligned = self
            .axes
            .iter()
            .zip(&self.config.axes)
            .all(|(axis, config)| axis.aligned(config));
        if !aligned && self.aligning_ticks < self.config.align_ticks {
            self.aligning_ticks = self.aligning_ticks.saturating_add(1);
            return self.state;
        }
        for (axis, config) in self.axes.iter_mut().zip(&self.config.axes) {
            axis.engage(config);
            if self.centring_owed {
                axis.centre();
            }
        }
        let state = if self.centring_owed {
            State::Centring
        } else {
            State::Holding
        };
        self.centring_owed = false;
        state
    }

    fn settle(&mut self) {
        for (axis, config) in self.axes.iter_mut().zip(&self.config.axes) {
            axis.settle(config);
        }
    }

    /// Force trim off, then on with every cause gone, ends a trip.
    fn acknowledge(&mut self, lost: bool) {
        let sound = |(axis, config): (&Axis, &AxisConfig)| {
            axis.sensing.sound(&config.sensor) && !axis.stuck()
        };
        let gone = !lost && self.axes.iter().zip(&self.config.axes).all(sound);
        if gone && self.panel.force_trim_switched_on() {
            for axis in &mut self.axes {
                axis.sensing.acknowledge();
            }
            self.tripped = Faults::default();
            self.state = State::Limp;
        }
    }

    /// Lets the drives do what the state asks for.
    fn act(&mut self, home: bool, elapsed_ticks: u32) {
        let state = self.state;
        let following = self.homed && state != State::Tripped;
        if !drives_on(state) {
            self.panel.disarm_hats();
        }
        let held = self.axes.iter().any(Axis::held);
        let directions = self.panel.directions();
        for ((axis, config), direction) in
            self.axes.iter_mut().zip(&self.config.axes).zip(directions)
        {
            match state {
                State::Limp | State::Released | State::Tripped => {
                    if home {
                        axis.rest();
                        axis.home(config);
                    } else if following {
                        axis.follow(config);
                    } else {
                        axis.rest();
                    }
                }
                State::Centring => {
                    axis.drive(&config.glide, held, elapsed_ticks, config);
                    if axis.watch_for_lost_steps(config) {
                        axis.centre();
                    }
                }
                State::Nudging => {
                    axis.steer(direction, config);
                    axis.drive(&config.nudge, false, elapsed_ticks, config);
                    axis.watch_for_lost_steps(config);
                }
                State::Holding => {
                    axis.drive(&config.glide, false, elapsed_ticks, config);
                    axis.watch_for_lost_steps(config);
                }
            }
        }
    }

    fn outputs(&self, home: bool) -> Outputs {
        let on = drives_on(self.state);
        let mut outputs = Outputs::default();
        let Outputs { command, telemetry } = &mut outputs;
        for (((axis, config), asked), reported) in self
            .axes
            .iter()
            .zip(&self.config.axes)
            .zip(&mut command.axis)
            .zip(&mut telemetry.axis)
        {
            *asked = axis.command(on, home, config);
            *reported = axis.telemetry(on, config);
        }
        telemetry.state = self.state;
        telemetry.faults = self.tripped;
        let faults = &mut telemetry.faults;
        faults.set(Fault::SupplyLow, self.power.low());
        faults.set(Fault::HatStuck, self.panel.hat_stuck());
        faults.set(
            Fault::HatConflict,
            self.panel.hat_conflict(&self.config.panel),
        );
        faults.set(
            Fault::ReleaseStuck,
            self.panel.release_stuck(&self.config.panel),
        );
        faults.set(Fault::StepsSlipped, self.axes.iter().any(Axis::slipped));
        faults.set(Fault::PositionDoubt, self.axes.iter().any(Axis::doubt));
        outputs
    }
}

/// Whether the drives are on in a state.
const fn drives_on(state: State) -> bool {
    matches!(state, State::Centring | State::Holding | State::Nudging)
}

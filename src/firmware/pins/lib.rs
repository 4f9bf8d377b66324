//! What a builder needs between `trimproof_board::Pins` and the pins of a real board, over
//! `embedded-hal` traits.
//!
//! [`DriverLines`] is one axis' stepper driver: the control tick hands it the controller's outputs,
//! the timer interrupt calls [`DriverLines::period`]. [`SwitchLines`] reads the switches,
//! [`LowestSupply`] keeps the supply's dips between two ticks. Nothing here has been tried on real
//! hardware; the tests run it against pins that note what is done to them.
#![cfg_attr(not(test), no_std)]

#[cfg(test)]
mod tests;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use trimproof_io::{AxisCommand, CurrentLevel, Pulse, StepGenerator, Switches};

/// Chooses the driver's current: two pins, a DAC, a register over a bus.
pub trait CurrentSelect {
    /// Why it could not be done.
    type Error;

    /// Asks the driver for this current.
    ///
    /// # Errors
    /// The line or bus fails.
    fn select(&mut self, current: CurrentLevel) -> Result<(), Self::Error>;
}

/// Times of the driver's step line, from its data sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PulseTimes {
    /// Direction must stand for so long before the step, ns.
    pub direction_setup_ns: u32,
    /// The step line must be high for so long, ns.
    pub step_high_ns: u32,
}

/// The lines of one driver, all active high; put an inverting pin in where yours is not.
#[derive(Debug)]
pub struct DriverLines<Step, Direction, Enable, Reset, Current> {
    step: Step,
    direction: Direction,
    enable: Enable,
    reset: Reset,
    current: Current,
    times: PulseTimes,
    generator: StepGenerator,
}

/// Why a line could not be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineError<P, C> {
    /// A pin.
    Pin(P),
    /// The current.
    Current(C),
}

/// The pins of a driver, to make [`DriverLines`] of.
#[derive(Debug)]
pub struct DriverPins<Step, Direction, Enable, Reset, Current> {
    /// A rising edge is one microstep.
    pub step: Step,
    /// High is forward.
    pub direction: Direction,
    /// High lets current into the windings.
    pub enable: Enable,
    /// High puts the microstep index to its home position.
    pub reset: Reset,
    /// How the current is chosen.
    pub current: Current,
}

impl<P, Step, Direction, Enable, Reset, Current>
    DriverLines<Step, Direction, Enable, Reset, Current>
where
    Step: OutputPin<Error = P>,
    Direction: OutputPin<Error = P>,
    Enable: OutputPin<Error = P>,
    Reset: OutputPin<Error = P>,
    Current: CurrentSelect,
{
    /// Lines with the driver off. `patience_periods`: generator periods without [`Self::apply`]
    /// after which no more steps are made, `command_timeout_ticks * generator_hz / tick_hz` of the
    /// settings.
    ///
    /// # Errors
    /// A line cannot be set.
    pub fn new(
        pins: DriverPins<Step, Direction, Enable, Reset, Current>,
        times: PulseTimes,
        patience_periods: u16,
    ) -> Result<Self, LineError<P, Current::Error>> {
        let mut lines = Self {
            step: pins.step,
            direction: pins.direction,
            enable: pins.enable,
            reset: pins.reset,
            current: pins.current,
            times,
            generator: StepGenerator::new(patience_periods),
        };
        lines.off()?;
        lines.step.set_low().map_err(LineError::Pin)?;
        lines.reset.set_low().map_err(LineError::Pin)?;
        Ok(lines)
    }

    /// Puts an axis' command on the lines. Call it with the timer interrupt masked, from
    /// `Pins::apply`.
    ///
    /// # Errors
    /// A line cannot be set: switch the supply of the motors off, there is nothing else left.
    pub fn apply(&mut self, outputs: &AxisCommand) -> Result<(), LineError<P, Current::Error>> {
        if outputs.home {
            self.generator.home();
        }
        self.reset
            .set_state(outputs.home.into())
            .map_err(LineError::Pin)?;
        self.generator.refresh(outputs.step_rate);
        if outputs.enable {
            // The current first: the windings never see more than is wanted.
            self.current
                .select(outputs.current)
                .map_err(LineError::Current)?;
            self.enable.set_high().map_err(LineError::Pin)
        } else {
            self.off()
        }
    }

    /// Takes the current away at once; for `Pins::off`. Steps end with the generator's patience,
    /// and move nothing.
    ///
    /// # Errors
    /// A line cannot be set.
    pub fn off(&mut self) -> Result<(), LineError<P, Current::Error>> {
        self.enable.set_low().map_err(LineError::Pin)?;
        self.current
            .select(CurrentLevel::Off)
            .map_err(LineError::Current)
    }

    /// One generator period: at most one microstep. For the timer interrupt at
    /// `Settings::generator_hz`, and nothing else.
    ///
    /// # Errors
    /// A line cannot be set.
    pub fn period(&mut self, delay: &mut impl DelayNs) -> Result<(), LineError<P, Current::Error>> {
        let forward = match self.generator.period() {
            Pulse::None => return Ok(()),
            Pulse::Forward => true,
            Pulse::Backward => false,
        };
        self.direction
            .set_state(forward.into())
            .map_err(LineError::Pin)?;
        delay.delay_ns(self.times.direction_setup_ns);
        self.step.set_high().map_err(LineError::Pin)?;
        delay.delay_ns(self.times.step_high_ns);
        self.step.set_low().map_err(LineError::Pin)
    }
}

/// The pilot's switches; a closed one pulls its pin low, against a pull-up.
#[derive(Debug)]
pub struct SwitchLines<Pin> {
    /// Trim-release button.
    pub release: Pin,
    /// Hat pushed forward.
    pub hat_fore: Pin,
    /// Hat pulled aft.
    pub hat_aft: Pin,
    /// Hat to the left.
    pub hat_left: Pin,
    /// Hat to the right.
    pub hat_right: Pin,
    /// Force-trim master switch.
    pub force_trim: Pin,
}

impl<Pin: InputPin> SwitchLines<Pin> {
    /// Raw levels: the controller debounces.
    ///
    /// # Errors
    /// A pin cannot be read.
    pub fn read(&mut self) -> Result<Switches, Pin::Error> {
        Ok(Switches {
            release: self.release.is_low()?,
            hat_fore: self.hat_fore.is_low()?,
            hat_aft: self.hat_aft.is_low()?,
            hat_left: self.hat_left.is_low()?,
            hat_right: self.hat_right.is_low()?,
            force_trim: self.force_trim.is_low()?,
        })
    }
}

/// The lowest supply since the last tick.
#[derive(Clone, Copy, Debug)]
pub struct LowestSupply {
    last_mv: u16,
    lowest_mv: u16,
}

impl LowestSupply {
    /// Before the first reading there is no supply.
    pub const fn new() -> Self {
        Self {
            last_mv: 0,
            lowest_mv: 0,
        }
    }

    /// A reading, mV, in every generator period.
    pub fn note(&mut self, supply_mv: u16) {
        self.last_mv = supply_mv;
        self.lowest_mv = self.lowest_mv.min(supply_mv);
    }

    /// The lowest reading since the last call, for `Inputs::supply_mv`, mV; the next time begins
    /// with the last reading.
    pub fn take(&mut self) -> u16 {
        core::mem::replace(&mut self.lowest_mv, self.last_mv)
    }
}

impl Default for LowestSupply {
    fn default() -> Self {
        Self::new()
    }
}

//! What lies between the twin and a program at its pins, stretch by stretch.

use rand_pcg::Pcg32;
use trimproof_io::{AXES, AxisCommand, Command, Outputs, Switches, Telemetry};
use trimproof_plant::{DriverEdge, Plant, TwinAbort};

use super::super::end::Cut;
use super::super::error::TargetError;
use super::lines::DriverLines;
use super::{InputChange, Level, PinChange, PinEvent, PinInput, PinTarget};
use crate::firmware::{ActiveLevel, FirmwareFile, Pin, PoweredBy, Pull, SwitchPin};

/// What is seen at the pins at the instant of a tick.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PinSeen {
    /// Voltage of each angle sensor at the board's pin, V.
    pub sensor_v: [f64; AXES],
    /// Step pulses so far that each driver need not have counted.
    pub pulses_refused: [u32; AXES],
    /// Longest turn of the program's loop that ended in the last tick, ms.
    pub loop_longest_ms: f64,
    /// Shortest turn of the program's loop that ended in the last tick, ms.
    pub loop_shortest_ms: f64,
}

/// Why a stretch could not be run.
pub(in crate::run) enum StretchEnd {
    Target(TargetError),
    Twin(TwinAbort),
}

impl StretchEnd {
    pub(in crate::run) fn at(self, tick: u32) -> Cut {
        match self {
            Self::Target(error) => Cut::Tick { tick, error },
            Self::Twin(abort) => Cut::Aborted(abort),
        }
    }
}

/// How far above its brown-out the supply must be before a board that was off starts again, V
/// (common practice, no source): drives that go off give their windings' energy back to the supply.
const BACK_ABOVE_V: f64 = 0.5;

/// An angle sensor at a pin.
struct SensorWire {
    channel: u8,
    low_v: f64,
    high_v: f64,
}

/// Picks a switch's level.
type LevelIn = fn(&Switches) -> bool;

/// A switch at a pin.
struct SwitchWire {
    pin: Pin,
    closed: Level,
    open: Level,
    level_in: LevelIn,
}

/// What lies between the twin and a program at its pins.
pub(in crate::run) struct PinLoop {
    drivers: [DriverLines; AXES],
    sensors: [SensorWire; AXES],
    switches: Vec<SwitchWire>,
    supply: Option<(u8, f64)>,
    /// Motor supply below which the board is off, V; `None` if it has a supply of its own.
    off_below_v: Option<f64>,
    is_off: bool,
    was_reset: bool,
    /// Periods of the generator in a stretch.
    stretch: u32,
    /// Microvolts and levels that stand at the inputs.
    analog: Vec<(u8, u32)>,
    levels: Vec<Option<Level>>,
    seen: PinSeen,
    loop_began_ns: Option<u64>,
    turns_ns: Option<(u64, u64)>,
    /// What the lines do before the program runs on.
    to_come: Vec<(usize, trimproof_plant::DriverInput)>,
    // Kept for their room.
    inputs: Vec<InputChange>,
    events: Vec<PinEvent>,
    edges: Vec<DriverEdge>,
}

impl PinLoop {
    /// The wires of `firmware` to the twin. Pulses that a driver may miss are drawn from `seed`.
    pub(in crate::run) fn new(
        firmware: &FirmwareFile,
        plant: &mut Plant,
        seed: u64,
    ) -> Result<Self, TargetError> {
        Self::wired(firmware, plant, seed).map_err(|why| TargetError::Program { why, help: None })
    }

    fn wired(firmware: &FirmwareFile, plant: &mut Plant, seed: u64) -> Result<Self, String> {
        let chip = firmware.board.chip;
        let lines = |index: usize| {
            let pins = [&firmware.pitch, &firmware.roll][index];
            // A stream of its own, apart from sensors and links.
            let random = Pcg32::new(seed, 0x7075_6c73 + index as u64);
            DriverLines::new(
                chip,
                pins,
                &firmware.driver,
                plant.microsteps(index),
                random,
            )
        };
        let channel = |text: &str| {
            let pin = chip.pin(text)?;
            let channel = chip.channel(pin);
            channel.ok_or_else(|| format!("`{text}` cannot be read as a voltage"))
        };
        let sensor = |index: usize| {
            let pin = &[&firmware.pitch, &firmware.roll][index].sensor;
            channel(&pin.pin).map(|channel| SensorWire {
                channel,
                low_v: pin.low_v,
                high_v: pin.high_v,
            })
        };
        let mut switches = Vec::new();
        let all: [(&Option<SwitchPin>, LevelIn); 6] = [
            (&firmware.switches.release, |levels| levels.release),
            (&firmware.switches.hat_fore, |levels| levels.hat_fore),
            (&firmware.switches.hat_aft, |levels| levels.hat_aft),
            (&firmware.switches.hat_left, |levels| levels.hat_left),
            (&firmware.switches.hat_right, |levels| levels.hat_right),
            (&firmware.switches.force_trim, |levels| levels.force_trim),
        ];
        for (pin, level_in) in all {
            if let Some(pin) = pin {
                switches.push(SwitchWire::new(chip.pin(&pin.pin)?, pin, level_in));
            }
        }
        let supply = match &firmware.supply {
            Some(supply) => Some((channel(&supply.pin)?, supply.ratio)),
            None => None,
        };
        let mut made = Self {
            drivers: [lines(0)?, lines(1)?],
            sensors: [sensor(0)?, sensor(1)?],
            supply,
            off_below_v: (firmware.board.powered_by == PoweredBy::MotorSupply)
                .then_some(firmware.board.brown_out_v),
            is_off: false,
            was_reset: false,
            stretch: stretch_of(plant, firmware.board.coupling_us),
            analog: Vec::new(),
            levels: vec![None; switches.len()],
            switches,
            seen: PinSeen::default(),
            loop_began_ns: None,
            turns_ns: None,
            to_come: Vec::new(),
            inputs: Vec::new(),
            events: Vec::new(),
            edges: Vec::new(),
        };
        plant.sample_every(made.stretch);
        made.release_lines();
        made.is_off = made.lacks_supply(plant);
        Ok(made)
    }

    /// Nobody drives the lines: the board starts anew, or is off.
    pub(in crate::run) fn release_lines(&mut self) {
        for (axis, driver) in self.drivers.iter_mut().enumerate() {
            let inputs = driver.at_rest();
            self.to_come
                .extend(inputs.into_iter().map(|input| (axis, input)));
        }
        self.loop_began_ns = None;
        // A board that starts anew sees its inputs anew.
        self.analog.clear();
        self.levels.fill(None);
    }

    /// The board's reset line is pulled: the program starts anew.
    pub(in crate::run) fn restart(
        &mut self,
        plant: &Plant,
        target: &mut dyn PinTarget,
    ) -> Result<(), TargetError> {
        self.release_lines();
        if self.is_off {
            return Ok(());
        }
        let (tick, period) = plant.clock();
        target.restart(plant.period_ns(tick, period))
    }

    /// What is seen now: the lines, the pins, and whether the chip has reset itself.
    pub(in crate::run) fn seen(&mut self, plant: &Plant) -> (Outputs, PinSeen, bool) {
        if let Some((least, most)) = self.turns_ns.take() {
            self.seen.loop_shortest_ms = least as f64 / 1e6;
            self.seen.loop_longest_ms = most as f64 / 1e6;
        }
        for (axis, driver) in self.drivers.iter().enumerate() {
            self.seen.pulses_refused[axis] = driver.refused;
            self.seen.sensor_v[axis] = self.sensors[axis].volts(plant.sensor_share(axis));
        }
        let axis = std::array::from_fn(|axis| {
            let driver = &self.drivers[axis];
            AxisCommand {
                enable: driver.is_enabled(),
                home: driver.is_reset(),
                current: driver.level(),
                ..AxisCommand::default()
            }
        });
        let outputs = Outputs {
            command: Command { axis },
            telemetry: Telemetry::default(),
        };
        (outputs, self.seen, std::mem::take(&mut self.was_reset))
    }

    /// Runs program and twin to the end of the tick; the twin has been sampled at its start.
    pub(in crate::run) fn advance(
        &mut self,
        plant: &mut Plant,
        target: &mut dyn PinTarget,
    ) -> Result<(), StretchEnd> {
        let (tick, _) = plant.clock();
        loop {
            let (_, period) = plant.clock();
            if period > 0 {
                plant.sample();
            }
            let stretch = self.stretch.min(plant.periods() - period);
            let from_ns = plant.period_ns(tick, period);
            let until_ns = plant.period_ns(tick, period + stretch);
            self.edges.clear();
            self.run_board(plant, target, (from_ns, until_ns), stretch)
                .map_err(StretchEnd::Target)?;
            plant
                .advance_with(stretch, &self.edges)
                .map_err(StretchEnd::Twin)?;
            if plant.clock().0 != tick {
                return Ok(());
            }
        }
    }

    fn lacks_supply(&self, plant: &Plant) -> bool {
        let more_v = if self.is_off { BACK_ABOVE_V } else { 0.0 };
        self.off_below_v
            .is_some_and(|volts| plant.supply_v() < volts + more_v)
    }

    fn run_board(
        &mut self,
        plant: &Plant,
        target: &mut dyn PinTarget,
        (from_ns, until_ns): (u64, u64),
        stretch: u32,
    ) -> Result<(), TargetError> {
        let is_off = self.lacks_supply(plant);
        let was_off = std::mem::replace(&mut self.is_off, is_off);
        if was_off != self.is_off {
            self.release_lines();
            if was_off {
                target.restart(from_ns)?;
                self.was_reset = true;
            }
        }
        for (axis, input) in self.to_come.drain(..) {
            self.edges.push(DriverEdge {
                step: 0,
                axis,
                input,
            });
        }
        if self.is_off {
            return Ok(());
        }
        self.note_inputs(plant, from_ns, stretch);
        self.events.clear();
        target.run(until_ns, &self.inputs, &mut self.events)?;
        let steps = stretch * plant.steps_in_period();
        let step_ns = (until_ns - from_ns) as f64 / f64::from(steps);
        let mut inputs = Vec::new();
        for index in 0..self.events.len() {
            let PinEvent { at_ns, change } = self.events[index];
            match change {
                PinChange::Loop => {
                    if let Some(began_ns) = self.loop_began_ns.replace(at_ns) {
                        let turn = at_ns.saturating_sub(began_ns);
                        let (least, most) = self.turns_ns.unwrap_or((turn, turn));
                        self.turns_ns = Some((least.min(turn), most.max(turn)));
                    }
                }
                PinChange::Reset => {
                    self.was_reset = true;
                    self.loop_began_ns = None;
                }
                PinChange::Output(pin, drive) => {
                    for axis in 0..AXES {
                        let Some(role) = self.drivers[axis].role(pin) else {
                            continue;
                        };
                        let later = self.events[index + 1..].iter();
                        let ends_ns = later
                            .filter(|event| matches!(event.change, PinChange::Output(other, _) if other == pin))
                            .map(|event| event.at_ns)
                            .next();
                        inputs.clear();
                        self.drivers[axis].take(at_ns, role, drive, ends_ns, &mut inputs);
                        // The nearest stick step of the stretch.
                        let step = (at_ns.saturating_sub(from_ns) as f64 / step_ns).round() as u32;
                        let step = step.min(steps - 1);
                        self.edges.extend(inputs.iter().map(|input| DriverEdge {
                            step,
                            axis,
                            input: *input,
                        }));
                    }
                }
            }
        }
        Ok(())
    }

    /// What stands at the inputs over a stretch, as far as it changes.
    fn note_inputs(&mut self, plant: &Plant, from_ns: u64, stretch: u32) {
        self.inputs.clear();
        let mut analog = |known: &mut Vec<(u8, u32)>, channel: u8, volts: f64| {
            let microvolts = (volts.clamp(0.0, 5.5) * 1e6).round() as u32;
            match known.iter_mut().find(|(other, _)| *other == channel) {
                Some((_, standing)) if *standing == microvolts => return,
                Some((_, standing)) => *standing = microvolts,
                None => known.push((channel, microvolts)),
            }
            self.inputs.push(InputChange {
                at_ns: from_ns,
                input: PinInput::Analog(channel, microvolts),
            });
        };
        for (axis, sensor) in self.sensors.iter().enumerate() {
            let volts = sensor.volts(plant.sensor_share(axis));
            analog(&mut self.analog, sensor.channel, volts);
        }
        if let Some((channel, ratio)) = self.supply {
            analog(&mut self.analog, channel, plant.supply_v() * ratio);
        }
        let (tick, period) = plant.clock();
        let begin_s = plant.now_s();
        for gone in 0..stretch {
            let levels = plant
                .levels_at(begin_s + f64::from(gone) / f64::from(plant.periods()) * plant.tick_s());
            for (switch, standing) in self.switches.iter().zip(&mut self.levels) {
                let level = switch.level(&levels);
                if *standing == Some(level) {
                    continue;
                }
                *standing = Some(level);
                self.inputs.push(InputChange {
                    at_ns: plant.period_ns(tick, period + gone),
                    input: PinInput::Digital(switch.pin, level),
                });
            }
        }
    }
}

impl SensorWire {
    /// Voltage at the pin for a share of the sensor's span.
    fn volts(&self, share: f64) -> f64 {
        self.low_v + share * (self.high_v - self.low_v)
    }
}

impl SwitchWire {
    fn new(pin: Pin, wire: &SwitchPin, level_in: LevelIn) -> Self {
        let (closed, other) = match wire.closed {
            ActiveLevel::Low => (Level::Low, Level::High),
            ActiveLevel::High => (Level::High, Level::Low),
        };
        Self {
            pin,
            closed,
            // The chip has pull-ups only: a switch that closes to the supply floats low without a
            // resistor.
            open: match wire.pull {
                Pull::Board => other,
                Pull::Chip => Level::Floating,
            },
            level_in,
        }
    }

    fn level(&self, levels: &Switches) -> Level {
        if (self.level_in)(levels) {
            self.closed
        } else {
            self.open
        }
    }
}

/// Periods of the generator in a stretch: a whole part of a tick, not above the coupling.
fn stretch_of(plant: &Plant, coupling_us: u32) -> u32 {
    let periods = plant.periods();
    let period_us = plant.tick_s() * 1e6 / f64::from(periods);
    let most = ((f64::from(coupling_us) + 1e-6) / period_us)
        .floor()
        .max(1.0) as u32;
    (1..=most.min(periods))
        .rev()
        .find(|stretch| periods.is_multiple_of(*stretch))
        .unwrap_or(1)
}

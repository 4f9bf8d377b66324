//! What a driver makes of the edges at its inputs.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;
use trimproof_io::CurrentLevel;
use trimproof_plant::DriverInput;

use super::Drive;
use crate::firmware::{ActiveLevel, AxisPins, Chip, DriverTimes, Floating, Pin};

/// What a pin is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Step,
    Direction,
    Enable,
    Current,
    Reset,
    /// One of the lines that choose the step's size, by its place.
    Microsteps(usize),
}

/// The lines from a board to one driver.
pub(super) struct DriverLines {
    roles: Vec<(Pin, Role, ActiveLevel)>,
    times: DriverTimes,
    has_enable: bool,
    has_current: bool,
    floating: Floating,
    /// Microsteps for each combination of the choosing lines; one entry without them.
    sizes: Vec<u32>,
    finest: u32,
    choice: usize,
    is_active: bool,
    last_fall_ns: Option<u64>,
    forward: bool,
    turned_ns: Option<u64>,
    enabled: bool,
    running: bool,
    reset: bool,
    /// Step pulses that the driver need not count.
    pub(super) refused: u32,
    random: Pcg32,
}

impl DriverLines {
    /// The lines of an axis whose driver has so many microsteps; `Err` says what does not fit.
    pub(super) fn new(
        chip: Chip,
        pins: &AxisPins,
        times: &DriverTimes,
        microsteps: u32,
        random: Pcg32,
    ) -> Result<Self, String> {
        let mut roles = Vec::new();
        let mut take = |text: &str, role: Role, active: ActiveLevel| {
            chip.pin(text).map(|pin| roles.push((pin, role, active)))
        };
        take(&pins.step.pin, Role::Step, pins.step.active)?;
        take(&pins.direction.pin, Role::Direction, pins.direction.active)?;
        if let Some(enable) = &pins.enable {
            take(&enable.pin, Role::Enable, enable.active)?;
        }
        if let Some(current) = &pins.current {
            take(&current.pin, Role::Current, current.active)?;
        }
        if let Some(reset) = &pins.reset {
            take(&reset.pin, Role::Reset, reset.active)?;
        }
        let mut sizes = vec![microsteps];
        if let Some(lines) = &pins.microsteps {
            for (place, pin) in lines.pins.iter().enumerate() {
                take(pin, Role::Microsteps(place), ActiveLevel::High)?;
            }
            sizes.clone_from(&lines.table);
            if let Some(finer) = sizes.iter().find(|size| **size > microsteps) {
                return Err(format!(
                    "`microsteps.table` of the firmware file has `{finer}` microsteps, the rig's driver has `{microsteps}` at most"
                ));
            }
        }
        Ok(Self {
            roles,
            times: times.clone(),
            has_enable: pins.enable.is_some(),
            has_current: pins.current.is_some(),
            floating: pins
                .enable
                .as_ref()
                .map_or(Floating::On, |enable| enable.floating),
            sizes,
            finest: microsteps,
            choice: 0,
            is_active: false,
            last_fall_ns: None,
            forward: true,
            turned_ns: None,
            enabled: false,
            running: true,
            reset: false,
            refused: 0,
            random,
        })
    }

    /// What the driver takes while nobody drives its lines.
    pub(super) fn at_rest(&mut self) -> Vec<DriverInput> {
        self.is_active = false;
        self.reset = false;
        self.choice = 0;
        self.enabled = !self.has_enable || self.floating == Floating::On;
        self.running = !self.has_current;
        vec![
            DriverInput::Enable(self.enabled),
            DriverInput::Current(self.level()),
        ]
    }

    /// What the pin is for, if it leads to this driver.
    pub(super) fn role(&self, pin: Pin) -> Option<(Role, ActiveLevel)> {
        let found = self.roles.iter().find(|(known, _, _)| *known == pin);
        found.map(|(_, role, active)| (*role, *active))
    }

    /// The enable line.
    pub(super) fn is_enabled(&self) -> bool {
        self.enabled
    }

    /// The reset line.
    pub(super) fn is_reset(&self) -> bool {
        self.reset
    }

    /// The current that the lines ask for.
    pub(super) fn level(&self) -> CurrentLevel {
        match (self.enabled, self.running) {
            (false, _) => CurrentLevel::Off,
            (true, true) => CurrentLevel::Run,
            (true, false) => CurrentLevel::Hold,
        }
    }

    /// Takes a change of a line. `ends_ns` is when the line changes again, if that is known.
    pub(super) fn take(
        &mut self,
        at_ns: u64,
        (role, active): (Role, ActiveLevel),
        drive: Drive,
        ends_ns: Option<u64>,
        inputs: &mut Vec<DriverInput>,
    ) {
        let is_active = match (drive, active) {
            (Drive::High | Drive::PulledUp, ActiveLevel::High) | (Drive::Low, ActiveLevel::Low) => {
                true
            }
            (Drive::Floating, _) => match role {
                Role::Enable => self.floating == Floating::On,
                // A line that is left alone keeps what it was.
                Role::Direction => self.forward,
                _ => false,
            },
            _ => false,
        };
        match role {
            Role::Step => self.step(at_ns, is_active, ends_ns, inputs),
            Role::Direction => {
                if is_active != self.forward {
                    self.forward = is_active;
                    self.turned_ns = Some(at_ns);
                }
            }
            Role::Enable => {
                self.enabled = is_active;
                inputs.push(DriverInput::Enable(is_active));
                inputs.push(DriverInput::Current(self.level()));
            }
            Role::Current => {
                self.running = is_active;
                inputs.push(DriverInput::Current(self.level()));
            }
            Role::Reset => {
                self.reset = is_active;
                if is_active {
                    inputs.push(DriverInput::Reset);
                }
            }
            Role::Microsteps(place) => {
                self.choice = self.choice & !(1 << place) | usize::from(is_active) << place;
            }
        }
    }

    fn step(
        &mut self,
        at_ns: u64,
        is_active: bool,
        ends_ns: Option<u64>,
        inputs: &mut Vec<DriverInput>,
    ) {
        if is_active == self.is_active {
            return;
        }
        self.is_active = is_active;
        if !is_active {
            self.last_fall_ns = Some(at_ns);
            return;
        }
        let since = |before: Option<u64>| before.map(|before| at_ns.saturating_sub(before));
        let too_soon = |gone: Option<u64>, least: u32| gone.is_some_and(|gone| gone < least.into());
        let is_short =
            ends_ns.is_some_and(|end| end.saturating_sub(at_ns) < self.times.step_active_ns.into());
        let is_close = too_soon(since(self.last_fall_ns), self.times.step_idle_ns);
        let is_turned = too_soon(since(self.turned_ns), self.times.direction_setup_ns);
        let mut forward = self.forward;
        if is_short || is_close || is_turned {
            // The data sheet promises nothing: half of them count, or count the old way.
            self.refused += 1;
            let is_unlucky = self.random.next_u32() & 1 == 1;
            if is_unlucky && (is_short || is_close) {
                return;
            }
            forward ^= is_unlucky && is_turned;
        }
        let size = self.sizes.get(self.choice).copied().unwrap_or(self.finest);
        // At most 256.
        let microsteps = (self.finest / size.max(1)) as i32;
        // Held in reset, a driver counts nothing.
        if !self.reset {
            inputs.push(DriverInput::Step(if forward {
                microsteps
            } else {
                -microsteps
            }));
        }
    }
}

//! The stepper driver: step, direction, enable and reset lines, microstep table, current levels.

use trimproof_io::{CurrentLevel, Pulse};

use crate::dynamics::Phase;
use crate::state_bits::StateBits;

/// Electrical angle of the microstep index 0: both windings at 70.7 %, rad.
pub const HOME_RAD: f64 = std::f64::consts::FRAC_PI_4;

/// One axis's driver.
#[derive(Clone, Debug)]
pub struct Driver {
    table: Vec<(f64, f64)>,
    kind: DriverKind,
    microsteps: u32,
    run_a: f64,
    hold_a: f64,
    undervoltage_v: f64,
    index: usize,
    total: i64,
    /// Steps that were ever counted, whatever the index was put to.
    counted: i64,
    /// Stick steps since the last pulse, up to those after which the current is reduced.
    since_pulse: u32,
    enable: bool,
    level: CurrentLevel,
    up: bool,
    dead: bool,
    broken: [bool; 2],
}

/// Ratings of a driver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriverParams {
    /// Microsteps a full step, a power of two from 1 to 256.
    pub microsteps: u32,
    /// Peak of the microstep sinusoid while running, A.
    pub run_a: f64,
    /// Peak of the microstep sinusoid while holding, A.
    pub hold_a: f64,
    /// Supply below which the driver drops out and forgets its index, V.
    pub undervoltage_v: f64,
    /// Which lines it has, and what it does by itself.
    pub kind: DriverKind,
}

/// Which lines a driver has, and what it does by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriverKind {
    /// Whether it has a line that puts its index to home.
    pub has_reset: bool,
    /// Whether it has a line that chooses between running and holding current; without one it
    /// drives the running current.
    pub has_current: bool,
    /// Whether it counts step pulses while it is disabled.
    pub counts_while_off: bool,
    /// Share of the current that it drives once no pulse has come for a while.
    pub standstill_share: f64,
    /// How long no pulse must have come for that, stick steps.
    pub standstill_after: u32,
}

impl Default for DriverKind {
    /// Every line, and full current at rest.
    fn default() -> Self {
        Self {
            has_reset: true,
            has_current: true,
            counts_while_off: true,
            standstill_share: 1.0,
            standstill_after: 0,
        }
    }
}

impl Driver {
    /// A driver at index 0 with its windings open.
    pub fn new(params: DriverParams) -> Self {
        let size = 4 * params.microsteps as usize;
        let table = (0..size)
            .map(|k| {
                let (s, c) = libm::sincos(electrical_rad(k as i64, params.microsteps));
                (c, s)
            })
            .collect();
        Self {
            table,
            kind: params.kind,
            microsteps: params.microsteps,
            run_a: params.run_a,
            hold_a: params.hold_a,
            undervoltage_v: params.undervoltage_v,
            index: 0,
            total: 0,
            counted: 0,
            since_pulse: 0,
            enable: false,
            level: CurrentLevel::Off,
            up: true,
            dead: false,
            broken: [false; 2],
        }
    }

    /// Sets enable and current lines.
    pub fn set_lines(&mut self, enable: bool, level: CurrentLevel) {
        self.enable = enable;
        self.level = level;
    }

    /// Sets the enable line alone.
    pub fn set_enable(&mut self, enable: bool) {
        self.enable = enable;
    }

    /// Sets the current line alone.
    pub fn set_level(&mut self, level: CurrentLevel) {
        self.level = level;
    }

    /// The reset line, if it has one: index to 0.
    pub fn home(&mut self) {
        if self.kind.has_reset {
            self.forget();
        }
    }

    fn forget(&mut self) {
        self.index = 0;
        self.total = 0;
    }

    /// Counts a step pulse, enabled or not where the kind does so, its output stage dead or not; a
    /// dropped-out driver counts nothing.
    #[inline]
    pub fn step(&mut self, pulse: Pulse) {
        match pulse {
            Pulse::None => {}
            Pulse::Forward => self.move_by(1),
            Pulse::Backward => self.move_by(-1),
        }
    }

    /// Counts one pulse that is worth so many microsteps of the table, as the lines that choose the
    /// step's size have it.
    pub fn move_by(&mut self, microsteps: i32) {
        if !self.up || !(self.enable || self.kind.counts_while_off) {
            return;
        }
        // A table has at most 1024 entries.
        let size = self.table.len() as i64;
        let moved = i64::from(microsteps);
        self.index = (self.index as i64 + moved).rem_euclid(size) as usize;
        self.total += moved;
        self.counted += moved;
        self.since_pulse = 0;
    }

    /// So many stick steps go by.
    #[inline]
    pub fn wait(&mut self, steps: u32) {
        if self.kind.standstill_share < 1.0 && self.since_pulse < self.kind.standstill_after {
            self.since_pulse = (self.since_pulse + steps).min(self.kind.standstill_after);
        }
    }

    /// Steps that it has ever counted, microsteps.
    pub fn counted(&self) -> i64 {
        self.counted
    }

    /// Drops out below the undervoltage threshold and comes back at index 0.
    pub fn watch_supply(&mut self, supply_v: f64) {
        let up = supply_v >= self.undervoltage_v;
        if !up && self.up {
            self.forget();
        }
        self.up = up;
    }

    /// Kills the driver's output stage or revives it: both windings open, while its logic goes on
    /// counting.
    pub fn set_dead(&mut self, dead: bool) {
        self.dead = dead;
    }

    /// Breaks the lead of winding 0 (a) or 1 (b), or mends it.
    pub fn set_broken(&mut self, winding: usize, broken: bool) {
        self.broken[winding] = broken;
    }

    /// Whether current flows.
    pub fn is_driving(&self) -> bool {
        self.enable && self.up && !self.dead && self.drawn() != CurrentLevel::Off
    }

    /// The current level that the driver takes from its lines.
    fn drawn(&self) -> CurrentLevel {
        if self.kind.has_current {
            self.level
        } else {
            CurrentLevel::Run
        }
    }

    /// Index in the microstep table: 0 up to four times the microsteps of a full step.
    pub fn index(&self) -> usize {
        self.index
    }

    /// Microsteps a full step.
    pub fn microsteps(&self) -> u32 {
        self.microsteps
    }

    /// Steps counted since the index was last at home, microsteps.
    pub fn total(&self) -> i64 {
        self.total
    }

    /// Electrical angle that the driver commands, counted on over whole cycles since home, rad.
    pub fn electrical_rad(&self) -> f64 {
        electrical_rad(self.total, self.microsteps)
    }

    /// Electrical angle of so many microsteps, rad.
    pub(crate) fn turned_rad(&self, microsteps: i64) -> f64 {
        std::f64::consts::FRAC_PI_2 * microsteps as f64 / f64::from(self.microsteps)
    }

    /// Writes down lines, counts and faults.
    pub(crate) fn note(&self, bits: &mut StateBits) {
        bits.count(self.index as u64);
        // The same bits without a sign.
        bits.count(self.total as u64);
        bits.count(self.level as u64);
        bits.count(u64::from(self.since_pulse));
        for line in [
            self.enable,
            self.up,
            self.dead,
            self.broken[0],
            self.broken[1],
        ] {
            bits.count(u64::from(line));
        }
    }

    /// What each winding is held at: the table i_a = I cos α, i_b = I sin α.
    pub fn phases(&self) -> [Phase; 2] {
        let mut amps = match self.drawn() {
            CurrentLevel::Off => 0.0,
            CurrentLevel::Hold => self.hold_a,
            CurrentLevel::Run => self.run_a,
        };
        if self.kind.standstill_share < 1.0 && self.since_pulse >= self.kind.standstill_after {
            amps *= self.kind.standstill_share;
        }
        let (c, s) = self.table[self.index];
        let driving = self.is_driving();
        let phase = |target: f64, broken: bool| match (broken, driving) {
            (true, _) => Phase::Broken,
            (false, true) => Phase::Chopped(amps * target),
            (false, false) => Phase::Open,
        };
        [phase(c, self.broken[0]), phase(s, self.broken[1])]
    }
}

/// Electrical angle of a microstep count: 90° a full step, from the home position.
pub(crate) fn electrical_rad(steps: i64, microsteps: u32) -> f64 {
    HOME_RAD + std::f64::consts::FRAC_PI_2 * steps as f64 / f64::from(microsteps)
}

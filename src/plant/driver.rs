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
    microsteps: u32,
    run_a: f64,
    hold_a: f64,
    undervoltage_v: f64,
    index: usize,
    total: i64,
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
            microsteps: params.microsteps,
            run_a: params.run_a,
            hold_a: params.hold_a,
            undervoltage_v: params.undervoltage_v,
            index: 0,
            total: 0,
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

    /// The reset line: index to 0.
    pub fn home(&mut self) {
        self.index = 0;
        self.total = 0;
    }

    /// Counts a step pulse, enabled or not, its output stage dead or not; a dropped-out driver
    /// counts nothing.
    pub fn step(&mut self, pulse: Pulse) {
        if !self.up {
            return;
        }
        let size = self.table.len();
        match pulse {
            Pulse::None => {}
            Pulse::Forward => {
                self.index = (self.index + 1) % size;
                self.total += 1;
            }
            Pulse::Backward => {
                self.index = (self.index + size - 1) % size;
                self.total -= 1;
            }
        }
    }

    /// Drops out below the undervoltage threshold and comes back at index 0.
    pub fn watch_supply(&mut self, supply_v: f64) {
        let up = supply_v >= self.undervoltage_v;
        if !up && self.up {
            self.home();
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
        self.enable && self.up && !self.dead && self.level != CurrentLevel::Off
    }

    /// Index in the microstep table: 0 up to four times the microsteps of a full step.
    pub fn index(&self) -> usize {
        self.index
    }

    /// Steps counted since the index was last at home, microsteps.
    pub fn total(&self) -> i64 {
        self.total
    }

    /// Electrical angle that the driver commands, counted on over whole cycles since home, rad.
    pub fn electrical_rad(&self) -> f64 {
        electrical_rad(self.total, self.microsteps)
    }

    /// Writes down lines, counts and faults.
    pub(crate) fn note(&self, bits: &mut StateBits) {
        bits.count(self.index as u64);
        // The same bits without a sign.
        bits.count(self.total as u64);
        bits.count(self.level as u64);
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
        let amps = match self.level {
            CurrentLevel::Off => 0.0,
            CurrentLevel::Hold => self.hold_a,
            CurrentLevel::Run => self.run_a,
        };
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

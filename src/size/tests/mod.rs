//! Every figure against the twin, simulated on both shipped rigs.

mod at_rest;
mod moving;

use crate::Design;
use trimproof_io::{AxisCommand, Command, CurrentLevel};
use trimproof_plant::rig::AxisRig;
use trimproof_plant::{AxisName, AxisReading, Numerics, PathShape, Plant, StartPose};

const RIGS: [&str; 2] = [
    include_str!("../../../scenarios/rigs/kittiwake.toml"),
    include_str!("../../../scenarios/rigs/bittern.toml"),
];

fn rigs() -> [Design; 2] {
    RIGS.map(|text| Design::parse(text).expect("the shipped rigs parse"))
}

fn axis_of(rig: &mut Design, index: usize) -> &mut AxisRig {
    if index == 0 {
        &mut rig.pitch
    } else {
        &mut rig.roll
    }
}

/// The twin with its supply on and its drives at a level.
struct DrivenTwin {
    plant: Plant,
    outputs: Command,
    axis: usize,
}

impl DrivenTwin {
    fn new(rig: &Design, axis: AxisName, level: CurrentLevel) -> Self {
        let start = StartPose {
            supply_v: rig.supply.volts,
            force_trim: true,
            ..StartPose::default()
        };
        let mut twin = Self {
            plant: Plant::new(rig, 1, Numerics::default(), start),
            outputs: Command::default(),
            axis: axis.index(),
        };
        twin.set(level);
        twin
    }

    fn set(&mut self, level: CurrentLevel) {
        let axis = AxisCommand {
            enable: level != CurrentLevel::Off,
            current: level,
            ..AxisCommand::default()
        };
        self.outputs.axis = [axis; 2];
    }

    fn tick(&mut self) {
        self.plant.sample();
        self.plant.command(&self.outputs);
        self.plant.advance().expect("the twin computes it");
    }

    fn wait(&mut self, for_s: f64) {
        for _ in 0..(for_s / self.plant.tick_s()).round() as u32 {
            self.tick();
        }
    }

    /// Steps the axis by whole microsteps, a few a tick, and waits.
    fn step(&mut self, usteps: i32, periods: u32) {
        let mut left = usteps;
        while left != 0 {
            let now = left.clamp(-2, 2);
            // The generator adds this share of 2^32 microsteps in each of its periods.
            let rate = (i64::from(now) << 32) / i64::from(periods) + i64::from(now.signum());
            self.outputs.axis[self.axis].step_rate = rate as i32;
            self.tick();
            self.outputs.axis[self.axis].step_rate = 0;
            self.wait(0.01);
            left -= now;
        }
        self.wait(0.3);
    }

    fn carry(&mut self, to_deg: f64, over_s: f64) {
        let mut to = [None; 2];
        to[self.axis] = Some(to_deg.to_radians());
        self.plant.carry(to, over_s, PathShape::Steady);
    }

    fn reading(&self) -> AxisReading {
        self.plant.readings().axis[self.axis]
    }
}

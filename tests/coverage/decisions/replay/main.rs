//! Plays what went to the controller in every run to a copy of it that notes its decisions.
//!
//! Built and run by `tests/coverage/decisions/`, which says what stands in the file that is read.
//! Prints a number for the answers of each run, then the sides that each decision came out on.

mod answers;
mod rigs;

use answers::Answers;
use trimproof_controller::{Controller, seen};
use trimproof_io::{AXES, Inputs, StepGenerator, Switches};

struct Line<'a>(&'a [u8]);

impl Line<'_> {
    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(*first)
    }

    fn bytes<const N: usize>(&mut self) -> [u8; N] {
        std::array::from_fn(|_| self.byte().expect("the file is whole"))
    }

    fn u16(&mut self) -> u16 {
        u16::from_le_bytes(self.bytes())
    }

    fn inputs(&mut self) -> Inputs {
        let tick = u32::from_le_bytes(self.bytes());
        let sensor_counts = [self.u16(), self.u16()];
        let supply_mv = self.u16();
        let closed = self.bytes::<1>()[0];
        let is = |bit: u8| closed & (1 << bit) != 0;
        Inputs {
            tick,
            sensor_counts,
            supply_mv,
            switches: Switches {
                release: is(0),
                hat_fore: is(1),
                hat_aft: is(2),
                hat_left: is(3),
                hat_right: is(4),
                force_trim: is(5),
            },
        }
    }
}

fn main() {
    let file = std::env::args().nth(1).expect("the file to play");
    let bytes = std::fs::read(file).expect("the file can be read");
    let mut line = Line(&bytes);
    let mut answers = Answers::new();
    let mut rig = 0;
    let new = |rig: usize| Controller::new(rigs::ALL[rig]).expect("settings of a rig");
    let mut controller = new(rig);
    let mut generators = [StepGenerator::new(0); AXES];
    let mut next = 0;
    let mut at_start = true;
    while let Some(word) = line.byte() {
        let settings = &rigs::ALL[rig];
        match word {
            // A run begins.
            0 => {
                if !at_start {
                    println!("{}", answers.number());
                }
                at_start = false;
                answers = Answers::new();
                rig = line.bytes::<1>()[0].into();
                controller = new(rig);
                let settings = &rigs::ALL[rig];
                let periods = settings.generator_hz / settings.tick_hz;
                generators = [StepGenerator::new(settings.command_timeout_ticks * periods); AXES];
                next = 0;
            }
            // The controller starts again.
            1 => controller = new(rig),
            _ => {
                let inputs = line.inputs();
                // The generator runs on through ticks that are lost.
                for _ in next..inputs.tick {
                    for _ in 0..settings.generator_hz / settings.tick_hz {
                        for generator in &mut generators {
                            generator.period();
                        }
                    }
                }
                next = inputs.tick;
                let outputs = controller.tick(&inputs);
                answers.take(&outputs);
                for (generator, out) in generators.iter_mut().zip(&outputs.command.axis) {
                    if out.home {
                        generator.home();
                    }
                    generator.refresh(out.step_rate);
                }
            }
        }
    }
    println!("{}", answers.number());
    for id in 0..rigs::DECISIONS {
        println!("{}", seen::sides(id));
    }
}

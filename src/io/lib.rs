//! What passes between the controller of a force-feel stick and the world, tick by tick.
//!
//! In: [`Inputs`], what sensors, switches and supply say. Out: [`Command`], what the controller
//! asks of the drivers and reports to the host simulator, and [`Telemetry`], what it volunteers
//! about itself. A controller that volunteers nothing is as good as any other: [`Reports`] says
//! before a run what there will be. [`StepGenerator`] turns a step rate into pulses, in the twin
//! and in a board's timer interrupt alike.
//!
//! `no_std`, integers only. The crate knows no controller, no twin and no board.
//!
//! ```
//! use trimproof_io::{Pulse, StepGenerator};
//!
//! // A quarter of a microstep a period: every fourth period steps.
//! let mut generator = StepGenerator::new(8);
//! generator.refresh(1 << 30);
//! let pulses: Vec<Pulse> = (0..8).map(|_| generator.period()).collect();
//! assert_eq!(pulses.iter().filter(|pulse| **pulse == Pulse::Forward).count(), 2);
//! // Nobody has set the rate again for eight periods: it has run out.
//! assert_eq!(generator.period(), Pulse::None);
//! ```
#![cfg_attr(not(test), no_std)]
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::unreachable
    )
)]

mod command;
mod fault;
mod inputs;
mod stepgen;
mod telemetry;

pub use command::{AxisCommand, Command, CurrentLevel};
pub use fault::{Fault, Faults};
pub use inputs::{AXES, Inputs, PITCH, ROLL, Switches};
pub use stepgen::{Pulse, StepGenerator, steps_over};
pub use telemetry::{AxisTelemetry, Outputs, Reports, State, Telemetry};

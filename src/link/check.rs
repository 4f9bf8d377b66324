//! How good a link is.

use crate::board_link::Link;
use crate::error::LinkError;
use crate::pool::bytes_a_tick;
use std::time::Instant;
use trimproof_controller::Settings;
use trimproof_harness::run::Traffic;
use trimproof_io::Inputs;

/// What a check of a link found.
#[derive(Clone, Debug)]
pub struct Checked {
    /// Everything that went over it.
    pub traffic: Traffic,
    /// Time of all round trips together, with what lies between them, s.
    pub wall_s: f64,
    /// Why it ended early; `None` if it did not.
    pub failed: Option<LinkError>,
}

impl Checked {
    /// Round trips a second, as measured.
    pub fn ticks_per_s(&self) -> f64 {
        match self.wall_s {
            wall_s if wall_s > 0.0 => self.traffic.ticks as f64 / wall_s,
            _ => 0.0,
        }
    }

    /// Bytes a tick, both ways, with what the run's begin and end took; `None` before the first.
    pub fn bytes_a_tick(&self) -> Option<f64> {
        bytes_a_tick(&self.traffic)
    }

    /// Most ticks a second that a wire of `baud` bits a second carries, ten bits a byte, if it
    /// carries nothing twice and waits for nothing.
    pub fn wire_limit_per_s(&self, baud: u32) -> Option<f64> {
        self.bytes_a_tick()
            .map(|bytes| f64::from(baud) / 10.0 / bytes)
    }
}

/// Makes `ticks` round trips of a run in which nothing may move: the stick stands still in the
/// middle of its sensors.
///
/// `go_on` is asked before each one.
pub fn check(
    link: &mut Link,
    settings: &Settings,
    ticks: u32,
    go_on: &dyn Fn() -> bool,
) -> Checked {
    link.take_traffic();
    let mut begun = Instant::now();
    let mut run = || -> Result<(), LinkError> {
        let run = link.begin(settings)?;
        begun = Instant::now();
        for tick in 0..ticks {
            if !go_on() {
                break;
            }
            link.tick(
                run,
                &Inputs {
                    tick,
                    sensor_counts: [2048; 2],
                    supply_mv: 24_000,
                    ..Inputs::default()
                },
            )?;
        }
        Ok(())
    };
    let failed = run().err();
    let wall_s = begun.elapsed().as_secs_f64();
    let number = link.greeting().run.wrapping_add(1);
    let ended = match failed {
        None => link.end(number).err(),
        Some(_) => None,
    };
    Checked {
        traffic: link.take_traffic(),
        wall_s,
        failed: failed.or(ended),
    }
}

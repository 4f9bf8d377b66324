//! A program as a target of the harness.

use std::collections::BTreeMap;
use std::sync::Arc;

use trimproof_harness::firmware::{FirmwareFile, Pin};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{
    Drive, InputChange, Level, PinChange, PinEvent, PinInput, PinTarget, SerialLine, Target,
    TargetError,
};
use trimproof_io::{Inputs, Outputs, Reports};

use super::Programs;
use super::compile::Built;
use super::frames::{Begin, Change, Event};
use super::process::{Process, ProcessEnd};

/// Most lines of serial text that are kept of a run.
const LINES_MAX: usize = 500;
/// Longest line that is kept, bytes; a longer one is cut.
const LINE_MAX: usize = 200;

/// A program that is run at its pins, one process a run.
struct ProgramTarget {
    programs: Arc<Programs>,
    built: Option<Arc<Built>>,
    process: Option<Process>,
    /// When the present process was started, ns after the start of the run.
    origin_ns: u64,
    clock_us: u64,
    /// What the EEPROM holds, whichever process wrote it.
    eeprom: Vec<u8>,
    /// What stands at the inputs, by kind and id.
    standing: BTreeMap<(bool, u8), u32>,
    /// Pins that the program drives.
    driven: BTreeMap<u8, Drive>,
    changes: Vec<Change>,
    serial: Vec<SerialLine>,
    /// Text of each port that has no end yet.
    open: BTreeMap<u8, Vec<u8>>,
}

impl Programs {
    /// A program for one run.
    pub fn target(self: &Arc<Self>) -> Box<dyn Target> {
        Box::new(ProgramTarget::new(Arc::clone(self)))
    }
}

impl ProgramTarget {
    fn new(programs: Arc<Programs>) -> Self {
        Self {
            programs,
            built: None,
            process: None,
            origin_ns: 0,
            clock_us: 0,
            eeprom: Vec::new(),
            standing: BTreeMap::new(),
            driven: BTreeMap::new(),
            changes: Vec::new(),
            serial: Vec::new(),
            open: BTreeMap::new(),
        }
    }

    fn start(&mut self, at_ns: u64, clock_us: u64) -> Result<(), TargetError> {
        // First of all the old one goes.
        self.process = None;
        let built = self.built.as_ref().ok_or(TargetError::NotBegun)?;
        let board = &self.programs.firmware().board;
        let microvolts = |volts: f64| (volts * 1e6).round() as u32;
        let begin = Begin {
            chip: &board.chip.key(),
            clock_hz: board.clock_hz,
            reference_uv: microvolts(board.adc_reference_v),
            supply_uv: microvolts(board.supply_v),
            clock_us,
            eeprom: &self.eeprom,
        };
        let process = Process::start(built.path(), &begin).map_err(|end| program_error(&end))?;
        self.process = Some(process);
        self.origin_ns = at_ns;
        Ok(())
    }

    /// Runs the present process on, without minding what it did.
    fn run_on(&mut self, until_ns: u64) -> Result<Vec<Event>, ProcessEnd> {
        let process = self.process.as_mut();
        let process = process.ok_or_else(|| ProcessEnd::Gone("it was not started".to_owned()))?;
        process.run(until_ns.saturating_sub(self.origin_ns), &self.changes)
    }

    fn note(&mut self, event: Event, events: &mut Vec<PinEvent>) {
        let at_ns = event.at_ns.saturating_add(self.origin_ns);
        match event.kind {
            0 => {
                let drive = match event.value {
                    0 => Drive::Low,
                    1 => Drive::High,
                    2 => Drive::Floating,
                    _ => Drive::PulledUp,
                };
                self.driven.insert(event.id, drive);
                let change = PinChange::Output(Pin { id: event.id }, drive);
                events.push(PinEvent { at_ns, change });
            }
            1 => self.note_serial(at_ns, event.id, event.value as u8),
            2 => events.push(PinEvent {
                at_ns,
                change: PinChange::Loop,
            }),
            3 => {
                let address = (event.value >> 8) as usize;
                if let Some(cell) = self.eeprom.get_mut(address) {
                    *cell = event.value as u8;
                }
            }
            4 => events.push(PinEvent {
                at_ns,
                change: PinChange::Reset,
            }),
            _ => {}
        }
    }

    fn note_serial(&mut self, at_ns: u64, port: u8, byte: u8) {
        let line = self.open.entry(port).or_default();
        match byte {
            b'\r' => {}
            b'\n' => {
                let text = String::from_utf8_lossy(line).into_owned();
                line.clear();
                if self.serial.len() < LINES_MAX {
                    let at_s = at_ns as f64 / 1e9;
                    self.serial.push(SerialLine { at_s, text });
                }
            }
            _ if line.len() < LINE_MAX => line.push(byte),
            _ => {}
        }
    }
}

impl Target for ProgramTarget {
    fn identity(&self) -> String {
        self.programs.identity()
    }

    fn reports(&self) -> Reports {
        Reports {
            loop_time: true,
            ..Reports::PINS
        }
    }

    fn set_clock(&mut self, clock_s: f64) {
        self.clock_us = (clock_s * 1e6).round() as u64;
    }

    fn pins(&mut self) -> Option<&mut dyn PinTarget> {
        Some(self)
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        let refuse = |why: String| TargetError::Program { why, help: None };
        let built = self.programs.built_for(&rig.name);
        self.built = Some(built.map_err(|error| refuse(error.to_string()))?);
        self.eeprom = self.programs.eeprom(&rig.name).map_err(refuse)?;
        self.serial.clear();
        self.open.clear();
        self.standing.clear();
        self.driven.clear();
        self.start(0, self.clock_us)
    }

    fn tick(&mut self, _: &Inputs) -> Result<Outputs, TargetError> {
        Err(TargetError::Program {
            why: "a program at its pins is not asked tick by tick".to_owned(),
            help: None,
        })
    }

    /// The restart itself comes with the time, by [`PinTarget::restart`].
    fn reset(&mut self) -> Result<(), TargetError> {
        let at_ns = self.origin_ns;
        self.start(at_ns, 0)
    }

    fn serial(&self) -> &[SerialLine] {
        &self.serial
    }
}

impl PinTarget for ProgramTarget {
    fn firmware(&self) -> &FirmwareFile {
        self.programs.firmware()
    }

    fn run(
        &mut self,
        until_ns: u64,
        inputs: &[InputChange],
        events: &mut Vec<PinEvent>,
    ) -> Result<(), TargetError> {
        self.changes.clear();
        for change in inputs {
            let (is_analog, id, value) = match change.input {
                PinInput::Digital(pin, level) => (false, pin.id, level_code(level)),
                PinInput::Analog(channel, microvolts) => (true, channel, microvolts),
            };
            self.standing.insert((is_analog, id), value);
            self.changes.push(Change {
                at_ns: change.at_ns.saturating_sub(self.origin_ns),
                is_analog,
                id,
                value,
            });
        }
        match self.run_on(until_ns) {
            Ok(done) => {
                for event in done {
                    self.note(event, events);
                }
                Ok(())
            }
            // Its watchdog: the chip starts anew at the end of the stretch.
            Err(ProcessEnd::Failed(9, text)) if text.starts_with("watchdog reset") => {
                for (id, _) in std::mem::take(&mut self.driven) {
                    events.push(PinEvent {
                        at_ns: until_ns,
                        change: PinChange::Output(Pin { id }, Drive::Floating),
                    });
                }
                events.push(PinEvent {
                    at_ns: until_ns,
                    change: PinChange::Reset,
                });
                self.restart(until_ns)
            }
            Err(end) => Err(program_error(&end)),
        }
    }

    fn restart(&mut self, at_ns: u64) -> Result<(), TargetError> {
        self.start(at_ns, 0)?;
        self.driven.clear();
        self.changes.clear();
        let standing = self.standing.iter();
        self.changes
            .extend(standing.map(|((is_analog, id), value)| Change {
                at_ns: 0,
                is_analog: *is_analog,
                id: *id,
                value: *value,
            }));
        // Nothing runs yet: the inputs only stand there.
        self.run_on(at_ns)
            .map(|_| ())
            .map_err(|end| program_error(&end))
    }
}

fn level_code(level: Level) -> u32 {
    match level {
        Level::Low => 0,
        Level::High => 1,
        Level::Floating => 2,
    }
}

fn program_error(end: &ProcessEnd) -> TargetError {
    let (why, help) = match end {
        ProcessEnd::Failed(kind, text) => {
            let what = match kind {
                1 => "the program crashed",
                2 => "the program ended by itself",
                3 => "the program does not advance",
                4 => "the program wants too much memory",
                5 => "the program floods its outputs",
                6 => "the program cannot be run",
                _ => "the program stopped",
            };
            let help = match kind {
                2 => Some("a board's program never ends: look for `exit` and returns from `main`"),
                3 => Some(
                    "a loop that waits without reading a clock, a pin or a converter never ends",
                ),
                _ => None,
            };
            (format!("{what}: {text}"), help)
        }
        ProcessEnd::Gone(why) => (format!("the program is gone: {why}"), None),
    };
    TargetError::Program {
        why,
        help: help.map(str::to_owned),
    }
}

//! Where the controller under test runs: what is asked for on the command line, opened.

use crate::args::{ProgramArgs, TargetArgs, WireArgs};
use crate::output::say;
use crate::report::Failure;
use crate::stop;
use serde::Serialize;
use std::fmt::Write as _;
use std::fs::File;
use std::io::BufWriter;
use std::num::NonZeroUsize;
use std::path::Path;
use std::sync::Arc;
use trimproof_harness::firmware::{Facts, FirmwareFile};
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, Target, Traffic};
use trimproof_harness::suite::plain;
use trimproof_link::{
    BoardPool, CompileError, FrameLog, On, Options, ProgramError, ProgramOptions, Programs,
    read_firmware,
};

/// Printed before a port is opened.
const CAUTIONS: &str = "\
caution: a powered stick moves and pinches
  keep hands clear of the stick while anything runs
  have an emergency stop of the motor supply within reach
  set the drivers' current limit before you connect a motor
  follow your local electrical code and licensed practice; they come before this program
";

/// Where the controller under test runs, opened: in this process, on an emulated board or on a
/// port.
pub struct TargetSource {
    pool: Option<Arc<BoardPool>>,
    programs: Option<Arc<Programs>>,
    /// What the firmware file says of a program that is not run at its pins.
    firmware: Option<FirmwareFile>,
    log: Option<FrameLog>,
    log_name: String,
    threads: NonZeroUsize,
}

impl TargetSource {
    /// Opens what the arguments of a command name; see [`TargetSource::open`].
    ///
    /// # Errors
    /// As [`TargetSource::open`].
    pub fn open_target(args: &TargetArgs, threads: Option<NonZeroUsize>) -> Result<Self, Failure> {
        let mut source = Self::open_program(
            &args.on,
            &args.wire,
            &args.program,
            args.allow_motion,
            threads,
        )?;
        if !matches!(args.on, On::Source(_))
            && let Some(file) = &args.program.firmware
        {
            source.firmware = Some(read_firmware(file).map_err(Failure::Files)?);
        }
        Ok(source)
    }

    /// Gives a rig the promises of the firmware that runs on it.
    pub fn set_firmware_of(&self, rig: &mut RigFile) {
        if let Some(programs) = &self.programs {
            rig.firmware = programs.facts(&rig.name);
            // They are another controller's.
            rig.controller = None;
        } else if let Some(firmware) = &self.firmware {
            rig.firmware = Facts::of(firmware, &rig.name);
        }
    }

    /// Opens what `--on` names. Before a port is opened the cautions are printed.
    ///
    /// # Errors
    /// Arguments that do not go together, or a board that cannot be spoken to.
    pub fn open(
        on: &On,
        wire: &WireArgs,
        allow_motion: bool,
        threads: Option<NonZeroUsize>,
    ) -> Result<Self, Failure> {
        Self::open_program(on, wire, &ProgramArgs::default(), allow_motion, threads)
    }

    fn open_program(
        on: &On,
        wire: &WireArgs,
        program: &ProgramArgs,
        allow_motion: bool,
        threads: Option<NonZeroUsize>,
    ) -> Result<Self, Failure> {
        check(on, wire, program, allow_motion, threads)?;
        let cores = std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
        let mut source = Self {
            pool: None,
            programs: None,
            firmware: None,
            log: None,
            log_name: String::new(),
            threads: match on {
                On::Port(_) => NonZeroUsize::MIN,
                _ => threads.unwrap_or(cores),
            },
        };
        match on {
            On::Logic => return Ok(source),
            On::Source(folder) => {
                let options = ProgramOptions {
                    firmware: program.firmware.clone(),
                    sanitize: program.sanitize,
                };
                source.programs = Some(Programs::source(folder, &options).map_err(refused)?);
                return Ok(source);
            }
            On::Image(_) | On::Port(_) => {}
        }
        // From here on there is something to be ended: an emulator, a board.
        let stop = stop::on_signal();
        if matches!(on, On::Port(_)) {
            say_cautions(allow_motion);
        }
        if let Some(file) = &wire.frames {
            source.log = Some(log_into(file)?);
            source.log_name = file.display().to_string();
        }
        let options = Options {
            baud: wire.baud.unwrap_or(WireArgs::BAUD),
            allow_motion,
            frames: source.log.clone(),
            stop: Some(stop),
        };
        source.pool = match on {
            On::Logic | On::Source(_) => None,
            On::Image(file) => Some(BoardPool::image(file.clone(), options)?),
            On::Port(name) => Some(BoardPool::port(name.clone(), options)?),
        };
        Ok(source)
    }

    /// A controller for one run.
    pub fn target(&self) -> Box<dyn Target> {
        match (&self.pool, &self.programs) {
            (Some(pool), _) => pool.target(),
            (None, Some(programs)) => programs.target(),
            (None, None) => Box::new(LogicTarget::new()),
        }
    }

    /// Who the controller is.
    pub fn identity(&self) -> String {
        match (&self.pool, &self.programs) {
            (Some(pool), _) => pool.greeting().identity.as_str().to_owned(),
            (None, Some(programs)) => programs.identity(),
            (None, None) => LogicTarget::new().identity(),
        }
    }

    /// What the board is behind; `None` if there is none.
    pub fn description(&self) -> Option<&str> {
        self.pool.as_ref().map(|pool| pool.description())
    }

    /// The boards; `None` if there are none.
    pub fn pool(&self) -> Option<&Arc<BoardPool>> {
        self.pool.as_ref()
    }

    /// How many run at a time.
    pub fn threads(&self) -> NonZeroUsize {
        self.threads
    }

    /// Ends the log of frames; its name and why, if it could not be written.
    pub fn finish_log(&self) -> Result<(), (String, String)> {
        match &self.log {
            Some(log) => log
                .finish()
                .map_err(|error| (self.log_name.clone(), plain(&error))),
            None => Ok(()),
        }
    }
}

/// What went over a link, as the JSON forms have it.
#[derive(Serialize)]
pub struct LinkTraffic {
    ticks: u64,
    repeats: u64,
    damaged_frames: u64,
    other_frames: u64,
    bytes_out: u64,
    bytes_in: u64,
    round_trip_us: Option<Percentiles>,
}

#[derive(Serialize)]
struct Percentiles {
    p50: u64,
    p90: u64,
    p99: u64,
    max: u64,
}

impl LinkTraffic {
    /// The counts of `traffic`.
    pub fn of(traffic: &Traffic) -> Self {
        let trips = &traffic.round_trips;
        let at = |percent| trips.percentile_us(percent);
        let percentiles = || {
            Some(Percentiles {
                p50: at(50.0)?,
                p90: at(90.0)?,
                p99: at(99.0)?,
                max: trips.max_us(),
            })
        };
        Self {
            ticks: traffic.ticks,
            repeats: traffic.repeats,
            damaged_frames: traffic.damaged,
            other_frames: traffic.ignored,
            bytes_out: traffic.bytes_out,
            bytes_in: traffic.bytes_in,
            round_trip_us: percentiles(),
        }
    }
}

/// The counts of `traffic`, for people, in two lines.
pub fn write_traffic(out: &mut String, traffic: &Traffic) {
    let _ = writeln!(
        out,
        "  {} ticks, {} repeats, {} damaged frames, {} other frames; {} bytes out, {} bytes in",
        traffic.ticks,
        traffic.repeats,
        traffic.damaged,
        traffic.ignored,
        traffic.bytes_out,
        traffic.bytes_in
    );
    let trips = &traffic.round_trips;
    let at = |percent| trips.percentile_us(percent);
    if let (Some(p50), Some(p90), Some(p99)) = (at(50.0), at(90.0), at(99.0)) {
        let _ = writeln!(
            out,
            "  round trips: half within {p50} µs, 90 % within {p90} µs, 99 % within {p99} µs, the longest {} µs",
            trips.max_us()
        );
    }
}

/// Refuses what does not go together.
fn check(
    on: &On,
    wire: &WireArgs,
    program: &ProgramArgs,
    allow_motion: bool,
    threads: Option<NonZeroUsize>,
) -> Result<(), Failure> {
    let refuse = |message: &str, help: &str| {
        Err(Failure::Argument {
            message: message.to_owned(),
            help: Some(help.to_owned()),
        })
    };
    let port = matches!(on, On::Port(_));
    if allow_motion && !port {
        return refuse(
            "`--allow-motion` is for boards on a port; here there is no motor to move",
            "leave it away, or use `--on port:NAME`",
        );
    }
    if wire.baud.is_some() && !port {
        return refuse(
            "`--baud` is for boards on a port",
            "leave it away, or use `--on port:NAME`",
        );
    }
    if program.sanitize && !matches!(on, On::Source(_)) {
        return refuse(
            "`--sanitize` is for a source that is compiled here",
            "leave it away, or use `--on source:DIR`",
        );
    }
    if wire.frames.is_some() && matches!(on, On::Logic | On::Source(_)) {
        return refuse(
            "`--frames` is for boards: here there is no link",
            "use `--on image:FILE` or `--on port:NAME`",
        );
    }
    if port && threads.is_some_and(|threads| threads.get() > 1) {
        return refuse(
            "there is one board on a port, so scenarios run one after the other",
            "leave `--threads` away",
        );
    }
    Ok(())
}

/// Why a program cannot be run, as a failure.
fn refused(error: ProgramError) -> Failure {
    match error {
        ProgramError::File(problems) => Failure::Files(problems),
        ProgramError::Compile(CompileError::Refused {
            compiler,
            file,
            said,
        }) => {
            // The compiler's own words keep their lines.
            say(&format!("{said}\n"));
            Failure::Argument {
                message: format!("`{compiler}` refuses `{file}`: its words stand above"),
                help: None,
            }
        }
        ProgramError::Compile(error) => Failure::Argument {
            help: error.help(),
            message: error.to_string(),
        },
    }
}

fn say_cautions(allow_motion: bool) {
    let motion = if allow_motion {
        "  --allow-motion is given: MOTORS MAY MOVE; Ctrl-C trips the board, silence trips it after 100 ms\n"
    } else {
        "  --allow-motion is not given: the board is ordered to keep its motors off\n"
    };
    say(&format!("{CAUTIONS}{motion}"));
}

fn log_into(file: &Path) -> Result<FrameLog, Failure> {
    // To open a pipe would wait for its other end.
    if std::fs::metadata(file).is_ok_and(|meta| !meta.is_file()) {
        return Err(Failure::CannotWrite {
            what: file.display().to_string(),
            why: "something that is not a file is in the way".to_owned(),
        });
    }
    File::create(file)
        .map(|file| FrameLog::new(Box::new(BufWriter::new(file))))
        .map_err(|error| Failure::cannot_write(file.display().to_string(), &error))
}

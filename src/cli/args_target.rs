//! Arguments that say where the controller runs and how a board is spoken to.

use clap::Args;
use std::path::PathBuf;
use trimproof_link::On;

/// Where the controller under test runs.
#[derive(Args, Debug)]
pub struct TargetArgs {
    /// Where the controller runs: `logic` in this process, `source:DIR` any program's source,
    /// compiled and run at its pins, `image:FILE` a firmware image in an emulated board, `port:NAME`
    /// a board on a serial port
    #[arg(long, value_name = "PLACE", default_value = "logic")]
    pub on: On,
    #[command(flatten)]
    pub wire: WireArgs,
    #[command(flatten)]
    pub program: ProgramArgs,
    /// Let the board energise its motors; without this nothing moves. Only with `--on port:NAME`
    #[arg(long)]
    pub allow_motion: bool,
}

/// Arguments about the program that is run.
#[derive(Args, Debug, Default)]
pub struct ProgramArgs {
    /// The firmware file: how the board is wired and what the firmware promises [default: with
    /// `source:DIR` `DIR/firmware.toml`, else that of our own controller]
    #[arg(long, value_name = "FILE")]
    pub firmware: Option<PathBuf>,
    /// Build the source with the compiler's address and undefined-behaviour sanitizers: a finding
    /// ends the run. Only with `--on source:DIR`
    #[arg(long)]
    pub sanitize: bool,
}

/// Arguments of all commands that speak to a board.
#[derive(Args, Debug)]
pub struct WireArgs {
    /// Bits a second on the serial port [default: 1000000]
    #[arg(long, value_name = "BAUD", value_parser = clap::value_parser!(u32).range(1200..=12_000_000))]
    pub baud: Option<u32>,
    /// Also write down every frame that goes over the link, in this file
    #[arg(long, value_name = "FILE")]
    pub frames: Option<PathBuf>,
}

impl WireArgs {
    /// Bits a second, unless said otherwise.
    pub const BAUD: u32 = 1_000_000;
}

//! The command line: what can be asked, in our own words.

use crate::exit;
use crate::output::ColorWhen;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::num::NonZeroUsize;
use std::path::PathBuf;
use trimproof_link::On;

pub use crate::args_target::{ProgramArgs, TargetArgs, WireArgs};
#[cfg(feature = "viewer")]
pub use crate::args_view::SubjectArgs;
pub use crate::args_view::{FilmArgs, FlyArgs, WatchArgs};

/// Proves the firmware of a force-feel stick on a physics twin before it is flashed.
#[derive(Debug, Parser)]
#[command(name = "trimproof", version, max_term_width = 100, after_help = exit::help_text())]
pub struct Cli {
    /// When to use colour; `auto` means only on a terminal
    #[arg(long, global = true, value_enum, default_value_t = ColorWhen::Auto, value_name = "WHEN")]
    pub color: ColorWhen,
    /// What to do
    #[command(subcommand)]
    pub command: CliCommand,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum CliCommand {
    /// Run scenarios on the twin and judge every expectation
    Prove(ProveArgs),
    /// Put two traces side by side: first divergence, largest difference of every signal
    Compare(CompareArgs),
    /// List the signals of a trace, with units, and the constants of a rig
    Signals(SignalsArgs),
    /// Print the JSON Schema of a kind of file, for completion and checks in an editor
    Schema(SchemaArgs),
    /// Print a completion script for a shell
    Completions(CompletionsArgs),
    /// Answer the drawing board's questions about a rig: forces, holding margin, catch jump, rates,
    /// supply
    Size(SizeArgs),
    /// Measure what the hand meets at the grip, and judge it
    Feel(FeelArgs),
    /// Identify a rig's spring, friction, damping and inertia from what was measured on the bench
    Fit(FitArgs),
    /// Check the link to a board: round trips, errors, how long answers take
    Link(LinkArgs),
    /// List the serial ports that a board may be behind
    #[command(hide = cfg!(not(feature = "serial")))]
    Ports(PortsArgs),
    /// Watch a scenario as it runs, or a trace, in three dimensions beside its plots
    #[command(hide = cfg!(not(feature = "viewer")))]
    Watch(WatchArgs),
    /// Fly the stick by hand against the controller, in real time, and keep the flight as a
    /// scenario
    #[command(hide = cfg!(not(feature = "viewer")))]
    Fly(FlyArgs),
    /// Make the pictures of `watch` without a display: stills, a contact sheet, an animated file
    #[command(hide = cfg!(not(feature = "viewer")))]
    Film(FilmArgs),
}

/// Arguments of `prove`.
#[derive(Args, Debug)]
pub struct ProveArgs {
    /// Scenario files, folders or quoted globs [default: the folder `scenarios`]
    #[arg(value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Only on this rig; its file stands in a folder `rigs` beside the scenario or one above
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    /// Only scenarios whose name contains this text, or matches it if it is a glob
    #[arg(long, value_name = "TEXT")]
    pub only: Option<String>,
    /// Also write the verdicts as JUnit XML to this file
    #[arg(long, value_name = "FILE")]
    pub junit: Option<PathBuf>,
    /// Also write one page for people, with tables and pictures inside it, to this HTML file
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Also draw every run over time, as NAME.svg and NAME.png, into this folder, which is made if
    /// it is missing
    #[arg(long, value_name = "DIR")]
    pub pictures: Option<PathBuf>,
    /// Take it strictly: exit with 1 if an expectation was never put to the test or is not judged,
    /// and refuse formulas that are judged in the first row only
    #[arg(long)]
    pub strict: bool,
    /// How to print the verdicts
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Print the readable card of every run after the verdicts
    #[arg(long)]
    pub cards: bool,
    /// Run every scenario again at half the integrator's steps and print the largest differences
    #[arg(long)]
    pub accuracy: bool,
    /// Keep every trace in this folder, which is made if it is missing
    #[arg(long, value_name = "DIR")]
    pub keep: Option<PathBuf>,
    /// In which form traces are kept
    #[arg(long, value_enum, default_value_t = TraceForm::Csv, requires = "keep", value_name = "FORM")]
    pub trace: TraceForm,
    /// Add this to the seed of every scenario: other noise, other lost messages, the same verdicts
    #[arg(long, default_value_t = 0, value_name = "N")]
    pub seed_offset: u64,
    /// How many scenarios run at a time [default: one for each processor core]
    #[arg(long, value_name = "N")]
    pub threads: Option<NonZeroUsize>,
    #[command(flatten)]
    pub target: TargetArgs,
}

/// Arguments of `link`.
#[derive(Args, Debug)]
pub struct LinkArgs {
    /// Make round trips in which nothing may move, and print how they went
    #[arg(long, required = true)]
    pub check: bool,
    /// Where the board is: `image:FILE` or `port:NAME`
    #[arg(long, value_name = "PLACE")]
    pub on: On,
    #[command(flatten)]
    pub wire: WireArgs,
    /// How many round trips
    #[arg(long, value_name = "N", default_value_t = 2000, value_parser = clap::value_parser!(u32).range(1..=10_000_000))]
    pub ticks: u32,
    /// How to print what was found
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `ports`.
#[derive(Args, Debug)]
pub struct PortsArgs {
    /// How to print the list
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `compare`.
#[derive(Args, Debug)]
pub struct CompareArgs {
    /// First trace, CSV or MCAP
    pub a: PathBuf,
    /// Second trace, CSV or MCAP
    pub b: PathBuf,
    /// How to print the comparison
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `signals`.
#[derive(Args, Debug)]
pub struct SignalsArgs {
    /// Rig whose constants are listed too: a file, or the name of a rig in `scenarios/rigs` or
    /// `rigs`
    pub rig: Option<PathBuf>,
    /// How to print the list
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `schema`.
#[derive(Args, Debug)]
pub struct SchemaArgs {
    /// Which kind of file
    #[arg(value_enum)]
    pub kind: SchemaKind,
}

/// Arguments of `completions`.
#[derive(Args, Debug)]
pub struct CompletionsArgs {
    /// For which shell
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}

/// Arguments of `size`.
#[derive(Args, Debug)]
pub struct SizeArgs {
    /// The rig: a file, or the name of a rig in `scenarios/rigs` or `rigs`
    pub rig: PathBuf,
    /// Positions of the stick at which the force at the grip is printed, degrees, with commas
    /// between [default: stops, soft limits, halves and quarters of those]
    #[arg(
        long,
        value_name = "DEG,...",
        value_delimiter = ',',
        allow_hyphen_values = true
    )]
    pub at: Vec<f64>,
    /// Also draw the holding margin of both axes, as NAME.svg and NAME.png, into this folder, which
    /// is made if it is missing
    #[arg(long, value_name = "DIR")]
    pub pictures: Option<PathBuf>,
    /// How to print the answers
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `feel`.
#[derive(Args, Debug)]
pub struct FeelArgs {
    /// Rig whose twin is measured: a file, or the name of a rig in `scenarios/rigs` or `rigs`
    pub rig: PathBuf,
    /// Also judge against this: a measurement `NAME.csv` from the bench, or another rig, by file or
    /// name
    #[arg(long, value_name = "CSV|RIG")]
    pub against: Option<PathBuf>,
    /// Judge this measurement from the bench instead of the rig's twin
    #[arg(long, value_name = "CSV")]
    pub bench: Option<PathBuf>,
    /// How to print the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Keep what was measured in this file, as a bench measurement is written
    #[arg(long, value_name = "FILE")]
    pub keep: Option<PathBuf>,
    /// Also write the report as one page for people, with tables and pictures inside it, to this
    /// HTML file
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Also draw every sweep and response, as NAME.svg and NAME.png, into this folder, which is
    /// made if it is missing
    #[arg(long, value_name = "DIR")]
    pub pictures: Option<PathBuf>,
}

/// Arguments of `fit`.
#[derive(Args, Debug)]
pub struct FitArgs {
    /// Rig that was measured, as far as it is known: a file, or the name of a rig in
    /// `scenarios/rigs` or `rigs`
    pub rig: PathBuf,
    /// What was measured on the bench: slow sweeps, free responses
    #[arg(value_name = "BENCH.csv")]
    pub bench: PathBuf,
    /// Write the rig with the measured values to this file; its name without `.toml` becomes the
    /// rig's
    #[arg(long, value_name = "NEW_RIG.toml")]
    pub write: Option<PathBuf>,
    /// Also draw what the fit leaves of each measurement, as NAME.svg and NAME.png, into this
    /// folder, which is made if it is missing
    #[arg(long, value_name = "DIR")]
    pub pictures: Option<PathBuf>,
    /// How to print the result
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// How to print a result.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people
    Text,
    /// For programs; the fields are documented in docs/guides/command-line.md
    Json,
}

/// In which form a trace is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TraceForm {
    /// RFC 4180 table
    Csv,
    /// MCAP container
    #[cfg(feature = "mcap")]
    Mcap,
    /// Both files
    #[cfg(feature = "mcap")]
    Both,
}

impl TraceForm {
    /// File extensions that this form stands for.
    pub fn extensions(self) -> &'static [&'static str] {
        match self {
            TraceForm::Csv => &["csv"],
            #[cfg(feature = "mcap")]
            TraceForm::Mcap => &["mcap"],
            #[cfg(feature = "mcap")]
            TraceForm::Both => &["csv", "mcap"],
        }
    }
}

/// Kinds of file with a schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaKind {
    /// A rig: rigs/NAME.toml
    Rig,
    /// A scenario: NAME.toml
    Scenario,
    /// A firmware: firmware.toml
    Firmware,
    /// Laws that every scenario beside and below inherits: laws.toml
    Laws,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_definition_is_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn a_trace_form_without_a_folder_is_refused() {
        assert!(Cli::try_parse_from(["trimproof", "prove", "--trace", "mcap"]).is_err());
        assert!(
            Cli::try_parse_from(["trimproof", "prove", "--trace", "mcap", "--keep", "out"]).is_ok()
        );
        assert!(Cli::try_parse_from(["trimproof", "prove", "--threads", "0"]).is_err());
    }
}

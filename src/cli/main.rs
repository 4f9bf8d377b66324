//! `trimproof`: proves force-feel stick firmware against a physics twin before it is flashed.

mod args;
mod args_target;
mod args_view;
mod board;
mod commands;
mod exit;
mod find;
mod output;
mod report;
mod stop;
#[cfg(test)]
mod tests;

use args::{Cli, CliCommand};
use clap::Parser;
use exit::Exit;
use std::ffi::OsString;
use std::process::ExitCode;
use trimproof_diagnostics::{CELL_MAX, brief};

fn main() -> ExitCode {
    exit::guarded(|| {
        let args: Vec<OsString> = std::env::args_os().collect();
        let cli = match Cli::try_parse_from(&args) {
            Ok(cli) => cli,
            Err(error) => return say_usage(&args, error),
        };
        let paint = output::Paint::new(cli.color);
        let result = match &cli.command {
            CliCommand::Prove(args) => commands::prove::run(args, paint),
            CliCommand::Compare(args) => commands::compare::run(args),
            CliCommand::Signals(args) => commands::signals::run(args),
            CliCommand::Schema(args) => commands::schema::run(args),
            CliCommand::Completions(args) => commands::completions::run(args),
            CliCommand::Size(args) => commands::size::run(args, paint),
            CliCommand::Feel(args) => commands::feel::run(args, paint),
            CliCommand::Fit(args) => commands::fit::run(args, paint),
            CliCommand::Link(args) => commands::link::run(args, paint),
            CliCommand::Ports(args) => commands::ports::run(args),
            CliCommand::Watch(args) => commands::view::watch(args),
            CliCommand::Fly(args) => commands::view::fly(args, paint),
            CliCommand::Film(args) => commands::view::film(args),
        };
        result.unwrap_or_else(|failure| {
            report::print(&failure, paint);
            failure.exit()
        })
    })
    .into()
}

/// Prints help or version, or what is wrong with the arguments.
fn say_usage(args: &[OsString], error: clap::Error) -> Exit {
    let paint = output::Paint::new(output::ColorWhen::Auto);
    let text = |error: &clap::Error, coloured: bool| {
        let text = error.render();
        if coloured {
            text.ansi().to_string()
        } else {
            text.to_string()
        }
    };
    if !error.use_stderr() {
        return match output::emit(&text(&error, paint.out)).map_err(report::Failure::from) {
            Ok(()) => Exit::Pass,
            Err(failure) => {
                report::print(&failure, paint);
                failure.exit()
            }
        };
    }
    // A report of an earlier run must not stand for this one.
    commands::prove::remove_old_reports_of(args);
    // The message quotes arguments between lines of its own: they are made safe first, and refused
    // once more.
    let shown = args
        .iter()
        .map(|arg| brief(&arg.to_string_lossy(), CELL_MAX).into_owned());
    let error = Cli::try_parse_from(shown).err().unwrap_or(error);
    output::say(&text(&error, paint.err));
    Exit::Unusable
}

//! `trimproof`: proves force-feel stick firmware against a physics twin before it is flashed.

mod args;
mod args_view;
mod board;
mod commands;
mod exit;
mod find;
mod output;
mod report;
mod stop;

use args::{Cli, Command};
use clap::Parser;
use exit::Exit;
use std::process::ExitCode;

fn main() -> ExitCode {
    exit::guarded(|| {
        let cli = Cli::try_parse().unwrap_or_else(|error| {
            if error.use_stderr() {
                let args: Vec<_> = std::env::args_os().collect();
                commands::prove::remove_old_reports_of(&args);
            }
            error.exit()
        });
        let paint = output::Paint::new(cli.color);
        let result = match &cli.command {
            Command::Prove(args) => commands::prove::run(args, paint),
            Command::Compare(args) => commands::compare::run(args),
            Command::Signals(args) => commands::signals::run(args),
            Command::Schema(args) => commands::schema::run(args),
            Command::Completions(args) => commands::completions::run(args),
            Command::Size(args) => commands::size::run(args, paint),
            Command::Feel(args) => commands::feel::run(args, paint),
            Command::Fit(args) => commands::fit::run(args, paint),
            Command::Link(args) => commands::link::run(args, paint),
            Command::Ports(args) => commands::ports::run(args),
            Command::Watch(args) => commands::view::watch(args),
            Command::Fly(args) => commands::view::fly(args, paint),
            Command::Film(args) => commands::view::film(args),
        };
        result.unwrap_or_else(|failure| {
            report::print(&failure, paint);
            failure.exit()
        })
    })
    .into()
}

/// How a command ends: an exit code, or a failure to be reported.
type CommandResult = Result<Exit, report::Failure>;

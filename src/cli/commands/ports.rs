//! `ports`: serial ports that a board may be behind.

use crate::args::{Format, PortsArgs};
use crate::exit::Exit;
use crate::output::{emit, emit_json};
use crate::report::CommandResult;
use serde::Serialize;
use trimproof_harness::card::text;
use trimproof_link::{Candidate, ports};

#[derive(Serialize)]
struct Ports {
    form: u32,
    ports: Vec<Port>,
}

#[derive(Serialize)]
struct Port {
    name: String,
    about: String,
}

/// Runs the command.
///
/// # Errors
/// The system does not list its ports, or the list cannot be written.
pub fn run(args: &PortsArgs) -> CommandResult {
    let found = ports()?;
    match args.format {
        Format::Text => emit(&render(&found))?,
        Format::Json => emit_json(&Ports {
            form: 1,
            ports: found
                .into_iter()
                .map(|Candidate { name, about }| Port { name, about })
                .collect(),
        })?,
    }
    Ok(Exit::Pass)
}

/// The list for people, a port a line.
pub fn render(found: &[Candidate]) -> String {
    if found.is_empty() {
        return "no serial port; is the board plugged in?\n".to_owned();
    }
    let rows: Vec<Vec<String>> = found
        .iter()
        .map(|port| vec![format!("port:{}", port.name), port.about.clone()])
        .collect();
    text::table(&rows, &[false, false], 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ports_are_listed_as_they_are_named_on_the_command_line() {
        let port = |name: &str, about: &str| Candidate {
            name: name.to_owned(),
            about: about.to_owned(),
        };
        let shown = render(&[
            port("/dev/ttyACM0", "USB 1234:0001 board"),
            port("COM3", ""),
        ]);
        let lines: Vec<&str> = shown.lines().map(str::trim_end).collect();
        assert_eq!(
            lines,
            ["port:/dev/ttyACM0  USB 1234:0001 board", "port:COM3"]
        );
        assert!(render(&[]).contains("no serial port"));
    }
}

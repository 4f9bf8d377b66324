//! `link`: how good the link to a board is.

use crate::args::{Format, LinkArgs, WireArgs};
use crate::board::{LinkTraffic, TargetSource, write_traffic};
use crate::exit::Exit;
use crate::output::{Paint, emit, emit_json};
use crate::report::{self, CommandResult, Failure};
use crate::stop;
use serde::Serialize;
use std::fmt::Write;
use std::sync::atomic::Ordering;
use trimproof_controller::Settings;
use trimproof_diagnostics::line;
use trimproof_link::{Checked, Link, LinkError, check};

/// Longest bar of the histogram, characters.
const BAR: u64 = 50;

#[derive(Serialize)]
struct LinkReport<'a> {
    form: u32,
    exit_code: u8,
    on: String,
    identity: &'a str,
    tick_hz: u16,
    has_motors: bool,
    link: LinkTraffic,
    wall_s: f64,
    ticks_per_s: f64,
    bytes_a_tick: Option<f64>,
    baud: u32,
    wire_limit_ticks_per_s: Option<f64>,
    histogram: Vec<Octave>,
    #[serde(skip_serializing_if = "Option::is_none")]
    failed: Option<String>,
}

#[derive(Serialize)]
struct Octave {
    from_us: u64,
    below_us: u64,
    count: u64,
}

/// Runs the command.
///
/// # Errors
/// The board cannot be spoken to, or the result cannot be written.
pub fn run(args: &LinkArgs, paint: Paint) -> CommandResult {
    let source = TargetSource::open(&args.on, &args.wire, false, None)?;
    let Some(pool) = source.pool() else {
        return Err(Failure::Argument {
            message: "here there is no link to check".to_owned(),
            help: Some("use `--on image:FILE` or `--on port:NAME`".to_owned()),
        });
    };
    let stop = stop::on_signal();
    let mut link = pool.link()?;
    let mut settings = Settings::example();
    if link.greeting().tick_hz != 0 {
        settings.tick_hz = link.greeting().tick_hz;
    }
    let checked = check(&mut link, &settings, args.ticks, &|| {
        !stop.load(Ordering::Relaxed)
    });
    let mut exit = match &checked.failed {
        Some(LinkError::Stopped) => Exit::Stopped,
        Some(_) => Exit::Target,
        None if stop.load(Ordering::Relaxed) => Exit::Stopped,
        None => Exit::Pass,
    };
    if let Err((what, why)) = source.finish_log() {
        report::print(&Failure::CannotWrite { what, why }, paint);
        exit = Exit::CannotWrite;
    }
    let baud = args.wire.baud.unwrap_or(WireArgs::BAUD);
    match args.format {
        Format::Text => emit(&render(&link, &checked, baud))?,
        Format::Json => emit_json(&report(&link, &checked, baud, exit))?,
    }
    if let Some(error) = checked.failed {
        report::print(&Failure::Link(error), paint);
    }
    Ok(exit)
}

fn report<'a>(link: &'a Link, checked: &Checked, baud: u32, exit: Exit) -> LinkReport<'a> {
    let greeting = link.greeting();
    LinkReport {
        form: 1,
        exit_code: exit.code(),
        on: link.description(),
        identity: greeting.identity.as_str(),
        tick_hz: greeting.tick_hz,
        has_motors: greeting.has_motors,
        link: LinkTraffic::of(&checked.traffic),
        wall_s: checked.wall_s,
        ticks_per_s: checked.ticks_per_s(),
        bytes_a_tick: checked.bytes_a_tick(),
        baud,
        wire_limit_ticks_per_s: checked.wire_limit_per_s(baud),
        histogram: checked
            .traffic
            .round_trips
            .octaves()
            .into_iter()
            .map(|(from_us, below_us, count)| Octave {
                from_us,
                below_us,
                count,
            })
            .collect(),
        failed: checked.failed.as_ref().map(ToString::to_string),
    }
}

/// The report for people.
pub fn render(link: &Link, checked: &Checked, baud: u32) -> String {
    let greeting = link.greeting();
    let mut out = format!("on {}\n", line(&link.description()));
    let pace = match greeting.tick_hz {
        0 => "as many ticks a second as it is asked for".to_owned(),
        hz => format!("{hz} ticks a second"),
    };
    let motors = if greeting.has_motors {
        "motors, which stay off"
    } else {
        "no motors"
    };
    let _ = writeln!(
        out,
        "board {}: {pace}, {motors}",
        line(greeting.identity.as_str())
    );
    write_traffic(&mut out, &checked.traffic);
    let _ = writeln!(
        out,
        "  measured {:.0} ticks a second over {:.2} s",
        checked.ticks_per_s(),
        checked.wall_s
    );
    if let (Some(bytes), Some(limit)) = (checked.bytes_a_tick(), checked.wire_limit_per_s(baud)) {
        let _ = writeln!(
            out,
            "  {bytes:.1} bytes a tick, both ways; a wire of {baud} baud carries at most {limit:.0} ticks a second"
        );
    }
    let octaves = checked.traffic.round_trips.octaves();
    let most = octaves.iter().map(|octave| octave.2).max().unwrap_or(0);
    if most > 0 {
        let _ = writeln!(out, "\nround trips, µs");
    }
    for (from, below, count) in octaves {
        // Whatever occurred shows.
        let length = (count * BAR).div_ceil(most.max(1)) as usize;
        let _ = writeln!(
            out,
            "{}",
            format!("{from:>9} to {below:<9} {count:>9}  {}", "#".repeat(length)).trim_end()
        );
    }
    out
}

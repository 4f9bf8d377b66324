//! Arguments of the commands that show the stick: `watch`, `fly`, `film`.

use crate::args_target::TargetArgs;
use clap::{Args, value_parser};
use std::path::PathBuf;
use std::str::FromStr;

/// Names of the views.
const VIEWS: [&str; 8] = [
    "whole", "left", "behind", "above", "pitch", "roll", "grip", "across",
];

/// What is to be seen, and how.
#[derive(Args, Debug)]
pub struct SubjectArgs {
    /// A scenario, by file or by its name in `scenarios`, or a trace, NAME.csv or NAME.mcap
    #[arg(value_name = "SCENARIO|TRACE")]
    pub what: PathBuf,
    /// The rig: for a scenario one that it names [default: its first], for a trace the one that it
    /// was made on, by file or name
    #[arg(long, value_name = "RIG")]
    pub rig: Option<PathBuf>,
    /// For a trace: the scenario whose expectations are shown [default: the one of its name in
    /// `scenarios`]
    #[arg(long, value_name = "FILE")]
    pub scenario: Option<PathBuf>,
    #[command(flatten)]
    pub look: LookArgs,
}

/// What of it is shown first.
#[derive(Args, Debug)]
pub struct LookArgs {
    /// The view to begin with [default: for `film` across what moves, else whole]
    #[arg(long, value_name = "VIEW", value_parser = clap::builder::PossibleValuesParser::new(VIEWS))]
    pub view: Option<String>,
    /// Signals in the plots, with commas between [default: angles and forces of both axes]
    #[arg(long, value_name = "NAME,...", value_delimiter = ',')]
    pub signal: Vec<String>,
}

/// The window.
#[derive(Args, Debug)]
pub struct WindowArgs {
    /// Size of the window, px
    #[arg(long, value_name = "WxH", default_value = "1280x720")]
    pub size: Size,
    /// Close the window by itself after so many seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub close_after: Option<f64>,
    /// Print afterwards how fast frames came, what our own systems cost, and how much memory was
    /// taken
    #[arg(long)]
    pub costs: bool,
}

/// Arguments of `watch`.
#[derive(Args, Debug)]
pub struct WatchArgs {
    #[command(flatten)]
    pub subject: SubjectArgs,
    /// Times real time
    #[arg(long, value_name = "TIMES", default_value_t = 1.0, value_parser = speed)]
    pub speed: f64,
    /// Begin paused at this time, s
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub at: Option<f64>,
    #[command(flatten)]
    pub target: TargetArgs,
    #[command(flatten)]
    pub window: WindowArgs,
}

/// Arguments of `fly`.
#[derive(Args, Debug)]
pub struct FlyArgs {
    /// The rig: a file, or the name of a rig in `scenarios/rigs` or `rigs`
    pub rig: PathBuf,
    /// Keep the flight as a scenario in this file; without it, a button keeps it as flown.toml
    #[arg(long, value_name = "NAME.toml")]
    pub save: Option<PathBuf>,
    #[command(flatten)]
    pub look: LookArgs,
    #[command(flatten)]
    pub target: TargetArgs,
    #[command(flatten)]
    pub window: WindowArgs,
}

/// Arguments of `film`.
#[derive(Args, Debug)]
pub struct FilmArgs {
    #[command(flatten)]
    pub subject: SubjectArgs,
    /// Times of stills, s, with commas between
    #[arg(long, value_name = "S,...", value_delimiter = ',', value_parser = seconds)]
    pub at: Vec<f64>,
    /// A contact sheet of so many pictures
    #[arg(long, value_name = "COUNT", value_parser = value_parser!(u32).range(1..=64))]
    pub sheet: Option<u32>,
    /// An animated GIF of the whole run
    #[arg(long)]
    pub gif: bool,
    /// Pictures a second of the animation
    #[arg(long, value_name = "RATE", default_value_t = 15.0, value_parser = frames_per_s, requires = "gif")]
    pub fps: f64,
    /// Show what this expectation is about: its signals, its windows, its worst instant
    #[arg(long, value_name = "NAME", conflicts_with = "signal")]
    pub expect: Option<String>,
    /// Size of a picture, px [default: 1280x720, of those on a sheet alone 640x360]
    #[arg(long, value_name = "WxH")]
    pub size: Option<Size>,
    /// Folder of the pictures, which is made if it is missing
    #[arg(long, value_name = "DIR", default_value = "film")]
    pub into: PathBuf,
    /// Print afterwards how long it took
    #[arg(long)]
    pub costs: bool,
}

/// Width and height, px.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size(pub [u32; 2]);

/// Smallest and largest side, px.
const SIDES: [u32; 2] = [160, 3840];

impl FromStr for Size {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "it must be two whole numbers, {} to {}, as 640x360",
                SIDES[0], SIDES[1]
            )
        };
        let (width, height) = text.split_once('x').ok_or_else(wrong)?;
        let side = |text: &str| {
            text.parse()
                .ok()
                .filter(|side| (SIDES[0]..=SIDES[1]).contains(side))
                .ok_or_else(wrong)
        };
        Ok(Self([side(width)?, side(height)?]))
    }
}

fn number(text: &str, low: f64, high: f64) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| format!("it must be a number from {low} to {high}"))
}

fn speed(text: &str) -> Result<f64, String> {
    number(text, 0.05, 4.0)
}

fn seconds(text: &str) -> Result<f64, String> {
    number(text, 0.0, 3600.0)
}

fn frames_per_s(text: &str) -> Result<f64, String> {
    number(text, 0.1, 50.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_and_numbers_are_checked() {
        assert_eq!("640x360".parse(), Ok(Size([640, 360])));
        for bad in [
            "640",
            "640x",
            "x",
            "640x10",
            "99999x360",
            "-1x360",
            "640×360",
        ] {
            assert!(bad.parse::<Size>().is_err(), "{bad}");
        }
        assert_eq!(speed("0.05"), Ok(0.05));
        for bad in ["0", "5", "nan", "inf", "fast"] {
            assert!(speed(bad).is_err(), "{bad}");
        }
        assert!(frames_per_s("0").is_err());
    }

    #[cfg(feature = "viewer")]
    #[test]
    fn the_views_and_sizes_are_the_viewers() {
        use trimproof_viewer::{View, film};
        assert_eq!(VIEWS.to_vec(), View::ALL.map(View::name).to_vec());
        assert_eq!(SIDES, film::SIDES);
    }
}

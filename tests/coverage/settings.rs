//! Every setting of the controller is watched by an expectation: the controller gets a copy with
//! one setting changed, the twin and the expectations keep the rig as it is, and some scenario must
//! break.
//!
//! On sanderling, where no setting of roll is pitch's. [`search`] looks for the smallest change
//! that is caught, in either direction and with pitch's value in place of roll's;
//! [`witnesses_break`] runs what it found.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use toml::Value;
use trimproof_controller::{Inputs, Outputs, Settings};
use trimproof_harness::judge::judge;
use trimproof_harness::run::{LogicTarget, Target, TargetError, run_scenario};
use trimproof_harness::suite::Case;

use crate::tables::Table;
use crate::{assert_shown, in_parallel, skewed};

/// Smallest change of a setting that makes sense: a microstep, a share of a per cent, a count.
/// Times: one tick, see [`step`].
const STEPS: [(&str, i64); 30] = [
    ("tick_hz", 100),
    ("generator_hz", 400),
    ("supply_min_mv", 100),
    ("supply_lost_mv", 100),
    ("patience_ticks", 1),
    ("ticks_lost_max", 1),
    ("sensor_zero_counts", 2),
    ("sensor_span_counts", 20),
    ("sensor_span_mdeg", 200),
    ("sensor_min_counts", 10),
    ("sensor_max_counts", 10),
    ("sensor_rate_max_mdeg_per_s", 10_000),
    ("sensor_stuck_travel_mdeg", 20),
    ("filter_shift", 1),
    ("full_steps_per_rev", 4),
    ("microsteps", 1),
    ("motor_teeth", 1),
    ("trim_teeth", 1),
    ("phase_zero_usteps", 1),
    ("soft_min_mdeg", 40),
    ("soft_max_mdeg", 40),
    ("glide_rate_mdeg_per_s", 50),
    ("nudge_rate_mdeg_per_s", 30),
    ("accel_mdeg_per_s2", 250),
    ("nudge_increment_mdeg", 40),
    ("hold_on_mdeg", 50),
    ("deflection_max_mdeg", 50),
    ("slip_deflection_mdeg", 100),
    ("place_band_mdeg", 20),
    ("joystick_full_mdeg", 50),
];

/// How many of its steps a change is taken to before it counts as not caught.
const TIMES: [i64; 4] = [1, 4, 16, 64];

/// One changed setting.
#[derive(Clone, Debug)]
struct Change {
    /// Dotted path inside `[controller]`.
    path: String,
    /// `up`, `down` or `pitch's`.
    how: &'static str,
    /// The settings, from the nearest change to the furthest, each with the change as text.
    tries: Vec<(String, Settings)>,
}

/// The changed settings in place of the rig's.
struct Changed {
    inner: LogicTarget,
    settings: Settings,
}

impl Target for Changed {
    fn identity(&self) -> String {
        self.inner.identity()
    }

    fn begin(&mut self, _settings: &Settings) -> Result<(), TargetError> {
        self.inner.begin(&self.settings)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        self.inner.tick(inputs)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.inner.reset()
    }
}

/// The first expectation that breaks with these settings.
fn broken(case: &Case, settings: &Settings) -> Option<String> {
    let mut target = Changed {
        inner: LogicTarget::new(),
        settings: *settings,
    };
    let run = run_scenario(&case.rig, &case.scenario, &mut target, &mut |_| true);
    assert_eq!(run.cut, None, "{}", case.label());
    judge(&case.rig, &case.scenario, &run.trace)
        .into_iter()
        .find(|judgement| !judgement.held)
        .map(|judgement| judgement.name)
}

/// Every whole number of the settings by its dotted path.
fn numbers(settings: &Settings) -> BTreeMap<String, i64> {
    let mut found = BTreeMap::new();
    let table = Value::try_from(settings).expect("settings are a table");
    for (key, value) in table.as_table().expect("settings are a table") {
        match value {
            Value::Table(axis) => {
                for (name, value) in axis {
                    let value = value.as_integer().expect("a whole number");
                    found.insert(format!("{key}.{name}"), value);
                }
            }
            value => {
                found.insert(key.clone(), value.as_integer().expect("a whole number"));
            }
        }
    }
    found
}

/// The settings with one number replaced; `None` if the controller refuses them.
fn with(settings: &Settings, path: &str, number: i64) -> Option<Settings> {
    let mut table = Value::try_from(settings).expect("settings are a table");
    let place = path
        .split('.')
        .fold(&mut table, |place, key| &mut place[key]);
    *place = Value::Integer(number);
    let changed: Settings = table.try_into().ok()?;
    changed.check().is_ok().then_some(changed)
}

/// The change of a setting by so many of its steps, up or down.
fn step(settings: &Settings, path: &str, value: i64, times: i64, up: bool) -> i64 {
    let name = path.rsplit('.').next().expect("a path has a name");
    if name.ends_with("_ms") {
        // Times count in whole ticks, rounded up: the nearest value that makes so many ticks more
        // or less.
        let hz = i64::from(settings.tick_hz);
        let ticks = |ms: i64| (ms * hz + 999).div_euclid(1000);
        let wanted = ticks(value) + if up { times } else { -times };
        let mut ms = value;
        while ticks(ms) != wanted && ms > 0 && ms < 10_000_000 {
            ms += if up { 1 } else { -1 };
        }
        return ms - value;
    }
    let known = STEPS.iter().find(|(known, _)| *known == name);
    let (_, one) = known.unwrap_or_else(|| panic!("no step for `{name}`"));
    if up { one * times } else { -one * times }
}

fn changes(settings: &Settings) -> Vec<Change> {
    let numbers = numbers(settings);
    let mut found = Vec::new();
    for (path, &value) in &numbers {
        for (how, up) in [("up", true), ("down", false)] {
            let tries = TIMES
                .iter()
                .filter_map(|&times| {
                    let by = step(settings, path, value, times, up);
                    let changed = with(settings, path, value + by)?;
                    Some((format!("{by:+}"), changed))
                })
                .collect();
            found.push(Change {
                path: path.clone(),
                how,
                tries,
            });
        }
        if let Some(name) = path.strip_prefix("roll.") {
            let pitchs = numbers[&format!("pitch.{name}")];
            let tries =
                with(settings, path, pitchs).map(|changed| (format!("pitch's {pitchs}"), changed));
            found.push(Change {
                path: path.clone(),
                how: "pitch's",
                tries: tries.into_iter().collect(),
            });
        }
    }
    found
}

/// The smallest change that is caught, and by what.
pub fn search(cases: &[Case]) -> Table {
    let mut cases = skewed(cases);
    cases.sort_by(|a, b| a.scenario.length_s.total_cmp(&b.scenario.length_s));
    let changes = changes(&cases[0].rig.controller);
    let caught = in_parallel(&changes, |change| {
        change.tries.iter().find_map(|(by, settings)| {
            cases.iter().find_map(|case| {
                let expectation = broken(case, settings)?;
                Some((by.clone(), case.name.clone(), expectation))
            })
        })
    });
    let mut text = String::from(
        "the smallest change of the controller's copy that breaks an expectation, on sanderling\n\
         | setting | change | scenario | expectation |\n",
    );
    let mut cells = Vec::new();
    for (change, caught) in changes.iter().zip(&caught) {
        let key = vec![change.path.clone(), change.how.to_owned()];
        cells.push((key, usize::from(caught.is_some())));
        let (by, scenario, expectation) = match caught {
            Some((by, scenario, expectation)) => (by.as_str(), scenario.as_str(), expectation),
            None if change.tries.is_empty() => (change.how, "refused", &String::new()),
            None => (change.how, "-", &String::new()),
        };
        let _ = writeln!(
            text,
            "| {} | {by} | {scenario} | {expectation} |",
            change.path
        );
    }
    Table { text, cells }
}

/// Runs every witness of the reviewed table.
pub fn witnesses_break(cases: &[Case]) {
    let file =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("snapshots/coverage__settings.snap");
    let table = std::fs::read_to_string(file).expect("the reviewed table is there");
    // Behind the head that insta writes. Looked at as a snapshot too, so that it counts as used.
    let table = table.splitn(3, "---\n").nth(2).expect("it has a head");
    assert_shown("settings", table);
    let cases = skewed(cases);
    let settings = cases[0].rig.controller;
    let numbers = numbers(&settings);
    let rows: Vec<Vec<&str>> = table
        .lines()
        .filter_map(|line| line.strip_prefix("| ")?.strip_suffix(" |"))
        .map(|line| line.split(" | ").collect())
        .filter(|cells: &Vec<&str>| cells.len() == 4 && cells[0] != "setting")
        .collect();
    let rows_of = |path: &str| rows.iter().filter(|row| row[0] == path).count();
    for path in numbers.keys() {
        assert!(
            rows_of(path) >= 2,
            "`{path}` is not in the table: run every_setting_has_a_witness"
        );
    }
    let rows: Vec<_> = rows
        .into_iter()
        .filter(|row| !matches!(row[2], "-" | "refused"))
        .collect();
    assert!(rows.len() >= 100, "{} witnesses", rows.len());
    let kept = in_parallel(&rows, |row| {
        let [path, by, scenario, expectation] = row[..] else {
            unreachable!("four cells")
        };
        let value = match by.strip_prefix("pitch's ") {
            Some(value) => value.parse::<i64>().expect("a whole number"),
            None => numbers[path] + by.parse::<i64>().expect("a change"),
        };
        let case = cases.iter().find(|case| case.name == scenario)?;
        let changed = with(&settings, path, value)?;
        let found = broken(case, &changed);
        (found.as_deref() == Some(expectation)).then_some(())
    });
    let lost: Vec<_> = rows
        .iter()
        .zip(&kept)
        .filter(|(_, kept)| kept.is_none())
        .map(|(row, _)| row.join(" | "))
        .collect();
    assert!(
        lost.is_empty(),
        "no longer caught so; run every_setting_has_a_witness:\n{}",
        lost.join("\n")
    );
}

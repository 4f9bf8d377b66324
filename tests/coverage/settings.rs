//! Every setting of the controller is watched by an expectation or a law: the controller gets a
//! copy with one setting changed, the twin and the expectations keep the rig as it is, and some
//! scenario must break.
//!
//! On sanderling, where no setting of roll is pitch's. [`search`] looks for the smallest change
//! that is caught, in either direction and with pitch's value in place of roll's;
//! [`witnesses_break`] runs what it found. A setting of which nothing notices its smallest step
//! needs a reason, as one of which nothing notices any.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use toml::Value;
use trimproof_controller::{Controller, Settings};
use trimproof_harness::judge::judge;
use trimproof_harness::laws::judge_laws;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{LogicTarget, Target, TargetError, run_scenario};
use trimproof_harness::suite::Case;
use trimproof_io::{Inputs, Outputs};

use crate::observe::Heard;
use crate::tables::Table;
use crate::{Ran, assert_shown, in_parallel, reasons};

/// Smallest change of a setting that makes sense: a microstep, a share of a per cent, a count, a
/// millivolt. Times: one tick, see [`step`].
const STEPS: [(&str, i64); 30] = [
    ("tick_hz", 100),
    ("generator_hz", 400),
    ("supply_min_mv", 1),
    ("supply_lost_mv", 1),
    ("command_timeout_ticks", 1),
    ("ticks_lost_max", 1),
    ("sensor_zero_counts", 2),
    ("sensor_span_counts", 20),
    ("sensor_span_mdeg", 200),
    ("sensor_min_counts", 1),
    ("sensor_max_counts", 1),
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
    ("hold_on_mdeg", 40),
    ("deflection_max_mdeg", 50),
    ("slip_deflection_mdeg", 100),
    ("position_band_mdeg", 20),
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
    /// From the nearest change to the furthest.
    tries: Vec<Try>,
}

#[derive(Clone, Debug)]
struct Try {
    /// The change as text.
    by: String,
    /// How many smallest steps that is, as text; `-` for pitch's value.
    steps: String,
    settings: Settings,
}

/// What notices a change.
struct Witness {
    by: String,
    steps: String,
    scenario: String,
    /// The expectation or law that breaks.
    breaks: String,
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

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.inner.begin(&RigFile {
            controller: Some(self.settings),
            ..rig.clone()
        })
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        self.inner.tick(inputs)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.inner.reset()
    }
}

/// The first expectation or law that breaks with these settings.
fn broken(case: &Case, settings: &Settings) -> Option<String> {
    let mut target = Changed {
        inner: LogicTarget::new(),
        settings: *settings,
    };
    let run = run_scenario(&case.rig, &case.scenario, &mut target, &mut |_| true);
    if let Some(abort) = run.end.aborted() {
        return Some(format!("(aborted: {})", abort.part));
    }
    assert_eq!(run.end.cut(), None, "{}", case.label());
    let expectation = judge(&case.rig, &case.scenario, &run.trace)
        .into_iter()
        .find(|judgement| judgement.fails())
        .map(|judgement| judgement.name);
    expectation.or_else(|| {
        judge_laws(&case.laws, &case.scenario, &case.rig, &run.trace)
            .into_iter()
            .find(|law| law.fails())
            .map(|law| format!("law {}", law.name))
    })
}

/// Whether a controller with these settings answers otherwise than with `right` to what went to it
/// in a run. If not, the run with them is the same, bit for bit, and need not be made.
fn differs(ran: &Ran, settings: &Settings) -> bool {
    let new = |settings: &Settings| Controller::new(*settings).expect("checked settings");
    let right = &settings_of(&ran.rig);
    let (mut with, mut without) = (new(settings), new(right));
    ran.heard.iter().any(|heard| match heard {
        Heard::Reset => {
            (with, without) = (new(settings), new(right));
            false
        }
        Heard::Tick(inputs) => with.tick(inputs) != without.tick(inputs),
    })
}

fn settings_of(rig: &RigFile) -> Settings {
    rig.controller.expect("the rig has settings")
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
                    let settings = with(settings, path, value + by)?;
                    let by = format!("{by:+}");
                    Some(Try {
                        by,
                        steps: times.to_string(),
                        settings,
                    })
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
            let tries = with(settings, path, pitchs).map(|settings| Try {
                by: format!("{:+}", pitchs - value),
                steps: "-".to_owned(),
                settings,
            });
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
///
/// `cases` and `runs` belong together. For each setting the scenarios of the table as it stands are
/// tried first, then the others, the shortest first.
pub fn search(cases: &[Case], runs: &[Ran]) -> Table {
    let mut candidates: Vec<(&Case, &Ran)> = on_the_skewed_rig(cases, runs).collect();
    candidates.sort_by(|(a, _), (b, _)| {
        let (a, b) = (&a.scenario, &b.scenario);
        a.length_s.total_cmp(&b.length_s).then(a.name.cmp(&b.name))
    });
    let table = std::fs::read_to_string(reviewed()).unwrap_or_default();
    let known = rows(&table);
    let changes = changes(&settings_of(&candidates[0].0.rig));
    let caught = in_parallel(&changes, |change| {
        let likely = |case: &Case| {
            let mut rows = known.iter();
            rows.any(|row| row[0] == change.path && row.contains(&case.name.as_str()))
        };
        let (mut ordered, others): (Vec<_>, Vec<_>) =
            candidates.iter().partition(|(case, _)| likely(case));
        ordered.extend(others);
        let witness = change.tries.iter().find_map(|one| {
            ordered.iter().find_map(|(case, ran)| {
                let breaks = differs(ran, &one.settings)
                    .then(|| broken(case, &one.settings))
                    .flatten()?;
                Some(Witness {
                    by: one.by.clone(),
                    steps: one.steps.clone(),
                    scenario: case.name.clone(),
                    breaks,
                })
            })
        });
        eprintln!(
            "{} {}: {}",
            change.path,
            change.how,
            witness.as_ref().map_or("-", |witness| &witness.by)
        );
        witness
    });
    let mut text = String::from(
        "the smallest change of the controller's copy that breaks an expectation or a law, on sanderling\n\
         | setting | towards | change | smallest steps | scenario | breaks |\n",
    );
    for (change, caught) in changes.iter().zip(&caught) {
        let _ = match caught {
            Some(witness) => writeln!(
                text,
                "| {} | {} | {} | {} | {} | {} |",
                change.path,
                change.how,
                witness.by,
                witness.steps,
                witness.scenario,
                witness.breaks
            ),
            None => {
                let why = if change.tries.is_empty() {
                    REFUSED
                } else {
                    "-"
                };
                writeln!(
                    text,
                    "| {} | {} | {why} | - | - | - |",
                    change.path, change.how
                )
            }
        };
    }
    let cells = cells(&rows(&text));
    Table { text, cells }
}

/// Stands for a change that the controller refuses as it starts.
const REFUSED: &str = "refused";

fn reviewed() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("snapshots/coverage__settings.snap")
}

/// The cells of every row of the table.
fn rows(table: &str) -> Vec<Vec<&str>> {
    table
        .lines()
        .filter_map(|line| line.strip_prefix("| ")?.strip_suffix(" |"))
        .map(|line| line.split(" | ").collect())
        .filter(|row: &Vec<&str>| row[0] != "setting")
        .collect()
}

/// What needs a reason if it is 0: a change that nothing notices, and one that is not noticed by
/// its smallest step.
fn cells(rows: &[Vec<&str>]) -> Vec<(Vec<String>, usize)> {
    let cell = |row: &[&str], which: &str, met: bool| {
        let key = [row[0], row[1], which].map(str::to_owned).to_vec();
        (key, usize::from(met))
    };
    let mut cells = Vec::new();
    for row in rows {
        cells.push(cell(row, "at all", row[2] != "-"));
        if !matches!(row[2], "-" | REFUSED) && row[3] != "-" {
            cells.push(cell(row, "by its smallest step", row[3] == "1"));
        }
    }
    cells
}

/// The cases of the rig on which no setting of roll is pitch's, with their runs.
fn on_the_skewed_rig<'a>(
    cases: &'a [Case],
    runs: &'a [Ran],
) -> impl Iterator<Item = (&'a Case, &'a Ran)> {
    let pairs = cases.iter().zip(runs);
    pairs.filter(|(case, _)| case.rig_name == "sanderling")
}

/// Runs every witness of the reviewed table.
pub fn witnesses_break(cases: &[Case], runs: &[Ran]) {
    let table = std::fs::read_to_string(reviewed()).expect("the reviewed table is there");
    // Behind the head that insta writes. Looked at as a snapshot too, so that it counts as used.
    let table = table.splitn(3, "---\n").nth(2).expect("it has a head");
    assert_shown("settings", table);
    let rows = rows(table);
    reasons::hold("setting", &cells(&rows));
    let cases: BTreeMap<&str, (&Case, &Ran)> = on_the_skewed_rig(cases, runs)
        .map(|(case, ran)| (case.name.as_str(), (case, ran)))
        .collect();
    let (any, _) = cases.values().next().expect("sanderling has scenarios");
    let settings = settings_of(&any.rig);
    let wanted = changes(&settings);
    let missing: Vec<String> = wanted
        .iter()
        .filter(|change| {
            !rows
                .iter()
                .any(|row| row[0] == change.path && row[1] == change.how)
        })
        .map(|change| format!("{} {}", change.path, change.how))
        .collect();
    assert!(missing.is_empty(), "not in the table: {missing:?}; {AGAIN}");
    let numbers = numbers(&settings);
    let kept = in_parallel(&rows, |row| {
        let [path, how, by, _, scenario, breaks] = row[..] else {
            panic!("a row of six cells: {row:?}")
        };
        let change = wanted
            .iter()
            .find(|change| change.path == path && change.how == how)?;
        if by == REFUSED || by == "-" {
            return (change.tries.is_empty() == (by == REFUSED)).then_some(());
        }
        let changed = with(&settings, path, numbers[path] + by.parse::<i64>().ok()?)?;
        let (case, _) = cases.get(scenario)?;
        (broken(case, &changed).as_deref() == Some(breaks)).then_some(())
    });
    let lost: Vec<_> = rows
        .iter()
        .zip(&kept)
        .filter(|(_, kept)| kept.is_none())
        .map(|(row, _)| row.join(" | "))
        .collect();
    assert!(
        lost.is_empty(),
        "no longer so; {AGAIN}:\n{}",
        lost.join("\n")
    );
}

/// What to do when the table is out of date.
const AGAIN: &str = "search anew: INSTA_UPDATE=always cargo test --test coverage -- --ignored";

//! What a scenario must keep to beyond its shape: order of time, what needs what, names.

use std::cell::RefCell;

use trimproof_diagnostics::{FileError, locate};
use trimproof_plant::{AxisName, FaultKind, SwitchName};

use super::{Event, Expectation, LawException, Scenario, is_kebab};

/// Slack when times are added up, s: far above the rounding of sums below an hour (1e-12), far
/// below a tick.
const SLACK_S: f64 = 1e-9;

/// Notes a fault of one entry and goes on with the next.
macro_rules! fault {
    ($checker:expr, $error:expr) => {{
        $checker.note($error);
        continue;
    }};
}

/// Checks `scenario`, which was read from `text`; gives everything that is wrong.
pub(super) fn check(text: &str, scenario: &Scenario) -> Vec<FileError> {
    let checker = Checker {
        text,
        noted: RefCell::default(),
    };
    for checked in [
        checker.rigs("rigs", &scenario.rigs),
        checker.times(scenario),
        checker.hand(&scenario.events),
        checker.switches(&scenario.events),
        checker.supply(&scenario.events),
        checker.faults(&scenario.events),
        checker.expectations(scenario),
        checker.exceptions(scenario),
    ] {
        checker.take(checked);
    }
    checker.noted.into_inner()
}

/// A sum of times without the rounding in its last digits, for messages.
fn tidy(seconds: f64) -> f64 {
    (seconds * 1e9).round() / 1e9
}

struct Checker<'a> {
    text: &'a str,
    noted: RefCell<Vec<FileError>>,
}

impl Checker<'_> {
    fn note(&self, fault: FileError) {
        self.noted.borrow_mut().push(fault);
    }

    fn take(&self, checked: Result<(), FileError>) {
        if let Err(fault) = checked {
            self.note(fault);
        }
    }

    fn at(&self, path: &str, message: String) -> FileError {
        FileError::at(self.text, path, message)
    }

    fn event(&self, index: usize, key: &str, message: String) -> FileError {
        self.at(&format!("do[{index}].{key}"), message)
    }

    fn rigs(&self, path: &str, rigs: &[String]) -> Result<(), FileError> {
        for (index, rig) in rigs.iter().enumerate() {
            let at = |message: String| self.at(&format!("{path}[{index}]"), message);
            if !is_kebab(rig) {
                let help =
                    "a rig is named by the stem of its file: lower-case letters, digits, hyphens";
                fault!(
                    self,
                    at(format!("`{rig}` is no name of a rig")).with_help(help)
                );
            }
            if rigs[..index].contains(rig) {
                fault!(self, at(format!("rig `{rig}` is named twice")));
            }
        }
        Ok(())
    }

    /// Order of time, and nothing after the end.
    fn times(&self, scenario: &Scenario) -> Result<(), FileError> {
        let mut previous_s = 0.0;
        for (index, event) in scenario.events.iter().enumerate() {
            let (at_s, length_s) = (event.at_s(), scenario.length_s);
            if at_s < previous_s {
                let message =
                    format!("`at_s` is `{at_s}`, before the entry above it at `{previous_s}` s");
                let help = "put the `[[do]]` entries in order of time";
                fault!(self, self.event(index, "at_s", message).with_help(help));
            }
            previous_s = at_s;
            let help = format!("the scenario's `length_s` is `{length_s}`");
            if at_s >= length_s {
                let message =
                    format!("`at_s` is `{at_s}`, it must be before the end at `{length_s}` s");
                fault!(self, self.event(index, "at_s", message).with_help(help));
            }
            let ends_s = at_s + event.lasts_s();
            if ends_s > length_s + SLACK_S {
                let key = match event {
                    Event::Carry { .. } | Event::Supply { .. } => "over_s",
                    Event::Press { .. } | Event::LetGo { .. } => "bounce_s",
                    _ => "for_s",
                };
                let message = format!(
                    "`{}` ends at `{}` s, after the end at `{length_s}` s",
                    event.what(),
                    tidy(ends_s)
                );
                fault!(self, self.event(index, key, message).with_help(help));
            }
        }
        Ok(())
    }

    /// What the hand can do one thing after the other.
    fn hand(&self, events: &[Event]) -> Result<(), FileError> {
        let mut gripped_at_s = None;
        let mut carried_until_s = [0.0_f64; 2];
        let mut pushed_until_s = [0.0_f64; 2];
        for (index, event) in events.iter().enumerate() {
            let refuse = |message: String| self.event(index, "what", message);
            match event {
                Event::Grip { at_s, .. } => {
                    if let Some(since_s) = gripped_at_s {
                        let message = format!("the hand has the grip already, since `{since_s}` s");
                        fault!(
                            self,
                            refuse(message).with_help("let go before it with `let_go_stick`")
                        );
                    }
                    gripped_at_s = Some(*at_s);
                    carried_until_s = [*at_s; 2];
                }
                Event::LetGoStick { .. } if gripped_at_s.take().is_none() => {
                    let message = "`let_go_stick` without a grip".to_owned();
                    fault!(
                        self,
                        refuse(message).with_help("take the grip before it with `grip`")
                    );
                }
                Event::Carry {
                    at_s,
                    pitch_deg,
                    roll_deg,
                    over_s,
                    ..
                } => {
                    if gripped_at_s.is_none() {
                        let message = "`carry` without a grip".to_owned();
                        fault!(
                            self,
                            refuse(message).with_help("take the grip before it with `grip`")
                        );
                    }
                    let axes = [pitch_deg.is_some(), roll_deg.is_some()];
                    self.take(self.axes(index, axes, ["pitch_deg", "roll_deg"]));
                    self.take(self.span(index, axes, *at_s, *over_s, &mut carried_until_s));
                }
                Event::Push {
                    at_s,
                    pitch_n,
                    roll_n,
                    rise_s,
                    for_s,
                } => {
                    let axes = [pitch_n.is_some(), roll_n.is_some()];
                    self.take(self.axes(index, axes, ["pitch_n", "roll_n"]));
                    if rise_s > for_s {
                        let message = format!(
                            "`rise_s` is `{rise_s}`, it must be at most `for_s`, which is `{for_s}`"
                        );
                        fault!(self, self.event(index, "rise_s", message));
                    }
                    self.take(self.span(index, axes, *at_s, *for_s, &mut pushed_until_s));
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn axes(&self, index: usize, axes: [bool; 2], keys: [&str; 2]) -> Result<(), FileError> {
        if axes.contains(&true) {
            return Ok(());
        }
        let message = format!("neither `{}` nor `{}` is given", keys[0], keys[1]);
        Err(self
            .event(index, "what", message)
            .with_help("give one of them or both"))
    }

    /// No two of the same kind at once on one axis.
    fn span(
        &self,
        index: usize,
        axes: [bool; 2],
        at_s: f64,
        lasts_s: f64,
        until_s: &mut [f64; 2],
    ) -> Result<(), FileError> {
        for axis in AxisName::ALL {
            let until_s = &mut until_s[axis.index()];
            if !axes[axis.index()] {
                continue;
            }
            if at_s < *until_s - SLACK_S {
                let message = format!(
                    "this begins before the one above it on {} is over at `{}` s",
                    axis.name(),
                    tidy(*until_s)
                );
                fault!(self, self.event(index, "at_s", message));
            }
            *until_s = at_s + lasts_s;
        }
        Ok(())
    }

    /// Presses and let goes in turn, none within another's bounce.
    fn switches(&self, events: &[Event]) -> Result<(), FileError> {
        let mut pressed_at_s = [None; SwitchName::ALL.len()];
        let mut busy_until_s = [0.0_f64; SwitchName::ALL.len()];
        for (index, event) in events.iter().enumerate() {
            let (at_s, switch) = match event {
                Event::Press { at_s, switch, .. } | Event::LetGo { at_s, switch, .. } => {
                    (*at_s, *switch)
                }
                Event::Hold { at_s, switch, .. } => (*at_s, *switch),
                _ => continue,
            };
            let (name, pressed) = (switch.name(), &mut pressed_at_s[switch.index()]);
            let busy_until_s = &mut busy_until_s[switch.index()];
            let refuse = |message: String| self.event(index, "switch", message);
            match (event, *pressed) {
                (Event::LetGo { .. }, None) => {
                    let help =
                        "press it before with `press`, or use `hold`, which lets go by itself";
                    fault!(
                        self,
                        refuse(format!("`{name}` is let go but not pressed")).with_help(help)
                    );
                }
                (Event::Press { .. } | Event::Hold { .. }, Some(since_s)) => {
                    let message = format!("`{name}` is pressed already, since `{since_s}` s");
                    fault!(
                        self,
                        refuse(message).with_help("let it go before it with `let_go`")
                    );
                }
                _ => {}
            }
            if at_s < *busy_until_s - SLACK_S {
                let message = format!(
                    "`{name}` is still held or bouncing until `{}` s",
                    tidy(*busy_until_s)
                );
                fault!(self, self.event(index, "at_s", message));
            }
            if let Event::Hold {
                for_s, bounce_s, ..
            } = event
            {
                let bounce_sum_s: f64 = bounce_s.iter().sum();
                if bounce_sum_s > for_s + SLACK_S {
                    let message = format!(
                        "the bounce takes `{}` s, longer than `for_s`, which is `{for_s}`",
                        tidy(bounce_sum_s)
                    );
                    fault!(self, self.event(index, "bounce_s", message));
                }
            }
            *pressed = matches!(event, Event::Press { .. }).then_some(at_s);
            *busy_until_s = at_s + event.lasts_s();
        }
        Ok(())
    }

    /// One thing at a time with the source.
    fn supply(&self, events: &[Event]) -> Result<(), FileError> {
        let mut until_s = 0.0;
        for (index, event) in events.iter().enumerate() {
            if !matches!(event, Event::Supply { .. } | Event::Dip { .. }) {
                continue;
            }
            if event.at_s() < until_s - SLACK_S {
                let message = format!(
                    "this begins before the last change of the supply is over at `{}` s",
                    tidy(until_s)
                );
                fault!(self, self.event(index, "at_s", message));
            }
            until_s = event.at_s() + event.lasts_s();
        }
        Ok(())
    }

    fn faults(&self, events: &[Event]) -> Result<(), FileError> {
        for (index, event) in events.iter().enumerate() {
            let Event::Fault { fault, for_s, .. } = event else {
                continue;
            };
            if let Err((key, message)) = fault.check() {
                fault!(self, self.event(index, &format!("fault.{key}"), message));
            }
            if fault.is_instant() && for_s.is_some() {
                let message = format!(
                    "`{}` happens in an instant, it takes no `for_s`",
                    fault.name()
                );
                fault!(
                    self,
                    self.event(index, "for_s", message)
                        .with_help("leave `for_s` out")
                );
            }
        }
        self.fault_overlaps(events)
    }

    /// No two faults at once that change the same part: the end of one would mend the other too, or
    /// one would hide the other.
    fn fault_overlaps(&self, events: &[Event]) -> Result<(), FileError> {
        /// A fault under way: its place among the events, what it is and when it ends (infinity:
        /// never).
        struct Active<'a> {
            index: usize,
            fault: &'a FaultKind,
            until_s: f64,
        }
        let mut active: Vec<Active<'_>> = Vec::new();
        for (index, event) in events.iter().enumerate() {
            let Event::Fault { at_s, fault, for_s } = event else {
                continue;
            };
            if fault.is_instant() {
                continue;
            }
            let clash = active
                .iter()
                .find(|other| other.fault.excludes(fault) && *at_s < other.until_s - SLACK_S);
            if let Some(other) = clash {
                let since = format!(
                    "`{}` of {} since `{}` s (line {})",
                    other.fault.name(),
                    other.fault.part(),
                    events[other.index].at_s(),
                    self.line(other.index),
                );
                let (ends, help) = if other.until_s.is_finite() {
                    (
                        format!("until `{}` s", tidy(other.until_s)),
                        format!("begin at `{}` s or later", tidy(other.until_s)),
                    )
                } else {
                    (
                        "to the end, for it has no `for_s`".to_owned(),
                        format!(
                            "give the fault in line {} a `for_s`",
                            self.line(other.index)
                        ),
                    )
                };
                let message = format!(
                    "`{}` begins at `{at_s}` s within {since}, which lasts {ends}",
                    fault.name(),
                );
                self.note(self.event(index, "at_s", message).with_help(help));
            }
            active.push(Active {
                index,
                fault,
                until_s: for_s.map_or(f64::INFINITY, |for_s| at_s + for_s),
            });
        }
        Ok(())
    }

    /// Line of an event's time in the file, counted from 1.
    fn line(&self, index: usize) -> usize {
        let start = locate(self.text, &format!("do[{index}].at_s")).map_or(0, |span| span.start);
        self.text
            .bytes()
            .take(start)
            .filter(|byte| *byte == b'\n')
            .count()
            + 1
    }

    fn expectations(&self, scenario: &Scenario) -> Result<(), FileError> {
        for (index, Expectation { name, rigs, .. }) in scenario.expect.iter().enumerate() {
            if scenario.expect[..index]
                .iter()
                .any(|other| other.name == *name)
            {
                let message = format!("two expectations are called `{name}`");
                fault!(
                    self,
                    self.at(&format!("expect[{index}].name"), message)
                        .with_help("give each its own name")
                );
            }
            self.chosen_rigs(&format!("expect[{index}].rigs"), rigs.as_deref(), scenario);
        }
        Ok(())
    }

    fn exceptions(&self, scenario: &Scenario) -> Result<(), FileError> {
        for (index, LawException { law, rigs, .. }) in scenario.except.iter().enumerate() {
            self.chosen_rigs(&format!("except[{index}].rigs"), rigs.as_deref(), scenario);
            let meets = |other: &LawException| match (rigs, &other.rigs) {
                (Some(rigs), Some(others)) => rigs.iter().any(|rig| others.contains(rig)),
                _ => true,
            };
            let twice = |other: &LawException| other.law == *law && meets(other);
            if scenario.except[..index].iter().any(twice) {
                let message = format!("the law `{law}` is excepted twice");
                fault!(self, self.at(&format!("except[{index}].law"), message));
            }
        }
        Ok(())
    }

    /// The rigs that a part of the file is for: each one of the scenario's. Notes what is wrong.
    fn chosen_rigs(&self, path: &str, rigs: Option<&[String]>, scenario: &Scenario) {
        let Some(rigs) = rigs else { return };
        self.take(self.rigs(path, rigs));
        for (place, rig) in rigs.iter().enumerate() {
            if !scenario.rigs.contains(rig) {
                let known = scenario
                    .rigs
                    .iter()
                    .map(|rig| format!("`{rig}`"))
                    .collect::<Vec<_>>()
                    .join(", ");
                let message = format!("`{rig}` is not among the scenario's rigs");
                self.note(
                    self.at(&format!("{path}[{place}]"), message)
                        .with_help(format!("they are: {known}")),
                );
            }
        }
    }
}

//! The timeline of a card: what was done, what the controller made of it, when.

use super::text::fixed;
use super::text::{WIDTH, state_name};
use crate::scenario::{Event, Scenario};
use std::fmt::Write;
use trimproof_formula::Signals;
use trimproof_io::Fault;

/// After so many changes of one switch-like signal the rest is only counted.
const CHANGES_LISTED: usize = 8;

/// Contacts with less than this between them are one, s: a bumper that chatters is one event to a
/// reader.
const CONTACT_GAP_S: f64 = 0.1;

struct Entry {
    at_s: f64,
    kind: &'static str,
    words: String,
}

/// Renders the timeline, in order of time; at one instant events come before what follows from
/// them.
pub(super) fn render(scenario: &Scenario, signals: &dyn Signals) -> String {
    let mut entries: Vec<Entry> = scenario
        .events
        .iter()
        .map(|event| Entry {
            at_s: event.at_s(),
            kind: "do",
            words: describe(event),
        })
        .collect();
    state_changes(&mut entries, signals);
    for fault in Fault::ALL {
        flag_changes(&mut entries, signals, fault.name());
    }
    contacts(&mut entries, signals);
    // Stable: at equal times the order is that of the passes above.
    entries.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let mut out = String::new();
    for entry in entries {
        let line = format!(
            "{:>9} s  {:<7} {}",
            fixed(entry.at_s, 3),
            entry.kind,
            entry.words
        );
        if line.chars().count() > WIDTH {
            out.extend(line.chars().take(WIDTH - 3));
            out.push_str("...\n");
        } else {
            let _ = writeln!(out, "{line}");
        }
    }
    out
}

fn describe(event: &Event) -> String {
    let Event::Fault { fault, for_s, .. } = event else {
        return event.to_string();
    };
    let mut words = format!("fault {}", fault.name());
    // Which axis, which switch, how much: whatever the kind of fault carries.
    if let Ok(serde_json::Value::Object(values)) = serde_json::to_value(fault) {
        for (key, value) in values.iter().filter(|(key, _)| *key != "kind") {
            let _ = match value.as_str() {
                Some(name) => write!(words, " {key} {name}"),
                None => write!(words, " {key} {value}"),
            };
        }
    }
    if let Some(for_s) = for_s {
        let _ = write!(words, " for {for_s} s");
    }
    words
}

fn state_changes(entries: &mut Vec<Entry>, signals: &dyn Signals) {
    let states = signals.signal("state").unwrap_or_default();
    let name = |row: usize| state_name(states.get(row).copied());
    if !states.is_empty() {
        entries.push(Entry {
            at_s: 0.0,
            kind: "state",
            words: name(0),
        });
    }
    let changes: Vec<usize> = (1..states.len())
        .filter(|row| states[*row] != states[*row - 1])
        .collect();
    for row in changes {
        let words = format!("{} -> {}", name(row - 1), name(row));
        entries.push(Entry {
            at_s: row as f64 * signals.tick_s(),
            kind: "state",
            words,
        });
    }
}

fn flag_changes(entries: &mut Vec<Entry>, signals: &dyn Signals, fault: &str) {
    let flags = signals
        .signal(&format!("fault.{fault}"))
        .unwrap_or_default();
    let set = |row: usize| flags[row] != 0.0;
    let changes: Vec<usize> = (0..flags.len())
        .filter(|row| set(*row) != (*row > 0 && set(*row - 1)))
        .collect();
    let at_s = |row: usize| row as f64 * signals.tick_s();
    for row in changes.iter().take(CHANGES_LISTED) {
        let words = format!("{fault} {}", if set(*row) { "raised" } else { "cleared" });
        entries.push(Entry {
            at_s: at_s(*row),
            kind: "fault",
            words,
        });
    }
    let rest = changes.get(CHANGES_LISTED..).unwrap_or_default();
    if let (Some(first), Some(last)) = (rest.first(), rest.last()) {
        let words = format!(
            "{fault} changes {} times more, last at {} s",
            rest.len(),
            fixed(at_s(*last), 3)
        );
        entries.push(Entry {
            at_s: at_s(*first),
            kind: "fault",
            words,
        });
    }
}

fn contacts(entries: &mut Vec<Entry>, signals: &dyn Signals) {
    let touching = signals.signal("contact").unwrap_or_default();
    let mut episodes: Vec<(f64, f64)> = Vec::new();
    for (row, touches) in touching.iter().enumerate() {
        if *touches == 0.0 {
            continue;
        }
        let now_s = row as f64 * signals.tick_s();
        match episodes.last_mut() {
            Some((_, until_s)) if now_s - *until_s <= CONTACT_GAP_S => *until_s = now_s,
            _ => episodes.push((now_s, now_s)),
        }
    }
    for (from_s, until_s) in episodes {
        let words = format!("stop or obstacle touched until {} s", fixed(until_s, 3));
        entries.push(Entry {
            at_s: from_s,
            kind: "contact",
            words,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::borrow::Cow;

    struct Flag(Vec<f64>, &'static str);

    impl Signals for Flag {
        fn rows(&self) -> usize {
            self.0.len()
        }
        fn tick_s(&self) -> f64 {
            0.5
        }
        fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
            (name == self.1).then_some(Cow::Borrowed(self.0.as_slice()))
        }
    }

    fn words(entries: &[Entry]) -> Vec<(f64, &str)> {
        entries
            .iter()
            .map(|entry| (entry.at_s, entry.words.as_str()))
            .collect()
    }

    #[test]
    fn a_flag_that_is_up_at_once_and_goes_down_gives_two_lines() {
        let mut entries = Vec::new();
        flag_changes(
            &mut entries,
            &Flag(vec![1.0, 1.0, 0.0, 0.0], "fault.supply_low"),
            "supply_low",
        );
        assert_eq!(
            words(&entries),
            [(0.0, "supply_low raised"), (1.0, "supply_low cleared")]
        );
    }

    #[test]
    fn a_flag_that_chatters_is_counted() {
        let values = (0..12).map(|row| f64::from(row % 2)).collect();
        let mut entries = Vec::new();
        flag_changes(
            &mut entries,
            &Flag(values, "fault.position_doubt"),
            "position_doubt",
        );
        assert_eq!(entries.len(), CHANGES_LISTED + 1);
        assert_eq!(
            words(&entries)[8],
            (4.5, "position_doubt changes 3 times more, last at 5.500 s")
        );
    }

    #[test]
    fn one_change_beyond_the_list_is_not_lost() {
        let values = (0..10).map(|row| f64::from(row % 2)).collect();
        let mut entries = Vec::new();
        flag_changes(
            &mut entries,
            &Flag(values, "fault.position_doubt"),
            "position_doubt",
        );
        assert_eq!(
            words(&entries)[8],
            (4.5, "position_doubt changes 1 times more, last at 4.500 s")
        );
    }

    #[test]
    fn states_start_with_the_first_and_then_change() {
        let mut entries = Vec::new();
        state_changes(&mut entries, &Flag(vec![0.0, 0.0, 2.0], "state"));
        assert_eq!(words(&entries), [(0.0, "limp"), (1.0, "limp -> holding")]);
    }

    #[test]
    fn contacts_far_apart_are_two() {
        let mut entries = Vec::new();
        contacts(&mut entries, &Flag(vec![0.0, 1.0, 0.0, 1.0], "contact"));
        assert_eq!(entries.len(), 2);
        assert_eq!(
            words(&entries)[0],
            (0.5, "stop or obstacle touched until 0.500 s")
        );
    }
}

//! A switch that bounces, sticks or works.

/// An edge less than this after the asked time has happened, s: event and tick times are sums of
/// decimal fractions.
const SLACK_S: f64 = 1e-9;

/// What is wrong with a switch; the default is nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SwitchFaults {
    /// Stuck at this level whatever the finger does.
    pub stuck: Option<bool>,
    /// Bounce pattern in place of any other, at each change.
    pub bounce_s: Option<Vec<f64>>,
}

/// A switch: what the finger does, and the raw level that the controller's input sees.
#[derive(Clone, Debug)]
pub struct Switch {
    closed: bool,
    changed_at_s: f64,
    pattern_s: Vec<f64>,
    faults: SwitchFaults,
}

impl Switch {
    /// A sound switch at rest.
    pub fn new(closed: bool) -> Self {
        Self {
            closed,
            changed_at_s: f64::NEG_INFINITY,
            pattern_s: Vec::new(),
            faults: SwitchFaults::default(),
        }
    }

    /// The finger closes or opens it at `at_s`. `bounce_s` are alternating durations, the first at
    /// the new level; afterwards the new level stays. Setting it to where it already is does
    /// nothing.
    pub fn set(&mut self, closed: bool, at_s: f64, bounce_s: &[f64]) {
        if closed != self.closed {
            let pattern_s = self.faults.bounce_s.as_deref().unwrap_or(bounce_s);
            *self = Self {
                closed,
                changed_at_s: at_s,
                pattern_s: pattern_s.to_vec(),
                faults: self.faults.clone(),
            };
        }
    }

    /// What is wrong from now on. A new bounce pattern acts from the next change.
    pub fn set_faults(&mut self, faults: SwitchFaults) {
        self.faults = faults;
    }

    /// What is wrong now.
    pub fn faults(&self) -> &SwitchFaults {
        &self.faults
    }

    /// Whether the finger holds it closed, bounce and faults left out.
    pub fn is_closed(&self) -> bool {
        self.closed
    }

    /// Raw level at `at_s`, which is not before the last change: `true` is closed.
    pub fn level(&self, at_s: f64) -> bool {
        if let Some(level) = self.faults.stuck {
            return level;
        }
        let mut edge_s = self.changed_at_s;
        for (index, duration_s) in self.pattern_s.iter().enumerate() {
            edge_s += duration_s;
            if at_s + SLACK_S < edge_s {
                return self.closed == (index % 2 == 0);
            }
        }
        self.closed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Levels every 2 ms from the press at 0.5 s on, as runs of equal levels.
    fn runs(switch: &Switch, ticks: u32) -> Vec<(bool, u32)> {
        let mut runs: Vec<(bool, u32)> = Vec::new();
        for tick in 250..250 + ticks {
            let level = switch.level(f64::from(tick) * 0.002);
            match runs.last_mut() {
                Some((last, count)) if *last == level => *count += 1,
                _ => runs.push((level, 1)),
            }
        }
        runs
    }

    /// The bad switch of Ganssle, "A guide to debouncing": 81 ms on, 42 ms off, on.
    /// At 2 ms: on at 0, 2 .. 80 ms, off at 82 .. 122 ms, on from 124 ms.
    #[test]
    fn the_worst_published_switch_replays() {
        let mut switch = Switch::new(false);
        switch.set(true, 0.5, &[0.081, 0.042]);
        assert!(switch.is_closed() && !switch.level(0.6));
        assert_eq!(runs(&switch, 100), [(true, 41), (false, 21), (true, 38)]);
    }

    /// 6.2 ms in all, the worst of the sound switches (same source); how it divides is ours.
    #[test]
    fn edges_on_ticks_are_exact() {
        let mut switch = Switch::new(false);
        switch.set(true, 0.5, &[0.002, 0.0022, 0.002]);
        assert_eq!(runs(&switch, 10), [(true, 1), (false, 2), (true, 7)]);
        switch.set(true, 0.51, &[0.1, 0.1]);
        assert!(switch.level(0.65));
        switch.set(false, 0.7, &[0.001, 0.002]);
        assert_eq!(
            [0.7, 0.7005, 0.701, 0.7029, 0.703, 0.9].map(|at_s| switch.level(at_s)),
            [false, false, true, true, false, false]
        );
    }

    #[test]
    fn stuck_and_bouncing_faults() {
        let mut switch = Switch::new(false);
        switch.set_faults(SwitchFaults {
            stuck: Some(true),
            bounce_s: None,
        });
        assert!(switch.level(0.1));
        switch.set(true, 0.2, &[]);
        switch.set(false, 0.3, &[]);
        assert!(switch.level(0.4) && !switch.is_closed());
        switch.set_faults(SwitchFaults {
            stuck: None,
            bounce_s: Some(vec![0.01, 0.01]),
        });
        assert!(!switch.level(0.4));
        switch.set(true, 0.5, &[]);
        assert_eq!(runs(&switch, 20), [(true, 5), (false, 5), (true, 10)]);
        switch.set_faults(SwitchFaults::default());
        switch.set(false, 0.6, &[]);
        assert!(!switch.level(0.6));
    }
}

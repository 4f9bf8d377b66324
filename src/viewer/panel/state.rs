//! What the user has chosen to see: signals, an expectation, a part of the time, open windows.

use bevy::prelude::Resource;
use bevy_egui::egui::{Pos2, Rect};

use super::hand::MouseHand;
use crate::camera::View;
use crate::timeline::{SignalName, Timeline, USUAL};

/// How the panels are laid out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Arrangement {
    /// A window for people, with everything that can be worked.
    #[default]
    Window,
    /// A picture: nothing that could be clicked.
    Picture,
}

/// What the user has chosen to see.
#[derive(Debug, Resource)]
pub struct PanelState {
    /// How the panels are laid out.
    pub arrangement: Arrangement,
    /// Signals in the plots.
    pub signals: Vec<SignalName>,
    /// The expectation that is looked at.
    pub chosen: Option<usize>,
    /// Part of the time that the plots show, s; `None` shows all.
    pub range_s: Option<[f64; 2]>,
    /// The view that the camera was last put into.
    pub view: View,
    /// The help is open.
    pub help: bool,
    /// The choice of signals is open.
    pub chooser: bool,
    /// Where the scene is, logical px.
    pub scene: Rect,
    /// Where a range is being drawn from, s.
    pub drawn_from_s: Option<f64>,
    /// The hand of a stick that is flown.
    pub hand: MouseHand,
    /// The user has asked to save the flight.
    pub save: bool,
    /// What will be done with a flight without another question.
    pub promise: Option<String>,
    /// What was last done, for the user.
    pub note: Option<String>,
    usual: Vec<SignalName>,
}

impl PanelState {
    /// The state in which these signals are shown, the usual ones if there is none.
    pub fn new(signals: Vec<SignalName>, view: View, arrangement: Arrangement) -> Self {
        let signals = if signals.is_empty() {
            USUAL.map(SignalName::from).to_vec()
        } else {
            signals
        };
        Self {
            arrangement,
            usual: signals.clone(),
            signals,
            chosen: None,
            range_s: None,
            view,
            help: false,
            chooser: false,
            scene: Rect::from_min_max(Pos2::ZERO, Pos2::ZERO),
            drawn_from_s: None,
            hand: MouseHand::default(),
            save: false,
            promise: None,
            note: None,
        }
    }

    /// Looks at an expectation: its signals, its windows with room beside them. Gives the worst
    /// instant, s, if it is known.
    pub fn choose(&mut self, index: usize, timeline: &Timeline) -> Option<f64> {
        let expectation = timeline.expectations.get(index)?;
        self.chosen = Some(index);
        let signals: Vec<SignalName> = expectation
            .signals
            .iter()
            .filter_map(|name| timeline.trace.column(name))
            // States and switches have their lanes.
            .filter(|info| info.kind.is_number())
            .map(|info| info.name.clone())
            .collect();
        self.signals = if signals.is_empty() {
            self.usual.clone()
        } else {
            signals
        };
        let at_s = expectation.worst_s();
        let whole_s = timeline.length_s.unwrap_or(timeline.head_s());
        let spans = expectation.windows_s.iter();
        let from_s = spans
            .clone()
            .map(|span| span[0])
            .fold(at_s.unwrap_or(whole_s), f64::min);
        let to_s = spans
            .map(|span| span[1])
            .fold(at_s.unwrap_or(0.0), f64::max);
        let room_s = (0.5 * (to_s - from_s)).max(0.25);
        let range_s = [(from_s - room_s).max(0.0), (to_s + room_s).min(whole_s)];
        let span_s = range_s[1] - range_s[0];
        // A formula without windows that is not judged looks nowhere in particular.
        self.range_s = (span_s > 0.0 && span_s < 0.7 * whole_s).then_some(range_s);
        at_s
    }

    /// Looks at all again.
    pub fn forget(&mut self) {
        self.chosen = None;
        self.range_s = None;
        self.signals = self.usual.clone();
    }

    /// Part of the time that the plots show, s.
    pub fn shown_s(&self, timeline: &Timeline) -> [f64; 2] {
        let whole_s = timeline
            .length_s
            .unwrap_or(0.0)
            .max(timeline.head_s())
            .max(timeline.tick_s());
        self.range_s.unwrap_or([0.0, whole_s])
    }

    /// Shows more or less of the time around an instant: a factor above 1 shows less.
    pub fn zoom(&mut self, timeline: &Timeline, around_s: f64, factor: f64) {
        let [from_s, to_s] = self.shown_s(timeline);
        let whole_s = timeline.length_s.unwrap_or(0.0).max(timeline.head_s());
        let span_s = ((to_s - from_s) / factor).max(8.0 * timeline.tick_s());
        if span_s >= whole_s {
            self.range_s = None;
            return;
        }
        let share = ((around_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0);
        self.range_s = Some(within(
            [around_s - share * span_s, around_s + (1.0 - share) * span_s],
            whole_s,
        ));
    }

    /// Shows another part of the time of the same length.
    pub fn pan(&mut self, timeline: &Timeline, by_s: f64) {
        let whole_s = timeline.length_s.unwrap_or(0.0).max(timeline.head_s());
        if let Some([from_s, to_s]) = self.range_s {
            self.range_s = Some(within([from_s + by_s, to_s + by_s], whole_s));
        }
    }

    /// Turns the page when the cursor leaves what is shown.
    pub fn follow(&mut self, timeline: &Timeline, at_s: f64) {
        if let Some([from_s, to_s]) = self.range_s
            && !(from_s..=to_s).contains(&at_s)
        {
            let span_s = to_s - from_s;
            self.pan(timeline, at_s - from_s - 0.1 * span_s);
        }
    }
}

/// A range moved so that it lies between 0 and `whole_s`.
fn within([from_s, to_s]: [f64; 2], whole_s: f64) -> [f64; 2] {
    let span_s = to_s - from_s;
    let from_s = from_s.min(whole_s - span_s).max(0.0);
    [from_s, from_s + span_s]
}

//! The strip above everything: what is shown, the state, the supply, what is wrong.

use bevy_egui::egui::{self, Align, Color32, Layout, RichText, Ui};
use trimproof_harness::judge::Verdict;
use trimproof_io::State;

use super::scale::signed;
use super::{Arrangement, PanelState};
use crate::look::{colour, state_tint};
use crate::timeline::{Instant, SourceState, Timeline};

/// Below this width there is only room for the time, the state and what the angles are, logical px.
const NARROW: f32 = 420.0;
/// Below this width there is no room for the current out of the supply, and short words must do.
const SHORT: f32 = 700.0;

/// Draws the strip.
pub(super) fn show(
    ui: &mut Ui,
    timeline: &Timeline,
    state: &PanelState,
    instant: Option<&Instant>,
) {
    // Words must not stand on each other, however small a picture is.
    let is_narrow = ui.available_width() < NARROW;
    let is_short = ui.available_width() < SHORT;
    ui.horizontal(|ui| {
        if let Some(instant) = instant {
            if state.arrangement == Arrangement::Picture {
                // In a window the bar below shows it.
                ui.label(RichText::new(format!("{:.3} s", instant.at_s)).monospace());
            }
            if let Some(state) = instant.state {
                chip(ui, state);
            }
            let [pitch_deg, roll_deg] = instant.stick_deg().map(|deg| signed(deg, 2));
            let angles = format!("pitch {pitch_deg}\u{b0}  roll {roll_deg}\u{b0}");
            if !is_narrow || has_room(ui, &angles) {
                ui.label(angles).on_hover_text("angles of the stick");
            }
            if is_narrow {
                return;
            }
            let supply = if is_short {
                format!("{:.1} V", instant.supply_v)
            } else {
                format!("{:.1} V  {:.2} A", instant.supply_v, instant.supply_a)
            };
            ui.label(supply)
                .on_hover_text("motor supply at the board, and current out of it");
            for fault in instant.faults.iter().take(3) {
                let text = RichText::new(format!("fault: {}", fault.replace('_', " ")));
                ui.label(text.strong().color(colour::VERMILLION));
            }
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let has_words = progress(ui, timeline, is_short);
            if state.arrangement == Arrangement::Window && has_words {
                ui.separator();
            }
            let scenario = &timeline.trace.about.scenario;
            let name = match (scenario.is_empty(), &timeline.scenario) {
                (true, _) => format!("{}, flown by hand", timeline.rig.name),
                (false, _) => format!("{scenario} on {}", timeline.rig.name),
            };
            let title = timeline
                .scenario
                .as_ref()
                .map(|scenario| scenario.title.clone());
            ui.add(egui::Label::new(RichText::new(name).strong()).truncate())
                .on_hover_text(title.unwrap_or_default());
        });
    });
}

/// Whether a text fits into what is left of the line.
fn has_room(ui: &Ui, text: &str) -> bool {
    let font = egui::TextStyle::Body.resolve(ui.style());
    let made = ui
        .painter()
        .layout_no_wrap(text.to_owned(), font, colour::INK);
    made.size().x <= ui.available_width()
}

/// The state as a word on a tint.
fn chip(ui: &mut Ui, state: State) {
    let word = state.name();
    let tint = state_tint(word);
    egui::Frame::new()
        .fill(tint)
        .corner_radius(2)
        .inner_margin(egui::Margin::symmetric(8, 1))
        .show(ui, |ui| {
            ui.label(RichText::new(word).strong());
        });
}

/// An end before the end; why stands over the scene too.
fn bad_end(ui: &mut Ui, word: &str, why: &str) {
    ui.label(RichText::new(word).strong().color(colour::VERMILLION))
        .on_hover_text(why);
}

/// How far the trace is, and how many expectations pass.
fn progress(ui: &mut Ui, timeline: &Timeline, is_short: bool) -> bool {
    let of = |verdict: Verdict| {
        let judgements = timeline
            .expectations
            .iter()
            .filter_map(|view| view.judgement.as_ref());
        judgements.filter(|one| one.verdict == verdict).count()
    };
    let [pass, fail, not_judged] = [Verdict::Pass, Verdict::Fail, Verdict::NotJudged].map(of);
    let count = pass + fail + not_judged;
    match &timeline.source_state {
        SourceState::Reading => {
            ui.label("reading the trace");
        }
        SourceState::Running => {
            let share = timeline
                .length_s
                .map(|length_s| timeline.head_s() / length_s.max(1e-9));
            ui.label(match share {
                Some(share) => format!("running, {:.0} %", 100.0 * share.min(1.0)),
                None => format!("running, {:.1} s", timeline.head_s()),
            });
        }
        SourceState::Complete if count > 0 => {
            let ink = match (pass, fail) {
                (_, 1..) => colour::VERMILLION,
                (0, 0) => colour::SOFT_INK,
                (1.., 0) => Color32::from_rgb(0x00, 0x6E, 0x50),
            };
            let text = match (is_short, not_judged) {
                (true, _) => format!("{pass} of {count} pass"),
                (false, 0) => format!("{pass} of {count} expectations pass"),
                (false, _) => {
                    format!("{pass} of {count} expectations pass, {not_judged} not judged")
                }
            };
            ui.label(RichText::new(text).strong().color(ink));
        }
        SourceState::Complete => return false,
        SourceState::Cut(why) | SourceState::Aborted(why) => bad_end(ui, "aborted", why),
        SourceState::Failed(why) => bad_end(ui, "no trace", why),
    }
    true
}

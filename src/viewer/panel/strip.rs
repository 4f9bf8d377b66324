//! The strip above everything: what is shown, the state, the supply, what is wrong.

use bevy_egui::egui::{self, Align, Color32, Layout, RichText, Ui};
use trimproof_io::State;

use super::scale::signed;
use super::{Arrangement, Desk};
use crate::look::{colour, state_tint};
use crate::story::{Instant, SourceState, Story};

/// Below this width there is only room for the time, the state and what the angles are, logical px.
const NARROW: f32 = 420.0;
/// Below this width there is no room for the current out of the supply, and short words must do.
const SHORT: f32 = 700.0;

/// Draws the strip.
pub(super) fn show(ui: &mut Ui, story: &Story, desk: &Desk, instant: Option<&Instant>) {
    // Words must not stand on each other, however small a picture is.
    let is_narrow = ui.available_width() < NARROW;
    let is_short = ui.available_width() < SHORT;
    ui.horizontal(|ui| {
        if let Some(instant) = instant {
            if desk.arrangement == Arrangement::Picture {
                // In a window the bar below shows it.
                ui.label(RichText::new(format!("{:.3} s", instant.at_s)).monospace());
            }
            chip(ui, instant.state);
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
            let has_words = source(ui, story, is_short);
            if desk.arrangement == Arrangement::Window && has_words {
                ui.separator();
            }
            let scenario = &story.trace.about.scenario;
            let name = match (scenario.is_empty(), &story.scenario) {
                (true, _) => format!("{}, flown by hand", story.rig.name),
                (false, _) => format!("{scenario} on {}", story.rig.name),
            };
            let title = story
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
fn chip(ui: &mut Ui, state: Option<State>) {
    let word = state.map_or("no state", |state| state.name());
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

/// What the source does, and how the expectations stand.
fn source(ui: &mut Ui, story: &Story, is_short: bool) -> bool {
    let judged = story
        .expectations
        .iter()
        .filter_map(|view| view.judgement.as_ref());
    let (count, held) = judged.fold((0, 0), |(count, held), judgement| {
        (count + 1, held + usize::from(judgement.held))
    });
    match &story.source {
        SourceState::Reading => {
            ui.label("reading the trace");
        }
        SourceState::Running => {
            let share = story
                .length_s
                .map(|length_s| story.head_s() / length_s.max(1e-9));
            ui.label(match share {
                Some(share) => format!("running, {:.0} %", 100.0 * share.min(1.0)),
                None => format!("running, {:.1} s", story.head_s()),
            });
        }
        SourceState::Complete if count > 0 => {
            let ink = if held == count {
                Color32::from_rgb(0x00, 0x6E, 0x50)
            } else {
                colour::VERMILLION
            };
            let text = if is_short {
                format!("{held} of {count} held")
            } else {
                format!("{held} of {count} expectations held")
            };
            ui.label(RichText::new(text).strong().color(ink));
        }
        SourceState::Complete => return false,
        SourceState::Cut(why) => bad_end(ui, "cut short", why),
        SourceState::Aborted(why) => bad_end(ui, "ABORTED", why),
        SourceState::Failed(why) => bad_end(ui, "no trace", why),
    }
    true
}

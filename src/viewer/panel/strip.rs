//! The strip above everything: what is shown, the state, the supply, what is wrong.

use bevy_egui::egui::{self, Align, Color32, Layout, RichText, Ui};
use trimproof_controller::State;

use super::{Arrangement, Desk};
use crate::look::{colour, state_tint};
use crate::story::{Instant, SourceState, Story};

/// Below this width there is only room for the time and the state, logical px.
const NARROW: f32 = 420.0;

/// Draws the strip.
pub(super) fn show(ui: &mut Ui, story: &Story, desk: &Desk, instant: Option<&Instant>) {
    // Words must not stand on each other, however small a picture is.
    let is_narrow = ui.available_width() < NARROW;
    ui.horizontal(|ui| {
        if let Some(instant) = instant {
            if desk.arrangement == Arrangement::Picture {
                // In a window the bar below tells it.
                ui.label(RichText::new(format!("{:.3} s", instant.at_s)).monospace());
            }
            chip(ui, instant.state);
            if is_narrow {
                return;
            }
            ui.label(format!(
                "{:.1} V  {:.2} A",
                instant.supply_v, instant.supply_a
            ))
            .on_hover_text("motor supply at the board, and current out of it");
            for fault in instant.faults.iter().take(3) {
                let text = RichText::new(format!("fault: {}", fault.replace('_', " ")));
                ui.label(text.strong().color(colour::VERMILLION));
            }
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let has_words = source(ui, story);
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

/// What the source does, and how the expectations stand.
fn source(ui: &mut Ui, story: &Story) -> bool {
    let judged = story.told.iter().filter_map(|told| told.judgement.as_ref());
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
            let text = format!("{held} of {count} expectations held");
            ui.label(RichText::new(text).strong().color(ink));
        }
        SourceState::Complete => return false,
        SourceState::Cut(why) => {
            ui.label(
                RichText::new("cut short")
                    .strong()
                    .color(colour::VERMILLION),
            )
            .on_hover_text(why);
        }
        SourceState::Failed(why) => {
            ui.label(RichText::new("no trace").strong().color(colour::VERMILLION))
                .on_hover_text(why);
        }
    }
    true
}

//! The bar of a flight: buttons for what the keys do, and what can be done with the flight
//! afterwards.

use bevy_egui::egui::{Button, Color32, RichText, Ui, vec2};

use super::PanelState;
use crate::source::{Act, SourceThread};
use crate::timeline::Timeline;

/// Buttons to be held, in the order of the hand's switches.
const HELD: [(&str, &str); 5] = [
    ("trim release", "Space"),
    ("hat fore", "W"),
    ("hat aft", "S"),
    ("hat left", "A"),
    ("hat right", "D"),
];

/// Draws the bar while the stick is flown.
pub(super) fn bar(
    ui: &mut Ui,
    source: &mut SourceThread,
    timeline: &Timeline,
    state: &mut PanelState,
) {
    ui.horizontal_wrapped(|ui| {
        for (index, (name, key)) in HELD.into_iter().enumerate() {
            let button = ui.button(name).on_hover_text(key);
            state.hand.hold(index, button.is_pointer_button_down_on());
        }
        ui.separator();
        let word = if state.hand.force_trim_off {
            "force trim on"
        } else {
            "force trim off"
        };
        if ui.button(word).on_hover_text("T").clicked() {
            let act = state.hand.toggle_force_trim();
            source.act(act);
        }
        let word = if state.hand.supply_off {
            "supply on"
        } else {
            "supply off"
        };
        if ui.button(word).on_hover_text("O").clicked() {
            let act = state.hand.toggle_supply();
            source.act(act);
        }
        ui.separator();
        ui.label(RichText::new(format!("{:7.2} s", timeline.head_s())).monospace());
        let end = Button::new(RichText::new("end the flight").color(Color32::WHITE))
            .fill(crate::look::colour::BLUE);
        if ui
            .add(end.min_size(vec2(90.0, 0.0)))
            .on_hover_text("Enter")
            .clicked()
        {
            source.act(Act::End);
        }
        if ui.button("help").on_hover_text("H").clicked() {
            state.help = !state.help;
        }
        ui.label(if state.hand.is_gripping() {
            "the hand holds the stick"
        } else {
            "drag in the scene, or the arrow keys: take the stick"
        });
    });
}

/// Draws what can be done with a flight that is over.
pub(super) fn after(ui: &mut Ui, source: &SourceThread, state: &mut PanelState) {
    if source.session().is_none() {
        return;
    }
    ui.horizontal(|ui| match &state.promise {
        Some(promise) => {
            ui.label(promise);
        }
        None => {
            if ui.button("save the flight as a scenario").clicked() {
                state.save = true;
            }
        }
    });
}

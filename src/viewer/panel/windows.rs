//! Small windows over everything: help, and the choice of signals.

use bevy_egui::egui::{self, Align2, Grid, RichText, ScrollArea, vec2};
use trimproof_harness::trace::Trace;

use super::PanelState;
use crate::look::colour;

/// Keys of a replay, with what they do.
const KEYS: [(&str, &str); 15] = [
    ("Space", "play, pause"),
    ("Left, Right", "one tick back, on"),
    ("Shift with Left, Right", "a tenth of a second back, on"),
    ("Home, End", "to the start, to the end"),
    ("Up, Down", "faster, slower: 0.05 to 4 times real time"),
    ("[ and ]", "a loop begins, ends here"),
    ("L", "stop looping"),
    ("N, P", "next, previous expectation that fails"),
    ("+ and -", "show less, more of the time"),
    ("0", "show all of the time"),
    (
        "1 to 8",
        "views: whole, left, behind, above, pitch, roll, grip, across",
    ),
    ("F", "go on to the next axis"),
    ("S", "choose signals"),
    ("H", "this help"),
    ("Esc", "close, then show all again"),
];

/// Keys of a flight.
const FLYING: [(&str, &str); 9] = [
    (
        "drag in the scene",
        "grip and lead the stick; let go with the button",
    ),
    ("arrow keys", "grip and lead; G or Backspace lets go"),
    ("Space, held", "trim release"),
    ("W, A, S, D, held", "hat fore, left, aft, right"),
    ("T", "force trim on, off"),
    ("O", "motor supply on, off"),
    ("right button", "turn the camera"),
    ("1 to 8", "views"),
    ("Enter", "end the flight; then it can be saved and replayed"),
];

/// What the pointer does.
const POINTER: [(&str, &str); 5] = [
    (
        "scene: drag",
        "turn; right button or shift moves, the wheel zooms",
    ),
    ("plot: drag", "go there in time"),
    ("plot: shift and drag", "a range to play over and over"),
    (
        "plot: wheel, right button",
        "zoom, move; a double click shows all",
    ),
    ("expectation: click", "go to its worst instant"),
];

/// The help.
pub(super) fn help(context: &egui::Context, state: &mut PanelState, flown: bool) {
    let mut open = state.help;
    window("keys and pointer").open(&mut open).show(context, |ui| {
        let tables: &[&[(&str, &str)]] = if flown { &[&FLYING] } else { &[&KEYS, &POINTER] };
        ScrollArea::vertical().max_height(context.content_rect().height() - 120.0)
            .min_scrolled_height((context.content_rect().height() - 120.0).min(620.0)).show(ui, |ui| {
            for (index, table) in tables.iter().enumerate() {
                Grid::new(index).num_columns(2).spacing(vec2(18.0, 3.0)).show(ui, |ui| {
                    for (key, what) in *table {
                        ui.label(RichText::new(*key).strong());
                        ui.label(*what);
                        ui.end_row();
                    }
                });
                ui.separator();
            }
            ui.label("This is no certification tool. What is shown is the twin, not your workshop.");
        });
    });
    state.help = open;
}

/// The choice of signals.
pub(super) fn chooser(context: &egui::Context, trace: &Trace, state: &mut PanelState) {
    let mut open = state.chooser;
    window("signals").open(&mut open).show(context, |ui| {
        ui.label(
            RichText::new("states and switches have their lanes below the plots")
                .color(colour::SOFT_INK),
        );
        ScrollArea::vertical()
            .max_height(context.content_rect().height() - 160.0)
            .min_scrolled_height((context.content_rect().height() - 160.0).min(620.0))
            .show(ui, |ui| {
                Grid::new("signals")
                    .num_columns(3)
                    .spacing(vec2(14.0, 2.0))
                    .show(ui, |ui| {
                        let numbers = trace
                            .columns()
                            .filter(|info| info.kind.is_number() && info.name != "time_s");
                        for info in numbers {
                            let mut on = state.signals.contains(&info.name);
                            if ui.checkbox(&mut on, &*info.name).changed() {
                                if on {
                                    state.signals.push(info.name.clone());
                                } else {
                                    state.signals.retain(|name| *name != info.name);
                                }
                            }
                            ui.label(&*info.unit);
                            ui.label(&*info.meaning);
                            ui.end_row();
                        }
                    });
            });
    });
    state.chooser = open;
}

fn window(title: &str) -> egui::Window<'_> {
    egui::Window::new(title)
        .collapsible(false)
        .resizable(false)
        .anchor(Align2::CENTER_CENTER, vec2(0.0, 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_help_names_every_view_in_its_order() {
        let names: Vec<&str> = crate::View::ALL.iter().map(|view| view.name()).collect();
        let line = KEYS
            .iter()
            .find(|(key, _)| *key == "1 to 8")
            .map(|(_, what)| *what);
        assert_eq!(line, Some(format!("views: {}", names.join(", ")).as_str()));
    }
}

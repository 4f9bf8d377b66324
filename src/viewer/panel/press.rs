//! Keys that are pressed, not held.

use bevy_egui::egui::{Event, Key, Ui};

/// Whether a key goes down now; its repetitions while it is held do not count.
pub(super) fn pressed_once(ui: &Ui, wanted: Key) -> bool {
    ui.input(|input| {
        input.events.iter().any(|event| {
            matches!(event, Event::Key { key, pressed: true, repeat: false, .. } if *key == wanted)
        })
    })
}

//! Keys of a replay. Those of a flight are in `hand.rs`.

use bevy_egui::egui::{Event, Key, Ui};

use super::{Desk, list};
use crate::camera::{Orbit, View};
use crate::scene::Layout;
use crate::story::{Clock, Story};

/// A tenth of a second, for the longer step.
const LONG_STEP_S: f64 = 0.1;

/// Whether a key goes down now; its repetitions while it is held do not count.
pub(super) fn pressed_once(ui: &Ui, wanted: Key) -> bool {
    ui.input(|input| {
        input.events.iter().any(|event| {
            matches!(event, Event::Key { key, pressed: true, repeat: false, .. } if *key == wanted)
        })
    })
}

/// Does what the keys say.
pub(super) fn work(ui: &Ui, story: &Story, clock: &mut Clock, desk: &mut Desk, flown: bool) {
    if ui.ctx().egui_wants_keyboard_input() {
        return;
    }
    let pressed = |key: Key| pressed_once(ui, key);
    // What goes on step by step may repeat while its key is held.
    let stepped = |key: Key| ui.input(|input| input.key_pressed(key));
    let shift = ui.input(|input| input.modifiers.shift);
    if pressed(Key::H) || pressed(Key::F1) {
        desk.help = !desk.help;
    }
    if pressed(Key::Escape) {
        if desk.help || desk.chooser {
            desk.help = false;
            desk.chooser = false;
        } else {
            desk.forget();
        }
    }
    if flown {
        return;
    }
    if pressed(Key::Space) {
        clock.toggle();
    }
    for (key, way) in [(Key::ArrowLeft, -1), (Key::ArrowRight, 1)] {
        if stepped(key) && shift {
            clock.pause();
            clock.jump(clock.at_s() + f64::from(way) * LONG_STEP_S);
        } else if stepped(key) {
            clock.step(way);
        }
    }
    if pressed(Key::Home) {
        clock.jump(0.0);
    }
    if pressed(Key::End) {
        clock.jump(clock.head_s());
    }
    if pressed(Key::ArrowUp) {
        clock.change_speed(true);
    }
    if pressed(Key::ArrowDown) {
        clock.change_speed(false);
    }
    let [from_s, to_s] = clock.loop_s().unwrap_or([0.0, clock.head_s()]);
    if pressed(Key::OpenBracket) {
        clock.set_loop(Some([clock.at_s(), to_s]));
    }
    if pressed(Key::CloseBracket) {
        clock.set_loop(Some([from_s, clock.at_s()]));
    }
    if pressed(Key::L) {
        clock.set_loop(None);
    }
    if pressed(Key::N) || pressed(Key::P) {
        let next = list::next_broken(&story.expectations, desk.chosen, pressed(Key::P));
        if let Some(next) = next {
            list::look_at(next, story, clock, desk);
        }
    }
    if stepped(Key::Plus) || stepped(Key::Equals) {
        desk.zoom(story, clock.at_s(), 1.5);
    }
    if stepped(Key::Minus) {
        desk.zoom(story, clock.at_s(), 1.0 / 1.5);
    }
    if pressed(Key::Num0) {
        desk.range_s = None;
    }
    if pressed(Key::S) {
        desk.chooser = !desk.chooser;
    }
}

/// Puts the camera where the keys say.
pub(super) fn views(ui: &Ui, story: &Story, desk: &mut Desk, orbit: &mut Orbit, layout: &Layout) {
    if ui.ctx().egui_wants_keyboard_input() {
        return;
    }
    let keys = [
        Key::Num1,
        Key::Num2,
        Key::Num3,
        Key::Num4,
        Key::Num5,
        Key::Num6,
        Key::Num7,
        Key::Num8,
    ];
    let pressed = |key: Key| pressed_once(ui, key);
    let mut wanted = keys
        .into_iter()
        .zip(View::ALL)
        .find(|(key, _)| pressed(*key))
        .map(|(_, view)| view);
    if pressed(Key::F) {
        wanted = Some(match desk.view {
            View::Pitch => View::Roll,
            View::Roll => View::Whole,
            _ => View::Pitch,
        });
    }
    if let Some(view) = wanted {
        desk.view = view;
        *orbit = Orbit::of(view, layout, &story.travel);
    }
}

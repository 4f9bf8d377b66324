//! Keys of a replay. Those of a flight are in `hand.rs`.

use bevy_egui::egui::{Key, Ui};

use super::press::pressed_once;
use super::{PanelState, list};
use crate::camera::{Orbit, View};
use crate::scene::Layout;
use crate::timeline::{Clock, Timeline};

/// A tenth of a second, for the longer step.
const LONG_STEP_S: f64 = 0.1;

/// Does what the keys say.
pub(super) fn work(
    ui: &Ui,
    timeline: &Timeline,
    clock: &mut Clock,
    state: &mut PanelState,
    flown: bool,
) {
    if ui.ctx().egui_wants_keyboard_input() {
        return;
    }
    let pressed = |key: Key| pressed_once(ui, key);
    // What goes on step by step may repeat while its key is held.
    let stepped = |key: Key| ui.input(|input| input.key_pressed(key));
    let shift = ui.input(|input| input.modifiers.shift);
    if pressed(Key::H) || pressed(Key::F1) {
        state.help = !state.help;
    }
    if pressed(Key::Escape) {
        if state.help || state.chooser {
            state.help = false;
            state.chooser = false;
        } else {
            state.forget();
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
        let next = list::next_failed(&timeline.expectations, state.chosen, pressed(Key::P));
        if let Some(next) = next {
            list::look_at(next, timeline, clock, state);
        }
    }
    if stepped(Key::Plus) || stepped(Key::Equals) {
        state.zoom(timeline, clock.at_s(), 1.5);
    }
    if stepped(Key::Minus) {
        state.zoom(timeline, clock.at_s(), 1.0 / 1.5);
    }
    if pressed(Key::Num0) {
        state.range_s = None;
    }
    if pressed(Key::S) {
        state.chooser = !state.chooser;
    }
}

/// Puts the camera where the keys say.
pub(super) fn views(
    ui: &Ui,
    timeline: &Timeline,
    state: &mut PanelState,
    orbit: &mut Orbit,
    layout: &Layout,
) {
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
        wanted = Some(match state.view {
            View::Pitch => View::Roll,
            View::Roll => View::Whole,
            _ => View::Pitch,
        });
    }
    if let Some(view) = wanted {
        state.view = view;
        *orbit = Orbit::of(view, layout, &timeline.travel);
    }
}

//! The pilot's hand at the window: keys and pointer become what the pilot does.

use bevy_egui::egui::{Key, PointerButton, Response, Ui, Vec2};
use trimproof_plant::SwitchName;

use super::press::pressed_once;
use crate::source::{Act, FARTHEST_DEG};

/// How far the pointer leads the hand, deg per logical px.
const DEG_PER_PX: f64 = 0.06;
/// How fast the keys lead it, deg/s.
const KEY_DEG_PER_S: f64 = 14.0;

/// Keys of the switches on the grip.
const SWITCHES: [(Key, SwitchName); 5] = [
    (Key::Space, SwitchName::Release),
    (Key::W, SwitchName::HatFore),
    (Key::S, SwitchName::HatAft),
    (Key::A, SwitchName::HatLeft),
    (Key::D, SwitchName::HatRight),
];

/// State of the hand.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MouseHand {
    /// Held by the pointer: let go with its button.
    by_pointer: bool,
    gripping: bool,
    wanted_deg: [f64; 2],
    closed: [bool; SWITCHES.len()],
    clicked: [bool; SWITCHES.len()],
    /// The force-trim switch is off.
    pub force_trim_off: bool,
    /// The supply is taken away.
    pub supply_off: bool,
}

impl MouseHand {
    /// Whether it grips.
    pub fn is_gripping(&self) -> bool {
        self.gripping
    }

    /// What the pilot does now. `stick_deg` is where the stick is; a grip begins there.
    pub fn acts(&mut self, ui: &Ui, scene: &Response, stick_deg: [f64; 2]) -> Vec<Act> {
        let mut acts = Vec::new();
        // A text field has the keys first.
        let typing = ui.ctx().egui_wants_keyboard_input();
        let down = |key: Key| !typing && ui.input(|input| input.key_down(key));
        let pressed = |key: Key| !typing && pressed_once(ui, key);
        for (index, (key, switch)) in SWITCHES.into_iter().enumerate() {
            let closed = down(key) || self.clicked[index];
            if closed != self.closed[index] {
                self.closed[index] = closed;
                acts.push(Act::Switch(switch, closed));
            }
        }
        // A key that is held repeats; a switch is put over once.
        if pressed(Key::T) {
            acts.push(self.toggle_force_trim());
        }
        if pressed(Key::O) {
            acts.push(self.toggle_supply());
        }
        let keys = Vec2::new(
            f32::from(u8::from(down(Key::ArrowRight))) - f32::from(u8::from(down(Key::ArrowLeft))),
            f32::from(u8::from(down(Key::ArrowDown))) - f32::from(u8::from(down(Key::ArrowUp))),
        );
        let drags = scene.dragged_by(PointerButton::Primary);
        let wants_grip = drags || keys != Vec2::ZERO || (pressed(Key::G) && !self.gripping);
        let wants_off = (self.by_pointer && !drags)
            || (pressed(Key::G) && self.gripping)
            || pressed(Key::Backspace);
        if self.gripping && wants_off && !drags {
            self.gripping = false;
            self.by_pointer = false;
            acts.push(Act::LetGo);
        } else if wants_grip {
            if !self.gripping {
                self.gripping = true;
                self.by_pointer = drags;
                self.wanted_deg = stick_deg;
                acts.push(Act::Grip);
            }
            let pointer = if drags {
                scene.drag_delta()
            } else {
                Vec2::ZERO
            };
            let elapsed_s = f64::from(ui.input(|input| input.stable_dt)).min(0.1);
            // Down on the screen is aft.
            self.wanted_deg[0] +=
                DEG_PER_PX * f64::from(pointer.y) + KEY_DEG_PER_S * elapsed_s * f64::from(keys.y);
            self.wanted_deg[1] +=
                DEG_PER_PX * f64::from(pointer.x) + KEY_DEG_PER_S * elapsed_s * f64::from(keys.x);
        }
        // Beyond what the hand is led to, the pointer would have to come all the way back.
        self.wanted_deg = self
            .wanted_deg
            .map(|deg| deg.clamp(-FARTHEST_DEG, FARTHEST_DEG));
        if self.gripping {
            acts.push(Act::Lead {
                pitch_deg: self.wanted_deg[0],
                roll_deg: self.wanted_deg[1],
            });
        }
        acts
    }

    /// Puts the force-trim switch over.
    pub fn toggle_force_trim(&mut self) -> Act {
        self.force_trim_off = !self.force_trim_off;
        Act::ForceTrim(!self.force_trim_off)
    }

    /// Connects the supply or takes it away.
    pub fn toggle_supply(&mut self) -> Act {
        self.supply_off = !self.supply_off;
        Act::Supply(!self.supply_off)
    }

    /// Says that a button on the screen is held, in the order release, fore, aft, left, right.
    pub fn hold(&mut self, index: usize, held: bool) {
        if let Some(clicked) = self.clicked.get_mut(index) {
            *clicked = held;
        }
    }
}

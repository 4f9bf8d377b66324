//! The panels around the scene: strip, plots, lanes, expectations, bar, and what is written over
//! the scene.
//!
//! All of it is plain egui over the timeline, the clock and the panel state, so that it runs
//! without a window too.

mod axes;
mod bar;
mod fly;
mod hand;
mod keys;
mod labels;
mod lanes;
mod list;
mod names;
mod overlay;
mod plots;
mod press;
mod projection;
mod scale;
mod state;
mod strip;
mod windows;

#[cfg(test)]
mod tests;

pub use projection::project;
pub use state::{Arrangement, PanelState};

use bevy::math::Vec2;
use bevy_egui::egui::{
    self, Frame, Id, LayerId, Margin, Panel, PointerButton, Rect, Sense, Ui, UiBuilder,
};

use crate::camera::Orbit;
use crate::look::colour;
use crate::scene::Layout;
use crate::source::SourceThread;
use crate::timeline::{Clock, Instant, Timeline};

/// Pictures narrower than this have no plots, logical px.
const PLOTS_FROM: f32 = 560.0;

/// Everything that the panels show and change.
pub struct Panels<'a> {
    /// The timeline.
    pub timeline: &'a mut Timeline,
    /// The clock.
    pub clock: &'a mut Clock,
    /// What is chosen.
    pub state: &'a mut PanelState,
    /// The camera.
    pub orbit: &'a mut Orbit,
    /// The rig's layout.
    pub layout: &'a Layout,
    /// What the scene shows now.
    pub instant: Option<&'a Instant>,
    /// The thread that the trace comes from.
    pub source: Option<&'a mut SourceThread>,
}

/// Draws all panels into the context's picture and does what the user asks.
pub fn show(context: &egui::Context, panels: &mut Panels<'_>) {
    let mut ui = Ui::new(
        context.clone(),
        Id::new("panels"),
        UiBuilder::new()
            .layer_id(LayerId::background())
            .max_rect(context.content_rect()),
    );
    let size = context.content_rect().size();
    let flown = panels
        .source
        .as_ref()
        .is_some_and(|source| source.is_flown());
    let is_window = panels.state.arrangement == Arrangement::Window;
    // The instant that the scene shows, not a newer one: words and picture must agree.
    let instant = panels.instant.cloned();
    let strip = Frame::new()
        .fill(colour::PAPER)
        .inner_margin(Margin::symmetric(10, 4));
    Panel::top("strip").frame(strip).show(&mut ui, |ui| {
        strip::show(ui, panels.timeline, panels.state, instant.as_ref());
    });
    if is_window {
        keys::work(&ui, panels.timeline, panels.clock, panels.state, flown);
        keys::views(
            &ui,
            panels.timeline,
            panels.state,
            panels.orbit,
            panels.layout,
        );
        Panel::bottom("bar")
            .frame(strip)
            .show(&mut ui, |ui| match panels.source.as_deref_mut() {
                Some(source) if flown => fly::bar(ui, source, panels.timeline, panels.state),
                source => {
                    if let Some(source) = source {
                        fly::after(ui, source, panels.state);
                    }
                    bar::show(ui, panels.timeline, panels.clock, panels.state);
                }
            });
    }
    // On the right the last number of the time axis needs room.
    let side = Frame::new().fill(colour::PAPER).inner_margin(Margin {
        left: 8,
        right: 18,
        top: 6,
        bottom: 6,
    });
    if is_window {
        let width = (0.40 * size.x).clamp(380.0, 1400.0);
        Panel::right("side")
            .default_size(width)
            .size_range(300.0..=0.7 * size.x)
            .frame(side)
            .show(&mut ui, |ui| {
                side_panel(ui, panels);
            });
    } else if size.x >= PLOTS_FROM {
        Panel::right("side")
            .exact_size(0.42 * size.x)
            .resizable(false)
            .frame(side)
            .show(&mut ui, |ui| {
                side_panel(ui, panels);
            });
    }
    let rest = ui.available_rect_before_wrap();
    panels.state.scene = rest;
    let scene = ui.interact(rest, Id::new("scene"), Sense::click_and_drag());
    if is_window {
        work_scene(&ui, &scene, rest, panels, flown);
    }
    if let Some(instant) = &instant {
        overlay::show(
            &ui,
            panels.timeline,
            panels.state,
            panels.orbit,
            panels.layout,
            instant,
        );
    }
    if is_window {
        windows::help(context, panels.state, flown);
        windows::chooser(context, &panels.timeline.trace, panels.state);
    }
}

/// Plots, lanes and expectations.
fn side_panel(ui: &mut Ui, panels: &mut Panels<'_>) {
    let is_window = panels.state.arrangement == Arrangement::Window;
    if !is_window {
        list::caption(ui, panels.timeline, panels.state);
    }
    let most = if ui.available_height() < 420.0 { 3 } else { 8 };
    let lanes = panels.timeline.lanes.shown(most).count();
    let list = if is_window && !panels.timeline.expectations.is_empty() {
        (0.30 * ui.available_height()).clamp(90.0, 420.0)
    } else {
        0.0
    };
    let below = list + lanes::height(lanes) + 8.0;
    let plots = Rect::from_min_max(
        ui.available_rect_before_wrap().min,
        ui.available_rect_before_wrap().max - egui::vec2(0.0, below),
    );
    let mut frame = None;
    ui.scope_builder(UiBuilder::new().max_rect(plots), |ui| {
        frame = plots::show(ui, panels.timeline, panels.clock, panels.state);
    });
    let under = Rect::from_min_max(egui::pos2(plots.left(), plots.bottom()), ui.max_rect().max);
    ui.scope_builder(UiBuilder::new().max_rect(under), |ui| {
        lanes::show(ui, panels.timeline, panels.clock, panels.state, frame, most);
        if list > 0.0 {
            ui.separator();
            list::show(ui, panels.timeline, panels.clock, panels.state);
        }
    });
}

/// Pointer in the scene: turns, moves and zooms the camera, or leads the stick.
fn work_scene(ui: &Ui, scene: &egui::Response, rest: Rect, panels: &mut Panels<'_>, flown: bool) {
    let delta = Vec2::new(scene.drag_delta().x, scene.drag_delta().y);
    let shift = ui.input(|input| input.modifiers.shift);
    let turns = if flown {
        PointerButton::Secondary
    } else {
        PointerButton::Primary
    };
    let moves = if flown {
        PointerButton::Middle
    } else {
        PointerButton::Secondary
    };
    if scene.dragged_by(moves) || (scene.dragged_by(turns) && shift) {
        panels.orbit.pan(delta, rest.height());
    } else if scene.dragged_by(turns) {
        panels.orbit.turn(delta);
    }
    if scene.hovered() {
        let turned = ui.input(|input| input.smooth_scroll_delta.y);
        if turned != 0.0 {
            panels.orbit.zoom(turned / 50.0);
        }
    }
    if flown && let Some(source) = panels.source.as_deref_mut() {
        let last = panels.timeline.instant(panels.timeline.head_s());
        let stick_deg = last.map_or([0.0; 2], |last| last.stick_deg());
        for act in panels.state.hand.acts(ui, scene, stick_deg) {
            source.act(act);
        }
        if press::pressed_once(ui, egui::Key::Enter) {
            source.act(crate::source::Act::End);
        }
    }
}

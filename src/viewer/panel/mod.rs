//! The panels around the scene: strip, plots, lanes, expectations, bar, and what is written over the scene.
//!
//! All of it is plain egui over the story, the clock and the desk, so that it runs without a window too.

mod axes;
mod bar;
mod desk;
mod fly;
mod hand;
mod keys;
mod labels;
mod lanes;
mod list;
mod names;
mod overlay;
mod plots;
mod scale;
mod strip;
mod windows;

#[cfg(test)]
mod tests;

pub use desk::{Arrangement, Desk};
pub use overlay::project;

use bevy::math::Vec2;
use bevy_egui::egui::{
    self, Frame, Id, LayerId, Margin, Panel, PointerButton, Rect, Sense, Ui, UiBuilder,
};

use crate::camera::Orbit;
use crate::feed::Feed;
use crate::look::colour;
use crate::scene::Layout;
use crate::story::{Clock, Instant, Story};

/// Pictures narrower than this have no plots, logical px.
const PLOTS_FROM: f32 = 560.0;

/// Everything that the panels show and change.
pub struct Desktop<'a> {
    /// The story.
    pub story: &'a mut Story,
    /// The clock.
    pub clock: &'a mut Clock,
    /// What is chosen.
    pub desk: &'a mut Desk,
    /// The camera.
    pub orbit: &'a mut Orbit,
    /// The rig's layout.
    pub layout: &'a Layout,
    /// What the scene shows now.
    pub instant: Option<&'a Instant>,
    /// Where the story comes from.
    pub feed: Option<&'a mut Feed>,
}

/// Draws all panels into the context's picture and does what the user asks.
pub fn show(context: &egui::Context, desktop: &mut Desktop<'_>) {
    let mut ui = Ui::new(
        context.clone(),
        Id::new("desktop"),
        UiBuilder::new()
            .layer_id(LayerId::background())
            .max_rect(context.content_rect()),
    );
    let size = context.content_rect().size();
    let flown = desktop.feed.as_ref().is_some_and(|feed| feed.is_flown());
    let is_window = desktop.desk.arrangement == Arrangement::Window;
    // The instant that the scene shows, not a newer one: words and picture must agree.
    let instant = desktop.instant.cloned();
    let strip = Frame::new()
        .fill(colour::PAPER)
        .inner_margin(Margin::symmetric(10, 4));
    Panel::top("strip").frame(strip).show(&mut ui, |ui| {
        strip::show(ui, desktop.story, desktop.desk, instant.as_ref());
    });
    if is_window {
        keys::work(&ui, desktop.story, desktop.clock, desktop.desk, flown);
        keys::views(
            &ui,
            desktop.story,
            desktop.desk,
            desktop.orbit,
            desktop.layout,
        );
        Panel::bottom("bar")
            .frame(strip)
            .show(&mut ui, |ui| match desktop.feed.as_deref_mut() {
                Some(feed) if flown => fly::bar(ui, feed, desktop.story, desktop.desk),
                feed => {
                    if let Some(feed) = feed {
                        fly::after(ui, feed, desktop.desk);
                    }
                    bar::show(ui, desktop.story, desktop.clock, desktop.desk);
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
                side_panel(ui, desktop);
            });
    } else if size.x >= PLOTS_FROM {
        Panel::right("side")
            .exact_size(0.42 * size.x)
            .resizable(false)
            .frame(side)
            .show(&mut ui, |ui| {
                side_panel(ui, desktop);
            });
    }
    let rest = ui.available_rect_before_wrap();
    desktop.desk.scene = rest;
    let scene = ui.interact(rest, Id::new("scene"), Sense::click_and_drag());
    if is_window {
        work_scene(&ui, &scene, rest, desktop, flown);
    }
    if let Some(instant) = &instant {
        overlay::show(
            &ui,
            desktop.story,
            desktop.desk,
            desktop.orbit,
            desktop.layout,
            instant,
        );
    }
    if is_window {
        windows::help(context, desktop.desk, flown);
        windows::chooser(context, desktop.desk);
    }
}

/// Plots, lanes and expectations.
fn side_panel(ui: &mut Ui, desktop: &mut Desktop<'_>) {
    let is_window = desktop.desk.arrangement == Arrangement::Window;
    if !is_window {
        list::caption(ui, desktop.story, desktop.desk);
    }
    let most = if ui.available_height() < 420.0 { 3 } else { 8 };
    let lanes = desktop.story.lanes.shown(most).count();
    let list = if is_window && !desktop.story.expectations.is_empty() {
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
        frame = plots::show(ui, desktop.story, desktop.clock, desktop.desk);
    });
    let under = Rect::from_min_max(egui::pos2(plots.left(), plots.bottom()), ui.max_rect().max);
    ui.scope_builder(UiBuilder::new().max_rect(under), |ui| {
        lanes::show(ui, desktop.story, desktop.clock, desktop.desk, frame, most);
        if list > 0.0 {
            ui.separator();
            list::show(ui, desktop.story, desktop.clock, desktop.desk);
        }
    });
}

/// Pointer in the scene: turns, moves and zooms the camera, or leads the stick.
fn work_scene(ui: &Ui, scene: &egui::Response, rest: Rect, desktop: &mut Desktop<'_>, flown: bool) {
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
        desktop.orbit.pan(delta, rest.height());
    } else if scene.dragged_by(turns) {
        desktop.orbit.turn(delta);
    }
    if scene.hovered() {
        let turned = ui.input(|input| input.smooth_scroll_delta.y);
        if turned != 0.0 {
            desktop.orbit.zoom(turned / 50.0);
        }
    }
    if flown && let Some(feed) = desktop.feed.as_deref_mut() {
        let last = desktop.story.instant(desktop.story.head_s());
        let stick_deg = last.map_or([0.0; 2], |last| last.stick_deg());
        for act in desktop.desk.hand.acts(ui, scene, stick_deg) {
            feed.act(act);
        }
        if keys::pressed_once(ui, egui::Key::Enter) {
            feed.act(crate::feed::Act::End);
        }
    }
}

//! Words over the scene that stay inside it and clear of each other.

use std::sync::Arc;

use bevy_egui::egui::{
    Align2, FontId, Galley, Painter, Pos2, Rect, Stroke, StrokeKind, pos2, vec2,
};

use crate::look::{LEAST_TEXT, colour};

/// Size of a label's letters, logical px.
const TEXT: f32 = 13.5;

/// Labels over a scene.
pub(super) struct Labels<'a> {
    painter: &'a Painter,
    scene: Rect,
    taken: Vec<Rect>,
}

/// A warning that has its room.
pub(super) struct Banner {
    rect: Rect,
    at: Pos2,
    made: Arc<Galley>,
}

impl<'a> Labels<'a> {
    /// No label yet.
    pub fn new(painter: &'a Painter, scene: Rect) -> Self {
        Self {
            painter,
            scene,
            taken: Vec::new(),
        }
    }

    /// Keeps later labels off a part of the scene.
    pub fn keep_clear(&mut self, rect: Rect) {
        self.taken.push(rect);
    }

    /// Whether a text fits at a place, whole and clear of all others.
    pub fn is_free(&self, at: Pos2, align: Align2, text: &str) -> bool {
        let (_, rect) = self.laid_out(at, align, text);
        self.scene.shrink(4.0).contains_rect(rect)
            && self.taken.iter().all(|other| !other.intersects(rect))
    }

    /// A text on a light ground at a place inside the scene; where another one stands it goes below
    /// that one, or above it where there is no room below.
    pub fn put(&mut self, at: Pos2, align: Align2, text: &str) {
        let (made, wanted) = self.laid_out(at, align, text);
        let inside = self.scene.shrink(4.0);
        if !inside.expand(8.0).contains(at) || inside.width() < wanted.width() {
            return;
        }
        let shift = vec2(
            (inside.left() - wanted.left()).max(0.0) - (wanted.right() - inside.right()).max(0.0),
            (inside.top() - wanted.top()).max(0.0) - (wanted.bottom() - inside.bottom()).max(0.0),
        );
        let wanted = wanted.translate(shift);
        let mut rect = self.clear_of_others(wanted, false);
        if rect.bottom() > inside.bottom() {
            rect = self.clear_of_others(wanted, true);
        }
        self.painter.rect_filled(rect, 0.0, colour::PAPER);
        self.painter
            .galley(rect.min + vec2(4.0, 1.0), made, colour::INK);
        self.taken.push(rect);
    }

    /// The letters of a label and its ground.
    fn laid_out(&self, at: Pos2, align: Align2, text: &str) -> (Arc<Galley>, Rect) {
        let font = FontId::proportional(TEXT);
        let made = self
            .painter
            .layout_no_wrap(text.to_owned(), font, colour::INK);
        let rect = align.anchor_size(at, made.size()).expand2(vec2(4.0, 1.0));
        (made, rect)
    }

    /// Room for a warning across the scene from `top` down, in as many lines as it needs. It is
    /// drawn by [`Self::draw_banner`], over everything else.
    pub fn banner(&mut self, top: f32, text: &str) -> Banner {
        let font = FontId::proportional(TEXT);
        let width = (self.scene.width() - 36.0).max(60.0);
        let made = self
            .painter
            .layout(text.to_owned(), font, colour::INK, width);
        let at = pos2(self.scene.left() + 18.0, top + 4.0);
        let rect = Rect::from_min_size(at, made.size()).expand2(vec2(8.0, 4.0));
        self.taken.push(rect);
        Banner { rect, at, made }
    }

    /// Draws a warning.
    pub fn draw_banner(&self, banner: Banner) {
        let edge = Stroke::new(1.5, colour::VERMILLION);
        self.painter
            .rect(banner.rect, 0.0, colour::PAPER, edge, StrokeKind::Inside);
        self.painter.galley(banner.at, banner.made, colour::INK);
    }

    /// A rectangle moved down, or up, until it is clear of what stands there.
    fn clear_of_others(&self, mut rect: Rect, up: bool) -> Rect {
        while let Some(other) = self.taken.iter().find(|other| other.intersects(rect)) {
            let by = if up {
                other.top() - rect.bottom() - 2.0
            } else {
                other.bottom() - rect.top() + 2.0
            };
            rect = rect.translate(vec2(0.0, by));
        }
        rect
    }

    /// A small text without a ground, only where it is whole and clear of all others.
    pub fn put_if_free(&mut self, at: Pos2, text: &str) {
        let font = FontId::proportional(LEAST_TEXT);
        let made = self
            .painter
            .layout_no_wrap(text.to_owned(), font, colour::INK);
        let rect = Align2::CENTER_CENTER.anchor_size(at, made.size());
        let apart = rect.expand2(vec2(3.0, 0.0));
        let is_free = self.taken.iter().all(|other| !other.intersects(apart));
        if is_free && self.scene.contains_rect(rect) {
            self.painter.galley(rect.min, made, colour::INK);
            self.taken.push(rect);
        }
    }
}

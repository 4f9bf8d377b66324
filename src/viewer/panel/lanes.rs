//! Lanes under the plots: the state, and what was closed when.

use bevy_egui::egui::{
    self, Align2, Color32, FontId, Rect, Sense, Stroke, StrokeKind, Ui, pos2, vec2,
};

use super::PanelState;
use crate::look::{LEAST_TEXT, colour, state_tint};
use crate::timeline::{Clock, Timeline, TimelineLane, word};

/// Height of a lane.
const HEIGHT: f32 = 16.0;

/// Height that so many lanes take.
pub(super) fn height(lanes: usize) -> f32 {
    HEIGHT * lanes as f32 + 4.0
}

/// Draws the lanes beneath a plot whose frame is `frame`; a click or drag goes there in time.
pub(super) fn show(
    ui: &mut Ui,
    timeline: &Timeline,
    clock: &mut Clock,
    state: &PanelState,
    frame: Option<Rect>,
    most: usize,
) {
    let lanes: Vec<&TimelineLane> = timeline.lanes.shown(most).collect();
    let size = vec2(ui.available_width(), height(lanes.len()));
    let (response, painter) = ui.allocate_painter(size, Sense::click_and_drag());
    let whole = response.rect;
    let frame = frame.unwrap_or(whole);
    let [from_s, to_s] = state.shown_s(timeline);
    let x_of = |at_s: f64| {
        let share = ((at_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0) as f32;
        frame.left() + share * frame.width()
    };
    let small = FontId::proportional(LEAST_TEXT);
    for (index, lane) in lanes.iter().enumerate() {
        let top = whole.top() + 2.0 + HEIGHT * index as f32;
        let middle = top + 0.5 * HEIGHT;
        let label = match &*lane.name {
            // On is usual: what is worth a lane is that it is off.
            "force_trim" => "force trim off".to_owned(),
            name => name.trim_start_matches("fault.").replace('_', " "),
        };
        let ends = lane.stretches.iter().skip(1).map(|(row, _)| *row);
        let ends = ends.chain([timeline.trace.rows()]);
        for ((row, code), end) in lane.stretches.iter().zip(ends) {
            let [begin_s, end_s] = [*row, end].map(|row| row as f64 * timeline.tick_s());
            if end_s < from_s || begin_s > to_s || (lane.name != "state" && *code == 0) {
                continue;
            }
            let (left, right) = (x_of(begin_s), x_of(end_s));
            // A stretch of a tick must be seen too.
            let bar = Rect::from_min_max(
                pos2(left, top + 1.0),
                pos2(right.max(left + 1.5), top + HEIGHT - 1.0),
            );
            let text = word(lane, *code);
            let tint = if lane.name == "state" {
                state_tint(text)
            } else {
                fill(&lane.name)
            };
            painter.rect_filled(bar, 0.0, tint);
            if !text.is_empty() {
                let made = painter.layout_no_wrap(text.to_owned(), small.clone(), colour::INK);
                if made.size().x + 6.0 <= bar.width() {
                    painter.galley(
                        pos2(left + 3.0, middle - 0.5 * made.size().y),
                        made,
                        colour::INK,
                    );
                }
                painter.rect_stroke(bar, 0.0, Stroke::new(0.5, colour::GRID), StrokeKind::Inside);
            }
        }
        if lane.name != "state" {
            // The name stands inside its lane, where the plot's numbers leave no room for it; no
            // ground behind it, which would hide when things happened.
            let anchor = pos2(frame.left() + 3.0, middle);
            painter.text(
                anchor,
                Align2::LEFT_CENTER,
                label,
                small.clone(),
                colour::INK,
            );
        }
    }
    let x = x_of(clock.at_s());
    if (from_s..=to_s).contains(&clock.at_s()) {
        painter.line_segment(
            [pos2(x, whole.top()), pos2(x, whole.bottom())],
            Stroke::new(1.4, colour::INK),
        );
    }
    if state.arrangement == super::Arrangement::Window
        && (response.clicked() || response.dragged_by(egui::PointerButton::Primary))
        && let Some(pointer) = response.interact_pointer_pos()
    {
        let share = f64::from((pointer.x - frame.left()) / frame.width());
        clock.pause();
        clock.jump(from_s + share.clamp(0.0, 1.0) * (to_s - from_s));
    }
}

/// Faults warn, switches do not; words stand out from all of them.
fn fill(name: &str) -> Color32 {
    match name {
        name if name.starts_with("fault.") => Color32::from_rgb(0xE8, 0x9A, 0x5C),
        "contact" => Color32::from_rgb(0xE6, 0xB8, 0x55),
        _ => Color32::from_rgb(0x8F, 0xB8, 0xD6),
    }
}

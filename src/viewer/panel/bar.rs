//! The bar below: play, pause, single ticks, speed, the range that is looped, the time.

use bevy_egui::egui::{self, Button, RichText, Sense, Slider, Stroke, Ui, pos2, vec2};

use super::PanelState;
use crate::look::colour;
use crate::timeline::{Clock, SPEEDS, Timeline};

/// Draws the bar.
pub(super) fn show(ui: &mut Ui, timeline: &Timeline, clock: &mut Clock, state: &mut PanelState) {
    scrubber(ui, timeline, clock);
    ui.horizontal_wrapped(|ui| {
        let word = if clock.is_playing() { "Pause" } else { "Play" };
        if ui
            .add(Button::new(word).min_size(vec2(56.0, 0.0)))
            .on_hover_text("Space")
            .clicked()
        {
            clock.toggle();
        }
        if ui.button("-1 tick").on_hover_text("Left").clicked() {
            clock.step(-1);
        }
        if ui.button("+1 tick").on_hover_text("Right").clicked() {
            clock.step(1);
        }
        let whole_s = timeline.length_s.unwrap_or(timeline.head_s());
        ui.label(RichText::new(format!("{:8.3} of {whole_s:.3} s", clock.at_s())).monospace());
        ui.separator();
        let mut speed = clock.speed();
        let slider = Slider::new(&mut speed, SPEEDS[0]..=SPEEDS[SPEEDS.len() - 1])
            .logarithmic(true)
            .max_decimals(2)
            .suffix(" x real time");
        if ui.add(slider).on_hover_text("Up, Down").changed() {
            clock.set_speed(speed);
        }
        ui.separator();
        match clock.loop_s() {
            Some([from_s, to_s]) => {
                if ui
                    .button(format!("stop looping {from_s:.3} to {to_s:.3} s"))
                    .on_hover_text("L")
                    .clicked()
                {
                    clock.set_loop(None);
                }
            }
            None => {
                ui.label("loop: shift-drag on a plot");
            }
        }
        ui.separator();
        if ui.button("signals").on_hover_text("S").clicked() {
            state.chooser = !state.chooser;
        }
        if ui.button("help").on_hover_text("H").clicked() {
            state.help = !state.help;
        }
        if let Some(note) = &state.note {
            ui.separator();
            ui.label(note);
        }
    });
}

/// The whole time as a line; what is there yet is darker.
fn scrubber(ui: &mut Ui, timeline: &Timeline, clock: &mut Clock) {
    let (response, painter) =
        ui.allocate_painter(vec2(ui.available_width(), 18.0), Sense::click_and_drag());
    let rect = response.rect.shrink2(vec2(6.0, 0.0));
    let whole_s = timeline
        .length_s
        .unwrap_or(0.0)
        .max(timeline.head_s())
        .max(1e-9);
    let x_of = |at_s: f64| rect.left() + ((at_s / whole_s).clamp(0.0, 1.0) as f32) * rect.width();
    let y = rect.center().y;
    let line = |from: f32, to: f32, stroke: Stroke| {
        painter.line_segment([pos2(from, y), pos2(to, y)], stroke);
    };
    line(rect.left(), rect.right(), Stroke::new(4.0, colour::GRID));
    line(
        rect.left(),
        x_of(timeline.head_s()),
        Stroke::new(4.0, egui::Color32::from_gray(0xA9)),
    );
    if let Some([from_s, to_s]) = clock.loop_s() {
        line(x_of(from_s), x_of(to_s), Stroke::new(4.0, colour::PURPLE));
    }
    for judgement in timeline.failed() {
        let x = x_of(judgement.at_s);
        painter.line_segment(
            [pos2(x, rect.top() + 1.0), pos2(x, rect.bottom() - 1.0)],
            Stroke::new(2.0, colour::VERMILLION),
        );
    }
    painter.circle_filled(pos2(x_of(clock.at_s()), y), 6.0, colour::INK);
    if (response.clicked() || response.dragged())
        && let Some(pointer) = response.interact_pointer_pos()
    {
        clock.pause();
        clock.jump(f64::from((pointer.x - rect.left()) / rect.width()).clamp(0.0, 1.0) * whole_s);
    }
}

//! Time plots: the chosen signals with units, the cursor, the windows of expectations, the worst
//! instants.

use bevy_egui::egui::{self, Align2, Color32, PointerButton, Rect, RichText, Sense, Ui, vec2};
use egui_plot::{
    AxisHints, HLine, Line, LineStyle, Plot, PlotPoint, PlotPoints, Span, Text, VLine,
};
use trimproof_harness::judge::Verdict;

use super::PanelState;
use super::axes::{PlotOf, least_span, marks_of, plots_of, round, short_name};
use crate::look::{colour, signal_colour};
use crate::timeline::{Clock, Timeline};

/// Width of the numbers beside a plot.
pub(super) const NUMBERS: f32 = 46.0;
/// Least height of a plot.
const LEAST_HEIGHT: f32 = 74.0;
/// The same in a picture.
const LEAST_IN_PICTURE: f32 = 52.0;

/// From mark to mark on the axes, at least, logical px.
const X_APART: f32 = 78.0;
const Y_APART: f32 = 26.0;
/// From a number to the edge of its plot, at least, logical px.
const EDGE: f32 = 7.0;

/// Draws the plots one above the other, all with the same time; gives the frame of the last.
pub(super) fn show(
    ui: &mut Ui,
    timeline: &mut Timeline,
    clock: &mut Clock,
    state: &mut PanelState,
) -> Option<Rect> {
    let mut plots = plots_of(&timeline.trace, &state.signals);
    if plots.is_empty() {
        ui.label(if state.signals.is_empty() {
            "no signals are chosen: key S"
        } else {
            "the trace has none of the chosen signals: key S"
        });
        return None;
    }
    let is_window = state.arrangement == super::Arrangement::Window;
    let least = if is_window {
        LEAST_HEIGHT
    } else {
        LEAST_IN_PICTURE
    };
    let title = egui::TextStyle::Small.resolve(ui.style()).size + 6.0;
    let axis = 18.0;
    let each = title + 2.0 * ui.spacing().item_spacing.y;
    let room = ui.available_height() - axis;
    if !is_window {
        // A picture cannot be scrolled: the first plots, as many as there is room for.
        plots.truncate(((room / (each + least)) as usize).max(1));
    }
    let height = (room / plots.len() as f32 - each).max(least);
    let mut frame = None;
    let mut body = |ui: &mut Ui| {
        let last = plots.len() - 1;
        for (index, plot) in plots.iter().enumerate() {
            heading(ui, timeline, clock, plot);
            let more = if index == last { axis } else { 0.0 };
            frame = Some(one(
                ui,
                timeline,
                clock,
                state,
                plot,
                height + more,
                (index, plots.len()),
            ));
        }
    };
    if is_window && room < (each + least) * plots.len() as f32 {
        egui::ScrollArea::vertical()
            .id_salt("plots")
            .max_height(ui.available_height())
            .scroll_source(egui::scroll_area::ScrollSource::SCROLL_BAR)
            .show(ui, |ui| body(ui));
    } else {
        body(ui);
    }
    frame
}

/// What a plot shows, in the colours of its curves, with the values at the cursor where there is
/// room for them.
fn heading(ui: &mut Ui, timeline: &mut Timeline, clock: &Clock, plot: &PlotOf) {
    let row = timeline.row_at(clock.at_s());
    let mut words = Vec::with_capacity(plot.signals.len());
    for name in &plot.signals {
        let value = row.and_then(|row| timeline.series(name).and_then(|series| series.value(row)));
        let short = short_name(name, &plot.title);
        let long = value.map(|value| format!("{short} {value:.2}"));
        words.push((name, short.clone(), long.unwrap_or(short)));
    }
    let gap = 8.0;
    let wide = |text: &str| {
        let font = egui::TextStyle::Small.resolve(ui.style());
        let made = ui
            .painter()
            .layout_no_wrap(text.to_owned(), font, colour::INK);
        made.size().x + gap
    };
    let needed = wide(&plot.title) + words.iter().map(|(.., long)| wide(long)).sum::<f32>();
    let is_tight = needed > ui.available_width();
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = gap;
        ui.label(RichText::new(&plot.title).small().strong());
        for (name, short, long) in words {
            let text = if is_tight { short } else { long };
            ui.add(
                egui::Label::new(RichText::new(text).small().color(text_colour(name))).truncate(),
            )
            .on_hover_text(
                timeline
                    .trace
                    .column(name)
                    .map(|info| &*info.meaning)
                    .unwrap_or_default(),
            );
        }
    });
}

/// A colour halfway to white.
fn lighter(ink: Color32) -> Color32 {
    let [r, g, b, _] = ink.to_array().map(|part| part / 2 + 127);
    Color32::from_rgb(r, g, b)
}

/// A curve's colour, dark enough for text.
fn text_colour(name: &str) -> Color32 {
    let [r, g, b, _] = signal_colour(name).to_array();
    let darker = |part: u8| (f32::from(part) * 0.72) as u8;
    Color32::from_rgb(darker(r), darker(g), darker(b))
}

fn one(
    ui: &mut Ui,
    timeline: &mut Timeline,
    clock: &mut Clock,
    state: &mut PanelState,
    plot: &PlotOf,
    height: f32,
    (index, count): (usize, usize),
) -> Rect {
    let (is_first, is_last) = (index == 0, index + 1 == count);
    let shown_s = state.shown_s(timeline);
    let pieces = (ui.available_width() as usize).clamp(100, 4000);
    let tick_s = timeline.tick_s();
    let mut curves = Vec::new();
    let mut range: Option<[f64; 2]> = None;
    for name in &plot.signals {
        let Some(series) = timeline.series(name) else {
            continue;
        };
        curves.push((
            &**name,
            series.curve(tick_s, shown_s[0], shown_s[1], pieces),
        ));
        if let Some([low, high]) = series.range() {
            let old = range.unwrap_or([low, high]);
            range = Some([old[0].min(low), old[1].max(high)]);
        }
    }
    let [low, high] = range.unwrap_or([-1.0, 1.0]);
    // A signal that rests must not fill the plot with its last digit.
    let span = (high - low).max(least_span(&plot.title));
    let middle = 0.5 * (low + high);
    let bounds = [middle - 0.6 * span, middle + 0.6 * span];
    let is_window = state.arrangement == super::Arrangement::Window;
    let ui_width = ui.available_width();
    let made = Plot::new(("plot", index))
        .height(height)
        .allow_drag(false)
        .allow_zoom(false)
        .allow_scroll(false)
        .allow_boxed_zoom(false)
        .allow_double_click_reset(false)
        .allow_axis_zoom_drag(false)
        .show_axes([is_last, true])
        .show_x(false)
        .show_y(false)
        .grid_color(colour::GRID)
        .grid_fade(0.0)
        .set_margin_fraction(vec2(0.0, 0.0))
        .x_grid_spacer(|input| marks_of(input.bounds, ui_width / X_APART))
        .y_grid_spacer(move |input| {
            let mut marks = marks_of(input.bounds, (height / Y_APART).max(3.0));
            // A number at the very edge would run into the heading above or below.
            let (from, to) = input.bounds;
            let edge = (to - from) * f64::from(EDGE / height);
            marks.retain(|mark| (from + edge..=to - edge).contains(&mark.value));
            marks
        })
        .custom_x_axes(vec![
            AxisHints::new_x()
                .label_spacing(1.0..=2.0)
                .tick_label_color(colour::SOFT_INK)
                .formatter(|mark, _| format!("{} s", round(mark.value))),
        ])
        .custom_y_axes(vec![
            AxisHints::new_y()
                .label_spacing(1.0..=2.0)
                .min_thickness(NUMBERS)
                .tick_label_color(colour::SOFT_INK)
                .formatter(|mark, _| round(mark.value)),
        ])
        .sense(if is_window {
            Sense::click_and_drag()
        } else {
            Sense::hover()
        });
    let first = plot.signals.first().map_or("", |name| &**name);
    let response = made.show(ui, |made| {
        made.set_plot_bounds_x(shown_s[0]..=shown_s[1]);
        made.set_plot_bounds_y(bounds[0]..=bounds[1]);
        // Once for all plots, on the first.
        marks(
            made,
            timeline,
            clock,
            state,
            is_first.then_some((bounds, first)),
        );
        if bounds[0] < 0.0 && bounds[1] > 0.0 {
            made.hline(
                HLine::new("", 0.0)
                    .color(Color32::from_gray(150))
                    .width(1.0)
                    .allow_hover(false),
            );
        }
        // What is wanted lies as a broad band under what is: dashes would break up where a curve is
        // dense.
        let is_wanted = |name: &str| name.ends_with("reference_deg") || name.starts_with("hand.");
        let mut curves = curves;
        curves.sort_by_key(|(name, _)| !is_wanted(name));
        for (name, curve) in curves {
            let ink = signal_colour(name);
            let (ink, width) = if is_wanted(name) {
                (lighter(ink), 4.0)
            } else {
                (ink, 1.6)
            };
            made.line(
                Line::new(name, PlotPoints::from(curve))
                    .color(ink)
                    .width(width)
                    .allow_hover(false),
            );
        }
        made.vline(
            VLine::new("", clock.at_s())
                .color(colour::INK)
                .width(1.4)
                .allow_hover(false),
        );
    });
    if is_window {
        work(ui, &response.response, timeline, clock, state, |x| {
            response.transform.value_from_position(egui::pos2(x, 0.0)).x
        });
    }
    *response.transform.frame()
}

/// Windows of expectations, worst instants, the range that is looped; with the plot's bounds and
/// its first signal also the margins, above or below, where that signal is not.
fn marks(
    made: &mut egui_plot::PlotUi<'_>,
    timeline: &Timeline,
    clock: &Clock,
    state: &PanelState,
    numbers: Option<([f64; 2], &str)>,
) {
    // More would be a heap of numbers: the list shows them.
    let is_crowded = state.chosen.is_none() && timeline.failed().count() > 2;
    for (index, view) in timeline.expectations.iter().enumerate() {
        let fails = view.fails();
        let chosen = state.chosen == Some(index);
        if !chosen && (state.chosen.is_some() || !fails) {
            continue;
        }
        for [from_s, to_s] in &view.windows_s {
            // A window of one tick must be seen too.
            let to_s = to_s.max(from_s + timeline.tick_s());
            made.span(
                Span::new("", *from_s..=to_s)
                    .fill(Color32::from_rgb(0xDD, 0xED, 0xF8))
                    .border_width(0.0),
            );
        }
        if let Some(judgement) = &view.judgement
            && judgement.verdict != Verdict::NotJudged
        {
            let ink = if fails {
                colour::VERMILLION
            } else {
                colour::GREEN
            };
            made.vline(
                VLine::new("", judgement.at_s)
                    .color(ink)
                    .width(1.6)
                    .style(LineStyle::dashed_loose())
                    .allow_hover(false),
            );
            if let Some((bounds, first)) = numbers
                && !is_crowded
                && judgement.margin.is_finite()
            {
                let words = judgement.margin_text();
                let words = RichText::new(format!(" {words}")).small().color(ink);
                let value = timeline
                    .row_at(judgement.at_s)
                    .and_then(|row| timeline.trace.numbers(first)?.get(row).copied());
                let (height, anchor) = if value.unwrap_or(0.0) < 0.5 * (bounds[0] + bounds[1]) {
                    (bounds[1], Align2::LEFT_TOP)
                } else {
                    // Clear of a line at zero, which often is the lowest.
                    (
                        bounds[0] + 0.14 * (bounds[1] - bounds[0]),
                        Align2::LEFT_BOTTOM,
                    )
                };
                let place = PlotPoint::new(judgement.at_s, height);
                made.text(Text::new("", place, words).anchor(anchor));
            }
        }
    }
    let drawn = state.drawn_from_s.map(|from_s| [from_s, clock.at_s()]);
    if let Some([a, b]) = drawn.or(clock.loop_s()) {
        made.span(
            Span::new("", a.min(b)..=a.max(b))
                .fill(Color32::from_rgb(0xF3, 0xE1, 0xEC))
                .border_width(0.0),
        );
    }
}

/// Pointer on a plot: drag scrubs, with shift it draws a range to loop, the wheel zooms, the right
/// button pans, a double click shows all.
fn work(
    ui: &Ui,
    response: &egui::Response,
    timeline: &Timeline,
    clock: &mut Clock,
    state: &mut PanelState,
    time_at: impl Fn(f32) -> f64,
) {
    let shift = ui.input(|input| input.modifiers.shift);
    if let Some(pointer) = response.interact_pointer_pos() {
        let at_s = time_at(pointer.x);
        if response.dragged_by(PointerButton::Primary) || response.clicked() {
            if shift && state.drawn_from_s.is_none() && response.drag_started() {
                state.drawn_from_s = Some(at_s);
            }
            clock.pause();
            clock.jump(at_s);
        }
        if response.dragged_by(PointerButton::Secondary) {
            let delta = response.drag_delta().x;
            state.pan(timeline, time_at(pointer.x - delta) - at_s);
        }
    }
    if response.drag_stopped()
        && let Some(from_s) = state.drawn_from_s.take()
    {
        clock.set_loop(Some([from_s, clock.at_s()]));
    }
    if response.double_clicked() {
        state.range_s = None;
    }
    if let Some(pointer) = response.hover_pos() {
        let turned = ui.input(|input| input.smooth_scroll_delta.y);
        if turned != 0.0 {
            state.zoom(
                timeline,
                time_at(pointer.x),
                f64::from(libm::powf(1.004, turned)),
            );
        }
    }
}

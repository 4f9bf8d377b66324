//! Time plots: the chosen signals with units, the cursor, the windows of expectations, the worst instants.

use bevy_egui::egui::{self, Align2, Color32, PointerButton, Rect, RichText, Sense, Ui, vec2};
use egui_plot::{
    AxisHints, GridMark, HLine, Line, LineStyle, Plot, PlotPoint, PlotPoints, Span, Text, VLine,
};
use trimproof_harness::card::text;
use trimproof_harness::trace::titled;

use super::Desk;
use crate::look::{CURVES, colour};
use crate::story::{Clock, Story, Told, info};

/// Most curves in a plot.
const MOST_CURVES: usize = 6;
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

/// One plot: signals of one unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlotOf {
    /// What is measured, with the unit.
    pub title: String,
    /// The signals.
    pub signals: Vec<&'static str>,
}

/// Parts signals into plots: by unit, and angles by axis; in the order in which they come.
pub fn plots_of(signals: &[&'static str]) -> Vec<PlotOf> {
    let mut plots: Vec<PlotOf> = Vec::new();
    for (index, name) in signals.iter().enumerate() {
        let Some(info) = info(name).filter(|_| !signals[..index].contains(name)) else {
            continue;
        };
        let axis = name
            .split('.')
            .next()
            .filter(|axis| ["pitch", "roll"].contains(axis));
        let axis = match (info.unit, axis, *name) {
            ("deg", Some(axis), _) => axis,
            ("deg", None, "hand.pitch_deg") => "pitch",
            ("deg", None, "hand.roll_deg") => "roll",
            _ => "",
        };
        let what = titled(info.unit);
        let title = if axis.is_empty() {
            what
        } else {
            format!("{axis} {what}")
        };
        match plots
            .iter_mut()
            .find(|plot| plot.title == title && plot.signals.len() < MOST_CURVES)
        {
            Some(plot) => plot.signals.push(info.name),
            None => plots.push(PlotOf {
                title,
                signals: vec![info.name],
            }),
        }
    }
    plots
}

/// Draws the plots one above the other, all with the same time; gives the frame of the last.
pub(super) fn show(
    ui: &mut Ui,
    story: &mut Story,
    clock: &mut Clock,
    desk: &mut Desk,
) -> Option<Rect> {
    let mut plots = plots_of(&desk.signals);
    if plots.is_empty() {
        ui.label("no signals are chosen: key S");
        return None;
    }
    let is_window = desk.arrangement == super::Arrangement::Window;
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
            heading(ui, story, clock, plot);
            let more = if index == last { axis } else { 0.0 };
            frame = Some(one(
                ui,
                story,
                clock,
                desk,
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

/// What a plot shows, in the colours of its curves, with the values at the cursor where there is room for them.
fn heading(ui: &mut Ui, story: &mut Story, clock: &Clock, plot: &PlotOf) {
    let row = story.row_at(clock.at_s());
    let mut words = Vec::with_capacity(plot.signals.len());
    for name in &plot.signals {
        let value = row.and_then(|row| story.series(name).and_then(|series| series.value(row)));
        let short = short_name(name, &plot.title);
        let long = value.map(|value| format!("{short} {value:.2}"));
        words.push((*name, short.clone(), long.unwrap_or(short)));
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
        for (index, (name, short, long)) in words.into_iter().enumerate() {
            let text = if is_tight { short } else { long };
            ui.add(
                egui::Label::new(RichText::new(text).small().color(text_colour(index))).truncate(),
            )
            .on_hover_text(info(name).map(|info| info.meaning).unwrap_or_default());
        }
    });
}

/// A name without what the plot's title says.
fn short_name(name: &str, title: &str) -> String {
    let (axis, rest) = name.split_once('.').unwrap_or(("", name));
    let unit = title.rsplit(", ").next().unwrap_or_default();
    let suffix = match unit {
        "deg/s" => "_deg_per_s".to_owned(),
        "full steps" => "_steps".to_owned(),
        unit => format!("_{}", unit.replace(' ', "").to_lowercase()),
    };
    let rest = rest.strip_suffix(&suffix).unwrap_or(rest).replace('_', " ");
    if axis.is_empty() || title.starts_with(axis) {
        rest
    } else {
        format!("{axis} {rest}")
    }
}

/// A colour halfway to white.
fn lighter(ink: Color32) -> Color32 {
    let [r, g, b, _] = ink.to_array().map(|part| part / 2 + 127);
    Color32::from_rgb(r, g, b)
}

/// A curve's colour, dark enough for text.
fn text_colour(index: usize) -> Color32 {
    let [r, g, b, _] = CURVES[index % CURVES.len()].to_array();
    let darker = |part: u8| (f32::from(part) * 0.72) as u8;
    Color32::from_rgb(darker(r), darker(g), darker(b))
}

fn one(
    ui: &mut Ui,
    story: &mut Story,
    clock: &mut Clock,
    desk: &mut Desk,
    plot: &PlotOf,
    height: f32,
    (index, count): (usize, usize),
) -> Rect {
    let (is_first, is_last) = (index == 0, index + 1 == count);
    let shown_s = desk.shown_s(story);
    let pieces = (ui.available_width() as usize).clamp(100, 4000);
    let tick_s = story.tick_s();
    let mut curves = Vec::new();
    let mut range: Option<[f64; 2]> = None;
    for name in &plot.signals {
        let Some(series) = story.series(name) else {
            continue;
        };
        curves.push((*name, series.curve(tick_s, shown_s[0], shown_s[1], pieces)));
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
    let is_window = desk.arrangement == super::Arrangement::Window;
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
    let first = plot.signals.first().copied().unwrap_or_default();
    let response = made.show(ui, |made| {
        made.set_plot_bounds_x(shown_s[0]..=shown_s[1]);
        made.set_plot_bounds_y(bounds[0]..=bounds[1]);
        // Once for all plots, on the first.
        marks(
            made,
            story,
            clock,
            desk,
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
        // What is wanted lies as a broad band under what is: dashes would break up where a curve is dense.
        let is_wanted = |name: &str| name.ends_with("reference_deg") || name.starts_with("hand.");
        let mut curves: Vec<_> = curves.into_iter().enumerate().collect();
        curves.sort_by_key(|(_, (name, _))| !is_wanted(name));
        for (place, (name, curve)) in curves {
            let ink = CURVES[place % CURVES.len()];
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
        work(ui, &response.response, story, clock, desk, |x| {
            response.transform.value_from_position(egui::pos2(x, 0.0)).x
        });
    }
    *response.transform.frame()
}

/// Windows of expectations, worst instants, the range that is looped; with the plot's bounds and its first signal also the margins,
/// above or below, where that signal is not.
fn marks(
    made: &mut egui_plot::PlotUi<'_>,
    story: &Story,
    clock: &Clock,
    desk: &Desk,
    numbers: Option<([f64; 2], &str)>,
) {
    let is_broken = |told: &&Told| told.judgement.as_ref().is_some_and(|one| !one.held);
    // More would be a heap of numbers: the list tells them.
    let is_crowded = desk.chosen.is_none() && story.told.iter().filter(is_broken).count() > 2;
    for (index, told) in story.told.iter().enumerate() {
        let broken = told
            .judgement
            .as_ref()
            .is_some_and(|judgement| !judgement.held);
        let chosen = desk.chosen == Some(index);
        if !chosen && (desk.chosen.is_some() || !broken) {
            continue;
        }
        for [from_s, to_s] in &told.windows_s {
            // A window of one tick must be seen too.
            let to_s = to_s.max(from_s + story.tick_s());
            made.span(
                Span::new("", *from_s..=to_s)
                    .fill(Color32::from_rgb(0xDD, 0xED, 0xF8))
                    .border_width(0.0),
            );
        }
        if let Some(judgement) = &told.judgement {
            let ink = if broken {
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
                let words = text::margin(judgement.margin, &judgement.unit);
                let words = RichText::new(format!(" {words}")).small().color(ink);
                let value = story
                    .row_at(judgement.at_s)
                    .and_then(|row| story.trace.numbers(first)?.get(row).copied());
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
    let drawn = desk.drawn_from_s.map(|from_s| [from_s, clock.at_s()]);
    if let Some([a, b]) = drawn.or(clock.loop_s()) {
        made.span(
            Span::new("", a.min(b)..=a.max(b))
                .fill(Color32::from_rgb(0xF3, 0xE1, 0xEC))
                .border_width(0.0),
        );
    }
}

/// Pointer on a plot: drag scrubs, with shift it draws a range to loop, the wheel zooms, the right button pans, a double click shows all.
fn work(
    ui: &Ui,
    response: &egui::Response,
    story: &Story,
    clock: &mut Clock,
    desk: &mut Desk,
    time_at: impl Fn(f32) -> f64,
) {
    let shift = ui.input(|input| input.modifiers.shift);
    if let Some(pointer) = response.interact_pointer_pos() {
        let at_s = time_at(pointer.x);
        if response.dragged_by(PointerButton::Primary) || response.clicked() {
            if shift && desk.drawn_from_s.is_none() && response.drag_started() {
                desk.drawn_from_s = Some(at_s);
            }
            clock.pause();
            clock.jump(at_s);
        }
        if response.dragged_by(PointerButton::Secondary) {
            let delta = response.drag_delta().x;
            desk.pan(story, time_at(pointer.x - delta) - at_s);
        }
    }
    if response.drag_stopped()
        && let Some(from_s) = desk.drawn_from_s.take()
    {
        clock.set_loop(Some([from_s, clock.at_s()]));
    }
    if response.double_clicked() {
        desk.range_s = None;
    }
    if let Some(pointer) = response.hover_pos() {
        let turned = ui.input(|input| input.smooth_scroll_delta.y);
        if turned != 0.0 {
            desk.zoom(
                story,
                time_at(pointer.x),
                f64::from(libm::powf(1.004, turned)),
            );
        }
    }
}

/// Marks at 1, 2 or 5 times a power of ten, at most so many.
fn marks_of((from, to): (f64, f64), most: f32) -> Vec<GridMark> {
    let rough = (to - from) / f64::from(most.max(1.0));
    if !rough.is_finite() || rough <= 0.0 {
        return Vec::new();
    }
    let power = libm::pow(10.0, libm::floor(libm::log10(rough)));
    let steps = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * power);
    let step = steps
        .into_iter()
        .find(|step| *step >= rough)
        .unwrap_or(rough);
    let first = libm::ceil(from / step);
    let count = (libm::floor(to / step) - first).clamp(0.0, 200.0) as usize;
    (0..=count)
        .map(|index| GridMark {
            value: (first + index as f64) * step,
            step_size: step,
        })
        .collect()
}

/// What a plot spans at least, in its unit: less is of no interest to a hand.
fn least_span(title: &str) -> f64 {
    match title.rsplit(", ").next().unwrap_or_default() {
        "deg" | "V" => 1.0,
        "N" | "deg/s" => 2.0,
        _ => 0.2,
    }
}

/// A number on an axis without needless digits.
fn round(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::story::USUAL;

    #[test]
    fn signals_are_parted_by_unit_and_angles_by_axis() {
        let titles = |signals: &[&'static str]| -> Vec<String> {
            plots_of(signals)
                .into_iter()
                .map(|plot| plot.title)
                .collect()
        };
        assert_eq!(
            titles(&USUAL),
            ["pitch angle, deg", "roll angle, deg", "force, N"]
        );
        assert_eq!(
            titles(&[
                "supply_v",
                "pitch.stick_deg",
                "hand.pitch_deg",
                "no.such",
                "roll.lag_steps"
            ]),
            ["voltage, V", "pitch angle, deg", "lag, full steps"]
        );
        // Seven angles of pitch: more than a plot has colours for. Twice the same is once.
        let many = [
            "pitch.stick_deg",
            "pitch.trim_deg",
            "pitch.trim_deg",
            "pitch.deflection_deg",
            "pitch.reference_deg",
            "pitch.drive_deg",
            "pitch.believed_deg",
            "hand.pitch_deg",
        ];
        let counts: Vec<usize> = plots_of(&many)
            .iter()
            .map(|plot| plot.signals.len())
            .collect();
        assert_eq!(counts, [6, 1]);
    }

    #[test]
    fn names_are_short_and_tell_what_the_title_does_not() {
        assert_eq!(short_name("pitch.stick_deg", "pitch angle, deg"), "stick");
        assert_eq!(
            short_name("roll.grip_force_n", "force, N"),
            "roll grip force"
        );
        assert_eq!(
            short_name("pitch.stick_rate_deg_per_s", "rate, deg/s"),
            "pitch stick rate"
        );
        assert_eq!(short_name("supply_v", "voltage, V"), "supply");
        assert_eq!(
            short_name("pitch.lag_steps", "lag, full steps"),
            "pitch lag"
        );
        assert_eq!(
            short_name("pitch.cartridge_nm", "torque, N m"),
            "pitch cartridge"
        );
    }

    #[test]
    fn numbers_have_no_needless_digits() {
        assert_eq!(
            [0.0, -0.0001, 2.5, -10.0, 0.125].map(round),
            ["0", "0", "2.5", "-10", "0.125"]
        );
    }
}

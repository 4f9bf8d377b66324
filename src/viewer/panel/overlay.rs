//! What is written over the scene: the hand's force, the forces of stops, the scale of the springs'
//! load, the play of the gears.

use bevy::math::Vec3;
use bevy_egui::egui::{
    Align2, Color32, FontId, Painter, Pos2, Rect, Stroke, StrokeKind, Ui, pos2, vec2,
};
use trimproof_io::{PITCH, ROLL};

use super::labels::Labels;
use super::projection::project;
use super::{PanelState, names, scale};
use crate::camera::{Orbit, View};
use crate::look::{LEAST_TEXT, colour, load_colour32};
use crate::scene::{Layout, arrow, touched};
use crate::timeline::{Instant, Timeline};

/// Draws everything.
pub(super) fn show(
    ui: &Ui,
    timeline: &Timeline,
    state: &PanelState,
    orbit: &Orbit,
    layout: &Layout,
    instant: &Instant,
) {
    let painter = ui.painter_at(state.scene);
    let mut labels = Labels::new(&painter, state.scene);
    if let Some(rect) = load_scale(&painter, state.scene, layout, instant) {
        labels.keep_clear(rect);
    }
    if matches!(state.view, View::Pitch | View::Roll) {
        labels.keep_clear(play_gauge(&painter, timeline, state, layout, instant));
    }
    // Below the gauge, where there is one.
    let is_close = matches!(state.view, View::Pitch | View::Roll);
    let top = state.scene.top() + if is_close { 80.0 } else { 6.0 };
    let banner = timeline
        .what_is_missing()
        .map(|why| labels.banner(top, &why));
    let seen = |point: Vec3| project(orbit, state.scene, point);
    for scale in scale::scales(timeline, layout, instant) {
        scale::show(&scale, &painter, &mut labels, orbit, state.scene);
    }
    if let Some(arrow) = arrow(instant, layout)
        && let Some(tip) = seen(arrow.tip())
    {
        let from = seen(arrow.from).unwrap_or(tip);
        // Beyond the point, on the side to which it points.
        let way = (tip - from).normalized();
        let right = way.x >= 0.0;
        let anchor = tip + vec2(if right { 8.0 } else { -8.0 }, 10.0 * way.y);
        // An arrow that runs out of the picture still has its number, at the edge.
        let anchor = state.scene.shrink(12.0).clamp(anchor);
        let align = if right {
            Align2::LEFT_CENTER
        } else {
            Align2::RIGHT_CENTER
        };
        labels.put(anchor, align, &format!("hand {:.1} N", arrow.force_n));
        // No other label on the arrow's point.
        labels.keep_clear(Rect::from_center_size(tip, vec2(30.0, 30.0)));
    }
    contacts(&mut labels, &seen, timeline, layout, instant);
    ghost(&mut labels, &seen, layout, instant);
    names::motors(&mut labels, orbit, state.scene, layout, instant);
    names::directions(&mut labels, orbit, state.scene, layout);
    if let Some(banner) = banner {
        labels.draw_banner(banner);
    }
}

/// Names what touches, with the force.
fn contacts(
    labels: &mut Labels<'_>,
    seen: &dyn Fn(Vec3) -> Option<Pos2>,
    timeline: &Timeline,
    layout: &Layout,
    instant: &Instant,
) {
    let rig = &timeline.rig;
    let (pins, obstacle) = touched(instant, rig);
    for (pin, is_lit) in layout.pins.iter().zip(pins) {
        if is_lit && let Some(place) = seen(pin.at) {
            let force_n = instant.axis[pin.axis].stop_force_n.abs();
            let text = format!("stop, {force_n:.0} N at the grip");
            labels.put(place + vec2(12.0, -14.0), Align2::LEFT_CENTER, &text);
        }
    }
    if obstacle
        && let Some(first) = rig.obstacle.first()
        && let Some(place) = seen(crate::scene::to_scene(first.at_m))
    {
        let forces_n = [PITCH, ROLL].map(|axis| instant.axis[axis].stop_force_n);
        let force_n = libm::hypot(forces_n[0], forces_n[1]);
        // Which of several obstacles it is, the trace does not say.
        let name = if rig.obstacle.len() == 1 {
            first.name.as_str()
        } else {
            "obstacle"
        };
        let text = format!("{name}, {force_n:.0} N at the grip");
        labels.put(place + vec2(-30.0, 30.0), Align2::LEFT_CENTER, &text);
    }
}

/// Names the ghost where it stands clear of the stick: beside its grip, on the side that is away
/// from the stick.
fn ghost(
    labels: &mut Labels<'_>,
    seen: &dyn Fn(Vec3) -> Option<Pos2>,
    layout: &Layout,
    instant: &Instant,
) {
    let of = |angles_deg: [f64; 2]| seen(crate::scene::grip_at(layout, angles_deg));
    let Some(reference_deg) = instant.reference_deg() else {
        return;
    };
    let (Some(ghost), Some(stick)) = (of(reference_deg), of(instant.stick_deg())) else {
        return;
    };
    let thick = seen(crate::scene::grip_at(layout, reference_deg) + layout.grip_radius_m * Vec3::Y)
        .map_or(0.0, |above| (above - ghost).length());
    if (ghost - stick).length() > 34.0_f32.max(2.0 * thick) {
        let (anchor, align) = names::beside(ghost, stick, 1.2 * thick);
        labels.put(anchor, align, "trimmed");
    }
}

/// The ramp of the springs' load with both axes' marks on it; gives what it covers.
fn load_scale(painter: &Painter, scene: Rect, layout: &Layout, instant: &Instant) -> Option<Rect> {
    if scene.height() < 200.0 || scene.width() < 260.0 {
        return None;
    }
    let small = FontId::proportional(LEAST_TEXT);
    // Where there is little room: the ramp with its marks, the words beside it.
    let is_small = scene.height() < 520.0;
    let (up, size) = if is_small {
        (18.0, vec2(84.0, 10.0))
    } else {
        (54.0, vec2(132.0, 10.0))
    };
    let bar = Rect::from_min_size(pos2(scene.left() + 14.0, scene.bottom() - up), size);
    let back = if is_small {
        Rect::from_min_max(bar.min - vec2(8.0, 5.0), bar.max + vec2(116.0, 5.0))
    } else {
        Rect::from_min_max(bar.min - vec2(8.0, 22.0), bar.max + vec2(92.0, 38.0))
    };
    let paper = colour::PAPER;
    painter.rect_filled(back, 0.0, paper);
    let (anchor, align, words) = if is_small {
        (
            bar.right_center() + vec2(10.0, 0.0),
            Align2::LEFT_CENTER,
            "load of springs",
        )
    } else {
        (
            bar.left_top() - vec2(0.0, 4.0),
            Align2::LEFT_BOTTOM,
            "load of the springs, full at the stop",
        )
    };
    painter.text(anchor, align, words, small.clone(), colour::INK);
    let pieces = 44;
    for piece in 0..pieces {
        let share = piece as f32 / (pieces - 1) as f32;
        let left = bar.left() + bar.width() * piece as f32 / pieces as f32;
        let part = Rect::from_min_size(
            pos2(left, bar.top()),
            vec2(bar.width() / pieces as f32 + 0.5, bar.height()),
        );
        painter.rect_filled(part, 0.0, load_colour32(share));
    }
    for (axis, name) in [(PITCH, "pitch"), (ROLL, "roll")] {
        let load_n_m = instant.axis[axis].cartridge_n_m.abs() as f32;
        let full_n_m = layout.axis[axis].full_n_m;
        // The marks stay on the ramp, at its ends too.
        let inside = bar.shrink2(vec2(4.0, 0.0));
        let x = inside.left() + inside.width() * (load_n_m / full_n_m).clamp(0.0, 1.0);
        let y = bar.bottom() + 11.0 + 15.0 * axis as f32;
        // A circle is pitch, a square is roll: on the ramp and before the words.
        let places = [pos2(x, bar.center().y), pos2(bar.left() + 5.0, y)];
        for at in places.into_iter().take(if is_small { 1 } else { 2 }) {
            if axis == PITCH {
                painter.circle(at, 4.5, Color32::WHITE, Stroke::new(1.5, colour::INK));
            } else {
                let square = Rect::from_center_size(at, vec2(8.0, 8.0));
                painter.rect(
                    square,
                    0.0,
                    Color32::WHITE,
                    Stroke::new(1.5, colour::INK),
                    StrokeKind::Middle,
                );
            }
        }
        if is_small {
            continue;
        }
        let text = format!("{name} {load_n_m:.2} of {full_n_m:.2} N m");
        painter.text(
            pos2(bar.left() + 15.0, y),
            Align2::LEFT_CENTER,
            text,
            small.clone(),
            colour::INK,
        );
    }
    Some(back)
}

/// Where the pinion sits in the play between the teeth, as a gauge: its text gives the true width,
/// which the drawing exaggerates. Gives what it covers.
fn play_gauge(
    painter: &Painter,
    timeline: &Timeline,
    state: &PanelState,
    layout: &Layout,
    instant: &Instant,
) -> Rect {
    let axis = if state.view == View::Pitch {
        PITCH
    } else {
        ROLL
    };
    let small = FontId::proportional(LEAST_TEXT);
    let drive = &timeline.rig.axis(axis).drive;
    let rect = Rect::from_min_size(state.scene.left_top() + vec2(14.0, 32.0), vec2(180.0, 8.0));
    let back = Rect::from_min_max(rect.min - vec2(8.0, 22.0), rect.max + vec2(72.0, 26.0));
    painter.rect_filled(back, 0.0, colour::PAPER);
    let text = format!("play of the gears {:.0} \u{b5}m", 1e6 * drive.backlash_m);
    painter.text(
        rect.left_top() - vec2(0.0, 4.0),
        Align2::LEFT_BOTTOM,
        text,
        small.clone(),
        colour::INK,
    );
    painter.rect_filled(rect, 0.0, Color32::from_gray(0xB4));
    let at = instant.axis[axis].in_play.map(|at| at as f32);
    if let Some(at) = at {
        let x = rect.center().x + 0.5 * (rect.width() - 8.0) * at;
        painter.circle_filled(pos2(x, rect.center().y), 6.0, colour::INK);
    }
    let flank = match (drive.backlash_m > 0.0, at) {
        (false, _) => "the gears have no play",
        (true, None) => "no drive position in the trace",
        (true, Some(at)) if at.abs() > 0.98 => "on a flank",
        (true, Some(_)) => "between the flanks",
    };
    let drawn = layout.axis[axis].play_drawn;
    let text = if drive.backlash_m > 0.0 && at.is_some() && drawn >= 1.5 {
        format!("{flank}; drawn {drawn:.0} times too wide")
    } else {
        flank.to_owned()
    };
    painter.text(
        rect.left_bottom() + vec2(0.0, 6.0),
        Align2::LEFT_TOP,
        text,
        small,
        colour::INK,
    );
    back
}

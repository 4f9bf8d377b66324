//! Our look: colours that every kind of colour vision distinguishes, the ramp of the springs' load,
//! sizes of text.

use std::sync::Arc;

use bevy::color::Color;
use bevy_egui::egui::{
    self, Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Margin, Stroke,
    TextStyle, Visuals,
};
use trimproof_harness::palette;

/// Smallest text, logical px.
pub const LEAST_TEXT: f32 = 12.0;

/// Those of the palette that the pictures have too, and our greys.
pub mod colour {
    use bevy_egui::egui::Color32;

    /// Sky blue.
    pub const SKY: Color32 = super::of(super::palette::SKY);
    /// Bluish green.
    pub const GREEN: Color32 = super::of(super::palette::GREEN);
    /// Blue.
    pub const BLUE: Color32 = super::of(super::palette::BLUE);
    /// Vermillion.
    pub const VERMILLION: Color32 = super::of(super::palette::VERMILLION);
    /// Reddish purple.
    pub const PURPLE: Color32 = super::of(super::palette::PURPLE);
    /// Text.
    pub const INK: Color32 = Color32::from_rgb(0x22, 0x26, 0x2B);
    /// Text that may stand back.
    pub const SOFT_INK: Color32 = Color32::from_rgb(0x4C, 0x53, 0x5C);
    /// Lines of grids.
    pub const GRID: Color32 = Color32::from_rgb(0xD4, 0xD9, 0xDF);
    /// Panels.
    pub const PAPER: Color32 = Color32::from_rgb(0xFA, 0xFB, 0xFC);
}

/// Colour of a signal's curve, the same in every plot and in the pictures of `prove`.
pub fn signal_colour(name: &str) -> Color32 {
    of(palette::signal(name).unwrap_or(palette::LIMIT))
}

const fn of([red, green, blue]: palette::Rgb) -> Color32 {
    Color32::from_rgb(red, green, blue)
}

/// Background of the scene.
pub const BACKGROUND: Color = Color::srgb(0.83, 0.855, 0.88);

/// From no load to full load: dark blue over grey to yellow. It rises in lightness, so that it
/// reads without any colour.
const RAMP: [[f32; 3]; 4] = [
    [0.05, 0.16, 0.36],
    [0.33, 0.36, 0.44],
    [0.66, 0.60, 0.38],
    [0.99, 0.84, 0.18],
];

/// Colour of a load: 0 is none, 1 is full; beyond both ends it stays.
pub fn load_rgb(share: f32) -> [f32; 3] {
    let share = if share.is_finite() {
        share.clamp(0.0, 1.0)
    } else {
        0.0
    };
    let place = share * (RAMP.len() - 1) as f32;
    let from = (place.floor() as usize).min(RAMP.len() - 2);
    let part = place - from as f32;
    std::array::from_fn(|k| RAMP[from][k] + part * (RAMP[from + 1][k] - RAMP[from][k]))
}

/// The same for the panels.
pub fn load_colour32(share: f32) -> Color32 {
    let [r, g, b] = load_rgb(share).map(|part| (part * 255.0).round() as u8);
    Color32::from_rgb(r, g, b)
}

/// Tint of a state, the same wherever its name stands, in the pictures of `prove` too.
pub fn state_tint(name: &str) -> Color32 {
    of(palette::state_named(name))
}

/// Sets fonts and colours of the panels.
pub fn decorate(context: &egui::Context) {
    context.set_fonts(fonts());
    context.set_theme(egui::Theme::Light);
    context.all_styles_mut(|style| {
        let sizes = [
            (TextStyle::Small, 12.0, FontFamily::Proportional),
            (TextStyle::Body, 13.5, FontFamily::Proportional),
            (TextStyle::Button, 13.5, FontFamily::Proportional),
            (TextStyle::Monospace, 12.5, FontFamily::Monospace),
            (TextStyle::Heading, 16.0, FontFamily::Proportional),
        ];
        style.text_styles = sizes
            .into_iter()
            .map(|(name, size, family)| (name, FontId::new(size, family)))
            .collect();
        style.spacing.item_spacing = egui::vec2(6.0, 3.0);
        style.spacing.button_padding = egui::vec2(7.0, 2.0);
        style.animation_time = 0.0;
        let mut visuals = Visuals::light();
        visuals.override_text_color = Some(colour::INK);
        visuals.panel_fill = colour::PAPER;
        visuals.window_fill = colour::PAPER;
        visuals.extreme_bg_color = Color32::WHITE;
        visuals.selection.bg_fill = Color32::from_rgb(0xC9, 0xE1, 0xF2);
        visuals.selection.stroke = Stroke::new(1.0, colour::BLUE);
        visuals.widgets.noninteractive.bg_stroke = Stroke::new(1.0, colour::GRID);
        visuals.window_corner_radius = CornerRadius::same(3);
        style.visuals = visuals;
        style.spacing.window_margin = Margin::same(10);
    });
}

/// One font for everything, the one of the pictures too (docs/licences.md).
fn fonts() -> FontDefinitions {
    const NAME: &str = "Ubuntu Light";
    let data = FontData::from_static(epaint_default_fonts::UBUNTU_LIGHT);
    let mut fonts = FontDefinitions::empty();
    fonts.font_data.insert(NAME.to_owned(), Arc::new(data));
    for family in [FontFamily::Proportional, FontFamily::Monospace] {
        fonts.families.insert(family, vec![NAME.to_owned()]);
    }
    fonts
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of sRGB as WCAG 2.1 defines it (from memory).
    fn luminance(rgb: [f32; 3]) -> f32 {
        let linear = rgb.map(|part| {
            if part <= 0.04045 {
                part / 12.92
            } else {
                ((part + 0.055) / 1.055).powf(2.4)
            }
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    }

    #[test]
    fn the_ramp_grows_lighter_all_the_way() {
        let lights: Vec<f32> = (0..=20)
            .map(|step| luminance(load_rgb(step as f32 / 20.0)))
            .collect();
        assert!(
            lights.windows(2).all(|pair| pair[1] > pair[0] + 0.005),
            "{lights:?}"
        );
        assert_eq!(load_rgb(-1.0), load_rgb(0.0));
        assert_eq!(load_rgb(7.0), load_rgb(1.0));
        assert_eq!(load_rgb(f32::NAN), load_rgb(0.0));
    }

    #[test]
    fn text_stands_out_from_the_paper() {
        let of = |c: Color32| luminance([c.r(), c.g(), c.b()].map(|part| f32::from(part) / 255.0));
        for ink in [colour::INK, colour::SOFT_INK] {
            // 4.5 to 1 is what WCAG 2.1, success criterion 1.4.3, asks of text.
            let contrast = (of(colour::PAPER) + 0.05) / (of(ink) + 0.05);
            assert!(contrast >= 4.5, "{contrast}");
        }
    }
}

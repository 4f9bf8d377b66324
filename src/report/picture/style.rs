//! Our look: colours, sizes of text, numbers on axes.

use plotters::style::RGBColor;
use trimproof_diagnostics::is_invisible;
use trimproof_harness::palette::{self, Rgb};

/// A colour of the palette for the plotting library.
pub(super) const fn rgb([red, green, blue]: Rgb) -> RGBColor {
    RGBColor(red, green, blue)
}

/// Those of the palette, and our greys. No colour alone says anything: lines differ in width or
/// dash too, and every mark has its word.
pub(super) mod colour {
    use super::{RGBColor, palette, rgb};

    pub const BLACK: RGBColor = rgb(palette::BLACK);
    pub const ORANGE: RGBColor = rgb(palette::ORANGE);
    pub const SKY: RGBColor = rgb(palette::SKY);
    pub const GREEN: RGBColor = rgb(palette::GREEN);
    pub const BLUE: RGBColor = rgb(palette::BLUE);
    pub const VERMILLION: RGBColor = rgb(palette::VERMILLION);
    pub const PURPLE: RGBColor = rgb(palette::PURPLE);
    /// Not of the eight: text, axes and grid.
    pub const INK: RGBColor = RGBColor(0x22, 0x26, 0x2B);
    pub const SOFT_INK: RGBColor = RGBColor(0x55, 0x5B, 0x63);
    pub const GRID: RGBColor = RGBColor(0xE3, 0xE6, 0xEA);
    pub const FRAME: RGBColor = RGBColor(0x9A, 0xA1, 0xAA);
    pub const PAPER: RGBColor = RGBColor(0xFF, 0xFF, 0xFF);
}

/// Text sizes, px. Nothing is set smaller than [`SMALL`].
pub(super) const TITLE: f64 = 17.0;
/// Axis titles and legends.
pub(super) const TEXT: f64 = 13.5;
/// Numbers on axes, marks.
pub(super) const SMALL: f64 = 12.5;

/// Width that a text takes at most, px: as wide as the widest usual screen fonts draw it (from
/// memory), so that the layout holds whatever font a browser has.
pub(super) fn width_of(text: &str, size: f64) -> f64 {
    let em = |c: char| match c {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' => 0.34,
        'f' | 't' | 'r' | ' ' | '(' | ')' | '[' | ']' | '-' | '/' | '"' | '_' => 0.42,
        'm' | 'w' | 'M' | 'W' | '@' | '%' | '&' | '+' | '<' | '>' | '=' | '±' => 0.88,
        'A'..='Z' => 0.70,
        c if c.is_ascii() => 0.62,
        c if u32::from(c) < 0x0500 => 0.70,
        _ => 1.0,
    };
    text.chars().map(em).sum::<f64>() * size
}

/// `text` cut to a width, px, with `...` for what is left out.
pub(super) fn fit(text: &str, size: f64, width: f64) -> String {
    if width_of(text, size) <= width {
        return text.to_owned();
    }
    let room = width - width_of("...", size);
    let mut kept = String::new();
    for c in text.chars() {
        kept.push(c);
        if width_of(&kept, size) > room {
            kept.pop();
            break;
        }
    }
    format!("{}...", kept.trim_end())
}

/// `text` in at most two lines of a width, px; what does not fit is cut as [`fit`] does.
pub(super) fn lines(text: &str, size: f64, width: f64) -> Vec<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let fits = |count: &usize| width_of(&words[..*count].join(" "), size) <= width;
    let first = (0..=words.len()).rev().find(fits).unwrap_or(0);
    match words.len() {
        0 => Vec::new(),
        count if first == 0 || first == count => vec![fit(&words.join(" "), size, width)],
        _ => vec![
            words[..first].join(" "),
            fit(&words[first..].join(" "), size, width),
        ],
    }
}

/// `text` without what XML cannot carry, without line ends and without what cannot be seen: white
/// space becomes a blank, all else U+FFFD, one character for one, so that a text keeps the width
/// for which there is room.
pub(super) fn clean(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' => ' ',
            '\u{2028}' | '\u{2029}' => ' ',
            c if is_invisible(c) => '\u{fffd}',
            c => c,
        })
        .collect()
}

/// A number with so many decimals, never `-0`.
pub(super) fn number(value: f64, decimals: usize) -> String {
    trimproof_harness::card::text::fixed(value, decimals)
}

/// Distance of the marks on an axis: 1, 2 or 5 times a power of ten, so that at most `most` fit
/// into `span`.
pub(super) fn step(span: f64, most: f64) -> f64 {
    let rough = span / most.max(1.0);
    let power = libm::pow(10.0, libm::floor(libm::log10(rough)));
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= rough * (1.0 - 1e-9));
    step.unwrap_or(10.0 * power)
}

/// The marks of an axis from `from` to `to`, at most `most`, with their texts.
pub(super) fn ticks(from: f64, to: f64, most: f64) -> Vec<(f64, String)> {
    let step = step(to - from, most);
    // Both are small: an axis has a few dozen marks at the very most.
    let decimals = (-libm::floor(libm::log10(step) + 1e-9)).clamp(0.0, 9.0) as usize;
    let first = libm::ceil(from / step - 1e-9);
    let count = (libm::floor(to / step + 1e-9) - first).clamp(0.0, 100.0) as usize;
    (0..=count)
        .map(|index| {
            let value = (first + index as f64) * step;
            (value, number(value, decimals))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_round_and_inside() {
        let of = |from, to, most| -> Vec<String> {
            ticks(from, to, most).into_iter().map(|t| t.1).collect()
        };
        assert_eq!(of(-12.4, 12.4, 6.0), ["-10", "-5", "0", "5", "10"]);
        assert_eq!(of(0.0, 0.35, 4.0), ["0.0", "0.1", "0.2", "0.3"]);
        assert_eq!(of(0.0, 1.0, 10.0).len(), 11);
        assert_eq!(of(0.998, 1.002, 4.0).len(), 5);
        assert_eq!(of(-0.00002, 0.00002, 4.0)[2], "0.00000");
    }

    #[test]
    fn a_long_text_is_cut_to_its_room() {
        assert_eq!(fit("short", 12.0, 200.0), "short");
        let cut = fit(&"wide words ".repeat(40), 12.0, 200.0);
        assert!(
            cut.ends_with("...") && width_of(&cut, 12.0) <= 200.0,
            "{cut}"
        );
    }

    #[test]
    fn a_long_title_takes_two_lines() {
        assert!(lines(" ", 12.0, 100.0).is_empty());
        assert_eq!(lines("a b", 12.0, 100.0), ["a b"]);
        assert_eq!(lines("seven words ", 12.0, 60.0), ["seven", "words"]);
        assert_eq!(lines(&"x".repeat(99), 12.0, 60.0).len(), 1);
        let two = lines(&"many words ".repeat(40), 12.0, 200.0);
        assert_eq!(two.len(), 2);
        assert!(two.iter().all(|line| width_of(line, 12.0) <= 200.0));
        assert!(two[1].ends_with("..."));
    }

    #[test]
    fn what_xml_cannot_carry_is_replaced() {
        assert_eq!(clean("a\u{0}b\nc\u{7f}<"), "a\u{fffd}b c\u{fffd}<");
    }

    #[test]
    fn a_picture_is_xml_whatever_its_texts() {
        use resvg::usvg::roxmltree;
        use trimproof_diagnostics::hostile_text;
        for seed in 0..10_000 {
            let text = hostile_text(seed);
            let cleaned = clean(&text);
            assert!(!cleaned.contains(is_invisible), "{seed}: {cleaned:?}");
            assert_eq!(cleaned.chars().count(), text.chars().count(), "{seed}");
        }
        for seed in 0..100 {
            let text = |part: u64| hostile_text(3 * seed + part);
            let plot = super::super::TracePlot {
                title: text(0),
                tick_s: 0.1,
                panels: vec![super::super::Panel {
                    title: text(1),
                    curves: vec![super::super::Curve {
                        name: text(2),
                        values: vec![0.0, 1.0],
                        limit: true,
                        colour: palette::BLUE,
                    }],
                    least: 0.0,
                }],
                ..Default::default()
            };
            let svg = super::super::trace(&plot).unwrap();
            assert!(
                !svg.contains(|c| c != '\n' && is_invisible(c)),
                "{seed}: {svg:?}"
            );
            roxmltree::Document::parse(&svg).unwrap_or_else(|error| panic!("{seed}: {error}"));
        }
    }
}

//! A sheet of paper in px, drawn as SVG through the plotting library.

use super::PictureError;
use super::style::{SMALL, TEXT, TITLE, clean, colour, fit, lines, width_of};
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, IntoDrawingArea};
use plotters::element::{Circle, PathElement, Polygon, Rectangle, Text};
use plotters::prelude::SVGBackend;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontTransform, IntoFont, RGBColor, ShapeStyle, TextStyle};

/// The library draws on whole units; ours are a quarter of a px, so that curves are smooth.
const UNITS_PER_PX: f64 = 4.0;

/// Distance of everything from the edge of the sheet, px.
pub(super) const MARGIN: f64 = 12.0;

/// Room that a text is given beyond its own height, px.
const LEADING: f64 = 5.0;

/// A place on the sheet, px from the upper left corner.
pub(super) type PixelPair = (f64, f64);

/// A rectangle on the sheet, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Frame {
    /// Whether the two share an area.
    pub fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    /// Whether `other` lies inside.
    pub fn holds(&self, other: &Self) -> bool {
        self.left <= other.left
            && other.right <= self.right
            && self.top <= other.top
            && other.bottom <= self.bottom
    }
}

/// Where a text stands from its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Side {
    /// It begins there.
    Start,
    /// It is centred there.
    Middle,
    /// It ends there.
    End,
}

/// How an entry of the legend is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Key {
    /// A line, with its width.
    Line(RGBColor, f64),
    /// A broken line.
    Dashed(RGBColor, f64),
    /// A filled circle.
    Dot(RGBColor),
    /// A filled area, with its opacity.
    Area(RGBColor, f64),
}

/// A sheet that is being drawn on.
pub(super) struct Canvas<'a> {
    sheet: DrawingArea<SVGBackend<'a>, Shift>,
    /// Width, px.
    pub width: f64,
}

/// Draws a sheet of this width, px, as high as `draw` says that it needs, and gives it as SVG with
/// a title and a description for those who do not see it.
pub(super) fn sheet(
    width: f64,
    title: &str,
    description: &str,
    draw: impl Fn(&mut Canvas<'_>) -> Result<f64, PictureError>,
) -> Result<String, PictureError> {
    // The first drawing only measures.
    let (_, height) = drawn((width, width), &draw)?;
    let height = height.ceil();
    let (svg, _) = drawn((width, height), &draw)?;
    let (_, body) = svg
        .split_once(">\n")
        .ok_or_else(|| PictureError::Drawing("the sheet is empty".to_owned()))?;
    let (title, description) = (escape(&clean(title)), escape(&clean(description)));
    Ok(format!(
        "<svg width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {} {}\" {NAMESPACE} role=\"img\">\n\
         <title>{title}</title>\n<desc>{description}</desc>\n{body}",
        units(width),
        units(height)
    ))
}

/// A sheet of a size, px, as the library writes it, and how high it should be.
fn drawn(
    size: (f64, f64),
    draw: &impl Fn(&mut Canvas<'_>) -> Result<f64, PictureError>,
) -> Result<(String, f64), PictureError> {
    let mut svg = String::new();
    let sheet = SVGBackend::with_string(&mut svg, (units(size.0) as u32, units(size.1) as u32))
        .into_drawing_area();
    sheet.fill(&colour::PAPER)?;
    let mut canvas = Canvas {
        sheet,
        width: size.0,
    };
    let height = draw(&mut canvas)?;
    canvas.sheet.present()?;
    drop(canvas);
    Ok((svg, height))
}

/// Fonts in the order in which they are taken. A reader that knows what `sans-serif` is takes one
/// of its own at the latest there; one that does not (a plain renderer takes it for one certain
/// font, and leaves the text out where that is not installed) finds one of those that the usual
/// systems bring. Which it is does not matter: the layout holds for the widest of them.
pub(super) const FONTS: &str = "DejaVu Sans, Liberation Sans, Noto Sans, Ubuntu, Roboto, Arial, Helvetica, Segoe UI, Verdana, \
     sans-serif, serif, monospace";

/// The attribute that makes a file an SVG file. Inside a page it is left out.
const NAMESPACE: &str = "xmlns=\"http://www.w3.org/2000/svg\"";

/// The picture without the attribute that only a file of its own needs, to stand inside an HTML
/// page.
pub fn inline(svg: &str) -> String {
    svg.replacen(&format!(" {}", NAMESPACE), "", 1)
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

fn units(px: f64) -> i32 {
    (px * UNITS_PER_PX).round() as i32
}

fn unit_place(place: PixelPair) -> (i32, i32) {
    (units(place.0), units(place.1))
}

fn stroke(colour: RGBColor, width: f64) -> ShapeStyle {
    ShapeStyle::from(&colour).stroke_width(units(width).max(1) as u32)
}

impl Canvas<'_> {
    /// A line through places.
    pub fn line(
        &mut self,
        places: &[PixelPair],
        colour: RGBColor,
        width: f64,
    ) -> Result<(), PictureError> {
        if places.len() < 2 {
            return Ok(());
        }
        let mut corners: Vec<(i32, i32)> = places.iter().map(|place| unit_place(*place)).collect();
        corners.dedup();
        if corners.len() == 1 {
            corners.push((corners[0].0 + 1, corners[0].1));
        }
        Ok(self
            .sheet
            .draw(&PathElement::new(corners, stroke(colour, width)))?)
    }

    /// A broken line through places.
    pub fn dashed(
        &mut self,
        places: &[PixelPair],
        colour: RGBColor,
        width: f64,
    ) -> Result<(), PictureError> {
        const DASH: f64 = 6.0;
        const GAP: f64 = 4.0;
        let mut left = DASH;
        let mut drawing = true;
        let mut dash: Vec<PixelPair> = places.first().copied().into_iter().collect();
        for pair in places.windows(2) {
            let (mut from, to) = (pair[0], pair[1]);
            loop {
                let length = libm::hypot(to.0 - from.0, to.1 - from.1);
                if length <= left {
                    left -= length;
                    dash.push(to);
                    break;
                }
                let share = left / length;
                from = (
                    from.0 + share * (to.0 - from.0),
                    from.1 + share * (to.1 - from.1),
                );
                dash.push(from);
                if drawing {
                    self.line(&dash, colour, width)?;
                }
                drawing = !drawing;
                left = if drawing { DASH } else { GAP };
                dash = vec![from];
            }
        }
        if drawing {
            self.line(&dash, colour, width)?;
        }
        Ok(())
    }

    /// A filled shape.
    pub fn shape(
        &mut self,
        corners: &[PixelPair],
        colour: RGBColor,
        opacity: f64,
    ) -> Result<(), PictureError> {
        if corners.len() < 3 {
            return Ok(());
        }
        let corners: Vec<_> = corners.iter().map(|place| unit_place(*place)).collect();
        Ok(self
            .sheet
            .draw(&Polygon::new(corners, colour.mix(opacity)))?)
    }

    /// A filled rectangle.
    pub fn area(
        &mut self,
        frame: Frame,
        colour: RGBColor,
        opacity: f64,
    ) -> Result<(), PictureError> {
        let corners = [
            unit_place((frame.left, frame.top)),
            unit_place((frame.right, frame.bottom)),
        ];
        Ok(self
            .sheet
            .draw(&Rectangle::new(corners, colour.mix(opacity).filled()))?)
    }

    /// A filled circle with a white rim.
    pub fn dot(&mut self, place: PixelPair, colour: RGBColor) -> Result<(), PictureError> {
        for (radius, colour) in [(5.5, colour::PAPER), (4.0, colour)] {
            let circle = Circle::new(unit_place(place), units(radius) as u32, colour.filled());
            self.sheet.draw(&circle)?;
        }
        Ok(())
    }

    /// The mark of the worst instant: larger than any dot, with a hole, so that the curve below is
    /// seen.
    pub fn ring(&mut self, place: PixelPair, colour: RGBColor) -> Result<(), PictureError> {
        for (radius, colour, width) in [(7.0, colour::PAPER, 5.5), (7.0, colour, 3.0)] {
            let circle = Circle::new(
                unit_place(place),
                units(radius) as u32,
                stroke(colour, width),
            );
            self.sheet.draw(&circle)?;
        }
        Ok(())
    }

    /// One reading among many: a small filled circle.
    pub fn speck(&mut self, place: PixelPair, colour: RGBColor) -> Result<(), PictureError> {
        let circle = Circle::new(unit_place(place), units(1.5) as u32, colour.filled());
        Ok(self.sheet.draw(&circle)?)
    }

    /// A text whose middle line is at the place.
    pub fn text(
        &mut self,
        place: PixelPair,
        text: &str,
        size: f64,
        side: Side,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        self.put(place, text, size, side, colour, FontTransform::None)
    }

    /// A text that runs upwards, centred at the place.
    pub fn text_up(
        &mut self,
        place: PixelPair,
        text: &str,
        size: f64,
        colour: RGBColor,
    ) -> Result<(), PictureError> {
        let turned = FontTransform::Rotate270;
        self.put(place, text, size, Side::Middle, colour, turned)
    }

    fn put(
        &mut self,
        place: PixelPair,
        text: &str,
        size: f64,
        side: Side,
        colour: RGBColor,
        turned: FontTransform,
    ) -> Result<(), PictureError> {
        let across = match side {
            Side::Start => HPos::Left,
            Side::Middle => HPos::Center,
            Side::End => HPos::Right,
        };
        // The library makes the size of the font 1/1.24 of the size that it is given.
        let font = (FONTS, size * UNITS_PER_PX * 1.24)
            .into_font()
            .transform(turned);
        let style = TextStyle::from(font)
            .color(&colour)
            .pos(Pos::new(across, VPos::Center));
        let text = clean(text);
        Ok(self
            .sheet
            .draw(&Text::new(text, unit_place(place), style))?)
    }

    /// Title, a line below it and the legend; gives how far down they reach, px.
    pub fn header(
        &mut self,
        title: &str,
        below: &str,
        legend: &[(Key, String)],
    ) -> Result<f64, PictureError> {
        let room = self.width - 2.0 * MARGIN;
        let mut y = MARGIN + TITLE / 2.0;
        for line in lines(title, TITLE, room) {
            self.text((MARGIN, y), &line, TITLE, Side::Start, colour::INK)?;
            y += TITLE + LEADING;
        }
        y += 0.5 * (SMALL - TITLE);
        for line in lines(below, SMALL, room) {
            self.text((MARGIN, y), &line, SMALL, Side::Start, colour::SOFT_INK)?;
            y += SMALL + LEADING;
        }
        y -= 0.5 * SMALL;
        self.legend((MARGIN, self.width - MARGIN), y, legend)
    }

    /// A legend from one side to the other, in as many lines as it takes; gives how far down it
    /// reaches, px.
    pub fn legend(
        &mut self,
        (left, right): (f64, f64),
        top: f64,
        entries: &[(Key, String)],
    ) -> Result<f64, PictureError> {
        let (mut x, mut y) = (left, top);
        for (key, text) in entries {
            let text = fit(text, SMALL, right - left - KEY - GAP);
            let width = KEY + GAP + width_of(&text, SMALL);
            if x > left && x + width > right {
                x = left;
                y += TEXT + LEADING;
            }
            let middle = y + TEXT / 2.0;
            self.key((x, middle), *key)?;
            let place = (x + KEY + GAP, middle);
            self.text(place, &text, SMALL, Side::Start, colour::INK)?;
            x += width + 3.0 * GAP;
        }
        let lines = if entries.is_empty() { 0.0 } else { 1.0 };
        Ok(y + lines * (TEXT + LEADING))
    }

    fn key(&mut self, (x, y): PixelPair, key: Key) -> Result<(), PictureError> {
        let ends = [(x, y), (x + KEY, y)];
        match key {
            Key::Line(colour, width) => self.line(&ends, colour, width),
            Key::Dashed(colour, width) => self.dashed(&ends, colour, width),
            Key::Dot(colour) => self.dot((x + KEY / 2.0, y), colour),
            Key::Area(colour, opacity) => self.area(
                Frame {
                    left: x,
                    top: y - 5.0,
                    right: x + KEY,
                    bottom: y + 5.0,
                },
                colour,
                opacity,
            ),
        }
    }
}

/// Length of a key of the legend, px.
const KEY: f64 = 26.0;
/// Distance of a key from its text, px.
const GAP: f64 = 6.0;

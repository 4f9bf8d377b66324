//! A frame with axes, light grid and units, and labels that keep out of each other's way.

use super::PictureError;
use super::canvas::{Canvas, Frame, PixelPair, Side};
use super::style::{SMALL, TEXT, colour, fit, ticks, width_of};
use super::thin::visible;
use plotters::style::RGBColor;

/// Room left of a frame for the numbers and the title of its axis, px; the same wherever frames
/// stand below each other.
pub(super) const LEFT: f64 = 82.0;
/// Room below a frame for the numbers and the title of its axis, px.
pub(super) const BELOW: f64 = 50.0;
/// Room right of a frame for a second scale, px.
pub(super) const RIGHT: f64 = 62.0;
/// Room above a frame for a second scale, px.
pub(super) const ABOVE: f64 = 47.0;

/// Least distance of the marks of an axis upwards, px.
const UPWARDS: f64 = 26.0;

/// Half the least range of an axis: below it there is only what rounding makes.
const FINEST: f64 = 1e-5;

/// One direction of a frame.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FrameAxis {
    /// Title with the unit.
    pub title: String,
    /// Value at the left or lower end.
    pub from: f64,
    /// Value at the right or upper end.
    pub to: f64,
    /// A second scale across the frame: its title and how much one of the first is of it.
    pub second: Option<(String, f64)>,
}

impl FrameAxis {
    /// An axis with room on both sides of the values; of something to see even where all are the
    /// same or none is a number.
    pub fn around(title: &str, values: impl IntoIterator<Item = f64>, room: f64) -> Self {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.into_iter().filter(|value| value.is_finite()) {
            low = low.min(value);
            high = high.max(value);
        }
        if low > high {
            (low, high) = (0.0, 0.0);
        }
        let size = low.abs().max(high.abs());
        let middle = 0.5 * (low + high);
        let half = match 0.5 * (high - low) {
            // Nothing changes: the value stands in the middle of what is of its size.
            0.0 if size > 0.0 => 0.1 * size,
            0.0 => 1.0,
            half => half.max(FINEST).max(1e-3 * size) * (1.0 + 2.0 * room),
        };
        Self {
            title: title.to_owned(),
            from: middle - half,
            to: middle + half,
            second: None,
        }
    }
}

/// A frame in which values have a place.
pub(super) struct Plane {
    pub frame: Frame,
    pub x: FrameAxis,
    pub y: FrameAxis,
    /// Where labels stand.
    taken: Vec<Frame>,
    /// Where curves run: labels keep off if they can.
    busy: Vec<PixelPair>,
}

impl Plane {
    /// A frame with these axes; nothing is drawn yet.
    pub fn new(frame: Frame, x: FrameAxis, y: FrameAxis) -> Self {
        Self {
            frame,
            x,
            y,
            taken: Vec::new(),
            busy: Vec::new(),
        }
    }

    /// Pixels of a pair of values.
    pub fn at(&self, x: f64, y: f64) -> PixelPair {
        (self.x_at(x), self.y_at(y))
    }

    /// Pixel across.
    pub fn x_at(&self, x: f64) -> f64 {
        let share = (x - self.x.from) / (self.x.to - self.x.from);
        self.frame.left + share * (self.frame.right - self.frame.left)
    }

    /// Pixel down.
    pub fn y_at(&self, y: f64) -> f64 {
        let share = (y - self.y.from) / (self.y.to - self.y.from);
        self.frame.bottom - share * (self.frame.bottom - self.frame.top)
    }

    /// Draws grid, frame, numbers and titles; those of the x axis only if `below`.
    pub fn draw_axes(&self, canvas: &mut Canvas<'_>, below: bool) -> Result<(), PictureError> {
        let Frame {
            left,
            top,
            right,
            bottom,
        } = self.frame;
        let (width, height) = (right - left, bottom - top);
        for (value, number) in ticks(self.x.from, self.x.to, width / 75.0) {
            let x = self.x_at(value);
            canvas.line(&[(x, top), (x, bottom)], colour::GRID, 1.0)?;
            if below {
                let place = (x, bottom + 9.0 + SMALL / 2.0);
                canvas.text(place, &number, SMALL, Side::Middle, colour::INK)?;
            }
        }
        let (factor, marks) = self.marks_down(height);
        for (value, number) in marks {
            let y = self.y_at(value * factor);
            canvas.line(&[(left, y), (right, y)], colour::GRID, 1.0)?;
            canvas.text((left - 7.0, y), &number, SMALL, Side::End, colour::INK)?;
        }
        // The lines through nothing: where forces and positions change their side.
        if self.x.from < 0.0 && self.x.to > 0.0 {
            let x = self.x_at(0.0);
            canvas.line(&[(x, top), (x, bottom)], colour::FRAME, 1.0)?;
        }
        if self.y.from < 0.0 && self.y.to > 0.0 {
            let y = self.y_at(0.0);
            canvas.line(&[(left, y), (right, y)], colour::FRAME, 1.0)?;
        }
        let middle = (0.5 * (left + right), 0.5 * (top + bottom));
        if below {
            let place = (middle.0, bottom + BELOW - 4.0 - TEXT / 2.0);
            canvas.text(place, &self.x.title, TEXT, Side::Middle, colour::INK)?;
        }
        let place = (left - LEFT + 14.0 + TEXT / 2.0, middle.1);
        let scale = if factor == 1.0 {
            String::new()
        } else {
            format!(" (x {factor:e})")
        };
        let room = height + 24.0 - width_of(&scale, TEXT);
        let title = fit(&self.y.title, TEXT, room) + &scale;
        canvas.text_up(place, &title, TEXT, colour::INK)?;
        self.draw_second(canvas)
    }

    /// The marks of the axis upwards, and what their numbers are to be multiplied by: 1, or where
    /// they would be too long a thousandth or a thousand, and so on.
    fn marks_down(&self, height: f64) -> (f64, Vec<(f64, String)>) {
        let room = LEFT - 7.0 - 14.0 - TEXT - 3.0;
        let size = self.y.from.abs().max(self.y.to.abs());
        let thousands = libm::floor(libm::log10(size) / 3.0);
        let marks = |factor: f64| ticks(self.y.from / factor, self.y.to / factor, height / UPWARDS);
        let plain = marks(1.0);
        if thousands == 0.0 || plain.iter().all(|mark| width_of(&mark.1, SMALL) <= room) {
            return (1.0, plain);
        }
        let factor = libm::pow(1000.0, thousands);
        (factor, marks(factor))
    }

    fn draw_second(&self, canvas: &mut Canvas<'_>) -> Result<(), PictureError> {
        let Frame {
            left,
            top,
            right,
            bottom,
        } = self.frame;
        if let Some((title, factor)) = &self.x.second {
            for (value, number) in ticks(
                self.x.from * factor,
                self.x.to * factor,
                (right - left) / 75.0,
            ) {
                let x = self.x_at(value / factor);
                canvas.line(&[(x, top - 4.0), (x, top)], colour::FRAME, 1.0)?;
                let place = (x, top - 9.0 - SMALL / 2.0);
                canvas.text(place, &number, SMALL, Side::Middle, colour::SOFT_INK)?;
            }
            let place = (0.5 * (left + right), top - ABOVE + 4.0 + TEXT / 2.0);
            canvas.text(place, title, TEXT, Side::Middle, colour::SOFT_INK)?;
        }
        if let Some((title, factor)) = &self.y.second {
            for (value, number) in ticks(
                self.y.from * factor,
                self.y.to * factor,
                (bottom - top) / UPWARDS,
            ) {
                let y = self.y_at(value / factor);
                canvas.line(&[(right, y), (right + 4.0, y)], colour::FRAME, 1.0)?;
                canvas.text(
                    (right + 7.0, y),
                    &number,
                    SMALL,
                    Side::Start,
                    colour::SOFT_INK,
                )?;
            }
            let place = (right + RIGHT - 6.0 - TEXT / 2.0, 0.5 * (top + bottom));
            canvas.text_up(place, title, TEXT, colour::SOFT_INK)?;
        }
        Ok(())
    }

    /// Draws the frame's edge, after what is inside.
    pub fn draw_edge(&self, canvas: &mut Canvas<'_>) -> Result<(), PictureError> {
        let Frame {
            left,
            top,
            right,
            bottom,
        } = self.frame;
        let corners = [
            (left, top),
            (right, top),
            (right, bottom),
            (left, bottom),
            (left, top),
        ];
        canvas.line(&corners, colour::FRAME, 1.0)
    }

    /// Draws a curve through pairs of values, as far as it lies inside.
    pub fn curve(
        &mut self,
        canvas: &mut Canvas<'_>,
        values: impl IntoIterator<Item = (f64, f64)>,
        colour: RGBColor,
        width: f64,
        dashed: bool,
    ) -> Result<(), PictureError> {
        let places: Vec<PixelPair> = values.into_iter().map(|(x, y)| self.at(x, y)).collect();
        for part in visible(&places, &self.frame) {
            if dashed {
                canvas.dashed(&part, colour, width)?;
            } else {
                canvas.line(&part, colour, width)?;
            }
            self.note_busy(&part);
        }
        Ok(())
    }

    /// A line from top to bottom, or none if it lies outside.
    pub fn upright(
        &mut self,
        canvas: &mut Canvas<'_>,
        x: f64,
        colour: RGBColor,
        width: f64,
    ) -> Result<(), PictureError> {
        let (top, bottom) = (self.y.to, self.y.from);
        self.curve(canvas, [(x, bottom), (x, top)], colour, width, true)
    }

    /// Remembers where a line runs, every 4 px.
    fn note_busy(&mut self, places: &[PixelPair]) {
        const EVERY: f64 = 4.0;
        for pair in places.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let length = libm::hypot(to.0 - from.0, to.1 - from.1);
            // At most the diagonal of a sheet over 4.
            let steps = (length / EVERY).ceil().clamp(1.0, 2000.0) as usize;
            self.busy.extend((0..steps).map(|step| {
                let share = step as f64 / steps as f64;
                (
                    from.0 + share * (to.0 - from.0),
                    from.1 + share * (to.1 - from.1),
                )
            }));
        }
    }

    /// Keeps labels out of a part of the frame.
    pub fn keep_free(&mut self, frame: Frame) {
        self.taken.push(frame);
    }

    /// Draws a text beside a place inside the frame: where it covers no other label, and as little
    /// of the curves as can be. Where there is no room at all it is left out; gives whether it was
    /// drawn.
    pub fn label(
        &mut self,
        canvas: &mut Canvas<'_>,
        place: PixelPair,
        text: &str,
        colour: RGBColor,
    ) -> Result<bool, PictureError> {
        let Some(frame) = self.room(place, text, 0.0) else {
            return Ok(false);
        };
        canvas.area(frame, colour::PAPER, 0.7)?;
        let middle = middle_of(&frame);
        canvas.text(middle, text, SMALL, Side::Middle, colour)?;
        self.taken.push(frame);
        Ok(true)
    }

    /// Draws a text in a box that a line joins with its place: nothing shines through, and it is
    /// seen first. Gives whether there was room.
    pub fn callout(
        &mut self,
        canvas: &mut Canvas<'_>,
        place: PixelPair,
        text: &str,
        edge: RGBColor,
    ) -> Result<bool, PictureError> {
        let Some(frame) = self.room(place, text, 9.0) else {
            return Ok(false);
        };
        let middle = middle_of(&frame);
        let near = (
            place.0.clamp(frame.left, frame.right),
            place.1.clamp(frame.top, frame.bottom),
        );
        canvas.line(&[place, near], edge, 2.0)?;
        canvas.area(frame, colour::PAPER, 1.0)?;
        let corners = [
            (frame.left, frame.top),
            (frame.right, frame.top),
            (frame.right, frame.bottom),
            (frame.left, frame.bottom),
            (frame.left, frame.top),
        ];
        canvas.line(&corners, edge, 2.0)?;
        canvas.text(middle, text, SMALL, Side::Middle, colour::INK)?;
        self.taken.push(frame);
        Ok(true)
    }

    /// Where a text has room beside a place, this much further away than need be, px.
    fn room(&self, place: PixelPair, text: &str, further: f64) -> Option<Frame> {
        let (half, high) = (0.5 * width_of(text, SMALL) + 3.0, 0.5 * SMALL + 3.0);
        let mut best: Option<(usize, Frame)> = None;
        for away in [9.0, 20.0, 34.0, 52.0, 74.0, 100.0, 130.0].map(|away| away + further) {
            for (across, down) in [
                (1.0, -1.0),
                (-1.0, -1.0),
                (1.0, 1.0),
                (-1.0, 1.0),
                (1.0, 0.0),
                (-1.0, 0.0),
                (0.0, -1.0),
                (0.0, 1.0),
            ] {
                let aside = if down == 0.0 { away } else { 0.5 * away };
                let middle = (
                    place.0 + across * (half + aside),
                    place.1 + down * (high + away),
                );
                let frame = Frame {
                    left: middle.0 - half,
                    top: middle.1 - high,
                    right: middle.0 + half,
                    bottom: middle.1 + high,
                };
                if !self.frame.holds(&frame) || self.taken.iter().any(|other| other.meets(&frame)) {
                    continue;
                }
                let covers = |place: &&PixelPair| {
                    (frame.left..frame.right).contains(&place.0)
                        && (frame.top..frame.bottom).contains(&place.1)
                };
                // Far away is bad too: four px weigh like one px of a curve.
                let cost = 4 * self.busy.iter().filter(covers).count() + (away / 4.0) as usize;
                if best.is_none_or(|(least, _)| cost < least) {
                    best = Some((cost, frame));
                }
            }
        }
        best.map(|(_, frame)| frame)
    }
}

fn middle_of(frame: &Frame) -> PixelPair {
    (
        0.5 * (frame.left + frame.right),
        0.5 * (frame.top + frame.bottom),
    )
}

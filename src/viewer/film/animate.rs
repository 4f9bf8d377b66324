//! An animated file: GIF, which every browser and mail program plays.

use super::Shot;
use crate::ViewError;

/// Shortest time between two frames that programs keep to, hundredths of a second (common practice, no source).
const LEAST_CS: u16 = 2;

/// Writes an animated GIF frame by frame; it repeats for ever.
pub struct Animation {
    encoder: gif::Encoder<Vec<u8>>,
    frames_per_s: f64,
    /// Time of all frames so far, hundredths of a second.
    shown_cs: u64,
    frames: u64,
    size: [u16; 2],
    last: Option<Shot>,
}

impl Animation {
    /// An animation of pictures of this size, so many a second.
    ///
    /// # Errors
    /// The encoder refuses: a picture too large for the format.
    pub fn new(size: [u32; 2], frames_per_s: f64) -> Result<Self, ViewError> {
        let too_large = |_| ViewError::Encoding("the picture is too large for GIF".to_owned());
        let [width, height] = size;
        let size = [
            u16::try_from(width).map_err(too_large)?,
            u16::try_from(height).map_err(too_large)?,
        ];
        let mut encoder = gif::Encoder::new(Vec::new(), size[0], size[1], &[]).map_err(refused)?;
        encoder.set_repeat(gif::Repeat::Infinite).map_err(refused)?;
        Ok(Self {
            encoder,
            frames_per_s,
            shown_cs: 0,
            frames: 0,
            size,
            last: None,
        })
    }

    /// Appends a frame.
    ///
    /// # Errors
    /// The encoder refuses.
    pub fn push(&mut self, shot: Shot) -> Result<(), ViewError> {
        let delay = self.delay_cs();
        let mut frame = match &self.last {
            Some(last) => changed(last, &shot),
            None => gif::Frame::from_rgb_speed(self.size[0], self.size[1], &shot.rgb, SPEED),
        };
        frame.delay = delay;
        frame.dispose = gif::DisposalMethod::Keep;
        self.encoder.write_frame(&frame).map_err(refused)?;
        self.last = Some(shot);
        Ok(())
    }

    /// The file.
    ///
    /// # Errors
    /// The encoder refuses.
    pub fn finish(self) -> Result<Vec<u8>, ViewError> {
        self.encoder
            .into_inner()
            .map_err(|error| ViewError::Encoding(error.to_string()))
    }

    /// Hundredths of a second that the next frame is shown: rounded so that the whole keeps its time.
    fn delay_cs(&mut self) -> u16 {
        self.frames += 1;
        let until = (self.frames as f64 * 100.0 / self.frames_per_s).round() as u64;
        let delay = until
            .saturating_sub(self.shown_cs)
            .clamp(u64::from(LEAST_CS), 1000) as u16;
        self.shown_cs += u64::from(delay);
        delay
    }
}

/// How little care goes into choosing the 256 colours: 1 is best and slowest, 30 worst.
const SPEED: i32 = 12;

/// The smallest rectangle that holds everything that changed.
fn changed(last: &Shot, shot: &Shot) -> gif::Frame<'static> {
    let width = shot.size[0] as usize;
    let row = 3 * width;
    let differs = |y: usize| last.rgb[y * row..(y + 1) * row] != shot.rgb[y * row..(y + 1) * row];
    let rows = shot.rgb.len() / row.max(1);
    let top = (0..rows).find(|y| differs(*y)).unwrap_or(0);
    let bottom = (top..rows).rev().find(|y| differs(*y)).unwrap_or(top);
    let (mut left, mut right) = (width, 0);
    for y in top..=bottom {
        let pixel = |x: usize| y * row + 3 * x..y * row + 3 * x + 3;
        let other = |x: &usize| last.rgb[pixel(*x)] != shot.rgb[pixel(*x)];
        left = left.min((0..width).find(other).unwrap_or(width));
        right = right.max((0..width).rev().find(other).unwrap_or(0));
    }
    // Nothing changed: a frame needs a pixel.
    if left > right {
        (left, right) = (0, 0);
    }
    let (part_width, part_height) = (right - left + 1, bottom - top + 1);
    let mut part = Vec::with_capacity(3 * part_width * part_height);
    for y in top..=bottom {
        part.extend_from_slice(&shot.rgb[y * row + 3 * left..y * row + 3 * (right + 1)]);
    }
    // The picture's sides fit 16 bits, so its parts do.
    let narrow = |value: usize| u16::try_from(value).unwrap_or(u16::MAX);
    let mut frame =
        gif::Frame::from_rgb_speed(narrow(part_width), narrow(part_height), &part, SPEED);
    frame.left = narrow(left);
    frame.top = narrow(top);
    frame
}

fn refused(error: gif::EncodingError) -> ViewError {
    ViewError::Encoding(error.to_string())
}

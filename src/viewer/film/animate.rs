//! An animated file: GIF, which every browser and mail program plays.

use std::collections::BTreeMap;

use color_quant::NeuQuant;

use super::Shot;
use crate::ViewError;

/// Shortest time between two frames that programs keep to, hundredths of a second (common practice,
/// no source).
const LEAST_CS: u16 = 2;
/// Colours of the file; the last of GIF's 256 is for what stays as it was.
const COLOURS: usize = 255;
/// Every so manieth pixel of the samples goes into choosing the colours; 1 is best and slowest, 30
/// worst.
const EVERY: i32 = 7;

/// Writes an animated GIF frame by frame; it repeats for ever.
///
/// All frames share one set of colours, chosen from samples of the whole: with a set for each
/// frame, what comes back to its old colour would come back a shade off.
pub struct Animation {
    encoder: gif::Encoder<Vec<u8>>,
    colours: NeuQuant,
    /// Colours that were looked up before.
    known: BTreeMap<[u8; 3], u8>,
    frames_per_s: f64,
    /// Time of all frames so far, hundredths of a second.
    shown_cs: u64,
    frames: u64,
    size: [u16; 2],
    last: Option<Shot>,
}

impl Animation {
    /// An animation of so many frames a second, in colours that suit `samples`, at least one, all
    /// of one size.
    ///
    /// # Errors
    /// There is no sample, or a picture is too large for the format.
    pub fn new(samples: &[Shot], frames_per_s: f64) -> Result<Self, ViewError> {
        let Some(first) = samples.first() else {
            return Err(ViewError::Empty);
        };
        let too_large = |_| ViewError::Encoding("the picture is too large for GIF".to_owned());
        let [width, height] = first.size;
        let size = [
            u16::try_from(width).map_err(too_large)?,
            u16::try_from(height).map_err(too_large)?,
        ];
        let pixels = samples.iter().flat_map(|shot| shot.rgb.chunks_exact(3));
        let rgba: Vec<u8> = pixels
            .flat_map(|pixel| [pixel[0], pixel[1], pixel[2], 255])
            .collect();
        let colours = NeuQuant::new(EVERY, COLOURS, &rgba);
        let mut palette = colours.color_map_rgb();
        palette.extend([0; 3]);
        let mut encoder =
            gif::Encoder::new(Vec::new(), size[0], size[1], &palette).map_err(refused)?;
        encoder.set_repeat(gif::Repeat::Infinite).map_err(refused)?;
        Ok(Self {
            encoder,
            colours,
            known: BTreeMap::new(),
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
    /// It is of another size than the samples, or the encoder refuses.
    pub fn push(&mut self, shot: Shot) -> Result<(), ViewError> {
        if shot.size != self.size.map(u32::from) {
            return Err(ViewError::Encoding(
                "the frames are of different sizes".to_owned(),
            ));
        }
        let delay = self.delay_cs();
        let part = match &self.last {
            Some(last) => changed(last, &shot),
            None => FramePart {
                left: 0,
                top: 0,
                width: shot.size[0] as usize,
                height: shot.size[1] as usize,
            },
        };
        let buffer = self.indices(&shot, &part);
        // The picture's sides fit 16 bits, so its parts do.
        let narrow = |value: usize| u16::try_from(value).unwrap_or(u16::MAX);
        let frame = gif::Frame {
            left: narrow(part.left),
            top: narrow(part.top),
            width: narrow(part.width),
            height: narrow(part.height),
            delay,
            dispose: gif::DisposalMethod::Keep,
            transparent: Some(COLOURS as u8),
            buffer: buffer.into(),
            ..gif::Frame::default()
        };
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

    /// Hundredths of a second that the next frame is shown: rounded so that the whole keeps its
    /// time.
    fn delay_cs(&mut self) -> u16 {
        self.frames += 1;
        let until = (self.frames as f64 * 100.0 / self.frames_per_s).round() as u64;
        let delay = until
            .saturating_sub(self.shown_cs)
            .clamp(u64::from(LEAST_CS), 1000) as u16;
        self.shown_cs += u64::from(delay);
        delay
    }

    /// Colours of a part of the picture; what stayed as it was is left transparent, in long runs
    /// that take next to no room.
    fn indices(&mut self, shot: &Shot, part: &FramePart) -> Vec<u8> {
        let row = 3 * shot.size[0] as usize;
        let mut indices = Vec::with_capacity(part.width * part.height);
        for y in part.top..part.top + part.height {
            let from = y * row + 3 * part.left;
            for at in (from..from + 3 * part.width).step_by(3) {
                let pixel = [shot.rgb[at], shot.rgb[at + 1], shot.rgb[at + 2]];
                let stays = self
                    .last
                    .as_ref()
                    .is_some_and(|last| last.rgb[at..at + 3] == pixel);
                indices.push(if stays {
                    COLOURS as u8
                } else {
                    let colours = &self.colours;
                    *self.known.entry(pixel).or_insert_with(|| {
                        // The set has 255 colours.
                        colours.index_of(&[pixel[0], pixel[1], pixel[2], 255]) as u8
                    })
                });
            }
        }
        indices
    }
}

/// A part of a picture, px.
struct FramePart {
    left: usize,
    top: usize,
    width: usize,
    height: usize,
}

/// The smallest part that holds everything that changed; one pixel if nothing did.
fn changed(last: &Shot, shot: &Shot) -> FramePart {
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
    if left > right {
        (left, right) = (0, 0);
    }
    FramePart {
        left,
        top,
        width: right - left + 1,
        height: bottom - top + 1,
    }
}

fn refused(error: gif::EncodingError) -> ViewError {
    ViewError::Encoding(error.to_string())
}

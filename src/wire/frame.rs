//! Frames: CRC and COBS around a message.

use crate::{FRAME_MAX, MESSAGE_MAX};
use crc::{CRC_32_ISO_HDLC, Crc, NoTable};
use serde::{Serialize, de::DeserializeOwned};

/// CRC-32 of a frame: check value CBF43926 over `123456789` (catalogue of parametrised CRC
/// algorithms, CRC-32/ISO-HDLC). Without a table: on an 8-bit board a table would stand in RAM.
pub(crate) const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

const CRC_BYTES: usize = 4;

/// Why a message does not fit a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EncodeError;

/// What is wrong with what came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameError {
    /// More bytes than any frame has before a zero byte came.
    TooLong,
    /// Not COBS.
    Coding,
    /// Shorter than a CRC.
    TooShort,
    /// The CRC is another.
    Crc,
    /// The CRC is right, but it is no message of this version, or there is more behind it.
    Message,
}

/// Puts a message into a frame, its zero byte included; returns the frame's length.
///
/// # Errors
/// If the message is longer than [`MESSAGE_MAX`] with its CRC, or the frame longer than `out`.
#[inline(never)]
pub fn encode<T: Serialize>(message: &T, out: &mut [u8]) -> Result<usize, EncodeError> {
    let mut plain = [0; MESSAGE_MAX];
    let length = postcard::to_slice(message, &mut plain)
        .map_err(|_| EncodeError)?
        .len();
    let whole = length + CRC_BYTES;
    let crc = CRC.checksum(plain.get(..length).ok_or(EncodeError)?);
    plain
        .get_mut(length..whole)
        .ok_or(EncodeError)?
        .copy_from_slice(&crc.to_le_bytes());
    let plain = plain.get(..whole).ok_or(EncodeError)?;
    if out.len() < cobs::max_encoding_length(whole) + 1 {
        return Err(EncodeError);
    }
    let coded = cobs::encode(plain, out);
    *out.get_mut(coded).ok_or(EncodeError)? = 0;
    Ok(coded + 1)
}

/// Takes in bytes as they come and gives messages.
#[derive(Clone, Debug)]
pub struct Decoder {
    bytes: [u8; FRAME_MAX],
    length: usize,
    /// More has come than fits: nothing counts until the next zero byte.
    lost: bool,
}

impl Default for Decoder {
    fn default() -> Self {
        Self::new()
    }
}

impl Decoder {
    /// A decoder at the beginning of a frame.
    pub const fn new() -> Self {
        Self {
            bytes: [0; FRAME_MAX],
            length: 0,
            lost: false,
        }
    }

    /// Takes in one byte. `None` while a frame is not at its end; an empty frame (a zero byte after
    /// a zero byte) is none.
    ///
    /// # Errors
    /// The frame that ends here is no message of this kind. The next one is read from its
    /// beginning.
    pub fn take<T: DeserializeOwned>(&mut self, byte: u8) -> Option<Result<T, FrameError>> {
        if byte != 0 {
            match self.bytes.get_mut(self.length) {
                Some(place) => {
                    *place = byte;
                    self.length += 1;
                }
                None => self.lost = true,
            }
            return None;
        }
        let (length, lost) = (self.length, self.lost);
        (self.length, self.lost) = (0, false);
        if lost {
            return Some(Err(FrameError::TooLong));
        }
        if length == 0 {
            return None;
        }
        Some(self.message(length))
    }

    #[inline(never)]
    fn message<T: DeserializeOwned>(&mut self, length: usize) -> Result<T, FrameError> {
        let coded = self.bytes.get_mut(..length).ok_or(FrameError::TooLong)?;
        let plain = cobs::decode_in_place(coded).map_err(|_| FrameError::Coding)?;
        let end = plain.checked_sub(CRC_BYTES).ok_or(FrameError::TooShort)?;
        let (message, crc) = self
            .bytes
            .get(..plain)
            .and_then(|whole| whole.split_at_checked(end))
            .ok_or(FrameError::TooShort)?;
        if crc != CRC.checksum(message).to_le_bytes() {
            return Err(FrameError::Crc);
        }
        match postcard::take_from_bytes(message) {
            Ok((message, [])) => Ok(message),
            _ => Err(FrameError::Message),
        }
    }
}

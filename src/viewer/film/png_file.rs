//! PNG.

use std::io::Cursor;

use super::Shot;
use crate::ViewError;

/// The picture as a PNG file.
///
/// # Errors
/// The encoder refuses: sizes that do not fit the pixels.
pub fn encode_png(shot: &Shot) -> Result<Vec<u8>, ViewError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, shot.size[0], shot.size[1]);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Balanced);
    let refused = |error: png::EncodingError| ViewError::Encoding(error.to_string());
    let mut writer = encoder.write_header().map_err(refused)?;
    writer.write_image_data(&shot.rgb).map_err(refused)?;
    writer.finish().map_err(refused)?;
    Ok(bytes)
}

/// The picture in a PNG file as [`encode_png`] makes it.
///
/// # Errors
/// It is none, or has other colours than red, green and blue of eight bits.
pub fn decode_png(bytes: &[u8]) -> Result<Shot, ViewError> {
    let refused = |error: png::DecodingError| ViewError::Encoding(error.to_string());
    let mut reader = png::Decoder::new(Cursor::new(bytes))
        .read_info()
        .map_err(refused)?;
    let Some(length) = reader.output_buffer_size() else {
        return Err(ViewError::Encoding("it is too large".to_owned()));
    };
    let mut rgb = vec![0; length];
    let info = reader.next_frame(&mut rgb).map_err(refused)?;
    if info.color_type != png::ColorType::Rgb || info.bit_depth != png::BitDepth::Eight {
        return Err(ViewError::Encoding(
            "it is not of 8-bit red, green and blue".to_owned(),
        ));
    }
    rgb.truncate(info.buffer_size());
    Ok(Shot {
        size: [info.width, info.height],
        rgb,
    })
}

//! What both targets need.

/// A frame around any bytes, by the bare rules of `docs/guides/wire.md` and none of the project's
/// code.
pub fn framed(message: &[u8]) -> Vec<u8> {
    let mut plain = message.to_vec();
    plain.extend(crc32(message).to_le_bytes());
    let mut frame = Vec::new();
    let mut run = Vec::new();
    for byte in plain {
        if byte != 0 {
            run.push(byte);
        }
        if byte == 0 || run.len() == 254 {
            frame.push(run.len() as u8 + 1);
            frame.append(&mut run);
        }
    }
    frame.push(run.len() as u8 + 1);
    frame.append(&mut run);
    frame.push(0);
    frame
}

fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg());
        }
    }
    !crc
}

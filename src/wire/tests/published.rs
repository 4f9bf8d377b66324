//! COBS, CRC-32 and postcard as others publish them: what a firmware writer's own libraries will
//! do.

use crate::frame::CRC;
use crate::tests::{hex, read};
use crate::{FrameError, Request};

#[test]
fn cobs_codes_as_published() {
    // Cheshire and Baker, "Consistent Overhead Byte Stuffing" (IEEE/ACM Transactions on
    // Networking 7(2), 1999); the last byte of each is the delimiter.
    let vectors: [(&[u8], &[u8]); 6] = [
        (&[0x00], &[0x01, 0x01, 0x00]),
        (&[0x00, 0x00], &[0x01, 0x01, 0x01, 0x00]),
        (
            &[0x11, 0x22, 0x00, 0x33],
            &[0x03, 0x11, 0x22, 0x02, 0x33, 0x00],
        ),
        (
            &[0x11, 0x22, 0x33, 0x44],
            &[0x05, 0x11, 0x22, 0x33, 0x44, 0x00],
        ),
        (
            &[0x11, 0x00, 0x00, 0x00],
            &[0x02, 0x11, 0x01, 0x01, 0x01, 0x00],
        ),
        (&[], &[0x01, 0x00]),
    ];
    for (plain, coded) in vectors {
        let mut out = [0xAA; 16];
        let length = cobs::encode(plain, &mut out);
        out[length] = 0;
        assert_eq!(&out[..=length], coded, "{}", hex(plain));
        let mut back = coded[..coded.len() - 1].to_vec();
        let length = cobs::decode_in_place(&mut back).unwrap();
        assert_eq!(&back[..length], plain, "{}", hex(coded));
    }
}

#[test]
fn both_endings_after_254_bytes_are_read() {
    // Exactly 254 bytes that are not zero: encoders end with FF and the bytes, or with a further
    // 01; decoders accept both (both forms are in use, common practice, no source).
    let plain: Vec<u8> = (1..=254).collect();
    let mut short = vec![0xFF];
    short.extend(&plain);
    let mut long = short.clone();
    long.push(0x01);
    for mut coded in [short, long] {
        let length = cobs::decode_in_place(&mut coded).unwrap();
        assert_eq!(coded[..length], plain[..]);
    }
}

#[test]
fn crc_has_the_published_check_value() {
    // CRC-32 over "123456789" is CBF43926: catalogue of parametrised CRC algorithms,
    // CRC-32/ISO-HDLC.
    assert_eq!(CRC.checksum(b"123456789"), 0xCBF4_3926);
}

#[test]
fn postcard_codes_as_specified() {
    let coded = |value: i16| {
        let mut bytes = [0; 8];
        postcard::to_slice(&value, &mut bytes).unwrap().to_vec()
    };
    // postcard's specification; for i16 the published table's FF FF 02 is an erratum:
    // zigzag makes 65534 of 32767, and that is FE FF 03.
    assert_eq!(coded(32767), [0xFE, 0xFF, 0x03]);
    // postcard's specification, the section on zigzag: 0, -1, 1 become 0, 1, 2, ...
    for (value, zigzag) in [(0, 0), (-1, 1), (1, 2), (63, 126), (-64, 127)] {
        assert_eq!(coded(value), [zigzag]);
    }
    // ... and 8-bit integers travel as they are.
    let mut bytes = [0; 4];
    assert_eq!(
        *postcard::to_slice(&(0xFFu8, -1i8), &mut bytes).unwrap(),
        [0xFF, 0xFF]
    );
}

#[test]
fn a_frame_made_by_hand_is_read() {
    // Request `Trip`: number 3; CRC-32 of 03 is 4B0BBE37 by zlib's crc32 (RFC 1952, section 8, the
    // same CRC).
    let frame = [0x06, 0x03, 0x37, 0xBE, 0x0B, 0x4B, 0x00];
    assert_eq!(read::<Request>(&frame), [Ok(Request::Trip)]);
    let most_first = [0x06, 0x03, 0x4B, 0x0B, 0xBE, 0x37, 0x00];
    assert_eq!(read::<Request>(&most_first), [Err(FrameError::Crc)]);
}

//! Sheets, animations and files. Pictures themselves need a driver: see `tests/film.rs` of the
//! workspace.

use super::*;
use crate::timeline::tests::pushed;

fn shot(width: u32, height: u32, colour: [u8; 3]) -> Shot {
    let count = (width * height) as usize;
    Shot {
        size: [width, height],
        rgb: colour.repeat(count),
    }
}

#[test]
fn a_png_comes_back_as_it_was() {
    let mut picture = shot(7, 5, [10, 20, 30]);
    picture.rgb[3] = 200;
    let bytes = encode_png(&picture).unwrap();
    assert_eq!(decode_png(&bytes).unwrap(), picture);
    assert!(decode_png(&bytes[..20]).is_err());
    let mut short = picture;
    short.rgb.pop();
    assert!(encode_png(&short).is_err());
}

#[test]
fn a_sheet_holds_every_picture_once() {
    assert_eq!(contact_sheet(&[]), None);
    for count in 1..=13_u8 {
        let shots: Vec<Shot> = (0..count)
            .map(|index| shot(64, 36, [index * 10, 0, 9]))
            .collect();
        let sheet = contact_sheet(&shots).unwrap();
        assert_eq!(
            sheet.rgb.len(),
            3 * (sheet.size[0] * sheet.size[1]) as usize
        );
        for index in 0..count {
            let found = sheet
                .rgb
                .chunks(3)
                .filter(|pixel| *pixel == [index * 10, 0, 9])
                .count();
            assert_eq!(found, 64 * 36, "{index} of {count}");
        }
    }
}

/// Twice as wide as a sheet's pictures may be: each pixel is the mean of four.
#[test]
fn large_pictures_are_made_smaller_for_a_sheet() {
    let small = shot(960, 540, [7, 8, 9]);
    assert_eq!(for_sheet(small.clone()), small);
    let mut large = shot(1920, 1080, [100, 100, 100]);
    large.rgb[..3].copy_from_slice(&[200, 100, 0]);
    let made = for_sheet(large);
    assert_eq!((made.size, made.rgb.len()), ([960, 540], 3 * 960 * 540));
    assert_eq!(made.rgb[..6], [125, 100, 75, 100, 100, 100]);
    let odd = for_sheet(shot(3841, 161, [1, 2, 3]));
    assert_eq!(odd.rgb.len(), 3 * (odd.size[0] * odd.size[1]) as usize);
}

/// Frames shown for hundredths of a second: 15 a second are 6.67 each, so that after 15 a whole
/// second has gone.
#[test]
fn an_animation_keeps_its_time_and_only_stores_what_changed() {
    let mut sample = shot(32, 16, [40, 40, 40]);
    sample.rgb[..3 * 200].copy_from_slice(&[250, 0, 0].repeat(200));
    let mut animation = Animation::new(&[sample], 15.0).unwrap();
    for frame in 0..15_usize {
        let mut picture = shot(32, 16, [40, 40, 40]);
        let dot = 3 * (5 * 32 + frame);
        picture.rgb[dot..dot + 3].copy_from_slice(&[250, 0, 0]);
        animation.push(picture).unwrap();
    }
    let bytes = animation.finish().unwrap();
    let mut options = gif::DecodeOptions::new();
    options.set_color_output(gif::ColorOutput::RGBA);
    let mut decoder = options.read_info(bytes.as_slice()).unwrap();
    assert_eq!((decoder.width(), decoder.height()), (32, 16));
    let mut delays = Vec::new();
    let mut sizes = Vec::new();
    let mut colours = Vec::new();
    while let Some(frame) = decoder.read_next_frame().unwrap() {
        delays.push(u32::from(frame.delay));
        sizes.push((frame.width, frame.height));
        colours.push(frame.buffer[..8].to_vec());
    }
    assert_eq!(delays.iter().sum::<u32>(), 100);
    assert_eq!(sizes[0], (32, 16));
    assert!(sizes[1..].iter().all(|size| *size == (2, 1)), "{sizes:?}");
    // The dot went one to the right: grey where it was, the very grey of the first frame, red where
    // it is.
    let near = |seen: &[u8], wanted: [u8; 3]| {
        let off = seen
            .iter()
            .zip(wanted)
            .map(|(seen, wanted)| seen.abs_diff(wanted));
        off.max().unwrap_or(0) < 12
    };
    for pair in &colours[1..] {
        assert!(near(&pair[4..7], [250, 0, 0]), "{pair:?}");
        assert_eq!(pair[..4], colours[0][..4]);
    }
    assert!(near(&colours[0][..3], [40, 40, 40]));
}

#[test]
fn an_animation_that_stands_still_is_fine() {
    let mut animation = Animation::new(&[shot(8, 8, [1, 2, 3])], 50.0).unwrap();
    for _ in 0..3 {
        animation.push(shot(8, 8, [1, 2, 3])).unwrap();
    }
    assert!(animation.finish().unwrap().starts_with(b"GIF89a"));
    assert!(Animation::new(&[shot(70_000, 1, [0; 3])], 1.0).is_err());
    assert!(Animation::new(&[], 1.0).is_err());
    let mut mixed = Animation::new(&[shot(8, 8, [1, 2, 3])], 50.0).unwrap();
    assert!(mixed.push(shot(4, 4, [0; 3])).is_err());
}

#[test]
fn frames_and_key_instants_lie_in_the_run() {
    assert_eq!(frames_of(6.0, 15.0).len(), 91);
    assert_eq!(frames_of(6.0, 15.0).last(), Some(&6.0));
    assert_eq!(frames_of(0.0, 15.0), [0.0]);
    let timeline = pushed("kittiwake");
    let worst_s = timeline.expectations[1].judgement.as_ref().unwrap().at_s;
    for count in [1, 4, 9] {
        let instants = key_instants(&timeline, count);
        assert_eq!(instants.len(), count);
        assert!(instants.windows(2).all(|pair| pair[0] < pair[1]));
        assert!(instants.iter().all(|at_s| (0.0..=3.0).contains(at_s)));
        assert!(
            count == 1 || instants.contains(&worst_s),
            "{instants:?} {worst_s}"
        );
    }
}

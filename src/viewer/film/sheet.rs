//! A contact sheet: several pictures on one page.

use super::Shot;

/// White between the pictures, px.
const GAP: u32 = 6;
/// Widest sheet, px.
const WIDEST: u32 = 2400;

/// Lays pictures of one size side by side and below each other, on white; `None` without pictures.
pub fn contact_sheet(shots: &[Shot]) -> Option<Shot> {
    let [width, height] = shots.first()?.size;
    let count = u32::try_from(shots.len()).ok()?;
    // About as wide as high, as far as the pictures allow.
    let most = (WIDEST / (width + GAP)).max(1);
    let across = (1..=most.min(count))
        .min_by_key(|across| {
            let down = count.div_ceil(*across);
            let (wide, high) = (across * (width + GAP), down * (height + GAP));
            let empty = across * down - count;
            wide.abs_diff(high) + empty * width / 2
        })
        .unwrap_or(1);
    let down = count.div_ceil(across);
    let size = [across * (width + GAP) + GAP, down * (height + GAP) + GAP];
    let mut rgb = vec![255; 3 * size[0] as usize * size[1] as usize];
    for (index, shot) in shots.iter().enumerate() {
        let index = index as u32;
        let left = GAP + index % across * (width + GAP);
        let top = GAP + index / across * (height + GAP);
        for (y, row) in shot.rgb.chunks_exact(3 * width as usize).enumerate() {
            let from = 3 * ((top as usize + y) * size[0] as usize + left as usize);
            rgb[from..from + row.len()].copy_from_slice(row);
        }
    }
    Some(Shot { size, rgb })
}

//! A contact sheet: several pictures on one page.

use super::Shot;

/// White between the pictures, px.
const GAP: u32 = 6;
/// Widest picture on a sheet, px: larger ones are made smaller, so that a sheet can be looked at.
const WIDEST: u32 = 960;

/// A picture small enough for a sheet: each pixel the mean of a square of the original's.
pub fn for_sheet(shot: Shot) -> Shot {
    let [width, height] = shot.size;
    let times = width.max(height).div_ceil(WIDEST);
    if times <= 1 {
        return shot;
    }
    let size = [width / times, height / times];
    let (row, step) = (3 * width as usize, times as usize);
    let mut rgb = Vec::with_capacity(3 * (size[0] * size[1]) as usize);
    for y in 0..size[1] as usize {
        for x in 0..size[0] as usize {
            for part in 0..3 {
                let rows = (0..step).map(|dy| (y * step + dy) * row + part);
                let sum: usize = rows
                    .flat_map(|from| (0..step).map(move |dx| from + 3 * (x * step + dx)))
                    .map(|at| usize::from(shot.rgb[at]))
                    .sum();
                // A mean of bytes is one.
                rgb.push((sum / (step * step)) as u8);
            }
        }
    }
    Shot { size, rgb }
}

/// Lays pictures of one size side by side and below each other, on white; `None` without pictures.
pub fn contact_sheet(shots: &[Shot]) -> Option<Shot> {
    let [width, height] = shots.first()?.size;
    let count = u32::try_from(shots.len()).ok()?;
    // About as wide as high, with few places left empty.
    let across = (1..=count)
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
        // There are at most as many as fit a u32, see above.
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

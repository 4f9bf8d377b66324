//! Curves with as many corners as the eye can distinguish, cut at the edge of their frame.

use super::canvas::{Frame, PixelPair};

/// Pieces that a long curve is parted into; each keeps its first, lowest, highest and last corner.
const PIECES: usize = 800;

/// How far a curve may be from its thinned form, px.
const BLUR: f64 = 0.12;

/// Parts a curve where it is not a number, thins each part and cuts it at the frame.
pub(super) fn visible(places: &[PixelPair], frame: &Frame) -> Vec<Vec<PixelPair>> {
    places
        .split(|place| !(place.0.is_finite() && place.1.is_finite()))
        .flat_map(|part| cut(&pieces(part), frame))
        .map(|part| straight(&part))
        .filter(|part| part.len() > 1)
        .collect()
}

/// First, lowest, highest and last of each piece, in their order.
fn pieces(places: &[PixelPair]) -> Vec<PixelPair> {
    if places.len() <= 4 * PIECES {
        return places.to_vec();
    }
    let mut kept = Vec::with_capacity(4 * PIECES);
    for piece in places.chunks(places.len().div_ceil(PIECES)) {
        let by_height = |a: &(usize, &PixelPair), b: &(usize, &PixelPair)| a.1.1.total_cmp(&b.1.1);
        let low = piece.iter().enumerate().min_by(by_height).map(|low| low.0);
        let high = piece
            .iter()
            .enumerate()
            .max_by(by_height)
            .map(|high| high.0);
        let mut picked = vec![0, piece.len() - 1];
        picked.extend(low);
        picked.extend(high);
        picked.sort_unstable();
        picked.dedup();
        kept.extend(picked.into_iter().map(|index| piece[index]));
    }
    kept
}

/// The parts of a line that lie inside a frame (Liang and Barsky's parametric clipping, from
/// memory).
fn cut(places: &[PixelPair], frame: &Frame) -> Vec<Vec<PixelPair>> {
    let mut parts: Vec<Vec<PixelPair>> = Vec::new();
    let mut open: Vec<PixelPair> = Vec::new();
    for pair in places.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let (across, down) = (to.0 - from.0, to.1 - from.1);
        let mut enters = 0.0_f64;
        let mut leaves = 1.0_f64;
        let mut outside = false;
        for (speed, room) in [
            (-across, from.0 - frame.left),
            (across, frame.right - from.0),
            (-down, from.1 - frame.top),
            (down, frame.bottom - from.1),
        ] {
            if speed == 0.0 {
                outside |= room < 0.0;
            } else if speed < 0.0 {
                enters = enters.max(room / speed);
            } else {
                leaves = leaves.min(room / speed);
            }
        }
        if outside || enters > leaves {
            parts.push(std::mem::take(&mut open));
            continue;
        }
        let at = |share: f64| (from.0 + share * across, from.1 + share * down);
        if enters > 0.0 || open.is_empty() {
            parts.push(std::mem::take(&mut open));
            open.push(at(enters));
        }
        open.push(at(leaves));
        if leaves < 1.0 {
            parts.push(std::mem::take(&mut open));
        }
    }
    parts.push(open);
    parts.retain(|part| part.len() > 1);
    parts
}

/// Leaves out corners that lie within [`BLUR`] of the line without them (Douglas and Peucker, 1973,
/// from memory).
fn straight(places: &[PixelPair]) -> Vec<PixelPair> {
    let Some(last) = places.len().checked_sub(1) else {
        return Vec::new();
    };
    let mut keep = vec![false; places.len()];
    keep[0] = true;
    keep[last] = true;
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        let farthest = (from + 1..to)
            .map(|index| (index, distance(places[index], places[from], places[to])))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((index, far)) = farthest
            && far > BLUR
        {
            keep[index] = true;
            open.push((from, index));
            open.push((index, to));
        }
    }
    let mut kept = keep.into_iter();
    let mut out = places.to_vec();
    out.retain(|_| kept.next().unwrap_or(true));
    out
}

/// Distance of a place from the stretch between two others.
fn distance(place: PixelPair, from: PixelPair, to: PixelPair) -> f64 {
    let (across, down) = (to.0 - from.0, to.1 - from.1);
    let square = across * across + down * down;
    let share = if square > 0.0 {
        (((place.0 - from.0) * across + (place.1 - from.1) * down) / square).clamp(0.0, 1.0)
    } else {
        0.0
    };
    libm::hypot(
        place.0 - from.0 - share * across,
        place.1 - from.1 - share * down,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Frame = Frame {
        left: 0.0,
        top: 0.0,
        right: 100.0,
        bottom: 50.0,
    };

    #[test]
    fn a_line_is_cut_where_it_leaves_and_comes_back() {
        let parts = visible(&[(10.0, 25.0), (50.0, -25.0), (90.0, 25.0)], &FRAME);
        assert_eq!(
            parts,
            [
                vec![(10.0, 25.0), (30.0, 0.0)],
                vec![(70.0, 0.0), (90.0, 25.0)]
            ]
        );
        assert!(visible(&[(-5.0, -5.0), (200.0, -1.0)], &FRAME).is_empty());
        // Right through, with both ends outside.
        let through = visible(&[(-10.0, 20.0), (110.0, 20.0)], &FRAME);
        assert_eq!(through, [vec![(0.0, 20.0), (100.0, 20.0)]]);
    }

    #[test]
    fn what_is_no_number_parts_a_curve() {
        let parts = visible(
            &[
                (0.0, 1.0),
                (1.0, 3.0),
                (2.0, f64::NAN),
                (3.0, 1.0),
                (4.0, 2.0),
            ],
            &FRAME,
        );
        assert_eq!(parts.len(), 2);
    }

    #[test]
    fn a_long_curve_keeps_its_single_spike() {
        let mut places: Vec<PixelPair> = (0..300_000)
            .map(|index| (f64::from(index) / 3000.0, 25.0 + f64::from(index % 2)))
            .collect();
        places[123_457].1 = 5.0;
        let parts = visible(&places, &FRAME);
        let corners: usize = parts.iter().map(Vec::len).sum();
        assert!(corners <= 4 * PIECES, "{corners}");
        assert!(parts.iter().flatten().any(|place| place.1 == 5.0));
    }

    #[test]
    fn corners_on_a_straight_line_go() {
        let line: Vec<PixelPair> = (0..50).map(|index| (f64::from(index), 10.0)).collect();
        assert_eq!(visible(&line, &FRAME), [vec![(0.0, 10.0), (49.0, 10.0)]]);
    }
}

//! How decisions came out, one byte a decision, one bit a side.
//!
//! Goes into a copy of the controller; see `tests/coverage/decisions/`.

use core::cmp::Ordering;
use core::sync::atomic::{AtomicU8, Ordering::Relaxed};

static SEEN: [AtomicU8; 4096] = [const { AtomicU8::new(0) }; 4096];

fn note(id: usize, side: u8) {
    // Most have been seen already: reading is cheaper.
    if SEEN[id].load(Relaxed) & (1 << side) == 0 {
        SEEN[id].fetch_or(1 << side, Relaxed);
    }
}

/// The sides that have been seen of a decision, one bit each.
pub fn sides(id: usize) -> u8 {
    SEEN[id].load(Relaxed)
}

fn order<T: Ord>(id: usize, a: &T, b: &T) -> Ordering {
    let order = a.cmp(b);
    note(id, (order as i8 + 1) as u8);
    order
}

/// `a < b`
pub fn below<T: Ord>(id: usize, a: &T, b: &T) -> bool {
    order(id, a, b).is_lt()
}

/// `a <= b`
pub fn at_most<T: Ord>(id: usize, a: &T, b: &T) -> bool {
    order(id, a, b).is_le()
}

/// `a > b`
pub fn above<T: Ord>(id: usize, a: &T, b: &T) -> bool {
    order(id, a, b).is_gt()
}

/// `a >= b`
pub fn at_least<T: Ord>(id: usize, a: &T, b: &T) -> bool {
    order(id, a, b).is_ge()
}

/// Something that is true or false.
pub fn flag(id: usize, is: bool) -> bool {
    note(id, u8::from(is));
    is
}

/// `a == b`
pub fn equal<T: PartialEq>(id: usize, a: &T, b: &T) -> bool {
    flag(id, a == b)
}

/// `a != b`
pub fn unequal<T: PartialEq>(id: usize, a: &T, b: &T) -> bool {
    flag(id, a != b)
}

/// `a.min(b)`
pub fn min<T: Ord + Copy>(id: usize, a: T, b: T) -> T {
    match a.cmp(&b) {
        Ordering::Less => note(id, 0),
        Ordering::Greater => note(id, 1),
        Ordering::Equal => {}
    }
    a.min(b)
}

/// `a.max(b)`
pub fn max<T: Ord + Copy>(id: usize, a: T, b: T) -> T {
    match a.cmp(&b) {
        Ordering::Greater => note(id, 0),
        Ordering::Less => note(id, 1),
        Ordering::Equal => {}
    }
    a.max(b)
}

/// `value.max(low).min(high)`
pub fn clamp<T: Ord + Copy>(id: usize, value: T, low: T, high: T) -> T {
    let side = if value < low {
        0
    } else if value > high {
        2
    } else {
        1
    };
    note(id, side);
    value.max(low).min(high)
}

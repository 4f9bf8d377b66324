//! Which measurement would separate values that the data hardly distinguish.

use super::problem::Unknown;
use super::result::FitQuantity;

/// Name of an unknown in tables.
pub(super) fn name(unknown: Unknown) -> String {
    match unknown {
        Unknown::Of(quantity) => quantity.name().to_owned(),
        Unknown::SweepTrim => "trimmed position of the sweep".to_owned(),
        Unknown::GaugeZero => "zero of the force gauge".to_owned(),
        Unknown::Trim(i) => format!("trimmed position of response {}", i + 1),
        Unknown::From(i) => format!("beginning of response {}", i + 1),
        Unknown::Delay(i) => format!("instant of release of response {}", i + 1),
    }
}

/// What would part these.
pub(super) fn parts(unknowns: &[Unknown], has_sweep: bool) -> &'static str {
    use super::result::FitQuantity::{Breakout, Damping, FreePlay, Friction, Inertia, Rate};
    let has = |quantity: FitQuantity| unknowns.contains(&Unknown::Of(quantity));
    let others = unknowns
        .iter()
        .any(|one| matches!(one, Unknown::Delay(_) | Unknown::From(_)));
    if has(Breakout) && has(FreePlay) {
        "a slow sweep with readings every 0.03 degrees or closer on both sides of the trimmed position: only the flanks between free play and preload part them"
    } else if has(Rate) && (has(Breakout) || has(FreePlay) || unknowns.len() == 1) {
        "a sweep on to the stops: a longer way beyond the breakout"
    } else if has(Breakout) || (has(FreePlay) && unknowns.len() == 1) {
        "a sweep over both sides of the trimmed position, there and back, beyond the breakout"
    } else if has(Friction) && has(Damping) {
        if has_sweep {
            "a sweep at half the rate, or releases from a larger and from a smaller deflection: friction takes the same off each swing, damping the same share"
        } else {
            "a slow sweep, there and back: the height of its loop is friction"
        }
    } else if has(Inertia) && (has(Rate) || has(Damping)) {
        "a slow sweep for the rate, and a release from half the throw that swings past its rest"
    } else if has(Inertia) || has(Damping) || others {
        "releases read more often, at least 20 times a swing, from one reading before the stick is let go until it rests"
    } else {
        "another sweep from the same trimmed position, to both stops and back"
    }
}

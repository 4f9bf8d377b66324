//! Where a stick can stand: not beyond a stop, not inside an obstacle.

use super::{Rig, check::RangeChecker};
use crate::contact::Surroundings;
use crate::fault::AxisName;
use crate::params::surroundings;

/// Overlap with an obstacle that counts as a touch, m: far below what a contact force would show.
const TOUCH_M: f64 = 1.0e-6;
/// How far beyond a stop an angle may be given, degrees: the rounding of a decimal number.
const SLACK_DEG: f64 = 1.0e-6;
/// Parts of the way from the middle that are tried for the last clear place.
const TRIES: u32 = 200;

/// Why a stick cannot stand where it is put.
#[derive(Clone, Debug, PartialEq)]
pub enum StartConflict {
    /// It would be beyond a stop.
    BeyondStop {
        /// Axis of the stop.
        axis: AxisName,
        /// Angles between which that axis may stand with the other one where it is, degrees.
        range_deg: [f64; 2],
    },
    /// It would be inside an obstacle.
    InsideObstacle {
        /// The obstacle's name.
        name: String,
        /// The last clear place on the straight way there from the middle, `[pitch, roll]`,
        /// degrees; `None` if the obstacle is in the way of the upright stick too.
        clear_deg: Option<[f64; 2]>,
    },
}

impl Rig {
    /// What is in the way of a stick at `[pitch, roll]`, degrees; `None` if it can stand there.
    pub fn start_conflict(&self, angle_deg: [f64; 2]) -> Option<StartConflict> {
        let [pitch_deg, roll_deg] = angle_deg;
        let roll_range_deg = self.roll_range_deg(pitch_deg);
        let ranges = [
            (
                AxisName::Pitch,
                pitch_deg,
                [self.pitch.stops.min_deg, self.pitch.stops.max_deg],
            ),
            (AxisName::Roll, roll_deg, roll_range_deg),
        ];
        for (axis, deg, range_deg) in ranges {
            // Written so that no number at all is in the way too.
            if !(deg >= range_deg[0] - SLACK_DEG && deg <= range_deg[1] + SLACK_DEG) {
                return Some(StartConflict::BeyondStop { axis, range_deg });
            }
        }
        let around = surroundings(self, 1);
        let index = inside(&around, angle_deg)?;
        let name = self.obstacle[index].name.clone();
        let at = |part: u32| angle_deg.map(|deg| deg * f64::from(part) / f64::from(TRIES));
        let clear = (0..TRIES)
            .take_while(|part| inside(&around, at(*part)).is_none())
            .last()
            .map(|part: u32| part.saturating_sub(1));
        Some(StartConflict::InsideObstacle {
            name,
            clear_deg: clear.map(|part| at(part).map(toward_zero)),
        })
    }

    /// No obstacle may be in the way of the upright stick.
    pub(super) fn check_obstacles(&self, check: &mut RangeChecker<'_>) {
        if let Some(index) = inside(&surroundings(self, 1), [0.0; 2]) {
            check.require(&format!("obstacle[{index}].at_m"), false, || {
                format!(
                    "puts `{}` where the upright stick is",
                    self.obstacle[index].name
                )
            });
        }
    }

    /// Roll angles that the roll stops leave at a pitch angle, degrees: tan φ = tan (stop) · cos θ.
    pub fn roll_range_deg(&self, pitch_deg: f64) -> [f64; 2] {
        let cos = libm::cos(pitch_deg.to_radians());
        [self.roll.stops.min_deg, self.roll.stops.max_deg]
            .map(|deg| libm::atan(libm::tan(deg.to_radians()) * cos).to_degrees())
    }
}

/// Index of the first obstacle that the stick would be inside of.
fn inside(around: &Surroundings, angle_deg: [f64; 2]) -> Option<usize> {
    around
        .obstacle_gaps_m(angle_deg.map(f64::to_radians))
        .position(|gap_m| gap_m < -TOUCH_M)
}

/// An angle cut to hundredths of a degree, towards zero: still on the clear side.
fn toward_zero(deg: f64) -> f64 {
    (deg * 100.0).trunc() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn skewed() -> Rig {
        Rig::parse(include_str!("../../../tests/data/skewed_rig.toml")).unwrap()
    }

    /// At a stop a stick may stand, and beyond it by the rounding of a decimal number; a millionth
    /// of a degree is that.
    #[test]
    fn a_stick_may_stand_at_its_stops() {
        let rig = skewed();
        for (stops, axis) in [([-21.0, 19.0], 0), ([-17.0, 18.0], 1)] {
            for (side, stop) in [-1.0, 1.0].into_iter().zip(stops) {
                let at = |beyond_deg: f64| {
                    let mut angle_deg = [0.0; 2];
                    angle_deg[axis] = stop + side * beyond_deg;
                    rig.start_conflict(angle_deg)
                };
                assert_eq!(at(0.0), None);
                assert_eq!(at(0.5e-6), None);
                assert!(matches!(
                    at(2e-6),
                    Some(StartConflict::BeyondStop { axis: found, range_deg })
                        if found == AxisName::ALL[axis] && (range_deg[0] - stops[0]).abs() < 1e-9
                ));
            }
        }
        assert!(rig.start_conflict([f64::NAN, 0.0]).is_some());
    }

    /// The ball stands behind and to the right. The place that is offered instead is on the way
    /// there, in whole hundredths of a degree, clear, and within a two-hundredth of the way of the
    /// last clear one, and a hundredth of rounding.
    #[test]
    fn the_last_clear_place_is_offered() {
        let rig = skewed();
        let asked_deg = [17.0, 11.0];
        let Some(StartConflict::InsideObstacle { name, clear_deg }) = rig.start_conflict(asked_deg)
        else {
            panic!("the ball is in the way")
        };
        assert_eq!(name, "ball");
        let clear_deg = clear_deg.expect("the upright stick is clear");
        assert_eq!(rig.start_conflict(clear_deg), None);
        for (clear, asked) in clear_deg.into_iter().zip(asked_deg) {
            let hundredths = clear * 100.0;
            assert!((hundredths - hundredths.round()).abs() < 1e-9 && clear > 0.0);
            assert!((clear / clear_deg[0] - asked / asked_deg[0]).abs() < 2e-3);
        }
        let beyond = [0, 1].map(|i| clear_deg[i] + 2.0 * asked_deg[i] / 200.0 + 0.01);
        assert!(rig.start_conflict(beyond).is_some(), "{clear_deg:?}");
    }
}

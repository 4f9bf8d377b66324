//! Where a stick can stand: not beyond a stop, not inside an obstacle.

use super::{Rig, check::Checker};
use crate::assembly::surroundings;
use crate::contact::Surroundings;
use crate::fault::AxisName;

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
        /// The last clear place on the straight way there from the middle, `[pitch, roll]`, degrees; `None` if the
        /// obstacle is in the way of the upright stick too.
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
    pub(super) fn check_obstacles(&self, check: &mut Checker<'_>) {
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

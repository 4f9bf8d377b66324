//! How far the stick and the trimmed position go in a trace, and how much of that is seen from
//! which side.

use trimproof_harness::trace::Trace;
use trimproof_io::{AXES, PITCH, ROLL};

/// Directions from which an oblique view is chosen, degrees about the vertical from behind towards
/// the left. All are behind the pilot's shoulders, and each axis keeps at least half of its motion:
/// the sine of 30 degrees. The first of several that show equally much is taken.
pub const OBLIQUE_DEG: [f64; 14] = [
    45.0, -45.0, 40.0, -40.0, 50.0, -50.0, 35.0, -35.0, 55.0, -55.0, 30.0, -30.0, 60.0, -60.0,
];

/// An axis that goes less far than this rests, deg.
const LEAST_DEG: f64 = 0.1;
/// An axis that goes less far than this share of the other's travel rests: beside it nothing would
/// be seen.
const LEAST_SHARE: f64 = 0.1;

/// How far stick and trimmed position go in a trace.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ShownTravel {
    stick: [Span; AXES],
    reference: [Span; AXES],
    /// How far the grip and the trimmed grip go across the picture, seen from each of
    /// [`OBLIQUE_DEG`]: the sum over all ticks, in degrees of stick angle.
    across_deg: [f64; OBLIQUE_DEG.len()],
    last_deg: Option<[[f64; AXES]; 2]>,
    rows: usize,
}

/// Least and greatest value so far, deg.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Span(Option<[f64; 2]>);

impl Span {
    fn take(&mut self, deg: f64) {
        let [low, high] = self.0.unwrap_or([deg; 2]);
        self.0 = Some([low.min(deg), high.max(deg)]);
    }

    fn width_deg(self) -> f64 {
        self.0.map_or(0.0, |[low, high]| high - low)
    }
}

impl ShownTravel {
    /// Takes the rows that the trace has more than this.
    pub fn follow(&mut self, trace: &Trace) {
        let columns = ["stick_deg", "reference_deg"]
            .map(|what| ["pitch", "roll"].map(|axis| trace.numbers(&format!("{axis}.{what}"))));
        let turns = OBLIQUE_DEG.map(|deg| libm::sincos(deg.to_radians()));
        for row in self.rows..trace.rows() {
            let now_deg = columns.map(|axes| {
                // A column that the trace does not have, and a value that is none, stand still.
                axes.map(|values| values.and_then(|values| values.get(row).copied()))
                    .map(|value| value.filter(|value| value.is_finite()).unwrap_or(0.0))
            });
            for axis in [PITCH, ROLL] {
                self.stick[axis].take(now_deg[0][axis]);
                self.reference[axis].take(now_deg[1][axis]);
            }
            if let Some(last_deg) = self.last_deg {
                for what in 0..2 {
                    let by_deg =
                        [PITCH, ROLL].map(|axis| now_deg[what][axis] - last_deg[what][axis]);
                    for (sum, (sin, cos)) in self.across_deg.iter_mut().zip(turns) {
                        // To the right of the picture: aft by the sine, right by the cosine.
                        *sum += (by_deg[PITCH] * sin + by_deg[ROLL] * cos).abs();
                    }
                }
            }
            self.last_deg = Some(now_deg);
        }
        self.rows = trace.rows();
    }

    /// From the least to the greatest angle of the stick or of the trimmed position, whichever goes
    /// farther, `[pitch, roll]`, deg.
    pub fn deg(&self) -> [f64; AXES] {
        [PITCH, ROLL].map(|axis| {
            self.stick[axis]
                .width_deg()
                .max(self.reference[axis].width_deg())
        })
    }

    /// Least and greatest angle of the stick on an axis so far, deg; `None` without rows.
    pub fn stick_deg(&self, axis: usize) -> Option<[f64; 2]> {
        self.stick.get(axis)?.0
    }

    /// Which axes move, `[pitch, roll]`: by a tenth of a degree, and by a tenth of what the other
    /// does.
    pub fn moves(&self) -> [bool; AXES] {
        let [pitch_deg, roll_deg] = self.deg();
        let is_moving = |deg: f64, other_deg: f64| deg >= LEAST_DEG.max(LEAST_SHARE * other_deg);
        [
            is_moving(pitch_deg, roll_deg),
            is_moving(roll_deg, pitch_deg),
        ]
    }

    /// The direction of [`OBLIQUE_DEG`] from which the grip goes farthest across the picture.
    pub fn oblique_deg(&self) -> f64 {
        let mut best = 0;
        for index in 1..OBLIQUE_DEG.len() {
            // By more than rounding.
            if self.across_deg[index] > self.across_deg[best] * (1.0 + 1e-9) {
                best = index;
            }
        }
        OBLIQUE_DEG[best]
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use trimproof_harness::trace::{About, Row};
    use trimproof_io::Reports;

    /// The travel of a stick that goes straight from each of these `[pitch, roll]` to the next,
    /// with the trim in the middle.
    pub(crate) fn path(places_deg: &[[f64; AXES]]) -> ShownTravel {
        let mut trace = Trace::new(
            About {
                tick_s: 0.002,
                ..About::default()
            },
            Reports::ALL,
            0,
        );
        for pair in places_deg.windows(2) {
            for step in 0..=50 {
                let share = f64::from(step) / 50.0;
                let mut row = Row::default();
                for axis in [PITCH, ROLL] {
                    row.axis[axis].stick_deg =
                        pair[0][axis] + share * (pair[1][axis] - pair[0][axis]);
                }
                trace.push(&row);
            }
        }
        let mut travel = ShownTravel::default();
        travel.follow(&trace);
        travel
    }

    #[test]
    fn an_axis_moves_if_it_can_be_seen_to() {
        assert_eq!(ShownTravel::default().moves(), [false, false]);
        assert_eq!(path(&[[0.0, 0.0], [6.0, 0.0]]).moves(), [true, false]);
        assert_eq!(path(&[[0.0, 0.0], [0.0, -3.0]]).moves(), [false, true]);
        assert_eq!(path(&[[0.0, 0.0], [6.0, -4.0]]).moves(), [true, true]);
        // A twentieth of the other's, and next to nothing.
        assert_eq!(path(&[[0.0, 0.0], [6.0, 0.3]]).moves(), [true, false]);
        assert_eq!(path(&[[0.0, 0.0], [0.05, 0.05]]).moves(), [false, false]);
        assert_eq!(
            path(&[[1.0, 0.0], [-2.0, 0.5]]).stick_deg(PITCH),
            Some([-2.0, 1.0])
        );
    }

    /// Closed form: a straight path of pitch p and roll r is seen at p sin + r cos of its length;
    /// over the directions allowed that is greatest where the tangent of the direction is nearest
    /// to p / r, with its sign.
    #[test]
    fn a_diagonal_is_seen_from_the_side_that_shows_it_at_full_length() {
        for (to_deg, wanted) in [
            ([6.0, 6.0], 45.0),
            ([6.0, -6.0], -45.0),
            ([6.0, -4.0], -55.0),
            ([-6.0, 4.0], -55.0),
            ([3.0, 6.0], 30.0),
            ([20.0, 2.5], 60.0),
        ] {
            let travel = path(&[[0.0, 0.0], to_deg]);
            assert_eq!(travel.oblique_deg(), wanted, "{to_deg:?}");
        }
        // First one axis, then the other: both directions show as much, the left one is taken.
        let corner = path(&[[0.0, 0.0], [5.0, 0.0], [5.0, 5.0]]);
        assert_eq!(corner.oblique_deg(), 45.0);
    }

    /// Row by row or all at once: the same.
    #[test]
    fn a_growing_trace_is_followed() {
        let mut trace = Trace::new(About::default(), Reports::ALL, 0);
        let mut grown = ShownTravel::default();
        for step in 0..40 {
            let mut row = Row::default();
            row.axis[PITCH].stick_deg = 0.1 * f64::from(step);
            row.axis[ROLL].reference_deg = -0.2 * f64::from(step);
            trace.push(&row);
            grown.follow(&trace);
        }
        let mut whole = ShownTravel::default();
        whole.follow(&trace);
        assert_eq!(grown, whole);
        assert!((whole.deg()[ROLL] - 7.8).abs() < 1e-12);
    }
}

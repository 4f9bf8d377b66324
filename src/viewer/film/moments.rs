//! Which instants of a run a contact sheet shows: those that differ most from each other.

use trimproof_io::{AXES, PITCH, ROLL, State};

use crate::timeline::{Instant, Timeline};

/// An angle that goes less far than this in the whole run counts as if it went so far, deg: what
/// rests must not look busy.
const REST_DEG: f64 = 0.5;
/// A force that is smaller than this in the whole run counts as if it were so large, N.
const REST_N: f64 = 5.0;
/// How different two instants are when this is, as a share of an angle's whole travel: the state,
/// one switch or contact, the time from start to end. Time counts least: it only spreads pictures
/// over what stands still.
const STATE: f64 = 0.35;
const SWITCH: f64 = 0.2;
const TIME: f64 = 0.15;
/// Candidates that lie evenly in the run, for each picture.
const EVEN: usize = 24;

/// What a picture of an instant shows, as far as pictures differ in it.
#[derive(Clone, Debug)]
struct Moment {
    row: usize,
    stick_deg: [f64; AXES],
    reference_deg: [f64; AXES],
    force_n: [f64; AXES],
    state: Option<State>,
    switches: [bool; 11],
}

/// Instants of a contact sheet, s: `count` in all, in their order, fewer only if the trace has
/// fewer rows.
///
/// The worst instants of what fails come first. Then, again and again, the one that differs most
/// from all that are chosen: by the angles of the stick and of the trimmed position and the force
/// of the hand, each as a share of its travel in the run, by the state, by hand, switches and
/// contact, and a little by time. Candidates are the changes of these, where an angle or a force is
/// greatest, and even steps.
pub fn key_instants(timeline: &Timeline, count: usize) -> Vec<f64> {
    let moments = candidates(timeline, count);
    let Some(last) = moments.last().map(|moment| moment.row) else {
        return Vec::new();
    };
    let scale = MomentScale::of(&moments, last);
    let mut chosen: Vec<&Moment> = Vec::new();
    let near = 0.4 * last as f64 / count.max(1) as f64;
    let rows = timeline
        .failed()
        .filter_map(|judgement| timeline.row_at(judgement.at_s));
    for row in rows {
        let is_apart = chosen
            .iter()
            .all(|other| other.row.abs_diff(row) as f64 >= near);
        let found = moments.iter().find(|moment| moment.row == row);
        if let Some(moment) = found.filter(|_| chosen.len() < count && is_apart) {
            chosen.push(moment);
        }
    }
    while chosen.len() < count {
        // The first picture that nothing asks for is of the stick farthest from where it began.
        let from = if chosen.is_empty() {
            &moments[..1]
        } else {
            &[]
        };
        let others = || from.iter().chain(chosen.iter().copied());
        let mut best: Option<(f64, &Moment)> = None;
        for moment in &moments {
            if chosen.iter().any(|other| other.row == moment.row) {
                continue;
            }
            let apart = others()
                .map(|other| scale.apart(moment, other))
                .fold(f64::INFINITY, f64::min);
            // Of several equal ones the first.
            if best.is_none_or(|(most, _)| apart > most) {
                best = Some((apart, moment));
            }
        }
        let Some((_, moment)) = best else { break };
        chosen.push(moment);
    }
    let mut rows: Vec<usize> = chosen.iter().map(|moment| moment.row).collect();
    rows.sort_unstable();
    rows.into_iter()
        .map(|row| row as f64 * timeline.tick_s())
        .collect()
}

/// Moments that may be shown, in their order.
fn candidates(timeline: &Timeline, count: usize) -> Vec<Moment> {
    let Some(last) = timeline.trace.rows().checked_sub(1) else {
        return Vec::new();
    };
    let steps = (EVEN * count.max(1)).min(last);
    let mut rows: Vec<usize> = (0..=steps)
        .map(|step| last * step / steps.max(1))
        .chain(extremes(timeline))
        .collect();
    for lane in timeline.lanes.shown(usize::MAX) {
        rows.extend(lane.stretches.iter().map(|(row, _)| *row));
    }
    rows.extend(
        timeline
            .failed()
            .filter_map(|judgement| timeline.row_at(judgement.at_s)),
    );
    rows.sort_unstable();
    rows.dedup();
    rows.into_iter()
        .map(|row| Moment::of(&Instant::of(&timeline.trace, &timeline.rig, row), row))
        .collect()
}

/// Rows in which an angle or a force of the hand is least or greatest.
fn extremes(timeline: &Timeline) -> Vec<usize> {
    let mut rows = Vec::new();
    for axis in ["pitch", "roll"] {
        for what in ["stick_deg", "reference_deg", "grip_force_n"] {
            let Some(values) = timeline.trace.numbers(&format!("{axis}.{what}")) else {
                continue;
            };
            for side in [1.0, -1.0] {
                let mut best = 0;
                for (row, value) in values.iter().enumerate() {
                    if side * value > side * values[best] {
                        best = row;
                    }
                }
                rows.push(best);
            }
        }
    }
    rows
}

impl Moment {
    fn of(instant: &Instant, row: usize) -> Self {
        let [fore, aft, left, right] = instant.hat;
        Self {
            row,
            stick_deg: instant.stick_deg(),
            // What is not reported rests.
            reference_deg: instant.reference_deg().unwrap_or_default(),
            force_n: instant.axis.map(|axis| axis.grip_force_n),
            state: instant.state,
            switches: [
                instant.gripping,
                instant.release,
                instant.force_trim,
                instant.contact,
                instant.axis[PITCH].enabled,
                instant.axis[ROLL].enabled,
                !instant.faults.is_empty(),
                fore,
                aft,
                left,
                right,
            ],
        }
    }
}

/// What counts as all of an angle and of a force.
struct MomentScale {
    travel_deg: f64,
    force_n: f64,
    rows: f64,
}

impl MomentScale {
    fn of(moments: &[Moment], last: usize) -> Self {
        let width = |of: &dyn Fn(&Moment) -> f64| {
            let (low, high) = moments
                .iter()
                .map(of)
                .fold((f64::MAX, f64::MIN), |(low, high), value| {
                    (low.min(value), high.max(value))
                });
            high - low
        };
        let mut scale = Self {
            travel_deg: REST_DEG,
            force_n: REST_N,
            rows: last.max(1) as f64,
        };
        for axis in [PITCH, ROLL] {
            scale.travel_deg = scale
                .travel_deg
                .max(width(&|moment| moment.stick_deg[axis]))
                .max(width(&|moment| moment.reference_deg[axis]));
            scale.force_n = scale.force_n.max(width(&|moment| moment.force_n[axis]));
        }
        scale
    }

    /// How different two moments look: 1 is an angle's whole travel.
    fn apart(&self, one: &Moment, other: &Moment) -> f64 {
        let far = |of: &dyn Fn(&Moment) -> [f64; AXES], whole: f64| {
            let [a, b] = [PITCH, ROLL].map(|axis| (of(one)[axis] - of(other)[axis]) / whole);
            libm::hypot(a, b)
        };
        let switched = one
            .switches
            .iter()
            .zip(other.switches)
            .filter(|(a, b)| **a != *b)
            .count();
        far(&|moment| moment.stick_deg, self.travel_deg)
            + far(&|moment| moment.reference_deg, self.travel_deg)
            + 0.5 * far(&|moment| moment.force_n, self.force_n)
            + if one.state == other.state { 0.0 } else { STATE }
            + SWITCH * switched as f64
            + TIME * one.row.abs_diff(other.row) as f64 / self.rows
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timeline::tests::pushed;
    use trimproof_harness::trace::{Row, Trace};
    use trimproof_io::Reports;

    /// A push aft and a hat: the pictures differ in what they show, not only in their time.
    #[test]
    fn every_picture_shows_something_else() {
        let timeline = pushed("kittiwake");
        let moments: Vec<Moment> = key_instants(&timeline, 6)
            .iter()
            .map(|at_s| {
                let row = timeline.row_at(*at_s).unwrap();
                Moment::of(&Instant::of(&timeline.trace, &timeline.rig, row), row)
            })
            .collect();
        assert_eq!(moments.len(), 6);
        let scale = MomentScale::of(&candidates(&timeline, 6), timeline.trace.rows() - 1);
        for (index, one) in moments.iter().enumerate() {
            for other in &moments[..index] {
                let without_time = Moment {
                    row: other.row,
                    ..one.clone()
                };
                let apart = scale.apart(&without_time, other);
                assert!(apart > 0.1, "{apart}: {one:?} {other:?}");
            }
        }
        // At rest, at its farthest, and in between.
        let pitch_deg = |moment: &Moment| moment.stick_deg[PITCH];
        let least = moments.iter().map(pitch_deg).fold(f64::MAX, f64::min);
        let most = moments.iter().map(pitch_deg).fold(f64::MIN, f64::max);
        let [low_deg, high_deg] = timeline.travel.stick_deg(PITCH).unwrap();
        assert!(most - least > 0.9 * (high_deg - low_deg), "{least} {most}");
    }

    #[test]
    fn a_trace_of_few_rows_gives_few_pictures() {
        let mut timeline = pushed("bittern");
        let lanes = timeline.lanes.clone();
        let mut trace = Trace::new(timeline.trace.about.clone(), Reports::ALL, 0);
        for _ in 0..3 {
            trace.push(&Row::default());
        }
        timeline.take_judgements(&[]);
        timeline.take_trace(trace, lanes);
        timeline.lanes = crate::timeline::Lanes::default();
        assert_eq!(key_instants(&timeline, 6).len(), 3);
        assert_eq!(key_instants(&timeline, 2), [0.0, 2.0 * timeline.tick_s()]);
    }
}

//! The free response: displaced, held still, let go.

use trimproof_harness::rig::RigFile;
use trimproof_plant::{AxisName, PathShape};

use super::error::MeasureError;
use super::measuring_loop::MeasuringLoop;
use crate::record::{Condition, Response, ResponseSample};

/// Displacement as a share of the throw on that side: 25 to 50 % (14 CFR part 60, appendix C, table
/// C2A, entry 2.a.5).
pub const DISPLACED_SHARE: f64 = 0.4;
/// Time to get there and time to be still there, s.
const CARRY_S: f64 = 1.0;
const STILL_S: f64 = 0.5;
/// The stick is at rest when it was slower than this for so long.
const REST_DEG_PER_S: f64 = 0.02;
const REST_S: f64 = 0.4;
/// Longest record, s.
const LONGEST_S: f64 = 8.0;

/// Lets the held stick go from 40 % of its throw on the side of `sense` and records it until it is
/// at rest.
pub(super) fn response(
    rig: &RigFile,
    axis: AxisName,
    sense: f64,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<Response, MeasureError> {
    let condition = Condition::Held;
    let mut measuring = MeasuringLoop::new(rig, condition, watch)?;
    let index = axis.index();
    let stops = &rig.axis(index).stops;
    let throw_deg = if sense > 0.0 {
        stops.max_deg
    } else {
        stops.min_deg
    };
    measuring.grip();
    let mut to_rad = [None; 2];
    to_rad[index] = Some((DISPLACED_SHARE * throw_deg).to_radians());
    measuring.plant().carry(to_rad, CARRY_S, PathShape::Smooth);
    measuring.run(CARRY_S + STILL_S)?;
    measuring.plant().let_go();
    let begun_s = measuring.now_s();
    let (mut samples, mut rest_since_s) = (Vec::new(), None);
    loop {
        let reading = measuring.read().axis[index];
        let time_s = measuring.now_s() - begun_s;
        samples.push(ResponseSample {
            time_s,
            position_deg: reading.stick_rad.to_degrees(),
        });
        // At the instant of the release the stick stands still as well, but will not stay so.
        if time_s > 0.0 && reading.stick_rad_per_s.to_degrees().abs() < REST_DEG_PER_S {
            let since_s = *rest_since_s.get_or_insert(time_s);
            if time_s - since_s >= REST_S {
                break;
            }
        } else {
            rest_since_s = None;
        }
        if time_s >= LONGEST_S {
            break;
        }
        measuring.tick()?;
    }
    Ok(Response {
        axis,
        condition,
        samples,
    })
}

//! The trim rate: the hat held, hands off, the stick carried along.

use trimproof_controller::AxisSettings;
use trimproof_harness::rig::RigFile;
use trimproof_plant::{AxisName, SwitchName};

use super::error::MeasureError;
use super::measuring_loop::MeasuringLoop;
use crate::record::Condition;

/// Part of the way to the soft limit over which the rate is taken: the ramp is over, the limit not
/// yet near.
const FROM_SHARE: f64 = 0.3;
const TO_SHARE: f64 = 0.8;
/// A hat that is held for longer than the way takes, by this factor, moves nothing.
const LONGER: f64 = 3.0;
/// Rates of both directions that differ by more than this share are worth a word.
const ALIKE: f64 = 0.02;

/// Trim rate of one axis, degrees per second, mean of both directions; none where the hat moves
/// nothing.
pub(super) fn trim_rate(
    rig: &RigFile,
    axis: AxisName,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Result<(Option<f64>, Vec<String>), MeasureError> {
    let mut measuring = MeasuringLoop::new(rig, Condition::Held, watch)?;
    let settings = axis_of(rig, axis)?;
    let deg = |mdeg: i32| f64::from(mdeg) / 1000.0;
    let hats = match axis {
        AxisName::Pitch => [SwitchName::HatAft, SwitchName::HatFore],
        AxisName::Roll => [SwitchName::HatRight, SwitchName::HatLeft],
    };
    let limits = [deg(settings.soft_max_mdeg), deg(settings.soft_min_mdeg)];
    let mut rates = Vec::new();
    for (hat, limit_deg) in hats.into_iter().zip(limits) {
        let rate = one_way(&mut measuring, rig, axis, hat, limit_deg)?;
        rates.extend(rate);
    }
    let label = axis.name();
    let (rate, note) = match rates[..] {
        [up, down] => {
            let mean = 0.5 * (up + down);
            let apart = (up - down).abs() > ALIKE * mean;
            let note = apart.then(|| {
                format!("{label}: the trim rate is {up:.2} deg/s towards positive, {down:.2} deg/s towards negative")
            });
            (Some(mean), note)
        }
        _ => (
            None,
            Some(format!(
                "{label}: a held hat does not carry the stick through its trim range; no trim rate"
            )),
        ),
    };
    Ok((rate, note.into_iter().collect()))
}

/// Holds a hat until the stick has gone most of the way to a soft limit; the least-squares slope of
/// its angle there, as a positive number.
fn one_way(
    measuring: &mut MeasuringLoop<'_>,
    rig: &RigFile,
    axis: AxisName,
    hat: SwitchName,
    limit_deg: f64,
) -> Result<Option<f64>, MeasureError> {
    let settings = axis_of(rig, axis)?;
    let rate_deg_per_s = f64::from(settings.nudge_rate_mdeg_per_s) / 1000.0;
    let range_deg = f64::from(
        settings
            .soft_max_mdeg
            .saturating_sub(settings.soft_min_mdeg),
    ) / 1000.0;
    let delay_s = f64::from(rig.settings()?.hat_hold_delay_ms) / 1000.0;
    let longest_s = delay_s + 1.0 + LONGER * range_deg / rate_deg_per_s;
    measuring.plant().set_switch(hat, true, &[]);
    let begun_s = measuring.now_s();
    let (mut points, mut arrived) = (Vec::new(), false);
    while measuring.now_s() - begun_s < longest_s {
        measuring.tick()?;
        let share = measuring.read().axis[axis.index()].stick_rad.to_degrees() / limit_deg;
        if (FROM_SHARE..TO_SHARE).contains(&share) {
            points.push((measuring.now_s() - begun_s, share * limit_deg));
        }
        if share >= TO_SHARE {
            arrived = true;
            break;
        }
    }
    measuring.plant().set_switch(hat, false, &[]);
    measuring.run(1.0)?;
    Ok(if arrived {
        slope(&points).map(f64::abs)
    } else {
        None
    })
}

/// The controller's settings of an axis.
fn axis_of(rig: &RigFile, axis: AxisName) -> Result<AxisSettings, MeasureError> {
    let settings = rig.settings()?;
    Ok(match axis {
        AxisName::Pitch => settings.pitch,
        AxisName::Roll => settings.roll,
    })
}

/// Slope of the least-squares line.
fn slope(points: &[(f64, f64)]) -> Option<f64> {
    let count = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / count;
    let (t_mean, x_mean) = (mean(|point| point.0), mean(|point| point.1));
    let spread: f64 = points
        .iter()
        .map(|(t, _)| (t - t_mean) * (t - t_mean))
        .sum();
    let common: f64 = points
        .iter()
        .map(|(t, x)| (t - t_mean) * (x - x_mean))
        .sum();
    (points.len() >= 3 && spread > 0.0).then(|| common / spread)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_of_a_line_is_found() {
        let points: Vec<_> = (0..10)
            .map(|n| (f64::from(n), 3.0 - 2.0 * f64::from(n)))
            .collect();
        assert!((slope(&points).unwrap() + 2.0).abs() < 1e-12);
        assert_eq!(slope(&points[..2]), None);
    }
}

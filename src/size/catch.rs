//! Catch jump when release is let go, and resolution of trim and sensor, at the grip.

use std::f64::consts::FRAC_PI_2;

use crate::Design;
use serde::Serialize;
use trimproof_plant::dynamics::TrainParams;
use trimproof_plant::train_params;

/// The controller waits until the driver's phase is within this share of a full step of the stick,
/// or one microstep (src/controller/axis.rs, `aligned`).
const ALIGNED_SHARE: u16 = 8;
/// How many standard deviations of the filtered sensor count as its worst (common practice, no
/// source).
const SIGMAS: f64 = 3.0;
/// Positions of the travel at which the sensor's error is looked at.
const POSITIONS: u32 = 200;
/// Places of the rotor in its detent that are looked at.
const PLACES: u32 = 180;

/// The catch jump: by how much the motor falls, as seen at the grip, when it comes on after a
/// release.
///
/// While released the stick drags the trim shaft behind it by free play and what the cartridge's
/// seat gives, and the shaft drags the rotor by half of the backlash. Switched on, the rotor falls
/// to the driver's phase.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CatchSizes {
    /// Worst case, mm: the sum of the parts.
    pub worst_mm: f64,
    /// The same at the stick, degrees.
    pub worst_deg: f64,
    /// Driver's phase against the stick as the controller estimates it, mm: an eighth of a full
    /// step or one microstep, and half a microstep of rounding.
    pub alignment_mm: f64,
    /// Controller's `phase_zero_usteps` against the motor's zero, mm.
    pub phase_zero_mm: f64,
    /// Sensor: largest steady error inside the soft limits and three standard deviations of its
    /// filtered noise, mm.
    pub sensor_mm: f64,
    /// Free play of the cartridge, one side, mm.
    pub free_play_mm: f64,
    /// What the cartridge's seat and the teeth give under the drag of the unpowered drive, mm.
    pub give_mm: f64,
    /// Half of the backlash, mm.
    pub backlash_mm: f64,
    /// Where detent and friction let the rotor come to rest, beyond the driver's phase, mm; mostly
    /// short of it: negative.
    pub settles_mm: f64,
    /// By how much the new trimmed position may be off from where the stick was let go, mm.
    pub centre_off_mm: f64,
    /// By how much the stick itself is carried along with no hand on it, mm: what of that the free
    /// play does not hide.
    pub stick_moves_mm: f64,
    /// Were the phase not aligned: two full steps, mm.
    pub unaligned_mm: f64,
}

/// Smallest movements at the grip.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Resolution {
    /// One microstep, mm.
    pub trim_mm: f64,
    /// One microstep, degrees of the stick.
    pub trim_deg: f64,
    /// Share of full current that the first microstep from one winding alone takes: sin(90°/n).
    pub first_microstep_share: f64,
    /// Microsteps that a motor at rest must be turned before it overcomes the friction of rotor,
    /// gear and trim shaft.
    pub friction_usteps: f64,
    /// What a reversal loses: the whole backlash, mm.
    pub reversal_mm: f64,
    /// One tap of the hat, mm.
    pub tap_mm: f64,
    /// One count of the sensor, mm.
    pub sensor_mm: f64,
    /// One count of the sensor, degrees.
    pub sensor_deg: f64,
    /// Noise of a reading, root mean square, mm.
    pub noise_mm: f64,
    /// The same after the controller's filter, mm.
    pub filtered_noise_mm: f64,
}

/// Catch jump of axis `index`.
pub(crate) fn catch(rig: &Design, index: usize) -> CatchSizes {
    let (axis, settings) = (rig.axis(index), rig.axis_settings(index));
    let params = train_params(axis, 1e-4);
    let mm = |rad: f64| 1000.0 * rig.stick.grip_radius_m * rad;
    let ustep_deg = axis.full_step_deg() / f64::from(axis.driver.microsteps);
    let usteps = f64::from((settings.microsteps / ALIGNED_SHARE).max(1)) + 0.5;
    let alignment = (usteps * ustep_deg).to_radians();
    let electrical = axis
        .driver
        .electrical_rad(i64::from(settings.phase_zero_usteps));
    let off_deg = (electrical.to_degrees() - axis.motor.zero_deg + 180.0).rem_euclid(360.0) - 180.0;
    let phase_zero = off_deg.abs().to_radians() / (params.rotor_teeth * params.ratio);
    let noise_deg = axis.sensor.noise_deg * filter_share(settings.filter_shift);
    let sensor = (sensor_error_deg(rig, index) + SIGMAS * noise_deg).to_radians();
    let off = alignment + phase_zero + sensor;
    let fall = worst_fall(&params, axis.driver.run_a, off);
    let (free_play, backlash) = (params.cartridge.free_play_rad, params.half_backlash_rad);
    let worst = off + free_play + fall.give + backlash + fall.settles;
    // Pivot friction holds the stick until the cartridge pulls harder.
    let hidden = params.cartridge.deflection_rad(axis.friction.stiction_n_m);
    CatchSizes {
        worst_mm: mm(worst),
        worst_deg: worst.to_degrees(),
        alignment_mm: mm(alignment),
        phase_zero_mm: mm(phase_zero),
        sensor_mm: mm(sensor),
        free_play_mm: mm(free_play),
        give_mm: mm(fall.give),
        backlash_mm: mm(backlash),
        settles_mm: mm(fall.settles),
        centre_off_mm: mm(off + backlash),
        stick_moves_mm: mm((off + backlash - hidden).max(0.0)),
        unaligned_mm: mm(2.0 * axis.full_step_deg().to_radians()),
    }
}

/// What the detent does to a fall, rad at the trim shaft.
struct Fall {
    give: f64,
    settles: f64,
}

/// The worst fall over all places of the rotor in its detent, with the driver `off` rad ahead of
/// the stick.
///
/// A rotor at x in its detent was dragged there by the torque T_d sin 4x + T_f, under which the
/// teeth and the cartridge's seat give. It comes to rest at α − (T_d sin 4α + T_f)/(Kt I) (small
/// angles; derived from docs/model/drive.md).
fn worst_fall(params: &TrainParams, run_a: f64, off: f64) -> Fall {
    let per = params.rotor_teeth * params.ratio;
    let holding_n_m = params.kt_n_m_per_a * run_a;
    (0..PLACES)
        .map(|k| FRAC_PI_2 * f64::from(k) / f64::from(PLACES))
        .map(|x| {
            let motor_n_m = params.detent_n_m * libm::sin(4.0 * x) + params.rotor_friction_n_m;
            let mesh_n_m = motor_n_m.max(0.0) * params.ratio;
            let shaft_n_m = mesh_n_m * (1.0 + params.mesh_loss) + params.shaft_friction_n_m;
            let seat = params.cartridge.deflection_rad(shaft_n_m);
            let teeth = mesh_n_m / params.mesh_n_m_per_rad;
            let alpha = x + per * (seat + teeth + params.half_backlash_rad + off);
            let short_n_m = params.detent_n_m * libm::sin(4.0 * alpha) + params.rotor_friction_n_m;
            Fall {
                give: seat - params.cartridge.free_play_rad + teeth,
                settles: -short_n_m / holding_n_m / per,
            }
        })
        .max_by(|a, b| (a.give + a.settles).total_cmp(&(b.give + b.settles)))
        .unwrap_or(Fall {
            give: 0.0,
            settles: 0.0,
        })
}

/// Resolution of axis `index`.
pub(crate) fn resolution(rig: &Design, index: usize) -> Resolution {
    let (axis, settings) = (rig.axis(index), rig.axis_settings(index));
    let mm = |deg: f64| 1000.0 * rig.stick.grip_radius_m * deg.to_radians();
    let microsteps = f64::from(axis.driver.microsteps);
    let trim_deg = axis.full_step_deg() / microsteps;
    let first = FRAC_PI_2 / microsteps;
    let friction_n_m = axis.motor.friction_n_m + axis.drive.shaft_friction_n_m / axis.drive.ratio();
    let holding_n_m = axis.motor.torque_constant_n_m_per_a() * axis.driver.hold_a;
    let share = (friction_n_m / holding_n_m).min(1.0);
    let tap_deg = f64::from(settings.nudge_increment_mdeg) / 1000.0;
    Resolution {
        trim_mm: mm(trim_deg),
        trim_deg,
        first_microstep_share: libm::sin(first),
        friction_usteps: libm::asin(share) / first,
        reversal_mm: 2.0 * mm(axis.drive.backlash_half_rad().to_degrees()),
        tap_mm: mm(tap_deg),
        sensor_mm: mm(axis.sensor.step_deg()),
        sensor_deg: axis.sensor.step_deg(),
        noise_mm: mm(axis.sensor.noise_deg),
        filtered_noise_mm: mm(axis.sensor.noise_deg * filter_share(settings.filter_shift)),
    }
}

/// What a first-order filter of share 2^−shift a tick leaves of white noise: √(a / (2 − a))
/// (derived).
fn filter_share(shift: u8) -> f64 {
    let a = 1.0 / f64::from(1_u32 << shift);
    (a / (2.0 - a)).sqrt()
}

/// Largest difference between what the controller estimates and the stick's angle inside the soft
/// limits, degrees.
fn sensor_error_deg(rig: &Design, index: usize) -> f64 {
    let settings = rig.axis_settings(index);
    let [low, high] =
        [settings.soft_min_mdeg, settings.soft_max_mdeg].map(|mdeg| f64::from(mdeg) / 1000.0);
    (0..=POSITIONS)
        .map(|k| low + (high - low) * f64::from(k) / f64::from(POSITIONS))
        .map(|angle_deg| (rig.estimated_deg(index, angle_deg) - angle_deg).abs())
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kittiwake() -> Design {
        Design::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap()
    }

    /// Published table of first microsteps (docs/model/sources.md), which is sin(90°/n): n = 2 to
    /// 256.
    #[test]
    fn first_microstep_takes_the_published_share() {
        let published = [70.71, 38.27, 19.51, 9.80, 4.91, 2.45, 1.23, 0.61];
        for (k, percent) in published.into_iter().enumerate() {
            let mut rig = kittiwake();
            rig.pitch.driver.microsteps = 2 << k;
            let found = 100.0 * resolution(&rig, 0).first_microstep_share;
            assert!((found - percent).abs() < 0.005 + 1e-9, "{found} {percent}");
        }
    }

    /// By hand: 1.8° / 6 / 16 = 0.01875° a microstep, 0.1080 mm at 330 mm; 60° / 4095 counts,
    /// 0.08439 mm.
    #[test]
    fn a_microstep_and_a_count_at_the_grip() {
        let found = resolution(&kittiwake(), 0);
        assert!((found.trim_mm - 0.10799).abs() < 1e-5);
        assert!((found.sensor_mm - 0.08439).abs() < 1e-5);
        // Angular backlash = linear backlash / pitch radius, an arc over its radius: 60 µm at 36 mm
        // on 330 mm.
        assert!((found.reversal_mm - 0.55).abs() < 1e-9);
    }

    #[test]
    fn the_parts_make_the_whole() {
        for index in [0, 1] {
            let c = catch(&kittiwake(), index);
            let sum = c.alignment_mm
                + c.phase_zero_mm
                + c.sensor_mm
                + c.free_play_mm
                + c.give_mm
                + c.backlash_mm
                + c.settles_mm;
            assert!((c.worst_mm - sum).abs() < 1e-12);
            // 2.5 microsteps of 0.1080 mm.
            assert!((c.alignment_mm - 2.5 * 0.107_992).abs() < 1e-4);
        }
    }

    /// √(a/(2 − a)): a quarter a tick leaves 0.378 of the noise, none leaves all of it.
    #[test]
    fn the_filter_leaves_its_share() {
        assert_eq!(filter_share(0), 1.0);
        assert!((filter_share(2) - 0.377_964).abs() < 1e-6);
    }
}

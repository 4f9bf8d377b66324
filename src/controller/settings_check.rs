//! What is wrong with settings, as a value that names the field.

use core::fmt;

use crate::settings::{AxisSettings, Settings};
use crate::units::{Ratio, narrow, nearest};

/// Most microsteps between the soft limits.
const SOFT_RANGE_USTEPS: u32 = 30_000;
/// Most ticks that a ramp between rest and full rate may take.
pub(crate) const RAMP_TICKS: u64 = 20_000;
/// Smallest change of rate per tick, so that its rounding stays below 1 %.
const ACCEL_UNITS: u32 = 100;
/// Angle that valid sensor readings must stay within, millidegrees.
const SENSOR_ANGLE_MDEG: i64 = 180_000;

/// Why settings were refused. `path` is the field's dotted path inside the `[controller]` table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SettingsError {
    /// The value is outside its range; the range may follow from other fields.
    OutOfRange {
        /// Dotted path of the field.
        path: &'static str,
        /// The value that was given.
        value: i64,
        /// Smallest allowed value.
        min: i64,
        /// Largest allowed value.
        max: i64,
    },
    /// The value is no whole multiple of another field.
    NotMultiple {
        /// Dotted path of the field.
        path: &'static str,
        /// The value that was given.
        value: i64,
        /// Dotted path of the other field, or what the multiple is of.
        of: &'static str,
        /// The number it must be a multiple of.
        of_value: i64,
    },
}

impl SettingsError {
    /// Dotted path of the field inside the `[controller]` table, for example `pitch.soft_min_mdeg`.
    pub const fn path(&self) -> &'static str {
        match self {
            SettingsError::OutOfRange { path, .. } | SettingsError::NotMultiple { path, .. } => {
                path
            }
        }
    }
}

impl fmt::Display for SettingsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SettingsError::OutOfRange {
                path,
                value,
                min,
                max,
            } if min > max => write!(
                f,
                "`{path}` is `{value}`, and the other settings leave no value for it (at least `{min}`, at most `{max}`)"
            ),
            SettingsError::OutOfRange {
                path,
                value,
                min,
                max,
            } => {
                write!(f, "`{path}` is `{value}`, must be `{min}` to `{max}`")
            }
            SettingsError::NotMultiple {
                path,
                value,
                of,
                of_value,
            } => {
                write!(
                    f,
                    "`{path}` is `{value}`, must be a whole multiple of {of}, which is `{of_value}`"
                )
            }
        }
    }
}

impl core::error::Error for SettingsError {}

impl Settings {
    /// Whether the controller can work with these settings.
    ///
    /// # Errors
    /// The first field that is out of range, with the allowed range.
    pub fn check(&self) -> Result<(), SettingsError> {
        range("tick_hz", self.tick_hz, 100, 2000)?;
        range("generator_hz", self.generator_hz, 1000, 50_000)?;
        multiple("generator_hz", self.generator_hz, "`tick_hz`", self.tick_hz)?;
        range("supply_min_mv", self.supply_min_mv, 1000, 60_000)?;
        let most = i64::from(self.supply_min_mv);
        range("supply_lost_mv", self.supply_lost_mv, 500, most)?;
        range("debounce_press_ms", self.debounce_press_ms, 1, 100)?;
        range("debounce_let_go_ms", self.debounce_let_go_ms, 1, 500)?;
        range(
            "supply_steady_ms",
            self.supply_steady_ms,
            i64::from(self.debounce_press_ms).max(9) + 1,
            10_000,
        )?;
        range("hat_hold_delay_ms", self.hat_hold_delay_ms, 50, 2000)?;
        range("hat_stuck_ms", self.hat_stuck_ms, 1000, 120_000)?;
        range("release_stuck_ms", self.release_stuck_ms, 1000, 600_000)?;
        range("hat_conflict_ms", self.hat_conflict_ms, 0, 10_000)?;
        range("command_timeout_ticks", self.command_timeout_ticks, 1, 50)?;
        range("ticks_lost_max", self.ticks_lost_max, 1, 50)?;
        self.pitch.check(self, false)?;
        self.roll.check(self, true)
    }
}

/// The path of an axis field.
macro_rules! of_axis {
    ($roll:expr, $name:literal) => {
        if $roll {
            concat!("roll.", $name)
        } else {
            concat!("pitch.", $name)
        }
    };
}

impl AxisSettings {
    fn check(&self, whole: &Settings, roll: bool) -> Result<(), SettingsError> {
        self.check_geometry(roll)?;
        self.check_sensor(roll)?;
        self.check_motion(whole, roll)?;
        let path = of_axis!(roll, "hold_on_mdeg");
        range(path, self.hold_on_mdeg, 100, 30_000)?;
        range(of_axis!(roll, "hold_off_ms"), self.hold_off_ms, 1, 10_000)?;
        let path = of_axis!(roll, "deflection_max_mdeg");
        range(
            path,
            self.deflection_max_mdeg,
            i64::from(self.hold_on_mdeg),
            60_000,
        )?;
        let path = of_axis!(roll, "sensor_stuck_travel_mdeg");
        range(
            path,
            self.sensor_stuck_travel_mdeg,
            0,
            i64::from(self.hold_on_mdeg) - 1,
        )?;
        let path = of_axis!(roll, "slip_deflection_mdeg");
        let least = i64::from(self.deflection_max_mdeg);
        range(path, self.slip_deflection_mdeg, least, 180_000)?;
        let path = of_axis!(roll, "position_band_mdeg");
        range(
            path,
            self.position_band_mdeg,
            10,
            i64::from(self.deflection_max_mdeg) - 1,
        )?;
        range(
            of_axis!(roll, "position_settle_ms"),
            self.position_settle_ms,
            50,
            20_000,
        )?;
        range(
            of_axis!(roll, "position_doubt_ms"),
            self.position_doubt_ms,
            50,
            60_000,
        )?;
        range(
            of_axis!(roll, "joystick_full_mdeg"),
            self.joystick_full_mdeg,
            1000,
            180_000,
        )
    }

    fn check_geometry(&self, roll: bool) -> Result<(), SettingsError> {
        let path = of_axis!(roll, "full_steps_per_rev");
        range(path, self.full_steps_per_rev, 4, 400)?;
        multiple(
            path,
            self.full_steps_per_rev,
            "the steps of an electrical cycle",
            4,
        )?;
        range(of_axis!(roll, "microsteps"), self.microsteps, 1, 256)?;
        range(of_axis!(roll, "motor_teeth"), self.motor_teeth, 5, 255)?;
        range(of_axis!(roll, "trim_teeth"), self.trim_teeth, 5, 255)?;
        let cycle = i64::from(self.microsteps) * 4;
        range(
            of_axis!(roll, "phase_zero_usteps"),
            self.phase_zero_usteps,
            0,
            cycle - 1,
        )?;
        range(
            of_axis!(roll, "soft_min_mdeg"),
            self.soft_min_mdeg,
            -90_000,
            -1000,
        )?;
        let covered = Ratio::new(self).mdeg_covered(SOFT_RANGE_USTEPS);
        let longest = (covered + i64::from(self.soft_min_mdeg)).min(90_000);
        range(
            of_axis!(roll, "soft_max_mdeg"),
            self.soft_max_mdeg,
            1000,
            longest,
        )
    }

    fn check_sensor(&self, roll: bool) -> Result<(), SettingsError> {
        range(
            of_axis!(roll, "sensor_span_counts"),
            self.sensor_span_counts,
            16,
            65_535,
        )?;
        let path = of_axis!(roll, "sensor_span_mdeg");
        if self.sensor_span_mdeg < 0 {
            range(path, self.sensor_span_mdeg, -360_000, -1000)?;
        } else {
            range(path, self.sensor_span_mdeg, 1000, 360_000)?;
        }
        let (low, high) = (
            of_axis!(roll, "sensor_min_counts"),
            of_axis!(roll, "sensor_max_counts"),
        );
        range(
            low,
            self.sensor_min_counts,
            0,
            i64::from(self.sensor_max_counts) - 1,
        )?;
        // Readings that stand for more than half a turn cannot be a stick's.
        let (zero, span) = (
            i64::from(self.sensor_zero_counts),
            i64::from(self.sensor_span_counts),
        );
        let reach = SENSOR_ANGLE_MDEG * span / i64::from(self.sensor_span_mdeg).abs().max(1);
        range(low, self.sensor_min_counts, (zero - reach).max(0), zero)?;
        range(
            high,
            self.sensor_max_counts,
            zero,
            (zero + reach).min(65_535),
        )?;
        let at = |counts: u16| {
            nearest(
                (i64::from(counts) - zero) * i64::from(self.sensor_span_mdeg),
                span,
            )
        };
        let ends = (at(self.sensor_min_counts), at(self.sensor_max_counts));
        let (lowest, highest) = (ends.0.min(ends.1), ends.0.max(ends.1));
        range(
            of_axis!(roll, "soft_min_mdeg"),
            self.soft_min_mdeg,
            lowest,
            -1000,
        )?;
        range(
            of_axis!(roll, "soft_max_mdeg"),
            self.soft_max_mdeg,
            1000,
            highest,
        )?;
        let path = of_axis!(roll, "sensor_rate_max_mdeg_per_s");
        range(path, self.sensor_rate_max_mdeg_per_s, 10_000, 5_000_000)?;
        range(of_axis!(roll, "sensor_bad_ms"), self.sensor_bad_ms, 2, 1000)?;
        range(of_axis!(roll, "filter_shift"), self.filter_shift, 0, 6)
    }

    fn check_motion(&self, whole: &Settings, roll: bool) -> Result<(), SettingsError> {
        let ratio = Ratio::new(self);
        // Half a microstep a period is the generator's fastest; stay a hair below it.
        let fastest = (ratio.mdeg_covered(u32::from(whole.generator_hz) / 2) - 1).min(200_000);
        range(
            of_axis!(roll, "glide_rate_mdeg_per_s"),
            self.glide_rate_mdeg_per_s,
            100,
            fastest,
        )?;
        range(
            of_axis!(roll, "nudge_rate_mdeg_per_s"),
            self.nudge_rate_mdeg_per_s,
            100,
            fastest,
        )?;
        let path = of_axis!(roll, "accel_mdeg_per_s2");
        // The slowest ramp that the profile's arithmetic is made for.
        let rate = i64::from(self.glide_rate_mdeg_per_s.max(self.nudge_rate_mdeg_per_s));
        let slowest = (rate * i64::from(whole.tick_hz) / (RAMP_TICKS as i64 - 2000)).max(100);
        let per_tick = u64::from(whole.generator_hz) * u64::from(whole.tick_hz);
        let slowest = slowest.max(ratio.mdeg_for(ACCEL_UNITS, per_tick));
        range(path, self.accel_mdeg_per_s2, slowest, 5_000_000)?;
        let smallest = i64::from(ratio.mdeg(1)).max(1);
        range(
            of_axis!(roll, "nudge_increment_mdeg"),
            self.nudge_increment_mdeg,
            smallest,
            10_000,
        )
    }
}

fn range(
    path: &'static str,
    value: impl Into<i64>,
    min: i64,
    max: i64,
) -> Result<(), SettingsError> {
    let value = value.into();
    if value < min || value > max {
        Err(SettingsError::OutOfRange {
            path,
            value,
            min,
            max,
        })
    } else {
        Ok(())
    }
}

fn multiple(
    path: &'static str,
    value: u16,
    of: &'static str,
    of_value: u16,
) -> Result<(), SettingsError> {
    if value.checked_rem(of_value) == Some(0) {
        return Ok(());
    }
    Err(SettingsError::NotMultiple {
        path,
        value: value.into(),
        of,
        of_value: of_value.into(),
    })
}

/// A [`Ratio::q32_rate`] value as a rate of the step generator, at least 1; `check` has seen that
/// it fits.
pub(crate) fn rate_of(scaled: u64) -> u32 {
    narrow(i64::try_from(scaled).unwrap_or(i64::MAX)).max(1) as u32
}

#[cfg(test)]
mod bounds;

#[cfg(test)]
mod tests {
    use super::*;

    /// The path that is refused after `change`.
    pub(super) fn refused(change: impl FnOnce(&mut Settings)) -> String {
        let mut settings = Settings::example();
        change(&mut settings);
        match settings.check() {
            Ok(()) => String::from("accepted"),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn example_is_accepted() {
        assert_eq!(Settings::example().check(), Ok(()));
    }

    /// At 1 microstep to 1.8° a change of rate of 100 · 2⁻³² microsteps a period, in each tick of 2
    /// kHz at 50 kHz, is 100 · 1800 · 1e8/2³² = 4190.95 mdeg/s².
    #[test]
    fn a_ramp_is_steep_enough_for_the_arithmetic() {
        let refused = refused(|s| {
            (s.generator_hz, s.tick_hz) = (50_000, 2_000);
            s.pitch.microsteps = 1;
            s.pitch.phase_zero_usteps = 0;
            s.pitch.trim_teeth = s.pitch.motor_teeth;
            s.pitch.glide_rate_mdeg_per_s = 100;
            s.pitch.nudge_rate_mdeg_per_s = 100;
            s.pitch.accel_mdeg_per_s2 = 4190;
        });
        assert_eq!(
            refused,
            "`pitch.accel_mdeg_per_s2` is `4190`, must be `4191` to `5000000`"
        );
    }

    #[test]
    fn each_wrong_field_is_named_with_its_range() {
        assert_eq!(
            refused(|s| s.tick_hz = 99),
            "`tick_hz` is `99`, must be `100` to `2000`"
        );
        assert_eq!(
            refused(|s| s.generator_hz = 10_100),
            "`generator_hz` is `10100`, must be a whole multiple of `tick_hz`, which is `500`"
        );
        assert_eq!(
            refused(|s| s.roll.full_steps_per_rev = 202),
            "`roll.full_steps_per_rev` is `202`, must be a whole multiple of the steps of an electrical cycle, which is `4`"
        );
        assert_eq!(
            refused(|s| s.supply_steady_ms = 8),
            "`supply_steady_ms` is `8`, must be `10` to `10000`"
        );
        assert_eq!(
            refused(|s| s.pitch.microsteps = 0),
            "`pitch.microsteps` is `0`, must be `1` to `256`"
        );
        assert_eq!(
            refused(|s| s.pitch.phase_zero_usteps = 64),
            "`pitch.phase_zero_usteps` is `64`, must be `0` to `63`"
        );
        assert_eq!(
            refused(|s| s.roll.soft_min_mdeg = -29_000),
            "`roll.soft_min_mdeg` is `-29000`, must be `-28542` to `-1000`"
        );
        assert_eq!(
            refused(|s| s.roll.sensor_span_mdeg = 0),
            "`roll.sensor_span_mdeg` is `0`, must be `1000` to `360000`"
        );
        assert_eq!(
            refused(|s| s.pitch.glide_rate_mdeg_per_s = 93_750),
            "`pitch.glide_rate_mdeg_per_s` is `93750`, must be `100` to `93749`"
        );
        assert_eq!(
            refused(|s| s.pitch.nudge_increment_mdeg = 5),
            "`pitch.nudge_increment_mdeg` is `5`, must be `19` to `10000`"
        );
        assert_eq!(
            refused(|s| s.pitch.deflection_max_mdeg = 1000),
            "`pitch.deflection_max_mdeg` is `1000`, must be `1500` to `60000`"
        );
        assert_eq!(
            refused(|s| s.pitch.sensor_stuck_travel_mdeg = 1500),
            "`pitch.sensor_stuck_travel_mdeg` is `1500`, must be `0` to `1499`"
        );
    }

    #[test]
    fn too_many_microsteps_between_the_limits() {
        let message = refused(|s| {
            s.roll.microsteps = 256;
            s.roll.motor_teeth = 10;
            s.roll.trim_teeth = 200;
        });
        // 200 * 256 * 20 / 360000 = 2.84 microsteps a millidegree: 30000 microsteps are 10546 mdeg.
        assert_eq!(
            message,
            "`roll.soft_max_mdeg` is `20000`, and the other settings leave no value for it (at least `1000`, at most `-9454`)"
        );
    }

    #[test]
    fn reversed_sensor_is_accepted_and_a_reversed_range_is_not() {
        assert_eq!(refused(|s| s.pitch.sensor_span_mdeg = -60_000), "accepted");
        // 16 counts for 60 deg would make the readings stand for many turns.
        assert_eq!(
            refused(|s| s.pitch.sensor_span_counts = 16),
            "`pitch.sensor_min_counts` is `100`, must be `2000` to `2048`"
        );
        assert_eq!(
            refused(|s| s.pitch.sensor_min_counts = 4000),
            "`pitch.sensor_min_counts` is `4000`, must be `0` to `3994`"
        );
    }
}

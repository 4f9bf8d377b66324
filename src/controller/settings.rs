//! What can be set: the `[controller]` table of a rig file and the constants of a flashed image.

/// Settings of the whole controller. Integers only; [`Settings::check`] reports what is out of
/// range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(deny_unknown_fields)
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Settings {
    /// Control ticks a second, 100 to 2000 Hz.
    #[cfg_attr(feature = "serde", serde(default = "Settings::default_tick_hz"))]
    pub tick_hz: u16,
    /// Periods of the step generator a second, 1000 to 50000 Hz, a whole multiple of `tick_hz`.
    #[cfg_attr(feature = "serde", serde(default = "Settings::default_generator_hz"))]
    pub generator_hz: u16,
    /// Motor supply below which the drives go off, 1000 to 60000 mV; three readings in a row, a
    /// shorter dip is forgiven.
    pub supply_min_mv: u16,
    /// Motor supply at which the motor drivers may have lost their position, 500 mV to
    /// `supply_min_mv`: a single reading below it switches the drives off, and the position is
    /// taken anew. Set it above the drivers' undervoltage.
    pub supply_lost_mv: u16,
    /// Time that the supply must stay at or above its minimum before the drives may go on,
    /// 10 to 10000 ms, longer than `debounce_press_ms`.
    pub supply_steady_ms: u16,
    /// Time that a switch must read closed before it counts as closed, 1 to 100 ms.
    #[cfg_attr(
        feature = "serde",
        serde(default = "Settings::default_debounce_press_ms")
    )]
    pub debounce_press_ms: u16,
    /// Time that a switch must read open before it counts as open, 1 to 500 ms.
    #[cfg_attr(
        feature = "serde",
        serde(default = "Settings::default_debounce_let_go_ms")
    )]
    pub debounce_let_go_ms: u16,
    /// Time after which a pressed hat runs instead of stepping, from the debounced press, 50 to
    /// 2000 ms.
    pub hat_hold_delay_ms: u16,
    /// Time after which a closed hat direction counts as stuck and is ignored until it opens,
    /// 1000 to 120000 ms.
    pub hat_stuck_ms: u32,
    /// Time after which a closed trim release is reported as stuck, 1000 to 600000 ms.
    pub release_stuck_ms: u32,
    /// Time after which opposite hat directions closed together are reported, 0 to 10000 ms.
    pub hat_conflict_ms: u16,
    /// Ticks that the step generator keeps the last rate for without a new one, 1 to 50.
    #[cfg_attr(
        feature = "serde",
        serde(default = "Settings::default_command_timeout_ticks")
    )]
    pub command_timeout_ticks: u16,
    /// Largest step of the tick number that is made good, 1 (none lost) to 50; more trips.
    pub ticks_lost_max: u16,
    /// Pitch axis (fore and aft, positive is aft).
    pub pitch: AxisSettings,
    /// Roll axis (left and right, positive is right).
    pub roll: AxisSettings,
}

/// Settings of one axis. All angles and rates are at the stick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(deny_unknown_fields)
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct AxisSettings {
    /// Sensor reading with the stick at zero, counts, 0 to 65535.
    pub sensor_zero_counts: u16,
    /// Number of counts that `sensor_span_mdeg` belongs to, 16 to 65535. The angle is
    /// (reading - `sensor_zero_counts`) * `sensor_span_mdeg` / `sensor_span_counts`, exactly.
    pub sensor_span_counts: u16,
    /// Angle that `sensor_span_counts` counts stand for, -360000 to 360000 mdeg and not within
    /// 1000 mdeg of 0; negative where the reading falls as the angle rises.
    pub sensor_span_mdeg: i32,
    /// Smallest valid reading, counts; below it the sensor is taken for shorted or open.
    pub sensor_min_counts: u16,
    /// Largest valid reading, counts; above it the sensor is taken for shorted or open.
    /// The valid readings must cover the soft limits.
    pub sensor_max_counts: u16,
    /// Fastest that a stick can move, 10000 to 5000000 mdeg/s; a reading that would need more is
    /// rejected.
    pub sensor_rate_max_mdeg_per_s: i32,
    /// Time of rejected readings after which the sensor counts as bad and trips, 2 to 1000 ms.
    pub sensor_bad_ms: u16,
    /// Growth of the deflection by the drive's own movement, with a reading that never changes, at
    /// which the sensor counts as stuck and trips, mdeg; below `hold_on_mdeg`; 0 switches the check
    /// off (a sensor with no noise at all needs that, or a stick leaning on a stop would look
    /// stuck).
    pub sensor_stuck_travel_mdeg: i32,
    /// Strength of the angle filter, 0 (none) to 6; the filter's time constant is about 2^shift
    /// ticks.
    pub filter_shift: u8,
    /// Full steps per turn of the motor, 4 to 400, a multiple of 4.
    pub full_steps_per_rev: u16,
    /// Microsteps per full step, 1 to 256.
    pub microsteps: u16,
    /// Teeth of the motor's gear, 5 to 255.
    pub motor_teeth: u16,
    /// Teeth of the trim shaft's gear, 5 to 255.
    pub trim_teeth: u16,
    /// The driver's microstep index whose equilibrium is the trim shaft's zero, 0 to 4 *
    /// `microsteps` - 1. Index 0 is the driver's home: both phases at 70.7 %, electrical 45
    /// degrees.
    pub phase_zero_usteps: u16,
    /// Lower soft limit of the trimmed position, -90000 to -1000 mdeg.
    pub soft_min_mdeg: i32,
    /// Upper soft limit of the trimmed position, 1000 to 90000 mdeg. Both limits together may span
    /// at most 30000 microsteps.
    pub soft_max_mdeg: i32,
    /// Rate of the glide to centre and back inside a limit, 100 to 200000 mdeg/s.
    pub glide_rate_mdeg_per_s: i32,
    /// Rate while a hat is held, 100 to 200000 mdeg/s.
    pub nudge_rate_mdeg_per_s: i32,
    /// Acceleration of every commanded movement, 100 to 5000000 mdeg/s^2.
    pub accel_mdeg_per_s2: i32,
    /// Movement of one tap of the hat, at least one microstep, at most 10000 mdeg.
    pub nudge_increment_mdeg: i32,
    /// Deflection (stick minus drive) that shows that the pilot holds on while centring, 100 to
    /// 30000 mdeg.
    pub hold_on_mdeg: i32,
    /// Time that the deflection must stay small before centring starts or goes on, 1 to 10000 ms.
    pub hold_off_ms: u16,
    /// Deflection beyond which the drive does not advance against the pilot or a stop,
    /// `hold_on_mdeg` to 60000 mdeg. Keep it where the drive still has torque in hand, so that no
    /// steps are lost.
    pub deflection_max_mdeg: i32,
    /// Deflection below which the drive at rest cannot have slipped, however fast the hand was (the
    /// cartridge's damping counts too), `deflection_max_mdeg` to 180000 mdeg. Only a deflection
    /// beyond it can be booked as lost steps.
    pub slip_deflection_mdeg: i32,
    /// Largest deflection of a settled stick with hands off: free play, friction band, sensor
    /// error; 10 mdeg to below `deflection_max_mdeg`.
    pub position_band_mdeg: i32,
    /// Time of a still stick before it counts as agreeing with the drive, 50 to 20000 ms.
    pub position_settle_ms: u16,
    /// Time of a still stick before a deflection is booked as lost steps, or reported where they
    /// cannot explain it: longer than a pilot leans on it. 50 to 60000 ms.
    pub position_doubt_ms: u16,
    /// Stick angle at which the joystick axis reaches its end, 1000 to 180000 mdeg.
    pub joystick_full_mdeg: i32,
}

impl Settings {
    /// 500 Hz.
    pub const fn default_tick_hz() -> u16 {
        500
    }

    /// 10 kHz.
    pub const fn default_generator_hz() -> u16 {
        10_000
    }

    /// 8 ms: a press must act fast, and its bounces do no harm (the state keeps).
    pub const fn default_debounce_press_ms() -> u16 {
        8
    }

    /// 50 ms: longer than the 42 ms gap of the worst switch that Ganssle measured
    /// ("A guide to debouncing").
    pub const fn default_debounce_let_go_ms() -> u16 {
        50
    }

    /// 2 ticks.
    pub const fn default_command_timeout_ticks() -> u16 {
        2
    }

    /// Valid settings for a 1:6 geared 200-step motor at 1/16 microstep and a 12-bit sensor over
    /// +-30 degrees; a start for a new rig and the base of the tests.
    pub const fn example() -> Self {
        Self {
            tick_hz: Self::default_tick_hz(),
            generator_hz: Self::default_generator_hz(),
            supply_min_mv: 20_000,
            supply_lost_mv: 12_000,
            supply_steady_ms: 200,
            debounce_press_ms: Self::default_debounce_press_ms(),
            debounce_let_go_ms: Self::default_debounce_let_go_ms(),
            hat_hold_delay_ms: 350,
            hat_stuck_ms: 20_000,
            release_stuck_ms: 60_000,
            hat_conflict_ms: 100,
            command_timeout_ticks: Self::default_command_timeout_ticks(),
            ticks_lost_max: 5,
            pitch: AxisSettings::example(),
            roll: AxisSettings::example(),
        }
    }
}

impl AxisSettings {
    /// One axis of [`Settings::example`].
    pub const fn example() -> Self {
        Self {
            sensor_zero_counts: 2048,
            sensor_span_counts: 4095,
            sensor_span_mdeg: 60_000,
            sensor_min_counts: 100,
            sensor_max_counts: 3995,
            sensor_rate_max_mdeg_per_s: 600_000,
            sensor_bad_ms: 10,
            sensor_stuck_travel_mdeg: 1_000,
            filter_shift: 2,
            full_steps_per_rev: 200,
            microsteps: 16,
            motor_teeth: 15,
            trim_teeth: 90,
            phase_zero_usteps: 0,
            soft_min_mdeg: -20_000,
            soft_max_mdeg: 20_000,
            glide_rate_mdeg_per_s: 8_000,
            nudge_rate_mdeg_per_s: 5_000,
            accel_mdeg_per_s2: 20_000,
            nudge_increment_mdeg: 300,
            hold_on_mdeg: 1_500,
            hold_off_ms: 300,
            deflection_max_mdeg: 6_000,
            slip_deflection_mdeg: 15_000,
            position_band_mdeg: 350,
            position_settle_ms: 800,
            position_doubt_ms: 10_000,
            joystick_full_mdeg: 25_000,
        }
    }
}

//! Constants of formulas that follow from the controller's settings.

use trimproof_controller::{AxisSettings, Settings};

/// Constants with their names, `rig.` included, in a fixed order.
pub(super) fn constants_of(settings: &Settings) -> Vec<(String, f64)> {
    let clock = TickClock(settings.tick_hz);
    let mut constants: Vec<(String, f64)> = [
        (
            "debounce_press_s",
            clock.counted_s(settings.debounce_press_ms.into()),
        ),
        (
            "debounce_let_go_s",
            clock.counted_s(settings.debounce_let_go_ms.into()),
        ),
        ("supply_min_v", f64::from(settings.supply_min_mv) / 1000.0),
        ("supply_lost_v", f64::from(settings.supply_lost_mv) / 1000.0),
        (
            "supply_steady_s",
            clock.counted_s(settings.supply_steady_ms.into()),
        ),
        (
            "hat_hold_delay_s",
            clock.counted_s(settings.hat_hold_delay_ms.into()),
        ),
        // How much shorter than its press a held hat's run is: debounce and hold delay, less
        // the let-go's debounce.
        (
            "hat_run_lost_s",
            clock.counted_s(settings.debounce_press_ms.into())
                + clock.counted_s(settings.hat_hold_delay_ms.into())
                - clock.counted_s(settings.debounce_let_go_ms.into()),
        ),
        ("hat_stuck_s", clock.counted_s(settings.hat_stuck_ms)),
        (
            "hat_conflict_s",
            clock.counted_s(settings.hat_conflict_ms.into()),
        ),
        (
            "release_stuck_s",
            clock.counted_s(settings.release_stuck_ms),
        ),
        (
            "ticks_lost_max_s",
            f64::from(settings.ticks_lost_max) / f64::from(settings.tick_hz),
        ),
    ]
    .into_iter()
    .map(|(name, value)| (format!("rig.{name}"), value))
    .collect();
    for (axis, name) in [(&settings.pitch, "pitch"), (&settings.roll, "roll")] {
        constants.extend(
            of_axis(axis, clock)
                .into_iter()
                .map(|(key, value)| (format!("rig.{name}.{key}"), value)),
        );
    }
    constants
}

/// Counts times as the controller does.
#[derive(Clone, Copy)]
struct TickClock(u16);

impl TickClock {
    /// A time setting as the controller counts it, s: whole ticks, rounded up.
    fn counted_s(self, ms: u32) -> f64 {
        let tick_hz = u64::from(self.0);
        let ticks = (u64::from(ms) * tick_hz).div_ceil(1000);
        ticks as f64 / tick_hz as f64
    }
}

/// The settings of an axis, in the units of signals.
fn of_axis(settings: &AxisSettings, clock: TickClock) -> Vec<(&'static str, f64)> {
    let deg = |mdeg: i32| f64::from(mdeg) / 1000.0;
    let seconds = |ms: u16| clock.counted_s(ms.into());
    vec![
        ("soft_min_deg", deg(settings.soft_min_mdeg)),
        ("soft_max_deg", deg(settings.soft_max_mdeg)),
        ("nudge_rate_deg_per_s", deg(settings.nudge_rate_mdeg_per_s)),
        ("nudge_increment_deg", deg(settings.nudge_increment_mdeg)),
        ("glide_rate_deg_per_s", deg(settings.glide_rate_mdeg_per_s)),
        ("accel_deg_per_s2", deg(settings.accel_mdeg_per_s2)),
        ("sensor_zero_counts", f64::from(settings.sensor_zero_counts)),
        (
            "sensor_deg_per_count",
            deg(settings.sensor_span_mdeg) / f64::from(settings.sensor_span_counts),
        ),
        ("sensor_min_counts", f64::from(settings.sensor_min_counts)),
        ("sensor_max_counts", f64::from(settings.sensor_max_counts)),
        (
            "sensor_rate_max_deg_per_s",
            deg(settings.sensor_rate_max_mdeg_per_s),
        ),
        ("sensor_bad_s", seconds(settings.sensor_bad_ms)),
        (
            "sensor_stuck_travel_deg",
            deg(settings.sensor_stuck_travel_mdeg),
        ),
        (
            "filter_ticks",
            f64::from((1_u32 << settings.filter_shift.min(6)) - 1),
        ),
        ("hold_on_deg", deg(settings.hold_on_mdeg)),
        ("hold_off_s", seconds(settings.hold_off_ms)),
        ("deflection_max_deg", deg(settings.deflection_max_mdeg)),
        ("strain_deflection_deg", deg(settings.slip_deflection_mdeg)),
        ("position_band_deg", deg(settings.position_band_mdeg)),
        ("position_settle_s", seconds(settings.position_settle_ms)),
        ("position_doubt_s", seconds(settings.position_doubt_ms)),
        ("joystick_full_deg", deg(settings.joystick_full_mdeg)),
    ]
}

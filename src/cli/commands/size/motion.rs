//! What moves: catch jump, resolution, rates.

use super::listing::listing;
use trimproof_harness::card::text::fixed;
use trimproof_size::{AxisSizes, CatchSizes, LOW_BAND_STEPS_PER_S};

/// How the motor falls when release is let go.
pub fn catch(out: &mut String, c: &CatchSizes) {
    let mm = |value: f64| format!("{} mm", fixed(value, 2));
    listing(
        out,
        "catch jump at the grip when release is let go",
        &[
            (
                "motor falls by at most",
                format!(
                    "{} mm ({} deg)",
                    fixed(c.worst_mm, 2),
                    fixed(c.worst_deg, 3)
                ),
            ),
            (
                "  made of, mm",
                format!(
                    "{} alignment, {} sensor, {} phase zero, {} free play,",
                    fixed(c.alignment_mm, 2),
                    fixed(c.sensor_mm, 2),
                    fixed(c.phase_zero_mm, 2),
                    fixed(c.free_play_mm, 2)
                ),
            ),
            (
                "",
                format!(
                    "{} give under drag, {} backlash, {} rest in the detent",
                    fixed(c.give_mm, 2),
                    fixed(c.backlash_mm, 2),
                    fixed(c.settles_mm, 2)
                ),
            ),
            (
                "new centre off by at most",
                format!("{} from where the stick was let go", mm(c.centre_off_mm)),
            ),
            (
                "stick moves, hands off",
                format!(
                    "{} at most: free play and friction hide the rest",
                    mm(c.stick_moves_mm)
                ),
            ),
            (
                "were it not aligned",
                format!("{}, two full steps", mm(c.unaligned_mm)),
            ),
        ],
    );
}

/// Smallest movements.
pub fn resolution(out: &mut String, axis: &AxisSizes) {
    let r = &axis.resolution;
    listing(
        out,
        "resolution at the grip",
        &[
            (
                "trim",
                format!(
                    "{} mm a microstep ({} deg); a tap moves {} mm",
                    fixed(r.trim_mm, 3),
                    fixed(r.trim_deg, 4),
                    fixed(r.tap_mm, 2)
                ),
            ),
            (
                "trim, in practice",
                format!(
                    "friction takes {} microsteps, a reversal {} mm of backlash",
                    fixed(r.friction_usteps, 1),
                    fixed(r.reversal_mm, 2)
                ),
            ),
            (
                "sensor",
                format!(
                    "{} mm a count ({} deg); noise {} mm rms, {} filtered",
                    fixed(r.sensor_mm, 3),
                    fixed(r.sensor_deg, 4),
                    fixed(r.noise_mm, 3),
                    fixed(r.filtered_noise_mm, 3)
                ),
            ),
        ],
    );
}

/// Step rates and the bands to avoid.
pub fn rates(out: &mut String, axis: &AxisSizes) {
    let r = &axis.rates;
    let pair =
        |[cold, hot]: [f64; 2]| format!("{} deg/s cold, {} hot", fixed(cold, 0), fixed(hot, 0));
    let band = |[low, high]: [f64; 2]| format!("{} to {}", fixed(low, 1), fixed(high, 1));
    let mut lines = vec![
        (
            "highest nudge rate",
            format!(
                "{} deg/s, set by the {}",
                fixed(r.highest_deg_per_s, 1),
                r.limited_by
            ),
        ),
        (
            "below the bands up to",
            format!(
                "{} deg/s",
                fixed(
                    r.resonance.band_deg_per_s[0].min(r.resonance.low_band_deg_per_s[0]),
                    1
                )
            ),
        ),
        (
            "full torque up to",
            format!(
                "{} (back-EMF and inductance)",
                pair(r.full_torque_deg_per_s)
            ),
        ),
        (
            "torque gone at",
            format!(
                "{}, against {} N·m at the shaft",
                pair(r.torque_limit_deg_per_s),
                fixed(r.load_n_m, 2)
            ),
        ),
        (
            "current reversal",
            format!(
                "{} ms (L·I·2/V), a whole step at {} deg/s",
                fixed(1000.0 * r.reversal_s, 3),
                fixed(r.reversal_deg_per_s, 0)
            ),
        ),
        (
            "step generator",
            format!("{} deg/s", fixed(r.generator_deg_per_s, 1)),
        ),
        (
            "resonance",
            format!(
                "{} Hz rotor alone, {} Hz with the shaft: avoid {} deg/s",
                fixed(r.resonance.rotor_hz, 0),
                fixed(r.resonance.geared_hz, 0),
                band(r.resonance.band_deg_per_s)
            ),
        ),
        (
            "low-end band",
            format!(
                "avoid {} deg/s ({} to {} full steps/s)",
                band(r.resonance.low_band_deg_per_s),
                LOW_BAND_STEPS_PER_S[0],
                LOW_BAND_STEPS_PER_S[1]
            ),
        ),
    ];
    for set in &r.set {
        let place = match (set.in_low_band, set.in_resonance, set.passes_through) {
            (true, true, _) => "IN BOTH BANDS",
            (true, false, _) => "IN THE LOW-END BAND",
            (false, true, _) => "IN THE RESONANCE BAND",
            (false, false, true) => "passes through the bands",
            (false, false, false) => "below the bands",
        };
        lines.push((
            if set.what == "nudge" {
                "nudge as set"
            } else {
                "glide as set"
            },
            format!(
                "{} deg/s, {} full steps/s, torque {} times load: {place}",
                fixed(set.deg_per_s, 1),
                fixed(set.steps_per_s, 1),
                fixed(set.torque_factor, 1)
            ),
        ));
    }
    listing(out, "rates of the trim", &lines);
}

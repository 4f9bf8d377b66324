//! One palette for everything that is drawn: the pictures and the view give a signal and a state
//! the same colour everywhere.
//!
//! The hues are those of Okabe and Ito, "Color Universal Design" (2008; the values are from
//! memory), which readers with any kind of colour vision can distinguish. There are more signals
//! than hues: the quantity gives the hue, pitch has it plain and roll a shade of it that differs in
//! lightness, so that both axes may stand in one frame. No colour alone says anything: a limit is a
//! broken line, and every curve and bar has its word.

use trimproof_io::State;

/// Red, green and blue, 0 to 255 each.
pub type Rgb = [u8; 3];

/// Black.
pub const BLACK: Rgb = [0x00, 0x00, 0x00];
/// Orange.
pub const ORANGE: Rgb = [0xE6, 0x9F, 0x00];
/// Sky blue.
pub const SKY: Rgb = [0x56, 0xB4, 0xE9];
/// Bluish green.
pub const GREEN: Rgb = [0x00, 0x9E, 0x73];
/// Blue.
pub const BLUE: Rgb = [0x00, 0x72, 0xB2];
/// Vermillion. Of no signal: [`WORST`] and [`FAULT`] have it alone.
pub const VERMILLION: Rgb = [0xD5, 0x5E, 0x00];
/// Reddish purple.
pub const PURPLE: Rgb = [0xCC, 0x79, 0xA7];

/// The worst instant of an expectation.
pub const WORST: Rgb = VERMILLION;
/// A fault that the controller reports.
pub const FAULT: Rgb = VERMILLION;
/// A switch that is on.
pub const SWITCH: Rgb = [0x4C, 0x53, 0x5C];
/// Where an expectation looks.
pub const WINDOW: Rgb = SKY;
/// Where the left side of an implication holds, so that its right side is put to the test.
pub const TESTED: Rgb = BLUE;
/// A limit that no signal gives.
pub const LIMIT: Rgb = BLACK;

/// Hue of a quantity on the pitch axis, and its shade on the roll axis. Quantities of the same unit
/// have different hues.
const QUANTITIES: [(&str, Rgb, Rgb); 25] = [
    // Angles.
    ("stick_deg", BLUE, [0x00, 0x39, 0x5A]),
    ("trim_deg", GREEN, [0x00, 0x4F, 0x3A]),
    ("reference_deg", ORANGE, [0x8F, 0x63, 0x00]),
    ("estimated_deg", PURPLE, [0x7A, 0x3D, 0x60]),
    ("drive_deg", BLACK, [0x7D, 0x7D, 0x7D]),
    ("deflection_deg", SKY, [0xA6, 0xD8, 0xF5]),
    ("rotor_deg", [0x8C, 0x5A, 0x3C], [0xC9, 0xAE, 0x98]),
    ("command_deg", [0x6E, 0x7A, 0x1F], [0xB5, 0xC0, 0x66]),
    // Rates.
    ("stick_rate_deg_per_s", BLUE, [0x00, 0x39, 0x5A]),
    ("drive_rate_deg_per_s", BLACK, [0x7D, 0x7D, 0x7D]),
    ("step_rate_deg_per_s", GREEN, [0x00, 0x4F, 0x3A]),
    (
        "command_rate_deg_per_s",
        [0x6E, 0x7A, 0x1F],
        [0xB5, 0xC0, 0x66],
    ),
    // Forces and torques.
    ("grip_force_n", BLUE, [0x00, 0x39, 0x5A]),
    ("stop_force_n", ORANGE, [0x8F, 0x63, 0x00]),
    ("cartridge_n_m", GREEN, [0x00, 0x4F, 0x3A]),
    // The drive.
    ("current_a", PURPLE, [0x7A, 0x3D, 0x60]),
    ("lag_steps", ORANGE, [0x8F, 0x63, 0x00]),
    ("microstep_index", BLUE, [0x00, 0x39, 0x5A]),
    ("step_fraction", ORANGE, [0x8F, 0x63, 0x00]),
    ("current_level", PURPLE, [0x7A, 0x3D, 0x60]),
    ("steps", SKY, [0xA6, 0xD8, 0xF5]),
    ("pulses_refused", [0x8C, 0x5A, 0x3C], [0xC9, 0xAE, 0x98]),
    // What leaves and what comes in.
    ("joystick", GREEN, [0x00, 0x4F, 0x3A]),
    ("sensor_counts", PURPLE, [0x7A, 0x3D, 0x60]),
    ("sensor_v", PURPLE, [0x7A, 0x3D, 0x60]),
];

/// Signals of no axis.
const OTHERS: [(&str, Rgb); 6] = [
    ("hand.pitch_deg", [0xB8, 0xA0, 0x60]),
    ("hand.roll_deg", [0x5C, 0x4A, 0x12]),
    ("supply_v", BLACK),
    ("supply_a", GREEN),
    ("loop.longest_ms", BLUE),
    ("loop.shortest_ms", SKY),
];

/// Colour of a signal, by its name in traces and formulas; none for a switch, a state and what is
/// no signal.
pub fn signal(name: &str) -> Option<Rgb> {
    if let Some((_, colour)) = OTHERS.iter().find(|(known, _)| *known == name) {
        return Some(*colour);
    }
    let (axis, quantity) = name.split_once('.')?;
    let (_, pitch, roll) = QUANTITIES.iter().find(|(known, ..)| *known == quantity)?;
    match axis {
        "pitch" => Some(*pitch),
        "roll" => Some(*roll),
        _ => None,
    }
}

/// Tint of a state, behind its word in ink.
pub const fn state(state: State) -> Rgb {
    match state {
        State::Limp => [0xE1, 0xE4, 0xE8],
        State::Centring => [0xC6, 0xDF, 0xF2],
        State::Holding => [0xC4, 0xE6, 0xD9],
        State::Released => [0xF5, 0xE3, 0xB3],
        State::Nudging => [0xE3, 0xD0, 0xE6],
        State::Tripped => [0xF3, 0xC1, 0x9B],
    }
}

/// Tint of the state with this name; that of `limp` for any other word.
pub fn state_named(name: &str) -> Rgb {
    let known = State::ALL.into_iter().find(|one| one.name() == name);
    known.map_or(state(State::Limp), state)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::signals;

    /// Relative luminance of sRGB as WCAG 2.1 defines it (from memory).
    fn luminance(rgb: Rgb) -> f64 {
        let linear = rgb.map(|part| {
            let part = f64::from(part) / 255.0;
            if part <= 0.04045 {
                part / 12.92
            } else {
                ((part + 0.055) / 1.055).powf(2.4)
            }
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    }

    fn contrast(a: Rgb, b: Rgb) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn every_number_of_a_trace_has_a_colour_and_no_two_of_a_unit_share_one() {
        let numbers: Vec<_> = signals()
            .iter()
            .filter(|column| column.kind.is_number() && column.name != "time_s")
            .collect();
        assert!(numbers.len() > 30);
        for (index, one) in numbers.iter().enumerate() {
            let colour = signal(&one.name).unwrap_or_else(|| panic!("{} has none", one.name));
            assert!(
                colour != WORST,
                "{} has the colour of the worst instant",
                one.name
            );
            for other in &numbers[index + 1..] {
                if one.unit == other.unit {
                    assert_ne!(
                        signal(&other.name),
                        Some(colour),
                        "{} {}",
                        one.name,
                        other.name
                    );
                }
            }
        }
    }

    /// A reader who sees no hue at all still distinguishes pitch from roll of one quantity: they
    /// differ in lightness by half or more.
    #[test]
    fn pitch_and_roll_of_a_quantity_differ_in_lightness() {
        for (name, pitch, roll) in QUANTITIES {
            let found = contrast(pitch, roll);
            assert!(found >= 1.5, "{name}: {found}");
        }
    }

    #[test]
    fn words_stand_out_from_the_tints_of_states_and_tints_from_each_other() {
        for (index, one) in State::ALL.into_iter().enumerate() {
            // 4.5 to 1 is what WCAG 2.1, success criterion 1.4.3, asks of text.
            assert!(contrast(state(one), [0x22, 0x26, 0x2B]) >= 4.5, "{one:?}");
            for other in &State::ALL[index + 1..] {
                let far: i32 = state(one)
                    .iter()
                    .zip(state(*other))
                    .map(|(a, b)| (i32::from(*a) - i32::from(b)).abs())
                    .sum();
                assert!(far >= 24, "{one:?} {other:?}: {far}");
            }
            assert_eq!(state_named(one.name()), state(one));
        }
        assert_eq!(state_named("?"), state(State::Limp));
    }
}

//! Rules between two numbers of a rig file, each on both sides of its bound.

use super::{BITTERN, KITTIWAKE};
use crate::Rig;

/// The message with which a changed file is refused; `accepted` if it is not.
fn message(text: &str, changes: &[(&str, &str)]) -> String {
    let mut text = text.to_owned();
    for (old, new) in changes {
        assert!(text.contains(old), "`{old}` is not in the rig");
        text = text.replacen(old, new, 1);
    }
    Rig::parse(&text).map_or_else(|error| error.message, |_| "accepted".to_owned())
}

#[test]
fn a_rule_between_two_numbers_has_a_sharp_bound() {
    type Changes<'a> = &'a [(&'a str, &'a str)];
    let cases: [(&str, Changes<'_>, Changes<'_>, &str); 11] = [
        (
            KITTIWAKE,
            &[("stiction_n_m = 0.065", "stiction_n_m = 0.05")],
            &[("stiction_n_m = 0.065", "stiction_n_m = 0.0499")],
            "`pitch.friction.stiction_n_m` is `0.0499`, it must not be below the sliding friction `0.05`",
        ),
        (
            KITTIWAKE,
            &[
                ("free_play_deg = 0.15", "free_play_deg = 4.0"),
                ("bind_deg = 45.0", "bind_deg = 4.01"),
            ],
            &[
                ("free_play_deg = 0.15", "free_play_deg = 4.0"),
                ("bind_deg = 45.0", "bind_deg = 4.0"),
            ],
            "`pitch.cartridge.bind_deg` is `4`, it must be above the free play `4`",
        ),
        (
            KITTIWAKE,
            &[("holding_n_m = 1.26", "holding_n_m = 0.041")],
            &[("holding_n_m = 1.26", "holding_n_m = 0.04")],
            "`pitch.motor.detent_n_m` is `0.04`, it must be below the holding torque `0.04`",
        ),
        (
            KITTIWAKE,
            &[("hold_a = 3.65", "hold_a = 3.75")],
            &[("hold_a = 3.65", "hold_a = 3.76")],
            "`pitch.driver.hold_a` is `3.76`, it must not be above the running current `3.75`",
        ),
        (
            KITTIWAKE,
            &[("min_deg = -30.0", "min_deg = 29.0")],
            &[("min_deg = -30.0", "min_deg = 29.01")],
            "`pitch.sensor.min_deg` is `29.01`, it must be at least 1 degree from `max_deg`, which is `30`",
        ),
        (
            // A reading that falls as the angle rises.
            KITTIWAKE,
            &[("min_deg = -30.0", "min_deg = 31.0")],
            &[("min_deg = -30.0", "min_deg = 30.99")],
            "`pitch.sensor.min_deg` is `30.99`, it must be at least 1 degree from `max_deg`, which is `30`",
        ),
        (
            BITTERN,
            &[("coil_m = 0.0165", "coil_m = 0.005")],
            &[("coil_m = 0.0165", "coil_m = 0.00499")],
            "`pitch.cartridge.coil_m` is `0.00499`, it must be at least twice the wire, which is `0.0025`",
        ),
        (
            BITTERN,
            &[("total_coils = 10.0", "total_coils = 8.0")],
            &[("total_coils = 10.0", "total_coils = 7.9")],
            "`pitch.cartridge.total_coils` is `7.9`, it must not be below `active_coils`, which is `8`",
        ),
        (
            BITTERN,
            &[("installed_length_m = 0.0484", "installed_length_m = 0.0505")],
            &[("installed_length_m = 0.0484", "installed_length_m = 0.0506")],
            "`pitch.cartridge.installed_length_m` is `0.0506`, it must be above the solid length `0.025` and at most the free length `0.0505`",
        ),
        (
            // Eight coils of 2.5 mm are solid at 20 mm.
            BITTERN,
            &[
                ("total_coils = 10.0", "total_coils = 8.0"),
                ("installed_length_m = 0.0484", "installed_length_m = 0.0201"),
            ],
            &[
                ("total_coils = 10.0", "total_coils = 8.0"),
                ("installed_length_m = 0.0484", "installed_length_m = 0.02"),
            ],
            "`pitch.cartridge.installed_length_m` is `0.02`, it must be above the solid length `0.02` and at most the free length `0.0505`",
        ),
        (
            KITTIWAKE,
            &[("high_n = 3.0", "high_n = 2.0")],
            &[("high_n = 3.0", "high_n = 1.99")],
            "`feel[0].high_n` is `1.99`, it must not be below `low_n`, which is `2`",
        ),
    ];
    for (text, within, beyond, refusal) in cases {
        assert_eq!(message(text, beyond), refusal);
        // The rest of the rig may not fit the changed number: the words of this rule tell.
        let words = refusal.rsplit(", it").next().unwrap_or_default();
        let words = words.split('`').next().unwrap_or_default();
        let found = message(text, within);
        assert!(!found.contains(words), "{within:?}: {found}");
    }
}

/// A number of its own range: either end is taken, what lies beyond it is not.
#[test]
fn the_ends_of_a_range_belong_to_it() {
    let with = |efficiency: &str| {
        message(
            KITTIWAKE,
            &[("efficiency = 0.97", &format!("efficiency = {efficiency}"))],
        )
    };
    assert_eq!([with("1.0"), with("0.3")], ["accepted"; 2]);
    for beyond in ["1.0001", "0.2999"] {
        assert_eq!(
            with(beyond),
            format!("`pitch.drive.efficiency` is `{beyond}`, it must be `0.3` to `1`")
        );
    }
}

/// With the tube's beginning at 30 mm its own range decides how low a stop may be; the tube's end
/// of 280 mm, times the cosine of the farther stop of the other axis, how high: 280 cos 18° =
/// 266.29 mm, cos 19° makes 264.74 mm.
///
/// A pin so thick that tube and pin have 61 mm stands in the tube's way below 61 tan (40°/2) =
/// 22.20 mm; at ±20.5° below 61 tan 20.5° = 22.81 mm.
#[test]
fn a_stop_stands_where_the_tube_meets_it() {
    let tube = ("tube_bottom_m = 0.03", "tube_bottom_m = 0.01");
    let pin = ("pin_radius_m = 0.006", "pin_radius_m = 0.05");
    let wide = (
        "min_deg = -20.0\nmax_deg = 20.0",
        "min_deg = -20.5\nmax_deg = 20.5",
    );
    let (low, high) = (
        ("min_deg = -18.0", "min_deg = -19.0"),
        ("max_deg = 18.0", "max_deg = 19.0"),
    );
    type Changes<'a> = &'a [(&'a str, &'a str)];
    let cases: [(Changes<'_>, [f64; 2]); 5] = [
        (&[], [0.03, 0.2662]),
        (&[low], [0.03, 0.2647]),
        (&[high], [0.03, 0.2647]),
        (&[tube, pin], [0.0223, 0.2662]),
        (&[tube, pin, wide], [0.0229, 0.2662]),
    ];
    for (changes, [low, high]) in cases {
        let with = |height_m: f64| {
            let new = format!("height_m = {height_m}");
            let mut changes = changes.to_vec();
            changes.push(("height_m = 0.08", &new));
            message(KITTIWAKE, &changes)
        };
        for height_m in [low - 1e-4, high + 1e-4] {
            let height_m = (height_m * 1e4).round() / 1e4;
            assert_eq!(
                with(height_m),
                format!(
                    "`pitch.stops.height_m` is `{height_m}`, it must be `{low:.4}` to `{high:.4}`: on the tube with the other axis at its stop, and out of the tube's way up to the opposite stop"
                )
            );
        }
        for height_m in [low, high] {
            assert!(!with(height_m).contains("`pitch.stops.height_m` is"));
        }
    }
}

/// 30 degrees beyond the stop the buffer gives 80 sin 30° + 17 (1 − cos 30°) = 42.278 mm. Its
/// spring makes 3.5e5 N/m of them, and 1.65e6 N/m more beyond 6 mm: 74655 N.
#[test]
fn a_stop_is_no_stronger_than_its_buffer_is_deep() {
    let with = |strength: &str| {
        let new = format!("pin_radius_m = 0.006\nstrength_n = {strength}");
        message(KITTIWAKE, &[("pin_radius_m = 0.006", &new)])
    };
    assert!(!with("74655.0").contains("strength_n"));
    assert_eq!(
        with("74656.0"),
        "`pitch.stops.strength_n` is `74656`, it must be at most `74655`: pressed with it, the buffer gives `0.0423` m, and the stick would be more than 30 degrees beyond the stop"
    );
}

/// A tick and a half, two choices; below one tick there is only one.
#[test]
fn a_silence_between_one_and_two_ticks_has_two_choices() {
    assert_eq!(
        message(KITTIWAKE, &[("silence_s = 0.1", "silence_s = 0.003")]),
        "`board.silence_s` is `0.003`, it must be a whole number of ticks of 1/500 s: `0.002` or `0.004`"
    );
}

#[test]
fn a_rig_is_named_in_lower_case() {
    let with = |name: &str| message(KITTIWAKE, &[("\"kittiwake\"", &format!("\"{name}\""))]);
    for name in ["a", "stick-2", "0"] {
        assert_eq!(with(name), "accepted");
    }
    for name in ["", "A", "a_b", "a b", "ä"] {
        assert_eq!(
            with(name),
            format!("`name` is `{name}`, it must be lower-case letters, digits and hyphens")
        );
    }
}

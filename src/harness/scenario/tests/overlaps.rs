//! Faults at once in one part, starts that a rig does not leave, events between two ticks.

use crate::rig::RigFile;

use crate::scenario::{Scenario, on_rig};

const KITTIWAKE: &str = include_str!("../../../../scenarios/rigs/kittiwake.toml");
const BITTERN: &str = include_str!("../../../../scenarios/rigs/bittern.toml");

const EXPECT: &str = r#"
[[expect]]
name = "something"
formula = "always(supply_v >= 0)"
"#;

/// A scenario of these faults: kind with its keys, when, and for how long if not to the end.
fn faults(faults: &[(&str, f64, Option<f64>)]) -> String {
    let mut text =
        "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 20\n".to_owned();
    for (fault, at_s, for_s) in faults {
        text += &format!("\n[[do]]\nat_s = {at_s}\nwhat = \"fault\"\nfault = {{ {fault} }}\n");
        if let Some(for_s) = for_s {
            text += &format!("for_s = {for_s}\n");
        }
    }
    text + EXPECT
}

/// The message and the help, or `accepted`; the place must be the second fault's time.
fn verdict(text: &str) -> String {
    match Scenario::parse(text) {
        Ok(_) => "accepted".to_owned(),
        Err(error) => format!("{}; {}", error.message, error.help.unwrap_or_default()),
    }
}

/// Every kind that lasts, with keys that do not matter to what it excludes.
const KINDS: [&str; 12] = [
    r#"kind = "sensor_open", axis = "pitch""#,
    r#"kind = "sensor_short", axis = "pitch""#,
    r#"kind = "sensor_stuck", axis = "pitch""#,
    r#"kind = "sensor_jump", axis = "pitch", by_deg = 2.0"#,
    r#"kind = "sensor_noise", axis = "pitch", rms_deg = 0.5"#,
    r#"kind = "spring_broken", axis = "pitch""#,
    r#"kind = "lead_broken", axis = "pitch", coil = "a""#,
    r#"kind = "driver_dead", axis = "pitch""#,
    r#"kind = "switch_stuck", switch = "release", closed = true"#,
    r#"kind = "switch_bounce", switch = "release", pattern_s = [0.01]"#,
    r#"kind = "link_loss""#,
    r#"kind = "link_corruption", share = 0.1"#,
];

/// Which kinds may not be there at once: each with itself, a sensor's wire and its reading, a
/// switch's two.
fn excluded(one: usize, other: usize) -> bool {
    one == other || (one <= 2 && other <= 2) || ([8, 9].contains(&one) && [8, 9].contains(&other))
}

#[test]
fn faults_that_would_mend_or_hide_each_other_are_refused() {
    for (i, one) in KINDS.into_iter().enumerate() {
        for (k, other) in KINDS.into_iter().enumerate() {
            for (first, second) in [
                ((2.0, Some(3.0)), (4.0, Some(5.0))),
                ((2.0, Some(3.0)), (2.0, Some(1.0))),
                ((2.0, None), (9.0, Some(1.0))),
                ((2.0, Some(8.0)), (4.0, None)),
            ] {
                let text = faults(&[(one, first.0, first.1), (other, second.0, second.1)]);
                let found = verdict(&text);
                assert_eq!(
                    found != "accepted",
                    excluded(i, k),
                    "{one}, {other}: {found}"
                );
            }
            // One after the other, without a gap, is allowed.
            let text = faults(&[(one, 2.0, Some(3.0)), (other, 5.0, None)]);
            assert_eq!(verdict(&text), "accepted", "{one}, {other}");
        }
        // On the other axis, the other coil or another switch it is another part.
        for (old, new) in [
            ("\"pitch\"", "\"roll\""),
            ("\"a\"", "\"b\""),
            ("\"release\"", "\"hat_fore\""),
        ] {
            if one.contains(old) {
                let text = faults(&[(one, 2.0, None), (&one.replace(old, new), 3.0, None)]);
                assert_eq!(verdict(&text), "accepted", "{one}");
            }
        }
    }
}

#[test]
fn an_overlap_names_both_places() {
    assert_eq!(
        verdict(&faults(&[
            (KINDS[0], 2.0, Some(3.0)),
            (KINDS[5], 3.0, None),
            (KINDS[1], 4.5, Some(1.0))
        ])),
        "`sensor_short` begins at `4.5` s within `sensor_open` of pitch since `2` s (line 7), which lasts until `5` s; begin at `5` s or later"
    );
    assert_eq!(
        verdict(&faults(&[
            (KINDS[6], 2.0, None),
            (KINDS[6], 4.5, Some(1.0))
        ])),
        "`lead_broken` begins at `4.5` s within `lead_broken` of pitch coil a since `2` s (line 7), which lasts to the end, for it has no `for_s`; give the fault in line 7 a `for_s`"
    );
    let text = faults(&[(KINDS[10], 2.0, Some(3.0)), (KINDS[10], 4.5, None)]);
    let span = Scenario::parse(&text).unwrap_err().span.unwrap();
    assert_eq!(&text[span], "4.5");
    // Faults of an instant do not last and cannot overlap.
    let slip = r#"kind = "gear_slip", axis = "pitch", teeth = 1"#;
    let reset = r#"kind = "controller_reset""#;
    for instant in [slip, reset] {
        let twice = faults(&[(instant, 2.0, None), (instant, 2.0, None)]);
        assert_eq!(verdict(&twice), "accepted");
    }
}

fn with_start(start: &str, rigs: &str) -> (Scenario, String) {
    let text = format!(
        "title = \"t\"\npurpose = \"p\"\nrigs = [{rigs}]\nlength_s = 2\n\n[start]\n{start}\n{EXPECT}"
    );
    (Scenario::parse(&text).expect("it is right by itself"), text)
}

fn on(rig: &str, start: &str) -> String {
    let rig = RigFile::parse(rig).unwrap();
    let (scenario, text) = with_start(start, &format!("\"{}\"", rig.name));
    match on_rig::check(&rig, &scenario, &text) {
        Ok(()) => "accepted".to_owned(),
        Err(error) => {
            let place = error.span.map(|span| text[span].to_owned());
            format!(
                "{} at {place:?}; {}",
                error.message,
                error.help.unwrap_or_default()
            )
        }
    }
}

/// 25 degrees was thrown out at 735 deg/s, 40 degrees fell through to the other side.
#[test]
fn a_start_beyond_a_stop_is_refused() {
    assert_eq!(
        on(KITTIWAKE, "pitch_deg = 25.0"),
        "`start.pitch_deg` is `25`, beyond a stop of `kittiwake`: it must be `-20` to `20` at Some(\"25.0\"); "
    );
    assert_eq!(
        on(KITTIWAKE, "roll_deg = -40.0"),
        "`start.roll_deg` is `-40`, beyond a stop of `kittiwake`: it must be `-18` to `18` at Some(\"-40.0\"); "
    );
    assert_eq!(
        on(KITTIWAKE, "pitch_deg = -20.0\nroll_deg = 16.9"),
        "accepted"
    );
    // tan φ = tan 18° cos 20°: 16.979 degrees.
    assert_eq!(
        on(KITTIWAKE, "pitch_deg = -20.0\nroll_deg = 17.1"),
        "`start.roll_deg` is `17.1`, beyond a stop of `kittiwake`: it must be `-16.97` to `16.97` at Some(\"17.1\"); that is what the roll stops leave at `start.pitch_deg` `-20`: tan(roll) = tan(stop) cos(pitch)"
    );
}

/// Bittern's seat edge is met at 19.3 degrees, within its stop at 20.
#[test]
fn a_start_inside_an_obstacle_is_refused() {
    assert_eq!(on(BITTERN, "pitch_deg = 19.2"), "accepted");
    let found = on(BITTERN, "pitch_deg = 19.8");
    assert!(
        found.starts_with("`start.pitch_deg` is `19.8`, inside the obstacle `seat edge` of `bittern` at Some(\"19.8\"); on the way there from the middle the stick is clear up to pitch `19."),
        "{found}"
    );
    assert_eq!(on(BITTERN, "pitch_deg = -18.9"), "accepted");
}

/// Half a tick between two ticks does nothing; half a tick over one acts at it.
#[test]
fn an_event_between_two_ticks_is_refused() {
    let rig = RigFile::parse(KITTIWAKE).unwrap();
    let check = |event: &str| {
        let text = format!(
            "title = \"t\"\npurpose = \"p\"\nrigs = [\"kittiwake\"]\nlength_s = 2\n\n[[do]]\n{event}\n{EXPECT}"
        );
        let scenario = Scenario::parse(&text).expect("it is right by itself");
        on_rig::check(&rig, &scenario, &text).map_err(|error| error.message)
    };
    let hold = "what = \"hold\"\nswitch = \"release\"";
    assert_eq!(
        check(&format!("at_s = 1.0005\n{hold}\nfor_s = 0.001")),
        Err("`hold` for `0.001` s from `1.0005` s on begins and ends between two ticks of `kittiwake`, 1/500 s apart: nothing would come of it".to_owned())
    );
    assert_eq!(check(&format!("at_s = 1.0\n{hold}\nfor_s = 0.001")), Ok(()));
    assert_eq!(
        check(&format!("at_s = 1.0005\n{hold}\nfor_s = 0.002")),
        Ok(())
    );
    for event in [
        "at_s = 1.0005\nwhat = \"dip\"\nvolts = 3.0\nfor_s = 0.001",
        "at_s = 1.0005\nwhat = \"fault\"\nfault = { kind = \"link_loss\" }\nfor_s = 0.001",
    ] {
        assert!(check(event).is_err(), "{event}");
    }
}

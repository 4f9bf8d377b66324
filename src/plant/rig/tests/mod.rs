//! The rigs of the repository as parts, and files that are refused.

mod bad_input;
mod bounds;

use super::*;

pub(super) const KITTIWAKE: &str = include_str!("../../../../scenarios/rigs/kittiwake.toml");
pub(super) const BITTERN: &str = include_str!("../../../../scenarios/rigs/bittern.toml");

/// Three digits, to the side on which the number is still inside its bound.
#[test]
fn a_bound_is_printed_with_three_digits() {
    for (value, below, above) in [
        (0.123_456, 0.123, 0.124),
        (98_765.0, 98_700.0, 98_800.0),
        (2.507e-7, 2.5e-7, 2.51e-7),
        (1.004, 1.0, 1.01),
        (0.0, 0.0, 0.0),
    ] {
        assert_eq!(three_digits(value, false), below);
        assert_eq!(three_digits(value, true), above);
    }
    assert_eq!(three_digits(f64::INFINITY, true), f64::INFINITY);
}

/// Each target says which axis it is for and why, as its table does.
#[test]
fn a_target_knows_its_axis_and_its_reason() {
    let kinds = [
        "kind = \"force\"\nat_deg = 5.0\nlow_n = 1.0\nhigh_n = 2.0",
        "kind = \"breakout\"\nlow_n = 1.0\nhigh_n = 2.0",
        "kind = \"gradient\"\npart = \"first_inch\"\nlow_n_per_deg = 0.1\nhigh_n_per_deg = 0.2",
        "kind = \"centring\"\nwithin_deg = 0.5",
        "kind = \"friction\"\nmost_n = 1.0",
        "kind = \"ripple\"\nmost_n = 1.0",
        "kind = \"trim_rate\"\nlow_deg_per_s = 1.0\nhigh_deg_per_s = 2.0",
        "kind = \"damping_ratio\"\nlow = 0.1\nhigh = 0.2",
        "kind = \"free_play\"\nmost_mm = 1.0",
    ];
    let bare = KITTIWAKE.split("[[feel]]").next().unwrap_or_default();
    for kind in kinds {
        let text = format!(
            "{bare}[[feel]]\n{kind}\naxis = \"roll\"\nbecause = \"of {}\"\n\n[[feel]]\n{kind}",
            kind.len()
        );
        let rig = Rig::parse(&text).unwrap_or_else(|error| panic!("{kind}: {}", error.message));
        let [one, other] = rig.feel.as_slice() else {
            panic!("two targets")
        };
        assert_eq!(one.axis(), Some(crate::AxisName::Roll));
        assert_eq!(one.because(), Some(format!("of {}", kind.len()).as_str()));
        assert_eq!((other.axis(), other.because()), (None, None));
    }
}

#[test]
fn the_schema_knows_ranges_and_meanings() {
    let schema = schema();
    let bits = schema
        .pointer("/$defs/SensorRig/properties/bits")
        .expect("bits are described");
    assert_eq!(bits["minimum"], 8);
    assert_eq!(bits["maximum"], 16);
    assert!(
        bits["description"]
            .as_str()
            .is_some_and(|text| text.contains("Valid: 8 to 16."))
    );
    assert_eq!(
        schema.pointer("/$defs/SensorRig/additionalProperties"),
        Some(&false.into())
    );
}

/// Every number of a rig's file has a range: far outside on either side it is refused, and the key
/// is named.
#[test]
fn every_number_has_a_range() {
    fn tables(value: &toml::Value, path: &mut Vec<String>, found: &mut Vec<Vec<String>>) {
        for (key, inner) in value.as_table().into_iter().flatten() {
            path.push(key.clone());
            if inner.is_float() {
                found.push(path.clone());
            }
            tables(inner, path, found);
            path.pop();
        }
    }
    let file: toml::Value = toml::from_str(KITTIWAKE).expect("it is TOML");
    let mut found = Vec::new();
    tables(&file, &mut Vec::new(), &mut found);
    assert!(found.len() > 60);
    for path in found {
        for value in [-1e12, 1e12] {
            let mut file = file.clone();
            let mut at = &mut file;
            for key in &path {
                at = at.get_mut(key).expect("it is there");
            }
            *at = value.into();
            let text = toml::to_string(&file).expect("it can be written");
            let error = Rig::parse(&text).expect_err("it is out of range");
            assert!(error.message.contains(&path.join(".")), "{}", error.message);
        }
    }
}

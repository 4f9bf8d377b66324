//! The rig that is written out.

use trimproof_harness::rig::RigFile;
use trimproof_plant::AxisName;
use trimproof_plant::rig::CartridgeRig;

use crate::fit::{AxisFit, Estimate, Fit, FitQuantity, Origin, written};

const KITTIWAKE: &str = include_str!("../../../../scenarios/rigs/kittiwake.toml");
const BITTERN: &str = include_str!("../../../../scenarios/rigs/bittern.toml");

fn axis(axis: AxisName, measured: &[(FitQuantity, f64)]) -> AxisFit {
    let estimate = |(quantity, value): &(FitQuantity, f64)| Estimate {
        quantity: *quantity,
        origin: Origin::Measured,
        rig: 0.0,
        value: *value,
        standard_error: Some(0.0),
        interval: Some([*value; 2]),
    };
    AxisFit {
        axis,
        estimates: measured.iter().map(estimate).collect(),
        entangled: Vec::new(),
        residuals: Vec::new(),
        notes: Vec::new(),
    }
}

fn fit(axes: Vec<AxisFit>) -> Fit {
    Fit {
        axes,
        ..Fit::default()
    }
}

const ALL: [(FitQuantity, f64); 6] = [
    (FitQuantity::Rate, 11.25),
    (FitQuantity::Breakout, 0.8125),
    (FitQuantity::Friction, 0.0625),
    (FitQuantity::FreePlay, 0.21),
    (FitQuantity::Damping, 0.45),
    (FitQuantity::Inertia, 0.0425),
];

/// Lines that differ between two texts of as many lines.
fn changed<'a>(old: &'a str, new: &'a str) -> Vec<(&'a str, &'a str)> {
    assert_eq!(old.lines().count(), new.lines().count());
    old.lines()
        .zip(new.lines())
        .filter(|(a, b)| a != b)
        .collect()
}

#[test]
fn measured_values_stand_in_the_text_and_nothing_else_changes() {
    let new = written(
        KITTIWAKE,
        &fit(vec![axis(AxisName::Pitch, &ALL)]),
        "kittiwake-2",
    )
    .unwrap();
    let rig = RigFile::parse(&new.text).unwrap();
    let old = RigFile::parse(KITTIWAKE).unwrap();
    let CartridgeRig::Measured(cartridge) = &rig.pitch.cartridge else {
        panic!("not measured")
    };
    assert_eq!(rig.name, "kittiwake-2");
    assert_eq!(cartridge.rate_n_m_per_rad, 11.25);
    assert_eq!(cartridge.breakout_n_m, 0.8125);
    assert_eq!(cartridge.free_play_deg, 0.21);
    // 0.45 less the pivot's 0.08.
    assert_eq!(cartridge.damping_n_m_s_per_rad, 0.37);
    assert_eq!(rig.pitch.friction.coulomb_n_m, 0.0625);
    // In the proportion 0.065 to 0.05.
    assert!((rig.pitch.friction.stiction_n_m - 0.08125).abs() < 1e-9);
    assert_eq!(rig.pitch.friction.viscous_n_m_s_per_rad, 0.08);
    let mass = |rig: &RigFile, axis: usize| rig.stick.mass.properties().axis_inertia_kg_m2(axis);
    assert!((mass(&rig, 0) - 0.0425).abs() < 5e-6, "{}", mass(&rig, 0));
    assert_eq!(rig.roll, old.roll);
    assert_eq!(rig.controller, old.controller);
    let changes = changed(KITTIWAKE, &new.text);
    assert_eq!(changes.len(), 8, "{changes:#?}");
    assert!(new.text.contains("# About the centre of gravity"));
}

#[test]
fn both_axes_share_the_inertia_between_frame_and_stick() {
    let roll = [(FitQuantity::Inertia, 0.0412)];
    let new = written(
        KITTIWAKE,
        &fit(vec![
            axis(AxisName::Pitch, &ALL),
            axis(AxisName::Roll, &roll),
        ]),
        "kittiwake",
    )
    .unwrap();
    let mass = RigFile::parse(&new.text).unwrap().stick.mass.properties();
    assert!((mass.axis_inertia_kg_m2(0) - 0.0425).abs() < 1e-5);
    assert!((mass.axis_inertia_kg_m2(1) - 0.0412).abs() < 1e-5);
    assert!(mass.frame_inertia_kg_m2 > 8e-4);
}

#[test]
fn springs_and_shapes_become_measured_figures() {
    let old = RigFile::parse(BITTERN).unwrap();
    let inertia = old.stick.mass.properties().axis_inertia_kg_m2(1);
    let measured = [
        (FitQuantity::Rate, 31.0),
        (FitQuantity::Inertia, 1.05 * inertia),
    ];
    let new = written(
        BITTERN,
        &fit(vec![axis(AxisName::Roll, &measured)]),
        "bittern",
    )
    .unwrap();
    let rig = RigFile::parse(&new.text).unwrap();
    let (before, after) = (
        old.roll.cartridge.cartridge(),
        rig.roll.cartridge.cartridge(),
    );
    assert_eq!(after.rate_n_m_per_rad, 31.0);
    assert!((after.breakout_n_m / before.breakout_n_m - 1.0).abs() < 5e-5);
    assert!((after.bind_rad / before.bind_rad - 1.0).abs() < 5e-5);
    assert_eq!(after.springs, before.springs);
    assert_eq!(rig.pitch, old.pitch);
    let mass = rig.stick.mass.properties();
    let were = old.stick.mass.properties();
    assert!((mass.axis_inertia_kg_m2(1) / inertia - 1.05).abs() < 1e-4);
    for axis in 0..2 {
        let (a, b) = (
            mass.overturning_n_m_per_rad(axis),
            were.overturning_n_m_per_rad(axis),
        );
        assert!((a - b).abs() < 1e-3, "{a} {b}");
    }
    assert_eq!(new.notes.len(), 2, "{:?}", new.notes);
}

#[test]
fn what_no_rig_allows_is_refused_and_what_no_body_has_is_left() {
    let much = [(FitQuantity::Rate, 5000.0)];
    let error = written(KITTIWAKE, &fit(vec![axis(AxisName::Pitch, &much)]), "k").unwrap_err();
    assert!(error.message.contains("rate_n_m_per_rad"), "{error}");
    // Roll heavier than pitch by more than the stick is thick: no body.
    let pitch = axis(AxisName::Pitch, &[(FitQuantity::Inertia, 0.03)]);
    let roll = axis(AxisName::Roll, &[(FitQuantity::Inertia, 0.05)]);
    let new = written(KITTIWAKE, &fit(vec![pitch, roll]), "k").unwrap();
    let mass = RigFile::parse(&new.text).unwrap().stick.mass.clone();
    assert_eq!(mass, RigFile::parse(KITTIWAKE).unwrap().stick.mass);
    assert!(new.notes.iter().any(|note| note.contains("no body")));
    assert!(written("name = ", &Fit::default(), "k").is_err());
}

//! Each way in which a twin goes beyond what a rig can hold, and what is then said of it.

use super::*;
use crate::rig::Rig;
use crate::scheme::Numerics;
use crate::twin::StartPose;

fn plant() -> Plant {
    let rig = Rig::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let start = StartPose {
        supply_v: 24.0,
        ..StartPose::default()
    };
    Plant::new(&rig, 1, Numerics::default(), start)
}

fn aborts(spoil: impl FnOnce(&mut Plant)) -> TwinAbort {
    let mut plant = plant();
    plant.advance().unwrap();
    spoil(&mut plant);
    let abort = plant.advance().unwrap_err();
    assert_eq!(
        plant.advance(),
        Err(abort.clone()),
        "nothing comes after an abort"
    );
    abort
}

#[test]
fn a_rig_that_is_left_alone_is_never_aborted() {
    let mut plant = plant();
    plant.push([40.0, -30.0], 0.1, 0.4);
    for _ in 0..500 {
        plant.advance().unwrap();
    }
}

#[test]
fn what_is_no_number_is_found_in_the_step_and_in_the_part() {
    let abort = aborts(|plant| plant.axis[1].train.current_a[0] = f64::NAN);
    assert_eq!(abort.part, TwinPart::Drive(AxisName::Roll));
    assert!(matches!(abort.reason, AbortReason::NotFinite { .. }));
    // Dry friction hides it from the stick: it is found at the end of the second tick, 4 ms.
    assert!((abort.at_s - 0.004).abs() < 1e-9, "{abort}");
    // The drive of the axis sees the stick's rate in the same step.
    let abort = aborts(|plant| plant.stick.rate_rad_per_s[0] = f64::INFINITY);
    assert!(matches!(abort.reason, AbortReason::NotFinite { .. }));
    assert!(abort.at_s < 0.0022, "{abort}");
}

#[test]
fn an_angle_that_no_stop_allows_is_found() {
    let abort = aborts(|plant| plant.stick.angle_rad[1] = -1.6);
    assert_eq!(abort.part, TwinPart::Stick(AxisName::Roll));
    assert!(
        matches!(
            abort.reason,
            AbortReason::Beyond {
                quantity: Quantity::Angle,
                limit: 90.0,
                ..
            }
        ),
        "{abort}"
    );
}

/// Rotor inertia 3e-5 kg·m² at 1000 rad/s is 15 J, which nobody put in.
#[test]
fn energy_from_nowhere_is_found_in_the_drive_that_has_it() {
    let abort = aborts(|plant| plant.axis[0].train.rotor_rad_per_s = 1000.0);
    assert_eq!(abort.part, TwinPart::Drive(AxisName::Pitch));
    assert!(
        matches!(
            abort.reason,
            AbortReason::Beyond {
                quantity: Quantity::Energy,
                ..
            }
        ),
        "{abort}"
    );
}

/// Stick inertia of some 0.05 kg·m² at 30 rad/s is 20 J; in a tick of 2 ms it turns by 0.06 rad.
#[test]
fn energy_from_nowhere_is_found_in_roll_and_in_the_stick() {
    let abort = aborts(|plant| plant.axis[1].train.rotor_rad_per_s = 1000.0);
    assert_eq!(abort.part, TwinPart::Drive(AxisName::Roll), "{abort}");
    let abort = aborts(|plant| plant.stick.rate_rad_per_s[0] = 30.0);
    assert_eq!(abort.part, TwinPart::Rig, "{abort}");
}

/// What a push puts in is force times way: 20 N on 0.33 m in pitch, 10 N the other way in roll; and
/// what the drives draw where nothing moves is what their windings burn, R I² an axis.
#[test]
fn what_is_put_in_is_work() {
    let rig = Rig::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let mut plant = Plant::new(&rig, 1, Numerics::default(), StartPose::default());
    plant.push([20.0, -10.0], 0.0, 1.0);
    for _ in 0..25 {
        plant.advance().unwrap();
    }
    let [pitch, roll] = plant.stick.angle_rad;
    assert!(pitch > 0.02 && roll < -0.01);
    let work_j = 0.33 * (20.0 * pitch - 10.0 * roll);
    let found = plant.account.put_in_j;
    // The lever in pitch shortens with cos φ, by less than φ²/2.
    assert!(
        (found / work_j - 1.0).abs() < 0.5 * roll * roll + 1e-3,
        "{found} J for {work_j} J"
    );

    let mut plant = self::plant();
    let mut outputs = trimproof_io::Command::default();
    for out in &mut outputs.axis {
        out.enable = true;
        out.current = trimproof_io::CurrentLevel::Hold;
    }
    for _ in 0..300 {
        plant.command(&outputs);
        plant.advance().unwrap();
    }
    let burnt_j = 0.002 * 0.9 * (3.65 * 3.65 + 3.25 * 3.25);
    let found = plant.account.tick_j;
    assert!(
        (found / burnt_j - 1.0).abs() < 1e-3,
        "{found} J for {burnt_j} J"
    );
}

/// What a change between two ticks stores more is put in, what it stores less is not taken off:
/// 3e-5 kg·m² at 100 rad/s is 0.15 J.
#[test]
fn a_change_puts_in_what_it_stores() {
    let mut plant = plant();
    plant.with_account(|_| {});
    assert_eq!(plant.account.put_in_j, 0.0);
    plant.with_account(|plant| plant.axis[1].train.rotor_rad_per_s = 100.0);
    assert!((plant.account.put_in_j - 0.15).abs() < 1e-12);
    plant.with_account(|plant| plant.axis[1].train.rotor_rad_per_s = 0.0);
    assert!((plant.account.put_in_j - 0.15).abs() < 1e-12);
}

/// The account begins with what the parts have; the detents, which no energy counts, are in the
/// slack with all that they can give: the work of T sin(4 N x) from a crest to the next trough.
#[test]
fn an_account_begins_with_the_energy_of_its_parts() {
    let plant = plant();
    let energies = plant.energies_j();
    assert!(energies[0] != 0.0);
    let sum = energies[0] + energies[1] + energies[2];
    assert!((plant.account.start_j - sum).abs() < 1e-12);
    assert_eq!((plant.account.put_in_j, plant.account.tick_j), (0.0, 0.0));
    let mut expected = 2.0 + 0.1 * plant.gimbal.largest_fall_j();
    for axis in &plant.axis {
        let (detent_n_m, teeth) = (axis.params.detent_n_m, axis.params.rotor_teeth);
        let part = std::f64::consts::PI / (4.0 * teeth) / 1000.0;
        let work: f64 = (0..1000)
            .map(|k| detent_n_m * libm::sin(4.0 * teeth * (f64::from(k) + 0.5) * part) * part)
            .sum();
        assert!(work > 0.0);
        expected += work;
    }
    let found = plant.account.slack_j;
    // Midpoints of 1000 parts of a half wave are off by π²/24e6 of it.
    assert!((found - expected).abs() < 1e-6, "{found} for {expected}");
}

/// What is found, is found at the end of a step: a stick that stands beyond a right angle in the
/// first of the tick, one that slams into its stop in some whole step of 0.1 ms.
#[test]
fn an_abort_is_at_the_end_of_its_step() {
    let abort = aborts(|plant| plant.stick.angle_rad[1] = -1.6);
    assert!((abort.at_s - 0.0021).abs() < 1e-9, "{abort}");
    let abort = aborts(|plant| {
        plant.account.put_in_at_once(1e9);
        plant.stick.angle_rad[0] = 19.0_f64.to_radians();
        plant.stick.rate_rad_per_s[0] = 200.0;
    });
    assert!(
        matches!(
            abort.part,
            TwinPart::Stop {
                axis: AxisName::Pitch,
                upper: true
            }
        ),
        "{abort}"
    );
    let steps = (abort.at_s - 0.002) / 1e-4;
    assert!((steps - steps.round()).abs() < 1e-6 && (1.0..=20.0).contains(&steps.round()));
}

/// Each number that can stop being one, and what is then said of it; numbers that are only large
/// are none of them.
#[test]
fn what_is_no_number_is_named() {
    use crate::supply::Supply;
    type Spoil = fn(&mut Plant);
    let (pitch, roll) = (AxisName::Pitch, AxisName::Roll);
    let cases: [(Spoil, TwinPart, Quantity); 12] = [
        (
            |plant| plant.axis[0].train.shaft_rad = f64::NAN,
            TwinPart::Drive(pitch),
            Quantity::Angle,
        ),
        (
            |plant| plant.axis[1].train.rotor_rad = f64::INFINITY,
            TwinPart::Drive(roll),
            Quantity::Angle,
        ),
        (
            |plant| plant.axis[0].train.rotor_rad_per_s = f64::NAN,
            TwinPart::Drive(pitch),
            Quantity::Rate,
        ),
        (
            |plant| plant.axis[1].train.shaft_rad_per_s = f64::NEG_INFINITY,
            TwinPart::Drive(roll),
            Quantity::Rate,
        ),
        (
            |plant| plant.axis[0].train.current_a[1] = f64::NAN,
            TwinPart::Drive(pitch),
            Quantity::Current,
        ),
        (
            |plant| plant.stick.angle_rad[1] = f64::NAN,
            TwinPart::Stick(roll),
            Quantity::Angle,
        ),
        (
            |plant| plant.stick.rate_rad_per_s[0] = f64::NAN,
            TwinPart::Stick(pitch),
            Quantity::Rate,
        ),
        (
            |plant| plant.supply = Supply::new(0.1, 1e-3, f64::NAN, 1e-4),
            TwinPart::Supply,
            Quantity::Voltage,
        ),
        // Products of these are beyond all numbers, but they are not.
        (
            |plant| {
                plant.axis[0].train.shaft_rad = 1e200;
                plant.axis[0].train.rotor_rad = 1e200;
            },
            TwinPart::Rig,
            Quantity::Energy,
        ),
        (
            |plant| plant.axis[1].train.current_a = [1e200; 2],
            TwinPart::Rig,
            Quantity::Energy,
        ),
        (
            |plant| {
                plant.axis[1].train.shaft_rad_per_s = 1e200;
                plant.axis[1].train.rotor_rad_per_s = 1e200;
            },
            TwinPart::Rig,
            Quantity::Energy,
        ),
        (
            |plant| plant.stick.rate_rad_per_s = [1e200; 2],
            TwinPart::Rig,
            Quantity::Energy,
        ),
    ];
    for (spoil, part, quantity) in cases {
        let mut plant = plant();
        spoil(&mut plant);
        let abort = plant.blame(0.25);
        assert_eq!((abort.part, abort.at_s), (part.clone(), 0.25));
        assert_eq!(abort.reason, AbortReason::NotFinite { quantity }, "{part}");
    }
}

/// At a quarter turn a stick is let be, beyond it on either axis it is not; nor is one whose rates
/// are no numbers.
#[test]
fn a_step_is_guarded_on_both_axes() {
    let at = |angle_rad: [f64; 2], rate: [f64; 2]| {
        let mut plant = plant();
        plant.stick.angle_rad = angle_rad;
        plant.stick.rate_rad_per_s = rate;
        plant.guard_step(0.0)
    };
    let right = std::f64::consts::FRAC_PI_2;
    assert_eq!(at([right, -right], [1e200, 1e200]), Ok(()));
    for angle_rad in [[1.6, 0.0], [-1.6, 0.0], [0.0, 1.6], [0.0, -1.6]] {
        let abort = at(angle_rad, [0.0; 2]).unwrap_err();
        let axis = AxisName::ALL[usize::from(angle_rad[0] == 0.0)];
        assert_eq!(abort.part, TwinPart::Stick(axis));
    }
    assert!(at([0.0; 2], [0.0, f64::NAN]).is_err());
    assert!(at([0.0; 2], [f64::INFINITY, 0.0]).is_err());
}

#[test]
fn a_gear_that_slips_is_no_energy_from_nowhere() {
    let mut plant = plant();
    let slip = crate::FaultKind::GearSlip {
        axis: AxisName::Pitch,
        teeth: 40,
    };
    plant.set_fault(&slip, true);
    for _ in 0..100 {
        plant.advance().unwrap();
    }
}

//! The law: a twin that skips is the twin that never does, bit for bit, whatever happens to it and
//! when.

use proptest::prelude::*;
use trimproof_io::{AxisCommand, Command, CurrentLevel};

use super::*;
use crate::fault::{AxisName, Coil, FaultKind};
use crate::hand::PathShape;
use crate::rig::Rig;
use crate::scheme::Numerics;
use crate::state_bits::Rest;
use crate::twin::StartPose;

fn plant(supply_v: f64) -> Plant {
    let rig = Rig::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let start = StartPose {
        angle_rad: [0.02, -0.01],
        supply_v,
        force_trim: true,
    };
    Plant::new(&rig, 1, Numerics::default(), start)
}

/// What happens at an instant.
#[derive(Clone, Copy, Debug)]
enum Event {
    Grip,
    Carry(f64),
    LetGo,
    Push(f64, f64),
    Supply(f64),
    Drives(bool),
    Rate(i32),
    Home,
    Lead(bool),
    Dead(bool),
    Spring(bool),
    Slip(i32),
}

fn act(plant: &mut Plant, outputs: &mut Command, event: Event) {
    let axis = AxisName::Pitch;
    match event {
        Event::Grip => plant.grip(None),
        Event::Carry(to_rad) => plant.carry([Some(to_rad), None], 0.1, PathShape::Smooth),
        Event::LetGo => plant.let_go(),
        Event::Push(force_n, for_s) => plant.push([force_n, -force_n], 0.0, for_s),
        Event::Supply(volts) => plant.set_supply(volts, 0.01),
        Event::Drives(on) => {
            for out in &mut outputs.axis {
                *out = AxisCommand {
                    enable: on,
                    current: if on {
                        CurrentLevel::Hold
                    } else {
                        CurrentLevel::Off
                    },
                    ..AxisCommand::default()
                };
            }
        }
        Event::Rate(rate) => outputs.axis[0].step_rate = rate,
        Event::Home => outputs.axis[1].home = true,
        Event::Lead(on) => plant.set_fault(
            &FaultKind::LeadBroken {
                axis,
                coil: Coil::A,
            },
            on,
        ),
        Event::Dead(on) => plant.set_fault(&FaultKind::DriverDead { axis }, on),
        Event::Spring(on) => plant.set_fault(&FaultKind::SpringBroken { axis, count: 1 }, on),
        Event::Slip(teeth) => plant.set_fault(&FaultKind::GearSlip { axis, teeth }, true),
    }
}

fn event() -> impl Strategy<Value = Event> {
    prop_oneof![
        Just(Event::Grip),
        (-0.1..0.1).prop_map(Event::Carry),
        Just(Event::LetGo),
        // Some of them too weak to move the stick.
        ((-3.0..3.0), 0.01..0.4).prop_map(|(force_n, for_s)| Event::Push(force_n, for_s)),
        // Some strong enough to lean on a stop.
        ((-120.0..120.0), 0.1..0.4).prop_map(|(force_n, for_s)| Event::Push(force_n, for_s)),
        prop_oneof![Just(0.0), Just(24.0), Just(20.0)].prop_map(Event::Supply),
        any::<bool>().prop_map(Event::Drives),
        prop_oneof![Just(0), -40_000_000..40_000_000].prop_map(Event::Rate),
        Just(Event::Home),
        any::<bool>().prop_map(Event::Lead),
        any::<bool>().prop_map(Event::Dead),
        any::<bool>().prop_map(Event::Spring),
        (-2..3).prop_map(Event::Slip),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_twin_that_skips_is_one_that_does_not(
        events in prop::collection::vec((1_u32..250, event()), 1..12),
        starts_on in any::<bool>(),
    ) {
        let volts = if starts_on { 24.0 } else { 0.0 };
        let (mut skips, mut computes) = (plant(volts), plant(volts));
        let (mut outputs, mut same) = (Command::default(), Command::default());
        for (ticks, event) in events {
            act(&mut skips, &mut outputs, event);
            act(&mut computes, &mut same, event);
            for _ in 0..ticks {
                prop_assert_eq!(skips.sample(), computes.sample());
                skips.command(&outputs);
                computes.command(&same);
                for out in outputs.axis.iter_mut().chain(&mut same.axis) {
                    out.home = false;
                }
                computes.rest = Rest::default();
                prop_assert_eq!(skips.advance(), computes.advance());
                // Numbers are printed with all their digits, and −0 as it is.
                let (one, other) = (skips.readings(), computes.readings());
                prop_assert_eq!(format!("{one:?}"), format!("{other:?}"));
                prop_assert_eq!(format!("{:?}", skips.account), format!("{:?}", computes.account));
            }
        }
    }
}

/// A stick without supply, held by dry friction; then one that is held by its drives.
#[test]
fn a_stick_at_rest_is_skipped() {
    for (volts, on) in [(0.0, false), (24.0, true)] {
        let mut plant = plant(volts);
        let mut outputs = Command::default();
        act(&mut plant, &mut outputs, Event::Drives(on));
        let mut skipped = 0;
        for _ in 0..1000 {
            plant.command(&outputs);
            plant.advance().unwrap();
            skipped += u32::from(plant.rest.is_fixed);
        }
        assert!(skipped > 500, "{skipped} of 1000 ticks at {volts} V");
    }
}

/// Whatever a tick reads or changes is written down: each of these alone makes another state. (What
/// contacts remember is in `contact/tests/mod.rs`.)
#[test]
fn every_part_of_the_state_is_written_down() {
    type Change = fn(&mut Plant);
    fn feel(plant: &mut Plant, share: [f64; 3]) {
        let mut feel = plant.feel;
        feel.stiffness_n_per_m *= share[0];
        feel.damping_n_s_per_m *= share[1];
        feel.limit_n *= share[2];
        plant.hand.take(feel, plant.stick.angle_rad, -1.0);
    }
    let changes: [(&str, Change); 43] = [
        ("pitch", |p| p.stick.angle_rad[0] += 1e-9),
        ("roll", |p| p.stick.angle_rad[1] += 1e-9),
        ("pitch rate", |p| p.stick.rate_rad_per_s[0] = 1e-9),
        ("roll rate", |p| p.stick.rate_rad_per_s[1] = -0.0),
        ("pitch acceleration", |p| p.accel[0] = 1e-9),
        ("roll acceleration", |p| p.accel[1] = -0.0),
        ("pitch stuck", |p| p.stick.stuck[0] ^= true),
        ("roll stuck", |p| p.stick.stuck[1] ^= true),
        ("pitch held", |p| p.stick.held[0].last_nms += 1e-9),
        ("roll held before", |p| p.stick.held[1].before_nms += 1e-9),
        ("pitch anchor", |p| {
            p.mid.follow([0.5, p.stick.angle_rad[1]]);
        }),
        ("roll anchor", |p| {
            p.mid.follow([p.stick.angle_rad[0], 0.5]);
        }),
        ("shaft", |p| p.axis[0].train.shaft_rad += 1e-9),
        ("shaft rate", |p| p.axis[1].train.shaft_rad_per_s = 1e-9),
        ("rotor", |p| p.axis[0].train.rotor_rad += 1e-9),
        ("rotor rate", |p| p.axis[1].train.rotor_rad_per_s = 1e-9),
        ("slip", |p| p.axis[0].train.slipped_rad = 1e-9),
        ("shaft acceleration", |p| p.axis[0].train.shaft_accel = 1e-9),
        ("rotor acceleration", |p| p.axis[1].train.rotor_accel = 1e-9),
        ("current a", |p| p.axis[0].train.current_a[0] += 1e-9),
        ("current b", |p| p.axis[1].train.current_a[1] += 1e-9),
        ("electrical anchor", |p| {
            p.axis[0].train.turn.follow(1.0);
        }),
        ("index and total", |p| {
            p.axis[0].driver.step(trimproof_io::Pulse::Forward);
        }),
        ("current level", |p| {
            p.axis[0].driver.set_lines(true, CurrentLevel::Run)
        }),
        ("enable", |p| {
            p.axis[0].driver.set_lines(false, CurrentLevel::Hold)
        }),
        ("undervoltage", |p| p.axis[1].driver.watch_supply(1.0)),
        ("dead", |p| p.axis[0].driver.set_dead(true)),
        ("lead a", |p| p.axis[0].driver.set_broken(0, true)),
        ("lead b", |p| p.axis[1].driver.set_broken(1, true)),
        ("springs", |p| p.axis[0].broken_springs += 1),
        ("was driving", |p| p.axis[1].was_driving ^= true),
        ("lag zero", |p| p.axis[0].lag_zero_rad += 1.0),
        ("stop torque", |p| p.contact.torque_n_m[0] = 1e-9),
        ("roll stop torque", |p| p.contact.torque_n_m[1] = 1e-9),
        ("early", |p| p.contact.early_rad[0] = 1e-12),
        ("roll early", |p| p.contact.early_rad[1] = 1e-12),
        ("grip", |p| feel(p, [1.0; 3])),
        ("stiffness", |p| {
            p.hand = crate::hand::Hand::new(p.grip_radius_m, {
                let mut feel = p.feel;
                feel.stiffness_n_per_m += 1.0;
                feel
            });
        }),
        ("damping", |p| {
            p.hand = crate::hand::Hand::new(p.grip_radius_m, {
                let mut feel = p.feel;
                feel.damping_n_s_per_m += 1.0;
                feel
            });
        }),
        ("strength", |p| {
            p.hand = crate::hand::Hand::new(p.grip_radius_m, {
                let mut feel = p.feel;
                feel.limit_n += 1.0;
                feel
            });
        }),
        ("push", |p| p.hand.push([0.0, 1.0], 0.0, 9.0, p.now_s())),
        ("source", |p| p.supply.set(23.0, 0.0, p.now_s())),
        ("supply", |p| p.supply.advance(5.0, p.now_s())),
    ];
    let ready = || {
        let mut plant = plant(24.0);
        let mut outputs = Command::default();
        act(&mut plant, &mut outputs, Event::Drives(true));
        for _ in 0..300 {
            plant.command(&outputs);
            plant.advance().unwrap();
        }
        assert!(plant.rest.is_fixed);
        plant
    };
    let bits = |plant: &Plant| {
        let mut bits = StateBits::default();
        plant.note(&mut bits);
        bits
    };
    let rested = bits(&ready());
    assert_eq!(rested, bits(&ready()));
    for (name, change) in changes {
        let mut plant = ready();
        change(&mut plant);
        assert_ne!(bits(&plant), rested, "{name}");
    }
}

/// A step rate that is asked for is motion to come, though nothing moves yet.
#[test]
fn a_rate_that_is_asked_for_is_no_standstill() {
    let mut plant = plant(24.0);
    assert!(plant.stands_still());
    plant.axis[1].generator.refresh(1000);
    assert!(!plant.stands_still());
    for spoil in [
        |p: &mut Plant| p.stick.rate_rad_per_s[1] = 1e-9,
        |p: &mut Plant| p.axis[0].train.shaft_rad_per_s = 1e-9,
        |p: &mut Plant| p.axis[1].train.rotor_rad_per_s = -1e-9,
    ] {
        let mut plant = self::plant(24.0);
        spoil(&mut plant);
        assert!(!plant.stands_still());
    }
}

/// A push ends while the stick rests in it: the tick in which it ends must be computed.
#[test]
fn the_end_of_a_push_is_not_skipped() {
    let mut plant = plant(24.0);
    let mut outputs = Command::default();
    act(&mut plant, &mut outputs, Event::Drives(true));
    plant.push([12.0, 0.0], 0.0, 2.0);
    let mut angles = Vec::new();
    for _ in 0..1500 {
        plant.command(&outputs);
        plant.advance().unwrap();
        angles.push(plant.stick().angle_rad[0]);
    }
    assert_eq!(angles[990], angles[998], "it rests in the push");
    assert!(
        (angles[1499] - angles[998]).abs() > 0.01,
        "it goes back after it"
    );
}

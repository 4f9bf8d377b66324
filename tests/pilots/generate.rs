//! Random pilots and random bad luck: scenarios that are legal by construction, each from one seed.
//!
//! A scenario is made of tracks (hand, release, hat, force trim, supply, faults), each of which
//! does one thing after the other. A seed chooses a few of them, so that each is met alone as well
//! as together with others.

use trimproof_harness::rig::RigFile;
use trimproof_harness::scenario::{Event, Expectation, LawException, PathShape, Scenario, Start};
use trimproof_plant::{AxisName, FaultKind, SwitchName};

/// Laws about the twin that a broken sensor makes impossible: the controller goes where it believes
/// the stick to be.
const BROKEN_BY_SENSORS: [&str; 6] = [
    "a drive engages where a still stick is",
    "a drive engages within half an electrical cycle of a slow stick",
    "the estimated angle is the stick's",
    "the rotor is in the electrical cycle in which the controller has it",
    "the driver's index is where the controller has its drive",
    "left alone, the stick rests where it is trimmed",
];

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA
/// 2014; from memory).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn chance(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// Between two numbers, in thousandths.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        thousandths(low + (high - low) * self.share())
    }

    /// Between two positive numbers, each decade as likely as the next, in thousandths.
    fn decades(&mut self, low: f64, high: f64) -> f64 {
        thousandths(low * libm::pow(high / low, self.share())).max(0.001)
    }

    fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[(self.next() % of.len() as u64) as usize]
    }
}

fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// The scenario of a seed on a rig.
pub fn scenario(rig: &RigFile, seed: u64) -> Scenario {
    let mut random = Random(seed.wrapping_mul(0x5851_f42d_4c95_7f2d));
    let length_s = random.between(6.0, 14.0);
    let mut maker = Maker {
        rig,
        end_s: length_s - 0.01,
        events: Vec::new(),
        random,
    };
    let mut tracks: Vec<fn(&mut Maker<'_>)> = vec![
        |maker| maker.hand(),
        |maker| maker.pushes(),
        |maker| maker.release(),
        |maker| maker.hats(),
        |maker| maker.hats(),
        |maker| maker.force_trim(),
        |maker| maker.supply(),
        |maker| maker.sensors(),
        |maker| maker.controller(),
    ];
    // Hand and pushes exclude each other: a push is a force without a grip.
    tracks.remove(usize::from(maker.random.chance(0.8)));
    let count = 1 + (maker.random.next() % 4) as usize;
    for _ in 0..count.min(tracks.len()) {
        let index = (maker.random.next() % tracks.len() as u64) as usize;
        let track = tracks.swap_remove(index);
        track(&mut maker);
    }
    let Maker {
        mut events,
        mut random,
        ..
    } = maker;
    events.sort_by(|a, b| a.at_s().total_cmp(&b.at_s()));
    let broken_sensor = events.iter().any(
        |event| matches!(event, Event::Fault { fault, .. } if fault.name().starts_with("sensor")),
    );
    let except = BROKEN_BY_SENSORS
        .iter()
        .flat_map(|law| AxisName::ALL.map(|axis| format!("{law}: {}", axis.name())))
        .map(|law| LawException {
            law,
            because: "the controller goes where a broken sensor says that the stick is".to_owned(),
            rigs: None,
            sometimes: true,
        });
    let start = if random.chance(0.3) {
        Start {
            pitch_deg: random.between(rig.pitch.stops.min_deg + 0.5, rig.pitch.stops.max_deg - 0.5),
            roll_deg: random.between(rig.roll.stops.min_deg + 0.5, rig.roll.stops.max_deg - 0.5),
            supply: random.chance(0.9),
            force_trim: random.chance(0.8),
            ..Start::default()
        }
    } else {
        Start::default()
    };
    Scenario {
        name: format!("pilot-{seed}"),
        title: format!("Random pilot {seed}"),
        purpose: "A random pilot and random bad luck, judged by the laws.".to_owned(),
        rigs: vec![rig.name.clone()],
        length_s,
        seed,
        start,
        events,
        expect: vec![Expectation {
            name: "the run has a length".to_owned(),
            formula: "always(time_s >= 0)".to_owned(),
            because: Some("the laws say the rest".to_owned()),
            rigs: None,
            scale: None,
        }],
        except: if broken_sensor {
            except.collect()
        } else {
            Vec::new()
        },
    }
}

struct Maker<'a> {
    rig: &'a RigFile,
    end_s: f64,
    events: Vec<Event>,
    random: Random,
}

impl Maker<'_> {
    /// The time of the next thing on a track, if there is room for `lasts_s` after it.
    fn later(&mut self, now_s: &mut f64, low_s: f64, high_s: f64, lasts_s: f64) -> Option<f64> {
        let at_s = thousandths(*now_s + self.random.decades(low_s, high_s));
        *now_s = at_s + lasts_s;
        (at_s + lasts_s < self.end_s).then_some(at_s)
    }

    fn angles(&mut self) -> [Option<f64>; 2] {
        let which = self.random.next() % 3;
        [0usize, 1].map(|index| {
            let stops = self.rig.axis(index).stops.clone();
            let share = self.random.between(-0.9, 0.9);
            let limit = if share < 0.0 {
                -stops.min_deg
            } else {
                stops.max_deg
            };
            (which == 2 || which == index as u64).then_some(thousandths(share * limit))
        })
    }

    fn hand(&mut self) {
        let mut now_s = 0.2;
        while let Some(at_s) = self.later(&mut now_s, 0.1, 2.0, 0.02) {
            self.events.push(Event::Grip {
                at_s,
                stiffness_n_per_m: None,
                damping_n_s_per_m: None,
                limit_n: None,
            });
            for _ in 0..1 + self.random.next() % 4 {
                let over_s = self.random.decades(0.15, 2.0);
                let Some(at_s) = self.later(&mut now_s, 0.01, 1.0, over_s) else {
                    return;
                };
                let [pitch_deg, roll_deg] = self.angles();
                self.events.push(Event::Carry {
                    at_s,
                    pitch_deg,
                    roll_deg,
                    over_s,
                    shape: PathShape::default(),
                });
            }
            let Some(at_s) = self.later(&mut now_s, 0.01, 2.0, 0.02) else {
                return;
            };
            self.events.push(Event::LetGoStick { at_s });
        }
    }

    /// Pushes of less than half of what the drives hold.
    fn pushes(&mut self) {
        let mut now_s = 0.3;
        loop {
            let for_s = self.random.decades(0.05, 3.0);
            let Some(at_s) = self.later(&mut now_s, 0.1, 2.0, for_s) else {
                return;
            };
            let which = self.random.next() % 3;
            let [pitch_n, roll_n] = [0usize, 1].map(|index| {
                let axis = self.rig.axis(index);
                let most =
                    0.4 * axis.holding_n_m(axis.driver.hold_a) / self.rig.stick.grip_radius_m;
                let force = self.random.between(-most, most);
                (which == 2 || which == index as u64).then_some(force)
            });
            let rise_s = self.random.between(0.2, 0.9) * for_s;
            self.events.push(Event::Push {
                at_s,
                pitch_n,
                roll_n,
                rise_s: thousandths(rise_s).min(for_s),
                for_s,
            });
        }
    }

    fn hold(&mut self, now_s: &mut f64, switch: SwitchName, longest_s: f64) -> Option<()> {
        let bounce_s: Vec<f64> = if self.random.chance(0.25) {
            (0..2 * (1 + self.random.next() % 3))
                .map(|_| self.random.decades(0.001, 0.03))
                .collect()
        } else {
            Vec::new()
        };
        let bounce_sum_s: f64 = bounce_s.iter().sum();
        let for_s = thousandths(self.random.decades(0.004, longest_s).max(bounce_sum_s));
        let at_s = self.later(now_s, 0.006, 1.5, for_s + bounce_sum_s)?;
        self.events.push(Event::Hold {
            at_s,
            switch,
            for_s,
            bounce_s,
        });
        *now_s += 0.001;
        Some(())
    }

    fn release(&mut self) {
        let mut now_s = 0.1;
        while self.hold(&mut now_s, SwitchName::Release, 2.0).is_some() {}
    }

    /// One to four directions, each on its own.
    fn hats(&mut self) {
        for switch in [
            SwitchName::HatFore,
            SwitchName::HatAft,
            SwitchName::HatLeft,
            SwitchName::HatRight,
        ] {
            let pressed =
                |event: &Event| matches!(event, Event::Hold { switch: of, .. } if *of == switch);
            if self.random.chance(0.5) || self.events.iter().any(pressed) {
                continue;
            }
            let mut now_s = self.random.between(0.0, 2.0);
            while self.hold(&mut now_s, switch, 3.0).is_some() {
                now_s += if self.random.chance(0.5) {
                    0.0
                } else {
                    self.random.between(0.0, 3.0)
                };
            }
        }
    }

    fn force_trim(&mut self) {
        let (mut now_s, mut on) = (0.3, true);
        while let Some(at_s) = self.later(&mut now_s, 0.004, 2.0, 0.0) {
            on = !on;
            self.events.push(Event::ForceTrim { at_s, on });
        }
        if let (false, Some(at_s)) = (on, self.later(&mut now_s, 0.01, 0.02, 0.0)) {
            self.events.push(Event::ForceTrim { at_s, on: true });
        }
    }

    fn supply(&mut self) {
        let mut now_s = 0.2;
        let nominal_v = self.rig.supply.volts;
        loop {
            let lasts_s = self.random.decades(0.001, 0.6);
            let Some(at_s) = self.later(&mut now_s, 0.05, 2.5, lasts_s + 0.05) else {
                return;
            };
            let volts = match self.random.next() % 4 {
                0 => 0.0,
                1 => self.random.between(1.0, self.supply_lost_v()),
                _ => self.random.between(self.supply_lost_v(), nominal_v),
            };
            if self.random.chance(0.6) {
                self.events.push(Event::Dip {
                    at_s,
                    volts,
                    for_s: lasts_s,
                });
            } else {
                let over_s = thousandths(lasts_s / 2.0);
                self.events.push(Event::Supply {
                    at_s,
                    volts,
                    over_s,
                });
                self.events.push(Event::Supply {
                    at_s: thousandths(at_s + lasts_s + 0.01),
                    volts: nominal_v,
                    over_s: if self.random.chance(0.5) { 0.0 } else { 0.03 },
                });
            }
        }
    }

    /// Sensors that fail for a few readings, again and again, or for longer.
    fn sensors(&mut self) {
        let mut now_s = 0.3;
        let axis = self.random.pick(&AxisName::ALL);
        loop {
            let for_s = if self.random.chance(0.7) {
                self.random.decades(0.002, 0.03)
            } else {
                self.random.decades(0.05, 1.0)
            };
            let Some(at_s) = self.later(&mut now_s, 0.004, 1.5, for_s) else {
                return;
            };
            now_s += 0.002;
            let fault = match self.random.next() % 4 {
                0 => FaultKind::SensorOpen { axis },
                1 => FaultKind::SensorShort { axis },
                2 => FaultKind::SensorStuck { axis },
                _ => FaultKind::SensorJump {
                    axis,
                    by_deg: self.random.between(-8.0, 8.0),
                },
            };
            self.events.push(Event::Fault {
                at_s,
                fault,
                for_s: Some(for_s),
            });
        }
    }

    /// Resets, gaps of the link and a noisy link.
    fn supply_lost_v(&self) -> f64 {
        let settings = self.rig.controller.expect("the rig has settings");
        f64::from(settings.supply_lost_mv) / 1000.0
    }

    fn controller(&mut self) {
        let mut now_s = 0.3;
        loop {
            let for_s = self.random.decades(0.002, 0.4);
            let Some(at_s) = self.later(&mut now_s, 0.02, 2.5, for_s) else {
                return;
            };
            now_s += 0.004;
            let (fault, for_s) = match self.random.next() % 3 {
                0 => (FaultKind::ControllerReset {}, None),
                1 => (FaultKind::LinkLoss {}, Some(for_s)),
                _ => {
                    let share = self.random.between(0.05, 0.4);
                    (FaultKind::LinkCorruption { share }, Some(for_s))
                }
            };
            self.events.push(Event::Fault { at_s, fault, for_s });
        }
    }
}

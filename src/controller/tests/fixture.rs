//! Test fixture: the controller with real step generators, ideal drives and a stick that goes where
//! its drive is unless a hand holds it; every tick checks what must hold always.

use crate::{AxisSettings, Controller, Settings};
use trimproof_io::{AXES, CurrentLevel, Fault, Inputs, Outputs, Pulse, State};
use trimproof_io::{StepGenerator, Switches};

/// Faults that trip.
const TRIPS: [Fault; 4] = [
    Fault::SensorRange,
    Fault::SensorRate,
    Fault::SensorStuck,
    Fault::TicksLost,
];

/// How fast hand and springs move the stick.
const HAND_MDEG_PER_S: i32 = 300_000;

/// An axis' fixed numbers, worked out in floating point, apart from the controller's own
/// arithmetic.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Figures {
    pub(crate) usteps_per_mdeg: f64,
    pub(crate) cycle: i32,
    /// Largest rate and largest change of it per tick, in generator units.
    pub(crate) rate: f64,
    pub(crate) accel: f64,
}

impl Figures {
    pub(crate) fn new(axis: &AxisSettings, whole: &Settings) -> Self {
        let usteps_per_mdeg = f64::from(axis.full_steps_per_rev)
            * f64::from(axis.microsteps)
            * f64::from(axis.trim_teeth)
            / (360_000.0 * f64::from(axis.motor_teeth));
        let unit = usteps_per_mdeg / f64::from(whole.generator_hz) * 4_294_967_296.0;
        Self {
            usteps_per_mdeg,
            cycle: 4 * i32::from(axis.microsteps),
            rate: f64::from(axis.glide_rate_mdeg_per_s.max(axis.nudge_rate_mdeg_per_s)) * unit,
            accel: f64::from(axis.accel_mdeg_per_s2) * unit / f64::from(whole.tick_hz),
        }
    }

    pub(crate) fn mdeg(&self, usteps: i32) -> i32 {
        (f64::from(usteps) / self.usteps_per_mdeg).round() as i32
    }

    pub(crate) fn usteps(&self, mdeg: i32) -> i32 {
        (f64::from(mdeg) * self.usteps_per_mdeg).round() as i32
    }
}

/// One ideal drive with its stick.
#[derive(Clone, Debug)]
pub(crate) struct Drive {
    pub(crate) figures: Figures,
    generator: StepGenerator,
    /// The driver's microstep index, unwrapped, and what it is at the trim shaft's zero.
    index: i32,
    phase_zero: i32,
    /// Where the trim shaft really is, microsteps.
    pub(crate) shaft: i32,
    /// Where the stick is, millidegrees, and where a hand holds it.
    pub(crate) stick_mdeg: i32,
    pub(crate) held_mdeg: Option<i32>,
    /// Reading that a broken sensor gives instead.
    pub(crate) counts: Option<u16>,
    /// Microsteps that the shaft jumped when the drive last went on.
    pub(crate) catch_usteps: i32,
}

/// The fixture.
#[derive(Clone, Debug)]
pub(crate) struct ControllerFixture {
    pub(crate) controller: Controller,
    pub(crate) settings: Settings,
    pub(crate) drives: [Drive; AXES],
    pub(crate) switches: Switches,
    pub(crate) supply_mv: u16,
    pub(crate) tick: u32,
    /// Number of the next tick minus this one's: 1 unless ticks get lost.
    pub(crate) next_gap: u32,
    gap: u32,
    pub(crate) out: Outputs,
    /// Low supply readings in a row before this one.
    lows: u8,
    homed: bool,
}

impl ControllerFixture {
    /// Switched off, stick and shaft at the given angles, force trim on.
    pub(crate) fn new(settings: Settings, stick_mdeg: [i32; AXES]) -> Self {
        let drive = |axis: &AxisSettings, stick_mdeg| {
            let figures = Figures::new(axis, &settings);
            let timeout_periods =
                settings.command_timeout_ticks * (settings.generator_hz / settings.tick_hz);
            Drive {
                figures,
                generator: StepGenerator::new(timeout_periods),
                index: 0,
                phase_zero: axis.phase_zero_usteps.into(),
                shaft: figures.usteps(stick_mdeg),
                stick_mdeg,
                held_mdeg: None,
                counts: None,
                catch_usteps: 0,
            }
        };
        Self {
            controller: Controller::new(settings).unwrap(),
            settings,
            drives: [
                drive(&settings.pitch, stick_mdeg[0]),
                drive(&settings.roll, stick_mdeg[1]),
            ],
            switches: Switches {
                force_trim: true,
                ..Switches::default()
            },
            supply_mv: 24_000,
            tick: 0,
            next_gap: 1,
            gap: 1,
            out: Outputs::default(),
            lows: 0,
            homed: false,
        }
    }

    /// A fixture at rest in `holding` at centre, its drivers' zero away from home.
    pub(crate) fn holding() -> Self {
        let mut fixture = Self::new(settings(), [0, 0]);
        fixture.run(1500);
        assert_eq!(fixture.out.telemetry.state, State::Holding);
        fixture
    }

    /// Runs so many ticks.
    pub(crate) fn run(&mut self, ticks: u32) {
        for _ in 0..ticks {
            self.step();
        }
    }

    /// Runs until the state is reached; returns the ticks taken.
    pub(crate) fn run_until(&mut self, state: State, most: u32) -> u32 {
        for ticks in 1..=most {
            self.step();
            if self.out.telemetry.state == state {
                return ticks;
            }
        }
        panic!(
            "`{}` instead of `{}` after {most} ticks",
            self.out.telemetry.state.name(),
            state.name()
        );
    }

    /// One tick, with every invariant checked.
    pub(crate) fn step(&mut self) {
        let inputs = Inputs {
            tick: self.tick,
            sensor_counts: [self.counts(0), self.counts(1)],
            switches: self.switches,
            supply_mv: self.supply_mv,
        };
        let before = self.out;
        self.out = self.controller.tick(&inputs);
        self.check(&before, self.gap);
        self.gap = std::mem::replace(&mut self.next_gap, 1);
        self.lows = if self.supply_mv < self.settings.supply_min_mv {
            self.lows.saturating_add(1)
        } else {
            0
        };
        self.play();
        self.tick = self.tick.wrapping_add(self.gap);
    }

    /// The reading of an axis: calibrated, with a dither of one count as a real one has.
    fn counts(&self, axis: usize) -> u16 {
        let settings = self.axis_settings(axis);
        let drive = &self.drives[axis];
        let exact = f64::from(drive.stick_mdeg) * f64::from(settings.sensor_span_counts)
            / f64::from(settings.sensor_span_mdeg);
        let counts =
            exact.round() + f64::from(settings.sensor_zero_counts) + f64::from(self.tick % 2);
        drive.counts.unwrap_or(counts.clamp(0.0, 65_535.0) as u16)
    }

    pub(crate) fn axis_settings(&self, axis: usize) -> &AxisSettings {
        if axis == 0 {
            &self.settings.pitch
        } else {
            &self.settings.roll
        }
    }

    /// Lets generators and drives act until the next tick.
    fn play(&mut self) {
        let periods =
            u32::from(self.settings.generator_hz / self.settings.tick_hz) * self.gap.min(200);
        // Drivers drop out below the level at which the controller takes their place for lost; see
        // `Settings`.
        let lost = self.supply_mv < self.settings.supply_lost_mv;
        self.homed |= self.out.command.axis[0].home;
        for (drive, out) in self.drives.iter_mut().zip(&self.out.command.axis) {
            if lost {
                // Browned out: the driver forgets its index.
                drive.index = 0;
            }
            if out.home {
                drive.generator.home();
                drive.index = 0;
            }
            drive.generator.refresh(out.step_rate);
            for _ in 0..periods {
                let step = match drive.generator.period() {
                    Pulse::None => 0,
                    Pulse::Forward => 1,
                    Pulse::Backward => -1,
                };
                drive.index += step;
                if out.enable {
                    drive.shaft += step;
                }
            }
            let to = match (out.enable, drive.held_mdeg) {
                (_, Some(held)) => held,
                (true, None) => drive.figures.mdeg(drive.shaft),
                (false, None) => drive.stick_mdeg,
            };
            let way = HAND_MDEG_PER_S / i32::from(self.settings.tick_hz) * self.gap.max(1) as i32;
            drive.stick_mdeg += (to - drive.stick_mdeg).clamp(-way, way);
            if !out.enable {
                drive.shaft = drive.figures.usteps(drive.stick_mdeg);
            }
        }
    }

    /// What must hold in every tick, whatever the inputs.
    fn check(&mut self, before: &Outputs, gap: u32) {
        let (settings, out) = (self.settings, self.out);
        let on = matches!(
            out.telemetry.state,
            State::Centring | State::Holding | State::Nudging
        );
        assert!(
            State::ALL.contains(&out.telemetry.state) && !out.telemetry.state.name().is_empty()
        );
        let tripping = TRIPS.iter().any(|fault| out.telemetry.faults.has(*fault));
        assert_eq!(
            out.telemetry.state == State::Tripped,
            tripping,
            "{:?}",
            out.telemetry.faults
        );
        let low = self.supply_mv < settings.supply_min_mv;
        assert!(!(on && low && self.lows >= 2), "on without supply");
        let lost = self.supply_mv < settings.supply_lost_mv;
        assert!(!(on && lost), "on with drivers that have lost their place");
        let places = self.controller.places();
        for (axis, drive) in self.drives.iter_mut().enumerate() {
            let (now, was) = (out.command.axis[axis], before.command.axis[axis]);
            let (report, figures) = (out.telemetry.axis[axis], drive.figures);
            let limits = if axis == 0 {
                &settings.pitch
            } else {
                &settings.roll
            };
            let (min, max) = (limits.soft_min_mdeg, limits.soft_max_mdeg);
            assert_eq!((now.enable, now.current == CurrentLevel::Off), (on, !on));
            assert!(!now.home || (!on && now.step_rate == 0));
            assert!((min..=max).contains(&report.reference_mdeg), "{report:?}");
            assert_eq!(report.reference_mdeg, report.drive_mdeg.clamp(min, max));
            assert!(now.joystick >= -i16::MAX);
            if out.telemetry.state == State::Tripped || (low && self.lows >= 2) {
                assert_eq!(now.step_rate, 0);
            }
            if on && !was.enable {
                // The rotor falls to the nearest equilibrium of the driver's present index.
                let away = drive.index - drive.phase_zero - drive.shaft;
                let catch =
                    (away + figures.cycle / 2).rem_euclid(figures.cycle) - figures.cycle / 2;
                drive.catch_usteps = catch;
                drive.shaft += catch;
            }
            if !on {
                continue;
            }
            let rate = f64::from(now.step_rate);
            assert!(
                rate.abs() <= figures.rate + 1.0,
                "{rate} above {}",
                figures.rate
            );
            let made_good = gap.min(settings.command_timeout_ticks.into()).max(1);
            let kept = was.enable && gap <= settings.command_timeout_ticks.into();
            let change = rate - if kept { f64::from(was.step_rate) } else { 0.0 };
            let most = if kept {
                figures.accel * f64::from(made_good)
            } else {
                figures.accel
            };
            assert!(
                change.abs() <= most + 1.0,
                "{change} above {most} after {gap}"
            );
            if report.drive_mdeg > max {
                assert!(now.step_rate <= 0, "outwards at {}", report.drive_mdeg);
            } else if report.drive_mdeg < min {
                assert!(now.step_rate >= 0, "outwards at {}", report.drive_mdeg);
            }
            if self.homed {
                let (usteps, fraction) = places[axis];
                let apart = usteps + drive.phase_zero - drive.index;
                assert_eq!(
                    apart.rem_euclid(figures.cycle),
                    0,
                    "out of step with the driver"
                );
                let mut twin = drive.generator;
                // The fraction shows in the next carry: one period at the largest rate carries at
                // or above a half.
                twin.refresh(i32::MAX);
                let carries = u64::from(fraction) + i32::MAX as u64 > u64::from(u32::MAX);
                assert_eq!(twin.period() == Pulse::Forward, carries);
            }
        }
    }
}

/// The example with the drivers' zero away from their home, different on both axes.
pub(crate) fn settings() -> Settings {
    let mut settings = Settings::example();
    settings.pitch.phase_zero_usteps = 20;
    settings.roll.phase_zero_usteps = 45;
    settings.roll.sensor_span_mdeg = -60_000;
    settings
}

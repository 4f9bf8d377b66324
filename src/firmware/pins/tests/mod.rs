//! The lines against pins that note what is done to them, in its order.

use super::*;
use core::convert::Infallible;
use std::cell::RefCell;
use std::rc::Rc;

type Log = Rc<RefCell<Vec<String>>>;

struct Pin {
    name: &'static str,
    log: Log,
    level: bool,
}

impl embedded_hal::digital::ErrorType for Pin {
    type Error = Infallible;
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.level = false;
        self.log.borrow_mut().push(format!("{} low", self.name));
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.level = true;
        self.log.borrow_mut().push(format!("{} high", self.name));
        Ok(())
    }
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.level)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.level)
    }
}

struct Current(Log);

impl CurrentSelect for Current {
    type Error = Infallible;

    fn select(&mut self, current: CurrentLevel) -> Result<(), Infallible> {
        self.0.borrow_mut().push(format!("current {current:?}"));
        Ok(())
    }
}

struct Delay(Log);

impl DelayNs for Delay {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().push(format!("{ns} ns"));
    }
}

const TIMES: PulseTimes = PulseTimes {
    direction_setup_ns: 650,
    step_high_ns: 1900,
};

fn bench() -> (DriverLines<Pin, Pin, Pin, Pin, Current>, Delay, Log) {
    let log = Log::default();
    let pin = |name| Pin {
        name,
        log: log.clone(),
        level: true,
    };
    let pins = DriverPins {
        step: pin("step"),
        direction: pin("direction"),
        enable: pin("enable"),
        reset: pin("reset"),
        current: Current(log.clone()),
    };
    let lines = DriverLines::new(pins, TIMES, 40).unwrap();
    (lines, Delay(log.clone()), log)
}

fn taken(log: &Log) -> Vec<String> {
    log.borrow_mut().drain(..).collect()
}

/// Running at one microstep in four periods.
fn running(sign: i32) -> AxisCommand {
    AxisCommand {
        enable: true,
        step_rate: sign * (1 << 30),
        current: CurrentLevel::Run,
        ..AxisCommand::default()
    }
}

#[test]
fn a_driver_begins_off() {
    let (_, _, log) = bench();
    assert_eq!(
        taken(&log),
        ["enable low", "current Off", "step low", "reset low"]
    );
}

#[test]
fn the_current_is_chosen_before_it_is_let_in_and_taken_away_with_the_enable_line() {
    let (mut lines, _, log) = bench();
    taken(&log);
    lines.apply(&running(1)).unwrap();
    assert_eq!(taken(&log), ["reset low", "current Run", "enable high"]);
    lines.apply(&AxisCommand::default()).unwrap();
    assert_eq!(taken(&log), ["reset low", "enable low", "current Off"]);
}

#[test]
fn a_step_keeps_the_drivers_times_and_there_are_as_many_as_the_rate_says() {
    for (sign, direction) in [(1, "direction high"), (-1, "direction low")] {
        let (mut lines, mut delay, log) = bench();
        lines.apply(&running(sign)).unwrap();
        taken(&log);
        for _ in 0..40 {
            lines.period(&mut delay).unwrap();
        }
        let one = [direction, "650 ns", "step high", "1900 ns", "step low"];
        let done = taken(&log);
        assert_eq!(done.len(), 10 * one.len(), "{done:?}");
        for step in done.chunks(one.len()) {
            assert_eq!(step, one);
        }
    }
}

#[test]
fn a_controller_that_hangs_leaves_no_motor_running() {
    let (mut lines, mut delay, log) = bench();
    lines.apply(&running(1)).unwrap();
    for _ in 0..1000 {
        lines.period(&mut delay).unwrap();
    }
    let steps = taken(&log)
        .iter()
        .filter(|what| *what == "step high")
        .count();
    assert!((1..=10).contains(&steps), "{steps}");
}

#[test]
fn home_pulls_the_reset_line_and_forgets_the_fraction() {
    let (mut lines, mut delay, log) = bench();
    lines.apply(&running(1)).unwrap();
    for _ in 0..3 {
        lines.period(&mut delay).unwrap();
    }
    taken(&log);
    lines
        .apply(&AxisCommand {
            home: true,
            ..running(1)
        })
        .unwrap();
    assert_eq!(taken(&log)[0], "reset high");
    for _ in 0..3 {
        lines.period(&mut delay).unwrap();
    }
    assert_eq!(taken(&log), [""; 0], "the fourth period makes the step");
    lines.period(&mut delay).unwrap();
    assert_eq!(taken(&log).len(), 5);
}

#[test]
fn a_switch_is_closed_when_its_pin_is_low_and_none_is_another() {
    for closed in 0..6 {
        let log = Log::default();
        let pin = |index: usize| Pin {
            name: "",
            log: log.clone(),
            level: index != closed,
        };
        let mut lines = SwitchLines {
            release: pin(0),
            hat_fore: pin(1),
            hat_aft: pin(2),
            hat_left: pin(3),
            hat_right: pin(4),
            force_trim: pin(5),
        };
        let read = lines.read().unwrap();
        let levels = [
            read.release,
            read.hat_fore,
            read.hat_aft,
            read.hat_left,
            read.hat_right,
            read.force_trim,
        ];
        assert_eq!(levels, core::array::from_fn(|index| index == closed));
    }
}

#[test]
fn no_dip_between_two_ticks_is_missed() {
    let mut supply = LowestSupply::new();
    supply.note(24_000);
    assert_eq!(supply.take(), 0, "before the first tick there was none");
    for reading_mv in [24_100, 3_000, 23_900] {
        supply.note(reading_mv);
    }
    assert_eq!(supply.take(), 3_000);
    assert_eq!(supply.take(), 23_900, "no reading since: the last one");
    supply.note(24_000);
    assert_eq!(supply.take(), 23_900);
}

//! The driver's lines, levels and undervoltage.

use trimproof_io::{CurrentLevel, Pulse};

use crate::driver::{Driver, DriverParams};
use crate::dynamics::Phase;

fn driver() -> Driver {
    Driver::new(DriverParams {
        microsteps: 4,
        run_a: 3.0,
        hold_a: 2.0,
        undervoltage_v: 9.0,
        kind: crate::driver::DriverKind::default(),
    })
}

/// Currents of a driving driver: i_a = I cos α, i_b = I sin α, 22.5 degrees a microstep from 45 on.
#[test]
fn index_and_level_make_the_currents() {
    let mut driver = driver();
    assert_eq!(driver.phases(), [Phase::Open; 2]);
    for (level, amps) in [(CurrentLevel::Run, 3.0), (CurrentLevel::Hold, 2.0)] {
        driver.set_lines(true, level);
        driver.home();
        for (pulses, pulse) in [(0, Pulse::None), (1, Pulse::Forward), (3, Pulse::Backward)] {
            for _ in 0..pulses {
                driver.step(pulse);
            }
            let alpha = (45.0 + 22.5 * driver.total() as f64).to_radians();
            assert!((driver.electrical_rad() - alpha).abs() < 1e-12);
            let [Phase::Chopped(a), Phase::Chopped(b)] = driver.phases() else {
                panic!("{:?}", driver.phases())
            };
            assert!(
                (a - amps * libm::cos(alpha)).abs() < 1e-12,
                "{level:?}: {a}"
            );
            assert!(
                (b - amps * libm::sin(alpha)).abs() < 1e-12,
                "{level:?}: {b}"
            );
        }
        assert_eq!(driver.total(), -2);
    }
    driver.set_lines(true, CurrentLevel::Off);
    assert_eq!(
        (driver.phases(), driver.is_driving()),
        ([Phase::Open; 2], false)
    );
    driver.set_lines(false, CurrentLevel::Run);
    assert_eq!(
        (driver.phases(), driver.is_driving()),
        ([Phase::Open; 2], false)
    );
    // Without current it counts all the same; home takes index and count back.
    driver.step(Pulse::Forward);
    assert_eq!(driver.total(), -1);
    driver.home();
    driver.set_lines(true, CurrentLevel::Run);
    assert_eq!(driver.total(), 0);
    let [Phase::Chopped(a), Phase::Chopped(b)] = driver.phases() else {
        panic!("{:?}", driver.phases())
    };
    assert!((a - b).abs() < 1e-12 && a > 0.0);
}

/// At the threshold it works; below, it is off and forgets; it comes back at home. Dropping out
/// once forgets once.
#[test]
fn below_its_undervoltage_the_driver_forgets() {
    let mut driver = driver();
    driver.set_lines(true, CurrentLevel::Run);
    driver.step(Pulse::Forward);
    driver.watch_supply(9.0);
    assert_eq!((driver.total(), driver.is_driving()), (1, true));
    driver.watch_supply(8.999);
    assert_eq!((driver.total(), driver.is_driving()), (0, false));
    assert_eq!(driver.phases(), [Phase::Open; 2]);
    driver.step(Pulse::Forward);
    assert_eq!(driver.total(), 0);
    driver.watch_supply(9.0);
    driver.step(Pulse::Forward);
    assert_eq!((driver.total(), driver.is_driving()), (1, true));
}

/// A broken lead is its winding's alone, driven or not, and mends.
#[test]
fn a_broken_lead_is_of_one_winding() {
    for winding in [0, 1] {
        let mut driver = driver();
        driver.set_lines(true, CurrentLevel::Run);
        driver.set_broken(winding, true);
        let phases = driver.phases();
        assert_eq!(phases[winding], Phase::Broken);
        assert!(matches!(phases[1 - winding], Phase::Chopped(_)));
        assert!(driver.is_driving());
        driver.set_lines(false, CurrentLevel::Off);
        assert_eq!(driver.phases()[winding], Phase::Broken);
        assert_eq!(driver.phases()[1 - winding], Phase::Open);
        driver.set_broken(winding, false);
        assert_eq!(driver.phases(), [Phase::Open; 2]);
    }
}

//! The hand: its impedance in closed form, its limit as one length, its paths and pushes.

use crate::dynamics::Pose;
use crate::hand::{Hand, HandFeel, PathShape};

const R: f64 = 0.37;

fn feel(stiffness: f64, damping: f64, limit: f64) -> HandFeel {
    HandFeel {
        stiffness_n_per_m: stiffness,
        damping_n_s_per_m: damping,
        limit_n: limit,
    }
}

/// One axis alone, stick at θ, target at θ*, both moving: the chord's pull along the motion is
/// K r² sin(θ* − θ), the damper's D r² (θ*' cos(θ* − θ) − θ'), by either axis.
#[test]
fn the_impedance_pulls_by_the_closed_form() {
    let (k, d) = (1900.0, 41.0);
    for axis in [0, 1] {
        for (at, to, rate) in [(0.1, 0.25, 0.0), (-0.2, 0.1, 1.5), (0.3, 0.05, -0.7)] {
            let mut hand = Hand::new(R, feel(1.0, 0.0, 1.0));
            let mut angle = [0.0; 2];
            angle[axis] = at;
            hand.take(feel(k, d, 1e9), angle, 0.0);
            let mut goal = [None; 2];
            goal[axis] = Some(to);
            hand.carry(goal, 2.0, PathShape::Steady, 0.0);
            let mut rates = [0.0; 2];
            rates[axis] = rate;
            // At half of the way.
            let ahead = 0.5 * (to - at);
            let path_rate = 0.5 * (to - at);
            let expected =
                R * R * (k * libm::sin(ahead) + d * (path_rate * libm::cos(ahead) - rate));
            let torque = hand.torque_n_m(&Pose::at(angle), rates, 1.0);
            assert!((torque[axis] - expected).abs() < 1e-9, "{axis}: {torque:?}");
            assert!(torque[1 - axis].abs() < 1e-9, "{axis}: {torque:?}");
        }
    }
}

/// The limit is the length of the whole force, not of each axis's share: both axes at once are cut
/// together, and their ratio stays. Upright, the torques are r times the force's parts.
#[test]
fn the_limit_is_the_length_of_the_force() {
    let limit = 50.0;
    for (pitch, roll) in [(0.3, 0.0), (0.0, 0.3), (0.3, 0.4), (-0.2, 0.3)] {
        let mut hand = Hand::new(R, feel(1.0, 1.0, 1.0));
        hand.take(feel(5000.0, 0.0, limit), [0.0; 2], 0.0);
        hand.carry([Some(pitch), Some(roll)], 1.0, PathShape::Steady, 0.0);
        let torque = hand.torque_n_m(&Pose::at([0.0; 2]), [0.0; 2], 1.0);
        // From upright to the target: aft sin θ cos φ, right sin φ, down 1 − cos θ cos φ, in shares
        // of r.
        let aft = libm::sin(pitch) * libm::cos(roll);
        let right = libm::sin(roll);
        let down = 1.0 - libm::cos(pitch) * libm::cos(roll);
        let length = libm::sqrt(aft * aft + right * right + down * down);
        let expected = [R * limit * aft / length, R * limit * right / length];
        for i in 0..2 {
            assert!((torque[i] - expected[i]).abs() < 1e-9, "{torque:?}");
        }
    }
    // Just below the limit nothing is cut.
    let mut hand = Hand::new(R, feel(1.0, 1.0, 1.0));
    hand.take(feel(100.0, 0.0, 100.0 * R * 0.2), [0.0; 2], 0.0);
    hand.carry([Some(0.2), None], 1.0, PathShape::Steady, 0.0);
    let torque = hand.torque_n_m(&Pose::at([0.0; 2]), [0.0; 2], 1.0);
    assert!((torque[0] - 100.0 * R * R * libm::sin(0.2)).abs() < 1e-9);
}

/// Minimum jerk: share 10 u³ − 15 u⁴ + 6 u⁵, its rate the derivative over the time; before and
/// after it is at rest.
#[test]
fn paths_run_by_their_shape() {
    let mut hand = Hand::new(R, feel(1.0, 1.0, 1.0));
    hand.take(feel(1.0, 1.0, 1.0), [0.1, -0.2], 3.0);
    assert_eq!(hand.target(3.0), Some(([0.1, -0.2], [0.0; 2])));
    hand.carry([Some(0.5), None], 0.8, PathShape::Smooth, 4.0);
    for u in [0.0, 0.25, 0.5, 0.9] {
        let (angle, rate) = hand.target(4.0 + 0.8 * u).unwrap();
        let share = 10.0 * u * u * u - 15.0 * u * u * u * u + 6.0 * u * u * u * u * u;
        let slope = (30.0 * u * u - 60.0 * u * u * u + 30.0 * u * u * u * u) / 0.8;
        assert!((angle[0] - (0.1 + 0.4 * share)).abs() < 1e-12, "{u}");
        assert!((rate[0] - 0.4 * slope).abs() < 1e-9, "{u}: {}", rate[0]);
        assert_eq!((angle[1], rate[1]), (-0.2, 0.0));
    }
    assert_eq!(hand.target(4.81), Some(([0.5, -0.2], [0.0; 2])));
    // Sent elsewhere on the way, it starts from where it is.
    hand.carry([Some(0.1), Some(0.0)], 1.0, PathShape::Steady, 5.0);
    hand.carry([Some(0.4), None], 1.0, PathShape::Steady, 5.5);
    let (angle, rate) = hand.target(5.5).unwrap();
    assert!((angle[0] - 0.3).abs() < 1e-12 && (angle[1] + 0.1).abs() < 1e-12);
    assert!((rate[0] - 0.1).abs() < 1e-12 && (rate[1] - 0.2).abs() < 1e-12);
    hand.let_go();
    assert!(hand.target(5.5).is_none() && !hand.is_gripping());
    // Without a grip a carry does nothing.
    hand.carry([Some(1.0); 2], 1.0, PathShape::Steady, 6.0);
    assert_eq!(
        hand.torque_n_m(&Pose::at([0.2, 0.1]), [1.0; 2], 7.0),
        [0.0; 2]
    );
}

/// A push acts on the point's motion: lever r cos φ for pitch, r for roll. It rises linearly and
/// ends at once.
#[test]
fn pushes_act_by_their_levers_and_times() {
    let mut hand = Hand::new(R, feel(1.0, 1.0, 1.0));
    let pose = Pose::at([0.3, 0.4]);
    hand.push([30.0, -20.0], 0.4, 2.0, 1.0);
    for (now_s, share) in [
        (0.99, 0.0),
        (1.0, 0.0),
        (1.1, 0.25),
        (1.4, 1.0),
        (2.999, 1.0),
        (3.0, 0.0),
    ] {
        let torque = hand.torque_n_m(&pose, [0.0; 2], now_s);
        let expected = [30.0 * share * R * libm::cos(0.4), -20.0 * share * R];
        for i in 0..2 {
            assert!(
                (torque[i] - expected[i]).abs() < 1e-9,
                "{now_s}: {torque:?}"
            );
        }
    }
    hand.push([0.0, 5.0], 0.0, 1.0, 1.5);
    let torque = hand.torque_n_m(&pose, [0.0; 2], 1.5);
    assert!((torque[0] - 30.0 * R * libm::cos(0.4)).abs() < 1e-9);
    assert!((torque[1] - 5.0 * R).abs() < 1e-9);
}

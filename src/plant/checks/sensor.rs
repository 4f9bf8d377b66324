//! The angle sensor: all its errors together, the shape of its noise, which fault wins.

use super::{plant, skewed};
use crate::rig::SensorRig;
use crate::{AngleSensor, SensorFaults};

/// Nearest count of (1 + g)(θ + n sin 2θ) + offset on the scale; both axes of the skewed rig, both
/// signs, no noise.
#[test]
fn a_reading_has_every_error_in_its_order() {
    let rig = skewed();
    let numbers = [
        (0.002, 0.08, 0.35, -31.0, 4095.0),
        (-0.0015, 0.06, -0.2, -28.0, 8191.0),
    ];
    for (axis, (gain, bend, offset, min, full)) in [&rig.pitch, &rig.roll].into_iter().zip(numbers)
    {
        let sensor = SensorRig {
            noise_deg: 0.0,
            latency_s: 0.0,
            ..axis.sensor.clone()
        };
        for deg in [-20.0_f64, -7.3, 0.0, 11.1, 17.9] {
            let signal = (1.0 + gain) * (deg + bend * libm::sin(2.0 * deg.to_radians())) + offset;
            let counts = ((signal - min) / 60.0 * full).round();
            let found = AngleSensor::new(&sensor, 0.0025, 3).sample(deg);
            assert_eq!(f64::from(found), counts, "{deg}");
            // A slipped magnet bends too: the jump is added to the angle.
            let mut slipped = AngleSensor::new(&sensor, 0.0025, 3);
            slipped.set_faults(SensorFaults {
                jump_deg: 4.0,
                ..Default::default()
            });
            let there = deg + 4.0;
            let signal =
                (1.0 + gain) * (there + bend * libm::sin(2.0 * there.to_radians())) + offset;
            let counts = ((signal - min) / 60.0 * full).round();
            assert_eq!(f64::from(slipped.sample(deg)), counts, "{deg} and a jump");
        }
    }
}

/// Normal: 68.27 % within one sigma, 95.45 % within two, none beyond six; the share of n samples
/// scatters by √(p(1−p)/n), four of which are allowed. Neighbours are independent: their
/// correlation scatters by 1/√n.
#[test]
fn noise_is_normal_and_white() {
    let rig = SensorRig {
        bits: 16,
        min_deg: -30.0,
        max_deg: 30.0,
        offset_deg: 0.0,
        gain_error: 0.0,
        noise_deg: 0.5,
        latency_s: 0.0,
        nonlinearity_deg: 0.0,
    };
    for seed in [1, 2, 77] {
        let mut sensor = AngleSensor::new(&rig, 0.002, seed);
        let n = 40_000;
        let errors: Vec<f64> = (0..n)
            .map(|_| (f64::from(sensor.sample(0.0)) * 60.0 / 65_535.0 - 30.0) / 0.5)
            .collect();
        for (sigmas, share) in [(1.0, 0.682_689), (2.0, 0.954_500)] {
            let within = errors.iter().filter(|e| e.abs() <= sigmas).count() as f64 / n as f64;
            let scatter = libm::sqrt(share * (1.0 - share) / n as f64);
            assert!((within - share).abs() < 4.0 * scatter, "{seed}: {within}");
        }
        assert!(errors.iter().all(|error| error.abs() < 6.0));
        let correlation =
            errors.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>() / (n - 1) as f64;
        assert!(
            correlation.abs() < 4.0 / libm::sqrt(n as f64),
            "{correlation}"
        );
    }
}

/// The two axes of a twin and two seeds draw four different noises; the same seed draws the same.
#[test]
fn each_axis_and_each_seed_has_its_own_noise() {
    let mut rig = skewed();
    rig.roll.sensor = rig.pitch.sensor.clone();
    let draw = |seed| {
        let mut twin = plant(&rig, seed);
        let samples: Vec<[u16; 2]> = (0..64).map(|_| twin.sample().sensor_counts).collect();
        [0, 1].map(|axis| samples.iter().map(|pair| pair[axis]).collect::<Vec<_>>())
    };
    let drawn = [draw(5), draw(6)].concat();
    for (index, one) in drawn.iter().enumerate() {
        for other in &drawn[..index] {
            assert_ne!(one, other);
        }
    }
    assert_eq!(draw(5), [drawn[0].clone(), drawn[1].clone()]);
}

/// An open wire wins over a short, a short over a stuck reading; full scale is 2^bits − 1.
#[test]
fn faults_have_an_order() {
    let rig = skewed();
    let mut sensor = AngleSensor::new(&rig.roll.sensor, 0.0025, 1);
    sensor.sample(3.0);
    let all = SensorFaults {
        open: true,
        short: true,
        stuck: true,
        ..Default::default()
    };
    sensor.set_faults(all);
    assert_eq!(sensor.sample(3.0), 8191);
    sensor.set_faults(SensorFaults { open: false, ..all });
    assert_eq!(sensor.sample(3.0), 0);
    assert_eq!(sensor.faults(), SensorFaults { open: false, ..all });
}

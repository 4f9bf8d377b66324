//! What another choice of springs, gear or current would change.

use crate::Design;
use serde::Serialize;
use trimproof_plant::rig::CartridgeRig;

use super::current::Current;
use super::holding::standing;
use super::power::Windings;
use super::travel::Travel;
use super::{catch, rate, spring};

/// Numbers of springs that are tried.
const SPRINGS: [u32; 3] = [1, 2, 3];
/// Trim gears that are tried, as shares of the rig's teeth.
const GEARS: [(u32, u32); 3] = [(5, 6), (1, 1), (7, 6)];
/// Currents that are tried, as shares of the rig's.
const CURRENTS: [f64; 3] = [0.75, 1.0, 1.25];

/// One choice and what would come of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WhatIf {
    /// Number of springs in parallel.
    pub springs: u32,
    /// Teeth of the trim shaft's gear.
    pub trim_teeth: u32,
    /// Motor turns per turn of the trim shaft.
    pub ratio: f64,
    /// Running current, peak, A; the holding current changes in the same proportion.
    pub run_a: f64,
    /// Holding current, peak, A.
    pub hold_a: f64,
    /// Whether this is the rig as it stands.
    pub as_it_stands: bool,
    /// Whether the running current is above √2 times the rated one.
    pub above_rated: bool,
    /// Breakout at the grip, N.
    pub breakout_n: f64,
    /// Gradient at the grip, N/deg.
    pub gradient_n_per_deg: f64,
    /// Spring force at the grip with the stick at the farther stop, trimmed in the middle, N; none
    /// where the drive slips.
    pub stop_n: Option<f64>,
    /// What the drive holds at holding current over what the cartridge asks there; hot windings.
    pub holding_factor: f64,
    /// Worst catch jump at the grip, mm.
    pub catch_mm: f64,
    /// One microstep at the grip, mm.
    pub trim_mm: f64,
    /// Highest nudge rate, deg/s.
    pub highest_deg_per_s: f64,
    /// What sets it.
    pub limited_by: &'static str,
}

/// Choices for axis `index`: springs by gears at the set current, then the other currents.
pub(crate) fn choices(rig: &Design, index: usize) -> Vec<WhatIf> {
    let standing = rig.axis(index).cartridge.cartridge().springs;
    let mut rows = Vec::new();
    for springs in SPRINGS {
        for gear in GEARS {
            rows.push(choice(rig, index, springs, gear, 1.0));
        }
    }
    for current in CURRENTS {
        let same = current == 1.0;
        if !same || !SPRINGS.contains(&standing) {
            rows.push(choice(rig, index, standing, (1, 1), current));
        }
    }
    rows
}

fn choice(rig: &Design, index: usize, springs: u32, gear: (u32, u32), current: f64) -> WhatIf {
    let mut other = rig.clone();
    let axis = if index == 0 {
        &mut other.pitch
    } else {
        &mut other.roll
    };
    let stood = axis.cartridge.cartridge().springs;
    change_springs(&mut axis.cartridge, springs);
    let teeth = axis.drive.trim_teeth;
    axis.drive.trim_teeth = (teeth * gear.0 + gear.1 / 2) / gear.1;
    // The same pitch of teeth: a gear of more teeth is larger.
    axis.drive.trim_pitch_radius_m *= f64::from(axis.drive.trim_teeth) / f64::from(teeth);
    axis.driver.run_a *= current;
    axis.driver.hold_a *= current;
    let (run_a, hold_a) = (axis.driver.run_a, axis.driver.hold_a);
    let above_rated = run_a > axis.motor.rated_a * std::f64::consts::SQRT_2;
    let (trim_teeth, ratio) = (axis.drive.trim_teeth, axis.drive.ratio());
    let cartridge = spring::cartridge(&other, index);
    let drive = standing(&other, index, Current::Hold, Windings::Hot);
    let throw_rad = Travel::of(&other, index).throw_deg().to_radians();
    let load_n_m = drive.load_n_m(throw_rad);
    let asked_n_m = load_n_m.unwrap_or_else(|| drive.spring_n_m(throw_rad));
    let (highest_deg_per_s, limited_by) = rate::highest(&other, index);
    WhatIf {
        springs,
        trim_teeth,
        ratio,
        run_a,
        hold_a,
        as_it_stands: springs == stood && trim_teeth == teeth && current == 1.0,
        above_rated,
        breakout_n: cartridge.breakout_n,
        gradient_n_per_deg: cartridge.gradient_n_per_deg,
        stop_n: load_n_m.map(|nm| nm / other.stick.grip_radius_m),
        holding_factor: drive.slip_n_m() / asked_n_m,
        catch_mm: catch::catch(&other, index).worst_mm,
        trim_mm: catch::resolution(&other, index).trim_mm,
        highest_deg_per_s,
        limited_by,
    }
}

/// Another number of the same springs: breakout, rate and damping are those of each spring times
/// the number.
fn change_springs(cartridge: &mut CartridgeRig, springs: u32) {
    match cartridge {
        CartridgeRig::Measured(c) => {
            let share = f64::from(springs) / f64::from(c.springs);
            c.breakout_n_m *= share;
            c.rate_n_m_per_rad *= share;
            c.springs = springs;
        }
        CartridgeRig::Springs(c) => c.springs = springs,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RIGS: [&str; 2] = [
        include_str!("../../scenarios/rigs/kittiwake.toml"),
        include_str!("../../scenarios/rigs/bittern.toml"),
    ];

    /// Springs in parallel add (both take the same deflection), torque is linear in current and in
    /// the ratio.
    #[test]
    fn choices_scale_as_they_must() {
        for text in RIGS {
            let rig = Design::parse(text).unwrap();
            let rows = choices(&rig, 0);
            assert_eq!(rows.len(), 11);
            assert_eq!(rows.iter().filter(|row| row.as_it_stands).count(), 1);
            let find = |springs: u32, teeth: u32| {
                rows.iter()
                    .find(|row| row.springs == springs && row.trim_teeth == teeth)
                    .unwrap()
            };
            let teeth = rig.pitch.drive.trim_teeth;
            let (one, two, three) = (find(1, teeth), find(2, teeth), find(3, teeth));
            assert!((two.breakout_n - 2.0 * one.breakout_n).abs() < 1e-12);
            assert!((three.gradient_n_per_deg - 3.0 * one.gradient_n_per_deg).abs() < 1e-12);
            assert!(two.holding_factor < 0.53 * one.holding_factor);
            let low = find(1, teeth * 5 / 6);
            assert!((low.trim_mm / one.trim_mm - 1.2).abs() < 1e-12);
            assert!((low.ratio / one.ratio - 5.0 / 6.0).abs() < 1e-12);
            assert!(low.holding_factor < one.holding_factor);
        }
    }

    #[test]
    fn a_current_above_the_rating_is_marked() {
        let rig = Design::parse(RIGS[0]).unwrap();
        let rows = choices(&rig, 0);
        // 3.75 A · 1.25 = 4.69 A; √2 · 2.8 A = 3.96 A.
        assert!(rows.iter().any(|row| row.above_rated && row.run_a > 4.6));
        assert!(rows.iter().all(|row| row.above_rated == (row.run_a > 3.96)));
    }
}

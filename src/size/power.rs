//! What the motors draw from the supply, and what warm copper changes.

use crate::Design;
use serde::Serialize;
use trimproof_plant::rig::AxisRig;

use super::current::Current;

/// Rise of copper's resistance by temperature, 1/K at 20 °C: the standard annealed copper's 3930
/// ppm/K (docs/model/sources.md).
pub const COPPER_PER_K: f64 = 0.00393;
/// How much warmer a hot winding is than a cold one, K (a motor at its rated current; common
/// practice, no source).
pub const HOT_RISE_K: f64 = 80.0;

/// Turns of the search for the loaded supply's voltage.
const ITERATIONS: u32 = 80;

/// Windings at room temperature or at their working temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Windings {
    /// As the rig gives their resistance.
    Cold,
    /// [`HOT_RISE_K`] warmer.
    Hot,
}

impl Windings {
    /// Both, in the order of a report.
    pub const ALL: [Self; 2] = [Self::Cold, Self::Hot];

    /// Name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Cold => "cold",
            Self::Hot => "hot",
        }
    }

    /// Resistance of a winding of this axis, ohm.
    pub(crate) fn ohm(self, axis: &AxisRig) -> f64 {
        let rise = match self {
            Self::Cold => 0.0,
            Self::Hot => COPPER_PER_K * HOT_RISE_K,
        };
        axis.motor.resistance_ohm * (1.0 + rise)
    }
}

/// What both motors together draw in one state.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Draw {
    /// The state in words.
    pub what: String,
    /// Cold or hot windings.
    pub windings: Windings,
    /// Heat in the windings of each motor, `[pitch, roll]`, W.
    pub heat_w: [f64; 2],
    /// Power from the supply, W.
    pub power_w: f64,
    /// Current from the supply, A; none where the supply cannot give the power.
    pub supply_a: Option<f64>,
    /// Voltage at the drivers, V.
    pub supply_v: Option<f64>,
}

/// States of the rig: holding, both axes nudged against their largest load, the same hot.
pub(crate) fn draws(rig: &Design, load_n_m: [f64; 2]) -> Vec<Draw> {
    let heat = |current: Current, windings| {
        [0, 1].map(|i| copper_w(rig.axis(i), current.amps(rig, i), windings))
    };
    let still = [0.0; 2];
    // What the drives do on the pilot's side of the gear: torque times rate, both axes at their
    // nudge rate.
    let work = [0, 1].map(|i| {
        let rate_mdeg_per_s = rig.axis_settings(i).nudge_rate_mdeg_per_s;
        load_n_m[i] * (f64::from(rate_mdeg_per_s) / 1000.0).to_radians()
    });
    [
        ("both axes hold", Current::Hold, Windings::Cold, still),
        (
            "both axes stand at running current",
            Current::Run,
            Windings::Cold,
            still,
        ),
        (
            "worst: both nudge at their largest load",
            Current::Run,
            Windings::Hot,
            work,
        ),
    ]
    .into_iter()
    .map(|(what, current, windings, work)| {
        let heat_w = heat(current, windings);
        let power_w: f64 = heat_w.iter().sum::<f64>() + work.iter().sum::<f64>();
        let supply_v = loaded_v(rig, power_w);
        Draw {
            what: what.to_owned(),
            windings,
            heat_w,
            power_w,
            supply_a: supply_v.map(|v| power_w / v),
            supply_v,
        }
    })
    .collect()
}

/// Voltage at the drivers while both axes stand at `current`, or at what the supply can drive
/// through a winding, V.
pub(crate) fn standing_supply_v(rig: &Design, current: Current, windings: Windings) -> f64 {
    let mut volts = rig.supply.volts;
    for _ in 0..ITERATIONS {
        let power_w: f64 = [0, 1]
            .map(|i| {
                let axis = rig.axis(i);
                let amps = current.amps(rig, i).min(volts / windings.ohm(axis));
                copper_w(axis, amps, windings)
            })
            .iter()
            .sum();
        let loaded = rig.supply.volts - rig.supply.source_ohm * power_w / volts;
        // Half way each time: it cannot run away.
        volts = 0.5 * (volts + loaded.max(0.0));
    }
    volts
}

/// Heat of both windings at a peak current: I² R (cos² + sin²), whatever the microstep, W.
fn copper_w(axis: &AxisRig, amps: f64, windings: Windings) -> f64 {
    amps * amps * windings.ohm(axis)
}

/// Voltage at the drivers under a power: V² − V_s V + R_s P = 0, the upper root.
fn loaded_v(rig: &Design, power_w: f64) -> Option<f64> {
    let source_v = rig.supply.volts;
    let under = source_v * source_v - 4.0 * rig.supply.source_ohm * power_w;
    (under >= 0.0).then(|| 0.5 * (source_v + under.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kittiwake() -> Design {
        Design::parse(include_str!("../../scenarios/rigs/kittiwake.toml")).unwrap()
    }

    /// By hand: 80 K make copper 31.44 % more: 0.9 ohm become 1.18296.
    #[test]
    fn copper_warms() {
        let rig = kittiwake();
        assert!((Windings::Hot.ohm(&rig.pitch) - 1.18296).abs() < 1e-9);
        assert_eq!(Windings::Cold.ohm(&rig.pitch), 0.9);
    }

    /// By hand: 3.65² · 0.9 + 3.25² · 0.9 = 11.990 + 9.506 W; 24 V behind 0.12 ohm: V² − 24 V +
    /// 2.5796 = 0 → 23.892 V, 0.89974 A.
    #[test]
    fn holding_draws_what_copper_takes() {
        let draw = &draws(&kittiwake(), [0.0; 2])[0];
        assert!((draw.power_w - 21.4965).abs() < 1e-9, "{draw:?}");
        assert!(
            (draw.supply_v.unwrap() - 23.892_034).abs() < 1e-5,
            "{draw:?}"
        );
        assert!((draw.supply_a.unwrap() - 0.899_73).abs() < 1e-5, "{draw:?}");
        let back = draw.supply_v.unwrap() + 0.12 * draw.supply_a.unwrap();
        assert!((back - 24.0).abs() < 1e-12);
    }

    #[test]
    fn a_weak_supply_is_reported() {
        let mut rig = kittiwake();
        rig.supply.source_ohm = 10.0;
        let worst = draws(&rig, [2.0; 2]).pop().unwrap();
        assert!(worst.supply_a.is_none() && worst.supply_v.is_none());
    }
}

//! The twin measured as a bench would be gives its own rig back.

use trimproof_plant::{AxisName, Rig};

use super::law::Values;
use super::{Quantity, fit};
use crate::measure::measure;

/// The bounds: what the model leaves out of the twin. A sweep also has to overcome the friction of shaft and mesh on the shaft's small way, g
/// for each N·m: the loop is wider by (shaft friction + loss · T) k g, with T = T0 + k · 20 degrees = 4.5 N·m (0.03 + 0.03 · 4.5) · 10.6 / 567 =
/// 0.0031 N·m, 6 % of the pivot's friction; a rate that is off by that over the way, 0.1 %. The shaft gives way in its backlash before
/// friction holds it: up to the backlash, 0.05 degrees, but only against 0.03 N·m, a thirteenth of the flank: 0.02 degrees.
/// Damping and inertia: shaft and rotor, 1.2e-3 kg·m², go along by k g, 2 % of the way, and the mesh's losses count as damping: 2 %.
#[test]
fn the_twins_own_record_gives_its_rig_back() {
    let rig = Rig::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let measured = measure(&rig, &mut |_| true).unwrap();
    let found = fit(&rig, &measured.record).unwrap();
    for axis in &found.axes {
        for e in &axis.estimates {
            println!("DBG {:?} {} {:?}", e.quantity, e.value, e.standard_error);
        }
        for r in &axis.residuals {
            println!(
                "DBG {} n {} dev {} len {} out {}",
                r.name,
                r.points.len(),
                r.deviation,
                r.correlation_length,
                r.left_out
            );
            let n = r.points.len();
            for p in r.points.iter().step_by((n / 60).max(1)) {
                println!(
                    "DBG  {:.4} {:.4} {:.4} {:.4}",
                    p.time_s,
                    p.position_deg,
                    p.measured,
                    p.measured - p.model
                );
            }
        }
        println!("DBG {:?}", axis.notes);
    }
    for (axis, name) in found.axes.iter().zip(AxisName::ALL) {
        let values = Values::of_rig(&rig, name.index());
        for (quantity, bound) in [
            (Quantity::Rate, 0.01),
            (Quantity::Breakout, 0.01),
            (Quantity::Friction, 0.062),
            (Quantity::Damping, 0.02),
            (Quantity::Inertia, 0.02),
        ] {
            let (found, wanted) = (axis.measured(quantity).unwrap(), quantity.of(&values));
            println!("{name:?} {quantity:?}: {found} for {wanted}");
            assert!(
                (found / wanted - 1.0).abs() < bound,
                "{name:?} {quantity:?}: {found} for {wanted}"
            );
        }
        let play = axis.measured(Quantity::FreePlay).unwrap();
        println!("{name:?} free play {play}; {:?}", axis.notes);
        assert!((play - 0.15).abs() < 0.02, "{name:?} {play}");
    }
}

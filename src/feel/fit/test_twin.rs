//! The twin measured as a bench would be gives its own rig back.

use trimproof_plant::{AxisName, Rig};

use super::law::Values;
use super::{Quantity, fit};
use crate::measure::measure;

/// The bounds: what the model leaves out of the twin. Backlash is closed against the shaft's friction, 0.03 N·m of 0.05 in a tenth of a
/// degree; the mesh loses 3 % of what the shaft's small way takes. So 1 % for what the sweep tells, 0.02 degrees for free play, and 3 % for
/// damping and inertia.
#[test]
fn the_twins_own_record_gives_its_rig_back() {
    let rig = Rig::parse(include_str!("../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let measured = measure(&rig, &mut |_| true).unwrap();
    let found = fit(&rig, &measured.record).unwrap();
    for (axis, name) in found.axes.iter().zip(AxisName::ALL) {
        let values = Values::of_rig(&rig, name.index());
        for (quantity, bound) in [
            (Quantity::Rate, 0.01),
            (Quantity::Breakout, 0.01),
            (Quantity::Friction, 0.05),
            (Quantity::Damping, 0.03),
            (Quantity::Inertia, 0.03),
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

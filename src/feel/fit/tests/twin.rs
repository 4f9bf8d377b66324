//! The twin measured as a bench would be gives its own rig back.

use trimproof_harness::rig::RigFile;
use trimproof_plant::AxisName;

use crate::fit::law::Values;
use crate::fit::{FitQuantity, fit};
use crate::measure::measure;

/// The bounds: what the model leaves out of the twin, which is the friction, losses and inertia of
/// its shaft. Within a swing of amplitude A and torque M the shaft goes its backlash and 2 g M,
/// against 0.03 N·m and 3 % of M: as much loss as a friction of the pivot of (0.03 (2 b + 2 g M) +
/// 0.03 M 2 g M) / 2A, 0.0054 N·m at 1.5 degrees, 11 % of the pivot's; in the sweep (0.03 + 0.03 M)
/// k g, 0.0031 at most. Rate and breakout: half of the sweep's at 4.5 and 0.8 N·m, 0.3 %. Free
/// play: the shaft goes its backlash, 0.05 degrees either way, against 0.03 N·m, a thirteenth of
/// the flank, and is late there by some of it: 0.02 degrees. Damping and inertia: shaft and rotor,
/// 1.2e-3 kg·m², go along by k g, 2 % of the way: 2 % would be ten times that.
#[test]
fn the_twins_own_record_gives_its_rig_back() {
    let rig = RigFile::parse(include_str!("../../../../scenarios/rigs/kittiwake.toml")).unwrap();
    let measured = measure(&rig, &mut |_| true).unwrap();
    let found = fit(&rig, &measured.record).unwrap();
    for (axis, name) in found.axes.iter().zip(AxisName::ALL) {
        let values = Values::of_rig(&rig, name.index());
        for (quantity, bound) in [
            (FitQuantity::Rate, 0.003),
            (FitQuantity::Breakout, 0.003),
            (FitQuantity::Friction, 0.11),
            (FitQuantity::Damping, 0.02),
            (FitQuantity::Inertia, 0.02),
        ] {
            let (found, wanted) = (axis.measured(quantity).unwrap(), quantity.of(&values));
            println!("{name:?} {quantity:?}: {found} for {wanted}");
            assert!(
                (found / wanted - 1.0).abs() < bound,
                "{name:?} {quantity:?}: {found} for {wanted}"
            );
        }
        let play = axis.measured(FitQuantity::FreePlay).unwrap();
        println!("{name:?} free play {play}; {:?}", axis.notes);
        assert!((play - 0.15).abs() < 0.02, "{name:?} {play}");
    }
}

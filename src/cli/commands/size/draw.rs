//! Pictures of the holding margin.

use crate::commands::pictures;
use std::path::Path;
use trimproof_harness::card::text::fixed;
use trimproof_report::picture::{self, Holding, HoldingLine, PictureError};
use trimproof_size::{AxisSizes, HoldingCurve, Sizes, Windings};

/// Writes the holding margin of every axis as SVG and PNG, each file whole or not at all; gives
/// what could not be written and why.
pub fn write_all(folder: &Path, sizes: &Sizes) -> Vec<(String, String)> {
    sizes
        .axes
        .iter()
        .flat_map(|axis| {
            let svg = holding(sizes, axis);
            let name = format!("holding-{}", axis.axis.name());
            pictures::write(folder, &name, svg.as_deref().map_err(Clone::clone))
        })
        .collect()
}

/// What the drive must hold with the trim in the middle and at the far soft limit, and what it can
/// hold at either current, windings cold.
fn holding(sizes: &Sizes, axis: &AxisSizes) -> Result<String, PictureError> {
    let cold = || {
        axis.holding
            .iter()
            .filter(|curve| curve.windings == Windings::Cold)
    };
    let points = cold()
        .next()
        .map_or(&[][..], |curve| curve.points.as_slice());
    let position_deg: Vec<f64> = points.iter().map(|point| point.position_deg).collect();
    let cartridge_n_m: Vec<f64> = points.iter().map(|point| point.cartridge_n_m).collect();
    let far_n_m: Vec<f64> = points.iter().map(|point| point.far_cartridge_n_m).collect();
    // The running current first: the margin at the holding current, the smaller, is the one that is
    // marked.
    let mut curves: Vec<&HoldingCurve> = cold().collect();
    curves.sort_by(|a, b| b.current_a.total_cmp(&a.current_a));
    let holds: Vec<HoldingLine> = curves
        .iter()
        .map(|curve| HoldingLine {
            name: format!(
                "{} current, {} A",
                curve.current.name(),
                fixed(curve.current_a, 2)
            ),
            torque_n_m: vec![curve.slips_at_n_m; points.len()],
        })
        .collect();
    picture::holding_margin(&Holding {
        title: &format!("What the drive holds, {} {}", sizes.rig, axis.axis.name()),
        position_deg: &position_deg,
        cartridge_n_m: &cartridge_n_m,
        far_n_m: &far_n_m,
        holds: &holds,
    })
}

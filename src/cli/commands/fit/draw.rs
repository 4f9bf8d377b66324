//! Pictures of what the fit leaves.

use crate::commands::pictures;
use std::path::Path;
use trimproof_feel::fit::Fit;
use trimproof_report::picture::{self, ResidualPlot};

/// Writes a residual plot of every measurement as SVG and PNG, each file whole or not at all; gives
/// what could not be written and why.
pub fn write_all(folder: &Path, rig: &str, fit: &Fit) -> Vec<(String, String)> {
    let mut failed = Vec::new();
    for axis in &fit.axes {
        for residuals in &axis.residuals {
            let axis = axis.axis.name();
            let name = format!("residuals-{axis}-{}", residuals.name.replace(' ', "-"));
            let title = format!("What the fit of {rig} leaves, {axis}");
            let svg = picture::residual_plot(&ResidualPlot {
                title: &title,
                residuals,
            });
            failed.extend(pictures::write(
                folder,
                &name,
                svg.as_deref().map_err(Clone::clone),
            ));
        }
    }
    failed
}
